# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The edits that make the first take out of the clean one: known faults at known frames.

Each fault is what slips through on a first spline pass. The faults of one body part lie
apart in time, so that each can be seen by itself.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import bpy
from mathutils import Euler, Quaternion

from . import overlap
from . import performance as show
from .keys import FLOWING, SETTLING, Key, Tracks, ensure_curve
from .rig import FINGERS, other_side


class PlantedFault(NamedTuple):
    """One fault of the first take: its name in the trade's words, where and when it is seen."""

    name: str
    part: str
    first: int
    last: int


PLANTED_FAULTS = (
    PlantedFault("copied strands", "strand:braid.01.R", 1, 150),
    PlantedFault("late camera", "camera", 16, 46),
    PlantedFault("hips ignore the weight of a step", "hips", 35, 43),
    PlantedFault("foot settles softly", "foot.L", 45, 53),
    PlantedFault("hand locked to the world", "hand.L", 49, 62),
    PlantedFault("break in the arc", "hand.R", 62, 62),
    PlantedFault("same hand pose throughout", "hand.L", 67, 150),
    PlantedFault("planted foot slides", "foot.L", 72, 82),
    PlantedFault("chest does not answer the arms", "chest", 93, 115),
    PlantedFault("mirrored arms", "upper_arm.R", 120, 148),
    PlantedFault("one-frame pop", "head", 150, 150),
)
"""Every fault planted in take 1: parts by their plain names, frames of the scene."""

LOCK_FIRST, LOCK_LAST = 49, 62
ARC_BREAK_FRAME = 62
ARC_BREAK_TURN = math.radians(13.0)
ARC_BREAK_AXIS = (0.45, 0.0, -0.89)
"""Lifts the hand across its way in the picture, not towards the lens."""
FROZEN_FROM = 65
SLIDE_FIRST, SLIDE_LAST, SLIDE = 72, 82, (-0.14, 0.02)
WELD_FIRST, WELD_LAST = 93, 115
MIRROR_FROM = 120
MIRROR_EVERY = 2
HEAD_POP = (math.radians(9.0), math.radians(-15.0), math.radians(4.0))
TWINS_FROM = 124
TWINS = (
    show.Reach(128, (0.252, 0.020, 0.150), (1.0, -0.40, 0.05), 10.0, 30.0, -8.0),
    show.Reach(136, (0.420, 0.180, 0.120), (0.6, -0.7, -0.4), -30.0, -12.0, 4.0),
    show.Reach(145, (0.252, 0.020, 0.150), (1.0, -0.40, 0.05), 10.0, 30.0, -8.0),
    show.Reach(150, (0.250, 0.012, 0.144), (1.0, -0.44, 0.02), 11.0, 33.0, -9.0),
)
SOFT_STEP_LIFT, SOFT_FLAT_AFTER = 37, 8
WEIGHTLESS_FIRST, WEIGHTLESS_LAST = 33, 43
CAMERA_WAITS_UNTIL, CAMERA_CATCHES_UP = 34, 46


def faulty_steps() -> tuple[show.Step, ...]:
    """Return the steps with the heavy one settling softly."""
    return tuple(
        step._replace(flat_after=SOFT_FLAT_AFTER) if step.lift == SOFT_STEP_LIFT else step
        for step in show.STEPS
    )


def twin_reaches() -> tuple[show.Reach, ...]:
    """Return the left arm's moves with an ending made to be mirrored: hips, a shrug, hips."""
    kept = tuple(reach for reach in show.ARM_LEFT if reach.frame < TWINS_FROM)
    return (*kept, *TWINS)


def spoil_body(tracks: Tracks) -> None:
    """Plant the faults of hips, chest, feet and fingers, before the arms are laid on them."""
    _float_hips(tracks)
    _weld_chest(tracks)
    _slide_foot(tracks)
    _freeze_fingers(tracks)


def _float_hips(tracks: Tracks) -> None:
    height = tracks.curve("hips", "location", 1)
    level = height[28].value
    for frame in [frame for frame in height if WEIGHTLESS_FIRST <= frame <= WEIGHTLESS_LAST]:
        height[frame] = Key(level, SETTLING)
    side = tracks.curve("hips", "rotation_euler", 2)
    for frame in [frame for frame in side if WEIGHTLESS_FIRST <= frame <= WEIGHTLESS_LAST]:
        side[frame] = Key(0.0, SETTLING)


def _weld_chest(tracks: Tracks) -> None:
    for bone in ("spine", "chest"):
        for index in range(3):
            curve = tracks.curve(bone, "rotation_euler", index)
            inside = sorted(frame for frame in curve if WELD_FIRST - 3 <= frame <= WELD_LAST)
            value = curve[inside[0]].value * 0.5
            for frame in inside:
                del curve[frame]
            curve[WELD_FIRST] = curve[WELD_LAST] = Key(value, SETTLING)


def _slide_foot(tracks: Tracks) -> None:
    lift = next(step.lift for step in show.STEPS if step.side == "L" and step.lift > SLIDE_LAST)
    for index, way in enumerate(SLIDE):
        curve = tracks.curve("ctrl_foot.L", "location", index)
        stood = curve[lift].value
        curve[SLIDE_FIRST] = Key(stood)
        curve[SLIDE_LAST] = curve[lift] = Key(stood + way)


def _freeze_fingers(tracks: Tracks) -> None:
    for bone, channel, index in list(tracks.curves):
        if bone.startswith(FINGERS) and bone.endswith(".L"):
            curve = tracks.curve(bone, channel, index)
            for frame in [frame for frame in curve if frame > FROZEN_FROM + 2]:
                del curve[frame]


