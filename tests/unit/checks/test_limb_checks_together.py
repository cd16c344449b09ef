# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The checks of arms, hands and torso together: on twos, on natural motion, on any motion."""

import captures
import figure
import numpy as np
import pytest
import reposing
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fettle.core_math import ALL_CHECKS, Settings, run_checks
from fettle.core_math.findings import Severity
from fettle.core_math.measures import body, rotations
from fettle.core_math.motion import KeyTrack, Stage
from fettle.core_math.motion_making import MotionError

IDS = (
    "ik-lock",
    "stiff-wrist",
    "wrist-line",
    "idle-chest",
    "idle-shoulder",
    "frozen-hand-pose",
    "joint-snap",
    "twinning",
)
CHECKS = [check for check in ALL_CHECKS if check.id in IDS]
CLIPS = ["01_01", "01_03", "Boxing_Toes"]


def read(motion):
    """Run all of them; a crash fails the test at once."""
    reading = run_checks(motion, CHECKS, Settings())
    assert reading.crashes == ()
    return reading


def list_clear(motion):
    return [flag for flag in read(motion).flags if flag.severity >= Severity.CLEAR]


def test_all_of_them_are_listed():
    assert len(CHECKS) == len(IDS)


@pytest.mark.captures
@pytest.mark.parametrize("fps", [None, 24, 25, 30])
@pytest.mark.parametrize("clip", CLIPS)
def test_natural_motion_has_well_under_one_clear_flag_in_ten_seconds(clip, fps):
    motion = captures.load(clip, fps)
    seconds = motion.frame_count / motion.fps
    assert len(list_clear(motion)) <= 0.3 * seconds / 10.0


@pytest.mark.captures
@pytest.mark.parametrize("hold", [2, 3])
@pytest.mark.parametrize("clip", CLIPS)
def test_natural_motion_on_twos_and_threes_stays_quiet(clip, hold):
    motion = reposing.hold_drawings(captures.load(clip, 24), hold)
    assert (motion.stage, motion.cadence) == (Stage.HELD, hold)
    assert len(list_clear(motion)) <= 0.5 * motion.frame_count / 240.0


@pytest.mark.captures
@pytest.mark.parametrize(
    ("check", "part", "first", "last"),
    [
        ("ik-lock", "hand.L", 71, 95),
        ("stiff-wrist", "hand.R", 290, 308),
        ("idle-chest", "chest", 165, 187),
        ("twinning", "hand.L", 201, 230),
    ],
)
def test_faults_planted_into_a_capture_are_found_on_twos(check, part, first, last):
    motion = captures.load("Boxing_Toes", 24)
    if check == "ik-lock":
        planted = reposing.hold_in_world(motion, part, first, last)
    elif check == "twinning":
        upper = {p: motion.head(p) for p in motion.parts if not p.startswith("thigh")}
        limb = ("upper_arm", "forearm", "hand")
        axes = body.body_axes(upper)
        planted = reposing.mirror_limb(motion, limb, first, last, axes=axes)
    else:
        parts = ["spine", "chest"] if part == "chest" else [part]
        planted = reposing.hold(motion, parts, first, last)
    flags = [f for f in list_clear(reposing.hold_drawings(planted, 2)) if f.check == check]
    assert flags and all(part in (flag.part, *flag.other_parts) for flag in flags)
    assert all(first - 2 <= flag.peak <= last + 2 for flag in flags)


