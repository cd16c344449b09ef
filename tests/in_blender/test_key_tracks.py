# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The keys behind each part, whichever way this Blender keeps its actions."""

import bpy
import numpy as np
import pytest
import rigs

from fettle.addon import compat
from fettle.addon.animation_data import list_played_curves
from fettle.addon.curve_tables import PlayedCurves
from fettle.addon.key_tracks import iterate_key_tracks
from fettle.core_math import run_steps


@pytest.fixture
def scene():
    return rigs.start_empty()


def tracks(owner, factor=1.0, **bones):
    return run_steps(iterate_key_tracks(PlayedCurves(owner), bones, factor))


def test_keys_of_the_bone_and_its_controls_together(scene):
    rig = rigs.make_armature()
    hand, chest = rig.pose.bones["hand.L"], rig.pose.bones["chest"]
    rigs.key(hand, "rotation_euler", {1: (0, 0, 0), 9.5: (1, 0, 0)})
    rigs.key(chest, "location", {1: (0, 0, 0), 5: (1, 0, 0)})
    found = tracks(rig, hand=["hand.L", "chest"], head=["head"])
    assert list(found) == ["hand"]
    assert found["hand"].frames.tolist() == [1.0, 5.0, 9.5]
    assert found["hand"].controls == ("hand.L", "chest")


def test_a_key_is_stepped_when_all_curves_hold_it(scene):
    rig = rigs.make_armature()
    bone = rig.pose.bones["head"]
    rigs.key(bone, "rotation_euler", {1: (0, 0, 0), 5: (1, 0, 0), 9: (0, 0, 0)}, "CONSTANT")
    assert tracks(rig, head=["head"])["head"].stepped.tolist() == [True, True, True]
    rigs.curves_of(rig)[0].keyframe_points[1].interpolation = "LINEAR"
    assert tracks(rig, head=["head"])["head"].stepped.tolist() == [True, False, True]


def test_the_object_itself(scene):
    rig = rigs.make_armature()
    rigs.key(rig, "location", {2: (0, 0, 0), 6: (1, 0, 0)})
    rigs.key(rig, "hide_viewport", {4: False})  # no movement
    assert tracks(rig, root=["root", ""])["root"].frames.tolist() == [2.0, 6.0]


def test_muted_curves_and_names_with_quotes(scene):
    rig = rigs.make_armature(bones={'a "b" [c]\\d': (None, (0, 0, 0), (0, 0, 1))})
    bone = rig.pose.bones[0]
    rigs.key(bone, "location", {1: (0, 0, 0), 3: (1, 0, 0)})
    rigs.key(bone, "scale", {2: (1, 1, 1)})
    for curve in rigs.curves_of(rig):
        curve.mute = curve.data_path.endswith("scale")
    assert tracks(rig, part=[bone.name])["part"].frames.tolist() == [1.0, 3.0]


def test_reversed_strip_and_its_action_range(scene):
    rig = rigs.make_armature()
    rigs.key(rig.pose.bones["head"], "rotation_euler", {0: (0, 0, 0), 4: (1, 0, 0), 20: (0, 0, 1)})
    data = rig.animation_data
    slot = getattr(data, "action_slot", None)
    strip = data.nla_tracks.new().strips.new("Back", 101, data.action)
    if slot is not None:
        strip.action_slot = slot
    strip.action_frame_start, strip.action_frame_end = 0.0, 10.0
    strip.use_reverse = True
    data.action = None
    # Action frames 10 to 0 play from 101 on: frame 4 at 101 + 6, frame 0 at 101 + 10.
    assert tracks(rig, head=["head"])["head"].frames.tolist() == pytest.approx([107.0, 111.0])


def test_a_muted_track_and_a_solo_one(scene):
    rig = rigs.make_armature()
    rigs.key(rig.pose.bones["head"], "rotation_euler", {1: (0, 0, 0), 5: (1, 0, 0)})
    data = rig.animation_data
    action, slot = data.action, getattr(data, "action_slot", None)
    tracks_made = []
    for name, start in (("One", 11), ("Other", 31)):
        track = data.nla_tracks.new()
        strip = track.strips.new(name, start, action)
        if slot is not None:
            strip.action_slot = slot
        tracks_made.append(track)
    tracks_made[0].mute = True
    frames = tracks(rig, head=["head"])["head"].frames
    assert frames.tolist() == [1.0, 5.0, 31.0, 35.0]
    tracks_made[0].mute = False
    tracks_made[1].is_solo = True
    assert tracks(rig, head=["head"])["head"].frames.tolist() == [31.0, 35.0]


@pytest.mark.skipif(not compat.HAS_SLOTS, reason="actions have slots from 4.4 on")
def test_two_characters_in_one_action_have_their_own_slots(scene):
    one, other = rigs.make_armature("One"), rigs.make_armature("Other")
    action = bpy.data.actions.new("Both")
    for rig in (one, other):
        rig.animation_data_create().action = action
        rig.animation_data.action_slot = action.slots.new("OBJECT", rig.name)
    rigs.key(one.pose.bones["head"], "location", {1: (0, 0, 0), 3: (1, 0, 0)})
    rigs.key(other.pose.bones["head"], "location", {7: (0, 0, 0), 9: (1, 0, 0)})
    assert tracks(one, head=["head"])["head"].frames.tolist() == [1.0, 3.0]
    assert tracks(other, head=["head"])["head"].frames.tolist() == [7.0, 9.0]
    one.animation_data.action_slot = None
    assert list_played_curves(one) == []


def test_time_remapping(scene):
    rig = rigs.make_armature()
    rigs.key(rig.pose.bones["head"], "location", {10: (0, 0, 0), 20: (1, 0, 0)})
    frames = tracks(rig, 0.5, head=["head"])["head"].frames
    np.testing.assert_allclose(frames, [20.0, 40.0])