def mirror_arms(tracks: Tracks, rig: bpy.types.Object) -> None:
    """Let the right arm do what the left one does, mirrored, from one frame on.

    The left arm's curves have to be in the rig's action already: they are read from there.
    """
    frames = [*range(MIRROR_FROM, show.LAST_FRAME, MIRROR_EVERY), show.LAST_FRAME]
    for bone in ("shoulder", "upper_arm", "forearm", "hand"):
        half = _half_of(tracks, rig, bone) if bone == "upper_arm" else 1.0
        for name, channel, index in tracks.of_bone(f"{bone}.L"):
            left = ensure_curve(rig, f'pose.bones["{name}"].{channel}', index)
            right = tracks.curve(other_side(name), channel, index)
            for frame in [frame for frame in right if frame >= MIRROR_FROM]:
                del right[frame]
            sign = half * _mirror_sign(channel, index)
            for frame in frames:
                right[frame] = Key(sign * left.evaluate(frame), FLOWING)


def _mirror_sign(channel: str, index: int) -> float:
    """Return -1 for turns about a bone's own length and width: mirrored, they change sign."""
    own_x = 1 if channel == "rotation_quaternion" else 0
    return -1.0 if index > own_x else 1.0


def _half_of(tracks: Tracks, rig: bpy.types.Object, bone: str) -> float:
    """Return the sign that keeps the mirrored quaternions on the side of those before."""
    channel = "rotation_quaternion"
    match = 0.0
    for index in range(4):
        left = ensure_curve(rig, f'pose.bones["{bone}.L"].{channel}', index)
        right = tracks.curve(f"{bone}.R", channel, index)
        before = right[max(frame for frame in right if frame < MIRROR_FROM)].value
        match += before * _mirror_sign(channel, index) * left.evaluate(MIRROR_FROM)
    return -1.0 if match < 0.0 else 1.0


def copy_braid(tracks: Tracks) -> None:
    """Paste the left braid's curves on the right one."""
    for bone in overlap.STRANDS[0].bones:
        for (name, channel, index), curve in tracks.of_bone(bone).items():
            tracks.curves[(other_side(name), channel, index)] = dict(curve)


def break_arc(rig: bpy.types.Object) -> None:
    """Throw the right hand off its arc for one frame, by the upper arm."""
    path = 'pose.bones["upper_arm.R"].rotation_quaternion'
    curves = [ensure_curve(rig, path, index) for index in range(4)]
    turns = {
        frame: Quaternion([curve.evaluate(frame) for curve in curves])
        for frame in range(ARC_BREAK_FRAME - 1, ARC_BREAK_FRAME + 2)
    }
    off = Quaternion(ARC_BREAK_AXIS, ARC_BREAK_TURN)
    turns[ARC_BREAK_FRAME] = turns[ARC_BREAK_FRAME].normalized() @ off
    for frame, turn in turns.items():
        for index, curve in enumerate(curves):
            _pin(curve, frame, turn[index])


def pop_head(rig: bpy.types.Object) -> None:
    """Turn the head aside on the very last frame."""
    for index, turn in enumerate(HEAD_POP):
        curve = ensure_curve(rig, 'pose.bones["head"].rotation_euler', index)
        before = curve.evaluate(show.LAST_FRAME - 1)
        last = curve.evaluate(show.LAST_FRAME)
        _pin(curve, show.LAST_FRAME - 1, before)
        _pin(curve, show.LAST_FRAME, last + turn)


def lock_hand(rig: bpy.types.Object, scene: bpy.types.Scene) -> None:
    """Hold the left hand by a control in the world while the arm swings under it."""
    hand, control = rig.pose.bones["hand.L"], rig.pose.bones["ctrl_hand.L"]
    scene.frame_set(LOCK_FIRST)
    bpy.context.view_layer.update()
    held = control.bone.matrix_local.inverted() @ hand.matrix
    held_turn = held.to_euler("XYZ")
    drift = Euler((math.radians(0.8), math.radians(-0.6), math.radians(0.5)))
    tracks = Tracks()
    for frame, share in ((LOCK_FIRST, 0.0), (LOCK_LAST, 1.0)):
        turn = [held_turn[index] + share * drift[index] for index in range(3)]
        tracks.key_vector("ctrl_hand.L", "rotation_euler", frame, turn)
    tracks.write(rig)
    hold = hand.constraints.new("COPY_ROTATION")
    hold.name = "Held by the world"
    hold.target, hold.subtarget = rig, control.name
    curve = ensure_curve(rig, f'pose.bones["hand.L"].constraints["{hold.name}"].influence', 0)
    for frame, influence in (
        (LOCK_FIRST - 3, 0.0),
        (LOCK_FIRST, 1.0),
        (LOCK_LAST, 1.0),
        (LOCK_LAST + 7, 0.0),
    ):
        _pin(curve, frame, influence)


def late_camera(tracks: Tracks) -> None:
    """Keep the camera waiting while she leaves, then rush it after her."""
    for (_, _, _), curve in list(tracks.curves.items()):
        start = curve[1.0].value if 1.0 in curve else curve[1].value
        goal = curve[max(frame for frame in curve if frame <= CAMERA_CATCHES_UP + 8)].value
        for frame in [frame for frame in curve if 1 < frame <= CAMERA_CATCHES_UP + 8]:
            del curve[frame]
        curve[CAMERA_WAITS_UNTIL] = Key(start, SETTLING)
        curve[CAMERA_CATCHES_UP] = Key(goal, SETTLING)


def _pin(curve: bpy.types.FCurve, frame: float, value: float) -> None:
    """Set a key that leaves its neighbours' handles flat towards it."""
    point = curve.keyframe_points.insert(frame, value, options={"FAST"})
    point.interpolation = "BEZIER"
    point.handle_left_type = point.handle_right_type = SETTLING
    curve.update()
