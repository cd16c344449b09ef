# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Flags baked into scene markers: nothing doubled, nothing of the user's touched."""

from dataclasses import replace

import bpy
import pytest

from fettle.addon import markers
from fettle.core_math import Flag, Severity, Unit


def make_flag(peak=29, part="hand.L", check="ik-lock", severity=Severity.CLEAR):
    return Flag(
        check=check,
        code="held-in-world",
        subject="Rig",
        part=part,
        start=peak - 4,
        end=peak + 6,
        peak=peak,
        severity=severity,
        confidence=0.9,
        value=0.04,
        unit=Unit.RATIO,
        limit=0.12,
        message="The left hand keeps its world angle.",
        suggestion="Let it turn with the arm.",
    )


FLAGS = [make_flag(29), make_flag(61, "head", "pop", Severity.GLARING), make_flag(90, "foot.R")]


@pytest.fixture
def scene():
    bpy.ops.wm.read_factory_settings(use_empty=True)
    return bpy.context.scene


def list_markers(scene):
    return [(marker.name, marker.frame, marker.camera) for marker in scene.timeline_markers]


def add_user_markers(scene):
    """Markers out of order in time, one bound to a camera, one named and placed like ours."""
    camera = bpy.data.objects.new("Cam", bpy.data.cameras.new("Cam"))
    scene.collection.objects.link(camera)
    scene.timeline_markers.new("second idea", frame=80)
    bound = scene.timeline_markers.new("cut", frame=40)
    bound.camera = camera
    scene.timeline_markers.new(markers.name_marker(FLAGS[0]), frame=FLAGS[0].peak)
    return list_markers(scene)


def test_each_flag_becomes_a_marker_at_its_peak(scene):
    outcome = markers.bake_markers(scene, FLAGS)
    assert outcome == markers.BakeOutcome(added=3, kept=0, updated=0, removed=0)
    assert [(name, frame) for name, frame, _ in list_markers(scene)] == [
        ("hand.L: ik-lock (clear)", 29),
        ("head: pop (glaring)", 61),
        ("foot.R: ik-lock (clear)", 90),
    ]
    assert not any(marker.select for marker in scene.timeline_markers)


def test_baking_twice_changes_nothing(scene):
    markers.bake_markers(scene, FLAGS)
    before = list_markers(scene)
    outcome = markers.bake_markers(scene, FLAGS)
    assert outcome == markers.BakeOutcome(added=0, kept=3, updated=0, removed=0)
    assert list_markers(scene) == before


def test_user_markers_keep_their_order_and_camera(scene):
    theirs = add_user_markers(scene)
    markers.bake_markers(scene, FLAGS)
    markers.bake_markers(scene, FLAGS[:1])
    assert list_markers(scene)[: len(theirs)] == theirs
    assert markers.remove_baked(scene) == 1
    assert list_markers(scene) == theirs


def test_renamed_and_moved_markers_stay_ours_and_as_the_user_wants_them(scene):
    markers.bake_markers(scene, FLAGS)
    scene.timeline_markers[0].name = "ask about this"
    scene.timeline_markers[1].frame = 70
    outcome = markers.bake_markers(scene, FLAGS)
    assert outcome.kept == 3
    assert scene.timeline_markers[0].name == "ask about this"
    assert scene.timeline_markers[1].frame == 70
    assert len(scene.timeline_markers) == 3
    assert markers.remove_baked(scene) == 3
    assert len(scene.timeline_markers) == 0


def test_marker_follows_a_flag_that_moved_or_grew_worse(scene):
    first = make_flag(29)
    worse = replace(first, peak=28, severity=Severity.GLARING)
    assert worse.id == first.id
    markers.bake_markers(scene, [first])
    outcome = markers.bake_markers(scene, [worse])
    assert outcome == markers.BakeOutcome(added=0, kept=0, updated=1, removed=0)
    assert list_markers(scene) == [("hand.L: ik-lock (glaring)", 28, None)]


def test_a_copy_the_user_made_of_our_marker_is_theirs(scene):
    markers.bake_markers(scene, FLAGS[:1])
    copy = scene.timeline_markers.new("hand.L: ik-lock (clear)", frame=50)
    markers.register()
    setattr(copy, markers.TAG, getattr(scene.timeline_markers[0], markers.TAG))
    markers.unregister()
    assert markers.remove_baked(scene) == 1
    assert [frame for _, frame, _ in list_markers(scene)] == [50]


def test_markers_are_recognised_after_saving_and_in_a_copied_scene(scene, tmp_path):
    add_user_markers(scene)
    markers.bake_markers(scene, FLAGS)
    path = tmp_path / "shot.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.wm.open_mainfile(filepath=str(path))
    scene = bpy.context.scene
    copy = scene.copy()
    assert markers.remove_baked(scene) == 3
    assert markers.bake_markers(copy, FLAGS).kept == 3
    assert len(scene.timeline_markers) == 3
    assert len(copy.timeline_markers) == 6


def test_a_long_part_name_in_another_script_still_fits(scene):
    flag = make_flag(part="strand:" + "編み髪" * 12)
    markers.bake_markers(scene, [flag])
    name = scene.timeline_markers[0].name
    assert len(name.encode()) <= markers.LONGEST_NAME
    assert name.endswith(": ik-lock (clear)")
    assert markers.bake_markers(scene, [flag]).kept == 1


def test_a_tag_that_is_not_ours_is_left_alone(scene):
    markers.register()
    setattr(scene.timeline_markers.new("odd", frame=5), markers.TAG, "not a tag")
    markers.unregister()
    assert markers.remove_baked(scene) == 0
    assert len(scene.timeline_markers) == 1


def test_nothing_stays_registered_on_markers(scene):
    markers.bake_markers(scene, FLAGS)
    markers.remove_baked(scene)
    assert not hasattr(bpy.types.TimelineMarker, markers.TAG)
