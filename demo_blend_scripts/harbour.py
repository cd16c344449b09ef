# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The set: a quay with its crates, cart and bollards, the water, the far side in haze."""

from __future__ import annotations

import math
import random
from typing import Any

import bpy
from mathutils import Matrix, Vector

from . import paints, props
from .acting import HALF_CRATE
from .forms import Model
from .rig import BACK, LEFT, UP

QUAY_EDGE = 2.6
WATER = -1.5
Materials = dict[str, bpy.types.Material]


def build_harbour(scene: bpy.types.Scene, materials: Materials) -> None:
    """Make the whole set with its light."""
    place = bpy.data.collections.new("Harbour")
    scene.collection.children.link(place)
    for build in (_quay, _quay_things, _water, _boat, _gantry, _far_side):
        build(place, materials)
    for throw in props.THROWS:
        _crate(throw.crate, place, materials, banded=throw.crate.endswith("B"))
    _stacks(place, materials)
    _cart(place, materials)
    paints.build_sky(scene)
    _light(place)


def _link(model: Model, name: str, place: bpy.types.Collection, materials: Materials):
    made = model.to_object(name, materials)
    place.objects.link(made)
    return made


def _quay(place: bpy.types.Collection, materials: Materials) -> None:
    """Lay the quay in rows of slabs; their tops are the ground at height 0."""
    chance = random.Random(5)
    slabs = Model()
    rows = (-7.0, -5.4, -3.9, -2.55, -1.3, -0.1, 1.1, 2.0)
    for low, high in zip(rows, rows[1:], strict=False):
        x = -15.0 - chance.random()
        while x < 16.0:
            width = chance.uniform(1.1, 1.9)
            half = (width / 2.0 - 0.008, (high - low) / 2.0 - 0.008, 0.25)
            centre = Vector((x + width / 2.0, (low + high) / 2.0, -0.25))
            paint = "stone" if chance.random() < 0.62 else "stone dark"
            slabs.box(centre, half, "", paint, chamfer=0.014)
            x += width
    x = -15.0
    while x < 16.0:
        half = (0.69, (QUAY_EDGE - 2.0) / 2.0, 0.40)
        slabs.box(Vector((x, (QUAY_EDGE + 2.0) / 2.0, -0.40)), half, "", "coping", chamfer=0.03)
        x += 1.4
    slabs.box(Vector((0.0, 2.2, -1.6)), (15.0, 0.30, 1.0), "", "stone dark")
    _link(slabs, "Quay", place, materials)


def _quay_things(place: bpy.types.Collection, materials: Materials) -> None:
    things = Model()
    for x in (-3.55, 0.15, 3.75):
        at = Vector((x, 2.28, 0.0))
        things.tube(
            at, UP, LEFT,
            ((0.0, 0.20, 0.20), (0.05, 0.20, 0.20), (0.07, 0.13, 0.13), (0.26, 0.115, 0.115),
             (0.34, 0.15, 0.15), (0.40, 0.19, 0.19), (0.45, 0.18, 0.18), (0.49, 0.10, 0.10)),
            ((0.0, ""),), "iron", sides=16, smooth=2,
        )  # fmt: skip
        for height in (0.14, 0.19, 0.24):
            _ring(things, at + UP * height, 0.137, 0.026, "rope")
    # A coil of rope, and a line from the middle bollard down to the boat.
    for turn, radius in enumerate((0.34, 0.33, 0.32, 0.29)):
        _ring(things, Vector((-1.45, 1.55, 0.035 + 0.058 * turn)), radius, 0.034, "rope")
    _sagging(things, Vector((-3.55, 2.42, 0.22)), Vector((-5.2, 5.3, 0.10)), 0.35)
    # A lamp post, its light still on.
    post = Vector((3.62, 2.30, 0.0))
    things.tube(
        post, UP, LEFT,
        ((0.0, 0.10, 0.10), (0.10, 0.09, 0.09), (0.16, 0.05, 0.05), (1.88, 0.036, 0.036)),
        ((0.0, ""),), "iron", sides=10, smooth=1,
    )  # fmt: skip
    things.tube(
        post + UP * 1.84, UP, LEFT,
        ((0.0, 0.05, 0.05), (0.04, 0.13, 0.13), (0.08, 0.15, 0.15)), ((0.0, ""),), "iron",
        sides=8, smooth=1,
    )  # fmt: skip
    things.egg(post + UP * 2.03, (0.095, 0.095, 0.13), "", "lamp", sides=12, rings=8)
    things.tube(
        post + UP * 2.14, UP, LEFT, ((0.0, 0.16, 0.16), (0.07, 0.09, 0.09), (0.12, 0.01, 0.01)),
        ((0.0, ""),), "iron", sides=8, smooth=1,
    )  # fmt: skip
    _link(things, "Quay things", place, materials)


