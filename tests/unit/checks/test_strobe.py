# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""strobe on subjects that cross the picture at a known number of own sizes a frame."""

import re
from dataclasses import replace

import captures
import figure
import numpy as np
import pytest
import shot_camera
from check_assertions import assert_clean, assert_not_evaluated, run

from fettle.core_math.checks.strobe import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.motion import SubjectKind
from fettle.core_math.motion_making import build_motion

FRAMES = 24


def cross(sizes, frames=5, size=0.4, fps=24.0, distance=8.0, **camera):
    """A crate that crosses the picture in steps of so many own sizes, from rest to rest."""
    steps = np.zeros(FRAMES - 1)
    steps[8 : 8 + frames] = sizes * size
    way = np.concatenate(([0.0], np.cumsum(steps)))
    path = np.zeros((FRAMES, 1, 3))
    path[:, 0, 0] = way - way[-1] / 2.0
    place = np.tile([0.0, -distance, 0.0], (FRAMES, 1))
    return build_motion(
        subject="Crate",
        kind=SubjectKind.OBJECT,
        frames=np.arange(1, FRAMES + 1),
        fps=fps,
        parts=["root"],
        parents=[-1],
        heads=path,
        tails=path + [0.0, 0.0, 0.01],
        rotations_wxyz=np.tile([1.0, 0, 0, 0], (FRAMES, 1, 1)),
        height=size,
        camera=shot_camera.make_camera(place, **camera),
    )


@pytest.mark.parametrize(
    ("sizes", "severity"),
    [(1.2, Severity.FAINT), (1.8, Severity.CLEAR), (2.6, Severity.GLARING)],
)
def test_severity_follows_the_step_in_own_sizes(sizes, severity):
    (flag,) = run(CHECK, cross(sizes)).flags
    assert (flag.part, flag.severity) == ("root", severity)
    # A step of n sizes in the world is one of n sizes in the picture, seen square on.
    assert flag.value == pytest.approx(sizes, rel=1e-6)
    assert (flag.start, flag.end) == (9, 14)


@pytest.mark.parametrize(("nudge", "flagged"), [(1.001, True), (0.999, False)])
def test_just_over_and_just_under(nudge, flagged):
    assert bool(run(CHECK, cross(1.0 * nudge)).flags) is flagged


def test_overlapping_pictures_are_clean():
    assert_clean(run(CHECK, cross(0.8)))


@pytest.mark.parametrize(("frames", "flagged"), [(1, False), (2, True)])
def test_one_gap_is_an_accent_two_are_a_row(frames, flagged):
    assert bool(run(CHECK, cross(1.8, frames)).flags) is flagged


@pytest.mark.parametrize(("shutter", "value"), [(0.25, 1.35), (0.5, None), (1.0, None)])
def test_motion_blur_lengthens_what_is_allowed(shutter, value):
    """A 180 degree shutter (half a frame) draws half the step; a quarter leaves three."""
    flags = run(CHECK, cross(1.8, motion_blur=True, shutter_frames=shutter)).flags
    assert [flag.value for flag in flags] == ([pytest.approx(value)] if value else [])


def test_distance_and_lens_do_not_matter_but_what_is_slower_than_the_guide_does():
    """7 s for the width: 0.595 % a frame at 24 fps; 50 mm on 36 mm see 0.72 m of width a metre."""
    width = 0.72 * 8.0
    for share, flagged in ((0.0058, False), (0.0061, True)):
        small = cross(1.1, size=share * width / 1.1)
        assert bool(run(CHECK, small).flags) is flagged
    text = run(CHECK, cross(1.2)).flags[0].suggestion
    assert "7 s" in text and "0.60 %" in text
    at_25 = run(CHECK, cross(1.2, fps=25.0)).flags[0].suggestion
    assert "0.57 %" in at_25  # 100 / (7 x 25)


