# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The crane hand herself: a few simple forms over the rig, in work clothes."""

from __future__ import annotations

import math

import bpy
from mathutils import Euler, Matrix, Vector

from .forms import Model
from .rig import (
    ARM_DIRECTION,
    BACK,
    BRAID_BONES,
    BRAID_LINK,
    BRAID_ROOT,
    FINGERS,
    FOREARM_LENGTH,
    FRONT,
    LEFT,
    PALM,
    SHOULDER_JOINT,
    STRAP_BONES,
    UP,
    UPPER_ARM_LENGTH,
    Bone,
    bones,
)

ORIGIN = Vector((0.0, 0.0, 0.0))
NECK_TOP = Vector((0.0, 0.010, 1.500))
HEAD_SCALE = 1.12
"""A little larger than life: faces read from afar."""
TRUNK = (
    (0.93, "hips"), (1.02, "hips"), (1.10, "spine"), (1.17, "spine"), (1.27, "chest"),
    (1.41, "chest"), (1.46, "neck"), (1.50, "neck"), (1.53, "head"),
)  # fmt: skip


def build_figure(
    rig: bpy.types.Object,
    collection: bpy.types.Collection,
    materials: dict[str, bpy.types.Material],
) -> bpy.types.Object:
    """Make her mesh, weighted and bound to the rig."""
    rest = {bone.name: bone for bone in bones()}
    model = Model()
    _trunk(model)
    head = Model()
    _head(head)
    head.points = [NECK_TOP + (point - NECK_TOP) * HEAD_SCALE for point in head.points]
    model.add(head)
    side = Model()
    _arm(side)
    _hand(side, rest)
    _leg(side)
    _boot(side)
    _braid(side)
    model.add(side)
    model.add(side.mirrored())
    _belt(model)
    _strap(model, rest)
    figure = model.to_object("Crane hand", materials)
    collection.objects.link(figure)
    figure.parent = rig
    bind = figure.modifiers.new("Rig", "ARMATURE")
    bind.object = rig
    return figure


def _trunk(model: Model) -> None:
    # Trousers' seat, then sweater and oilskin vest over it.
    model.tube(
        ORIGIN, UP, LEFT,
        ((0.850, 0.012, 0.010), (0.858, 0.080, 0.070), (0.900, 0.150, 0.104, 0.0, 0.004),
         (0.960, 0.164, 0.114, 0.0, 0.006), (1.030, 0.146, 0.104), (1.080, 0.128, 0.092)),
        TRUNK, "denim", sides=20, power=2.3,
    )  # fmt: skip
    model.tube(
        ORIGIN, UP, LEFT,
        ((1.010, 0.152, 0.110), (1.020, 0.160, 0.116), (1.060, 0.146, 0.106),
         (1.130, 0.137, 0.100), (1.220, 0.150, 0.110, 0.0, -0.004),
         (1.300, 0.166, 0.118, 0.0, -0.006), (1.370, 0.164, 0.108), (1.415, 0.128, 0.086),
         (1.440, 0.078, 0.066, 0.0, 0.006)),
        TRUNK, "oilskin", sides=24, power=2.35,
    )  # fmt: skip
    for height in (1.105, 1.175, 1.245, 1.315):
        depth = {1.105: -0.103, 1.175: -0.106, 1.245: -0.117, 1.315: -0.121}[height]
        bone = "spine" if height < 1.22 else "chest"
        model.egg(Vector((0.0, depth, height)), (0.011, 0.007, 0.011), bone, "brass", sides=8,
                  rings=5)  # fmt: skip
    model.tube(
        ORIGIN, UP, LEFT,
        ((1.405, 0.052, 0.052, 0.0, 0.006), (1.440, 0.050, 0.050, 0.0, 0.008),
         (1.520, 0.046, 0.047, 0.0, 0.008)),
        TRUNK, "skin", sides=12,
    )  # fmt: skip
    # Kerchief: a soft roll around the neck with its knot in front.
    for height, width, depth in ((1.425, 0.088, 0.076), (1.448, 0.070, 0.066)):
        model.tube(
            ORIGIN, UP, LEFT,
            ((height - 0.019, width * 0.75, depth * 0.75, 0.0, 0.004),
             (height - 0.010, width, depth, 0.0, 0.004), (height + 0.010, width, depth, 0.0, 0.004),
             (height + 0.019, width * 0.75, depth * 0.75, 0.0, 0.004)),
            ((0.0, "chest"), (1.43, "chest"), (1.47, "neck")), "kerchief", sides=16, smooth=2,
        )  # fmt: skip
    model.egg(Vector((0.012, -0.082, 1.418)), (0.020, 0.015, 0.018), "chest", "kerchief")
    for x, lean in ((0.030, 24.0), (-0.006, -14.0)):
        turn = Euler((math.radians(8.0), math.radians(lean), 0.0)).to_matrix()
        model.egg(Vector((x, -0.094, 1.375)), (0.014, 0.006, 0.040), "chest", "kerchief", turn,
                  power=2.6)  # fmt: skip


