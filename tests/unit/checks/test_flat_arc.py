# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""flat-arc on motion of known truth and on captures: clean, planted, at its limits, left alone."""

import captures
import figure
import numpy as np
import planting
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.flat_arc import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.motion import Stage

ARM = (0.186 + 0.146) * figure.STATURE


def ease(fps: float, seconds: float = 0.6, pause: float = 0.5) -> np.ndarray:
    """Go from 0 to 1 with minimum jerk, resting before and after."""
    count = round((2 * pause + seconds) * fps)
    return figure.minimum_jerk((np.arange(count) / fps - pause) / seconds)


def carry(
    bend: float,
    *,
    degrees: float = 60.0,
    start: float = 0.9,
    end: float = 0.9,
    fps: float = 24.0,
    limb: str = "hand.R",
    **options,
):
    """Move a hand or foot along a bow: sagitta `bend` of the chord, its limb turning `degrees`.

    `start` and `end` are its distances from the root of the limb, in lengths of a straight arm.
    """
    u = ease(fps)
    motion = figure.make_motion({}, len(u), fps=fps, **options)
    root = {"hand": "upper_arm", "foot": "thigh"}[limb[:4]] + limb[4:]
    half = np.radians(degrees) / 2.0
    one, other = (
        reach * ARM * np.array([0.0, np.sin(angle), -np.cos(angle)])
        for reach, angle in ((start, -half), (end, half))
    )
    chord = other - one
    across = np.array([0.0, -chord[2], chord[1]])
    if across @ (one + other) < 0.0:
        across = -across
    path = one + u[:, None] * chord + (4.0 * bend * u * (1.0 - u))[:, None] * across
    places = motion.local_heads.copy()
    row, above = motion.index(limb), motion.index(limb) - 1
    places[:, row] = motion.head(root) + path - motion.heads[:, above]
    return planting.rebuild(motion, motion.local_rotations, places)


def test_arm_that_turns_from_the_shoulder_is_clean():
    u = ease(24.0)
    motion = figure.make_motion({"upper_arm.R": figure.turn((1, 0, 0), 60.0 * u)}, len(u))
    assert_clean(run(CHECK, motion))


@pytest.mark.parametrize("limb", ["hand.L", "hand.R", "foot.L", "foot.R"])
@pytest.mark.parametrize("degrees", [35.0, 60.0, 90.0])
def test_straight_swing_is_one_flag_on_hand_or_foot(limb, degrees):
    (flag,) = run(CHECK, carry(0.0, limb=limb, degrees=degrees, start=1.2, end=1.2)).flags
    assert (flag.part, flag.code) == (limb, "straight-swing")
    assert flag.severity is Severity.GLARING
    assert 13 <= flag.start <= 16 and 23 <= flag.end <= 28
    assert flag.start <= flag.peak <= flag.end


