# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Quaternions against SciPy's Rotation, against known identities, and against odd input."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.spatial.transform import Rotation

from fettle.core_math.measures import rotations

ANY_NUMBERS = st.floats(-1e3, 1e3, allow_nan=False)
ROWS_OF_FOUR = hnp.arrays(
    np.float64, st.tuples(st.integers(1, 40), st.just(4)), elements=ANY_NUMBERS
)


def random_rotations(count: int, seed: int) -> tuple[np.ndarray, Rotation]:
    other = Rotation.random(count, random_state=seed)
    return other.as_quat(scalar_first=True), other


def same(ours: np.ndarray, theirs: Rotation) -> None:
    """The same rotations, whatever their signs."""
    errors = (theirs.inv() * Rotation.from_quat(ours, scalar_first=True)).magnitude()
    np.testing.assert_allclose(errors, 0.0, atol=1e-7)


def test_products_turns_and_inverses_agree_with_scipy():
    (a, ra), (b, rb) = random_rotations(50, 1), random_rotations(50, 2)
    vectors = np.random.default_rng(3).normal(size=(50, 3))
    same(rotations.multiply(a, b), ra * rb)
    same(rotations.conjugate(a), ra.inv())
    same(rotations.relative(a, b), ra.inv() * rb)
    np.testing.assert_allclose(rotations.rotate(a, vectors), ra.apply(vectors), atol=1e-12)


def test_angles_and_vectors_agree_with_scipy():
    (a, ra), (b, rb) = random_rotations(200, 4), random_rotations(200, 5)
    between = np.degrees((ra.inv() * rb).magnitude())
    np.testing.assert_allclose(rotations.angle_between(a, b), between, atol=1e-6)
    np.testing.assert_allclose(
        rotations.rotation_vector(a), np.degrees(ra.as_rotvec()), rtol=1e-9, atol=1e-9
    )


def test_q_and_minus_q_are_the_same_rotation():
    q, _ = random_rotations(20, 6)
    np.testing.assert_allclose(rotations.angle_between(q, -q), 0.0, atol=1e-6)
    np.testing.assert_allclose(
        rotations.rotation_vector(q), rotations.rotation_vector(-q), atol=1e-9
    )


def test_from_170_to_minus_170_degrees_is_20_not_340():
    # Known value of the geodesic angle: |log(A^-1 B)|.
    one = rotations.from_axis_angle((1.0, 0.0, 0.0), 170.0)
    other = rotations.from_axis_angle((1.0, 0.0, 0.0), -170.0)
    assert rotations.angle_between(one, other) == pytest.approx(20.0, abs=1e-9)


def test_two_spellings_of_one_euler_rotation_have_no_angle_between():
    # (a, b, c) ~ (a + 180, 180 - b, c + 180): (10, 80, 0) and (190, 100, 180) in XYZ.
    pair = Rotation.from_euler("xyz", [(10, 80, 0), (190, 100, 180)], degrees=True)
    one, other = pair.as_quat(scalar_first=True)
    assert rotations.angle_between(one, other) == pytest.approx(0.0, abs=1e-6)


def test_hand_held_in_the_world_turns_back_on_its_forearm():
    # Identity: the forearm turns by 30 degrees about X, the hand by none: the wrist by -30.
    forearm = rotations.from_axis_angle((1.0, 0.0, 0.0), np.linspace(0.0, 30.0, 31))
    hand = np.tile([1.0, 0.0, 0.0, 0.0], (31, 1))
    wrist = rotations.rotation_vector(rotations.relative(forearm, hand))
    np.testing.assert_allclose(wrist[:, 0], -np.linspace(0.0, 30.0, 31), atol=1e-9)
    rigid = rotations.relative(forearm, forearm)
    np.testing.assert_allclose(rotations.angle(rigid), 0.0, atol=1e-9)


def test_steps_are_turns_in_the_worlds_axes():
    spin = rotations.from_axis_angle((0.0, 0.0, 1.0), np.arange(10) * 30.0)
    tilted = rotations.multiply(spin, rotations.from_axis_angle((1.0, 0.0, 0.0), 70.0))
    np.testing.assert_allclose(
        rotations.step_vectors(tilted), np.tile([0, 0, 30.0], (9, 1)), atol=1e-9
    )
    np.testing.assert_allclose(rotations.step_angles(tilted), 30.0, atol=1e-9)


def test_matrices_of_any_scale_give_their_rotation():
    q, other = random_rotations(100, 7)
    matrices = other.as_matrix() * np.random.default_rng(8).uniform(0.01, 50.0, (100, 1, 3))
    same(rotations.from_matrices(matrices), other)
    np.testing.assert_allclose(rotations.from_matrices(np.zeros((1, 3, 3))), [[1.0, 0, 0, 0]])


def test_mirrored_matrix_gives_a_rotation_all_the_same():
    _, other = random_rotations(5, 9)
    same(rotations.from_matrices(-other.as_matrix()), other)


def test_continuous_signs_keep_the_rotations():
    q, other = random_rotations(60, 10)
    smooth = rotations.make_continuous(q)
    assert np.all(np.sum(smooth[1:] * smooth[:-1], axis=-1) >= 0.0)
    same(smooth, other)


@given(ROWS_OF_FOUR)
@settings(max_examples=60, deadline=None)
def test_any_numbers_become_unit_quaternions_without_a_warning(values):
    q = rotations.normalize(values)
    np.testing.assert_allclose(np.linalg.norm(q, axis=-1), 1.0, atol=1e-9)
    smooth = rotations.make_continuous(q)
    for result in (
        rotations.angle(q),
        rotations.rotation_vector(q),
        rotations.step_angles(smooth),
        rotations.step_vectors(smooth),
    ):
        assert np.all(np.isfinite(result))
    assert np.all((rotations.angle(q) >= 0.0) & (rotations.angle(q) <= 180.0 + 1e-9))


@pytest.mark.parametrize("scale", [0.05, 0.6, 3.0])
def test_spread_is_that_about_scipys_mean_of_rotations(scale):
    # SciPy averages rotations after Markley et al. as well; signs of quaternions play no part.
    generator = np.random.default_rng(17)
    turned = Rotation.from_rotvec(scale * generator.normal(size=(40, 3)))
    signs = generator.choice((-1.0, 1.0), size=(40, 1))
    starts, stops = np.array([0, 3, 10, 7]), np.array([40, 9, 11, 7])
    q = turned.as_quat(scalar_first=True) * signs
    found = rotations.spread_in_stretches(q, starts, stops, stops - starts)
    for value, start, stop in zip(found[:3], starts, stops, strict=False):
        stretch = turned[start:stop]
        halves = 0.5 * (stretch.mean().inv() * stretch).magnitude()
        expected = np.degrees(2.0 * np.sqrt(np.mean(np.sin(halves) ** 2)))
        assert value == pytest.approx(expected, abs=1e-5)
    assert found[3] == 0.0
