# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Turns the tables of the performance into keys on the rig."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from typing import Any

import bpy
from mathutils import Euler, Matrix, Quaternion, Vector

from . import performance as show
from .keys import FLOWING, SETTLING, Key, Tracks
from .reach import Arm, ArmPose, turn_of_axes
from .rig import BALL, FINGERS

BETWEEN_SHOULDERS = Vector((0.0, 0.175, 0.0))
"""In the chest bone's own space."""
HALF_CRATE = Vector((0.23, 0.16, 0.14))
"""Half the length, depth and height of a crate, metres."""


def radians(values: Iterable[float]) -> tuple[float, ...]:
    """Return degrees as radians."""
    return tuple(math.radians(value) for value in values)


def value_at(table: Sequence[tuple[float, ...]], frame: float, column: int) -> float:
    """Return a table's value between its rows, eased; the ends hold."""
    frames = [row[0] for row in table]
    after = bisect_right(frames, frame)
    if after == 0:
        return table[0][column]
    if after == len(table):
        return table[-1][column]
    low, high = table[after - 1], table[after]
    share = (frame - low[0]) / (high[0] - low[0])
    return low[column] + (high[column] - low[column]) * share * share * (3.0 - 2.0 * share)


def heading(angle: float) -> Matrix:
    """Return her own directions (left, forward, up) in the world for a heading in degrees."""
    turn = Matrix.Rotation(math.radians(angle), 3, "Z")
    return turn @ Matrix(((1, 0, 0), (0, -1, 0), (0, 0, 1)))


def key_trunk(tracks: Tracks) -> None:
    """Key hips, spine and chest."""
    for frame, x, y, height, turn, bend, side in show.HIPS:
        # The hip bone stands upright: its own axes are left, up, forward.
        tracks.key_vector("hips", "location", frame, (x, height - 0.95, -y), FLOWING)
        tracks.key_vector("hips", "rotation_euler", frame, radians((bend, turn, side)), FLOWING)
    for bone, table in (("spine", show.SPINE), ("chest", show.CHEST)):
        for frame, bend, twist, side in table:
            tracks.key_vector(bone, "rotation_euler", frame, radians((bend, twist, side)), FLOWING)


def key_head(tracks: Tracks) -> None:
    """Key neck and head: the neck starts, the head follows a frame later and goes farther."""
    for frame, eyes, pitch, tilt in show.LOOK:
        carried_turn = value_at(show.HIPS, frame, 4)
        carried_turn += value_at(show.SPINE, frame, 2) + value_at(show.CHEST, frame, 2)
        carried_bend = value_at(show.HIPS, frame, 5)
        carried_bend += value_at(show.SPINE, frame, 1) + value_at(show.CHEST, frame, 1)
        turn = max(-75.0, min(75.0, eyes - carried_turn))
        bend = max(-38.0, min(40.0, pitch - carried_bend))
        for bone, share, late in (("neck", 0.38, 0), ("head", 0.62, 1)):
            when = min(frame + late, show.LAST_FRAME) if frame > 1 else frame
            tracks.key_vector(
                bone,
                "rotation_euler",
                when,
                radians((bend * share, turn * share, tilt * share)),
                SETTLING,
            )


