# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Onset, peak and end of moves against the minimum-jerk profile's own figures."""

import figure
import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fettle.core_math.measures import moves, rotations


def bell(u):
    """Speed of a minimum-jerk move (Flash & Hogan 1985): 30 u^2 - 60 u^3 + 30 u^4."""
    return np.where((u >= 0) & (u <= 1), 30 * u**2 - 60 * u**3 + 30 * u**4, 0.0)


@pytest.mark.parametrize(("length", "first", "last"), [(12, 11, 21), (24, 12, 32)])
def test_first_and_last_frame_over_five_percent_of_the_peak(length, first, last):
    # 24 fps, start at frame 10: computed from the profile with SciPy.
    speed = bell((np.arange(60) - 10.0) / length)
    (move,) = moves.find_moves(speed, least_peak=0.5, rest=3, around=24)
    assert (move.first, move.last) == (first, last)
    assert move.peak == 10 + length // 2


def test_onset_between_frames_is_where_the_profile_reaches_five_percent():
    # u = 0.0594341 where speed first reaches 5 % of its peak (scipy.optimize).
    speed = bell((np.arange(4000) - 500.0) / 2000.0)
    (move,) = moves.find_moves(speed, least_peak=0.5, rest=100, around=1000)
    assert (move.onset - 500.0) / 2000.0 == pytest.approx(0.0594341, abs=1e-6)
    assert (move.end - 500.0) / 2000.0 == pytest.approx(1 - 0.0594341, abs=1e-6)


@pytest.mark.parametrize(("pause", "count"), [(0, 1), (2, 1), (8, 2)])
def test_rest_separates_moves_and_a_turning_point_does_not(pause, count):
    t = np.arange(80.0)
    # The profile itself stays under a fifth of its peak for 2.6 frames at each end.
    speed = bell((t - 10) / 20) + bell((t - 30 - pause) / 20)
    assert len(moves.find_moves(speed, least_peak=0.5, rest=10, around=24)) == count


def test_moving_hold_counts_as_rest():
    t = np.arange(80.0)
    speed = 0.12 + bell((t - 10) / 16) + bell((t - 44) / 16)
    found = moves.find_moves(speed, least_peak=0.5, rest=4, around=24)
    assert [move.peak for move in found] == [18, 52]
    assert abs(found[0].onset - 11) < 1 and abs(found[0].end - 25) < 1


def test_turn_speed_is_the_angular_velocity_seen_from_the_part_it_hangs_on():
    # A turn by a sine of 30 degrees at 1 Hz: 30 * 2 pi degrees a second at most (from memory).
    time = np.arange(240) / 120.0
    turn = figure.turn((0, 0, 1), 30.0 * np.sin(2.0 * np.pi * time))
    carried = figure.turn((1, 0, 0), 90.0 * time)
    speed = moves.turn_speed(rotations.multiply(carried, turn), carried, 120.0)
    assert speed[0:-1:60] == pytest.approx(np.full(4, 30.0 * 2.0 * np.pi), rel=2e-3)
    assert speed[30:-1:60] == pytest.approx(np.zeros(4), abs=0.5)
    assert moves.turn_speed(carried, carried, 120.0) == pytest.approx(np.zeros(240), abs=1e-6)


def test_point_carried_by_its_frame_does_not_move():
    angle = 90.0 * figure.minimum_jerk(np.arange(48) / 24.0)
    motion = figure.make_motion({"chest": figure.turn((0, 0, 1), angle)}, 48)
    speed = moves.travel_speed(
        motion.head("hand.L"), motion.head("chest"), motion.rotation("chest"), 24.0
    )
    assert speed == pytest.approx(0.0, abs=1e-9)


@given(
    count=st.integers(0, 80),
    rest=st.integers(1, 9),
    around=st.integers(1, 30),
    scale=st.sampled_from([0.0, 1e-3, 1.0, 1e3]),
    seed=st.integers(0, 99),
)
@example(count=10, rest=1, around=7, scale=0.001, seed=61)
def test_moves_never_overlap_and_stay_inside(count, rest, around, scale, seed):
    speed = np.abs(np.random.default_rng(seed).normal(size=count)) ** 3 * scale
    found = moves.find_moves(speed, least_peak=0.4 * scale, rest=rest, around=around)
    for move in found:
        assert 0 <= move.first <= move.peak <= move.last < count
        assert move.onset <= move.first and move.end >= move.last
    assert all(a.last < b.first for a, b in zip(found, found[1:], strict=False))


@given(count=st.integers(1, 60), around=st.integers(1, 40), seed=st.integers(0, 99))
def test_highest_around_is_the_maximum_of_the_window(count, around, seed):
    speed = np.random.default_rng(seed).random(count)
    ours = moves._highest_around(speed, around)
    plain = [speed[max(0, i - around) : i + around + 1].max() for i in range(count)]
    assert ours == pytest.approx(plain)
