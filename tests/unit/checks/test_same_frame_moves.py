# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""same-frame-moves on poses that change together, or a known number of frames apart."""

import captures
import figure
import numpy as np
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.same_frame_moves import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.measures import rotations
from fettle.core_math.motion import Stage


def pose_to_pose(times=5, *, late=0.0, fps=24.0, **options):
    """Right hand and head change pose `times` times, half a second each, with rests between.

    The head starts and stops `late` frames (at 24 fps) after the hand.
    """
    count = round((1.1 * times + 1.0) * fps)
    time = np.arange(count) / fps
    hand, head = np.zeros(count), np.zeros(count)
    for number in range(times):
        sign = 1.0 if number % 2 == 0 else -1.0
        start = 0.4 + 1.1 * number
        hand += 60.0 * sign * figure.minimum_jerk((time - start) / 0.5)
        head += 50.0 * sign * figure.minimum_jerk((time - start - late / 24.0) / 0.5)
    angles = {
        "upper_arm.R": figure.turn((1, 0, 0), -hand),
        "head": figure.turn((1, 0, 0), head),
    }
    return figure.make_motion(angles, count, fps=fps, **options)


def test_poses_that_change_at_once_are_one_glaring_flag():
    (flag,) = run(CHECK, pose_to_pose()).flags
    assert {flag.part, *flag.other_parts} == {"hand.R", "head"}
    assert (flag.severity, flag.value) == (Severity.GLARING, 5.0)
    assert abs(flag.start - 11) <= 2 and abs(flag.end - 129) <= 3


def act(times=4, head_late=0.0, chest_late=0.0, **turned):
    """Hands, head and chest go from pose to pose by small amounts, as an actor who talks does."""
    fps, count = 24.0, round((1.1 * times + 1.0) * 24.0)
    time = np.arange(count) / fps
    amounts = {"upper_arm.R": 55.0, "upper_arm.L": 40.0, "head": 12.0, "chest": 9.0}
    late = {"head": head_late / fps, "chest": chest_late / fps}
    angles = {}
    for part, amount in amounts.items():
        begins = 0.4 + 1.1 * np.arange(times) + late.get(part, 0.0)
        turns = (figure.minimum_jerk((time - begin) / 0.45) for begin in begins)
        signed = sum(turn * (-1.0) ** i for i, turn in enumerate(turns))
        axis = (0, 0, 1) if part in ("head", "chest") else (1, 0, 0)
        angles[part] = figure.turn(axis, amount * turned.get(part, 1.0) * signed)
    return figure.make_motion(angles, count, fps=fps)


def test_head_and_chest_count_by_their_turn_however_little_they_travel():
    (flag,) = run(CHECK, act()).flags
    assert {"head", "chest"} <= {flag.part, *flag.other_parts}
    assert (flag.severity, flag.value) == (Severity.GLARING, 4.0)


def test_head_and_chest_that_start_a_little_later_are_clean():
    assert_clean(run(CHECK, act(head_late=3.0, chest_late=-2.0)))


def test_a_sway_of_head_and_chest_is_no_move():
    # 12 and 9 deg in 0.45 s peak at 50 and 37 deg/s (minimum jerk): a third of that is under 20.
    assert_clean(run(CHECK, act(head=1 / 3, chest=1 / 3)))


def test_hips_that_turn_under_chest_and_foot_do_not_make_them_partners():
    count, time = 130, np.arange(130) / 24.0
    begins = 0.4 + 1.1 * np.arange(4)
    twist = sum(
        (-1.0) ** i * figure.minimum_jerk((time - begin) / 0.45) for i, begin in enumerate(begins)
    )
    turned = {"hips": 70.0, "chest": -70.0, "thigh.L": -70.0}
    angles = {part: figure.turn((0, 0, 1), by * twist) for part, by in turned.items()}
    angles["thigh.L"] = rotations.multiply(angles["thigh.L"], figure.turn((1, 0, 0), 40.0 * twist))
    assert_clean(run(CHECK, figure.make_motion(angles, count)))


def test_jumps_move_the_whole_body_at_once():
    count, time = 130, np.arange(130) / 24.0
    bend = sum(
        figure.minimum_jerk((time - begin) / 0.4) - figure.minimum_jerk((time - begin - 0.5) / 0.3)
        for begin in 0.4 + 1.1 * np.arange(4)
    )
    turned = {"upper_arm.L": 60.0, "upper_arm.R": 60.0, "chest": 25.0, "head": -20.0}
    angles = {part: figure.turn((1, 0, 0), by * bend) for part, by in turned.items()}
    standing = figure.make_motion(angles, count)
    assert run(CHECK, standing).flags
    for side in (".L", ".R"):
        angles[f"thigh{side}"] = figure.turn((1, 0, 0), -60.0 * bend)
        angles[f"shin{side}"] = figure.turn((1, 0, 0), 100.0 * bend)
    assert_clean(run(CHECK, figure.make_motion(angles, count)))


@pytest.mark.parametrize(
    ("late", "flagged"), [(0.0, True), (0.8, True), (1.3, False), (3.0, False)]
)
def test_offset_of_more_than_a_frame_is_clean(late, flagged):
    assert bool(run(CHECK, pose_to_pose(late=late)).flags) is flagged


@pytest.mark.parametrize(
    ("times", "severity"),
    [(1, None), (2, Severity.FAINT), (3, Severity.CLEAR), (4, Severity.GLARING)],
)
def test_severity_counts_the_shared_moves_in_a_row(times, severity):
    flags = run(CHECK, pose_to_pose(times)).flags
    assert max((flag.severity for flag in flags), default=None) == severity


def test_swinging_on_without_a_rest_is_left_alone():
    wave = 40.0 * np.sin(2 * np.pi * np.arange(120) / 24.0)
    motion = figure.make_motion(
        {"upper_arm.R": figure.turn((1, 0, 0), wave), "head": figure.turn((1, 0, 0), wave)}, 120
    )
    assert_clean(run(CHECK, motion))


def test_carried_limbs_are_not_blamed():
    count = 96
    turn = sum(
        30.0 * sign * figure.minimum_jerk((np.arange(count) / 24.0 - start) / 0.5)
        for start, sign in ((0.4, 1), (1.5, -1), (2.6, 1))
    )
    motion = figure.make_motion({"root": figure.turn((0, 0, 1), turn)}, count)
    assert_clean(run(CHECK, motion))


def test_blocking_waits_and_one_limb_is_not_enough():
    blocked = pose_to_pose(stage_override=Stage.BLOCKING)
    assert_not_evaluated(run(CHECK, blocked), "waits for a later stage")
    alone = figure.make_motion({}, 48, without=("hips", "chest"))
    assert_not_evaluated(run(CHECK, alone), "needs two of")


@pytest.mark.captures
@pytest.mark.parametrize("name", ["01_01", "Boxing_Toes"])
@pytest.mark.parametrize("fps", [None, 24.0, 30.0])
def test_captures_are_quiet(name, fps):
    flags = run(CHECK, captures.load(name, fps)).flags
    assert [f for f in flags if f.severity >= Severity.CLEAR] == []


def test_invariances():
    assert_invariant(
        CHECK, pose_to_pose(), at_rates={fps: pose_to_pose(fps=fps) for fps in (12.0, 60.0)}
    )