def _ring(model: Model, centre: Vector, radius: float, thick: float, paint: str) -> None:
    """Add a turn of rope lying flat."""
    model.ring(centre, UP, LEFT, radius, (thick, thick), "", paint, 28, 7)


def _stick(
    model: Model, start: Vector, end: Vector, thick: float, paint: str, sides: int = 6
) -> None:
    line = end - start
    across: Any = line.cross(UP if abs(line.normalized().z) < 0.9 else LEFT)
    reach = line.length
    model.tube(
        start, line, across,
        ((-0.2 * thick, thick, thick), (reach + 0.2 * thick, thick, thick)),
        ((0.0, ""),), paint, sides=sides, smooth=1,
    )  # fmt: skip


def _sagging(model: Model, start: Vector, end: Vector, sag: float) -> None:
    places = [
        start.lerp(end, step / 10.0) - UP * (4.0 * sag * step / 10.0 * (1.0 - step / 10.0))
        for step in range(11)
    ]
    for low, high in zip(places, places[1:], strict=False):
        _stick(model, low, high, 0.022, "rope")


def _water(place: bpy.types.Collection, materials: Materials) -> None:
    mesh = bpy.data.meshes.new("Water")
    corners = [(-160, QUAY_EDGE - 0.4), (160, QUAY_EDGE - 0.4), (160, 220), (-160, 220)]
    mesh.from_pydata([(x, y, WATER) for x, y in corners], [], [(0, 1, 2, 3)])
    mesh.materials.append(materials["water"])
    place.objects.link(bpy.data.objects.new("Water", mesh))


def _boat(place: bpy.types.Collection, materials: Materials) -> None:
    """Moor a small fishing boat beyond the quay."""
    boat = Model()
    at = Vector((-10.4, 7.0, WATER))
    boat.tube(
        at, LEFT, BACK,
        ((0.0, 0.75, 0.42, 0.0, 0.55), (0.6, 1.02, 0.60, 0.0, 0.62), (2.6, 1.15, 0.64, 0.0, 0.62),
         (4.4, 0.86, 0.66, 0.0, 0.72), (5.4, 0.34, 0.62, 0.0, 0.96), (5.9, 0.03, 0.40, 0.0, 1.24)),
        ((0.0, ""),), "hull", sides=16, power=2.8, smooth=3,
    )  # fmt: skip
    boat.tube(
        at, LEFT, BACK,
        ((0.0, 0.80, 0.05, 0.0, 0.98), (0.6, 1.06, 0.06, 0.0, 1.21), (2.6, 1.19, 0.06, 0.0, 1.24),
         (4.4, 0.90, 0.06, 0.0, 1.37), (5.4, 0.38, 0.06, 0.0, 1.58), (5.95, 0.05, 0.05, 0.0, 1.66)),
        ((0.0, ""),), "hull trim", sides=10, power=3.0, smooth=3,
    )  # fmt: skip
    boat.box(at + Vector((1.5, 0.0, 1.80)), (0.85, 0.62, 0.62), "", "hull trim", chamfer=0.06,
             taper=0.92)  # fmt: skip
    boat.box(at + Vector((1.5, 0.0, 2.46)), (0.98, 0.74, 0.07), "", "hull", chamfer=0.04)
    boat.box(at + Vector((1.75, -0.58, 1.98)), (0.30, 0.06, 0.20), "", "face dark", chamfer=0.02)
    _stick(boat, at + Vector((3.3, 0.0, 1.2)), at + Vector((3.25, 0.0, 5.0)), 0.060, "mast", 8)
    _stick(boat, at + Vector((3.3, 0.0, 1.9)), at + Vector((5.3, 0.0, 3.3)), 0.040, "mast", 8)
    for end in (Vector((0.1, 0.0, 1.3)), Vector((5.85, 0.0, 1.7))):
        _stick(boat, at + Vector((3.25, 0.0, 4.8)), at + end, 0.012, "mast", 4)
    _link(boat, "Fishing boat", place, materials)