class _Foot:
    """Where a foot control is keyed, while the steps are laid one after the other."""

    def __init__(self, tracks: Tracks, side: str) -> None:
        self.tracks, self.side, self.bone = tracks, side, f"ctrl_foot.{side}"
        self.rest_x = BALL.x if side == "L" else -BALL.x
        x, y, angle = show.START_FEET[side]
        self.x, self.y, self.angle = x, y, angle
        self._place(show.FIRST_FRAME, x, y, 0.0)
        self._turn(show.FIRST_FRAME, angle)
        for control in ("ctrl_heel", "ctrl_ball", "ctrl_toe"):
            tracks.key(f"{control}.{side}", "rotation_euler", 0, show.FIRST_FRAME, 0.0)

    def _place(self, frame: float, x: float, y: float, z: float) -> None:
        place = (x - self.rest_x, y - BALL.y, z)
        self.tracks.key_vector(self.bone, "location", frame, place)

    def _turn(self, frame: float, angle: float) -> None:
        self.tracks.key(self.bone, "rotation_euler", 2, frame, math.radians(angle))

    def roll(self, control: str, frame: float, angle: float) -> None:
        """Key one of the rolls, degrees; heel up and toes up are positive."""
        sign = {"ctrl_ball": 1.0, "ctrl_heel": -1.0, "ctrl_toe": 1.0}[control]
        bone = f"{control}.{self.side}"
        self.tracks.key(bone, "rotation_euler", 0, frame, sign * math.radians(angle))

    def pivot(self, pivot: show.Pivot) -> None:
        """Turn the planted foot on its ball."""
        self._turn(pivot.first, self.angle)
        self._turn(pivot.last, pivot.heading)
        self.angle = pivot.heading

    def step(self, step: show.Step, heel_at_lift: float | None) -> None:
        """Lay one step: heel up, through the air, heel down, flat."""
        lift, contact = step.lift, step.contact
        if heel_at_lift is None:
            self.roll("ctrl_ball", lift - 5, 0.0)
            heel_at_lift = 34.0
        self.roll("ctrl_ball", lift + 1, heel_at_lift)
        self.roll("ctrl_ball", contact - 1, 0.0)
        self.roll("ctrl_heel", lift + 1, 0.0)
        self.roll("ctrl_heel", contact, step.toes_up)
        self.roll("ctrl_heel", contact + step.flat_after, 0.0)
        self.roll("ctrl_toe", lift, 0.0)
        self.roll("ctrl_toe", lift + 3, 12.0)
        self.roll("ctrl_toe", contact, 0.0)
        middle = lift + 0.45 * (contact - lift)
        self._place(lift, self.x, self.y, 0.0)
        self._place(contact, step.x, step.y, 0.0)
        height = self.tracks.curve(self.bone, "location", 2)
        height[round(middle)] = Key(step.rise)
        # The foot comes down with speed; it does not float onto the ground.
        height[contact] = Key(0.0, SETTLING, slope_before=-0.25 * step.rise, slope_after=0.0)
        self._turn(lift, self.angle)
        self._turn(contact - 1, step.heading)
        self.x, self.y, self.angle = step.x, step.y, step.heading


def key_feet(tracks: Tracks, steps: Sequence[show.Step]) -> None:
    """Key the foot controls from steps, pivots and heel rises, and the knees after them."""
    for side in "LR":
        foot = _Foot(tracks, side)
        moves: list[show.Step | show.Pivot] = [step for step in steps if step.side == side]
        moves += [pivot for pivot in show.PIVOTS if pivot.side == side]
        heels = [rise for rise in show.HEELS if rise.side == side]
        for move in sorted(moves, key=lambda move: move[1]):
            if isinstance(move, show.Pivot):
                foot.pivot(move)
                continue
            before = [rise for rise in heels if move.lift - 12 <= rise.frame <= move.lift]
            foot.step(move, before[-1].angle if before else None)
        for rise in heels:
            foot.roll("ctrl_ball", rise.frame, rise.angle)
        _key_knee(tracks, side)


def _key_knee(tracks: Tracks, side: str) -> None:
    """Point the knee between where the hips and where the toes look."""
    sign = 1.0 if side == "L" else -1.0
    rest = Vector((0.10 * sign, -0.75, 0.52))
    feet = tracks.curve(f"ctrl_foot.{side}", "rotation_euler", 2)
    toes = sorted((frame, math.degrees(key.value)) for frame, key in feet.items())
    for row in show.HIPS:
        frame, x, y, height, turn = row[:5]
        angle = 0.5 * turn + 0.5 * value_at(toes, frame, 1)
        out = heading(turn) @ Vector((0.13 * sign, 0.0, 0.0))
        ahead = heading(angle) @ Vector((0.0, 0.80, 0.0))
        place = Vector((x, y, height - 0.42)) + out + ahead
        tracks.key_vector(f"ctrl_knee.{side}", "location", frame, place - rest, FLOWING)


