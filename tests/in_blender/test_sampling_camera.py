# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The shot camera: which one looks, cuts at bound markers, everything about it per frame."""

import bpy
import numpy as np
import pytest
import rigs

from fettle.addon.sampling import SamplingError, sample_shot
from fettle.addon.subjects import find_cameras, find_subjects
from fettle.core_math import SensorFit

LAST = 30


@pytest.fixture
def scene():
    scene = rigs.start_empty()
    rigs.swing_body(rigs.make_armature(), LAST)
    scene.camera = add_camera(scene, "Wide")
    return scene


def add_camera(scene, name):
    camera = bpy.data.objects.new(name, bpy.data.cameras.new(name))
    scene.collection.objects.link(camera)
    return camera


def read(scene, **options):
    bpy.context.view_layer.update()
    layer = bpy.context.view_layer
    shot = sample_shot(scene, layer, find_subjects(scene, layer), (1, LAST), **options)
    assert not shot.failures
    return shot.samples[0].motion


def bind(scene, frame, camera):
    marker = scene.timeline_markers.new(f"to {camera.name}", frame=frame)
    marker.camera = camera


def test_everything_that_can_be_animated_is_read_per_frame(scene):
    camera = scene.camera
    lens = camera.data
    rigs.key(camera, "location", {1: (0, -5, 1), LAST: (1, -6, 2)})
    rigs.key(camera, "rotation_euler", {1: (1.5, 0, 0), LAST: (1.2, 0.1, 0.5)})
    rigs.key(lens, "lens", {1: 35.0, LAST: 85.0})
    rigs.key(lens, "shift_x", {1: 0.0, LAST: 0.1})
    rigs.key(lens.dof, "aperture_fstop", {1: 2.8, LAST: 8.0})
    lens.dof.use_dof, lens.sensor_fit = True, "VERTICAL"
    lens.sensor_width, lens.sensor_height = 24.0, 18.0
    scene.render.resolution_x, scene.render.resolution_y = 1920, 800
    scene.render.resolution_percentage, scene.render.pixel_aspect_y = 50, 1.5
    scene.render.use_motion_blur, scene.render.motion_blur_shutter = True, 0.4
    shot = read(scene).camera
    rows = []
    for frame in range(1, LAST + 1):
        scene.frame_set(frame)
        rows.append((lens.lens, lens.shift_x, lens.dof.aperture_fstop))
    np.testing.assert_allclose(shot.lens_mm, [row[0] for row in rows], atol=1e-5)
    np.testing.assert_allclose(shot.shift[:, 0], [row[1] for row in rows], atol=1e-6)
    np.testing.assert_allclose(shot.f_stop, [row[2] for row in rows], atol=1e-5)
    host = rigs.ask_host(camera, [""], 1, LAST)[:, 0]
    np.testing.assert_allclose(shot.positions, host[:, :3, 3], atol=1e-5)
    from scipy.spatial.transform import Rotation

    mine = Rotation.from_quat(np.roll(shot.rotations, -1, axis=-1)).as_matrix()
    np.testing.assert_allclose(mine, host[:, :3, :3], atol=1e-5)
    assert shot.name == "Wide" and shot.names == ()
    assert shot.sensor_fit is SensorFit.VERTICAL
    assert shot.sensor_mm[0].tolist() == [24.0, 18.0]
    assert shot.resolution == (960.0, 400.0)
    assert shot.pixel_aspect == (1.0, 1.5)
    assert (shot.depth_of_field, shot.orthographic) == (True, False)
    assert shot.motion_blur and shot.shutter_frames == pytest.approx(0.4)


def test_focus_on_a_moving_thing_is_measured_along_the_view_axis(scene):
    camera = scene.camera
    camera.rotation_euler = (np.pi / 2, 0.0, 0.0)  # looks along +Y
    camera.location = (0.0, -4.0, 0.0)
    target = bpy.data.objects.new("Focus", None)
    scene.collection.objects.link(target)
    rigs.key(target, "location", {1: (1.0, 0.0, 0.5), LAST: (-2.0, 3.0, 0.0)})
    camera.data.dof.focus_object = target
    shot = read(scene).camera
    assert shot.focus_m[0] == pytest.approx(4.0, abs=1e-5)
    assert shot.focus_m[-1] == pytest.approx(7.0, abs=1e-5)


def test_focus_on_a_bone(scene):
    camera = scene.camera
    camera.rotation_euler = (np.pi / 2, 0.0, 0.0)
    camera.location = (0.0, -4.0, 0.0)
    rig = bpy.data.objects["Rig"]
    camera.data.dof.focus_object, camera.data.dof.focus_subtarget = rig, "hand.L"
    shot = read(scene).camera
    hand = rigs.ask_host(rig, ["hand.L"], 1, LAST)[:, 0, 1, 3]
    np.testing.assert_allclose(shot.focus_m, hand + 4.0, atol=1e-5)


