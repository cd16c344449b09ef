# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Comparing two readings: fixed, still there, better, worse, new, and what nobody judged."""

from dataclasses import replace

import pytest
from sample_readings import HAND, POP, SHOT, with_flags

from fettle.core_math.findings import Crash, NotEvaluated, Severity, State
from fettle.core_math.takes import Fate, compare_readings, pair_shots

CLEAN = {"not_evaluated": (), "crashes": ()}


def fates(old, new, **changes):
    comparison = compare_readings(with_flags(*old, **CLEAN), with_flags(*new, **CLEAN | changes))
    return [(change.fate, change.flag.part) for change in comparison.changes]


def test_every_fate_in_the_order_a_reviewer_wants():
    foot = replace(HAND, part="foot.L", check="foot-slide", code="slides")
    old = [HAND, POP, replace(foot, value=2.0, limit=1.0), replace(foot, part="foot.R")]
    new = [
        replace(HAND, value=0.02),  # falls further under its limit
        replace(foot, value=1.2, limit=1.0),
        replace(foot, part="foot.R"),
        replace(foot, part="hips"),
    ]
    assert fates(old, new) == [
        (Fate.NEW, "hips"),
        (Fate.WORSE, "hand.L"),
        (Fate.SAME, "foot.R"),
        (Fate.BETTER, "foot.L"),
        (Fate.FIXED, "head"),
    ]


def test_counts_name_every_fate():
    comparison = compare_readings(with_flags(POP, **CLEAN), with_flags(**CLEAN))
    assert comparison.count() == {fate: int(fate is Fate.FIXED) for fate in Fate}


@pytest.mark.parametrize(
    ("limit", "value", "fate"),
    [
        (4.0, 6.25, Fate.SAME),
        (4.0, 6.5, Fate.SAME),  # 4 % more
        (4.0, 7.0, Fate.WORSE),
        (4.0, 5.0, Fate.BETTER),
    ],
)
def test_rising_limit_more_is_worse(limit, value, fate):
    assert fates([POP], [replace(POP, limit=limit, value=value)]) == [(fate, "head")]


@pytest.mark.parametrize(
    ("value", "fate"), [(0.08, Fate.SAME), (0.02, Fate.WORSE), (0.11, Fate.BETTER)]
)
def test_falling_limit_less_is_worse(value, fate):
    assert fates([HAND], [replace(HAND, value=value)]) == [(fate, "hand.L")]


def test_tiny_values_far_under_a_limit_are_the_same_whatever_their_ratio():
    old, new = replace(HAND, value=0.0001), replace(HAND, value=0.0004)
    assert fates([old], [new]) == [(Fate.SAME, "hand.L")]


def test_without_comparable_numbers_the_severity_decides():
    nothing = replace(POP, value=float("nan"))
    assert fates([nothing], [nothing]) == [(Fate.SAME, "head")]
    milder = replace(nothing, severity=Severity.FAINT)
    assert fates([nothing], [milder]) == [(Fate.BETTER, "head")]


def test_flag_in_pieces_is_one_finding_still_there():
    pieces = [replace(HAND, end=25), replace(HAND, start=31)]
    assert fates([HAND], pieces) == [(Fate.SAME, "hand.L")]
    assert fates(pieces, [HAND]) == [(Fate.SAME, "hand.L")]


def test_same_fault_elsewhere_is_fixed_here_and_new_there():
    later = replace(HAND, start=60, end=70, peak=65)
    assert fates([HAND], [later]) == [(Fate.NEW, "hand.L"), (Fate.FIXED, "hand.L")]


def test_retime_moves_the_old_frames():
    later = replace(HAND, start=122, end=135, peak=129)
    comparison = compare_readings(
        with_flags(HAND, **CLEAN), with_flags(later, **CLEAN), lambda subject, part, f: f + 100
    )
    assert [change.fate for change in comparison.changes] == [Fate.SAME]


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"not_evaluated": (NotEvaluated("pop", "Rig", "3 frames are too few"),)}, "too few"),
        ({"not_evaluated": (NotEvaluated("pop", "Rig", "not mapped", "head"),)}, "not mapped"),
        ({"not_evaluated": (NotEvaluated("every-check", "Rig", "no bones"),)}, "no bones"),
        ({"crashes": (Crash("pop", "Rig", "KeyError: 'x'"),)}, "the check failed"),
        ({"frame_range": (1, 100)}, "outside the frames read"),
        ({"subjects": (replace(SHOT.subjects[0], name="Cart"),)}, "subject is not in this take"),
    ],
)
def test_what_could_not_be_judged_is_not_called_fixed(changes, reason):
    comparison = compare_readings(with_flags(POP, **CLEAN), replace(with_flags(**CLEAN), **changes))
    (change,) = comparison.changes
    assert change.fate is Fate.UNKNOWN and reason in change.reason


@pytest.mark.parametrize(
    "entry",
    [
        NotEvaluated("pop", "Cart", "no camera"),
        NotEvaluated("pop", "Rig", "not mapped", "hand.L"),
        NotEvaluated("pop", "Rig", "too short", frames=((1, 20), (80, 90))),
    ],
)
def test_what_was_not_judged_elsewhere_does_not_hide_a_fix(entry):
    comparison = compare_readings(
        with_flags(POP, **CLEAN), replace(with_flags(**CLEAN), not_evaluated=(entry,))
    )
    assert [change.fate for change in comparison.changes] == [Fate.FIXED]


def test_what_is_meant_is_no_regression():
    meant = replace(POP, state=State.MEANT, reason="a sneeze")
    comparison = compare_readings(with_flags(**CLEAN), with_flags(meant, HAND, **CLEAN))
    assert comparison.regressions() == [HAND]


def test_shots_pair_by_name_without_version_and_by_scene():
    def shot(source, scene="Scene"):
        return replace(SHOT, source=source, scene=scene)

    old = [shot("a/sling_v001.blend"), shot("a/sling_v001.blend", "Close"), shot("a/gone.blend")]
    new = [shot("b/Sling.v12.blend", "Close"), shot("b\\sling-V3.blend"), shot("b/fresh.blend")]
    pairs, only_old, only_new = pair_shots(old, new)
    assert pairs == [(old[1], new[0]), (old[0], new[1])]
    assert (only_old, only_new) == ([old[2]], [new[2]])
    assert pair_shots(old[:1], new[2:]) == ([(old[0], new[2])], [], [])
