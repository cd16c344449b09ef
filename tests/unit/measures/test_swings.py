# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Swings, directions and excursions against motion of known angle, SciPy and random input."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.spatial.distance import pdist
from scipy.spatial.transform import Rotation

from fettle.core_math.measures import rotations, swings


def circle(degrees: np.ndarray) -> np.ndarray:
    turn = np.radians(degrees)
    return np.stack((np.cos(turn), np.sin(turn), np.zeros(len(turn))), axis=-1)


def minimum_jerk(u: np.ndarray) -> np.ndarray:
    u = np.clip(u, 0.0, 1.0)
    return 10 * u**3 - 15 * u**4 + 6 * u**5


def find(degrees: np.ndarray, fps: float, **options):
    steps = swings.direction_steps(circle(degrees))
    return swings.find_swings(steps, fps, **{"least_degrees": 20.0, "still_rate": 20.0, **options})


def test_turn_between_two_directions_is_axis_times_angle():
    # SciPy: the rotation vector of the shortest turn from one direction to the other.
    one, other = np.array([1.0, 2.0, -0.5]), np.array([-0.3, 1.0, 2.0])
    unit = [v / np.linalg.norm(v) for v in (one, other)]
    (step,) = swings.direction_steps(np.array(unit))
    turned = Rotation.from_rotvec(np.radians(step)).apply(unit[0])
    assert turned == pytest.approx(unit[1], abs=1e-12)
    cosine = unit[0] @ unit[1]
    assert np.linalg.norm(step) == pytest.approx(np.degrees(np.arccos(cosine)), abs=1e-9)


@pytest.mark.parametrize("fps", [12.0, 24.0, 60.0, 120.0])
def test_two_swings_there_and_back_are_two(fps):
    seconds = np.arange(int(3 * fps)) / fps
    degrees = 70.0 * (minimum_jerk((seconds - 0.5) / 0.6) - minimum_jerk((seconds - 1.6) / 0.8))
    first, second = find(degrees, fps)
    # 20 deg/s cuts less than half a degree off each end of a swing of 70 in 0.6 s.
    for swing, start, length in ((first, 0.5, 0.6), (second, 1.6, 0.8)):
        assert swing.degrees == pytest.approx(70.0, abs=1.5 + 20.0 / fps)
        assert swing.first / fps == pytest.approx(start, abs=0.08 + 1.0 / fps)
        assert swing.last / fps == pytest.approx(start + length, abs=0.08 + 1.0 / fps)
        assert (swing.peak + 0.5) / fps == pytest.approx(start + length / 2, abs=1.0 / fps)
        # Flash & Hogan 1985: the peak speed of a minimum-jerk move is 1.875 times its mean.
        if fps >= 60.0:
            assert swing.peak_rate == pytest.approx(1.875 * 70.0 / length, rel=0.01)


def test_turning_point_cuts_without_a_pause():
    degrees = 45.0 * np.cos(2 * np.pi * np.arange(49) / 24.0)
    found = find(degrees, 24.0, still_rate=1e-6)
    assert len(found) == 4
    assert [swing.degrees for swing in found] == pytest.approx([90.0] * 4, abs=1e-6)


def test_dip_cuts_only_where_it_is_deep_enough():
    rate = np.concatenate((np.full(10, 10.0), np.full(4, 6.0), np.full(10, 10.0)))
    degrees = np.concatenate(([0.0], np.cumsum(rate)))
    assert len(find(degrees, 24.0, dip=0.5)) == 1
    assert len(find(degrees, 24.0, dip=0.7)) == 2


def test_small_and_still_are_no_swings():
    assert find(10.0 * minimum_jerk(np.arange(24) / 12.0), 24.0) == []
    assert find(np.full(24, 33.0), 24.0) == []


def test_core_leaves_out_the_slow_ends():
    degrees = 100.0 * minimum_jerk((np.arange(240) - 60) / 120.0)
    steps = swings.direction_steps(circle(degrees))
    (swing,) = swings.find_swings(steps, 120.0, least_degrees=20.0, still_rate=1.0)
    cores = swings.find_cores(steps, [swing], 0.1)
    ((first, last),) = zip(cores.firsts, cores.lasts, strict=True)
    assert degrees[first] == pytest.approx(10.0, abs=2.0)
    assert degrees[last] == pytest.approx(90.0, abs=2.0)
    assert cores.degrees == pytest.approx([degrees[last] - degrees[first]], abs=1e-6)


