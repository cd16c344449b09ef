# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""stiff-wrist on motion of known truth: clean, planted, just under, just over, not evaluated."""

import captures
import figure
import numpy as np
import pytest
import reposing
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.stiff_wrist import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.motion import Stage

SECONDS = 2.5
START = 0.5


def swing(
    gain: float,
    *,
    degrees: float = 60.0,
    length: float = 0.6,
    fps: float = 24.0,
    lead: float = 0.0,
    again: float | None = None,
    side: str = ".R",
    **options,
):
    """Swing a forearm; the wrist gives `gain` times as much (against it, as a hand that drags),
    or the hand's turn in the world runs ahead by `lead` seconds. `again` starts a second swing,
    back, at that time."""
    count = round(SECONDS * fps)
    seconds = np.arange(count) / fps

    def turned(late):
        first = figure.minimum_jerk((seconds - START - late) / length)
        if again is None:
            return degrees * first
        return degrees * (first - figure.minimum_jerk((seconds - again - late) / length))

    wrist = -gain * turned(0.0) if not lead else turned(-lead) - turned(0.0)
    angles = {
        f"forearm{side}": figure.turn((1, 0, 0), -turned(0.0)),
        f"hand{side}": figure.turn((1, 0, 0), -wrist),
    }
    return figure.make_motion(angles, count, fps=fps, **options)


@pytest.mark.parametrize("gain", [0.1, 0.4, -0.1])
def test_wrist_that_gives_is_clean(gain):
    assert_clean(run(CHECK, swing(gain)))


def test_hand_that_drags_two_frames_behind_is_clean():
    assert_clean(run(CHECK, swing(0.0, lead=-2.0 / 24.0)))


def test_rigid_wrist_is_flagged_at_the_swing():
    (flag,) = run(CHECK, swing(0.0)).flags
    assert (flag.part, flag.code) == ("hand.R", "rigid-wrist")
    assert flag.other_parts == ("forearm.R",)
    assert flag.severity is Severity.GLARING
    first, last = 1 + START * 24, 1 + (START + 0.6) * 24
    assert abs(flag.start - first) <= 3 and abs(flag.end - last) <= 3
    assert first - 2 <= flag.peak <= last + 2


@pytest.mark.parametrize(
    ("gain", "severity"),
    [
        (0.022, None),
        (0.018, Severity.FAINT),
        (0.0135, Severity.FAINT),
        (0.0105, Severity.CLEAR),
        (0.006, Severity.CLEAR),
        (0.004, Severity.GLARING),
    ],
)
def test_severity_follows_the_gain(gain, severity):
    flags = run(CHECK, swing(gain)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


def test_rigid_swings_in_a_row_make_one_flag():
    (flag,) = run(CHECK, swing(0.0, again=1.4)).flags
    assert "2 swings in a row" in flag.message
    assert flag.start <= 16 and flag.end >= 44


@pytest.mark.parametrize(
    ("frames", "severity"), [(1.5, None), (2.4, Severity.FAINT), (3.5, Severity.CLEAR)]
)
def test_severity_follows_the_lead(frames, severity):
    flags = run(CHECK, swing(0.0, lead=frames / 24.0)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])
    for flag in flags:
        assert flag.code == "hand-leads"
        assert flag.value == pytest.approx(frames, abs=0.4)


@pytest.mark.parametrize(
    "change",
    [{"degrees": 22.0}, {"degrees": 40.0, "length": 1.1}],
    ids=["small swing", "slow swing"],
)
def test_small_and_slow_swings_are_left_alone(change):
    assert_clean(run(CHECK, swing(0.0, **change)))


def test_planted_hand_is_left_alone_and_said_so():
    motion = swing(0.0)
    drift = motion.head("hand.R") - motion.head("hand.R")[:1]
    planted = reposing.repose(motion, local_heads={"root": motion.head("root") - drift})
    reading = run(CHECK, planted)
    assert reading.flags == ()
    assert any("planted" in entry.reason for entry in reading.not_evaluated)


def test_both_hands_on_one_thing_are_left_alone_and_said_so():
    count = round(SECONDS * 24)
    lift = -60.0 * figure.minimum_jerk((np.arange(count) / 24.0 - START) / 0.6)
    angles = {}
    for side, sign in ((".L", 1.0), (".R", -1.0)):
        # Forearms turned in: hands 0.16 of body height apart, lifted straight forward.
        angles[f"upper_arm{side}"] = figure.turn((1, 0, 0), lift)
        angles[f"forearm{side}"] = figure.turn((0, 1, 0), np.full(count, sign * 20.0))
    reading = run(CHECK, figure.make_motion(angles, count))
    assert reading.flags == ()
    assert any("one thing" in entry.reason for entry in reading.not_evaluated)


def strike(brake: float):
    """A straight punch of 0.2 s that stops within `brake` seconds of its top speed."""
    fps, count = 120.0, 300
    seconds = np.arange(count) / fps - START
    rise = np.clip(seconds / 0.2, 0.0, 1.0)
    speed = np.where(seconds <= 0.2, rise, np.clip(1.0 - (seconds - 0.2) / brake, 0.0, 1.0))
    speed = np.where(seconds < 0.0, 0.0, speed)
    turned = 140.0 * np.cumsum(speed) / speed.sum()
    return figure.make_motion(
        {
            "upper_arm.R": figure.turn((1, 0, 0), -0.5 * turned),
            "forearm.R": figure.turn((1, 0, 0), -140.0 + turned),
        },
        count,
        fps=fps,
    )


def test_fist_that_strikes_is_left_alone_and_said_so():
    reading = run(CHECK, strike(0.01))
    assert [flag for flag in reading.flags if flag.part == "hand.R"] == []
    assert any("strikes" in entry.reason for entry in reading.not_evaluated)


def test_fist_that_brakes_by_itself_is_judged():
    assert [flag.code for flag in run(CHECK, strike(0.2)).flags] == ["rigid-wrist"]


def test_missing_hands_are_not_evaluated():
    motion = swing(0.0, without=("hand.L", "hand.R"))
    assert_not_evaluated(run(CHECK, motion), "hand.L (not mapped)")


def test_waits_in_blocking():
    assert_not_evaluated(run(CHECK, swing(0.0, stage_override=Stage.BLOCKING)), "blocking")


def test_invariances():
    rates = {fps: swing(0.0, fps=fps) for fps in (12, 60, 120)}
    assert_invariant(CHECK, swing(0.0), at_rates=rates)


@pytest.mark.captures
@pytest.mark.parametrize("fps", [None, 24, 25, 30])
@pytest.mark.parametrize("clip", ["01_01", "01_03", "Boxing_Toes"])
def test_captures_have_nothing_clear(clip, fps):
    reading = run(CHECK, captures.load(clip, fps))
    assert [f.message for f in reading.flags if f.severity >= Severity.CLEAR] == []


@pytest.mark.captures
@pytest.mark.parametrize(
    ("clip", "side", "first", "last"),
    [("Boxing_Toes", ".L", 12, 30), ("Boxing_Toes", ".R", 292, 306), ("01_01", ".L", 300, 322)],
)
def test_wrist_frozen_in_a_capture_is_flagged_there(clip, side, first, last):
    motion = captures.load(clip, 24)
    flags = run(CHECK, reposing.hold(motion, [f"hand{side}"], first, last)).flags
    hits = [f for f in flags if f.severity >= Severity.CLEAR]
    assert hits and {flag.part for flag in hits} == {f"hand{side}"}
    assert all(first - 2 <= flag.peak <= last + 2 for flag in hits)