def _gantry(place: bpy.types.Collection, materials: Materials) -> None:
    """Raise the harbour crane: four legs, a cabin, and a jib over the water."""
    crane = Model()
    at = Vector((25.0, 72.0, WATER))
    paint = "far near"
    crane.box(at + Vector((0.0, 0.0, 0.9)), (5.2, 3.0, 1.2), "", paint, chamfer=0.1)
    for x in (-2.2, 2.2):
        for y in (-1.6, 1.6):
            _stick(crane, at + Vector((x * 1.25, y, 2.0)), at + Vector((x * 0.55, y * 0.6, 9.0)),
                   0.24, paint)  # fmt: skip
        _stick(crane, at + Vector((x * 0.95, -1.3, 5.2)), at + Vector((-x * 0.95, -1.3, 5.2)), 0.15,
               paint)  # fmt: skip
    crane.box(at + Vector((0.0, 0.0, 9.3)), (2.2, 1.6, 0.4), "", paint, chamfer=0.05)
    crane.box(at + Vector((0.9, 0.0, 10.8)), (1.5, 1.1, 1.2), "", paint, chamfer=0.1, taper=0.9)
    foot, tip = at + Vector((-0.6, 0.0, 10.0)), at + Vector((-9.8, 0.0, 19.0))
    mast = at + Vector((0.8, 0.0, 16.0))
    for y in (-0.5, 0.5):
        _stick(crane, foot + BACK * y, tip, 0.15, paint)
        _stick(crane, foot + BACK * y + UP * 1.1, tip, 0.10, paint)
        _stick(crane, at + Vector((0.4, y, 12.0)), mast, 0.16, paint)
    for step in range(1, 9):
        low = foot.lerp(tip, step / 9.0)
        high = (foot + UP * 1.1).lerp(tip, (step - 0.5) / 9.0)
        _stick(crane, low, high, 0.07, paint, 4)
    _stick(crane, mast, tip, 0.05, paint, 4)
    _stick(crane, mast, at + Vector((2.2, 0.0, 11.6)), 0.07, paint, 4)
    hook = tip - UP * 7.0
    _stick(crane, tip, hook, 0.035, paint, 4)
    crane.box(hook - UP * 0.3, (0.28, 0.20, 0.36), "", paint, chamfer=0.06)
    _link(crane, "Gantry crane", place, materials)


