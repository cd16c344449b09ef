# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A crane hand keyed pose by pose, as animators key: what is well done is quiet, the rest told.

He signals to the crane: both arms, trunk and head go through four poses with holds between. What
separates the good version from the poor one is only when the keys stand and how they go over into
one another. The skeleton is named in several habits of the trade.
"""

import math

import bpy
import pytest
import rigs
from mathutils import Vector

from fettle.addon import readings
from fettle.addon.sampling import sample_shot
from fettle.addon.subjects import find_subjects
from fettle.core_math import Settings, Severity, Stage

FPS, LAST = 24, 120
POSES = (  # arm, forearm, hand for either side, then chest and head; degrees
    ((0, 0, 0), (0, 0, 0), 0, 0),
    ((60, 55, -6), (12, 25, 4), 9, -14),
    ((25, 30, 8), (70, 40, -8), -7, 12),
    ((45, 75, -5), (30, 62, 6), 8, 15),
    ((0, 0, 0), (0, 0, 0), 0, 0),
)
BEGINS = (10, 34, 60, 86)
LENGTH = 11
OFFSETS = {"upper_arm.L": 0, "forearm.L": 2, "hand.L": 4, "upper_arm.R": 3, "forearm.R": 5,
           "hand.R": 7, "chest": -3, "head": -5}  # fmt: skip
AXES = {"upper_arm": (0, 0, 1), "forearm": (0, 0, 1), "hand": (1, 0, 0)}


def spell_german(bone):
    words = {"root": "Wurzel", "hips": "Becken", "spine": "Wirbel", "chest": "Brust",
             "neck": "Hals", "head": "Kopf", "shoulder": "Schulter", "upper_arm": "Oberarm",
             "forearm": "Unterarm", "hand": "Hand", "thigh": "Oberschenkel",
             "shin": "Unterschenkel", "foot": "Fuss", "toe": "Zehen"}  # fmt: skip
    part, _, side = bone.partition(".")
    return words[part] + {"L": "_links", "R": "_rechts", "": ""}[side]


def spell_prefixed(bone):
    words = {
        "root": "Root",
        "hips": "Hips",
        "spine": "Spine",
        "chest": "Spine1",
        "neck": "Neck",
        "head": "Head",
        "shoulder": "Shoulder",
        "upper_arm": "Arm",
        "forearm": "ForeArm",
        "hand": "Hand",
        "thigh": "UpLeg",
        "shin": "Leg",
        "foot": "Foot",
        "toe": "ToeBase",
    }
    part, _, side = bone.partition(".")
    return "quay:" + {"L": "Left", "R": "Right", "": ""}[side] + words[part]


def build(spell=str):
    """Make the crane hand; returns the rig and the name of each bone."""
    scene = rigs.start_empty()
    scene.render.fps, scene.frame_start, scene.frame_end = FPS, 1, LAST
    table = rigs.full_body()
    names = {bone: spell(bone) for bone in table}
    bones = {
        names[bone]: (names[parent] if parent else None, head, tail)
        for bone, (parent, head, tail) in table.items()
    }
    return rigs.make_armature("Crane hand", bones), names


def act(spell=str, together=False, stepped=0):
    """Key the signals; `together` puts all keys of a pose on one frame, `stepped` holds frames."""
    rig, names = build(spell)
    for part, late in OFFSETS.items():
        bone, side = rig.pose.bones[names[part]], part[-1]
        keys = {}
        for number, begin in enumerate(BEGINS):
            for frame, pose in ((begin, POSES[number]), (begin + LENGTH, POSES[number + 1])):
                keys[frame + (0 if together else late)] = turn_of(part, side, pose)
        rigs.key(bone, "rotation_euler", keys)
    curves = rigs.curves_of(rig)
    for curve in curves:
        for point in curve.keyframe_points:
            point.handle_left_type = point.handle_right_type = "AUTO_CLAMPED"
        curve.update()
    if stepped:
        for curve in curves:
            drawn = [(f, curve.evaluate(f)) for f in range(1, LAST + 1, stepped)]
            curve.keyframe_points.clear()
            for frame, value in drawn:
                curve.keyframe_points.insert(frame, value).interpolation = "CONSTANT"
    return rig, names


def turn_of(part, side, pose):
    """Return the Euler angles of a part in a pose, radians."""
    left, right, chest, head = pose
    if part in ("chest", "head"):
        degrees = (0.2 * chest, chest, 0.0) if part == "chest" else (0.3 * head, head, 0.0)
    else:
        joint = part[:-2]
        amount = (left if side == "L" else right)[("upper_arm", "forearm", "hand").index(joint)]
        degrees = tuple(amount * axis for axis in AXES[joint])
    return tuple(math.radians(angle) for angle in degrees)


def read():
    return readings.read_shot(bpy.context.scene, bpy.context.view_layer, Settings())


def loud(shot, check):
    return [f for f in shot.flags if f.check == check and f.severity >= Severity.CLEAR]


@pytest.mark.parametrize("spell", [str, spell_prefixed, spell_german])
def test_parts_that_start_and_stop_together_are_told_whatever_the_bones_are_called(spell):
    act(spell, together=True)
    shot = read()
    assert not shot.crashes
    (flag,) = loud(shot, "same-frame-moves")
    assert {"head", "chest"} <= {flag.part, *flag.other_parts}
    assert flag.start <= BEGINS[0] + 3 and flag.end >= BEGINS[-1] + LENGTH - 3


@pytest.mark.parametrize("spell", [str, spell_prefixed, spell_german])
def test_offset_parts_are_no_slide_show(spell):
    act(spell)
    assert loud(read(), "same-frame-moves") == []


@pytest.mark.parametrize(
    ("stepped", "stage"), [(0, Stage.SPLINE), (2, Stage.HELD), (3, Stage.HELD), (8, Stage.BLOCKING)]
)
def test_stepped_drawings_are_no_blocking_poses(stepped, stage):
    act(stepped=stepped)
    shot = read()
    (subject,) = shot.subjects
    assert subject.stage is stage
    assert [f for f in shot.flags if f.check in ("stall", "pop", "frozen-hand-pose")] == []


@pytest.mark.parametrize(("depth", "told"), [(0.0, False), (0.010, False), (0.045, True)])
def test_foot_that_sinks_into_the_quay_in_a_stand_is_told(depth, told):
    rig, _ = act()
    foot = rig.pose.bones["foot.R"]
    down = foot.bone.matrix_local.to_3x3().inverted() @ Vector((0.0, 0.0, -depth))
    still, sunk = (0.0, 0.0, 0.0), tuple(down)
    rigs.key(foot, "location", {1: still, 40: still, 50: sunk, 76: sunk, 86: still, LAST: still})
    flags = loud(read(), "foot-off-ground")
    assert bool(flags) is told
    for flag in flags:
        assert flag.part == "foot.R" and 40 <= flag.start <= 52 and 74 <= flag.end <= 86


def test_bones_that_an_importer_made_a_hundred_times_too_long_do_not_make_a_giant():
    rigs.start_empty()
    table = rigs.full_body()
    heights, ends = {}, {}
    for times in (1.0, 100.0, 0.01):
        longer = {
            bone: (above, head, tuple(h + times * (t - h) for h, t in zip(head, tail, strict=True)))
            for bone, (above, head, tail) in table.items()
        }
        rig = rigs.make_armature("Crane hand", longer)
        rigs.swing_body(rig, 12)
        scene, layer = bpy.context.scene, bpy.context.view_layer
        scene.frame_start, scene.frame_end = 1, 12
        (sample,) = sample_shot(scene, layer, find_subjects(scene, layer), (1, 12)).samples
        heights[times] = sample.motion.height
        ends[times] = sample.motion.tail("head")[0]
        bpy.data.objects.remove(rig)
    assert heights[100.0] == pytest.approx(heights[1.0], rel=0.1)
    assert heights[0.01] == pytest.approx(heights[1.0], rel=0.1)
    assert ends[100.0] == pytest.approx(ends[1.0], abs=0.1)
