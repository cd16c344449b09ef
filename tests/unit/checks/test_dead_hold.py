# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""dead-hold on motion of known truth and on captures."""

import cameras
import captures
import figure
import numpy as np
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.dead_hold import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.motion import Stage


def act(hold: float, *, fps: float = 24.0, breath: float = 0.0, **options):
    """Raise an arm within a second, hold for `hold` seconds, lower it within a second.

    `breath` is a slow nod of the head that goes on through the hold, in degrees.
    """
    move, still = round(fps), round(hold * fps)
    # Constant speed: the move does not ease into the hold, so its length is exact.
    up = np.linspace(0.0, 60.0, move + 1)
    angles = np.concatenate((up, np.full(still - 1, 60.0), up[::-1])) if still else up
    count = len(angles)
    nod = breath * np.sin(2.0 * np.pi * np.arange(count) / fps / 3.0)
    return figure.make_motion(
        {"upper_arm.R": figure.turn((1, 0, 0), angles), "head": figure.turn((1, 0, 0), nod)},
        count,
        fps=fps,
        **options,
    )


def test_moving_hold_is_clean():
    assert_clean(run(CHECK, act(1.5, breath=2.0)))


def test_frozen_hold_is_flagged_with_its_frames():
    (flag,) = run(CHECK, act(1.0)).flags
    assert (flag.part, flag.code) == ("root", "frozen")
    assert (flag.start, flag.end) == (25, 49)
    assert flag.value == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("seconds", "severity"),
    [
        (0.30, None),
        (0.40, Severity.FAINT),
        (0.55, Severity.FAINT),
        (0.65, Severity.CLEAR),
        (0.95, Severity.CLEAR),
        (1.05, Severity.GLARING),
    ],
)
def test_severity_follows_the_time(seconds, severity):
    flags = run(CHECK, act(seconds, fps=60.0)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


@pytest.mark.parametrize(("speed", "found"), [(0.3, 1), (0.8, 0)])
def test_slow_drift_keeps_a_hold_alive(speed, found):
    # The whole body drifts by a share of its size per second.
    count = 73
    path = np.zeros((count, 3))
    path[:, 0] = np.cumsum(np.full(count, speed / 100.0 * figure.STATURE / 24.0))
    angles = np.concatenate((np.linspace(0, 60, 25), np.full(24, 60.0), np.linspace(60, 0, 24)))
    arm = {"upper_arm.R": figure.turn((1, 0, 0), angles)}
    assert len(run(CHECK, figure.make_motion(arm, count, root_path=path)).flags) == found


def test_one_finger_keeps_a_hold_alive():
    motion = act(1.0)
    count = motion.frame_count
    angles = np.concatenate((np.linspace(0, 60, 25), np.full(23, 60.0), np.linspace(60, 0, 25)))
    finger = figure.turn((1, 0, 0), 5.0 * np.sin(np.arange(count) / 6.0))
    parts = {"upper_arm.R": figure.turn((1, 0, 0), angles), "index.L": finger}
    assert_clean(run(CHECK, figure.make_motion(parts, count)))


@pytest.mark.parametrize(("turned", "found"), [(False, 1), (True, 0)])
def test_hold_out_of_the_picture_is_left_alone(turned, found):
    count = act(1.0).frame_count
    # In front of the figure at chest height; looking at it, or the other way.
    half = np.sqrt(0.5)
    towards = np.array([half, half, 0.0, 0.0])
    away = np.array([0.0, 0.0, half, half])
    camera = cameras.stand_still(count, np.array([0.0, -6.0, 1.0]), away if turned else towards)
    assert len(run(CHECK, act(1.0, camera=camera)).flags) == found


def test_held_drawings_are_no_hold():
    angles = np.repeat(np.linspace(0.0, 90.0, 36), 2)
    motion = figure.make_motion({"upper_arm.R": figure.turn((1, 0, 0), angles)}, 72)
    assert motion.stage is Stage.HELD
    assert_clean(run(CHECK, motion))


def test_blocking_waits():
    assert_not_evaluated(run(CHECK, act(1.0, stage_override=Stage.BLOCKING)), "waits")


def test_shot_in_which_nothing_moves_is_not_evaluated():
    assert_not_evaluated(run(CHECK, figure.make_motion({}, 48)), "nothing moves")


def test_invariances():
    at_rates = {fps: act(0.8, fps=fps) for fps in (12.0, 30.0, 60.0, 120.0)}
    assert_invariant(CHECK, act(0.8), at_rates=at_rates)


@pytest.mark.captures
@pytest.mark.parametrize("name", ["01_01", "01_03", "Boxing_Toes"])
@pytest.mark.parametrize("fps", [12, 24, None])
def test_living_bodies_are_never_dead(name, fps):
    assert_clean(run(CHECK, captures.load(name, fps=fps)))