def _far_side(place: bpy.types.Collection, materials: Materials) -> None:
    """Set the far side of the harbour: sheds, a breakwater with its light, hills, the sun."""
    chance = random.Random(11)
    far = Model()
    for _ in range(16):
        x = chance.uniform(-62.0, 6.0)
        half = (chance.uniform(2.0, 5.0), 2.0, chance.uniform(1.0, 2.7))
        centre = Vector((x, chance.uniform(74.0, 84.0), WATER + half[2] + 0.6))
        far.box(centre, half, "", "far middle", chamfer=0.1)
        if chance.random() < 0.5:
            top = Vector((x + chance.uniform(-1.5, 1.5), 80.0, WATER))
            _stick(far, top, top + UP * chance.uniform(6.0, 11.0), 0.22, "far middle", 6)
    far.box(Vector((-20.0, 80.0, WATER + 0.5)), (48.0, 6.0, 0.9), "", "far middle", chamfer=0.3)
    far.box(Vector((52.0, 90.0, WATER + 0.6)), (20.0, 2.5, 1.0), "", "far middle", chamfer=0.3)
    light = Vector((33.5, 90.0, WATER + 1.4))
    far.tube(
        light, UP, LEFT, ((0.0, 1.3, 1.3), (6.4, 0.8, 0.8), (6.5, 1.15, 1.15), (6.9, 1.15, 1.15)),
        ((0.0, ""),), "far middle", sides=12, smooth=1,
    )  # fmt: skip
    far.egg(light + UP * 7.6, (0.75, 0.75, 0.9), "", "lamp", sides=10, rings=8)
    for x, width, height in (
        (-120, 66, 13), (-64, 50, 9), (-8, 62, 11), (60, 58, 7), (118, 74, 12),
    ):  # fmt: skip
        far.egg(Vector((x, 200.0, WATER - 1.0)), (width, 12.0, height), "", "far hills", sides=24,
                rings=10)  # fmt: skip
    sun = Vector(paints.sun_direction()) * 190.0
    far.egg(sun, (4.2, 4.2, 4.2), "", "sun", sides=28, rings=16)
    _link(far, "Far side", place, materials)


def _crate_model(banded: bool) -> Model:
    """Return a slatted crate with rope handles at its ends, its middle at the origin."""
    crate = Model()
    x, y, z = HALF_CRATE.to_tuple()
    wood = "wood"
    for row in range(3):
        height = -z + 0.046 + row * (2.0 * z - 0.092) / 2.0
        slat = 0.041
        paint = "painted" if banded and row == 1 else wood
        for sign in (-1.0, 1.0):
            crate.box(Vector((0.0, sign * (y - 0.010), height)), (x, 0.010, slat), "", paint,
                      chamfer=0.004)  # fmt: skip
            crate.box(Vector((sign * (x - 0.010), 0.0, height)), (0.010, y - 0.02, slat), "", paint,
                      chamfer=0.004)  # fmt: skip
    for sx in (-1.0, 1.0):
        for sy in (-1.0, 1.0):
            post = Vector((sx * (x - 0.022), sy * (y - 0.022), 0.0))
            crate.box(post, (0.024, 0.024, z), "", "wood dark", chamfer=0.005)
    for index in range(5):
        lath = -x + 0.05 + index * (2.0 * x - 0.10) / 4.0
        crate.box(Vector((lath, 0.0, z - 0.008)), (0.040, y, 0.010), "", wood, chamfer=0.004)
    crate.box(Vector((0.0, 0.0, -z + 0.012)), (x - 0.01, y - 0.01, 0.010), "", "wood dark",
              chamfer=0.004)  # fmt: skip
    for sign in (-1.0, 1.0):
        ends = [
            Vector((sign * (x + 0.006 + 0.028 * math.sin(math.pi * step / 8.0)),
                    0.075 - 0.15 * step / 8.0, 0.035 - 0.055 * math.sin(math.pi * step / 8.0)))
            for step in range(9)
        ]  # fmt: skip
        for start, end in zip(ends, ends[1:], strict=False):
            _stick(crate, start, end, 0.011, "rope")
    return crate


def _crate(
    name: str, place: bpy.types.Collection, materials: Materials, banded: bool
) -> bpy.types.Object:
    return _link(_crate_model(banded), name, place, materials)


