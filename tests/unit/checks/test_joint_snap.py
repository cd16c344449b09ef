# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""joint-snap on motion of known truth: clean, planted, order of severity, not evaluated."""

import captures
import figure
import numpy as np
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.joint_snap import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.motion import Stage

UPPER, LOWER = 0.30, 0.27
SECONDS = 3.0
START = 0.75


def flexion_of(reach: np.ndarray) -> np.ndarray:
    """Flexion of two links at a reach (law of cosines); a target out of reach locks them."""
    cosine = (reach**2 - UPPER**2 - LOWER**2) / (2.0 * UPPER * LOWER)
    return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


def reach_out(over: float, *, length: float = 0.8, fps: float = 24.0, back=None, limb="elbow"):
    """A target eases from 0.40 m to `over` metres past the limb's reach in `length` seconds."""
    count = round(SECONDS * fps)
    seconds = np.arange(count) / fps
    ease = figure.minimum_jerk((seconds - START) / length)
    if back is not None:
        ease = ease - figure.minimum_jerk((seconds - back) / length)
    flexion = flexion_of(0.40 + (UPPER + LOWER - 0.40 + over) * ease)
    return bend(flexion, fps=fps, limb=limb)


def bend(flexion, *, fps: float = 24.0, limb="elbow", **options):
    """Bend one joint by these angles; the other joints are bent by 60 degrees throughout."""
    count = len(flexion)
    angles = {}
    for side in (".L", ".R"):
        for name, part, sign in (("elbow", "forearm", -1.0), ("knee", "shin", 1.0)):
            own = flexion if (name, side) == (limb, ".R") else np.full(count, 60.0)
            angles[f"{part}{side}"] = figure.turn((1, 0, 0), sign * own)
    return figure.make_motion(angles, count, fps=fps, **options)


def test_limb_that_stays_inside_its_reach_is_clean():
    assert_clean(run(CHECK, reach_out(-0.01)))


def test_limb_that_eases_into_straight_is_clean():
    seconds = np.arange(72) / 24.0
    assert_clean(run(CHECK, bend(80.0 * (1.0 - figure.minimum_jerk((seconds - 0.75) / 0.8)))))


@pytest.mark.parametrize("length", [0.2, 0.25, 0.4])
def test_fast_throw_that_eases_into_straight_is_clean(length):
    # Minimum jerk brakes as long as it gathers speed, however short it is.
    seconds = np.arange(72) / 24.0
    assert_clean(run(CHECK, bend(100.0 * (1.0 - figure.minimum_jerk((seconds - 1.0) / length)))))


@pytest.mark.parametrize(("limb", "part"), [("elbow", "forearm.R"), ("knee", "shin.R")])
def test_target_out_of_reach_is_flagged_where_the_joint_locks(limb, part):
    motion = reach_out(0.05, limb=limb)
    (flag,) = run(CHECK, motion).flags
    assert (flag.part, flag.code) == (part, "full-stretch")
    assert flag.severity >= Severity.CLEAR
    lengths = 0.40 + (UPPER + LOWER - 0.40 + 0.05) * figure.minimum_jerk(
        (np.arange(72) / 24.0 - START) / 0.8
    )
    locks = 1 + int(np.argmax(lengths >= UPPER + LOWER))
    assert abs(flag.peak - locks) <= 2


def test_the_farther_out_of_reach_the_worse():
    readings = [run(CHECK, reach_out(over)).flags for over in (-0.01, 0.008, 0.03, 0.1)]
    worst = [max((flag.value for flag in flags), default=0.0) for flags in readings]
    assert worst == sorted(worst) and len(set(worst)) == 4
    assert worst[0] == 0.0 and readings[-1][0].severity is Severity.GLARING


@pytest.mark.parametrize(("top", "found"), [(9.0, False), (7.0, True)])
def test_only_a_joint_past_the_straight_angle_counts(top, found):
    # From 60 to `top` degrees of flexion at a steady 4.4 and then 14 degrees a frame, then still.
    steady = np.arange(60.0, top + 14.0, -4.4)
    flexion = np.concatenate((np.full(20, 60.0), steady, np.full(30, top)))
    assert bool(run(CHECK, bend(flexion)).flags) is found


