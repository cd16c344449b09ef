# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""off-balance on a figure whose hips are pushed off its feet by a known way."""

import captures
import figure
import gait
import numpy as np
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.off_balance import CHECK
from fettle.core_math.findings import Severity


def lean(degrees, fps=24.0, seconds=3.0, hold=2.0, **options):
    """Bend the trunk sideways from the hips over half a second and hold it.

    The legs stay, so only the trunk, head and arms carry the weight aside.
    """
    count = round(seconds * fps)
    time = np.arange(count) / fps
    out = figure.minimum_jerk((time - 0.3) / 0.4)
    back = figure.minimum_jerk((time - 0.5 - hold) / 0.4)
    angles = {"spine": figure.turn((0, 1, 0), degrees * (out - back))}
    return figure.make_motion(angles, count, fps=fps, **options)


def shift(percent, fps=24.0):
    """Carry the hips sideways, feet planted (the legs follow as straight lines would)."""
    count = round(3.0 * fps)
    u = figure.minimum_jerk((np.arange(count) / fps - 0.4) / 0.5)
    height = figure.STATURE
    hips = np.tile([0.0, 0.0, 0.49 * height], (count, 1))
    hips[:, 0] += percent / 100.0 * height * u
    still = figure.turn((1, 0, 0), np.zeros(count))
    angles = {}
    for side, sign in ((".L", 1.0), (".R", -1.0)):
        ball = np.tile([0.0955 * height * sign, -0.10 * height, 0.009 * height], (count, 1))
        angles |= gait._pose_leg(hips, still, ball, np.zeros(count), side, sign)
    root = hips - [0.0, 0.0, 0.53 * height]
    return figure.make_motion(angles, count, fps=fps, root_path=root)


def test_standing_and_a_published_walk_are_clean():
    assert_clean(run(CHECK, figure.make_motion({}, 48)))
    assert_clean(run(CHECK, gait.make_walk(24.0)[0]))


def test_weight_beside_the_feet_is_flagged_over_the_hold():
    (flag,) = run(CHECK, shift(22.0)).flags
    assert (flag.part, flag.severity) == ("hips", Severity.GLARING)
    assert {"foot.L", "foot.R"} & set(flag.other_parts)
    assert flag.end == 72 and flag.start < 30


def test_severity_rises_with_the_shift():
    worst = [
        max((flag.severity for flag in run(CHECK, shift(percent)).flags), default=0)
        for percent in (8.0, 14.0, 17.0, 19.0, 22.0)
    ]
    assert worst == sorted(worst) and worst[0] == 0 and worst[-1] is Severity.GLARING


@pytest.mark.parametrize(("nudge", "flagged"), [(-0.05, True), (0.05, False)])
def test_just_over_and_just_under(nudge, flagged):
    motion = shift(20.0)
    (stand,) = CHECK.measure_at_once(motion, CHECK.values(24.0))
    percent = 100.0 * stand.outside / motion.height
    limits = (percent + nudge, percent + 5.0, percent + 9.0)
    assert bool(run(CHECK, motion, outside=limits).flags) is flagged


def test_short_imbalance_is_left_alone():
    assert_clean(run(CHECK, shift(22.0), shortest=2.9))


def test_leaning_trunk_within_the_feet_is_clean():
    assert_clean(run(CHECK, lean(12.0)))


def test_sitting_is_left_alone():
    assert_clean(run(CHECK, shift(22.0), lowest_hips=55.0))


def test_missing_limbs_are_not_evaluated():
    motion = figure.make_motion({}, 48, without=("hand.L",))
    assert_not_evaluated(run(CHECK, motion), "hand.L (not mapped)")


@pytest.mark.captures
@pytest.mark.parametrize("name", ["01_01", "Boxing_Toes"])
@pytest.mark.parametrize("fps", [None, 24.0])
def test_captured_bodies_stand_on_their_feet(name, fps):
    flags = run(CHECK, captures.load(name, fps)).flags
    assert [(f.start, f.end, f.value) for f in flags if f.severity >= Severity.CLEAR] == []


def test_invariances():
    assert_invariant(CHECK, shift(22.0), at_rates={fps: shift(22.0, fps) for fps in (12.0, 60.0)})