def _moved(model: Model, offset: Vector, yaw: float, scale: float = 1.0) -> Model:
    turn = Matrix.Rotation(math.radians(yaw), 3, "Z")
    model.points = [offset + turn @ (point * scale) for point in model.points]
    return model


def _stacks(place: bpy.types.Collection, materials: Materials) -> None:
    """Stand the crates nobody touches: under the first one, behind it, and on the cart."""
    stack = Model()
    first = props.THROWS[0]
    for height, yaw in ((HALF_CRATE.z, 5.0), (3.0 * HALF_CRATE.z, -3.0)):
        under = Vector((first.rest[0], first.rest[1], height))
        stack.add(_moved(_crate_model(height > 0.2), under, first.rest_yaw + yaw))
    second = props.THROWS[1]
    stack.add(_moved(_pallet_model(), Vector((*second.rest[:2], 0.0)), second.rest_yaw - 6.0))
    z = HALF_CRATE.z
    for x, y, height, yaw, banded in (
        (-3.30, 0.55, z, 12.0, False), (-3.22, 0.60, 3.0 * z, 4.0, True),
        (-3.40, 0.50, 5.0 * z, 22.0, False), (-2.60, 0.95, z, -18.0, True),
        (-2.66, 0.92, 3.0 * z, -6.0, False),
    ):  # fmt: skip
        stack.add(_moved(_crate_model(banded), Vector((x, y, height)), yaw))
    barrel = Vector((-3.15, -0.75, 0.0))
    stack.tube(
        barrel, UP, LEFT,
        ((0.0, 0.22, 0.22), (0.03, 0.235, 0.235), (0.34, 0.285, 0.285), (0.66, 0.235, 0.235),
         (0.69, 0.22, 0.22)),
        ((0.0, ""),), "plank", sides=18, smooth=4,
    )  # fmt: skip
    for height, radius in ((0.10, 0.262), (0.24, 0.287), (0.44, 0.287), (0.58, 0.262)):
        stack.tube(
            barrel, UP, LEFT,
            ((height - 0.022, radius - 0.006, radius - 0.006), (height - 0.018, radius, radius),
             (height + 0.018, radius, radius), (height + 0.022, radius - 0.006, radius - 0.006)),
            ((0.0, ""),), "iron", sides=18, smooth=1,
        )  # fmt: skip
    _link(stack, "Stacks", place, materials)


def _pallet_model() -> Model:
    pallet = Model()
    top = props.PALLET
    for row in range(4):
        y = -0.255 + row * 0.17
        pallet.box(Vector((0.0, y, top - 0.012)), (0.40, 0.066, 0.012), "", "plank", chamfer=0.004)
    for x in (-0.34, 0.0, 0.34):
        half = (0.045, 0.32, (top - 0.024) / 2.0)
        pallet.box(Vector((x, 0.0, half[2])), half, "", "wood dark", chamfer=0.006)
    return pallet


def _cart(place: bpy.types.Collection, materials: Materials) -> None:
    """Make the hand cart; its origin is on the ground under the axle."""
    cart = Model()
    bed = props.CART_BED
    for row in range(5):
        y = -0.36 + row * 0.18
        cart.box(Vector((0.0, y, bed - 0.02)), (0.86, 0.085, 0.02), "", "plank", chamfer=0.006)
    for sign in (-1.0, 1.0):
        cart.box(Vector((0.0, sign * 0.40, bed - 0.07)), (0.92, 0.035, 0.05), "", "cart")
        for x in (-0.55, 0.55):
            cart.box(Vector((x, sign * 0.22, bed - 0.16)), (0.03, 0.03, 0.10), "", "iron")
    cart.box(Vector((0.84, 0.0, bed + 0.16)), (0.02, 0.42, 0.17), "", "cart")
    for x in (-0.55, 0.55):
        _stick(cart, Vector((x, -0.50, 0.29)), Vector((x, 0.50, 0.29)), 0.025, "iron", 8)
    # The bar to pull it by.
    for sign in (-1.0, 1.0):
        _stick(cart, Vector((0.90, sign * 0.28, bed - 0.08)), Vector((1.62, sign * 0.16, 0.86)),
               0.022, "wood dark", 8)  # fmt: skip
    _stick(cart, Vector((1.62, -0.24, 0.86)), Vector((1.62, 0.24, 0.86)), 0.024, "wood dark", 8)
    load = _moved(_crate_model(True), Vector((0.52, -0.02, bed + HALF_CRATE.z)), 92.0)
    cart.add(load)
    body = _link(cart, props.CART_NAME, place, materials)
    body.location = props.CART
    for name, (x, y) in props.WHEELS.items():
        wheel = _link(_wheel_model(), name, place, materials)
        wheel.parent = body
        wheel.location = (x, y, props.WHEEL_RADIUS)
        _roll_with(wheel, body)