@pytest.mark.parametrize(
    ("spike", "severity"),
    [
        (3.8, None),
        (4.2, Severity.FAINT),
        (6.3, Severity.FAINT),
        (6.7, Severity.CLEAR),
        (10.7, Severity.CLEAR),
        (11.3, Severity.GLARING),
    ],
)
def test_severity_follows_the_spike(spike, severity):
    # Steps that never change have a level of 0: the last step over the floor of 2 degrees. A knee
    # may carry: that it stays dead at full stretch says nothing.
    steps = np.concatenate((np.zeros(24), np.full(10, 2.0), [2.0 * spike], np.zeros(30)))
    flexion = np.concatenate(([0.0], np.cumsum(steps)))
    flexion = flexion[-1] - flexion
    flags = run(CHECK, bend(flexion, limb="knee")).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])
    for flag in flags:
        assert flag.value == pytest.approx(spike, rel=1e-6)


@pytest.mark.parametrize(("waver", "severity"), [(0.0, Severity.CLEAR), (2.0, Severity.FAINT)])
def test_elbow_that_stops_dead_counts_twice(waver, severity):
    # A last step of 10 degrees is 5 times the floor; then the elbow is dead, or lives on.
    steps = np.concatenate((np.zeros(24), np.full(10, 2.0), [10.0], np.zeros(30)))
    flexion = np.concatenate(([0.0], np.cumsum(steps)))
    flexion = flexion[-1] - flexion
    flexion[36:] += waver * (1.0 - np.cos(0.9 * np.arange(len(flexion) - 36)))
    (flag,) = run(CHECK, bend(flexion)).flags
    assert flag.severity is severity and ("locks dead" in flag.message) is (waver == 0.0)


def test_small_step_is_left_alone():
    steps = np.concatenate((np.zeros(24), [5.5], np.zeros(30)))
    flexion = 5.5 - np.concatenate(([0.0], np.cumsum(steps)))
    assert_clean(run(CHECK, bend(flexion + 4.0)))


def test_kick_that_passes_through_straight_is_left_alone():
    seconds = np.arange(72) / 24.0
    flexion = 90.0 * np.abs(np.tanh(4.0 * (seconds - 1.5)))
    assert_clean(run(CHECK, bend(flexion, limb="knee")))


def test_locking_and_dropping_open_again_soon_is_one_flag():
    (flag,) = run(CHECK, reach_out(0.1, length=0.5, back=1.3)).flags
    assert flag.end - flag.start > 4


def test_missing_limbs_are_not_evaluated():
    parts = ("upper_arm.L", "upper_arm.R", "thigh.L", "thigh.R")
    assert_not_evaluated(run(CHECK, figure.make_motion({}, 48, without=parts)), "upper_arm.L")


def test_one_missing_limb_is_said_and_the_others_judged():
    motion = bend(flexion_of(np.linspace(0.4, 0.62, 72)), without=("thigh.L",))
    reading = run(CHECK, motion)
    assert [flag.part for flag in reading.flags] == ["forearm.R"]
    assert [entry.part for entry in reading.not_evaluated] == ["shin.L"]


def test_waits_in_blocking():
    motion = bend(np.full(48, 20.0), stage_override=Stage.BLOCKING)
    assert_not_evaluated(run(CHECK, motion), "blocking")


def test_invariances():
    rates = {fps: reach_out(0.1, fps=fps) for fps in (30, 60, 120)}
    assert_invariant(CHECK, reach_out(0.1), at_rates=rates)


@pytest.mark.captures
@pytest.mark.parametrize("fps", [None, 24, 25, 30])
@pytest.mark.parametrize("clip", ["01_01", "Boxing_Toes"])
def test_captures_are_clean(clip, fps):
    assert_clean(run(CHECK, captures.load(clip, fps)))


@pytest.mark.captures
@pytest.mark.parametrize("fps", [None, 24, 25, 30])
def test_climber_with_locked_knees_has_at_most_one_clear_flag(fps):
    flags = run(CHECK, captures.load("01_03", fps)).flags
    assert len([flag for flag in flags if flag.severity >= Severity.CLEAR]) <= 1
