# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""camera-hitch on camera paths with known hitches, and on good ones that must stay quiet."""

from dataclasses import replace

import figure
import numpy as np
import pytest
import shot_camera
from check_assertions import assert_clean, assert_not_evaluated, run
from scipy.spatial.transform import Rotation

from fettle.core_math.checks.camera_hitch import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.motion import Stage

WIDTH = shot_camera.WIDTH


def follow(fps=24.0, spoil=None):
    way = shot_camera.glide(fps, 5.0, 1.0, 2.0, 4.0)
    time = np.arange(len(way)) / fps
    return shot_camera.make_shot(way, way if spoil is None else spoil(way.copy(), time), fps)


def jump(percent, seconds):
    def spoil(way, time):
        way[int(np.argmin(np.abs(time - seconds)))] += percent / 100.0 * WIDTH
        return way

    return spoil


def hand_held(way, time):
    # Shake of 0.5 to 2 Hz and half a percent of the width, our own seed and figures.
    random = np.random.default_rng(4)
    shake = sum(
        random.normal() * np.sin(2 * np.pi * hertz * time + random.uniform(0, 6))
        for hertz in (0.5, 0.8, 1.3, 2.0)
    )
    return way + 0.004 * WIDTH * shake


def spring(way, time):
    follower = np.zeros_like(way)
    share = 1.0 - np.exp(-(time[1] - time[0]) / 0.12)
    for frame in range(1, len(way)):
        follower[frame] = follower[frame - 1] + share * (way[frame] - follower[frame - 1])
    return follower


def whip(way, time):
    return 3.0 * figure.minimum_jerk((time - 2.0) / 0.3)


def push_in(way, time):
    return way * 0.5 + 0.3 * figure.minimum_jerk((time - 0.5) / 3.0)


@pytest.mark.parametrize("spoil", [None, hand_held, spring, whip, push_in])
@pytest.mark.parametrize("fps", [24.0, 60.0])
def test_good_cameras_are_clean(spoil, fps):
    assert_clean(run(CHECK, follow(fps, spoil)))


@pytest.mark.parametrize("seconds", [0.0, 2.2, 5.0])
@pytest.mark.parametrize("fps", [24.0, 60.0])
def test_jump_is_flagged_on_its_frame_first_and_last_included(seconds, fps):
    motion = follow(fps, jump(1.4, seconds))
    flags = [f for f in run(CHECK, motion).flags if f.code == "jumps"]
    assert len(flags) == 1 and flags[0].severity is Severity.CLEAR
    expected = 1 + min(round(seconds * fps), motion.frame_count - 1)
    assert abs(flags[0].peak - expected) <= max(1, round(0.05 * fps))


@pytest.mark.parametrize(
    ("percent", "severity"),
    [(0.2, None), (0.5, Severity.FAINT), (1.2, Severity.CLEAR), (3.0, Severity.GLARING)],
)
def test_severity_follows_the_jump(percent, severity):
    flags = run(CHECK, follow(60.0, jump(percent, 4.0))).flags
    assert max((flag.severity for flag in flags), default=None) == severity


def test_stop_and_go_is_one_flag_at_the_stop():
    def stop(way, time):
        late = np.where(time < 1.9, time, np.maximum(1.9, time - 0.15))
        return 4.0 * figure.minimum_jerk((late - 1.0) / 2.0)

    flags = run(CHECK, follow(24.0, stop)).flags
    assert [flag.code for flag in flags] == ["stops-and-goes"]
    assert abs(flags[0].start - (1 + 1.9 * 24)) <= 3


def test_linear_keys_are_hard_starts_and_stops():
    flags = run(CHECK, follow(24.0, lambda way, t: 4.0 * np.clip((t - 1.0) / 2.0, 0, 1))).flags
    assert sorted(flag.code for flag in flags) == ["kinks", "kinks"]
    assert [
        abs(f.peak - e) <= 2
        for f, e in zip(sorted(flags, key=lambda f: f.peak), (25, 73), strict=True)
    ] == [True, True]


def test_jump_by_the_very_step_of_the_move_is_found():
    # The frame shows what the next one shows: a double step and then none.
    way = np.clip(np.arange(120) - 30, 0, None) * 0.04 * WIDTH
    way[70] = way[71]
    flags = [f for f in run(CHECK, shot_camera.make_shot(way, way)).flags if f.code == "jumps"]
    assert [flag.peak for flag in flags] == [71]


def test_camera_on_ones_is_judged_whatever_its_subject_is_held_on():
    motion = replace(follow(24.0, jump(1.4, 2.2)), stage=Stage.HELD, cadence=2)
    assert [flag.code for flag in run(CHECK, motion).flags] == ["jumps"]


@pytest.mark.parametrize(("percent", "flagged"), [(3.0, True), (40.0, False)])
def test_jump_that_stays_is_a_hitch_and_one_to_another_view_a_cut(percent, flagged):
    def stay(way, time):
        return way + np.where(time >= 2.2, percent / 100.0 * WIDTH, 0.0)

    flags = run(CHECK, follow(24.0, stay)).flags
    assert [(f.code, f.severity) for f in flags] == ([("jumps", Severity.GLARING)] * flagged)


@pytest.mark.parametrize("percent", [0.0, 1.4])
@pytest.mark.parametrize("what", ["lens", "roll"])
def test_zoom_and_roll_hitch_too(what, percent):
    camera = follow().camera
    count = len(camera.positions)
    off = np.zeros(count)
    off[60] = 4.0 * percent / 100.0  # as it shows a quarter of the width from the middle
    turned = Rotation.from_euler(
        "XZ", np.stack((np.full(count, 90.0), np.degrees(off)), axis=-1), degrees=True
    )
    if what == "lens":
        camera = replace(camera, lens_mm=camera.lens_mm * (1.0 + off))
    else:
        camera = replace(camera, rotations=turned.as_quat(scalar_first=True))
    flags = run(CHECK, replace(follow(), camera=camera)).flags
    expected = [("jumps", Severity.CLEAR)] if percent else []
    assert [(flag.code, flag.severity) for flag in flags] == expected


@pytest.mark.parametrize("percent", [0.0, 1.4])
def test_orthographic_cameras_hitch_too(percent):
    # Six metres wide: the lens of the others sees 5.76 m there.
    motion = follow(24.0, jump(percent * 6.0 / 5.76, 2.2))
    flat = replace(motion, camera=replace(motion.camera, orthographic=True))
    flags = run(CHECK, flat).flags
    assert [flag.code for flag in flags] == (["jumps"] if percent else [])
    assert all(flag.value == pytest.approx(percent, rel=0.05) for flag in flags)


def test_sharp_turn_of_the_pan_is_a_kink():
    def turn_back(way, time):
        return 2.0 * np.abs(time - 2.5)

    flags = run(CHECK, follow(24.0, turn_back)).flags
    assert [flag.code for flag in flags] == ["kinks"]
    assert abs(flags[0].peak - (1 + 60)) <= 1


def test_camera_is_needed():
    assert_not_evaluated(run(CHECK, figure.make_motion({}, 48)), "no shot camera")