def _head(model: Model) -> None:
    head = "head"
    at = Vector((0.0, -0.004, 1.605))

    def face(unit: Vector) -> Vector:
        # Narrower towards the chin, flatter in front.
        lower = max(0.0, -unit.z)
        return Vector(
            (unit.x * (1.0 - 0.28 * lower * lower), unit.y * (1.0 - 0.10 * lower), unit.z)
        )

    model.egg(at, (0.092, 0.106, 0.122), head, "skin", sides=20, rings=14, power=2.15, shape=face)
    model.egg(at + Vector((0.0, -0.112, -0.012)), (0.015, 0.018, 0.022), head, "skin")
    for sign in (1.0, -1.0):
        ear = at + Vector((sign * 0.094, 0.010, -0.010))
        model.egg(ear, (0.012, 0.020, 0.028), head, "skin", sides=8, rings=6)
        eye = at + Vector((sign * 0.036, -0.095, 0.010))
        turn = Euler((0.0, 0.0, sign * math.radians(18.0))).to_matrix()
        model.egg(eye, (0.015, 0.010, 0.019), head, "eye white", turn)
        model.egg(eye + Vector((-sign * 0.001, -0.0065, 0.000)), (0.0095, 0.006, 0.0135), head,
                  "face dark", turn)  # fmt: skip
        glint = eye + Vector((0.004, -0.0125, 0.006))
        model.egg(glint, (0.0025, 0.0015, 0.003), head, "eye white", sides=6, rings=4)
        brow = at + Vector((sign * 0.037, -0.101, 0.043))
        tilt = Euler((0.0, sign * math.radians(9.0), sign * math.radians(20.0))).to_matrix()
        model.egg(brow, (0.021, 0.007, 0.006), head, "hair", tilt, sides=8, rings=6)
        # Hair at the temple, swept back under the cap.
        temple = at + Vector((sign * 0.082, 0.002, 0.036))
        model.egg(temple, (0.018, 0.044, 0.050), head, "hair", sides=10, rings=7)
    model.egg(at + Vector((0.003, -0.097, -0.056)), (0.023, 0.008, 0.0055), head, "lips", sides=10,
              rings=5)  # fmt: skip
    model.egg(at + Vector((0.0, 0.032, 0.010)), (0.099, 0.094, 0.112), head, "hair", sides=18,
              rings=12)  # fmt: skip
    lean = Euler((math.radians(11.0), math.radians(-3.0), 0.0)).to_matrix()
    # Flat cap: band, soft crown pushed forward, peak.
    model.egg(at + Vector((0.0, 0.008, 0.073)), (0.109, 0.119, 0.026), head, "cap", lean,
              sides=20, rings=8, power=2.6)  # fmt: skip
    model.egg(at + Vector((0.004, -0.004, 0.100)), (0.121, 0.134, 0.045), head, "cap", lean,
              sides=20, rings=9, power=2.3)  # fmt: skip
    peak = Euler((math.radians(20.0), math.radians(-3.0), 0.0)).to_matrix()
    model.egg(at + Vector((0.002, -0.118, 0.062)), (0.082, 0.058, 0.009), head, "cap", peak,
              sides=18, rings=6, power=2.6)  # fmt: skip
    model.egg(at + Vector((0.004, 0.0, 0.146)), (0.012, 0.012, 0.008), head, "cap", sides=8,
              rings=5)  # fmt: skip


