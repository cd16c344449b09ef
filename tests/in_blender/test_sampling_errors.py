# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Bad input: one clear line that says who, where and what to do, and the others are still read."""

import bpy
import numpy as np
import pytest
import rigs

from fettle.addon.sampling import SamplingError, sample_shot, sample_subject
from fettle.addon.subjects import Subject, find_subjects
from fettle.core_math import SubjectKind

LAST = 20
NAME = "Docker 手 n°1"


@pytest.fixture
def scene():
    return rigs.start_empty()


@pytest.fixture
def rig(scene):
    rig = rigs.make_armature(NAME)
    rigs.swing_body(rig, LAST)
    return rig


def read(scene, frames=(1, LAST)):
    subject = Subject(NAME, SubjectKind.ARMATURE, NAME)
    return sample_subject(scene, bpy.context.view_layer, subject, frames)


def assert_refused(scene, *words, frames=(1, LAST)):
    with pytest.raises(SamplingError) as raised:
        read(scene, frames)
    message = str(raised.value)
    assert "\n" not in message and len(message) < 200
    for word in words:
        assert word in message
    assert len(bpy.data.scenes) == 1


def test_a_name_with_spaces_and_other_letters_is_fine(scene, rig):
    rig.pose.bones["hand.L"].name = "hand.L 手"
    motion = read(scene).motion
    assert motion.subject == NAME and motion.has("hand.L")


def test_frame_range_reversed(scene, rig):
    assert_refused(scene, "20-1", "backwards", "end frame after", frames=(20, 1))


def test_one_frame(scene, rig):
    assert_refused(scene, "frame 7", "end frame after", frames=(7, 7))


def test_no_animation(scene, rig):
    rig.animation_data_clear()
    assert_refused(scene, NAME, "no animation", "two different keys")


def test_no_part_of_a_body(scene):
    bones = {f"thing{i}": (None, (i, 0, 0), (i, 0, 1)) for i in range(3)}
    rig = rigs.make_armature(NAME, bones)
    rigs.key(rig.pose.bones["thing1"], "location", {1: (0, 0, 0), LAST: (1, 0, 0)})
    assert_refused(scene, NAME, "3 bones", "body map")


def test_no_bones(scene):
    rigs.make_armature(NAME, {})
    assert_refused(scene, NAME, "no bones")


def test_scale_zero(scene, rig):
    rig.scale = (0.0, 0.0, 0.0)
    assert_refused(scene, NAME, "no size", "scale of 0")


def test_bones_scaled_to_nothing(scene, rig):
    rig.pose.bones["root"].scale = (0.0, 0.0, 0.0)
    assert_refused(scene, NAME, "no size", "bones without length")


def test_rest_position(scene, rig):
    rig.data.pose_position = "REST"
    assert_refused(scene, NAME, "rest position", "pose position")


def test_edit_mode(scene, rig):
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    try:
        assert_refused(scene, NAME, "leave edit mode")
    finally:
        bpy.ops.object.mode_set(mode="OBJECT")


def test_gone(scene, rig):
    bpy.data.objects.remove(rig)
    assert_refused(scene, NAME, "no longer in the file", "read the shot again")


def break_curve(rig, path, frame):
    for curve in rigs.curves_of(rig):
        if curve.data_path == path:
            for point in curve.keyframe_points:
                if point.co.x == frame:
                    point.co.y = float("nan")


def test_broken_value_in_one_curve_leaves_out_what_hangs_from_it(scene, rig):
    break_curve(rig, 'pose.bones["forearm.L"].rotation_euler', 1)
    motion = read(scene).motion
    assert set(motion.dropped) == {"forearm.L", "hand.L"}
    for reason in motion.dropped.values():
        assert "frame 1" in reason
    assert np.isfinite(motion.heads).all()


def test_broken_value_everywhere(scene, rig):
    break_curve(rig, 'pose.bones["hips"].location', LAST)
    rig.pose.bones["root"].constraints.new("COPY_LOCATION").target = broken = add_broken(scene)
    assert broken.name == "Broken"
    assert_refused(scene, NAME, "broken values")


def add_broken(scene):
    broken = bpy.data.objects.new("Broken", None)
    scene.collection.objects.link(broken)
    rigs.key(broken, "location", {1: (0, 0, 0), LAST: (1, 0, 0)})
    for curve in rigs.curves_of(broken):
        curve.keyframe_points[0].co.y = float("nan")
    return broken


def test_the_others_are_still_read(scene, rig):
    rigs.swing_body(rigs.make_armature("Good"), LAST)
    rig.scale = (0.0, 0.0, 0.0)
    bpy.context.view_layer.update()
    layer = bpy.context.view_layer
    shot = sample_shot(scene, layer, find_subjects(scene, layer), (1, LAST))
    assert [s.motion.subject for s in shot.samples] == ["Good"]
    assert [f.subject.name for f in shot.failures] == [NAME]
    assert "no size" in shot.failures[0].message