def test_excursion_is_the_largest_distance_on_a_line_and_never_more_than_it():
    rng = np.random.default_rng(3)
    along = rng.normal(size=50)
    line = along[:, np.newaxis] * np.array([[0.6, 0.0, 0.8]])
    assert swings.excursion(line) == pytest.approx(np.ptp(along), abs=1e-12)
    for _ in range(50):
        points = rng.normal(size=(20, 3))
        largest = pdist(points).max()
        assert largest / np.sqrt(3.0) - 1e-12 <= swings.excursion(points) <= largest + 1e-12


def test_turn_range_is_the_angle_between_the_ends_of_a_turn():
    # SciPy's rotations; the sign of a quaternion does not matter.
    angles = np.array([0.0, 10.0, 55.0, 30.0, -20.0])
    q = Rotation.from_rotvec(np.radians(angles)[:, None] * [[0.0, 0.6, 0.8]])
    wxyz = q.as_quat(scalar_first=True) * [[1], [-1], [1], [-1], [1]]
    assert swings.turn_range(wxyz) == pytest.approx(75.0, abs=1e-9)


def test_seen_from_a_turning_part_a_carried_vector_stands_still():
    turning = rotations.from_axis_angle((0.3, -0.2, 1.0), np.linspace(0.0, 300.0, 40))
    carried = rotations.rotate(turning, np.broadcast_to([0.2, 0.5, -0.1], (40, 3)))
    seen = swings.seen_from(turning, carried)
    assert seen == pytest.approx(np.broadcast_to([0.2, 0.5, -0.1], (40, 3)), abs=1e-12)


paths = hnp.arrays(
    float,
    st.tuples(st.integers(0, 60), st.just(3)),
    elements=st.floats(-1.0, 1.0, allow_nan=False),
)


@given(path=paths, scale=st.sampled_from([0.001, 1.0, 1000.0]), fps=st.floats(12.0, 120.0))
def test_any_path_is_measured_without_a_warning(path, scale, fps):
    directions = swings.unit_directions(np.zeros_like(path), path * scale)
    steps = swings.direction_steps(swings.smooth_directions(directions, fps, 6.0))
    found = swings.find_swings(steps, fps, least_degrees=10.0, still_rate=20.0)
    assert np.isfinite(steps).all()
    assert all(a.last <= b.first for a, b in zip(found, found[1:], strict=False))
    for swing in found:
        assert 0 <= swing.first < swing.last <= len(steps)
        assert swing.first <= swing.peak < swing.last
        assert swing.degrees >= 10.0
    cores = swings.find_cores(steps, found, 0.1)
    for swing, first, last in zip(found, cores.firsts, cores.lasts, strict=True):
        assert swing.first <= first < last <= swing.last
    assert swings.excursion(path * scale) == pytest.approx(
        scale * swings.excursion(path), rel=1e-9, abs=1e-12
    )


@given(
    q=hnp.arrays(float, st.tuples(st.integers(0, 30), st.just(4)), elements=st.floats(-1.0, 1.0))
)
def test_any_rotations_have_a_range(q):
    unit = rotations.normalize(q)
    assert 0.0 <= swings.turn_range(unit) <= 180.0 + 1e-6


def test_still_stretch_grows_to_where_the_rotation_leaves_it():
    # Turns by a degree a frame up to frame 20, rests at 20 degrees until 40, goes on to 59.
    frames = np.arange(60)
    degrees = np.minimum(frames, 20) + np.maximum(frames - 40, 0)
    half = np.radians(degrees) / 2.0
    q = np.stack((np.cos(half), np.sin(half), 0.0 * half, 0.0 * half), axis=-1)
    assert swings.grow_still(q, 25, 30, 0.5, 60) == (20, 40)
    assert swings.grow_still(q, 25, 30, 3.5, 60) == (17, 43)
    assert swings.grow_still(q, 25, 30, 0.5, 3) == (22, 33)
    assert swings.grow_still(q, 0, 59, 0.5, 10) == (0, 59)


def test_still_span_ends_where_the_driver_rests_or_the_follower_turns():
    # The driver moves on frames 10 to 50, its swing is 25 to 35; the follower turns up to 18.
    degrees = np.minimum(np.arange(60), 18).astype(float)
    half = np.radians(degrees) / 2.0
    q = np.stack((np.cos(half), np.sin(half), 0.0 * half, 0.0 * half), axis=-1)
    moving = (np.arange(59) >= 10) & (np.arange(59) < 50)
    swing = swings.Swing(first=25, last=35, peak=30, degrees=60.0, peak_rate=200.0)
    assert swings.still_span(q, moving, swing, (26, 34), 24.0) == (18, 50)
    assert swings.still_span(q, np.zeros(59, bool), swing, (26, 34), 24.0) == (25, 35)
