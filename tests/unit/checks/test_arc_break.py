# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""arc-break on motion of known truth and on captures: clean, planted, at its limits, left alone."""

import cameras
import captures
import figure
import numpy as np
import planting
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.arc_break import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.measures import rotations
from fettle.core_math.motion import KeyTrack, Stage

SHAPES = {
    "one frame": (1.0,),
    "two frames": (1.0, 1.0),
    "a bump of three": (0.7, 1.0, 0.7),
}


def swing(fps: float = 24.0, reach: float = 70.0, **options):
    """Swing both arms to and fro, and walk on: four seconds of arcs."""
    count = round(4.0 * fps)
    phase = 2.0 * np.pi * np.arange(count) / fps / 1.4
    angles = {
        "chest": figure.turn((0, 0, 1), 8.0 * np.sin(phase)),
        "head": figure.turn((1, 0, 0), 8.0 * np.sin(phase + 1.0)),
        "upper_arm.R": figure.turn((1, 0.2, 0), reach * np.sin(phase)),
        "forearm.R": figure.turn((1, 0, 0), 30.0 * np.sin(phase - 0.4)),
        "upper_arm.L": figure.turn((0.2, 1, 0), -reach * np.sin(phase + 0.3)),
        "forearm.L": figure.turn((1, 0, 0), 30.0 * np.sin(phase)),
        "strand:braid_L": figure.turn((0, 1, 0), 40.0 * np.sin(phase)),
    }
    path = np.zeros((count, 3))
    path[:, 1] = -1.2 * np.arange(count) / fps
    return figure.make_motion(angles, count, fps=fps, root_path=path, **options)