@pytest.mark.parametrize(
    ("bend", "severity"),
    [
        (0.0175, None),
        (0.0150, Severity.FAINT),
        (0.0120, Severity.FAINT),
        (0.0100, Severity.CLEAR),
        (0.0070, Severity.CLEAR),
        (0.0050, Severity.GLARING),
    ],
)
def test_severity_follows_the_sagitta(bend, severity):
    flags = run(CHECK, carry(bend)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


@pytest.mark.parametrize(
    ("degrees", "ratio"), [(30.0, 0.065826), (60.0, 0.133975), (80.0, 0.181985)]
)
def test_circular_swing_measures_the_sagitta_of_its_angle(degrees, ratio):
    # Geometry: (1 - cos(a / 2)) / (2 sin(a / 2)). The swing's own ends are cut a little short.
    count = round(degrees) + 1
    angles = np.concatenate((np.zeros(30), np.linspace(0, degrees, count), np.full(30, degrees)))
    motion = figure.make_motion(
        {"upper_arm.R": figure.turn((1, 0, 0), angles)}, len(angles), fps=120
    )
    # What is bent far beyond the limits is not measured to the end: ask for round arcs.
    asked = {"least_turn": 20.0, "least_way": 0.05, "flatness": (0.2, 0.1, 0.05)}
    values = CHECK.values(120.0, asked)
    (sweep,) = CHECK.measure_at_once(motion, values).found
    assert sweep.flatness == pytest.approx(ratio, rel=0.12)


def test_push_and_reach_are_left_alone():
    assert_clean(run(CHECK, carry(0.0, start=0.5, end=0.95)))
    assert_clean(run(CHECK, carry(0.0, start=0.95, end=0.5)))


@pytest.mark.parametrize(("degrees", "found"), [(27.0, 0), (34.0, 1)])
def test_small_turns_are_left_alone(degrees, found):
    assert len(run(CHECK, carry(0.0, degrees=degrees)).flags) == found


def test_foot_that_slides_on_the_ground_is_left_alone():
    u = ease(24.0)
    motion = figure.make_motion({}, len(u))
    places = motion.local_heads.copy()
    for part in ("foot.L", "foot.R"):
        places[:, motion.index(part), 1] += 0.7 * (u - 0.5)
    assert_clean(run(CHECK, planting.rebuild(motion, motion.local_rotations, places)))


def test_animation_on_twos_is_judged_by_its_drawings():
    motion = carry(0.0, fps=12.0)
    twice = np.repeat(np.arange(motion.frame_count), 2)
    held = figure.build_motion(
        subject="Figure",
        frames=np.arange(1, len(twice) + 1),
        fps=24.0,
        parts=motion.parts,
        parents=motion.parents,
        heads=motion.heads[twice],
        tails=motion.tails[twice],
        rotations_wxyz=motion.rotations[twice],
        stage_override=Stage.HELD,
    )
    (flag,) = run(CHECK, held).flags
    assert flag.part == "hand.R"


def test_missing_limbs_are_not_evaluated():
    motion = figure.make_motion({}, 48, without=("forearm.L", "forearm.R", "shin.L", "shin.R"))
    assert_not_evaluated(run(CHECK, motion), "forearm.L (not mapped)")
    one = figure.make_motion({}, 48, without=("forearm.L",))
    reading = run(CHECK, one)
    assert reading.evaluated
    assert [entry.part for entry in reading.not_evaluated] == ["hand.L"]


def test_blocking_waits():
    assert_not_evaluated(run(CHECK, carry(0.0, stage_override=Stage.BLOCKING)), "waits")


def test_invariances():
    at_rates = {fps: carry(0.001, fps=fps) for fps in (12.0, 30.0, 60.0, 120.0)}
    assert_invariant(CHECK, carry(0.001), at_rates=at_rates)


@pytest.mark.captures
@pytest.mark.parametrize("name", ["01_01", "01_03", "Boxing_Toes"])
@pytest.mark.parametrize("fps", [12, 24, 30, None])
def test_captures_hold_no_straight_swing(name, fps):
    flags = run(CHECK, captures.load(name, fps=fps)).flags
    assert [flag for flag in flags if flag.severity >= Severity.CLEAR] == []


@pytest.mark.parametrize("speed", [1.2, 2.5])
def test_arm_that_swings_on_a_travelling_body_is_no_straight_line(speed):
    # The dip of the hand's arc, and hips that rise as it dips, draw a line in the world; seen from
    # the shoulder the hand goes round: an arc of 60 degrees has a sagitta of 0.134 of its chord.
    count = 96
    phase = 2.0 * np.pi * np.arange(count) / 24.0
    angle = 30.0 * np.sin(phase)
    dip = 0.332 * figure.STATURE * np.cos(np.radians(angle))
    path = np.stack((0.0 * dip, -speed * np.arange(count) / 24.0, dip), axis=-1)
    motion = figure.make_motion(
        {"upper_arm.R": figure.turn((1, 0, 0), angle)}, count, root_path=path
    )
    assert np.ptp(motion.head("hand.R")[:, 2]) < 1e-6
    assert_clean(run(CHECK, motion))
    standing = path * [1.0, 0.0, 1.0]
    motion = figure.make_motion(
        {"upper_arm.R": figure.turn((1, 0, 0), angle)}, count, root_path=standing
    )
    assert {flag.part for flag in run(CHECK, motion).flags} == {"hand.R"}
