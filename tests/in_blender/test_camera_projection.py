# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Our projection against Blender's own `world_to_camera_view`, for every kind of camera."""

import bpy
import numpy as np
import pytest
import rigs
from bpy_extras.object_utils import world_to_camera_view
from mathutils import Vector

from fettle.addon.sampling import sample_shot
from fettle.addon.subjects import find_subjects
from fettle.core_math.measures import optics

FIRST, LAST = 1, 12
PICTURES = {
    "landscape": (1920, 1080, 1.0, 1.0),
    "portrait": (1080, 1920, 1.0, 1.0),
    "square": (1000, 1000, 1.0, 1.0),
    "wide pixels": (720, 576, 1.0667, 1.0),
    "tall pixels": (720, 720, 1.0, 1.5),
}
LENSES = {
    "normal": {"lens": 50.0},
    "wide, shifted": {"lens": 18.0, "shift_x": 0.15, "shift_y": -0.3},
    "odd sensor": {"lens": 85.0, "sensor_width": 24.0, "sensor_height": 36.0, "shift_y": 0.1},
    "orthographic": {"type": "ORTHO", "ortho_scale": 7.5, "shift_x": 0.2, "shift_y": 0.05},
}


@pytest.fixture
def scene():
    scene = rigs.start_empty()
    rigs.swing_body(rigs.make_armature(), LAST)
    lens = bpy.data.cameras.new("Cam")
    scene.camera = bpy.data.objects.new("Cam", lens)
    scene.collection.objects.link(scene.camera)
    scene.camera.location = (0.7, -6.0, 1.9)
    scene.camera.rotation_euler = (1.35, 0.06, 0.1)
    return scene


def sample(scene):
    layer = bpy.context.view_layer
    layer.update()
    shot = sample_shot(scene, layer, find_subjects(scene, layer), (FIRST, LAST))
    assert not shot.failures
    return shot.samples[0].motion


def list_points():
    """Points all over the view and outside of it, none near the plane of the camera."""
    generator = np.random.default_rng(7)
    return generator.uniform((-6.0, 1.0, -3.0), (6.0, 40.0, 7.0), (120, 3))


def ask_host(scene, points):
    """Return Blender's own answer, per frame and point: left, bottom, depth."""
    answer = []
    for frame in range(FIRST, LAST + 1):
        scene.frame_set(frame)
        seen = [world_to_camera_view(scene, scene.camera, Vector(point)) for point in points]
        answer.append([tuple(place) for place in seen])
    return np.array(answer)


def assert_as_the_host(scene):
    points = list_points()
    camera = sample(scene).camera
    count = LAST - FIRST + 1
    places, depths = camera.project(np.tile(points, (count, 1, 1)))
    host = ask_host(scene, points)
    away = np.linalg.norm(places - host[..., :2], axis=-1)
    inside = ((host[..., :2] > 0.0) & (host[..., :2] < 1.0)).all(axis=-1)
    assert inside.sum() > LAST, "points in the picture are what matters"
    assert away[inside].max() <= 1e-6
    # Blender keeps matrices in single precision: far outside the picture its rounding grows.
    assert away.max() <= 1e-5
    np.testing.assert_allclose(depths, host[..., 2], rtol=1e-6, atol=1e-5)


@pytest.mark.parametrize("fit", ["AUTO", "HORIZONTAL", "VERTICAL"])
@pytest.mark.parametrize("picture", list(PICTURES))
@pytest.mark.parametrize("lens", list(LENSES))
def test_places_in_the_picture_are_the_hosts(scene, lens, picture, fit):
    scene.camera.data.sensor_fit = fit
    for name, value in LENSES[lens].items():
        setattr(scene.camera.data, name, value)
    render = scene.render
    width, height, across, upward = PICTURES[picture]
    render.resolution_x, render.resolution_y = width, height
    render.pixel_aspect_x, render.pixel_aspect_y = across, upward
    assert_as_the_host(scene)


def test_everything_animated_at_once(scene):
    camera, lens = scene.camera, scene.camera.data
    rigs.key(camera, "location", {1: (0.7, -6.0, 1.9), LAST: (-1.5, -4.5, 1.2)})
    rigs.key(camera, "rotation_euler", {1: (1.35, 0.06, 0.1), LAST: (1.5, -0.2, -0.3)})
    rigs.key(lens, "lens", {1: 24.0, LAST: 85.0})
    rigs.key(lens, "shift_x", {1: -0.1, LAST: 0.4})
    rigs.key(lens, "shift_y", {1: 0.2, LAST: 0.0})
    rigs.key(lens, "sensor_width", {1: 36.0, LAST: 24.9})
    assert_as_the_host(scene)


def test_animated_orthographic_scale(scene):
    scene.camera.data.type = "ORTHO"
    rigs.key(scene.camera.data, "ortho_scale", {1: 4.0, LAST: 11.0})
    assert_as_the_host(scene)


def test_a_camera_that_a_constraint_aims(scene):
    target = bpy.data.objects.new("Aim", None)
    scene.collection.objects.link(target)
    rigs.key(target, "location", {1: (-1.0, 0.0, 1.0), LAST: (2.0, 1.0, 1.4)})
    aim = scene.camera.constraints.new("TRACK_TO")
    aim.target, aim.track_axis, aim.up_axis = target, "TRACK_NEGATIVE_Z", "UP_Y"
    assert_as_the_host(scene)


def test_published_places_of_the_default_lens(scene):
    """36 mm and 50 mm at 16:9, from the field of view 2 atan(sensor / (2 f))."""
    scene.camera.location = (0.0, 0.0, 0.0)
    scene.camera.rotation_euler = (np.pi / 2, 0.0, 0.0)
    camera = sample(scene).camera
    points = np.array([(1.0, 10.0, 0.0), (0.0, 10.0, 1.0), (3.6, 10.0, 0.0), (0.0, 10.0, 2.025)])
    places, _ = camera.project(np.tile(points, (LAST, 1, 1)))
    expected = [(0.6388889, 0.5), (0.5, 0.7469136), (1.0, 0.5), (0.5, 1.0)]
    np.testing.assert_allclose(places[0], expected, atol=1e-6)


def test_focus_on_an_object_is_the_distance_the_blur_is_made_from(scene):
    """Focus at 3 m with 50 mm and f/2.8: 6 m away a point is 0.1513317 mm wide on the sensor."""
    scene.camera.location = (0.0, 0.0, 0.0)
    scene.camera.rotation_euler = (np.pi / 2, 0.0, 0.0)
    target = bpy.data.objects.new("Focus", None)
    scene.collection.objects.link(target)
    rigs.key(target, "location", {1: (2.0, 3.0, 1.0), LAST: (0.0, 5.0, -1.0)})
    dof = scene.camera.data.dof
    dof.use_dof, dof.focus_object, dof.aperture_fstop = True, target, 2.8
    camera = sample(scene).camera
    # Along the view axis, whatever the target's place across it.
    assert camera.focus_m[0] == pytest.approx(3.0, abs=1e-6)
    assert camera.focus_m[-1] == pytest.approx(5.0, abs=1e-6)
    disc = optics.blur_disc_mm(camera.lens_mm[0], camera.f_stop[0], camera.focus_m[0], 6.0)
    assert disc == pytest.approx(0.1513317, abs=1e-6)
