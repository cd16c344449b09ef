# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The runner keeps outcomes apart: clean, flags, not evaluated with its reason, crashed."""

from dataclasses import replace

import figure
import numpy as np

from fettle.core_math import Settings, Stage, run_checks
from fettle.core_math.check import Check, Group, Limits
from fettle.core_math.findings import CannotEvaluateError, Flag, NotEvaluated, Severity
from fettle.core_math.motion import SubjectKind
from fettle.core_math.units import Unit

LIMITS = Limits("x", 1.0, 2.0, 3.0, Unit.RATIO, 0.0, 9.0, "four words at least", "practice here")


def make_check(judge, measure=lambda motion, values: None, **fields):
    options = {
        "id": "made-up",
        "group": Group.PATHS,
        "question": "Is it?",
        "codes": {"seen": "it was seen"},
        "declarations": (LIMITS,),
        "measure": measure,
        "judge": judge,
        "description": "made-up",
    }
    return Check(**{**options, **fields})


def make_flag(motion, **fields):
    flag = Flag(
        check="made-up",
        code="seen",
        subject=motion.subject,
        part="head",
        start=motion.frame(0),
        end=motion.frame(-1),
        peak=motion.frame(0),
        severity=Severity.CLEAR,
        confidence=1.0,
        value=2.0,
        unit=Unit.RATIO,
        limit=2.0,
        message="m",
        suggestion="s",
    )
    return replace(flag, **fields)


def test_flags_and_partial_reasons_come_back_together():
    def judge(motion, _measured, _values):
        yield make_flag(motion)
        yield NotEvaluated("made-up", motion.subject, "no left hand", "hand.L")

    reading = run_checks(figure.make_motion({}, 10), [make_check(judge)])
    assert len(reading.flags) == 1 and reading.evaluated == ("made-up",)
    assert reading.not_evaluated[0].reason == "no left hand"


def test_crash_is_a_named_entry_and_the_others_go_on():
    def explode(motion, measured, values):
        raise ZeroDivisionError("no such thing")

    good = make_check(lambda motion, *_: [make_flag(motion)], id="good-one")
    reading = run_checks(figure.make_motion({}, 10), [make_check(explode), good])
    (crash,) = reading.crashes
    assert crash.check == "made-up"
    assert "ZeroDivisionError: no such thing (test_runner.py:" in crash.error
    assert len(reading.flags) == 1 and reading.evaluated == ("good-one",)


def test_reason_from_measure_is_not_evaluated_and_not_clean():
    def measure(motion, values):
        raise CannotEvaluateError("needs a tail")

    reading = run_checks(figure.make_motion({}, 10), [make_check(lambda *_: [], measure)])
    assert reading.evaluated == ()
    assert reading.not_evaluated[0].reason == "needs a tail"


def test_what_a_check_needs_is_decided_before_it_measures():
    def measure(motion, values):
        raise AssertionError("must not be reached")

    motion = figure.make_motion({}, 10)
    for fields, changed, words in (
        ({"minimum_frames": 20}, motion, "10 frames are too few"),
        ({"needs_camera": True}, motion, "no shot camera"),
        ({"kinds": frozenset({SubjectKind.OBJECT})}, motion, "judges an object only"),
        ({}, replace(motion, stage=Stage.BLOCKING), "waits for a later stage"),
        ({}, replace(motion, height=0.0), "no size"),
    ):
        check = make_check(lambda *_: [], measure, **fields)
        (entry,) = run_checks(changed, [check]).not_evaluated
        assert words in entry.reason


def test_each_shot_between_cuts_is_read_by_itself():
    seen = []

    def judge(motion, _measured, _values):
        seen.append((motion.frame(0), motion.frame(-1)))
        if motion.frame(0) == 1:
            raise CannotEvaluateError("no hands")
        return [make_flag(motion)]

    motion = replace(figure.make_motion({}, 30), cuts=(11, 21))
    reading = run_checks(motion, [make_check(judge)])
    assert seen == [(1, 10), (11, 20), (21, 30)]
    assert reading.not_evaluated[0].reason == "no hands (frames 1-10)"
    assert reading.not_evaluated[0].frames == ((1, 10),)
    assert [(flag.start, flag.end) for flag in reading.flags] == [(11, 30)]


def test_disabled_check_does_not_run():
    check = make_check(lambda motion, *_: [make_flag(motion)])
    reading = run_checks(
        figure.make_motion({}, 10), [check], Settings(disabled=frozenset({"made-up"}))
    )
    assert reading.flags == () and reading.evaluated == ()


def test_arithmetic_on_degenerate_motion_prints_no_warning():
    def measure(motion, values):
        return np.array([1.0]) / np.array([0.0])

    assert run_checks(figure.make_motion({}, 10), [make_check(lambda *_: [], measure)])
