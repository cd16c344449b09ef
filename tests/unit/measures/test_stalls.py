# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Valleys of speed on paths of known speed."""

import numpy as np
import pytest
from figure import minimum_jerk
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from fettle.core_math.measures import stalls


def run_path(steps) -> np.ndarray:
    """One path along X with these steps, shape (F, 1, 3)."""
    x = np.concatenate(([0.0], np.cumsum(steps)))
    return np.stack((x, 0.0 * x, 0.0 * x), axis=-1)[:, None]


def find(path, longest=6, side=2, around=5, share=0.15):
    return stalls.find_stalls(path, longest, side, around, share)


@pytest.mark.parametrize("frames", [1, 2, 6])
def test_held_frames_are_found_with_what_they_cost(frames):
    steps = np.full(40, 3.0)
    steps[20 : 20 + frames] = 0.0
    found = find(run_path(steps))
    assert (found.firsts.tolist(), found.lasts.tolist()) == ([21], [20 + frames])
    assert found.losses[0] == pytest.approx(3.0 * frames)
    assert found.depths[0] == 0.0
    assert found.likeness[0] == pytest.approx(1.0)
    assert found.sharpness[0] == pytest.approx(1.0)


def test_longer_holds_and_shallow_valleys_are_none():
    steps = np.full(40, 3.0)
    steps[20:27] = 0.0
    assert len(find(run_path(steps)).firsts) == 0
    steps = np.full(40, 3.0)
    steps[20:22] = 0.5
    assert len(find(run_path(steps)).firsts) == 0
    assert len(find(run_path(steps), share=0.2).firsts) == 1


def test_turning_back_and_turning_aside_are_told_by_their_likeness():
    steps = np.concatenate((np.full(20, 3.0), [0.0, 0.0], np.full(20, -3.0)))
    assert find(run_path(steps)).likeness[0] == pytest.approx(-1.0)
    path = run_path(np.concatenate((np.full(20, 3.0), [0.0], np.zeros(20))))
    path[22:, 0, 1] = 3.0 * np.arange(1, len(path) - 21)
    assert find(path).likeness[0] == pytest.approx(0.0, abs=1e-9)


def test_minimum_jerk_reaches_have_no_valley_that_breaks_off():
    # One clean reach has one peak of speed; two in a row ease into and out of their valley.
    u = np.arange(60) / 24.0
    for path in (
        50.0 * minimum_jerk(u / 2.0),
        50.0 * (minimum_jerk(u / 1.2) + minimum_jerk((u - 1.2) / 1.2)),
    ):
        assert len(find(run_path(np.diff(path)), longest=9).firsts) == 0


def test_mean_step_is_the_way_over_the_frames():
    path = run_path(np.arange(10.0))
    rows = np.array([0])
    assert stalls.mean_steps(path, rows + 2, rows + 6, rows)[0, 0] == pytest.approx(3.5)
    assert stalls.mean_steps(path, rows - 5, rows + 2, rows)[0, 0] == pytest.approx(0.5)
    assert stalls.mean_steps(path, rows + 4, rows + 4, rows)[0, 0] == 0.0


def test_regular_stalls_are_a_cadence():
    columns = np.zeros(6, dtype=int)
    firsts = np.array([10, 12, 14, 30, 40, 42])
    lasts = firsts.copy()
    every = np.ones(6, dtype=bool)
    marked = stalls.mark_cadence(columns, firsts, lasts, every)
    assert marked.tolist() == [True, True, True, False, False, False]
    fewer = stalls.mark_cadence(columns, firsts, lasts, np.array([1, 0, 1, 1, 1, 1], dtype=bool))
    assert not fewer.any()
    other = stalls.mark_cadence(np.array([0, 1, 0, 0, 0, 0]), firsts, lasts, every)
    assert not other.any()
    nothing = np.zeros(0, dtype=int)
    assert stalls.mark_cadence(nothing, nothing, nothing, nothing.astype(bool)).shape == (0,)


@given(
    hnp.arrays(
        np.float64,
        st.tuples(st.integers(1, 40), st.integers(1, 3), st.just(3)),
        elements=st.floats(-1e3, 1e3, allow_nan=False, allow_subnormal=False),
    ),
    st.floats(1e-3, 1e3),
    st.integers(1, 12),
)
@settings(max_examples=60, deadline=None)
def test_any_paths_are_searched_without_a_warning(path, scale, longest):
    found = find(path * scale, longest=longest, side=max(1, longest // 3))
    for numbers in (found.losses, found.depths, found.likeness, found.sharpness):
        assert np.all(np.isfinite(numbers))
    assert np.all((found.firsts > 0) & (found.lasts < len(path)) & (found.firsts <= found.lasts))
