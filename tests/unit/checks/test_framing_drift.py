# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""framing-drift on a followed subject that wanders by a known share of the frame."""

import re

import figure
import numpy as np
import pytest
import shot_camera
from check_assertions import assert_clean, assert_not_evaluated, run

from fettle.core_math.checks.framing_drift import CHECK
from fettle.core_math.findings import Severity

WIDTH = shot_camera.WIDTH


def wander(percent, fps=24.0, **options):
    """Follow the subject, but swing away by a share of the frame's width at 2.2 s."""
    way = shot_camera.glide(fps, 5.0, 1.0, 2.0, 4.0)
    time = np.arange(len(way)) / fps
    swing = percent / 100.0 * WIDTH * np.exp(-(((time - 2.2) / 0.3) ** 2))
    return shot_camera.make_shot(way, way + swing, fps, **options)


def test_steady_follow_is_clean():
    assert_clean(run(CHECK, wander(0.0)))


@pytest.mark.parametrize("fps", [12.0, 24.0, 60.0])
def test_wander_is_flagged_at_its_frames(fps):
    (flag,) = [f for f in run(CHECK, wander(18.0, fps)).flags if f.code == "wanders"]
    assert (flag.part, flag.severity) == ("camera", Severity.GLARING)
    # Slow smoothing takes an eighth off so short a swing.
    assert flag.value == pytest.approx(18.0, abs=3.0)
    assert (flag.peak - 1) / fps == pytest.approx(2.2, abs=2.0 / fps)


@pytest.mark.parametrize(("percent", "way"), [(18.0, "pan left"), (-18.0, "pan right")])
def test_the_turn_that_would_hold_the_framing_is_told(percent, way):
    (flag,) = [f for f in run(CHECK, wander(percent)).flags if f.code == "wanders"]
    told, degrees = re.match(r"(\w+ \w+) about ([\d.]+) deg", flag.suggestion).groups()
    # The camera runs to the right by 18 % of the picture: 36 mm and 50 mm make that 7.4 degrees.
    assert told == way
    assert float(degrees) == pytest.approx(np.degrees(np.arctan(0.18 * 36.0 / 50.0)), abs=1.2)


@pytest.mark.parametrize(
    ("percent", "severity"),
    [(2.0, None), (6.0, Severity.FAINT), (11.0, Severity.CLEAR), (18.0, Severity.GLARING)],
)
def test_severity_follows_the_drift(percent, severity):
    flags = run(CHECK, wander(percent)).flags
    assert max((flag.severity for flag in flags), default=None) == severity


def test_new_framing_that_settles_is_no_drift():
    way = shot_camera.glide(24.0, 5.0, 1.0, 2.0, 4.0)
    reframed = way + shot_camera.glide(24.0, 5.0, 1.0, 2.0, 1.0)
    assert_clean(run(CHECK, shot_camera.make_shot(way, reframed)))


@pytest.mark.parametrize(("dip", "codes"), [(0.0, []), (1.6, ["cut-off"])])
def test_head_that_is_cut_off_for_a_moment_is_flagged(dip, codes):
    # The lens sees 8 m x 20.25 / 50 / 2 = 1.62 m over the camera's own height of 1 m.
    camera = wander(0.0).camera
    time = np.arange(len(camera.positions)) / 24.0
    positions = camera.positions.copy()
    positions[:, 2] -= dip * np.exp(-(((time - 2.5) / 0.3) ** 2))
    root = np.stack((camera.positions[:, 0], 0.0 * time, 0.0 * time), axis=-1)
    lowered = shot_camera.make_camera(positions)
    shot = figure.make_motion({}, len(time), root_path=root, camera=lowered)
    assert [flag.code for flag in run(CHECK, shot).flags if flag.part == "head"] == codes


def test_locked_off_camera_and_no_camera_are_not_evaluated():
    way = shot_camera.glide(24.0, 5.0, 1.0, 2.0, 4.0)
    locked = shot_camera.make_shot(way, 0.0 * way)
    assert_not_evaluated(run(CHECK, locked), "locked off")
    assert_not_evaluated(run(CHECK, figure.make_motion({}, 48)), "no shot camera")
    other = shot_camera.make_shot(0.0 * way, way)
    assert_not_evaluated(run(CHECK, other), "does not follow")
