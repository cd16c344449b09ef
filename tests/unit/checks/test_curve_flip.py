# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""curve-flip on keys of known truth and on captures: clean, planted, at its limits, left alone."""

import captures
import figure
import numpy as np
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.curve_flip import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.measures import rotations
from fettle.core_math.motion import KeyTrack, RotationChannels, Stage, SubjectKind


def key_turns(
    keys: dict[int, float],
    *,
    fps: float = 24.0,
    part: str = "head",
    count: int = 48,
    mode: str = "XYZ",
    **options,
):
    """Turn a part about the vertical by keyed angles, straight lines between the keys (frames)."""
    frames = np.arange(1, count + 1)
    angles = np.interp(frames, list(keys), list(keys.values()))
    values = np.zeros((count, 3))
    values[:, 2] = angles
    if mode == "AXIS_ANGLE":
        values = np.column_stack((angles, np.zeros(count), np.zeros(count), np.ones(count)))
    track = KeyTrack(np.array(list(keys), dtype=float), np.zeros(len(keys), dtype=bool))
    return figure.make_motion(
        {part: figure.turn((0, 0, 1), angles)},
        count,
        fps=fps,
        channels={part: RotationChannels(mode, values)},
        keys={part: track},
        **options,
    )


def test_keys_that_take_the_short_way_are_clean():
    assert_clean(run(CHECK, key_turns({1: 170.0, 11: 190.0, 30: 150.0})))


@pytest.mark.parametrize("mode", ["XYZ", "ZYX", "AXIS_ANGLE"])
@pytest.mark.parametrize("part", ["head", "upper_arm.L", "strand:braid_R/2"])
def test_long_way_between_two_keys_is_one_flag_on_its_part(part, mode):
    (flag,) = run(CHECK, key_turns({1: 170.0, 11: 170.0, 21: -170.0}, part=part, mode=mode)).flags
    assert (flag.part, flag.code) == (part, "long-way-round")
    assert (flag.start, flag.end) == (11, 21)
    assert 11 <= flag.peak <= 21
    # 340 degrees travelled where 20 would do.
    assert flag.value == pytest.approx(320.0, abs=0.01)
    assert flag.severity is Severity.GLARING


@pytest.mark.parametrize(
    ("step", "severity"),
    [
        (189.0, None),
        (191.0, Severity.FAINT),
        (209.0, Severity.FAINT),
        (211.0, Severity.CLEAR),
        (239.0, Severity.CLEAR),
        (241.0, Severity.GLARING),
    ],
)
def test_severity_follows_the_detour(step, severity):
    # Travelled: step. Needed: 360 - step. The detour is 2 step - 360.
    flags = run(CHECK, key_turns({1: 0.0, 11: 0.0, 21: step})).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])
    assert all(flag.value == pytest.approx(2 * step - 360.0, abs=0.01) for flag in flags)


def test_opposite_quaternion_keys_are_found():
    # The host blends the four numbers and brings the result back to unit length.
    one = figure.turn((0, 0, 1), np.array([0.0]))[0]
    other = -figure.turn((0.6, 0, 0.8), np.array([40.0]))[0]
    u = np.clip((np.arange(48) - 10) / 10.0, 0.0, 1.0)[:, None]
    values = (1.0 - u) * one + u * other
    motion = figure.make_motion(
        {"hand.R": rotations.normalize(values)},
        48,
        channels={"hand.R": RotationChannels("QUATERNION", values)},
        keys={"hand.R": KeyTrack(np.array([1.0, 11.0, 21.0]), np.zeros(3, dtype=bool))},
    )
    (flag,) = run(CHECK, motion).flags
    assert (flag.part, flag.code, flag.start, flag.end) == ("hand.R", "opposite-keys", 11, 21)
    # The other way round the same great circle: 320 degrees instead of 40.
    assert flag.value == pytest.approx(280.0, abs=1.0)


def test_turn_keyed_step_by_step_is_left_alone():
    assert_clean(run(CHECK, key_turns({1: 0.0, 11: 120.0, 21: 240.0, 31: 350.0})))


@pytest.mark.parametrize("turn", [360.0, 720.0, -360.0])
def test_whole_turns_are_left_alone(turn):
    assert_clean(run(CHECK, key_turns({1: 0.0, 11: 0.0, 31: turn}, part="upper_arm.L")))


@pytest.mark.parametrize(("frames", "found"), [(24, 0), (6, 1)])
def test_root_may_turn_right_round_at_a_believable_speed(frames, found):
    motion = key_turns({1: 10.0, 11: 10.0, 11 + frames: 350.0}, part="root")
    assert len(run(CHECK, motion).flags) == found


def test_single_object_may_turn_right_round():
    count = 48
    angles = np.interp(np.arange(1, count + 1), [1, 25, 48], [0.0, 340.0, 340.0])
    values = np.zeros((count, 3))
    values[:, 1] = angles
    turned = figure.turn((0, 1, 0), angles)[:, None]
    motion = figure.build_motion(
        subject="Wheel",
        kind=SubjectKind.OBJECT,
        frames=np.arange(1, count + 1),
        fps=24.0,
        parts=["root"],
        parents=[-1],
        heads=np.zeros((count, 1, 3)),
        tails=np.tile([0.0, 0.0, 0.5], (count, 1, 1)),
        rotations_wxyz=turned,
        height=0.5,
        channels={"root": RotationChannels("XYZ", values)},
        keys={"root": KeyTrack(np.array([1.0, 25.0, 48.0]), np.zeros(3, dtype=bool))},
    )
    assert_clean(run(CHECK, motion))


