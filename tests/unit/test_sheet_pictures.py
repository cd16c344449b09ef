# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The pictures of a flag: whole, inside their frame, with the sign where the flag is."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import figure
import numpy as np
import pytest
from sample_readings import HAND

from fettle.addon.sheet_pictures import (
    SPACING_LEVELS,
    SPACING_SIZE,
    TRAIL_SIZE,
    choose_rows,
    draw_flag,
)
from fettle.core_math.findings import Severity
from fettle.core_math.motion import SubjectKind
from fettle.core_math.motion_making import build_motion

FRAMES = 60
FLAG = replace(HAND, subject="Figure", start=20, end=31, peak=24)


def swing(**options):
    u = (np.arange(FRAMES) - 15) / 24.0
    angles = {
        "upper_arm.L": figure.turn((0, 1, 0), -80.0 * figure.minimum_jerk(u)),
        "forearm.L": figure.turn((1, 0, 0), 60.0 * figure.minimum_jerk(u - 0.1)),
    }
    return figure.make_motion(angles, FRAMES, **options)


def parse(svg):
    return ElementTree.fromstring(svg)


def numbers(d):
    return [float(word) for word in re.findall(r"-?\d+\.?\d*", d)]


@pytest.fixture(scope="module")
def pictures():
    return draw_flag(swing(), FLAG)


def test_pictures_are_well_formed_and_say_what_they_show(pictures):
    for svg in (pictures.trail, pictures.spacing, pictures.figures):
        root = parse(svg)
        assert root.get("role") == "img" and root.get("aria-label")
    assert "Trail of left hand on frames 8 to 43" in parse(pictures.trail).get("aria-label")
    assert "the flag spans 20-31" in parse(pictures.spacing).get("aria-label")


def test_pictures_have_few_elements(pictures):
    counts = [
        sum(1 for _ in parse(svg).iter())
        for svg in (pictures.trail, pictures.spacing, pictures.figures)
    ]
    assert max(counts) <= 45


def test_trail_lies_inside_its_picture_and_the_sign_on_it(pictures):
    root = parse(pictures.trail)
    by_class = {element.get("class"): element for element in root.iter() if element.get("class")}
    trail = np.array(numbers(by_class["casing"].get("d"))).reshape(-1, 2)
    assert len(trail) == 36  # frames 8 to 43
    assert (trail >= 0).all() and (trail <= TRAIL_SIZE).all()
    move = re.match(r"translate\(([-\d.]+) ([-\d.]+)\)", by_class["sign clear"].get("transform"))
    sign = np.array([float(word) for word in move.groups()])
    np.testing.assert_allclose(sign, trail[24 - 8], atol=0.11)
    halo = np.array(numbers(by_class["halo clear"].get("d"))).reshape(-1, 2)
    np.testing.assert_allclose(halo, trail[20 - 8 : 31 - 8 + 1])


def test_spacing_has_a_bar_a_frame_as_tall_as_the_step(pictures):
    root = parse(pictures.spacing)
    bars = []
    for element in root.iter():
        if (element.get("class") or "").startswith("bar s"):
            level = int(element.get("class").rpartition("s")[2])
            for piece in element.get("d").split("z")[:-1]:
                x, _, rise = numbers(piece)[:3]
                bars.append((x, -rise, level))
    bars.sort()
    motion = swing()
    path = motion.tail("hand.L")[7:43]
    steps = np.linalg.norm(np.diff(path, axis=0), axis=-1)
    tall = np.array([bar[1] for bar in bars])
    assert len(bars) == 36
    # A frame's spacing is the mean of the steps on both sides, so the tallest bar stands between
    # the two largest steps.
    assert int(np.argmax(tall)) in {int(np.argmax(steps)), int(np.argmax(steps)) + 1}
    expected = (steps[:-1] + steps[1:]) / 2.0
    np.testing.assert_allclose(tall[1:-1] / tall.max(), expected / expected.max(), atol=0.02)
    assert max(bar[2] for bar in bars) == SPACING_LEVELS - 1
    assert max(bar[0] for bar in bars) < SPACING_SIZE[0]


def test_row_of_figures_holds_the_peak_and_marks_the_part(pictures):
    root = parse(pictures.figures)
    groups = [element for element in root if element.tag == "g"]
    frames = [int(group.find("text").text) for group in groups]
    assert len(frames) == 7 and frames == sorted(frames) and 24 in frames
    assert frames[0] == 8 and frames[-1] == 43
    for group, frame in zip(groups, frames, strict=True):
        accents = [e for e in group.iter() if "marked" in (e.get("class") or "")]
        assert bool(accents) == (20 <= frame <= 31)


def test_drawing_never_runs_over_a_cut_or_the_ends():
    motion = swing(cuts=(18, 40))
    assert [motion.frame(row) for row in choose_rows(motion, FLAG)] == [18, 39]
    edge = replace(FLAG, start=1, end=1, peak=1)
    assert [motion.frame(row) for row in choose_rows(motion, edge)] == [1, 13]
    last = replace(FLAG, start=60, end=60, peak=60)
    assert [motion.frame(row) for row in choose_rows(motion, last)] == [48, 60]


def test_long_flag_is_drawn_around_its_peak():
    motion = figure.make_motion({}, 400)
    rows = choose_rows(motion, replace(FLAG, start=1, end=400, peak=200))
    assert rows[0] < 199 < rows[1] and rows[1] - rows[0] <= 72


@pytest.mark.parametrize("severity", list(Severity))
def test_every_severity_has_a_sign_of_its_own(severity):
    svg = draw_flag(swing(), replace(FLAG, severity=severity)).trail
    assert f'class="sign {severity.word}"' in svg


def test_flag_at_a_part_that_was_not_sampled_still_has_a_picture():
    pictures = draw_flag(swing(), replace(FLAG, part="camera", other_parts=()))
    assert "Trail of hips" in pictures.trail


def test_object_and_motionless_subject_are_drawn_too():
    path = np.zeros((FRAMES, 1, 3))
    thing = build_motion(
        subject="Crate",
        kind=SubjectKind.OBJECT,
        frames=np.arange(1, FRAMES + 1),
        fps=24.0,
        parts=["root"],
        parents=[-1],
        heads=path,
        tails=path + [0.0, 0.0, 0.5],
        rotations_wxyz=np.tile([1.0, 0.0, 0.0, 0.0], (FRAMES, 1, 1)),
        height=0.5,
    )
    pictures = draw_flag(thing, replace(FLAG, subject="Crate", part="root"))
    for svg in (pictures.trail, pictures.spacing, pictures.figures):
        parse(svg)
        assert "nan" not in svg
