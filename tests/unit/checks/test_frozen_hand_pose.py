# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""frozen-hand-pose on motion of known truth: clean, planted, just under and over, exceptions."""

import captures
import figure
import numpy as np
import pytest
import reposing
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.frozen_hand_pose import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.motion import KeyTrack, Stage
from fettle.core_math.motion_making import build_motion

FINGERS = ("thumb", "index", "middle", "ring", "pinky")
SECONDS = 12.0


def gesture(*, fps: float = 24.0, seconds: float = SECONDS, curl=25.0, play=10.0, swing=35.0):
    """Both arms swing at their own pace; every finger joint bends around `curl` by `play`."""
    count = round(seconds * fps)
    time = np.arange(count) / fps
    angles = {}
    for side, pace in ((".L", 0.45), (".R", 0.6)):
        angles[f"upper_arm{side}"] = figure.turn((1, 0, 0), swing * np.sin(2 * np.pi * pace * time))
        for number, finger in enumerate(FINGERS):
            bend = curl + play * np.sin(2 * np.pi * 0.5 * time - 0.3 * number)
            for joint in ("", "/2", "/3"):
                angles[f"{finger}{side}{joint}"] = figure.turn((1, 0, 0), -bend)
    return figure.make_motion(angles, count, fps=fps)


def freeze(motion, seconds: float, *, at: float = 3.0, side: str = ".R", fingers=FINGERS):
    parts = [p for p in motion.parts if p.split("/")[0] in {f"{f}{side}" for f in fingers}]
    first = motion.frame(0) + round(at * motion.fps)
    last = first + round(seconds * motion.fps)
    return reposing.hold(motion, parts, first, last, blend=round(0.1 * motion.fps))


def test_playing_fingers_are_clean():
    assert_clean(run(CHECK, gesture()))


def test_frozen_hand_is_flagged_where_it_freezes():
    (flag,) = run(CHECK, freeze(gesture(), 4.0)).flags
    assert (flag.part, flag.code, flag.severity) == ("hand.R", "one-pose", Severity.CLEAR)
    assert abs(flag.start - 73) <= 4 and abs(flag.end - 169) <= 4


