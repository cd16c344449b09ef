# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""From where a picture is drawn, and what a stick figure is made of."""

import figure
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fettle.core_math.camera import SensorFit, ShotCamera
from fettle.core_math.picture_view import (
    choose_view,
    draw_sticks,
    find_trail_part,
    measure_spacing,
)

FRAMES = 12


def make_camera(position, rotation, **changes):
    """A camera that stands still; rotation as SciPy's, wxyz inside."""
    ones = np.ones(FRAMES)
    settings = {
        "name": "Cam",
        "positions": np.tile(position, (FRAMES, 1)).astype(float),
        "rotations": np.tile(rotation.as_quat(scalar_first=True), (FRAMES, 1)),
        "lens_mm": 50.0 * ones,
        "sensor_mm": np.tile([36.0, 24.0], (FRAMES, 1)),
        "sensor_fit": SensorFit.AUTO,
        "shift": np.zeros((FRAMES, 2)),
        "resolution": (1920.0, 1080.0),
        "pixel_aspect": (1.0, 1.0),
        "clip_m": np.tile([0.1, 100.0], (FRAMES, 1)),
        "focus_m": 5.0 * ones,
        "f_stop": 2.8 * ones,
        "depth_of_field": False,
        "orthographic": False,
        "ortho_scale": 6.0 * ones,
        "motion_blur": False,
        "shutter_frames": 0.5,
    }
    return ShotCamera(**{**settings, **changes})


LOOKS_ALONG_Y = Rotation.from_euler("x", 90, degrees=True)


def test_camera_view_agrees_with_blenders_own_projection():
    # Published values of the host's default camera at the origin looking along +Y (50 mm lens,
    # 36 mm sensor, 1920 x 1080), from bpy_extras: (1, 10, 0) -> u 0.6388889 of the width,
    # (0, 10, 1) -> v 0.7469135 of the height. At 10 m the picture is 10 * 36 / 50 = 7.2 m wide.
    motion = figure.make_motion({}, FRAMES, camera=make_camera((0, 0, 0), LOOKS_ALONG_Y))
    around = np.array([[-1.0, 10.0, -1.0], [1.0, 10.0, 1.0]])
    view = choose_view(motion, 3, around)
    places = view.project(np.array([[1.0, 10.0, 0.0], [0.0, 10.0, 1.0], [0.0, 20.0, 1.0]]))
    assert places[0, 0] == pytest.approx((0.6388889 - 0.5) * 7.2, abs=1e-6)
    assert places[1, 1] == pytest.approx((0.7469135 - 0.5) * 7.2 * 1080 / 1920, abs=1e-6)
    assert places[2, 1] == pytest.approx(places[1, 1] / 2.0)  # twice as far, half as large
    assert view.name == "Cam" and view.distance == pytest.approx(10.0)


def test_subject_off_the_cameras_axis_keeps_its_perspective():
    motion = figure.make_motion({}, FRAMES, camera=make_camera((0, 0, 0), LOOKS_ALONG_Y))
    view = choose_view(motion, 0, np.array([[3.0, 10.0, 2.0], [5.0, 10.0, 2.0]]))
    near, far = view.project(np.array([[4.0, 10.0, 2.0], [4.0, 20.0, 2.0]]))
    np.testing.assert_allclose(far, near / 2.0)


def test_what_lies_behind_the_camera_has_no_place():
    motion = figure.make_motion({}, FRAMES, camera=make_camera((0, 0, 0), LOOKS_ALONG_Y))
    view = choose_view(motion, 0, np.array([[0.0, 10.0, 0.0], [1.0, 10.0, 0.0]]))
    assert np.isnan(view.project(np.array([0.0, -1.0, 0.0]))).all()


def test_orthographic_camera_shows_true_lengths():
    camera = make_camera((0, -8, 1), LOOKS_ALONG_Y, orthographic=True)
    motion = figure.make_motion({}, FRAMES, camera=camera)
    view = choose_view(motion, 0, motion.head("head"))
    a, b = view.project(np.array([[0.3, 5.0, 1.0], [0.7, -5.0, 1.2]]))
    np.testing.assert_allclose(b - a, [0.4, 0.2], atol=1e-12)


def test_camera_inside_or_turned_away_gives_way_to_a_view_from_aside():
    for position, rotation in (
        ((0, -5, 1), Rotation.from_euler("x", -90, degrees=True)),
        ((0, 0, 0.9), LOOKS_ALONG_Y),
    ):
        motion = figure.make_motion({}, FRAMES, camera=make_camera(position, rotation))
        view = choose_view(motion, 0, motion.head("head"))
        assert view.name == "from aside" and np.isinf(view.distance)


def test_without_a_camera_one_looks_square_to_the_motion_from_the_front():
    motion = figure.make_motion({}, FRAMES)
    across = np.stack((np.linspace(-1, 1, 9), np.zeros(9), np.ones(9)), axis=-1)
    view = choose_view(motion, 0, across)
    # The figure faces -Y: seen from the front its left (+X) is on the right of the picture.
    np.testing.assert_allclose(view.axes, [[1, 0, 0], [0, 0, 1], [0, -1, 0]], atol=1e-12)
    along = np.stack((np.zeros(9), np.linspace(-1, 1, 9), np.ones(9)), axis=-1)
    sideways = choose_view(motion, 0, along)
    assert abs(sideways.axes[0] @ [0, 1, 0]) == pytest.approx(1.0)
    np.testing.assert_allclose(
        np.linalg.det(sideways.axes), 1.0, err_msg="a mirrored picture would swap left and right"
    )


def test_stick_figure_has_its_limbs_joined_and_no_fingers():
    motion = figure.make_motion({}, FRAMES)
    view = choose_view(motion, 0, np.array([[-1.0, 0, 0], [1.0, 0, 2.0]]))
    sticks = dict(draw_sticks(motion, 0, view))
    assert not [part for part in sticks if part.split(".")[0] in ("index", "thumb")]
    np.testing.assert_allclose(sticks["forearm.L"][1], sticks["upper_arm.L"][-1], atol=1e-9)
    shoulder = view.project(motion.head("shoulder.L")[0])
    np.testing.assert_allclose(sticks["shoulder.L"][1], shoulder, atol=1e-9)
    top = view.project(motion.tail("head")[0])
    np.testing.assert_allclose(sticks["head"][-1], top, atol=1e-9)


def test_trail_of_a_flag_is_its_own_part_or_the_nearest_thing():
    motion = figure.make_motion({}, FRAMES, without=("hand.L",))
    assert find_trail_part(motion, "hand.R") == "hand.R"
    assert find_trail_part(motion, "hand.L", ("forearm.L",)) == "forearm.L"
    assert find_trail_part(motion, "camera") == "hips"


def test_spacing_is_the_mean_of_the_steps_around_a_frame():
    path = np.array([[0.0, 0, 0], [1, 0, 0], [3, 0, 0], [3, 4, 0]])
    np.testing.assert_allclose(measure_spacing(path), [1.0, 1.5, 3.0, 4.0])
    assert measure_spacing(path[:1]).tolist() == [0.0]
