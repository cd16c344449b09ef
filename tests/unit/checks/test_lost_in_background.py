# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""lost-in-background on a known number of things at known distances.

Blur discs come from the published thin-lens formula: 50 mm, f/2.8, focus at 3 m draws a point at
6 m 0.1513317 mm wide, 0.4204 % of a 36 mm frame.
"""

import re
from dataclasses import replace

import figure
import numpy as np
import pytest
import shot_camera
from check_assertions import assert_clean, assert_not_evaluated, run

from fettle.core_math.checks.lost_in_background import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.measures import optics
from fettle.core_math.staging import Staging

COUNT = 24


def shot(things, distance=16.0, size=0.02, beside=0.0, **camera):
    """A standing figure at 8 m, with so many small things behind or before it."""
    rows = np.arange(0, COUNT, 2)
    box = np.array([0.5 + beside, 0.5, 0.5 + beside + size, 0.5 + size])
    staging = Staging(
        rows=rows,
        step=2,
        things=tuple(f"Thing {number}" for number in range(things)),
        hidden=np.zeros((len(rows), things)),
        tried=np.full(len(rows), 30),
        depths=np.tile([distance, distance + 0.1], (len(rows), things, 1)),
        boxes=np.tile(box, (len(rows), things, 1)),
    )
    still = np.zeros(COUNT)
    motion = shot_camera.make_shot(still, still)
    looking = replace(motion.camera, **camera)
    return replace(motion, camera=looking, staging=staging, _memo={})


@pytest.mark.parametrize(
    ("things", "severity"),
    [(11, None), (12, Severity.FAINT), (30, Severity.CLEAR), (60, Severity.GLARING)],
)
def test_severity_follows_the_number_of_things(things, severity):
    flags = run(CHECK, shot(things)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])
    if flags:
        assert flags[0].value == things
        assert f"{things} things behind and 0 before" in flags[0].message


def test_things_before_the_subject_count_too():
    (flag,) = run(CHECK, shot(14, distance=5.0)).flags
    assert "0 things behind and 14 before" in flag.message


def test_things_at_the_subjects_own_depth_do_not():
    assert_clean(run(CHECK, shot(40, distance=8.0)))


@pytest.mark.parametrize(
    ("size", "beside"), [(0.004, 0.0), (0.6, -0.3), (0.02, 0.4)], ids=["specks", "backdrop", "far"]
)
def test_specks_backdrops_and_things_elsewhere_in_the_picture_do_not(size, beside):
    assert_clean(run(CHECK, shot(40, size=size, beside=beside)))


@pytest.mark.parametrize(("stop", "flagged"), [(1.4, False), (8.0, True)])
def test_things_that_focus_separates_do_not(stop, flagged):
    """85 mm focused at 8 m: 0.91 % of the frame at 16 m and f/1.4, 0.16 % at f/8 (the formula)."""
    lens = {
        "lens_mm": np.full(COUNT, 85.0),
        "f_stop": np.full(COUNT, stop),
        "depth_of_field": True,
    }
    assert bool(run(CHECK, shot(40, **lens)).flags) is flagged


def test_the_suggested_aperture_would_separate():
    motion = shot(40, lens_mm=np.full(COUNT, 85.0))
    (flag,) = run(CHECK, motion).flags
    stop = float(re.search(r"f/([\d.]+)", flag.suggestion).group(1))
    disc = optics.blur_disc_mm(85.0, stop, 8.0, 16.0) / 36.0 * 100.0
    assert disc >= 0.35
    assert "focus at 8.0 m" in flag.suggestion
    mended = {"f_stop": np.full(COUNT, stop), "depth_of_field": True}
    assert_clean(run(CHECK, replace(motion, camera=replace(motion.camera, **mended), _memo={})))


def test_the_suggested_lens_would_separate():
    """A wide lens cannot: the length that could is said, and the formula agrees."""
    (flag,) = run(CHECK, shot(40, lens_mm=np.full(COUNT, 18.0))).flags
    found = re.search(r"about (\d+) mm at f/([\d.]+)", flag.suggestion)
    focal, stop = float(found.group(1)), float(found.group(2))
    discs = [optics.blur_disc_mm(f, stop, 8.0, 16.0) / 0.36 for f in (focal, focal - 5.0)]
    assert discs[0] >= 0.35 > discs[1]


def test_published_disc_in_percent_of_the_width():
    motion = shot(1, focus_m=np.full(COUNT, 3.0), depth_of_field=True)
    share = motion.camera.measure_blur(np.full(COUNT, 6.0))
    assert 100.0 * share == pytest.approx(0.4204, abs=1e-4)


@pytest.mark.parametrize(
    ("focus", "severity"),
    [(8.0, None), (6.2, Severity.FAINT), (4.8, Severity.CLEAR), (3.2, Severity.GLARING)],
)
def test_a_subject_out_of_focus_is_flagged_by_its_disc(focus, severity):
    motion = shot(1, f_stop=np.full(COUNT, 1.4), focus_m=np.full(COUNT, focus), depth_of_field=True)
    flags = run(CHECK, motion).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])
    if flags:
        disc = optics.blur_disc_mm(50.0, 1.4, focus, 8.0) / 0.36
        assert flags[0].value == pytest.approx(float(disc), rel=0.05)
        assert flags[0].code == "subject-soft" and flags[0].part == "head"
        assert f"{focus:.1f} m" in flags[0].message
        stop = re.search(r"f/([\d.]+) would hold", flags[0].suggestion)
        held = optics.blur_disc_mm(50.0, float(stop.group(1)), focus, 8.0) / 0.36 if stop else 0.0
        assert held <= 0.15


def test_a_subject_soft_for_a_few_frames_is_left_alone():
    focus = np.full(COUNT, 8.0)
    focus[6:14] = 3.0
    pulled = {"f_stop": np.full(COUNT, 1.4), "focus_m": focus, "depth_of_field": True}
    assert_clean(run(CHECK, shot(1, **pulled)))


def test_orthographic_lens_has_no_blur_to_offer():
    (flag,) = run(CHECK, shot(40, orthographic=True, depth_of_field=True)).flags
    assert "no blur" in flag.suggestion


def test_what_was_not_looked_at_is_not_evaluated():
    still = np.zeros(COUNT)
    assert_not_evaluated(run(CHECK, shot_camera.make_shot(still, still)), "not looked at")
    assert_not_evaluated(run(CHECK, figure.make_motion({}, COUNT)), "no shot camera")
    soft = replace(shot(1, focus_m=np.full(COUNT, 2.0), depth_of_field=True), staging=None)
    reading = run(CHECK, soft)
    assert [flag.code for flag in reading.flags] == ["subject-soft"]
    assert "not looked at" in reading.not_evaluated[0].reason