def _arm(model: Model) -> None:
    wrist = UPPER_ARM_LENGTH + FOREARM_LENGTH
    elbow = UPPER_ARM_LENGTH
    stops = (
        (-0.075, "chest"), (-0.045, "shoulder.L"), (-0.015, "shoulder.L"), (0.045, "upper_arm.L"),
        (elbow - 0.045, "upper_arm.L"), (elbow + 0.045, "forearm.L"),
    )  # fmt: skip
    model.tube(
        SHOULDER_JOINT, ARM_DIRECTION, FRONT,
        ((-0.085, 0.030, 0.030), (-0.070, 0.064, 0.060), (-0.030, 0.076, 0.072),
         (0.020, 0.070, 0.066), (0.090, 0.060, 0.058), (0.180, 0.055, 0.053),
         (elbow - 0.04, 0.052, 0.051), (elbow, 0.051, 0.051), (elbow + 0.04, 0.051, 0.050),
         (elbow + 0.10, 0.050, 0.049), (wrist - 0.085, 0.043, 0.042),
         (wrist - 0.055, 0.040, 0.039)),
        stops, "wool", sides=14, smooth=2,
    )  # fmt: skip
    # Armhole of the vest, and the knit cuff.
    model.tube(
        SHOULDER_JOINT, ARM_DIRECTION, FRONT,
        ((-0.062, 0.070, 0.072), (-0.040, 0.087, 0.084), (-0.018, 0.086, 0.082),
         (-0.006, 0.076, 0.073)),
        ((-0.075, "chest"), (-0.040, "shoulder.L")), "oilskin", sides=16, smooth=2,
    )  # fmt: skip


def _hand(model: Model, rest: dict[str, Bone]) -> None:
    wrist = SHOULDER_JOINT + ARM_DIRECTION * (UPPER_ARM_LENGTH + FOREARM_LENGTH)
    stops = ((-0.030, "forearm.L"), (0.012, "hand.L"))
    # Gauntlet, then the palm.
    model.tube(
        wrist, ARM_DIRECTION, FRONT,
        ((-0.098, 0.046, 0.046), (-0.094, 0.058, 0.056), (-0.080, 0.058, 0.056),
         (-0.040, 0.046, 0.044), (-0.008, 0.038, 0.035), (0.012, 0.038, 0.032)),
        stops, "glove", sides=14, smooth=2,
    )  # fmt: skip
    model.tube(
        wrist, ARM_DIRECTION, FRONT,
        ((-0.008, 0.030, 0.024), (0.008, 0.037, 0.029), (0.045, 0.048, 0.030),
         (0.080, 0.050, 0.026), (0.094, 0.044, 0.018)),
        ((0.0, "hand.L"),), "glove", sides=14, power=2.7, smooth=2,
    )  # fmt: skip
    for finger in FINGERS:
        joints = [bone for bone in rest.values() if bone.name.startswith(finger + ".0")]
        joints = [bone for bone in joints if bone.name.endswith(".L")]
        start, end = joints[0].head, joints[-1].tail
        along = (end - start).normalized()
        length = (end - start).length
        wide = {"thumb": 0.0175, "middle": 0.0150, "pinky": 0.0130}.get(finger, 0.0145)
        bones_along = [(0.0, joints[0].name)]
        for before, bone in zip(joints, joints[1:], strict=False):
            at = (bone.head - start).length
            bones_along += [(at - 0.007, before.name), (at + 0.007, bone.name)]
        root = 0.016 if finger == "thumb" else 0.010
        model.tube(
            start, along, FRONT if finger != "thumb" else PALM,
            ((-root - 0.006, wide * 0.7, wide * 0.7), (-root, wide, wide),
             (length * 0.5, wide, wide), (length - 0.002, wide * 0.92, wide * 0.92),
             (length + 0.009, wide * 0.62, wide * 0.62), (length + 0.013, wide * 0.1, wide * 0.1)),
            bones_along, "glove", sides=10, smooth=3,
        )  # fmt: skip


def _leg(model: Model) -> None:
    hip = Vector((0.098, 0.0, 0.925))
    stops = (
        (-0.050, "hips"), (0.060, "thigh.L"), (0.355, "thigh.L"), (0.465, "shin.L"),
        (0.900, "shin.L"),
    )  # fmt: skip
    model.tube(
        hip, -UP, LEFT,
        ((-0.045, 0.040, 0.050), (-0.020, 0.075, 0.086), (0.040, 0.088, 0.096),
         (0.140, 0.085, 0.090), (0.300, 0.071, 0.076, 0.001, 0.010),
         (0.412, 0.064, 0.068, 0.002, 0.012), (0.520, 0.066, 0.070, 0.002, 0.002),
         (0.640, 0.064, 0.070, 0.002, -0.008), (0.680, 0.066, 0.072, 0.002, -0.010),
         (0.690, 0.052, 0.056, 0.002, -0.010)),
        stops, "denim", sides=16, smooth=3,
    )  # fmt: skip