def test_whip_pan_over_a_still_subject_is_clean():
    count = 48
    pan = np.zeros(count)
    pan[20:26] = np.linspace(0.0, -80.0, 6)
    pan[26:] = -80.0
    turned = figure.rotations.multiply(
        figure.turn((0, 0, 1), pan), shot_camera.make_camera(np.zeros((count, 3))).rotations
    )
    place = np.tile([0.0, -8.0, 1.0], (count, 1))
    assert_clean(run(CHECK, figure.make_motion({}, count, camera=shot_camera.make_camera(
        place, turned))))  # fmt: skip


def test_a_pan_that_strobes_is_told_the_advised_speed_of_its_lens():
    crate = cross(0.0, size=0.1)
    turned = figure.rotations.multiply(
        figure.turn((0, 0, 1), 0.83 * (np.arange(FRAMES) - 12.0)), crate.camera.rotations
    )
    motion = replace(crate, camera=replace(crate.camera, rotations=turned))
    flags = run(CHECK, motion).flags
    assert flags and all("camera" in flag.other_parts for flag in flags)
    # 39.6 degrees in no less than 7 s; this one goes through it in 2.1 s.
    assert all("5.7 deg/s is advised for 50 mm" in flag.suggestion for flag in flags)
    seconds = float(re.search(r"full width in ([\d.]+) s", flags[0].suggestion).group(1))
    width = np.tan(np.radians(0.83)) * 50.0 / 36.0
    assert seconds == pytest.approx(1.0 / (width * 24.0), rel=0.15)


def test_a_camera_that_follows_takes_the_steps_away():
    x = shot_camera.glide(24.0, 2.0, 0.5, 0.4, 8.0)
    assert run(CHECK, shot_camera.make_shot(x, np.zeros_like(x) + 4.0)).flags
    assert_clean(run(CHECK, shot_camera.make_shot(x, x)))


def test_the_whole_subject_is_one_flag():
    x = shot_camera.glide(24.0, 2.0, 0.5, 0.4, 8.0)
    flags = run(CHECK, shot_camera.make_shot(x, np.zeros_like(x) + 4.0)).flags
    assert [flag.part for flag in flags] == ["hips"]


def test_a_swing_too_fast_for_the_frame_rate_is_on_the_hand():
    count = 48
    angle = 150.0 * figure.minimum_jerk((np.arange(count) - 20) / 4.0)
    place = np.tile([-5.0, 0.0, 1.2], (count, 1))
    side = figure.rotations.multiply(
        figure.turn((0, 0, 1), np.full(count, -90.0)), shot_camera.make_camera(place).rotations
    )
    camera = shot_camera.make_camera(place, side)
    motion = figure.make_motion(
        {"upper_arm.L": figure.turn((1, 0, 0), angle)}, count, camera=camera
    )
    assert {flag.part for flag in run(CHECK, motion).flags} == {"hand.L"}


def test_without_a_camera_and_out_of_frame_it_says_so():
    assert_not_evaluated(run(CHECK, figure.make_motion({}, 48)), "no shot camera")
    far = shot_camera.make_shot(np.full(48, 40.0), np.zeros(48))
    assert_not_evaluated(run(CHECK, far), "out of frame")


@pytest.mark.parametrize("name", ["01_01", "01_03", "Boxing_Toes"])
@pytest.mark.parametrize("blur", [False, True])
@pytest.mark.parametrize("degrees", [0.0, 45.0, 90.0, 180.0])
def test_captured_motion_in_a_fitted_frame_is_clean(name, blur, degrees):
    """Fast natural motion at 24 fps, fitted into the picture, seen from all around."""
    motion = captures.load(name, fps=24.0)
    middle = motion.heads.mean(axis=1)
    forward = shot_camera.make_camera(middle).rotations
    turned = figure.rotations.multiply(
        figure.turn((0, 0, 1), np.full(len(middle), degrees)), forward
    )
    back = figure.rotations.rotate(turned, np.tile([0.0, 0.0, 1.0], (len(middle), 1)))
    # A locked-off camera at twice the height of the figure's room in the picture.
    place = middle.mean(axis=0) + back * 5.0 * motion.height
    camera = shot_camera.make_camera(place, turned, motion_blur=blur)
    assert_clean(run(CHECK, replace(motion, camera=camera, _memo={})))
