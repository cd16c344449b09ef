# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""twinning on motion of known truth: clean, planted, just under, just over, not evaluated."""

import captures
import figure
import numpy as np
import pytest
import reposing
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.twinning import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.measures import body, rotations
from fettle.core_math.motion import KeyTrack, Stage

SECONDS = 2.5
START = 0.5
ARM = ("upper_arm", "forearm", "hand")


def raise_arms(
    *,
    fps: float = 24.0,
    late: float = 0.0,
    size: float = 1.0,
    length: float = 1.0,
    wobble: float = 0.0,
    degrees: float = 60.0,
    inward: float = 0.0,
    axis=(0, 1, 0),
    **angles,
):
    """Raise both arms sideways (or about `axis`) for `length` seconds, the right one `late`
    seconds after the left and `size` times as far; `wobble` adds a move of its own to it."""
    count = round(SECONDS * fps)
    seconds = np.arange(count) / fps
    side = figure.minimum_jerk((seconds - START) / length)
    other = size * figure.minimum_jerk((seconds - START - late) / length)
    # Two turning points inside the move, none at its ends: unlike the raise itself.
    u = np.clip((seconds - START) / length, 0.0, 1.0)
    own = wobble * np.sin(2.0 * np.pi * u) ** 2 * np.sign(0.5 - u)
    x, y, z = axis
    turned = {
        "upper_arm.L": figure.turn((x, -y, -z), degrees * side),
        "upper_arm.R": rotations.multiply(
            figure.turn((x, y, z), degrees * other), figure.turn((1, 0, 0), own)
        ),
        "forearm.L": figure.turn((0, 1, 0), np.full(count, inward)),
        "forearm.R": figure.turn((0, 1, 0), np.full(count, -inward)),
    }
    return figure.make_motion({**turned, **angles}, count, fps=fps)


def plain_likeness(motion) -> float:
    """Pearson correlation of the mirrored arms over the move, by NumPy's corrcoef.

    The figure does not turn, so its own axes are the world's.
    """
    frames = slice(round(START * 24), round((START + 1.0) * 24) + 1)
    signals = []
    for side, sign in ((".L", 1.0), (".R", -1.0)):
        points = [motion.head(f"{part}{side}")[frames] for part in ARM]
        bones = np.diff(points, axis=0)
        bones = bones / np.linalg.norm(bones, axis=-1, keepdims=True) * [sign, 1.0, 1.0]
        signals.append((bones - bones.mean(axis=1, keepdims=True)).ravel())
    return float(np.corrcoef(*signals)[0, 1])


def test_arms_that_swing_in_turn_are_clean():
    seconds = np.arange(60) / 24.0
    swing = 30.0 * np.sin(2.0 * np.pi * seconds)
    motion = figure.make_motion(
        {
            "upper_arm.L": figure.turn((1, 0, 0), swing),
            "upper_arm.R": figure.turn((1, 0, 0), -swing),
        },
        60,
    )
    assert_clean(run(CHECK, motion))


def test_one_arm_that_moves_alone_is_clean():
    assert_clean(run(CHECK, raise_arms(size=0.0)))


def test_mirrored_arms_are_flagged_once_for_both():
    (flag,) = run(CHECK, raise_arms()).flags
    assert (flag.part, flag.other_parts) == ("hand.L", ("hand.R",))
    assert (flag.code, flag.severity) == ("mirrored-motion", Severity.GLARING)
    first, last = 1 + START * 24, 1 + (START + 1.0) * 24
    assert first - 2 <= flag.peak <= last + 2
    assert "size ratio 1.00" in flag.message and "0.0 frames apart" in flag.message


def test_mirrored_arms_of_a_body_that_turns_are_flagged_too():
    count = round(SECONDS * 24)
    turning = figure.turn((0, 0, 1), np.linspace(0.0, 200.0, count))
    (flag,) = run(CHECK, raise_arms(root=turning)).flags
    assert flag.severity is Severity.GLARING


def test_likeness_falls_with_what_one_arm_does_of_its_own():
    motions = [raise_arms(wobble=wobble) for wobble in (0.0, 3.0, 6.0, 9.0)]
    likeness = [plain_likeness(motion) for motion in motions]
    assert likeness == sorted(likeness, reverse=True)
    severities = [max((f.severity for f in run(CHECK, m).flags), default=0) for m in motions]
    assert severities == sorted(severities, reverse=True)
    assert severities[0] == Severity.GLARING and severities[-1] == 0


