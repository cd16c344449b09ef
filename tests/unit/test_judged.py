# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Outcomes used again only where motion and limits are the same to the last bit."""

from dataclasses import replace

import figure
import numpy as np
import pytest

from fettle.core_math import ALL_CHECKS, JudgedMemory, Settings, iterate_checks
from fettle.core_math.findings import CannotEvaluateError
from fettle.core_math.judged import is_same

FRAMES = 72
CHECKS = tuple(
    check for check in ALL_CHECKS if check.id in ("arc-break", "pop", "ik-lock", "late-camera")
)


def make_motion(bump=0.0, cuts=(37,)):
    """An arm that swings, with one frame of the second half lifted."""
    time = np.linspace(0.0, 6.0, FRAMES)
    lift = np.where(np.arange(FRAMES) == 55, bump, 0.0)
    angles = {
        "upper_arm.R": figure.turn((0, 1, 0), 40 * np.sin(time) + lift),
        "forearm.R": figure.turn((1, 0, 0), 30 + 25 * np.sin(time - 0.4)),
    }
    return figure.make_motion(angles, FRAMES, cuts=cuts)


def judge(motion, memory=None, settings=None):
    """Return what every check said, and which stretches each of them measured."""
    measured = []

    def watch(check):
        def measure(shot, values):
            measured.append((check.id, shot.frame(0)))
            return check.measure(shot, values)

        return replace(check, measure=measure)

    said = [
        (outcome.flags, outcome.not_evaluated, outcome.crashes, outcome.evaluated)
        for _, outcome in iterate_checks(
            motion, [watch(check) for check in CHECKS], settings or Settings(), memory
        )
    ]
    return said, measured


def test_only_the_stretch_that_changed_is_judged_again():
    memory = JudgedMemory()
    said, measured = judge(make_motion(), memory)
    assert {start for _, start in measured} == {1, 37}
    again, measured = judge(make_motion(), memory)
    assert measured == [] and again == said
    edited, measured = judge(make_motion(bump=25.0), memory)
    assert {start for _, start in measured} == {37}
    assert edited == judge(make_motion(bump=25.0))[0]
    assert edited != said  # the lifted frame is seen
    back, _ = judge(make_motion(), memory)
    assert back == said


def test_a_changed_limit_is_judged_again_and_no_other():
    memory = JudgedMemory()
    judge(make_motion(), memory)
    check = next(check for check in CHECKS if check.id == "pop")
    name = next(iter(Settings().values(check, 24.0).limits))
    limits = tuple(0.5 * v for v in Settings().values(check, 24.0).limits[name])
    settings = Settings(overrides={"pop": {name: limits}})
    said, measured = judge(make_motion(), memory, settings)
    assert {check_id for check_id, _ in measured} == {"pop"}
    assert said == judge(make_motion(), settings=settings)[0]


def test_reasons_are_kept_and_crashes_are_not():
    memory = JudgedMemory()
    calls = []

    def measure(shot, values):
        calls.append(shot.frame(0))
        raise CannotEvaluateError("planted") if len(calls) < 3 else RuntimeError("planted")

    check = replace(CHECKS[0], measure=measure)
    for _ in range(2):
        (outcome,) = [o for _, o in iterate_checks(make_motion(), [check], Settings(), memory)]
        assert [entry.reason for entry in outcome.not_evaluated] == ["planted"]
    assert calls == [1, 37]
    memory = JudgedMemory()
    for count in (4, 6):
        (outcome,) = [o for _, o in iterate_checks(make_motion(), [check], Settings(), memory)]
        assert len(outcome.crashes) == 2 and len(calls) == count


@pytest.mark.parametrize(
    "changed",
    [
        {"fps": 25.0},
        {"height": 1.8},
        {"ground_height": 0.1},
        {"cuts": ()},
        {"dropped": {"toe.L": "why"}},
        {"staging": object()},
    ],
)
def test_any_difference_counts(changed):
    motion = make_motion()
    assert is_same(motion, make_motion())
    assert not is_same(motion, replace(motion, **changed))
    moved = motion.heads.copy()
    moved[3, 5, 1] = np.nextafter(moved[3, 5, 1], 9.0)
    assert not is_same(motion, replace(motion, heads=moved))
