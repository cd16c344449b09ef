# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""pop on motion of known truth and on captures: clean, planted, at its limits, left alone."""

import captures
import figure
import numpy as np
import planting
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.pop import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.measures import rotations
from fettle.core_math.motion import KeyTrack, Stage, SubjectKind
from fettle.core_math.motion_making import build_motion

SECONDS = 4.0


def sway(fps: float = 24.0, start: int = 1, **options):
    """Swing arms, legs, chest, head and braids on sine waves for four seconds."""
    count = round(SECONDS * fps)
    phase = 2.0 * np.pi * np.arange(count) / fps
    axis = {
        "chest": ((0, 0, 1), 8.0, 0.0),
        "head": ((1, 0, 0), 10.0, 0.4),
        "upper_arm.R": ((1, 0, 0), 40.0, 0.0),
        "forearm.R": ((1, 0, 0), 25.0, 0.6),
        "upper_arm.L": ((0, 1, 0), 30.0, 1.5),
        "thigh.L": ((1, 0, 0), 25.0, 0.2),
        "thigh.R": ((1, 0, 0), -25.0, 0.2),
        "strand:braid_L": ((0, 1, 0), 12.0, 1.0),
    }
    angles = {
        part: figure.turn(way, size * np.sin(phase + lag))
        for part, (way, size, lag) in axis.items()
    }
    path = np.stack((0.2 * np.sin(phase / 2.0), -0.5 * phase / 6.0, 0.0 * phase), axis=-1)
    return figure.make_motion(angles, count, fps=fps, start=start, root_path=path, **options)


def test_smooth_motion_is_clean():
    assert_clean(run(CHECK, sway()))


@pytest.mark.parametrize(
    "part",
    [
        "head",
        "chest",
        "hips",
        "upper_arm.R",
        "hand.L",
        "thigh.L",
        "toe.R",
        "index.L/2",
        "thumb.R",
        "strand:braid_L/3",
        "strand:braid_R",
    ],
)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_one_frame_off_by_five_degrees_is_one_flag_on_the_part_that_made_it(part, seed):
    index = 20 + 17 * seed
    (flag,) = run(CHECK, planting.turn_off(sway(), [part], [index], 5.0, seed)).flags
    assert (flag.part, flag.code) == (part, "one-frame")
    assert flag.peak == index + 1
    assert flag.severity >= Severity.CLEAR
    assert flag.start == flag.end == flag.peak


@pytest.mark.parametrize(
    ("degrees", "severity"),
    [
        (1.9, None),
        (2.1, Severity.FAINT),
        (3.9, Severity.FAINT),
        (4.1, Severity.CLEAR),
        (9.8, Severity.CLEAR),
        (10.2, Severity.GLARING),
    ],
)
def test_severity_follows_the_turn(degrees, severity):
    # The last joint of a finger: its tip moves by far less than the limits of travel.
    reading = run(CHECK, planting.turn_off(sway(), ["index.L/3"], [40], degrees))
    assert [flag.severity for flag in reading.flags] == ([severity] if severity else [])


@pytest.mark.parametrize(
    ("percent", "severity"),
    [
        (0.55, None),
        (0.65, Severity.FAINT),
        (1.15, Severity.FAINT),
        (1.25, Severity.CLEAR),
        (3.4, Severity.CLEAR),
        (3.6, Severity.GLARING),
    ],
)
def test_severity_follows_the_travel(percent, severity):
    reading = run(CHECK, planting.move_off(sway(), "hips", [40], percent))
    assert [flag.severity for flag in reading.flags] == ([severity] if severity else [])
    assert all(flag.part == "hips" for flag in reading.flags)


def test_small_turn_that_throws_a_far_end_is_seen_by_its_travel():
    # The farthest point from the hip joints is the toes' tip: 0.53 H down, 0.14 H ahead.
    off = rotations.from_axis_angle((1.0, 0.0, 0.0), 1.8)
    motion = sway()
    local = motion.local_rotations.copy()
    local[40, motion.index("hips")] = rotations.multiply(local[40, motion.index("hips")], off)
    (flag,) = run(CHECK, planting.rebuild(motion, local, motion.local_heads)).flags
    assert flag.part == "hips"
    assert str(flag.unit) == "% H"
    assert flag.value == pytest.approx(100.0 * np.hypot(0.53, 0.14) * np.radians(1.8), rel=0.05)


