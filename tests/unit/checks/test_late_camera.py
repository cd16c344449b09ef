# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""late-camera on a camera that sets off a known number of frames after its subject."""

import figure
import pytest
import shot_camera
from check_assertions import assert_clean, assert_not_evaluated, run

from fettle.core_math.checks.late_camera import CHECK
from fettle.core_math.findings import Severity


def shot(late_frames, fps=24.0, metres=3.0, camera_metres=None):
    late = late_frames / 24.0
    way = metres if camera_metres is None else camera_metres
    return shot_camera.make_shot(
        shot_camera.glide(fps, 5.0, 1.0, 1.5, metres),
        shot_camera.glide(fps, 5.0, 1.0 + late, 1.5, way),
        fps,
    )


@pytest.mark.parametrize("late", [-6.0, -2.0, 0.0, 2.0])
def test_camera_that_starts_with_or_before_the_subject_is_clean(late):
    assert_clean(run(CHECK, shot(late)))


@pytest.mark.parametrize("fps", [12.0, 24.0, 60.0])
def test_late_start_is_flagged_with_its_frames(fps):
    (flag,) = run(CHECK, shot(12.0, fps)).flags
    assert (flag.part, flag.severity) == ("camera", Severity.GLARING)
    assert flag.value == pytest.approx(12.0, abs=0.5)
    # The minimum-jerk start is seen at 10 % of its peak speed, 8.7 % into the move.
    assert (flag.start - 1) / fps == pytest.approx(1.0 + 0.087 * 1.5, abs=1.5 / fps)


@pytest.mark.parametrize(
    ("late", "severity"),
    [(5.0, Severity.FAINT), (7.5, Severity.CLEAR), (11.0, Severity.GLARING)],
)
def test_severity_follows_the_delay(late, severity):
    flags = run(CHECK, shot(late), drift=2.0).flags
    assert [flag.severity for flag in flags] == [severity]


@pytest.mark.parametrize(("nudge", "flagged"), [(-0.05, True), (0.05, False)])
def test_just_over_and_just_under(nudge, flagged):
    motion = shot(9.0)
    (answer,) = CHECK.measure_at_once(motion, CHECK.values(24.0))
    late = answer.answered - answer.onset
    assert bool(run(CHECK, motion, late=(late + nudge, late + 3, late + 6)).flags) is flagged


def test_locked_off_camera_and_subject_nobody_follows_are_clean():
    assert_clean(run(CHECK, shot(0.0, camera_metres=0.0)))


def test_camera_that_goes_the_other_way_does_not_answer():
    assert_clean(run(CHECK, shot(12.0, camera_metres=-3.0)))


def test_small_move_needs_no_camera():
    assert_clean(run(CHECK, shot(12.0, metres=0.4)))


def test_without_a_camera_it_is_not_evaluated():
    assert_not_evaluated(run(CHECK, figure.make_motion({}, 48)), "no shot camera")


@pytest.mark.parametrize("seconds", [0.12])
def test_spring_following_camera_is_at_most_faint(seconds):
    # First-order follower, a common way to rig a camera: tau 0.12 s.
    import numpy as np

    subject = shot_camera.glide(24.0, 5.0, 1.0, 1.5, 3.0)
    follow = np.zeros_like(subject)
    share = 1.0 - np.exp(-1.0 / 24.0 / seconds)
    for frame in range(1, len(subject)):
        follow[frame] = follow[frame - 1] + share * (subject[frame] - follow[frame - 1])
    flags = run(CHECK, shot_camera.make_shot(subject, follow)).flags
    assert max((flag.severity for flag in flags), default=0) <= Severity.FAINT