@pytest.mark.parametrize(
    ("seconds", "severity"),
    [
        (1.0, None),
        (2.0, Severity.FAINT),
        (2.6, Severity.FAINT),
        (3.2, Severity.CLEAR),
        (4.6, Severity.CLEAR),
        (5.2, Severity.GLARING),
    ],
)
def test_severity_follows_the_time(seconds, severity):
    flags = run(CHECK, freeze(gesture(), seconds)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


@pytest.mark.parametrize(("play", "found"), [(1.0, True), (2.6, False)])
def test_spread_of_the_joints_decides(play, found):
    # A joint that swings by +-play spreads by 2 x play: 2 and 5.2 degrees around the limit of 4.
    motion = freeze(gesture(play=play), 4.0, fingers=())
    assert bool(run(CHECK, motion).flags) is found


def test_one_playing_finger_keeps_the_hand_alive():
    motion = freeze(gesture(), 4.0, fingers=("thumb", "middle", "ring", "pinky"))
    assert_clean(run(CHECK, motion))


def test_both_hands_frozen_together_make_one_flag():
    motion = freeze(freeze(gesture(), 4.0), 4.0, side=".L")
    (flag,) = run(CHECK, motion).flags
    assert {flag.part, *flag.other_parts} == {"hand.L", "hand.R"}
    assert flag.message.startswith("Both hands")


def test_hand_at_rest_is_left_alone():
    assert_clean(run(CHECK, gesture(swing=3.0, play=0.0)))


def test_closed_hand_is_left_alone_and_said_so():
    reading = run(CHECK, freeze(gesture(curl=60.0), 4.0))
    assert reading.flags == ()
    assert any("closed" in entry.reason for entry in reading.not_evaluated)


def test_both_hands_on_one_thing_are_left_alone_and_said_so():
    count = round(6.0 * 24)
    lift = 40.0 * np.sin(2 * np.pi * 0.5 * np.arange(count) / 24.0)
    angles = {}
    for side, sign in ((".L", 1.0), (".R", -1.0)):
        angles[f"upper_arm{side}"] = figure.turn((1, 0, 0), lift)
        angles[f"forearm{side}"] = figure.turn((0, 1, 0), np.full(count, sign * 20.0))
        bend = np.where(np.arange(count) < 10, 5.0, 25.0)
        angles[f"index{side}"] = figure.turn((1, 0, 0), -bend)
    reading = run(CHECK, figure.make_motion(angles, count))
    assert [flag for flag in reading.flags if flag.code == "one-pose"] == []
    assert any("one thing" in entry.reason for entry in reading.not_evaluated)


def test_fingers_that_never_move_at_all_are_no_more_than_clear():
    (flag,) = run(CHECK, gesture(play=0.0)).flags
    assert flag.severity is Severity.CLEAR and "in this shot" in flag.message


def test_fingers_of_one_joint_that_never_move_are_no_more_than_faint():
    motion = gesture(play=0.0)
    kept = [p for p in motion.parts if not p.endswith(("/2", "/3")) or "strand" in p]
    rows = [motion.index(part) for part in kept]
    fewer = build_motion(
        subject=motion.subject,
        parts=tuple(kept),
        parents=tuple(kept.index(a) if (a := motion.parent_of(p)) else -1 for p in kept),
        heads=motion.heads[:, rows],
        tails=motion.tails[:, rows],
        rotations_wxyz=motion.rotations[:, rows],
        frames=motion.frames,
        fps=motion.fps,
    )
    (flag,) = run(CHECK, fewer).flags
    assert flag.severity is Severity.FAINT and "in this shot" in flag.message


def test_finger_that_stays_straight_is_flagged():
    motion = gesture()
    rows = [part for part in motion.parts if part.split("/")[0] == "ring.R"]
    straight = np.tile([1.0, 0.0, 0.0, 0.0], (motion.frame_count, 1))
    share = reposing.ramp(motion, 73, 73 + round(3.5 * 24), 3)
    turns = {
        part: reposing.mix(motion.local_rotations[:, motion.index(part)], straight, share)
        for part in rows
    }
    (flag,) = run(CHECK, reposing.repose(motion, turns)).flags
    assert (flag.part, flag.code) == ("ring.R", "straight-finger")
    assert flag.severity is Severity.CLEAR
    assert abs(flag.start - 73) <= 4


def test_straight_fingers_are_one_flag_and_no_more_than_faint_when_never_bent():
    motion = gesture()
    straight = np.tile([1.0, 0.0, 0.0, 0.0], (motion.frame_count, 1))
    turns = {part: straight for part in motion.parts if part.endswith(("/2", "/3"))}
    (flag,) = run(CHECK, reposing.repose(motion, turns)).flags
    assert (flag.code, flag.severity) == ("straight-finger", Severity.FAINT)
    assert len(flag.other_parts) == 7


def block(poses: list[float], raised: list[float]):
    """Stepped keys a second apart with these finger curls and arm angles."""
    count = 24 * len(poses)
    keys = np.arange(len(poses)) * 24.0 + 1.0
    track = KeyTrack(keys, np.ones(len(keys), dtype=bool))
    index = np.arange(count) // 24
    angles = {"upper_arm.R": figure.turn((1, 0, 0), -np.array(raised)[index])}
    names = [f"{f}.R{joint}" for f in FINGERS for joint in ("", "/2", "/3")]
    for name in names:
        angles[name] = figure.turn((1, 0, 0), -np.array(poses)[index])
    return figure.make_motion(
        angles,
        count,
        keys={name: track for name in ("upper_arm.R", *names)},
        stage_override=Stage.BLOCKING,
        without=("hand.L",),
    )


@pytest.mark.parametrize(
    ("same", "severity"),
    [(2, None), (3, Severity.FAINT), (4, Severity.CLEAR), (6, Severity.GLARING)],
)
def test_the_same_hand_on_key_after_key_is_flagged_in_blocking(same, severity):
    poses = [10.0] + [30.0] * same + [50.0]
    raised = [60.0 * (number % 2) for number in range(len(poses))]
    flags = run(CHECK, block(poses, raised)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])
    for flag in flags:
        assert (flag.part, flag.code) == ("hand.R", "repeated-pose")
        assert (flag.start, flag.end) == (25, 24 * (same + 1))


def test_the_same_hand_in_the_same_place_is_no_repeat():
    assert_clean(run(CHECK, block([30.0] * 6, [20.0] * 6)))


def test_no_fingers_is_not_evaluated():
    motion = figure.make_motion({}, 48, without=FINGERS_BOTH)
    assert_not_evaluated(run(CHECK, motion), "no finger bones on hand.L")


FINGERS_BOTH = tuple(f"{finger}{side}" for finger in FINGERS for side in (".L", ".R"))


def test_invariances():
    base = freeze(gesture(), 4.0)
    rates = {fps: freeze(gesture(fps=fps), 4.0) for fps in (12, 60)}
    assert_invariant(CHECK, base, at_rates=rates)


@pytest.mark.captures
@pytest.mark.parametrize("fps", [None, 24, 25, 30])
@pytest.mark.parametrize("clip", ["01_01", "01_03"])
def test_captures_are_clean(clip, fps):
    assert_clean(run(CHECK, captures.load(clip, fps)))


@pytest.mark.captures
@pytest.mark.parametrize(("clip", "side", "first"), [("01_01", ".L", 97), ("01_03", ".R", 241)])
def test_hand_frozen_in_a_capture_is_flagged_there(clip, side, first):
    motion = captures.load(clip, 24)
    last = first + 80
    frozen = reposing.hold(motion, [f"middle{side}", f"thumb{side}"], first, last)
    flags = [f for f in run(CHECK, frozen).flags if f.severity >= Severity.CLEAR]
    assert [flag.part for flag in flags] == [f"hand{side}"]
    assert first - 4 <= flags[0].start and flags[0].end <= last + 6