@pytest.mark.parametrize(
    ("index", "code"), [(0, "first-frame"), (95, "last-frame"), (1, "one-frame"), (94, "one-frame")]
)
def test_pop_at_the_ends_of_the_shot(index, code):
    (flag,) = run(CHECK, planting.turn_off(sway(), ["head"], [index], 6.0)).flags
    assert (flag.part, flag.peak) == ("head", index + 1)
    assert flag.code == code
    assert flag.severity >= Severity.CLEAR


def test_pop_on_the_last_frame_before_a_cut():
    motion = planting.turn_off(sway(cuts=(49,)), ["head"], [47], 6.0)
    assert motion.cuts == (49,)
    (flag,) = run(CHECK, motion).flags
    assert (flag.part, flag.code, flag.peak) == ("head", "last-frame", 48)


def test_neighbouring_frames_are_one_flag():
    motion = planting.turn_off(sway(), ["head"], [40], 6.0)
    (flag,) = run(CHECK, planting.turn_off(motion, ["head"], [43], 8.0, seed=5)).flags
    assert (flag.start, flag.peak, flag.end) == (41, 44, 44)


def test_stray_key_on_all_controls_is_one_flag():
    motion = sway()
    (flag,) = run(CHECK, planting.turn_off(motion, motion.parts, [40], 6.0)).flags
    assert flag.severity is Severity.GLARING
    assert len(flag.other_parts) == len(motion.parts) - 1


def test_arm_that_is_pulled_by_its_hand_is_one_flag_on_the_hand():
    # Upper arm and forearm bend together so that the hand is thrown, and keeps its own angle.
    motion = sway()
    local = motion.local_rotations.copy()
    for part, degrees in (("upper_arm.R", 4.0), ("forearm.R", 8.0), ("hand.R", -12.0)):
        row = motion.index(part)
        off = rotations.from_axis_angle((0.0, 1.0, 0.0), degrees)
        local[40, row] = rotations.multiply(local[40, row], off)
    (flag,) = run(CHECK, planting.rebuild(motion, local, motion.local_heads)).flags
    assert flag.part == "hand.R"
    assert set(flag.other_parts) == {"upper_arm.R", "forearm.R"}


def bend(angles: np.ndarray, fps: float = 24.0, **options):
    """Turn the head by these angles, one a frame, about its nodding axis."""
    return figure.make_motion(
        {"head": figure.turn((1, 0, 0), angles)}, len(angles), fps=fps, **options
    )


def test_jump_that_stays_is_left_alone():
    assert_clean(run(CHECK, bend(np.repeat([0.0, 20.0], 24))))


def test_swing_that_stops_dead_is_left_alone():
    assert_clean(run(CHECK, bend(np.minimum(np.arange(48) * 6.0, 120.0))))


def test_move_that_turns_on_the_spot_is_left_alone():
    assert_clean(run(CHECK, bend(60.0 - np.abs(np.arange(49) - 24.0) * 5.0)))


@pytest.mark.parametrize("height", [10.0, 30.0, 60.0])
def test_accent_of_three_frames_is_left_alone(height):
    # Published accent of a picture: none; half a sine over three moving frames (common practice).
    angles = np.zeros(48)
    angles[20:23] = height * np.sin(np.pi * np.arange(1, 4) / 4.0)
    assert_clean(run(CHECK, bend(angles)))


def test_animation_on_twos_is_left_alone_and_its_pop_is_found():
    drawings = 20.0 * np.sin(2.0 * np.pi * np.arange(36) / 24.0)
    motion = bend(np.repeat(drawings, 2))
    assert motion.stage is Stage.HELD
    assert_clean(run(CHECK, motion))
    drawings[17] += 8.0
    (flag,) = run(CHECK, bend(np.repeat(drawings, 2))).flags
    assert (flag.part, flag.start, flag.end) == ("head", 35, 36)


def test_spinning_on_is_left_alone():
    assert_clean(run(CHECK, bend(np.arange(72) * 30.0)))


