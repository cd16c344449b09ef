# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which sightings are one event, and who made it, on a small tree of parts."""

import figure
import numpy as np
import planting
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettle.core_math.measures import causes

# hips, chest, arm, hand; leg, foot: rows 0 to 5
PARENTS = [-1, 0, 1, 2, 0, 4]


def group(*sightings: tuple[int, int, int], gap: int = 0) -> list[list[int]]:
    """Group (part, first, last) entries; returns the numbers of the entries of each event."""
    parts, firsts, lasts = (np.array(row) for row in zip(*sightings, strict=True))
    return [sorted(g.tolist()) for g in causes.group_sightings(parts, firsts, lasts, PARENTS, gap)]


def test_no_sightings_are_no_events():
    none = np.zeros(0, dtype=int)
    assert causes.group_sightings(none, none, none, PARENTS) == []


def test_parts_that_carry_one_another_are_one_event_at_the_same_time():
    assert group((2, 5, 5), (3, 5, 5)) == [[0, 1]]
    assert group((0, 5, 5), (3, 5, 6)) == [[0, 1]]
    assert group((2, 5, 5), (3, 6, 6)) == [[0], [1]]


def test_children_of_one_parent_are_one_event():
    assert group((1, 5, 5), (4, 5, 5)) == [[0, 1]]


def test_parts_that_do_not_hang_together_are_apart():
    assert group((3, 5, 5), (5, 5, 5)) == [[0], [1]]


def test_three_events_of_the_same_frames_are_one_pose():
    parents = [-1, -1, -1]
    parts, frames = np.array([0, 1, 2]), np.array([5, 5, 5])
    (all_of_them,) = causes.group_sightings(parts, frames, frames, parents)
    assert sorted(all_of_them.tolist()) == [0, 1, 2]
    two = causes.group_sightings(parts[:2], frames[:2], frames[:2], parents)
    assert len(two) == 2


def test_one_part_again_within_the_gap_is_one_event():
    assert group((3, 5, 5), (3, 8, 8), gap=3) == [[0, 1]]
    assert group((3, 5, 5), (3, 9, 9), gap=3) == [[0], [1]]


def test_events_come_in_order_of_their_frames():
    assert group((5, 30, 30), (3, 5, 5), (0, 50, 50)) == [[1], [0], [2]]


def test_topmost_and_carried_parts():
    assert causes.find_topmost([3, 2, 5], PARENTS) == 2
    assert causes.find_topmost([3, 5, 2], PARENTS) == 5
    assert causes.list_descendants(PARENTS, [1]).tolist() == [1, 2, 3]
    assert causes.list_descendants(PARENTS, [4, 3]).tolist() == [3, 4, 5]


@pytest.mark.parametrize("part", ["upper_arm.R", "forearm.R", "chest"])
def test_maker_is_the_part_whose_own_channel_jumps(part):
    phase = np.arange(48) / 8.0
    motion = figure.make_motion(
        {
            "upper_arm.R": figure.turn((1, 0, 0), 30.0 * np.sin(phase)),
            "chest": figure.turn((0, 0, 1), 10.0 * np.sin(phase)),
        },
        48,
    )
    bad = planting.turn_off(motion, [part], [20], 6.0, seed=2)
    hand = bad.index("hand.R")
    makers = causes.find_makers(
        bad.local_rotations,
        bad.local_heads,
        bad.heads,
        bad.parents,
        hand,
        bad.tails[20, hand],
        20,
        20,
        0.4,
    )
    assert makers == [bad.index(part)]


def test_still_motion_has_no_maker():
    motion = figure.make_motion({}, 20)
    hand = motion.index("hand.R")
    point = motion.heads[9, hand]
    arrays = (motion.local_rotations, motion.local_heads, motion.heads, motion.parents)
    assert causes.find_makers(*arrays, hand, point, 9, 9, 0.4) == []


def test_throw_is_the_chord_under_the_longest_lever():
    # 60 degrees under a lever of 2: the chord is as long as the lever.
    heads, tails = np.zeros((3, 3)), np.array([[0.0, 0, 0], [2.0, 0, 0], [0.5, 0, 0]])
    carried = np.arange(3)
    assert causes.limit_throw({0: 60.0}, 0.0, heads, tails, carried) == pytest.approx(2.0)
    assert causes.limit_throw({0: 180.0}, 1.5, heads, tails, carried) == pytest.approx(5.5)
    assert causes.limit_throw({}, 0.7, heads, tails, carried) == pytest.approx(0.7)


SIGHTINGS = st.lists(
    st.tuples(st.integers(0, 5), st.integers(0, 40), st.integers(0, 4)), min_size=1, max_size=30
)


@given(SIGHTINGS, st.integers(0, 5))
@settings(max_examples=80, deadline=None)
def test_every_sighting_is_in_exactly_one_event(sightings, gap):
    parts, firsts, lengths = (np.array(row) for row in zip(*sightings, strict=True))
    events = causes.group_sightings(parts, firsts, firsts + lengths, PARENTS, gap)
    assert sorted(np.concatenate(events).tolist()) == list(range(len(sightings)))
    starts = [int(firsts[event].min()) for event in events]
    assert starts == sorted(starts)
