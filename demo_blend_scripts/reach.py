# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""From where a hand should be to the turns of collar bone, upper arm, forearm and hand.

The arms are plain forward bones. A pose is thought of as a place for the wrist and a
side for the elbow; here it becomes the turns to key, as an animator matches one with
the other.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import bpy
from mathutils import Euler, Matrix, Quaternion, Vector

from .rig import FOREARM_LENGTH, UPPER_ARM_LENGTH

LONGEST_REACH = 0.985 * (UPPER_ARM_LENGTH + FOREARM_LENGTH)
"""An arm stretched farther than this looks, and behaves, like a stick."""


def turn_of_axes(y_axis: Any, z_axis: Any) -> Matrix:
    """Return the turn, 3x3, that has these unit vectors as its Y and Z axes."""
    return Matrix((y_axis.cross(z_axis), y_axis, z_axis)).transposed()


class ArmPose(NamedTuple):
    """Turns of one arm at one frame, as they are keyed."""

    upper_arm: Quaternion
    elbow: float
    twist: float
    hand: Euler
    elevation: float
    """Angle of the upper arm from hanging straight down along the chest, radians."""
    across: float
    """How far the upper arm points to the front of the chest, -1 to 1."""
    forearm_axis: Vector
    """Direction from elbow to wrist in the armature's space."""


class Arm:
    """One arm's rest geometry, and the solver for its pose."""

    def __init__(self, rig: bpy.types.Object, side: str) -> None:
        rest = {
            name: rig.data.bones[f"{name}.{side}"].matrix_local.copy()
            for name in ("shoulder", "upper_arm", "forearm", "hand")
        }
        chest = rig.data.bones["chest"].matrix_local
        self.side = side
        self.shoulder_in_chest = chest.inverted() @ rest["shoulder"]
        self.upper_in_shoulder = rest["shoulder"].inverted() @ rest["upper_arm"]
        self.hand_in_forearm = (rest["forearm"].inverted() @ rest["hand"]).to_3x3()

    def outward(self, place: tuple[float, float, float]) -> Vector:
        """Return (outward, forward, up) as her own (left, forward, up)."""
        sign = 1.0 if self.side == "L" else -1.0
        return Vector((sign * place[0], place[1], place[2]))

    def solve(
        self,
        chest: Matrix,
        shoulder: Euler,
        wrist: Vector,
        elbow_side: Vector,
        hand: Matrix | None = None,
        twist: float = 0.0,
        bend: tuple[float, float] = (0.0, 0.0),
    ) -> ArmPose:
        """Return the pose that brings the wrist to its place.

        Parameters
        ----------
        chest : Matrix
            The chest bone's pose matrix.
        shoulder : Euler
            The collar bone's own turn.
        wrist, elbow_side : Vector
            Place of the wrist and direction of the elbow, in the armature's space.
        hand : Matrix, 3x3, optional
            Orientation the hand has to take; otherwise `twist` and `bend` (wrist closing
            and sideways, radians) are taken.
        """
        collar = chest @ self.shoulder_in_chest @ shoulder.to_matrix().to_4x4()
        socket = collar @ self.upper_in_shoulder
        joint = socket.translation
        line = wrist - joint
        reach = min(line.length, LONGEST_REACH)
        along = line.normalized()
        foot = (UPPER_ARM_LENGTH**2 - FOREARM_LENGTH**2 + reach**2) / (2.0 * reach)
        height = math.sqrt(max(UPPER_ARM_LENGTH**2 - foot**2, 0.0))
        aside = (elbow_side - along * elbow_side.dot(along)).normalized()
        elbow = joint + along * foot + aside * height
        forearm = (joint + along * reach - elbow).normalized()
        y_axis = (elbow - joint).normalized()
        z_axis = (forearm - y_axis * forearm.dot(y_axis)).normalized()
        upper = turn_of_axes(y_axis, z_axis)
        hinge = y_axis.angle(forearm)
        in_forearm = upper @ Matrix.Rotation(hinge, 3, "X")
        if hand is not None:
            twist, hand_turn = self._split(in_forearm, hand)
        else:
            hand_turn = Euler((bend[0], 0.0, bend[1] * (1.0 if self.side == "L" else -1.0)))
            twist = twist * (1.0 if self.side == "L" else -1.0)
        in_chest = chest.to_3x3().inverted() @ y_axis
        return ArmPose(
            (socket.to_3x3().inverted() @ upper).to_quaternion(),
            hinge,
            twist,
            hand_turn,
            math.acos(max(-1.0, min(1.0, -in_chest.y))),
            in_chest.z,
            forearm,
        )

    def _split(self, in_forearm: Matrix, hand: Matrix) -> tuple[float, Euler]:
        """Split the hand's turn into the forearm's twist and what is left to the wrist."""
        offset = self.hand_in_forearm
        turn = (in_forearm.inverted() @ hand @ offset.inverted()).to_quaternion()
        twist = 2.0 * math.atan2(turn.y, turn.w)
        twist = (twist + math.pi) % (2.0 * math.pi) - math.pi
        swing = Quaternion((0.0, 1.0, 0.0), twist).inverted() @ turn
        return twist, (offset.inverted() @ swing.to_matrix() @ offset).to_euler("XYZ")