def wave_everything(seed: int, count: int, fps: float, size: float, without, **options):
    """Every joint of the figure swings at random; `size` 0 stands still."""
    rng = np.random.default_rng(seed)
    angles = {}
    for part in figure.PARTS:
        axis = tuple(rng.normal(size=3))
        steps = rng.normal(size=count).cumsum() if count else np.zeros(0)
        angles[part] = figure.turn(axis, size * steps)[:count]
    return figure.make_motion(angles, count, fps=fps, without=without, **options)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    seed=st.integers(0, 2**16),
    count=st.sampled_from([1, 2, 3, 4, 5, 7, 12, 40, 90]),
    fps=st.sampled_from([12.0, 23.976, 24.0, 30.0, 60.0, 120.0]),
    size=st.sampled_from([0.0, 1e-9, 1.0, 30.0, 400.0]),
    scale=st.sampled_from([0.001, 1.0, 1000.0]),
    without=st.sets(st.sampled_from(["hand.L", "shoulder.R", "chest", "neck", "foot.L", "hips"])),
    stage=st.sampled_from([None, *Stage]),
    keyed=st.booleans(),
)
def test_any_motion_is_read_without_a_crash_or_a_warning(
    seed, count, fps, size, scale, without, stage, keyed
):
    keys = {}
    if keyed:
        track = KeyTrack(np.arange(1.0, count + 1.0, 6.0), np.zeros(len(range(0, count, 6)), bool))
        keys = {part: track for part in figure.PARTS}
    motion = wave_everything(
        seed, count, fps, size, tuple(without), keys=keys, stage_override=stage
    )
    scaled = figure.build_motion(
        subject="Figure",
        frames=motion.frames,
        fps=fps,
        parts=motion.parts,
        parents=motion.parents,
        heads=motion.heads * scale,
        tails=motion.tails * scale,
        rotations_wxyz=motion.rotations,
        keys=motion.keys,
        stage_override=stage,
    )
    for one in (motion, scaled):
        reading = read(one)
        for flag in reading.flags:
            assert one.frame(0) <= flag.start <= flag.peak <= flag.end <= one.frame(-1)
            assert np.isfinite(flag.value) and 0.0 <= flag.confidence <= 1.0
            assert flag.part in one.parts and set(flag.other_parts) <= set(one.parts)
        ids = {entry.check for entry in reading.not_evaluated} | set(reading.evaluated)
        assert ids == set(IDS)


def test_broken_values_in_a_part_leave_the_others_judged():
    count = 48
    motion = wave_everything(1, count, 24.0, 2.0, ())
    heads = motion.heads.copy()
    heads[10, motion.index("hand.L")] = np.nan
    broken = figure.build_motion(
        subject="Figure",
        frames=motion.frames,
        fps=24.0,
        parts=motion.parts,
        parents=motion.parents,
        heads=heads,
        tails=motion.tails,
        rotations_wxyz=motion.rotations,
    )
    reading = read(broken)
    assert any("no valid position at frame 11" in entry.reason for entry in reading.not_evaluated)
    assert set(reading.evaluated) == set(IDS)


def test_a_body_of_no_size_is_refused_with_a_reason():
    motion = wave_everything(1, 30, 24.0, 2.0, ())
    flat = figure.build_motion(
        subject="Figure",
        frames=motion.frames,
        fps=24.0,
        parts=motion.parts,
        parents=motion.parents,
        heads=motion.heads * 0.0,
        tails=motion.tails * 0.0,
        rotations_wxyz=motion.rotations,
    )
    reading = read(flat)
    assert reading.evaluated == () and len(reading.not_evaluated) == len(IDS)
    with pytest.raises(MotionError):
        figure.make_motion({}, 0)


def test_still_zero_length_limbs_are_read():
    motion = figure.make_motion({}, 30)
    row = [motion.index(part) for part in ("forearm.L", "hand.L", "shin.R")]
    heads, tails = motion.heads.copy(), motion.tails.copy()
    for part in row:
        heads[:, part] = heads[:, motion.parents[part]]
        tails[:, part] = heads[:, part]
    bare = figure.build_motion(
        subject="Figure",
        frames=motion.frames,
        fps=24.0,
        parts=motion.parts,
        parents=motion.parents,
        heads=heads,
        tails=tails,
        rotations_wxyz=np.broadcast_to(rotations.normalize([1.0, 0, 0, 0]), (30, len(tails[0]), 4)),
    )
    assert read(bare).flags == ()
