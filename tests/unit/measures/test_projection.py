# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Projection against the pinhole formula and the values Blender's own projection gives.

fov = 2 atan(sensor / 2f) for a 36 mm sensor and a 50 mm lens is 39.597753 degrees across and
22.895192 degrees upward at 16:9; the places below were computed with world_to_camera_view for the
default camera at 1920 x 1080 looking along +Y.
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fettle.core_math.measures.projection import (
    Lens,
    place_pictures,
    project,
    projected_size,
    view_coordinates,
)


def make_lens(**fields):
    options = {
        "focal_mm": np.array([50.0]),
        "sensor_mm": np.array([[36.0, 24.0]]),
        "fit": "auto",
        "shift": np.zeros((1, 2)),
        "picture": (1920.0, 1080.0),
        "orthographic": False,
        "ortho_scale": np.array([6.0]),
    }
    return Lens(**{**options, **fields})


FORWARD = Rotation.from_euler("x", 90, degrees=True).as_quat(scalar_first=True)[np.newaxis]
ORIGIN = np.zeros((1, 3))


@pytest.mark.parametrize(
    ("position", "u", "v"),
    [
        ((1, 10, 0), 0.6388889, 0.5),
        ((0, 10, 1), 0.5, 0.7469135),
        ((3.6, 10, 0), 1.0, 0.5),
        ((0, 10, 2.025), 0.5, 1.0),
    ],
)
def test_places_agree_with_the_host(position, u, v):
    places, depths = project(np.array([[position]], float), ORIGIN, FORWARD, make_lens())
    assert places[0, 0] == pytest.approx((u, v), abs=1e-6)
    assert depths[0, 0] == pytest.approx(10.0)


@pytest.mark.parametrize(("degrees", "axis"), [(39.597753, 0), (22.895192, 2)])
def test_edge_of_the_picture_lies_at_half_the_field_of_view(degrees, axis):
    position = np.array([[[0.0, 1.0, 0.0]]])
    position[..., axis] = np.tan(np.radians(degrees / 2))
    places, _ = project(position, ORIGIN, FORWARD, make_lens())
    assert places[0, 0, 0 if axis == 0 else 1] == pytest.approx(1.0, abs=1e-7)


def test_tall_picture_takes_the_sensor_upward():
    tall = make_lens(picture=(1080.0, 1920.0))
    places, _ = project(np.array([[[0.0, 10.0, 3.6]]]), ORIGIN, FORWARD, tall)
    assert places[0, 0] == pytest.approx((0.5, 1.0))


def test_behind_the_camera_is_no_place():
    places, depths = project(np.array([[[0.0, -1.0, 0.0]]]), ORIGIN, FORWARD, make_lens())
    assert np.isnan(places).all() and depths[0, 0] == pytest.approx(-1.0)


def test_orthographic_picture_does_not_depend_on_distance():
    lens = make_lens(orthographic=True)
    near, _ = project(np.array([[[3.0, 1.0, 0.0]]]), ORIGIN, FORWARD, lens)
    far, _ = project(np.array([[[3.0, 90.0, 0.0]]]), ORIGIN, FORWARD, lens)
    assert near == pytest.approx(far) and near[0, 0, 0] == pytest.approx(1.0)


def test_shift_moves_the_picture_by_its_share_of_the_larger_side():
    lens = make_lens(shift=np.array([[0.1, 0.1]]))
    places, _ = project(np.array([[[0.0, 10.0, 0.0]]]), ORIGIN, FORWARD, lens)
    assert places[0, 0] == pytest.approx((0.4, 0.5 - 0.1 * 1920 / 1080))


def test_moving_and_turning_camera_and_point_together_changes_nothing():
    random = np.random.default_rng(3)
    points = random.normal(size=(1, 7, 3)) + [0, 10, 0]
    turn = Rotation.random(random_state=5)
    shift = np.array([4.0, -2.0, 9.0])
    moved = turn.apply(points[0])[np.newaxis] + shift
    camera = (turn * Rotation.from_quat(FORWARD[0], scalar_first=True)).as_quat(scalar_first=True)
    one, _ = project(points, ORIGIN, FORWARD, make_lens())
    two, _ = project(moved, shift[np.newaxis], camera[np.newaxis], make_lens())
    assert one == pytest.approx(two)
    assert view_coordinates(points, ORIGIN, FORWARD)[0, :, 2] == pytest.approx(points[0, :, 1])


def test_size_in_the_picture_is_the_distance_of_its_ends():
    ends = np.array([[[-0.5, 8.0, 0.0], [0.5, 8.0, 0.0]]])
    places, depths = project(ends, ORIGIN, FORWARD, make_lens())
    size = projected_size(np.array(1.0), depths, make_lens())
    assert size[0, 0] == pytest.approx(places[0, 1, 0] - places[0, 0, 0])


@pytest.mark.parametrize("fit", ["auto", "horizontal", "vertical"])
@pytest.mark.parametrize("picture", [(1920.0, 1080.0), (1080.0, 1920.0)])
@pytest.mark.parametrize("orthographic", [False, True])
def test_place_in_the_picture_and_back_is_the_same_point(fit, picture, orthographic):
    random = np.random.default_rng(8)
    count = 6
    turns = Rotation.random(count, random_state=random)
    lens = Lens(
        focal_mm=random.uniform(18.0, 120.0, count),
        sensor_mm=random.uniform(15.0, 40.0, (count, 2)),
        fit=fit,
        shift=random.uniform(-0.2, 0.2, (count, 2)),
        picture=picture,
        orthographic=orthographic,
        ortho_scale=random.uniform(2.0, 9.0, count),
    )
    eye, wxyz = random.normal(size=(count, 3)), turns.as_quat(scalar_first=True)
    ahead = turns.apply(np.array([0.0, 0.0, -1.0])) * random.uniform(3.0, 9.0, (count, 1))
    points = eye + ahead + 0.5 * random.normal(size=(count, 3))
    places, depths = project(points, eye, wxyz, lens)
    flat = np.stack(
        (places[:, 0], places[:, 1] * picture[1] / picture[0], 0 * depths, 1 + 0 * depths), axis=-1
    )
    back = np.einsum("fij,fj->fi", place_pictures(depths, eye, wxyz, lens), flat)
    assert back == pytest.approx(points, abs=1e-9)