@pytest.mark.parametrize(("falling", "found"), [(False, 0), (True, 1)])
def test_toe_that_slaps_on_the_ground_is_left_alone_but_not_in_the_air(falling, found):
    # The toe bends back for a frame on landing, in motion as rough as a capture's.
    count = 48
    toes = np.random.default_rng(0).normal(0.0, 1.0, count)
    toes[23] += 22.0
    height = 0.012 * (23.0 - np.arange(count))
    path = np.zeros((count, 3))
    path[:, 2] = height if falling else np.maximum(height, 0.0)
    motion = figure.make_motion({"toe.L": figure.turn((1, 0, 0), toes)}, count, root_path=path)
    assert len(run(CHECK, motion).flags) == found


def make_stepped(places, lengths, **options):
    """Hold an object at these places along X (metres), each for a number of frames."""
    path = np.zeros((int(np.sum(lengths)), 1, 3))
    path[:, 0, 0] = np.repeat(places, lengths)
    starts = 1 + np.append(0, np.cumsum(lengths)[:-1])
    stepped = np.ones(len(starts), dtype=bool)
    return build_motion(
        subject="Crate",
        kind=SubjectKind.OBJECT,
        frames=np.arange(1, len(path) + 1),
        fps=24.0,
        parts=["root"],
        parents=[-1],
        heads=path,
        tails=path + [0.0, 0.0, 1.0],
        rotations_wxyz=np.tile([1.0, 0.0, 0.0, 0.0], (len(path), 1, 1)),
        keys={"root": KeyTrack(starts.astype(float), stepped)},
        **options,
    )


@pytest.mark.parametrize("stage", [None, Stage.SPLINE])
@pytest.mark.parametrize("length", [1, 2])
def test_object_thrown_off_by_constant_keys_is_one_flag(length, stage):
    motion = make_stepped([0.0, 1.0, 0.0], [30, length, 30], stage_override=stage)
    assert motion.stage is (stage or Stage.BLOCKING)
    (flag,) = run(CHECK, motion).flags
    assert (flag.part, flag.start, flag.peak, flag.end) == ("root", 31, 31, 30 + length)
    assert flag.severity is Severity.GLARING
    # A metre off, and the object is a metre tall.
    assert flag.value == pytest.approx(100.0, rel=0.01)


def test_poses_of_blocking_are_no_pops():
    # Poses that stay, a pose that is held as long as its neighbours, and one that goes elsewhere.
    assert_clean(run(CHECK, make_stepped([0.0, 1.0, 2.0, 1.5], [8, 12, 8, 16])))
    assert_clean(run(CHECK, make_stepped([0.0, 1.0] * 5, [2] * 10)))
    assert_clean(run(CHECK, make_stepped([0.0, 1.0, 0.3, 0.6], [12, 2, 12, 12])))
    assert_clean(run(CHECK, make_stepped([0.0, 1.0, 0.0, 1.0], [12, 3, 12, 12])))
    assert_clean(run(CHECK, sway(stage_override=Stage.BLOCKING)))


def test_too_short_a_shot_is_not_evaluated():
    assert_not_evaluated(run(CHECK, figure.make_motion({}, 7)), "7 frames are too few")
    few = make_stepped([0.0, 1.0, 0.0, 1.0, 0.0], [2, 2, 2, 2, 2])
    assert_not_evaluated(run(CHECK, few), "5 drawings are too few")


def test_invariances():
    def planted(fps):
        return planting.turn_off(sway(fps), ["upper_arm.R"], [round(1.75 * fps)], 6.0)

    assert_invariant(
        CHECK, planted(24.0), at_rates={fps: planted(fps) for fps in (12.0, 30.0, 60.0, 120.0)}
    )


@pytest.mark.captures
def test_known_jump_of_a_capture_is_found():
    # The recording's own jump: RightFingerBase turns 165.26 degrees from row 1225 to row 1226.
    motion = captures.load("01_03")
    step = rotations.step_angles(motion.local_rotations[:, motion.index("middle.R")])
    assert step[1225 - motion.frame(0)] == pytest.approx(165.26, abs=0.01)
    flags = [f for f in run(CHECK, motion).flags if f.start - 2 <= 1226 <= f.end + 2]
    assert any("middle.R" in (f.part, *f.other_parts) for f in flags)
    assert max(f.severity for f in flags) is Severity.GLARING


