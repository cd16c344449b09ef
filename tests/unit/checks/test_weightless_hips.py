# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""weightless-hips on walks whose hips rise and fall by a known amount."""

from dataclasses import replace

import captures
import figure
import gait
import numpy as np
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.weightless_hips import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.motion import Stage

PERCENT = gait._H / 100.0


def walk(play_percent, fps=24.0, **options):
    return gait.make_walk(fps, 4.0, hip_rise=play_percent * PERCENT, **options)[0]


@pytest.mark.parametrize("fps", [24.0, 60.0])
def test_published_walk_is_clean(fps):
    assert_clean(run(CHECK, gait.make_walk(fps)[0]))


def test_hips_on_a_rail_are_one_glaring_flag():
    (flag,) = run(CHECK, walk(0.0)).flags
    assert (flag.part, flag.severity) == ("hips", Severity.GLARING)
    assert flag.value == pytest.approx(0.0, abs=1e-6)
    assert flag.start <= 14 and flag.end >= 80


@pytest.mark.parametrize(
    ("play", "severity"),
    [(0.6, None), (0.37, Severity.FAINT), (0.17, Severity.CLEAR), (0.07, Severity.GLARING)],
)
def test_severity_follows_the_play_of_the_hips(play, severity):
    flags = run(CHECK, walk(play)).flags
    assert max((flag.severity for flag in flags), default=None) == severity


def test_cycle_in_place_is_not_mistaken_for_standing():
    # Feet that come down in the same place take no step along the ground, as seen by the scene.
    motion = walk(0.0, in_place=True)
    assert run(CHECK, motion).evaluated


def test_short_steps_are_left_alone():
    assert_clean(run(CHECK, walk(0.0), step=80.0))


def test_key_poses_are_judged_in_blocking():
    motion = walk(0.0)
    # A pose every quarter of a step cycle, each foot flat on the ground in one of them.
    held = np.minimum(np.arange(motion.frame_count) // 6 * 6 + 4, motion.frame_count - 1)
    poses = replace(
        motion,
        heads=motion.heads[held],
        tails=motion.tails[held],
        rotations=motion.rotations[held],
        local_rotations=motion.local_rotations[held],
        local_heads=motion.local_heads[held],
        stage=Stage.BLOCKING,
        _memo={},
    )
    assert [flag.part for flag in run(CHECK, poses).flags] == ["hips"]
    lifted = poses.heads + np.array([0.0, 0.0, 0.02])[None, None] * (held % 12 == 4)[:, None, None]
    feet = [i for i, part in enumerate(poses.parts) if part.startswith(("foot", "toe"))]
    lifted[:, feet] = poses.heads[:, feet]
    assert_clean(run(CHECK, replace(poses, heads=lifted, _memo={})))


def test_poses_of_contacts_alone_are_left_alone():
    # Both feet on the ground, a step apart, in every pose; the hips at one height by right.
    places = np.repeat(np.arange(8) * 0.35, 8)
    count = len(places)
    motion = figure.make_motion({}, count, stage_override=Stage.BLOCKING)
    heads, tails = motion.heads.copy(), motion.tails.copy()
    for row, part in enumerate(motion.parts):
        step = np.arange(count) // 8
        ahead = places.copy()
        if part.startswith(("foot.L", "toe.L")):
            ahead = 0.7 * ((step + 1) // 2)
        elif part.startswith(("foot.R", "toe.R")):
            ahead = 0.7 * (step // 2) + 0.35
        heads[:, row, 1] -= ahead
        tails[:, row, 1] -= ahead
    poses = {"drawing rows": (None, np.arange(0, count, 8))}
    contacts = replace(motion, heads=heads.copy(), tails=tails.copy(), _memo=dict(poses))
    assert_clean(run(CHECK, contacts, step=30.0))
    # With a pose between them in which the foot passes, level hips are told.
    row = [i for i, part in enumerate(motion.parts) if part.startswith(("foot.L", "toe.L"))]
    passing = (np.arange(count) // 8) % 2 == 0
    heads[np.ix_(passing, row)] += [0.0, 0.0, 0.25]
    tails[np.ix_(passing, row)] += [0.0, 0.0, 0.25]
    between = replace(motion, heads=heads, tails=tails, _memo=dict(poses))
    assert [flag.part for flag in run(CHECK, between, step=30.0).flags] == ["hips"]


def test_hips_near_the_ground_are_not_evaluated():
    motion = walk(0.0)
    low = motion.heads.copy()
    low[:, motion.index("hips"), 2] = 0.3
    reading = run(CHECK, replace(motion, heads=low, _memo={}))
    assert_not_evaluated(reading, "near the ground")


def test_missing_hips_or_feet_are_not_evaluated():
    for without, reason in ((("hips",), "hips (not mapped)"), (("foot.L", "foot.R"), "foot.L")):
        motion = figure.make_motion({}, 24, without=without)
        assert_not_evaluated(run(CHECK, motion), reason)


@pytest.mark.captures
@pytest.mark.parametrize("name", ["01_01", "Boxing_Toes"])
@pytest.mark.parametrize("fps", [None, 24.0, 30.0])
def test_captured_steps_and_landings_are_quiet(name, fps):
    flags = run(CHECK, captures.load(name, fps)).flags
    assert [(f.start, f.value) for f in flags if f.severity >= Severity.CLEAR] == []


def test_invariances():
    assert_invariant(CHECK, walk(0.1), at_rates={fps: walk(0.1, fps) for fps in (30.0, 60.0)})


@pytest.mark.parametrize(("seconds", "severity"), [(0.25, None), (0.5, Severity.FAINT)])
def test_harder_landing_asks_for_more_play(seconds, severity):
    # Free fall for this long, then hips that give 0.55 % of body height within a tenth of a second.
    fps, rest = 60.0, 40
    time = np.arange(round(seconds * fps) + 1) / fps
    fall = 0.5 * 9.81 * (seconds**2 - time**2)
    give = 0.0055 * figure.STATURE
    after = -give * figure.minimum_jerk(np.arange(1, 60) / 6.0)
    height = np.concatenate((np.full(rest, fall[0]), fall, after))
    path = np.stack((0.0 * height, 0.0 * height, height), axis=-1)
    bend = np.degrees(np.arccos(np.clip(1.0 + np.minimum(height, 0.0) / (0.491 * 1.75), -1, 1)))
    turns = {}
    for side in (".L", ".R"):
        turns[f"thigh{side}"] = figure.turn((1, 0, 0), -bend)
        turns[f"shin{side}"] = figure.turn((1, 0, 0), 2.0 * bend)
        turns[f"foot{side}"] = figure.turn((1, 0, 0), -bend)
    motion = figure.make_motion(turns, len(height), fps=fps, root_path=path)
    flags = run(CHECK, motion).flags
    assert max((flag.severity for flag in flags), default=None) == severity


def test_feet_that_are_carried_on_a_cart_take_no_steps():
    count = 96
    path = np.zeros((count, 3))
    path[:, 1] = -1.5 * figure.minimum_jerk((np.arange(count) - 24) / 36.0)
    motion = figure.make_motion({}, count, root_path=path)
    assert len(motion.stances()[".L"]) > 1
    assert_clean(run(CHECK, motion))