def test_swings_on_smooth_arcs_are_clean():
    assert_clean(run(CHECK, swing()))


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
@pytest.mark.parametrize("part", ["hand.R", "hand.L", "foot.R", "head"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_break_of_three_percent_is_one_flag_on_the_part_where_it_is_seen(part, shape, seed):
    first = 18 + 13 * seed
    (flag,) = run(CHECK, planting.push_across(swing(), part, first, shape, 3.2, seed)).flags
    assert (flag.part, flag.code) == (part, "off-arc")
    assert flag.severity is Severity.GLARING
    assert first <= flag.peak - 1 <= first + len(shape) - 1
    assert flag.value == pytest.approx(3.2, rel=0.1)


@pytest.mark.parametrize(
    ("percent", "severity"),
    [
        (0.7, None),
        (0.9, Severity.FAINT),
        (1.4, Severity.FAINT),
        (1.6, Severity.CLEAR),
        (2.9, Severity.CLEAR),
        (3.1, Severity.GLARING),
    ],
)
def test_severity_follows_the_distance(percent, severity):
    flags = run(CHECK, planting.push_across(swing(), "hand.R", 40, (1.0,), percent)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


def test_break_made_by_the_upper_arm_is_one_flag_on_the_hand_that_names_it():
    motion = swing()
    local = motion.local_rotations.copy()
    row = motion.index("upper_arm.R")
    off = rotations.from_axis_angle((0.0, 0.2, 1.0), 8.0)
    local[40, row] = rotations.multiply(local[40, row], off)
    (flag,) = run(CHECK, planting.rebuild(motion, local, motion.local_heads)).flags
    assert (flag.part, flag.peak) == ("hand.R", 41)
    assert flag.other_parts[0] == "upper_arm.R"


def bend_arm(hand_moves: bool):
    """Throw the right elbow off for a frame; the hand with it, or left where it was."""
    motion = swing()
    places = motion.local_heads.copy()
    elbow, hand = motion.index("forearm.R"), motion.index("hand.R")
    off = np.array([0.06, 0.0, 0.0])
    places[40, elbow] += off
    if not hand_moves:
        places[40, hand] -= rotations.rotate(
            rotations.conjugate(motion.local_rotations[40, elbow]), off
        )
    return planting.rebuild(motion, motion.local_rotations, places)


def test_elbow_alone_is_named_when_the_hand_keeps_its_arc():
    (flag,) = run(CHECK, bend_arm(hand_moves=False)).flags
    assert (flag.part, flag.peak) == ("forearm.R", 41)
    (flag,) = run(CHECK, bend_arm(hand_moves=True)).flags
    assert (flag.part, flag.peak) == ("hand.R", 41)


def test_break_made_by_the_chest_is_one_flag_on_the_chest():
    motion = planting.turn_off(swing(), ["chest"], [40], 7.0, seed=3)
    (flag,) = run(CHECK, motion).flags
    assert flag.part == "chest"
    assert {"hand.L", "head"} <= set(flag.other_parts)


def test_whole_body_thrown_aside_is_one_flag():
    (flag,) = run(CHECK, planting.move_off(swing(), "root", [40], 4.0)).flags
    assert flag.part == "root"


def test_strand_that_leaves_its_arc_is_found():
    motion = planting.push_across(swing(), "strand:braid_L/3", 40, (1.0, 1.0), 3.0)
    (flag,) = run(CHECK, motion).flags
    assert flag.part.startswith("strand:braid_L")
    assert flag.severity >= Severity.CLEAR


def send_hand(path: np.ndarray, fps: float = 24.0, **options):
    """Move the right hand, and nothing else, along a path given in metres."""
    still = figure.make_motion({}, len(path), fps=fps)
    places = still.local_heads.copy()
    places[:, still.index("hand.R")] += path
    moved = planting.rebuild(still, still.local_rotations, places)
    return figure.build_motion(
        subject="Figure",
        frames=moved.frames,
        fps=fps,
        parts=moved.parts,
        parents=moved.parents,
        heads=moved.heads,
        tails=moved.tails,
        rotations_wxyz=moved.rotations,
        **options,
    )


def test_corner_at_a_hit_is_left_alone():
    # Straight in, straight out in another direction: the hand strikes something.
    steps = np.arange(24)[:, np.newaxis] * 0.05
    path = np.concatenate((-steps[::-1] * [1.0, 0.0, 0.3], steps[1:] * [-0.2, 1.0, 0.3]))
    assert_clean(run(CHECK, send_hand(path)))


def test_turning_point_is_left_alone():
    phase = 2.0 * np.pi * np.arange(72) / 12.0
    there_and_back = np.stack((0.3 * np.sin(phase), 0.0 * phase, 0.01 * np.cos(phase)), axis=-1)
    assert_clean(run(CHECK, send_hand(there_and_back)))


def test_sudden_stop_is_left_alone():
    path = np.minimum(np.arange(48), 24)[:, np.newaxis] * [0.04, 0.02, 0.0]
    assert_clean(run(CHECK, send_hand(path)))


def test_noise_in_a_hold_is_left_alone():
    path = np.zeros((72, 3))
    path[36] = (0.0, 0.035, 0.0)
    assert_clean(run(CHECK, send_hand(path)))


def test_wave_of_its_own_is_no_break():
    # An arc that lasts eight frames is a movement, at any size.
    path = np.arange(72)[:, np.newaxis] * [0.05, 0.0, 0.0]
    path[30:39, 2] += 0.2 * np.sin(np.pi * np.arange(9) / 8.0) ** 3
    assert_clean(run(CHECK, send_hand(path)))


@pytest.mark.parametrize("orthographic", [False, True])
@pytest.mark.parametrize(("side", "found"), [("along the view", 0), ("across the view", 1)])
def test_in_a_shot_camera_only_what_its_picture_shows_counts(side, found, orthographic):
    # A hand far below the camera that looks straight down, on a straight path to +X.
    path = np.arange(72)[:, np.newaxis] * [0.03, 0.0, 0.0] - [1.0, 0.0, 0.0]
    path[36] += (0.0, 0.0, 0.06) if side == "along the view" else (0.0, 0.06, 0.0)
    above = send_hand(path).head("hand.R")[36] + [0.0, 0.0, 20.0]
    down = np.array([1.0, 0.0, 0.0, 0.0])
    camera = cameras.stand_still(72, above, down, orthographic=orthographic)
    flags = run(CHECK, send_hand(path, camera=camera)).flags
    assert len(flags) == found
    assert all("in the picture" in flag.message for flag in flags)
    (flag,) = run(CHECK, send_hand(path)).flags
    assert "in the world" in flag.message


def test_break_outside_the_picture_is_left_alone():
    path = np.arange(72)[:, np.newaxis] * [0.03, 0.0, 0.0] - [1.0, 0.0, 0.0]
    path[36] += (0.0, 0.06, 0.0)
    hand = send_hand(path).head("hand.R")[36]
    for aside, found in ((0.0, 1), (20.0, 0)):
        place = hand + [0.0, aside, 20.0]
        camera = cameras.stand_still(72, place, np.array([1.0, 0.0, 0.0, 0.0]))
        assert len(run(CHECK, send_hand(path, camera=camera)).flags) == found


def step_poses(off: float, poses: int = 14, hold: int = 6):
    """Hold key poses of a hand on a half circle; one of them lies off it (% H)."""
    turn = np.linspace(0.0, np.pi, poses)
    keys = np.stack((0.6 * np.cos(turn), 0.0 * turn, 0.6 * np.sin(turn)), axis=-1)
    keys[7] += np.array([0.0, 1.0, 0.0]) * off / 100.0 * figure.STATURE
    frames = np.arange(1, poses * hold, hold).astype(float)
    track = KeyTrack(frames, np.ones(poses, dtype=bool))
    return send_hand(np.repeat(keys, hold, axis=0), keys={"hand.R": track})


def test_blocking_is_judged_on_its_key_poses():
    motion = step_poses(4.0)
    assert motion.stage is Stage.BLOCKING
    (flag,) = run(CHECK, motion).flags
    assert (flag.part, flag.start, flag.end) == ("hand.R", 43, 48)
    assert_clean(run(CHECK, step_poses(0.0)))


def test_few_key_poses_are_not_evaluated():
    assert_not_evaluated(run(CHECK, step_poses(4.0, poses=8)), "8 key poses are too few")


def test_animation_on_twos_is_judged_by_its_drawings():
    turn = np.linspace(0.0, 2.0 * np.pi, 40)
    keys = np.stack((0.5 * np.cos(turn), 0.0 * turn, 0.5 * np.sin(turn)), axis=-1)
    motion = send_hand(np.repeat(keys, 2, axis=0))
    assert motion.stage is Stage.HELD
    assert_clean(run(CHECK, motion))
    keys[20] += (0.0, 0.07, 0.0)
    (flag,) = run(CHECK, send_hand(np.repeat(keys, 2, axis=0))).flags
    assert (flag.part, flag.start, flag.end) == ("hand.R", 41, 42)


def test_too_short_a_shot_is_not_evaluated():
    assert_not_evaluated(run(CHECK, figure.make_motion({}, 7)), "7 frames are too few")


def test_invariances():
    def planted(fps):
        return planting.push_across(swing(fps, 45.0), "hand.R", round(1.75 * fps), (1.0,), 3.5)

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
@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_breaks_in_the_fast_swings_of_a_capture_are_found(shape):
    motion = captures.load("01_01", fps=60)
    steps = np.linalg.norm(np.diff(motion.head("hand.R"), axis=0), axis=-1)
    fast = np.flatnonzero(steps >= np.quantile(steps, 0.9))
    fast = fast[(fast > 90) & (fast < motion.frame_count - 90)]
    rng, found = np.random.default_rng(0), 0
    for seed in range(20):
        index = int(rng.choice(fast))
        piece = motion.slice(index - 90, index + 90)
        flags = run(CHECK, planting.push_across(piece, "hand.R", 90, shape, 3.0, seed)).flags
        found += any(
            flag.part == "hand.R"
            and -2 <= flag.peak - piece.frame(90) <= len(shape) + 1
            and flag.severity >= Severity.CLEAR
            for flag in flags
        )
    assert found >= 18