def _roll_with(wheel: bpy.types.Object, cart: bpy.types.Object) -> None:
    """Let a wheel turn as far as the cart rolls."""
    roll = wheel.constraints.new("TRANSFORM")
    roll.target = cart
    roll.owner_space = "LOCAL"
    roll.map_from, roll.map_to = "LOCATION", "ROTATION"
    roll.map_to_y_from = "X"
    reach = 1.0
    roll.from_min_x, roll.from_max_x = props.CART.x - reach, props.CART.x + reach
    roll.to_min_y_rot, roll.to_max_y_rot = -reach / props.WHEEL_RADIUS, reach / props.WHEEL_RADIUS


def _wheel_model() -> Model:
    wheel = Model()
    radius = props.WHEEL_RADIUS
    wheel.ring(Vector(), BACK, LEFT, radius - 0.020, (0.020, 0.026), "", "iron", 40, 8, 3.5)
    wheel.ring(Vector(), BACK, LEFT, radius - 0.052, (0.016, 0.022), "", "cart", 40, 8, 3.0)
    for spoke in range(8):
        angle = math.pi * spoke / 4.0
        _stick(wheel, Vector(), Vector((math.cos(angle), 0.0, math.sin(angle))) * (radius - 0.03),
               0.014, "wood dark", 6)  # fmt: skip
    wheel.tube(
        Vector((0.0, -0.05, 0.0)), BACK, LEFT,
        ((0.0, 0.03, 0.03), (0.01, 0.048, 0.048), (0.09, 0.048, 0.048), (0.10, 0.03, 0.03)),
        ((0.0, ""),), "brass", sides=10, smooth=1,
    )  # fmt: skip
    return wheel


def _light(place: bpy.types.Collection) -> None:
    """Light it: the low sun from behind on the right, a soft warm bounce, a cool fill."""
    sun = bpy.data.lights.new("Sun", "SUN")
    sun.energy = 7.5
    sun.angle = math.radians(1.2)
    sun.color = (1.0, 0.60, 0.30)
    made = bpy.data.objects.new("Sun", sun)
    # Higher and farther to the side than the disc in the sky: it models her better.
    toward = Vector((0.86, 0.20, 0.33))
    made.rotation_euler = toward.to_track_quat("Z", "Y").to_euler()
    place.objects.link(made)
    for name, at, energy, size, colour in (
        ("Bounce", (-4.0, -5.5, 2.6), 120.0, 4.0, (1.0, 0.88, 0.78)),
        ("Fill", (3.5, -6.5, 4.5), 90.0, 5.0, (0.66, 0.80, 1.0)),
    ):
        area = bpy.data.lights.new(name, "AREA")
        area.energy, area.size, area.color = energy, size, colour
        lamp = bpy.data.objects.new(name, area)
        lamp.location = at
        aim = Vector((0.0, 0.0, 1.0)) - Vector(at)
        lamp.rotation_euler = aim.to_track_quat("-Z", "Y").to_euler()
        place.objects.link(lamp)