def test_turn_faster_than_a_joint_can_is_found_although_it_stays():
    angles = np.repeat([0.0, 90.0], 60)
    (flag,) = run(CHECK, bend(angles, fps=100.0)).flags
    assert (flag.part, flag.code, flag.peak) == ("head", "too-fast", 61)
    assert flag.value == pytest.approx(9000.0)
    assert_clean(run(CHECK, bend(angles, fps=24.0)))


@pytest.mark.captures
@pytest.mark.parametrize("fps", [12, 24, 30, 60])
def test_captures_of_jumping_and_boxing_stay_quiet(fps):
    # Both hold a few real jumps of their markers, which count against the limit here.
    loud, seconds = 0, 0.0
    for name in ("01_01", "Boxing_Toes"):
        motion = captures.load(name, fps=fps)
        loud += sum(flag.severity >= Severity.CLEAR for flag in run(CHECK, motion).flags)
        seconds += motion.frame_count / motion.fps
    assert loud / seconds * 10.0 <= 1.0


@pytest.mark.captures
def test_pops_in_a_capture_are_found():
    motion = captures.load("01_01", fps=60)
    rng = np.random.default_rng(0)
    parts = [p for p in motion.parts if not p.startswith(("shoulder", "thumb", "toe"))]
    found = 0
    for seed in range(20):
        part, index = rng.choice(parts), int(rng.integers(100, motion.frame_count - 100))
        piece = motion.slice(index - 90, index + 90)
        flags = run(CHECK, planting.turn_off(piece, [part], [90], 8.0, seed)).flags
        found += any(
            part in (f.part, *f.other_parts)
            and abs(f.peak - piece.frame(90)) <= 2
            and f.severity >= Severity.CLEAR
            for f in flags
        )
    assert found >= 18


@pytest.mark.parametrize("part", ["head", "upper_arm.R", "hand.L", "index.L/2"])
@pytest.mark.parametrize(("fps", "length"), [(24.0, 2), (30.0, 2), (60.0, 4)])
def test_pop_that_is_held_for_two_frames_at_24_is_one_flag(part, fps, length):
    # The same turn for a twelfth of a second: there, held, back.
    at = round(1.7 * fps)
    motion = _turn_alike(sway(fps), part, at, length, 8.0)
    (flag,) = run(CHECK, motion).flags
    assert (flag.part, flag.code) == (part, "few-frames")
    assert (flag.start, flag.end) == (at + 1, at + length)
    assert at + 1 <= flag.peak <= at + 2
    assert flag.severity >= Severity.CLEAR
    assert f"-{at + length} and comes back" in flag.message


def _turn_alike(motion, part, first, length, degrees):
    """Turn a part by the same angle about the same axis on some frames."""
    local = motion.local_rotations.copy()
    row = motion.index(part)
    off = rotations.from_axis_angle((0.0, 1.0, 0.0), degrees)
    local[first : first + length, row] = rotations.multiply(local[first : first + length, row], off)
    return planting.rebuild(motion, local, motion.local_heads)


def make_rough(seed=4):
    """Sway with a tremor of 0.35 degrees on every part, drawn anew on every frame."""
    motion = sway()
    random = np.random.default_rng(seed)
    shape = (motion.frame_count, len(motion.parts), 3)
    vectors = random.normal(scale=0.35, size=shape)
    shake = rotations.from_axis_angle(vectors, np.linalg.norm(vectors, axis=-1))
    return planting.rebuild(
        motion, rotations.multiply(motion.local_rotations, shake), motion.local_heads
    )


def test_less_is_asked_of_a_part_that_jumps_alone_than_of_a_limb_that_jumps_together():
    rough = make_rough()
    alone = planting.turn_off(rough, ["chest"], [40], 8.0)
    flags = run(CHECK, alone, stand_out=60.0, alone_stand_out=3.0).flags
    assert [flag.part for flag in flags if flag.peak == 41] == ["chest"]
    together = planting.turn_off(rough, ["chest", "neck", "spine"], [40], 8.0)
    flags = run(CHECK, together, stand_out=60.0, alone_stand_out=3.0).flags
    assert [flag.part for flag in flags if flag.peak == 41] == []
