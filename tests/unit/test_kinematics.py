# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Matrices to joints and turns, compared with SciPy's rotations."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fettle.core_math.kinematics import fill_rotations, split_matrices

RNG = np.random.default_rng(11)


def matrices(turns, places, scale=(1.0, 1.0, 1.0)):
    result = np.zeros((*turns.as_quat().shape[:-1], 4, 4))
    result[..., :3, :3] = turns.as_matrix() * np.asarray(scale)
    result[..., :3, 3] = places
    result[..., 3, 3] = 1.0
    return result


def turns_of(wxyz):
    return Rotation.from_quat(np.roll(wxyz, -1, axis=-1))


@pytest.mark.parametrize("scale", [(1, 1, 1), (0.01, 3.0, 20.0)])
def test_turn_and_place_of_scaled_matrices(scale):
    turns = Rotation.random(200, random_state=3)
    places = RNG.normal(size=(200, 3))
    found, wxyz = split_matrices(matrices(turns, places, scale))
    np.testing.assert_allclose(found, places)
    assert np.degrees((turns_of(wxyz) * turns.inv()).magnitude()).max() < 1e-5


def test_signs_go_on():
    turns = Rotation.from_rotvec(np.outer(np.linspace(0, 6 * np.pi, 100), (0.0, 0.6, 0.8)))
    _, wxyz = split_matrices(matrices(turns, 0.0))
    assert np.all(np.sum(wxyz[1:] * wxyz[:-1], axis=-1) > 0.0)


def test_under_shear_and_mirror_the_second_axis_keeps_its_direction():
    turns = Rotation.random(50, random_state=5)
    outer = np.diag((-1.5, 0.7, 1.2, 1.0))
    sheared = outer @ matrices(turns, 0.0)
    _, wxyz = split_matrices(sheared)
    along = sheared[:, :3, 1] / np.linalg.norm(sheared[:, :3, 1], axis=-1, keepdims=True)
    np.testing.assert_allclose(turns_of(wxyz).apply((0.0, 1.0, 0.0)), along, atol=1e-9)
    third = turns_of(wxyz).apply((0.0, 0.0, 1.0))
    np.testing.assert_allclose(np.sum(third * along, axis=-1), 0.0, atol=1e-9)
    assert np.all(np.sum(third * sheared[:, :3, 2], axis=-1) > 0.0)


def test_scaled_away_takes_the_turn_of_its_neighbours():
    turns = Rotation.from_euler("zyx", [[a, 0, 0] for a in range(10, 61, 10)], degrees=True)
    given = matrices(turns, 0.0)
    given[[0, 3, 4], :3, :3] = 0.0
    wxyz = fill_rotations(split_matrices(given)[1])
    shown = turns_of(wxyz).as_euler("zyx", degrees=True)[:, 0]
    np.testing.assert_allclose(shown, [20, 20, 30, 30, 30, 60])


def test_scaled_away_throughout_has_no_turn():
    wxyz = fill_rotations(split_matrices(np.zeros((4, 4, 4)))[1])
    np.testing.assert_allclose(wxyz, np.tile((1.0, 0.0, 0.0, 0.0), (4, 1)))


def test_broken_values_stay_broken_where_they_are():
    given = matrices(Rotation.random(6, random_state=1), 0.0).reshape(3, 2, 4, 4)
    given[1, 1, 0, 0] = np.nan
    _, wxyz = split_matrices(given)
    assert np.isnan(wxyz[1, 1]).all()
    assert np.isfinite(np.delete(wxyz.reshape(6, 4), 3, axis=0)).all()
