# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Cadence and drawings of known animation: on ones, twos, threes, mixed, still."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from fettle.core_math.measures import stage


def repeat_steps(changes: int, every: int) -> np.ndarray:
    """Steps of animation that changes every so many frames."""
    steps = np.zeros(changes * every)
    steps[every - 1 :: every] = 1.0 + 0.3 * np.sin(np.arange(changes))
    return steps


@pytest.mark.parametrize("every", [1, 2, 3, 4])
def test_cadence_is_the_frames_of_a_drawing(every):
    steps = repeat_steps(20, every)
    assert stage.find_cadence(steps) == every
    drawings = stage.list_drawings(steps)
    assert drawings.tolist() == [0, *range(every, 20 * every + 1, every)]


def test_hold_over_several_beats_keeps_the_cadence():
    steps = repeat_steps(24, 2)
    steps[21:25] = 0.0
    assert stage.find_cadence(steps) == 2


@pytest.mark.parametrize("steps", [[], [0.0], [1.0], [0.0] * 50, [1.0, 0.0, 0.0]])
def test_still_or_short_animation_has_no_cadence(steps):
    assert stage.find_cadence(np.array(steps)) == 1


def test_mixed_ones_and_twos_are_no_cadence():
    steps = np.concatenate((repeat_steps(10, 2), np.ones(20)))
    assert stage.find_cadence(steps) == 1


def list_steps(lengths):
    """Steps of animation whose drawings last so many frames each."""
    steps = np.zeros(int(np.sum(lengths)))
    steps[np.cumsum(lengths) - 1] = 1.0 + 0.3 * np.sin(np.arange(len(lengths)))
    return steps


@pytest.mark.parametrize(
    ("lengths", "cadence"),
    [
        ([2, 2, 2, 1, 1, 2, 4, 2, 2, 6, 2, 1, 2, 2], 2),
        ([3, 3, 2, 3, 1, 3, 5, 3], 3),
        ([1, 1, 1, 2, 1, 1, 3, 1], 1),
        ([4, 8, 6, 12, 5], 1),
    ],
)
def test_mixed_holds_have_the_beat_that_most_drawings_keep(lengths, cadence):
    assert stage.find_cadence(list_steps(lengths * 4)) == cadence


def test_share_of_stepped_keys():
    assert stage.stepped_share(np.array([True, False, True, True])) == 0.75
    assert stage.stepped_share(np.array([], dtype=bool)) == 0.0


@pytest.mark.parametrize(
    ("apart", "stepped", "poses"),
    [(1, True, False), (2, True, False), (3, True, False), (6, True, True), (6, False, False)],
)
def test_stepped_keys_far_apart_are_key_poses_and_drawings_on_twos_are_none(apart, stepped, poses):
    frames = np.arange(1.0, 100.0, apart)
    assert stage.are_key_poses([frames], [np.full(len(frames), stepped)]) == poses


def test_keys_of_offset_parts_are_judged_part_by_part():
    frames = [np.arange(start, 60.0, 8.0) for start in (1.0, 3.0, 5.0, 7.0)]
    assert stage.are_key_poses(frames, [np.ones(len(own), dtype=bool) for own in frames])
    assert not stage.are_key_poses([], [])
    assert stage.are_key_poses([np.array([1.0])], [np.array([True])])


@given(
    hnp.arrays(np.float64, st.integers(0, 60), elements=st.floats(0.0, 1e3, allow_subnormal=False)),
    st.floats(1e-3, 1e3),
)
@settings(max_examples=80, deadline=None)
def test_any_steps_are_read_without_a_warning_and_at_any_scale(steps, scale):
    cadence = stage.find_cadence(steps)
    assert 1 <= cadence <= stage.LONGEST_CADENCE
    drawings = stage.list_drawings(steps)
    assert drawings[0] == 0 and np.all(np.diff(drawings) > 0) and drawings[-1] <= len(steps)
    assert stage.find_cadence(steps * scale) in (cadence, 1) or scale != 1.0
