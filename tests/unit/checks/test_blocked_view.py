# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""blocked-view on surroundings of known shares."""

from dataclasses import replace

import figure
import numpy as np
import pytest
import shot_camera
from check_assertions import assert_clean, assert_not_evaluated, run

from fettle.core_math.checks.blocked_view import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.staging import Staging

FRAMES = 48


def shot(hidden, fps=24.0, tried=40, step=2):
    """A standing figure, hidden by two things in shares (looks, 2) from the first frame on."""
    hidden = np.asarray(hidden, dtype=float)
    looks = len(hidden)
    count = looks * step
    staging = Staging(
        rows=np.arange(0, count, step),
        step=step,
        things=("Post", "Crate"),
        hidden=hidden,
        tried=np.full(looks, tried),
        depths=np.full((looks, 2, 2), np.nan),
        boxes=np.full((looks, 2, 4), np.nan),
    )
    motion = shot_camera.make_shot(np.zeros(count), np.zeros(count), fps)
    return replace(motion, staging=staging, _memo={})


def hide(share, looks=6, at=8, thing=0, total=24):
    hidden = np.zeros((total, 2))
    hidden[at : at + looks, thing] = share
    return hidden


@pytest.mark.parametrize(
    ("share", "severity"), [(0.25, Severity.FAINT), (0.5, Severity.CLEAR), (0.7, Severity.GLARING)]
)
def test_severity_follows_the_share(share, severity):
    (flag,) = run(CHECK, shot(hide(share))).flags
    assert (flag.severity, flag.part) == (severity, "hips")
    assert flag.value == pytest.approx(100.0 * share)
    # Looks 8 to 13 of every other frame, the first frame being 1.
    assert (flag.start, flag.end) == (17, 28)
    assert "Post hides" in flag.message and "every 2 frames, at each around changes" in flag.message
    assert "move Post aside" in flag.suggestion


@pytest.mark.parametrize(("share", "flagged"), [(0.199, False), (0.201, True)])
def test_just_over_and_just_under(share, flagged):
    assert bool(run(CHECK, shot(hide(share))).flags) is flagged


@pytest.mark.parametrize(("looks", "flagged"), [(1, False), (2, True)])
def test_four_frames_is_what_it_takes(looks, flagged):
    assert bool(run(CHECK, shot(hide(0.9, looks))).flags) is flagged


def test_the_time_is_the_same_at_other_frame_rates():
    """Four frames at 24 are ten at 60: four looks at every other frame are too short there."""
    assert not run(CHECK, shot(hide(0.9, 4), fps=60.0)).flags
    assert run(CHECK, shot(hide(0.9, 5), fps=60.0)).flags


def test_a_single_look_that_is_worse_does_not_decide():
    hidden = hide(0.3)
    hidden[10, 0] = 0.95
    (flag,) = run(CHECK, shot(hidden)).flags
    assert (flag.severity, flag.peak) == (Severity.FAINT, 21)


def test_looks_that_lie_closer_around_a_change_tell_its_very_frames():
    motion = shot(hide(0.0, total=12), step=4)
    rows = np.array([0, 4, 5, 6, 8, 12, 16, 18, 19, 20, 24])
    hidden = np.zeros((len(rows), 2))
    hidden[(rows >= 6) & (rows < 19), 0] = 0.8
    looks = {
        "tried": np.full(len(rows), 40),
        "depths": np.full((len(rows), 2, 2), np.nan),
        "boxes": np.full((len(rows), 2, 4), np.nan),
    }
    staging = replace(motion.staging, rows=rows, hidden=hidden, **looks)
    (flag,) = run(CHECK, replace(motion, staging=staging)).flags
    assert (flag.start, flag.end) == (7, 19)
    assert "for 13 frames" in flag.message


def test_two_things_together_are_named_the_worse_first():
    (flag,) = run(CHECK, shot(hide(0.15) + hide(0.35, thing=1))).flags
    assert flag.value == pytest.approx(50.0)
    assert flag.message.startswith("Crate, with Post hides 50 %")


def test_nothing_in_the_way_is_clean():
    assert_clean(run(CHECK, shot(hide(0.0))))


def test_each_stretch_between_cuts_is_read_by_itself():
    motion = replace(shot(hide(0.9, 2, at=9)), cuts=(21,))
    assert motion.shots()[1].staging.rows[0] == 0
    # Two looks, one on each side of the cut: neither stretch is hidden for four frames.
    assert_clean(run(CHECK, motion))


def test_what_was_not_looked_at_is_not_evaluated():
    still = np.zeros(FRAMES)
    assert_not_evaluated(run(CHECK, shot_camera.make_shot(still, still)), "not looked at")
    assert_not_evaluated(run(CHECK, figure.make_motion({}, FRAMES)), "no shot camera")
    assert_not_evaluated(run(CHECK, shot(hide(0.0), tried=1)), "out of frame")
