# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""foot-slide on walks whose feet are known to stand or to slide."""

import captures
import figure
import gait
import numpy as np
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.foot_slide import CHECK
from fettle.core_math.findings import Severity


def walk(slide=0.0, fps=24.0, **options):
    return gait.make_walk(fps, 4.0, slide=slide, **options)[0]


@pytest.mark.parametrize("options", [{}, {"in_place": True}, {"speed": 0.6}, {"fps": 60.0}])
def test_walk_whose_feet_stand_is_clean(options):
    assert_clean(run(CHECK, walk(**options)))


def test_sliding_walk_is_flagged_at_every_plant_of_both_feet():
    motion, contacts = gait.make_walk(24.0, 4.0, slide=0.13)
    flags = run(CHECK, motion).flags
    assert {flag.part for flag in flags} == {"foot.L", "foot.R"}
    for side, stances in contacts.items():
        for stance in stances:
            middle = 12.0 * (stance.flat + stance.heel_off) + 1
            if 6 < middle < 90:
                near = [
                    f
                    for f in flags
                    if f.part == f"foot{side}" and f.start - 2 <= middle <= f.end + 2
                ]
                assert len(near) == 1 and near[0].severity >= Severity.CLEAR


def test_slide_in_a_cycle_in_place_is_seen_too():
    flags = run(CHECK, walk(0.13, in_place=True)).flags
    assert {flag.part for flag in flags} == {"foot.L", "foot.R"}


def test_severity_rises_with_the_slide():
    worst = [
        max((flag.severity for flag in run(CHECK, walk(slide)).flags), default=0)
        for slide in (0.0, 0.02, 0.05, 0.08, 0.17)
    ]
    assert worst == sorted(worst)
    assert worst[0] == 0 and worst[-1] is Severity.GLARING


@pytest.mark.parametrize(("shift", "flagged"), [(-0.01, True), (0.01, False)])
def test_just_over_and_just_under(shift, flagged):
    # The flat sole slides evenly in the file's own walk; its widest plant sets the limit.
    motion = walk(0.1)
    plants = CHECK.measure_at_once(motion, CHECK.values(24.0))
    widest = max(100 * p.slide / motion.height for side in plants.values() for p in side)
    limits = (widest + shift, widest + 1.0, widest + 2.0)
    assert bool(run(CHECK, motion, slide=limits).flags) is flagged


def test_pivot_on_the_ball_is_no_slide():
    # The whole figure turns about the ball of its right foot, 40 degrees in a second.
    count = 36
    u = np.clip((np.arange(count) - 6) / 24.0, 0.0, 1.0)
    angle = 40.0 * figure.minimum_jerk(u)
    still = figure.make_motion({}, count)
    ball = still.head("toe.R")[0] * [1.0, 1.0, 0.0]
    turn = figure.turn((0, 0, 1), angle)
    path = np.stack(
        [
            ball[0] - (ball[0] * np.cos(np.radians(angle)) - ball[1] * np.sin(np.radians(angle))),
            ball[1] - (ball[0] * np.sin(np.radians(angle)) + ball[1] * np.cos(np.radians(angle))),
            np.zeros(count),
        ],
        axis=-1,
    )
    motion = figure.make_motion({"root": turn}, count, root_path=path)
    assert np.ptp(motion.head("toe.R"), axis=0) == pytest.approx(0.0, abs=1e-9)
    assert [flag.part for flag in run(CHECK, motion).flags if flag.part == "foot.R"] == []


def test_missing_feet_are_not_evaluated():
    both = figure.make_motion({}, 24, without=("foot.L", "foot.R"))
    assert_not_evaluated(run(CHECK, both), "needs foot.L (not mapped), foot.R")
    one = figure.make_motion({}, 24, without=("foot.R",))
    reading = run(CHECK, one)
    assert reading.evaluated and [entry.part for entry in reading.not_evaluated] == ["foot.R"]


@pytest.mark.captures
@pytest.mark.parametrize("name", ["01_01", "Boxing_Toes"])
@pytest.mark.parametrize("fps", [None, 24.0])
def test_captured_feet_are_quiet(name, fps):
    motion = captures.load(name, fps)
    bad = [f for f in run(CHECK, motion).flags if f.severity >= Severity.CLEAR]
    assert len(bad) <= motion.frame_count / motion.fps / 20.0, [
        (f.part, f.start, f.value) for f in bad
    ]


def test_invariances():
    assert_invariant(CHECK, walk(0.12), at_rates={fps: walk(0.12, fps) for fps in (30.0, 60.0)})