def crate_in_hands(carry: show.Carry, chest: Matrix) -> Matrix:
    """Return where a carried crate is in the world."""
    turn = math.degrees(_turn_of(chest))
    place = chest @ BETWEEN_SHOULDERS + heading(turn) @ Vector(
        (carry.left, carry.forward, carry.up)
    )
    angles = radians((carry.pitch, -carry.tilt, turn + carry.yaw))
    return stand(place, Euler(angles, "XYZ"))


def stand(place: Any, turn: Any) -> Matrix:
    """Return the matrix of a thing that stands at a place, turned."""
    return Matrix.LocRotScale(place, turn, None)


def carried_at(carries: Sequence[show.Carry], frame: int) -> show.Carry:
    """Return a carry between two of the table, on a smooth curve through its neighbours."""
    rows = [carry for carry in carries if carry.frame <= frame]
    if rows and rows[-1].frame == frame:
        return rows[-1]
    index = len(rows) - 1
    before, after = carries[index], carries[index + 1]
    span = after.frame - before.frame
    share = (frame - before.frame) / span
    first, last = carries[max(index - 1, 0)], carries[min(index + 2, len(carries) - 1)]
    values = []
    for column in range(1, len(before)):
        start, end = before[column], after[column]
        leave = (end - first[column]) / (after.frame - first.frame) * span
        arrive = (last[column] - start) / (last.frame - before.frame) * span
        squared, cubed = share * share, share**3
        values.append(
            start * (2.0 * cubed - 3.0 * squared + 1.0)
            + leave * (cubed - 2.0 * squared + share)
            + end * (3.0 * squared - 2.0 * cubed)
            + arrive * (cubed - squared)
        )
    return show.Carry(frame, *values)


def sample_bones(
    rig: bpy.types.Object, names: Sequence[str], scene: bpy.types.Scene
) -> dict[str, list[Matrix]]:
    """Return the pose matrices of bones on every frame of the shot, first frame first."""
    poses: dict[str, list[Matrix]] = {name: [] for name in names}
    for frame in range(show.FIRST_FRAME, show.LAST_FRAME + 1):
        scene.frame_set(frame)
        for name in names:
            poses[name].append(rig.pose.bones[name].matrix.copy())
    return poses


class ArmActing:
    """Keys one arm: free reaches from its table, and the crates it holds."""

    def __init__(self, rig: bpy.types.Object, side: str, poses: dict[str, list[Matrix]]) -> None:
        self.arm, self.side = Arm(rig, side), side
        self.poses = poses
        self.solved: dict[int, ArmPose] = {}

    def _frame_of(self, bone: str, frame: int) -> Matrix:
        return self.poses[bone][frame - show.FIRST_FRAME]

    def free(self, reach: show.Reach, shoulder: Euler) -> ArmPose:
        """Solve a free reach."""
        chest = self._frame_of("chest", reach.frame)
        carrier = chest if reach.from_chest else self._frame_of("hips", reach.frame)
        start = chest @ BETWEEN_SHOULDERS if reach.from_chest else carrier.translation
        directions = heading(math.degrees(_turn_of(carrier)))
        return self.arm.solve(
            chest,
            shoulder,
            start + directions @ self.arm.outward(reach.place),
            directions @ self.arm.outward(reach.elbow),
            twist=math.radians(reach.twist),
            bend=(math.radians(reach.flex), math.radians(reach.deviation)),
        )

    def holding(self, frame: int, crate: Matrix, shoulder: Euler) -> ArmPose:
        """Solve a hand on the end of a crate: palm to the wood, fingers under the rope."""
        sign = 1.0 if self.side == "L" else -1.0
        directions = heading(math.degrees(_turn_of(self._frame_of("chest", frame))))
        turned = crate.to_3x3()
        up = turned @ Vector((0.0, 0.0, 1.0))
        palm = turned @ Vector((-sign, 0.0, 0.0))
        handle = crate @ Vector((sign * (HALF_CRATE.x + 0.012), 0.0, 0.03))
        elbow_side = directions @ self.arm.outward((0.75, -0.55, -0.25))
        chest = self._frame_of("chest", frame)
        fingers = -up + 0.5 * (directions @ Vector((0.0, 1.0, 0.0)))
        pose = None
        for _ in range(3):
            fingers = (fingers - palm * fingers.dot(palm)).normalized()
            hand = turn_of_axes(fingers, palm)
            wrist = handle - fingers * 0.085 - palm * 0.030
            pose = self.arm.solve(chest, shoulder, wrist, elbow_side, hand=hand)
            # The hand goes on from the forearm, and a little under the crate.
            fingers = pose.forearm_axis - 0.40 * up
        assert pose is not None
        return pose


