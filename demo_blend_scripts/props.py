# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Keys of the things she handles: the crates in her hands and in the air, the cart that gives."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import bpy
from mathutils import Euler, Matrix, Vector

from . import performance as show
from .acting import HALF_CRATE, carried_at, crate_in_hands, stand
from .keys import FLOWING, SETTLING, Key, Tracks, ensure_curve

GRAVITY = 9.81
CART_BED = 0.56
CART = Vector((2.24, 0.16, 0.0))
STACK_TOP = 0.56
PALLET = 0.13
CART_NAME = "Cart"
ROLL = 0.05
"""How far a landing pushes the cart, metres."""
WHEEL_RADIUS = 0.29
WHEELS = {
    "Wheel near left": (-0.55, -0.50),
    "Wheel near right": (0.55, -0.50),
    "Wheel far left": (-0.55, 0.50),
    "Wheel far right": (0.55, 0.50),
}
"""Each wheel's place on the cart."""


class Throw(NamedTuple):
    """One crate's way: rests, is carried, flies, lands."""

    crate: str
    rest: tuple[float, float, float]
    rest_yaw: float
    grip: int
    lift: int
    carries: tuple[show.Carry, ...]
    landing_frame: int
    landing: tuple[float, float, float]
    landing_yaw: float


THROWS = (
    Throw(
        "Crate A", (-2.440, -0.220, STACK_TOP + HALF_CRATE.z), -58.0, show.GRIP_A, show.LIFT_A,
        show.CARRY_A,
        show.LANDING_A, (2.32, 0.15, CART_BED + HALF_CRATE.z), 84.0,
    ),
    Throw(
        "Crate B", (-0.660, -0.380, PALLET + HALF_CRATE.z), -14.0, show.GRIP_B, show.LIFT_B,
        show.CARRY_B,
        show.LANDING_B, (1.90, 0.17, CART_BED + HALF_CRATE.z), 96.0,
    ),
)  # fmt: skip


def rest_matrix(throw: Throw) -> Matrix:
    """Return where the crate stands before she takes it."""
    turn = Euler((0.0, 0.0, math.radians(throw.rest_yaw)))
    return stand(Vector(throw.rest), turn)


def key_crate(throw: Throw, chest: Sequence[Matrix]) -> Tracks:
    """Return the keys of one crate through its throw; `chest` is her chest on every frame."""
    tracks = Tracks()
    ground = rest_matrix(throw)
    for frame in (show.FIRST_FRAME, throw.lift):
        _key_matrix(tracks, frame, ground, SETTLING)
    for frame in held_frames(throw):
        _key_matrix(tracks, frame, _carried(throw, frame, chest), FLOWING)
    _key_flight(tracks, throw, _carried(throw, throw.carries[-1].frame, chest))
    return tracks


def held_frames(throw: Throw) -> list[int]:
    """Return the frames on which a held crate is keyed: every other one, and the release."""
    first, last = throw.carries[0].frame, throw.carries[-1].frame
    return sorted({*range(last, first - 1, -2), first})


def touched_frames(throw: Throw) -> list[int]:
    """Return the frames on which hands are keyed to the crate, from grip to release."""
    lifting = range(throw.lift, throw.carries[0].frame, 2)
    return sorted({throw.grip, *lifting, *held_frames(throw)})


def _carried(throw: Throw, frame: int, chest: Sequence[Matrix]) -> Matrix:
    carry = carried_at(throw.carries, frame)
    return crate_in_hands(carry, chest[frame - show.FIRST_FRAME])


def _key_matrix(tracks: Tracks, frame: float, matrix: Matrix, kind: str) -> None:
    place, turn, _ = matrix.decompose()
    tracks.key_vector("", "location", frame, place, kind)
    tracks.key_vector("", "rotation_euler", frame, turn.to_euler("XYZ"), kind)


def _key_flight(tracks: Tracks, throw: Throw, start: Matrix) -> None:
    """Key the free flight: a parabola is exactly one Bezier span, then a short bounce."""
    release = throw.carries[-1].frame
    land = throw.landing_frame
    frames = land - release
    seconds = frames / show.FPS
    for index in range(3):
        here, there = start.translation[index], throw.landing[index]
        speed = (there - here) / frames
        fall = 0.5 * GRAVITY * seconds * seconds / frames if index == 2 else 0.0
        curve = tracks.curve("", "location", index)
        curve[release] = Key(here, FLOWING, speed + fall, speed + fall)
        curve[land] = Key(there, SETTLING, speed - fall, 0.0)
    rest = CART_BED + HALF_CRATE.z
    height = tracks.curve("", "location", 2)
    height[land] = Key(rest, SETTLING, height[land].slope_before, 0.016)
    height[land + 3] = Key(rest + 0.020)
    height[land + 6] = Key(rest, SETTLING, -0.010, 0.0)
    slide = tracks.curve("", "location", 0)
    slide[land] = replace(slide[land], slope_after=0.01)
    for landing in [other.landing_frame for other in THROWS if other.landing_frame >= land]:
        ridden = ROLL * sum(land <= other.landing_frame <= landing for other in THROWS)
        if landing > land:
            slide[landing] = Key(throw.landing[0] + ridden - ROLL)
        slide[landing + 8] = Key(throw.landing[0] + ridden)
    yaw = math.radians(throw.landing_yaw)
    for index, angle in enumerate((0.0, 0.0, yaw)):
        turn = tracks.curve("", "rotation_euler", index)
        turn[land] = Key(angle + (0.05, -0.06, -0.03)[index], FLOWING)
        turn[land + 3] = Key(angle + (-0.02, 0.03, 0.01)[index])
        turn[land + 6] = Key(angle)


def key_cart() -> Tracks:
    """Return the keys of the cart: it answers each landing, dips, rolls a little, settles."""
    tracks = Tracks()
    x = CART.x
    tracks.key("", "location", 0, show.FIRST_FRAME, x)
    for throw in THROWS:
        land = throw.landing_frame
        tracks.key("", "location", 0, land, x)
        x += ROLL
        tracks.key("", "location", 0, land + 8, x)
        for frame, angle in ((0, 0.0), (2, 1.4), (6, -0.6), (10, 0.25), (14, 0.0)):
            tracks.key("", "rotation_euler", 1, land + frame, math.radians(angle))
    return tracks


HOLDS = {
    "L": ((show.GRIP_A, show.GRIP_B), (show.RELEASE_A_LEFT, show.RELEASE_B_LEFT)),
    "R": ((show.REST_A_RIGHT, show.REACH_B_RIGHT), (show.RELEASE_A_RIGHT, show.RELEASE_B_RIGHT)),
}
"""First and last frames of each hand on each crate."""


class CrateMotion:
    """Where a crate is between its keys, as Blender reads them."""

    def __init__(self, throw: Throw, chest: Sequence[Matrix]) -> None:
        self._probe = bpy.data.objects.new(f"{throw.crate} path", None)
        key_crate(throw, chest).write(self._probe)

    def remove(self) -> None:
        """Take the probe out of the file again."""
        action: Any = self._probe.animation_data.action
        bpy.data.objects.remove(self._probe)
        bpy.data.actions.remove(action)

    def at(self, frame: float) -> Matrix:
        """Return the crate's place and turn at a frame."""
        place, turn = (
            [ensure_curve(self._probe, channel, index).evaluate(frame) for index in range(3)]
            for channel in ("location", "rotation_euler")
        )
        return stand(Vector(place), Euler(turn, "XYZ"))
