# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""One cause, one flag: what stays, what goes, and what is left alone."""

from dataclasses import replace

import figure
import pytest

from fettle.core_math import ALL_CHECKS, merge_causes, merge_subjects
from fettle.core_math.findings import Flag, Severity
from fettle.core_math.units import Unit

MOTION = figure.make_motion({}, 30)
ARC = Flag(
    check="arc-break",
    code="off-the-arc",
    subject="Figure",
    part="hand.R",
    start=12,
    end=12,
    peak=12,
    severity=Severity.CLEAR,
    confidence=0.9,
    value=2.0,
    unit=Unit.BODY_HEIGHT,
    limit=1.5,
    message="the hand leaves its arc",
    suggestion="s",
)
POP = replace(ARC, check="pop", code="one-frame", part="upper_arm.R", message="the arm pops")


def test_pop_of_the_arm_that_breaks_the_hands_arc_is_told_once_at_the_hand():
    (flag,) = merge_causes([ARC, POP], ALL_CHECKS, MOTION)
    assert (flag.check, flag.part, flag.other_parts) == ("arc-break", "hand.R", ("upper_arm.R",))


def test_the_worse_one_stays():
    (flag,) = merge_causes([ARC, replace(POP, severity=Severity.GLARING)], ALL_CHECKS, MOTION)
    assert (flag.check, flag.severity, flag.other_parts) == ("pop", Severity.GLARING, ("hand.R",))


@pytest.mark.parametrize("change", [{"part": "upper_arm.L"}, {"start": 20, "end": 20, "peak": 20}])
def test_another_limb_or_another_time_is_another_cause(change):
    assert len(merge_causes([ARC, replace(POP, **change)], ALL_CHECKS, MOTION)) == 2


def test_checks_that_do_not_explain_each_other_stay_apart():
    lock = replace(ARC, check="ik-lock")
    assert merge_causes([ARC, lock], ALL_CHECKS, MOTION) == [ARC, lock]


def test_every_named_explanation_is_a_check():
    ids = {check.id for check in ALL_CHECKS}
    named = {name for check in ALL_CHECKS for name in check.explained_by}
    assert named and named <= ids


def test_one_camera_hitch_is_told_once_whoever_is_watched():
    hitch = replace(ARC, check="camera-hitch", code="jumps", part="camera")
    worse = replace(hitch, subject="Crate", severity=Severity.GLARING)
    later = replace(hitch, subject="Cart", start=25, end=25, peak=25)
    other = replace(ARC, subject="Crate")
    assert merge_subjects([hitch, ARC, worse, later, other]) == [worse, ARC, later, other]
