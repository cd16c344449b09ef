# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""soft-plant on feet that fall at a known speed and roll flat in a known time."""

import captures
import figure
import gait
import numpy as np
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.soft_plant import CHECK
from fettle.core_math.findings import Severity


def stamp(frames_to_flat, fps=24.0, speed=1.2):
    """Lift the right foot, bring it down ball first at `speed` m/s on 0.9 s, roll it flat."""
    count = round(2.6 * fps)
    time = np.arange(count) / fps
    land, roll = 0.9, frames_to_flat / 24.0
    drop = 0.16
    fall = drop / speed
    # The thigh swings up and down; the foot points down until it has rolled flat.
    up = figure.minimum_jerk((time - 0.2) / 0.3)
    down = np.clip((time - (land - fall)) / fall, 0.0, 1.0)
    lift = drop * (up - down) * (time < land)
    pitch = 24.0 * up * (1.0 - np.clip((time - land) / max(roll, 1e-6), 0.0, 1.0))
    return _place_foot(lift, pitch, count, fps)


def _place_foot(lift, pitch, count, fps):
    """Solve the right leg so that the ball is `lift` over the ground and the foot at `pitch`."""
    height = figure.STATURE
    hips = np.tile([0.0, 0.0, 0.515 * height], (count, 1))
    still = figure.turn((1, 0, 0), np.zeros(count))
    place = np.tile([-0.0955 * height, -0.10 * height, 0.009 * height], (count, 1))
    place[:, 2] += lift
    left = np.tile([0.0955 * height, -0.10 * height, 0.009 * height], (count, 1))
    angles = gait._pose_leg(hips, still, place, -pitch, ".R", -1.0)
    angles |= gait._pose_leg(hips, still, left, np.zeros(count), ".L", 1.0)
    root = np.tile([0.0, 0.0, -0.015 * height], (count, 1))
    return figure.make_motion(angles, count, fps=fps, root_path=root)


@pytest.mark.parametrize("fps", [24.0, 60.0])
def test_published_walk_is_clean(fps):
    assert_clean(run(CHECK, gait.make_walk(fps)[0]))


def test_foot_that_slaps_down_is_clean():
    assert_clean(run(CHECK, stamp(1.5)))


def test_foot_that_rolls_down_over_eight_frames_is_glaring():
    (flag,) = run(CHECK, stamp(8.0)).flags
    assert (flag.part, flag.severity) == ("foot.R", Severity.GLARING)
    # It lands 0.9 s after the first frame, which is number 1.
    assert abs(flag.start - 22.6) <= 2 and abs(flag.end - 30.6) <= 2


def test_severity_rises_with_the_time_to_flat():
    worst = [
        max((flag.severity for flag in run(CHECK, stamp(frames)).flags), default=0)
        for frames in (1.0, 2.0, 4.5, 6.0, 9.0)
    ]
    assert worst == sorted(worst) and worst[0] == 0 and worst[-1] is Severity.GLARING


@pytest.mark.parametrize(("shift", "flagged"), [(-0.01, True), (0.01, False)])
def test_just_over_and_just_under(shift, flagged):
    motion = stamp(4.0)
    (settling,) = CHECK.measure_at_once(motion, CHECK.values(24.0))[".R"]
    frames = 24.0 * settling.seconds
    limits = (frames + shift, frames + 1.0, frames + 2.0)
    assert bool(run(CHECK, motion, settle=limits).flags) is flagged


def test_slow_foot_may_take_its_time():
    assert_clean(run(CHECK, stamp(4.0, speed=0.3)))


def test_foot_that_stays_on_its_ball_is_left_alone():
    assert_clean(run(CHECK, stamp(30.0)))


def test_missing_feet_are_not_evaluated():
    motion = figure.make_motion({}, 24, without=("foot.L", "foot.R"))
    assert_not_evaluated(run(CHECK, motion), "needs foot.L (not mapped)")


@pytest.mark.captures
@pytest.mark.parametrize("fps", [None, 24.0, 30.0])
def test_captured_landings_are_quiet(fps):
    flags = run(CHECK, captures.load("01_01", fps)).flags
    assert [f for f in flags if f.severity >= Severity.CLEAR] == []


def test_invariances():
    assert_invariant(
        CHECK,
        stamp(6.0),
        at_rates={fps: stamp(6.0, fps) for fps in (30.0, 60.0)},
        value_tolerance=0.05,
    )