@pytest.mark.parametrize(("length", "severity"), [(0.5, Severity.FAINT), (1.0, Severity.GLARING)])
def test_short_gesture_is_at_most_faint(length, severity):
    flags = run(CHECK, raise_arms(length=length, degrees=40.0)).flags
    assert max(flag.severity for flag in flags) is severity


@pytest.mark.parametrize(
    ("late", "size", "copied"), [(0.0, 1.0, True), (0.5, 1.0, False), (0.0, 0.9, False)]
)
def test_one_gesture_is_told_only_when_one_arm_has_the_keys_of_the_other(late, size, copied):
    flags = run(CHECK, raise_arms(length=0.9, degrees=40.0, late=late / 24.0, size=size)).flags
    worst = max(flag.severity for flag in flags)
    assert worst is Severity.GLARING if copied else worst is Severity.FAINT


@pytest.mark.parametrize(("frames", "found"), [(0.0, True), (0.9, True), (1.15, False), (3, False)])
def test_a_frame_of_offset_breaks_the_twinning(frames, found):
    assert bool(run(CHECK, raise_arms(late=frames / 24.0)).flags) is found


@pytest.mark.parametrize(("size", "found"), [(0.64, True), (0.55, False), (1.8, False)])
def test_a_different_size_breaks_the_twinning(size, found):
    assert bool(run(CHECK, raise_arms(size=size, degrees=25.0)).flags) is found


def test_size_ratio_and_offset_are_told():
    (flag,) = run(CHECK, raise_arms(size=0.8, late=0.5 / 24.0, degrees=25.0)).flags
    assert any(f"{apart:.1f} frames apart" in flag.message for apart in (0.4, 0.5, 0.6))
    assert any(f"size ratio {ratio:.2f}" in flag.message for ratio in (0.79, 0.80, 0.81, 0.82))


def test_small_moves_are_left_alone():
    assert_clean(run(CHECK, raise_arms(degrees=5.0)))


def test_both_hands_on_one_thing_are_left_alone_and_said_so():
    # Straight swings forward with the forearms turned in: hands 0.16 of body height apart.
    reading = run(CHECK, raise_arms(axis=(1, 0, 0), degrees=-60.0, inward=20.0))
    assert reading.flags == ()
    assert any("one thing" in entry.reason for entry in reading.not_evaluated)


def test_hands_that_keep_a_wide_distance_count_one_severity_less():
    # Pushing: the hands go forward together, 0.26 of body height apart.
    (flag,) = run(CHECK, raise_arms(axis=(1, 0, 0), degrees=-60.0)).flags
    assert flag.severity is Severity.CLEAR


def test_shrug_counts_one_severity_less():
    count = round(SECONDS * 24)
    rise = figure.minimum_jerk((np.arange(count) / 24.0 - START) / 1.0)
    shrug = {
        "shoulder.L": figure.turn((0, 1, 0), -20.0 * rise),
        "shoulder.R": figure.turn((0, 1, 0), 20.0 * rise),
    }
    (plain,) = run(CHECK, raise_arms(degrees=30.0)).flags
    (lifted,) = run(CHECK, raise_arms(degrees=30.0, **shrug)).flags
    assert lifted.severity == plain.severity - 1


def test_legs_are_never_more_than_faint():
    count = round(SECONDS * 24)
    bend = 50.0 * figure.minimum_jerk((np.arange(count) / 24.0 - START) / 1.0)
    angles = {}
    for side in (".L", ".R"):
        angles[f"thigh{side}"] = figure.turn((1, 0, 0), -bend)
        angles[f"shin{side}"] = figure.turn((1, 0, 0), 2.0 * bend)
    (flag,) = run(CHECK, figure.make_motion(angles, count)).flags
    assert (flag.part, flag.severity) == ("foot.L", Severity.FAINT)