def _boot(model: Model) -> None:
    ankle = Vector((0.100, 0.0, 0.0))
    shaft = ((0.0, "foot.L"), (0.085, "foot.L"), (0.155, "shin.L"))
    model.tube(
        ankle, UP, LEFT,
        ((0.040, 0.046, 0.056, 0.0, 0.014), (0.100, 0.047, 0.056, 0.0, 0.014),
         (0.170, 0.052, 0.058, 0.001, 0.013), (0.260, 0.063, 0.068, 0.002, 0.011),
         (0.300, 0.065, 0.071, 0.002, 0.010), (0.308, 0.050, 0.056, 0.002, 0.010)),
        shaft, "boot", sides=14, smooth=3,
    )  # fmt: skip
    # Turned-down top of the boot.
    model.tube(
        ankle, UP, LEFT,
        ((0.268, 0.060, 0.066, 0.002, 0.011), (0.270, 0.073, 0.079, 0.002, 0.011),
         (0.304, 0.076, 0.082, 0.002, 0.010), (0.308, 0.062, 0.068, 0.002, 0.010)),
        shaft, "belt", sides=14, smooth=2,
    )  # fmt: skip
    heel = Vector((0.100, 0.080, 0.0))
    toes = ((0.165, "foot.L"), (0.225, "toe.L"))
    model.tube(
        heel, FRONT, LEFT,
        ((0.002, 0.030, 0.024, 0.0, 0.052), (0.012, 0.044, 0.036, 0.0, 0.054),
         (0.070, 0.046, 0.044, 0.0, 0.058), (0.130, 0.048, 0.040, 0.002, 0.052),
         (0.200, 0.054, 0.034, 0.003, 0.044), (0.262, 0.052, 0.031, 0.002, 0.042),
         (0.296, 0.036, 0.022, 0.0, 0.036), (0.304, 0.018, 0.012, 0.0, 0.032)),
        toes, "boot", sides=14, power=2.4, smooth=3,
    )  # fmt: skip
    model.tube(
        heel, FRONT, LEFT,
        ((-0.006, 0.034, 0.012, 0.0, 0.014), (0.010, 0.050, 0.014, 0.0, 0.014),
         (0.100, 0.046, 0.013, 0.0, 0.014), (0.190, 0.058, 0.013, 0.003, 0.014),
         (0.266, 0.055, 0.013, 0.002, 0.014), (0.304, 0.034, 0.012, 0.0, 0.015),
         (0.312, 0.014, 0.009, 0.0, 0.016)),
        toes, "sole", sides=12, power=3.6, smooth=3,
    )  # fmt: skip


def _braid(model: Model) -> None:
    model.egg(
        BRAID_ROOT + UP * 0.006, (0.026, 0.026, 0.026), "braid.01.L", "hair", sides=10, rings=7
    )
    beads = 2
    for joint in range(BRAID_BONES):
        bone = f"braid.{joint + 1:02d}.L"
        for bead in range(beads):
            share = (joint * beads + bead) / (BRAID_BONES * beads)
            down = (joint + (bead + 0.5) / beads) * BRAID_LINK
            if joint == BRAID_BONES - 1 and bead == beads - 1:
                continue
            wide = 0.030 - 0.010 * share
            sign = 1.0 if bead % 2 == 0 else -1.0
            for lobe in (1.0, -1.0):
                turn = Euler((0.0, math.radians(lobe * 34.0), 0.0)).to_matrix()
                drop = down + (lobe * sign) * BRAID_LINK * 0.11
                at = BRAID_ROOT - UP * drop + LEFT * (lobe * wide * 0.42)
                model.egg(at, (wide * 0.62, wide * 0.74, BRAID_LINK * 0.46), bone, "hair", turn,
                          sides=9, rings=7)  # fmt: skip
    last = f"braid.{BRAID_BONES:02d}.L"
    end = (BRAID_BONES - 0.5) * BRAID_LINK
    model.tube(
        BRAID_ROOT - UP * (end - 0.004), -UP, LEFT,
        ((0.0, 0.015, 0.015), (0.004, 0.020, 0.020), (0.016, 0.020, 0.020), (0.020, 0.014, 0.014)),
        ((0.0, last),), "tie", sides=10, smooth=1,
    )  # fmt: skip
    model.tube(
        BRAID_ROOT - UP * (end + 0.012), -UP, LEFT,
        ((0.0, 0.012, 0.012), (0.022, 0.024, 0.024), (0.050, 0.018, 0.018), (0.072, 0.003, 0.003)),
        ((0.0, last),), "hair", sides=10, smooth=2,
    )  # fmt: skip