def test_bound_markers_switch_the_camera_and_cut(scene):
    near, far = add_camera(scene, "Near"), add_camera(scene, "Far")
    near.location, far.location = (1, 0, 0), (2, 0, 0)
    bind(scene, 10, near)
    bind(scene, 15, near)  # the same camera again: no cut
    bind(scene, 20, far)
    scene.timeline_markers.new("only a note", frame=25)
    motion = read(scene)
    assert motion.cuts == (20,)
    # Before the first bound marker its camera looks already, as the host has it.
    expected = []
    for frame in range(1, LAST + 1):
        scene.frame_set(frame)
        expected.append(scene.camera.name)
    assert list(motion.camera.names) == expected
    assert motion.camera.positions[:, 0].tolist() == [1.0] * 19 + [2.0] * 11
    assert [shot.camera.name for shot in motion.shots()] == ["Near", "Far"]
    assert [shot.frames[0] for shot in motion.shots()] == [1, 20]


def test_a_camera_hidden_from_render_is_not_switched_to(scene):
    near, far = add_camera(scene, "Near"), add_camera(scene, "Far")
    far.hide_render = True
    bind(scene, 1, near)
    bind(scene, 15, far)
    motion = read(scene)
    assert motion.cuts == () and motion.camera.name == "Near"


def test_a_named_camera_looks_throughout(scene):
    add_camera(scene, "Near")
    assert read(scene, camera="Near").camera.name == "Near"
    assert find_cameras(scene) == ["Wide", "Near"]


@pytest.mark.parametrize(
    ("name", "words"),
    [("Cám 日本", "is not there"), ("Rig", "is no camera (armature)")],
)
def test_a_camera_that_is_not_there(scene, name, words):
    with pytest.raises(SamplingError) as raised:
        read(scene, camera=name)
    assert name in str(raised.value) and words in str(raised.value)
    assert "Wide" in str(raised.value) and "\n" not in str(raised.value)


def test_no_camera_is_no_error(scene):
    scene.camera = None
    assert read(scene).camera is None


def test_orthographic_camera_in_other_units(scene):
    scene.unit_settings.system, scene.unit_settings.scale_length = "METRIC", 0.01
    lens = scene.camera.data
    lens.type, lens.ortho_scale, lens.clip_end = "ORTHO", 300.0, 5000.0
    lens.dof.focus_distance = 400.0
    shot = read(scene).camera
    assert shot.orthographic
    assert shot.ortho_scale[0] == pytest.approx(3.0)
    assert shot.clip_m[0, 1] == pytest.approx(50.0)
    assert shot.focus_m[0] == pytest.approx(4.0)


def test_after_a_cut_everything_is_the_other_cameras(scene):
    near, wide = add_camera(scene, "Near"), scene.camera
    wide.data.type, wide.data.ortho_scale = "ORTHO", 7.0
    near.data.dof.use_dof, near.data.sensor_fit = True, "VERTICAL"
    near.data.clip_start = 0.5
    near.location, near.rotation_euler = (0.3, -4.0, 0.6), (1.4, 0.0, 0.1)
    wide.location, wide.rotation_euler = (0.0, -6.0, 0.5), (1.5, 0.1, 0.0)
    rigs.key(near.data, "lens", {15: 35.0, LAST: 85.0})
    rigs.key(near.data, "shift_y", {15: 0.0, LAST: 0.2})
    bind(scene, 1, wide)
    bind(scene, 15, near)
    motion = read(scene)
    first, last = (shot.camera for shot in motion.shots())
    assert (first.orthographic, first.depth_of_field) == (True, False)
    assert (last.orthographic, last.depth_of_field) == (False, True)
    assert (first.sensor_fit, last.sensor_fit) == (SensorFit.AUTO, SensorFit.VERTICAL)
    assert (first.clip_m[0, 0], last.clip_m[0, 0]) == pytest.approx((0.1, 0.5))
    # What each camera shows is where the host puts it, on both sides of the cut.
    from bpy_extras.object_utils import world_to_camera_view
    from mathutils import Vector

    points = np.tile([0.4, 0.2, 0.9], (LAST, 1))
    places, _ = motion.camera.project(points)
    for frame in (1, 14, 15, 22, LAST):
        scene.frame_set(frame)
        host = world_to_camera_view(scene, scene.camera, Vector(points[0]))
        assert places[frame - 1] == pytest.approx(tuple(host)[:2], abs=1e-5)


def test_a_panoramic_camera_is_told(scene):
    scene.camera.data.type = "PANO"
    assert read(scene).camera.panoramic