def _turn_of(bone: Matrix) -> float:
    """Return the heading of an upright bone (hips or chest), radians."""
    front = bone.to_3x3() @ Vector((0.0, 0.0, 1.0))
    return math.atan2(front.x, -front.y)


def collar_turn(pose: ArmPose, side: str) -> Euler:
    """Return the collar bone's turn that goes with an arm pose.

    It rises with the arm beyond 60 degrees (about a third of a degree for each), and comes
    forward with a reach across.
    """
    sign = 1.0 if side == "L" else -1.0
    rise = 0.37 * max(0.0, pose.elevation - math.radians(60.0)) + 0.04 * pose.elevation
    forward = 0.16 * pose.across
    return Euler((forward, 0.0, sign * rise), "ZXY")


def key_arm(tracks: Tracks, side: str, solved: dict[int, tuple[ArmPose, Euler]]) -> None:
    """Key one arm from its solved poses; the collar bone leads by a frame."""
    last: Quaternion | None = None
    for frame in sorted(solved):
        pose, collar = solved[frame]
        turn = pose.upper_arm.copy()
        if last is not None and turn.dot(last) < 0.0:
            turn.negate()
        last = turn
        tracks.key_vector(f"upper_arm.{side}", "rotation_quaternion", frame, turn, FLOWING)
        forearm = (pose.elbow, pose.twist, 0.0)
        tracks.key_vector(f"forearm.{side}", "rotation_euler", frame, forearm, FLOWING)
        tracks.key_vector(f"hand.{side}", "rotation_euler", frame, pose.hand, FLOWING)
        tracks.key_vector(f"shoulder.{side}", "rotation_euler", frame, collar, FLOWING)


def key_fingers(tracks: Tracks, side: str, table: Sequence[tuple[int, str]]) -> None:
    """Key the fingers' poses, the little finger first and the thumb last."""
    sign = 1.0 if side == "L" else -1.0
    for frame, name in table:
        thumb, curls, spread = show.HAND_POSES[name]
        for place, finger in enumerate(FINGERS):
            late = (1, 0, 0, -1, -1)[place] if show.FIRST_FRAME < frame < show.LAST_FRAME else 0
            if finger == "thumb":
                tracks.key(
                    f"thumb.01.{side}", "rotation_euler", 0, frame + late, math.radians(thumb)
                )
                tracks.key(
                    f"thumb.02.{side}", "rotation_euler", 0, frame + late, math.radians(thumb * 1.2)
                )
                continue
            more = (0.0, 0.88, 0.96, 1.04, 1.14)[place]
            aside = sign * spread * (0.0, 1.0, 0.3, -0.4, -1.2)[place]
            for joint, curl in enumerate(curls, start=1):
                bone = f"{finger}.{joint:02d}.{side}"
                when = frame + late
                tracks.key(bone, "rotation_euler", 0, when, math.radians(curl * more))
                if joint == 1:
                    tracks.key(bone, "rotation_euler", 2, when, math.radians(aside))
