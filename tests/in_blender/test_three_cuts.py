# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A shot with three cuts by markers bound to cameras: each stretch is read by itself."""

from dataclasses import replace

import bpy
import numpy as np
import pytest
import rigs
from mathutils import Vector

from fettle.addon.sampling import sample_shot
from fettle.addon.subjects import find_subjects
from fettle.core_math import ALL_CHECKS, run_checks

LAST = 96
CUTS = (25, 49, 51)
"""The third stretch is an insert of two frames."""

PLACES = {"Wide": (0.0, -7.0, 1.2), "Left": (-2.0, -4.0, 1.6), "Right": (2.5, -4.5, 1.4)}
ORDER = ("Wide", "Left", "Right", "Wide")
ACROSS_CUTS = ("pop", "stall", "arc-break", "strobe", "camera-hitch", "framing-drift")
"""What a cut looks like to whoever does not know that it is one."""


@pytest.fixture
def scene():
    scene = rigs.start_empty()
    rig = rigs.make_armature()
    # The rig is put elsewhere for the insert, as staging for a camera does.
    away, home = (-0.3, 0.2, 0.0), (0.0, 0.0, 0.0)
    rigs.key(rig, "location", {1: home, 48: home, 49: away, 50: away, 51: home}, "LINEAR")
    rigs.swing_body(rig, LAST)
    for name, place in PLACES.items():
        camera = bpy.data.objects.new(name, bpy.data.cameras.new(name))
        scene.collection.objects.link(camera)
        camera.location = place
        way = Vector((0.0, 0.0, 1.0)) - camera.location
        camera.rotation_euler = way.to_track_quat("-Z", "Y").to_euler()
    for frame, name in zip((1, *CUTS), ORDER, strict=True):
        marker = scene.timeline_markers.new(name, frame=frame)
        marker.camera = bpy.data.objects[name]
    return scene


def read(scene):
    layer = bpy.context.view_layer
    layer.update()
    shot = sample_shot(scene, layer, find_subjects(scene, layer), (1, LAST))
    assert not shot.failures
    return shot.samples[0].motion


def list_flags(motion):
    reading = run_checks(motion, [check for check in ALL_CHECKS if check.id in ACROSS_CUTS])
    assert reading.crashes == ()
    return reading.flags


def test_each_stretch_has_its_own_camera(scene):
    shots = read(scene).shots()
    assert [shot.camera.name for shot in shots] == list(ORDER)
    assert [(shot.frame(0), shot.frame(-1)) for shot in shots] == [
        (1, 24), (25, 48), (49, 50), (51, 96)
    ]  # fmt: skip
    for shot, name in zip(shots, ORDER, strict=True):
        expected = np.tile(PLACES[name], (shot.frame_count, 1))
        np.testing.assert_allclose(shot.camera.positions, expected, atol=1e-6)


def test_what_jumps_at_a_cut_is_no_pop(scene):
    around = {frame for cut in CUTS for frame in (cut - 1, cut)}
    touching = [f for f in list_flags(read(scene)) if around & set(range(f.start, f.end + 1))]
    assert [(f.check, f.part, f.start, f.end) for f in touching] == []


def test_without_the_cuts_the_same_jumps_are_found(scene):
    """The other way round: the test above would not pass by deafness."""
    found = list_flags(replace(read(scene), cuts=()))
    assert any(flag.start <= 50 and flag.end >= 49 for flag in found)
