# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Checks that pause: the same outcome with and without pauses, and nothing leaks in between."""

from dataclasses import replace

import figure
import gait
import numpy as np
import pytest

from fettle.core_math import ALL_CHECKS, JudgedMemory, Settings, iterate_checks, iterate_pieces
from fettle.core_math.findings import CannotEvaluateError
from fettle.core_math.watched import watch_motion

SETTINGS = Settings()
BY_ID = {check.id: check for check in ALL_CHECKS}


def walk():
    return gait.make_walk(fps=24.0, seconds=3.0)[0]


def tell(outcome):
    return outcome.flags, outcome.not_evaluated, outcome.crashes, outcome.evaluated


@pytest.mark.parametrize("memory", [None, JudgedMemory()])
def test_pauses_change_no_outcome(memory):
    motion = walk()
    whole = {c.id: tell(o) for c, o in iterate_checks(motion, ALL_CHECKS, SETTINGS)}
    pieces = list(iterate_pieces(replace(motion, _memo={}), ALL_CHECKS, SETTINGS, memory))
    assert {c.id: tell(o) for c, o in pieces if o is not None} == whole
    paused = {c.id for c, o in pieces if o is None}
    assert {"arc-break", "pop", "stiff-wrist", "soft-plant"} <= paused


def test_warnings_are_silenced_in_pieces_of_work_only():
    seen = []

    def measure(motion, values):
        seen.append(np.geterr()["divide"])
        yield
        seen.append(np.geterr()["divide"])

    check = replace(BY_ID["pop"], measure=measure, judge=lambda *_: [])
    with np.errstate(divide="raise"):
        for _ in iterate_pieces(walk(), [check], SETTINGS):
            seen.append(np.geterr()["divide"])
    assert seen == ["ignore", "raise", "ignore", "raise"]


def test_refusal_and_crash_after_a_pause_are_told_as_ever():
    def refuse(motion, values):
        yield
        raise CannotEvaluateError("planted reason")

    def crash(motion, values):
        yield
        raise RuntimeError("planted crash")

    refused, crashed = (
        outcome
        for name, measure in (("pop", refuse), ("stall", crash))
        for _, outcome in iterate_pieces(
            walk(), [replace(BY_ID[name], measure=measure)], SETTINGS, JudgedMemory()
        )
        if outcome is not None
    )
    assert [entry.reason for entry in refused.not_evaluated] == ["planted reason"]
    assert "planted crash" in crashed.crashes[0].error


def test_a_reading_given_up_in_a_pause_leaves_nothing_half_known():
    motion, memory = walk(), JudgedMemory()
    for stop in range(1, 40, 6):
        pieces = iterate_pieces(motion, ALL_CHECKS, SETTINGS, memory)
        for _ in range(stop):
            next(pieces)
        pieces.close()
    again = [tell(o) for _, o in iterate_checks(motion, ALL_CHECKS, SETTINGS, memory)]
    fresh = replace(motion, _memo={})
    assert again == [tell(o) for _, o in iterate_checks(fresh, ALL_CHECKS, SETTINGS)]


def count_calls(motion, calls, given=1):
    def compute(columns, rows):
        calls.append(list(rows))
        return {row: float(columns[:, place].sum()) for place, row in enumerate(rows) if row % 2}

    rows = range(len(motion.parts))
    return motion.memo_by_part("sums", "heads", rows, compute, given)


def test_what_is_worked_out_part_by_part_is_kept_part_by_part():
    plain = figure.make_motion({}, 12)
    watched, calls = watch_motion(plain), []
    first = count_calls(watched, calls)
    assert first == pytest.approx(count_calls(plain, []))
    assert count_calls(watched, calls) == first and len(calls) == 1
    row = plain.index("hand.R")
    kept = {
        key: entry.drop({("heads", "hand.R"), ("tails", "head")})
        for key, entry in watched.list_shared().items()
    }
    moved = plain.heads.copy()
    moved[:, row] += 1.0
    edited, calls = watch_motion(replace(plain, heads=moved, _memo={}), kept), []
    with edited.watch.collect() as reads:
        again = count_calls(edited, calls)
    assert calls == [[row]]
    assert reads == {("heads", part) for part in plain.parts}
    assert again == pytest.approx(count_calls(replace(plain, heads=moved, _memo={}), []))
    # Another limit: everything anew.
    count_calls(edited, calls, given=2)
    assert calls[-1] == list(range(len(plain.parts)))


@pytest.mark.parametrize("watched", [False, True])
def test_a_kept_value_holds_for_what_was_given_only(watched):
    motion = figure.make_motion({}, 12)
    motion = watch_motion(motion) if watched else motion
    calls = []

    def compute():
        calls.append(1)
        yield
        return len(calls)

    def run(given):
        steps, pauses = motion.memo_steps("x", compute, given), 0
        while True:
            try:
                next(steps)
                pauses += 1
            except StopIteration as end:
                return end.value, pauses

    assert [run("a"), run("a"), run("b"), run("b"), run("a")] == [
        (1, 1), (1, 0), (2, 1), (2, 0), (3, 1),
    ]  # fmt: skip
    assert motion.memo("y", lambda: "one", given=1) == "one"
    assert motion.memo("y", lambda: "two", given=1) == "one"
    assert motion.memo("y", lambda: "two", given=2) == "two"