def test_jump_between_neighbouring_frames_is_faint():
    keys = {1: 150.0, 20: 175.0, 21: -178.0, 48: -150.0}
    (flag,) = run(CHECK, key_turns(keys)).flags
    assert (flag.code, flag.severity) == ("channel-jump", Severity.FAINT)
    assert (flag.start, flag.peak, flag.end) == (20, 21, 21)
    assert flag.value == pytest.approx(353.0, abs=0.01)


def test_quaternion_that_changes_its_sign_is_faint():
    angles = np.linspace(0.0, 60.0, 48)
    values = figure.turn((0, 0, 1), angles)
    values[30:] *= -1.0
    motion = figure.make_motion(
        {"head": figure.turn((0, 0, 1), angles)},
        48,
        channels={"head": RotationChannels("QUATERNION", values)},
    )
    (flag,) = run(CHECK, motion).flags
    assert (flag.code, flag.peak, flag.severity) == ("channel-jump", 31, Severity.FAINT)


def test_jump_of_the_pose_itself_is_no_flip():
    assert_clean(run(CHECK, key_turns({1: 0.0, 20: 0.0, 21: 190.0 + 45.0, 48: 235.0})))


def test_stepped_keys_show_no_spin_but_their_jump_is_told():
    count = 48
    angles = np.where(np.arange(1, count + 1) < 20, 170.0, -170.0)
    values = np.column_stack((np.zeros(count), np.zeros(count), angles))
    motion = figure.make_motion(
        {"head": figure.turn((0, 0, 1), angles)},
        count,
        channels={"head": RotationChannels("XYZ", values)},
        keys={"head": KeyTrack(np.array([1.0, 20.0]), np.ones(2, dtype=bool))},
        stage_override=Stage.BLOCKING,
    )
    (flag,) = run(CHECK, motion).flags
    assert (flag.code, flag.severity, flag.peak) == ("channel-jump", Severity.FAINT, 20)


def test_unknown_channels_are_not_evaluated():
    assert_not_evaluated(run(CHECK, figure.make_motion({}, 48)), "nor the keys are known")


def test_invariances():
    def planted(fps):
        keys = {1: 170.0, 1 + round(0.5 * fps): 170.0, 1 + round(fps): -165.0}
        return key_turns(keys, fps=fps, part="upper_arm.R", count=round(2 * fps))

    assert_invariant(
        CHECK, planted(24.0), at_rates={fps: planted(fps) for fps in (12.0, 30.0, 60.0)}
    )


@pytest.mark.captures
def test_known_flips_of_captures_are_found_and_faint():
    # Known of these recordings: no channel step over 180 degrees in 01_01; in Boxing_Toes the
    # hips' Y jumps by -359.949, +359.793 and -359.496 degrees where the pose turns by under 1.
    assert_clean(run(CHECK, captures.load("01_01")))
    flags = run(CHECK, captures.load("Boxing_Toes")).flags
    assert {flag.severity for flag in flags} == {Severity.FAINT}
    for row, step in ((121, 359.949), (152, 359.793), (185, 359.496)):
        (flag,) = (f for f in flags if f.part == "hips" and f.start <= row < f.end)
        assert flag.value == pytest.approx(step, abs=0.01)
        assert flag.peak == row + 1


def solve_shin(angles, keys=(1, 13, 25, 48), keyed="foot.R"):
    """Turn a shin by these angles without channels of its own; another part holds the keys."""
    track = KeyTrack(np.array(keys, dtype=float), np.zeros(len(keys), dtype=bool))
    turns = {"shin.R": figure.turn((0.2, 0.1, 1.0), np.asarray(angles, dtype=float))}
    return figure.make_motion(turns, 48, keys={keyed: track})


@pytest.mark.parametrize("keyed", ["shin.R", "foot.R", "hips"])
def test_part_that_a_solver_spins_between_two_keys_is_one_flag(keyed):
    spin = np.interp(np.arange(1, 49), (13, 25), (0.0, 300.0))
    (flag,) = run(CHECK, solve_shin(spin, keyed=keyed)).flags
    assert (flag.part, flag.code, flag.start, flag.end) == ("shin.R", "long-way-round", 13, 25)
    # 300 degrees travelled where 60 would do.
    assert flag.value == pytest.approx(240.0, abs=0.5)


def test_part_that_a_solver_bends_and_straightens_between_two_keys_is_clean():
    there_and_back = np.interp(np.arange(1, 49), (13, 19, 25), (0.0, 120.0, 0.0))
    assert_clean(run(CHECK, solve_shin(there_and_back)))
    assert_clean(run(CHECK, solve_shin(np.interp(np.arange(1, 49), (13, 25), (0.0, 170.0)))))
