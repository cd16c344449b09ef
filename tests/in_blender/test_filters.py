# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which flags are shown, in which order, and what comes next."""

from dataclasses import replace

import pytest

from fettle.addon.filters import (
    FlagFilter,
    Unjudged,
    count_checks,
    count_severities,
    find_neighbour,
    group_unjudged,
)
from fettle.core_math import Flag, NotEvaluated, Severity, State, Unit


def make_flag(peak, check="ik-lock", part="hand.L", severity=Severity.CLEAR, **changes):
    flag = Flag(
        check=check,
        code="seen",
        subject="Rig",
        part=part,
        start=peak - 2,
        end=peak + 2,
        peak=peak,
        severity=severity,
        confidence=1.0,
        value=1.0,
        unit=Unit.RATIO,
        limit=0.5,
        message="Left hand keeps its world angle",
        suggestion="",
    )
    return replace(flag, **changes)


LOCK = make_flag(30)
POP = make_flag(90, "pop", "head", Severity.GLARING, message="Head jumps and comes back")
FAINT = make_flag(60, "twinning", "hand.R", Severity.FAINT)
MEANT = make_flag(10, "pop", "hips", state=State.MEANT, reason="a cartoon take")
DONE = make_flag(20, "pop", "chest", state=State.DONE)
FLAGS = [POP, LOCK, FAINT, MEANT, DONE]


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        (FlagFilter(), [LOCK, FAINT, POP]),
        (FlagFilter(worst_first=True), [POP, LOCK, FAINT]),
        (FlagFilter(severities=frozenset({Severity.GLARING})), [POP]),
        (FlagFilter(state=State.MEANT), [MEANT]),
        (FlagFilter(state=State.DONE), [DONE]),
        (FlagFilter(state=None), [MEANT, DONE, LOCK, FAINT, POP]),
        (FlagFilter(check="twinning"), [FAINT]),
        (FlagFilter(part="head"), [POP]),
        (FlagFilter(words="JUMPS back"), [POP]),
        (FlagFilter(words="right hand"), [FAINT]),
        (FlagFilter(state=None, words="cartoon"), [MEANT]),
        (FlagFilter(words="nobody says this"), []),
    ],
)
def test_what_is_shown(asked, expected):
    assert asked.select(FLAGS) == expected


def test_a_filter_knows_whether_it_narrows():
    assert not FlagFilter(worst_first=True).narrowed
    assert FlagFilter(words="x").narrowed
    assert FlagFilter(state=None).narrowed


def test_counts_leave_out_what_is_decided():
    assert count_severities(FLAGS) == {
        Severity.FAINT: 1,
        Severity.CLEAR: 1,
        Severity.GLARING: 1,
    }
    assert count_checks(FLAGS) == {"pop": 1, "ik-lock": 1, "twinning": 1}


@pytest.mark.parametrize(
    ("frame", "forward", "expected"),
    [(1, True, LOCK), (30, True, FAINT), (90, True, LOCK), (30, False, POP), (75, False, FAINT)],
)
def test_next_and_previous_start_over_at_the_ends(frame, forward, expected):
    assert find_neighbour([POP, LOCK, FAINT], frame, forward) == expected


def test_several_flags_on_one_frame_are_all_visited():
    same = [make_flag(30, part=part) for part in ("head", "hips", "chest")]
    seen, chosen = [], None
    for _ in same:
        flag = find_neighbour(same, 30 if chosen else 1, True, chosen)
        seen.append(flag.id)
        chosen = flag.id
    assert len(set(seen)) == 3


def test_no_flags_no_neighbour():
    assert find_neighbour([], 5, True) is None


def test_each_reason_is_told_once():
    skipped = [
        NotEvaluated("ik-lock", "Cart", "judges a character only"),
        NotEvaluated("twinning", "Cart", "judges a character only"),
        NotEvaluated("ik-lock", "Crate", "judges a character only"),
        NotEvaluated("twinning", "Crate", "judges a character only"),
        NotEvaluated("ik-lock", "Rig", "needs hand.R (not mapped)", part="hand.R"),
    ]
    assert group_unjudged(skipped) == [
        Unjudged("needs hand.R (not mapped)", ("ik-lock",), ("Rig",), ("hand.R",)),
        Unjudged("judges a character only", ("ik-lock", "twinning"), ("Cart", "Crate")),
    ]
    assert group_unjudged([]) == []