def _belt(model: Model) -> None:
    model.tube(
        ORIGIN, UP, LEFT,
        ((0.996, 0.150, 0.108), (1.000, 0.166, 0.122), (1.034, 0.162, 0.119),
         (1.038, 0.146, 0.106)),
        ((0.0, "hips"),), "belt", sides=24, power=2.3, smooth=1,
    )  # fmt: skip
    model.box(Vector((0.0, -0.122, 1.017)), (0.028, 0.007, 0.024), "hips", "brass")
    model.box(Vector((0.0, -0.127, 1.017)), (0.017, 0.006, 0.013), "hips", "belt")
    for x, y, angle, size in (
        (-0.155, -0.045, 72.0, 1.0), (-0.105, -0.098, 38.0, 0.8), (0.118, 0.088, 145.0, 0.9),
    ):  # fmt: skip
        turn = Matrix.Rotation(math.radians(-angle), 3, "Z")
        if x > 0:
            turn = Matrix.Rotation(math.radians(angle), 3, "Z")
        at = Vector((x, y, 0.978))
        model.box(at, (0.040 * size, 0.024, 0.046 * size), "hips", "belt", turn, 0.010, 0.94)
        lid = at + UP * 0.030 * size
        model.box(lid, (0.043 * size, 0.028, 0.020 * size), "hips", "boot", turn, 0.009)
        stud = lid + turn @ Vector((0.0, -0.029, -0.008))
        model.egg(stud, (0.006, 0.005, 0.006), "hips", "brass", sides=8, rings=5)


def _strap(model: Model, rest: dict[str, Bone]) -> None:
    """Model the strap on her left hip and the cargo hook it carries."""
    first = rest["strap.01"].head
    length = sum((rest[f"strap.{joint:02d}"].tail - rest[f"strap.{joint:02d}"].head).length
                 for joint in range(1, STRAP_BONES + 1))  # fmt: skip
    link = length / STRAP_BONES
    stops = [(0.0, "strap.01")]
    for joint in range(1, STRAP_BONES):
        stops += [(joint * link - 0.02, f"strap.{joint:02d}"),
                  (joint * link + 0.02, f"strap.{joint + 1:02d}")]  # fmt: skip
    model.tube(
        first, -UP, BACK,
        ((-0.02, 0.010, 0.004), (-0.018, 0.018, 0.007), (link * 2.0, 0.017, 0.006),
         (link * 2.1, 0.010, 0.004)),
        stops, "boot", sides=8, power=3.0, smooth=5,
    )  # fmt: skip
    tip = "strap.03"
    grip = first - UP * (link * 2.16)
    model.tube(
        grip - BACK * 0.040, BACK, LEFT,
        ((0.0, 0.006, 0.006), (0.004, 0.013, 0.013), (0.076, 0.013, 0.013), (0.080, 0.006, 0.006)),
        ((0.0, tip),), "wood dark", sides=10, smooth=1,
    )  # fmt: skip
    bend = [grip - UP * 0.01, grip - UP * 0.05]
    for step in range(9):
        angle = math.pi * step / 8.0
        bend.append(grip + Vector((0.0, -0.030 * (1.0 - math.cos(angle)), -0.05)) -
                    UP * 0.034 * math.sin(angle))  # fmt: skip
    for start, end in zip(bend, bend[1:], strict=False):
        model.tube(
            start, end - start, LEFT,
            ((-0.002, 0.0062, 0.0062), ((end - start).length + 0.002, 0.0062, 0.0062)),
            ((0.0, tip),), "steel", sides=6, smooth=1,
        )  # fmt: skip
