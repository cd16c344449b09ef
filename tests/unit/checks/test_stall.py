# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""stall on motion of known truth and on captures: clean, planted, at its limits, left alone."""

import captures
import figure
import numpy as np
import planting
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.stall import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.motion import Stage

REACH = 0.186 + 0.146 + 0.06
"""From shoulder to the end of the hand, arm straight, in body heights (fingers bend nothing)."""


def raise_arm(angles, *, fps: float = 24.0, part: str = "upper_arm.R", **options):
    """Turn one part by these angles, one for each frame, in a body that walks on."""
    count = len(angles)
    path = np.zeros((count, 3))
    path[:, 1] = -1.2 * np.arange(count) / fps
    turns = {part: figure.turn((1, 0, 0), np.asarray(angles, dtype=float))}
    return figure.make_motion(turns, count, fps=fps, root_path=path, **options)


def swing(count: int = 72, fps: float = 24.0) -> np.ndarray:
    """A steady move between two minimum-jerk ends: 3 s at 24 frames per second."""
    return 130.0 * figure.minimum_jerk(np.arange(count) / fps / 3.0)


def hold(angles: np.ndarray, first: int, frames: int, *, catch_up: bool) -> np.ndarray:
    """Hold the angle before `first` for some frames; the rest comes later, or on time."""
    held = np.repeat(angles[first - 1], frames)
    rest = angles[first + frames :] if catch_up else angles[first : len(angles) - frames]
    return np.concatenate((angles[:first], held, rest))


def test_smooth_move_is_clean():
    assert_clean(run(CHECK, raise_arm(swing())))


@pytest.mark.parametrize("catch_up", [False, True], ids=["late from then on", "catches up"])
@pytest.mark.parametrize("frames", [1, 2, 4, 6])
@pytest.mark.parametrize("part", ["upper_arm.R", "thigh.L", "chest", "hips", "upper_arm.L"])
def test_stall_of_one_to_six_frames_is_one_flag_on_its_part(part, frames, catch_up):
    angles = hold(swing(), 33, frames, catch_up=catch_up)
    (flag,) = run(CHECK, raise_arm(angles, part=part)).flags
    assert (flag.part, flag.code) == (part, "hitch")
    assert flag.severity >= Severity.CLEAR
    assert (flag.start, flag.end) == (34, 33 + frames)


def test_value_is_the_way_lost_at_the_far_end():
    # Steady turn of 2 degrees a frame, three frames held: 6 degrees under the straight arm.
    steady = 2.0 * np.arange(72)
    (flag,) = run(CHECK, raise_arm(hold(steady, 36, 3, catch_up=False))).flags
    longest_finger = REACH + 0.03
    assert flag.value == pytest.approx(100.0 * np.radians(6.0) * longest_finger, rel=0.06)