def block(apart: float, keys=(1, 13, 25), mirrored=(1,), stage=Stage.BLOCKING):
    """Stepped poses at the keys; in the ones numbered in `mirrored` the right arm is `apart`
    degrees from the mirror image of the left, in the others it hangs."""
    frames = np.arange(1, 37)
    pose = np.searchsorted(keys, frames, side="right") - 1
    raised = np.isin(pose, mirrored)
    left = figure.turn((0, 1, 0), np.where(pose > 0, -70.0, 0.0))
    right = figure.turn((0, 1, 0), np.where(raised, 70.0 - apart, 0.0))
    track = KeyTrack(np.array(keys, float), np.ones(len(keys), dtype=bool))
    return figure.make_motion(
        {"upper_arm.L": left, "upper_arm.R": right},
        len(frames),
        keys={"upper_arm.L": track, "upper_arm.R": track},
        stage_override=stage,
    )


@pytest.mark.parametrize(
    ("apart", "severity"),
    [
        (10.1, None),
        (9.9, Severity.FAINT),
        (6.1, Severity.FAINT),
        (5.9, Severity.CLEAR),
        (0.0, Severity.CLEAR),
    ],
)
def test_mirrored_key_pose_is_flagged_in_blocking(apart, severity):
    flags = run(CHECK, block(apart)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])
    for flag in flags:
        assert (flag.part, flag.code) == ("hand.L", "mirrored-poses")
        assert (flag.start, flag.end, flag.peak) == (13, 24, 13)
        assert flag.value == pytest.approx(apart, abs=0.01)


@pytest.mark.parametrize(("apart", "severity"), [(3.1, Severity.CLEAR), (2.9, Severity.GLARING)])
def test_mirrored_poses_in_a_row_weigh_more(apart, severity):
    (flag,) = run(CHECK, block(apart, mirrored=(1, 2))).flags
    assert flag.severity is severity and (flag.start, flag.end) == (13, 36)


def test_hanging_arms_are_no_pose():
    assert_clean(run(CHECK, block(0.0, mirrored=())))


def test_poses_are_found_without_keys():
    motion = block(0.0)
    bare = figure.build_motion(
        subject="Figure",
        frames=motion.frames,
        fps=24.0,
        parts=motion.parts,
        parents=motion.parents,
        heads=motion.heads,
        tails=motion.tails,
        rotations_wxyz=motion.rotations,
        stage_override=Stage.BLOCKING,
    )
    (flag,) = run(CHECK, bare).flags
    assert (flag.start, flag.end) == (13, 24)


def test_missing_limbs_are_not_evaluated():
    missing = ("upper_arm.R", "thigh.R")
    motion = figure.make_motion({}, 48, without=missing)
    assert_not_evaluated(run(CHECK, motion), "upper_arm.R (not mapped)")


def test_one_missing_pair_is_said_and_the_other_judged():
    reading = run(CHECK, figure.make_motion({}, 48, without=("thigh.R",)))
    assert reading.evaluated == ("twinning",)
    assert [entry.part for entry in reading.not_evaluated] == ["thigh.L"]


def test_invariances():
    def arms(fps=24.0):
        return raise_arms(fps=fps, size=0.85, degrees=25.0, length=1.2)

    assert_invariant(CHECK, arms(), at_rates={fps: arms(fps) for fps in (12, 30, 120)})


@pytest.mark.captures
@pytest.mark.parametrize("fps", [None, 24, 25, 30])
@pytest.mark.parametrize("clip", ["01_01", "01_03", "Boxing_Toes"])
def test_captures_have_nothing_clear(clip, fps):
    # 01_01 jumps with both arms: true twinning, short, and worth no more than faint.
    reading = run(CHECK, captures.load(clip, fps))
    assert [f.message for f in reading.flags if f.severity >= Severity.CLEAR] == []


@pytest.mark.captures
@pytest.mark.parametrize(
    ("clip", "first"), [("Boxing_Toes", 41), ("Boxing_Toes", 201), ("01_01", 121), ("01_03", 121)]
)
@pytest.mark.parametrize("fps", [24, 30])
def test_arms_mirrored_in_a_capture_are_flagged_there(clip, first, fps):
    motion = captures.load(clip, fps)
    first = round(first * fps / 24)
    last = first + round(20 * fps / 24)
    upper = {p: motion.head(p) for p in motion.parts if not p.startswith("thigh")}
    axes = body.body_axes(upper)
    mirrored = reposing.mirror_limb(motion, ARM, first, last, axes=axes)
    flags = [f for f in run(CHECK, mirrored).flags if f.severity >= Severity.CLEAR]
    assert [{f.part, *f.other_parts} for f in flags] == [{"hand.L", "hand.R"}]
    assert first - 2 <= flags[0].peak <= last + 2
