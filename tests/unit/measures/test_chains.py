# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Turning points of chains: known phases, SciPy's peaks, and whatever comes in."""

import figure
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import find_peaks

from fettle.core_math.measures import chains, strands


def test_turning_points_of_a_sine_lie_at_its_extremes():
    t = np.arange(120) / 24.0
    (points,) = chains.find_turning_points(20.0 * np.sin(2 * np.pi * t)[:, None], 4.0)
    # Quarter periods at 1 Hz: frames 6, 18, 30 ... at 24 fps.
    assert points == pytest.approx(np.arange(6, 120, 12), abs=0.02)


def test_turning_points_between_frames_are_refined():
    t = np.arange(240) / 24.0
    (points,) = chains.find_turning_points(
        20.0 * np.sin(2 * np.pi * 0.7 * t + 0.3)[:, np.newaxis], 4.0
    )
    exact = (np.pi / 2 + np.pi * np.arange(len(points)) - 0.3) / (2 * np.pi * 0.7) * 24.0
    assert points == pytest.approx(exact, abs=0.05)


@given(seed=st.integers(0, 200), least=st.floats(0.5, 5.0))
def test_peaks_are_those_scipy_finds_by_prominence(seed, least):
    signal = np.random.default_rng(seed).normal(size=60).cumsum()
    (points,) = chains.find_turning_points(signal[:, np.newaxis], least)
    ours = set(np.round(points).astype(int))
    high, _ = find_peaks(signal, prominence=least)
    low, _ = find_peaks(-signal, prominence=least)
    theirs = {int(p) for p in (*high, *low)}
    # Both ask for the same depth; ours may keep one more next to an end of the signal.
    assert all(min(abs(p - q) for q in ours | {0, 59}) <= 1 for p in theirs)


@pytest.mark.parametrize("late", [0.0, 1.0, 2.0])
def test_spread_is_the_delay_from_the_first_joint_to_the_last(late):
    # A first-order follower of time constant tau lags by atan(w tau) / w; here plain delays.
    t = np.arange(120) / 24.0
    turns = [
        figure.turn((1, 0, 0), 20.0 * np.sin(2 * np.pi * (t - joint * late / 24.0)))
        for joint in range(4)
    ]
    own = strands.turn_vectors(np.stack(turns, axis=1))
    signals, shares = chains.swing_signals(own, 24.0, 8.0)
    times = chains.find_turning_points(signals, 4.0)
    swings = chains.match_turning_points(times, 8.0, 3)
    assert shares == pytest.approx(1.0)
    middle = [swing.spread for swing in swings[2:-2]]
    assert middle == pytest.approx([3.0 * late] * len(middle), abs=0.1)


@given(
    count=st.integers(1, 60),
    joints=st.integers(1, 4),
    still=st.booleans(),
    seed=st.integers(0, 99),
)
def test_anything_gives_turning_points_inside(count, joints, still, seed):
    random = np.random.default_rng(seed)
    q = (
        np.tile([1.0, 0, 0, 0], (count, joints, 1))
        if still
        else random.normal(size=(count, joints, 4))
    )
    q = q / np.linalg.norm(q, axis=-1, keepdims=True)
    signals, shares = chains.swing_signals(strands.turn_vectors(q), 24.0, 6.0)
    assert np.all((shares >= 0.0) & (shares <= 1.0 + 1e-9))
    found = chains.find_turning_points(signals, 2.0)
    assert len(found) == joints
    for points in found:
        assert np.all((points >= 0) & (points <= count - 1)) and np.all(np.diff(points) > 0)