@pytest.mark.parametrize(
    ("percent", "severity"),
    [
        (0.45, None),
        (0.55, Severity.FAINT),
        (0.95, Severity.FAINT),
        (1.05, Severity.CLEAR),
        (2.85, Severity.CLEAR),
        (3.15, Severity.GLARING),
    ],
)
def test_severity_follows_the_way_lost(percent, severity):
    # The hips slide steadily; a frame is held.
    steady = percent * figure.STATURE / 100.0 * np.arange(60)
    path = np.zeros((60, 3))
    path[:, 0] = hold(steady, 30, 1, catch_up=False)
    flags = run(CHECK, figure.make_motion({}, 60, root_path=path)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


def test_copied_frame_of_the_whole_body_is_one_flag_on_its_root():
    count = 72
    phase = 2.0 * np.pi * np.arange(count) / 40.0
    phase[36:] -= phase[36] - phase[35]
    angles = {
        "upper_arm.R": figure.turn((1, 0, 0), 40 * np.sin(phase)),
        "thigh.L": figure.turn((1, 0, 0), 30 * np.sin(phase)),
        "chest": figure.turn((0, 0, 1), 15 * np.sin(phase)),
    }
    path = np.zeros((count, 3))
    path[:, 1] = -0.25 * phase
    (flag,) = run(CHECK, figure.make_motion(angles, count, root_path=path)).flags
    assert (flag.part, flag.start, flag.end) == ("root", 37, 37)
    assert {"upper_arm.R", "thigh.L", "chest"} <= set(flag.other_parts)


def test_eased_slow_spot_is_left_alone():
    # Two minimum-jerk moves one after the other: an arrival and a start, no hitch.
    u = np.arange(96) / 24.0
    two = 50.0 * (figure.minimum_jerk(u / 1.8) + figure.minimum_jerk((u - 1.9) / 1.8))
    assert_clean(run(CHECK, raise_arm(two)))


def test_abrupt_slowing_to_a_crawl_is_found():
    steps = np.full(71, 3.0)
    steps[35:38] = 0.3
    (flag,) = run(CHECK, raise_arm(np.concatenate(([0.0], np.cumsum(steps))))).flags
    assert (flag.start, flag.end) == (37, 39)


def test_turning_point_with_a_short_hold_is_left_alone():
    u = np.minimum(np.arange(72), 34) - np.maximum(np.arange(72) - 37, 0)
    assert_clean(run(CHECK, raise_arm(3.0 * u)))


def test_anticipation_is_left_alone():
    angles = np.concatenate((np.linspace(0, -15, 8), np.full(2, -15.0), np.linspace(-12, 90, 30)))
    assert_clean(run(CHECK, raise_arm(angles)))


def test_hold_longer_than_six_frames_is_left_alone():
    assert_clean(run(CHECK, raise_arm(hold(2.0 * np.arange(72), 36, 9, catch_up=False))))


def test_foot_that_plants_is_left_alone():
    # The foot's own joint stops while the foot stands, and goes on the same way.
    angles = hold(2.5 * np.arange(60), 30, 3, catch_up=False)
    count = len(angles)
    motion = figure.make_motion({"foot.L": figure.turn((1, 0, 0), angles * 0.3)}, count)
    assert_clean(run(CHECK, motion))


def test_animation_on_twos_and_a_stretch_on_twos_are_left_alone():
    on_twos = np.repeat(swing(36, 12.0), 2)
    motion = raise_arm(on_twos, fps=24.0)
    still = figure.make_motion({"upper_arm.R": figure.turn((1, 0, 0), on_twos)}, len(on_twos))
    assert still.stage is Stage.HELD
    assert_clean(run(CHECK, still))
    # Only a stretch of it, while the body moves on ones.
    angles = swing().copy()
    angles[31:51:2] = angles[30:50:2]
    motion = raise_arm(angles)
    assert motion.stage is Stage.SPLINE
    assert_clean(run(CHECK, motion))


def test_what_other_joints_make_up_for_is_left_alone():
    # Upper arm stops for two frames, forearm and shoulder carry its part of the move.
    whole = 3.0 * np.arange(72)
    upper = hold(whole, 36, 2, catch_up=True)
    rest = whole - upper
    motion = figure.make_motion(
        {
            "shoulder.R": figure.turn((1, 0, 0), rest),
            "upper_arm.R": figure.turn((1, 0, 0), upper),
        },
        72,
    )
    assert [flag for flag in run(CHECK, motion).flags if flag.severity >= Severity.CLEAR] == []


def test_joints_of_one_limb_lose_the_way_together():
    # Shoulder and elbow turn 0.3 degrees a frame each; three frames held cost 0.9 degrees under the
    # whole arm and 0.9 under the forearm, each of which alone would be less than the clear limit.
    steady = hold(0.3 * np.arange(72), 36, 3, catch_up=False)
    turns = {
        part: figure.turn((1, 0, 0), steady if part == "upper_arm.R" else steady - 0.15 * 72)
        for part in ("upper_arm.R", "forearm.R")
    }
    (flag,) = run(CHECK, figure.make_motion(turns, 72)).flags
    assert flag.part == "upper_arm.R" and "forearm.R" in flag.other_parts
    arm, forearm = REACH + 0.03, 0.146 + 0.06 + 0.03
    assert flag.value == pytest.approx(100.0 * np.radians(0.9) * (arm + forearm), rel=0.1)


def test_one_frame_that_slows_down_is_left_alone_and_two_that_do_are_found():
    steps = np.full(71, 3.0)
    steps[35] = 0.2
    assert_clean(run(CHECK, raise_arm(np.append(0.0, np.cumsum(steps)))))
    steps[36] = 0.2
    (flag,) = run(CHECK, raise_arm(np.append(0.0, np.cumsum(steps)))).flags
    assert flag.part == "upper_arm.R"


def test_stop_that_is_shorter_than_a_frame_of_film_is_left_alone():
    angles = hold(0.8 * np.arange(240), 120, 1, catch_up=False)
    assert_clean(run(CHECK, raise_arm(angles, fps=100.0)))
    angles = hold(0.8 * np.arange(240), 120, 4, catch_up=False)
    (flag,) = run(CHECK, raise_arm(angles, fps=100.0)).flags
    assert flag.part == "upper_arm.R"


def test_at_twelve_frames_a_second_only_a_copied_drawing_is_told():
    steady = 6.0 * np.arange(40)
    (flag,) = run(CHECK, raise_arm(hold(steady, 20, 1, catch_up=False), fps=12.0)).flags
    assert flag.part == "upper_arm.R"
    steps = np.full(39, 6.0)
    steps[20] = 0.1
    assert_clean(run(CHECK, raise_arm(np.append(0.0, np.cumsum(steps)), fps=12.0)))


def test_leg_of_a_standing_foot_is_left_alone():
    # The knee opens while the foot stands (the body above it comes up) and pauses on its way.
    count = 72
    bend = hold(1.2 * np.arange(count), 36, 3, catch_up=False)
    thigh = np.radians(-bend / 2.0)
    hips = -(0.245 * np.cos(thigh) + 0.246 * np.cos(thigh)) * figure.STATURE
    path = np.stack((0.0 * hips, 0.0 * hips, -0.491 * figure.STATURE - hips), axis=-1)
    legs = {}
    for side in (".L", ".R"):
        legs[f"thigh{side}"] = figure.turn((1, 0, 0), -bend / 2.0)
        legs[f"shin{side}"] = figure.turn((1, 0, 0), bend)
        legs[f"foot{side}"] = figure.turn((1, 0, 0), -bend / 2.0)
    motion = figure.make_motion(legs, count, root_path=path)
    stands = motion.stances()[".L"][0]
    assert stands.touch <= 36 <= stands.off
    named = {flag.part for flag in run(CHECK, motion).flags}
    assert not named & {"thigh.L", "shin.L", "foot.L", "thigh.R", "shin.R", "foot.R"}


@pytest.mark.parametrize("lengths", [[2, 2, 1, 2, 3, 2, 2, 4], [1, 1, 2, 1, 1, 1, 3, 1, 2, 1, 1]])
def test_mixed_holds_of_the_whole_subject_are_no_stalls(lengths):
    angles = 4.0 * np.arange(72)
    starts = np.cumsum([0, *(lengths * 9)])
    held = starts[np.searchsorted(starts, np.arange(72), side="right") - 1]
    # Everything is held, the walk of the body too.
    path = np.zeros((72, 3))
    path[:, 1] = -0.05 * held
    turns = {"upper_arm.R": figure.turn((1, 0, 0), angles[held])}
    motion = figure.make_motion(turns, 72, root_path=path)
    assert_clean(run(CHECK, motion))


def test_two_copied_drawings_far_apart_are_stalls():
    angles = hold(hold(3.0 * np.arange(96), 24, 2, catch_up=False), 70, 2, catch_up=False)
    motion = figure.make_motion({"upper_arm.R": figure.turn((1, 0, 0), angles)}, 96)
    assert [flag.start for flag in run(CHECK, motion).flags] == [25, 71]


def test_blocking_waits_and_a_short_shot_is_not_evaluated():
    blocked = raise_arm(swing(), stage_override=Stage.BLOCKING)
    assert_not_evaluated(run(CHECK, blocked), "waits for a later stage")
    assert_not_evaluated(run(CHECK, figure.make_motion({}, 7)), "7 frames are too few")


def test_invariances():
    def planted(fps):
        count, frames = round(3 * fps), max(1, round(fps / 12))
        angles = hold(swing(count, fps), round(1.4 * fps), frames, catch_up=False)
        return raise_arm(angles, fps=fps)

    assert_invariant(
        CHECK, planted(24.0), at_rates={fps: planted(fps) for fps in (12.0, 30.0, 60.0, 120.0)}
    )


@pytest.mark.captures
@pytest.mark.parametrize("fps", [12, 24, 30, 60])
def test_captures_of_jumping_and_boxing_stay_quiet(fps):
    loud, seconds = 0, 0.0
    for name in ("01_01", "Boxing_Toes"):
        motion = captures.load(name, fps=fps)
        loud += sum(flag.severity >= Severity.CLEAR for flag in run(CHECK, motion).flags)
        seconds += motion.frame_count / motion.fps
    assert loud / seconds * 10.0 <= 1.0


@pytest.mark.captures
def test_stalls_of_fast_arms_in_a_capture_are_found():
    motion = captures.load("01_01", fps=24)
    row = motion.index("upper_arm.R")
    steps = np.linalg.norm(np.diff(motion.head("hand.R"), axis=0), axis=-1)
    fast = np.flatnonzero(steps >= np.quantile(steps, 0.9))
    fast = fast[(fast > 40) & (fast < motion.frame_count - 40)]
    rng, found = np.random.default_rng(0), 0
    for _ in range(20):
        index = int(rng.choice(fast))
        piece = motion.slice(index - 36, index + 36)
        local = piece.local_rotations.copy()
        for part in (row, motion.index("forearm.R")):
            local[37:39, part] = local[36, part]
        flags = run(CHECK, planting.rebuild(piece, local, piece.local_heads)).flags
        found += any(
            {"upper_arm.R", "forearm.R"} & {flag.part, *flag.other_parts}
            and abs(flag.start - piece.frame(37)) <= 2
            and flag.severity >= Severity.CLEAR
            for flag in flags
        )
    # The others fall on turning points of the joints, where nobody sees a stall.
    assert found >= 12
