# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""ik-lock on motion of known truth: clean, planted, just under, just over, not evaluated."""

import captures
import figure
import numpy as np
import pytest
import reposing
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run
from scipy.spatial.transform import Rotation

from fettle.core_math.checks.ik_lock import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.measures import rotations

FRAMES = 48


def swing(answer: float, *, fps: float = 24.0):
    """Swing the right forearm by 90 degrees on frames 13 to 36; the hand's world turn is
    `answer` times the forearm's (1 = rigid, 0 = held in the world)."""
    count = round(FRAMES * fps / 24.0)
    u = (np.arange(count) / fps - 0.5) / 1.0
    angle = 90.0 * figure.minimum_jerk(u)
    return figure.make_motion(
        {
            "forearm.R": figure.turn((1, 0, 0), angle),
            "upper_arm.R": figure.turn((1, 0, 0), 20.0 * figure.minimum_jerk(u)),
            "hand.R": figure.turn((1, 0, 0), (answer - 1.0) * (110.0 / 90.0) * angle),
        },
        count,
        fps=fps,
    )


def test_forearm_turned_under_a_held_hand_bends_the_wrist_back_by_the_same_angle():
    # Identity: wrist = forearm^-1 * hand; checked against SciPy's rotations.
    motion = swing(0.0)
    wrist = motion.relative_rotation("hand.R", to="forearm.R")
    forearm = motion.rotation("forearm.R")
    ours = rotations.angle_between(wrist[0], wrist[-1])
    one, other = (Rotation.from_quat(forearm[i], scalar_first=True) for i in (0, -1))
    assert ours == pytest.approx(np.degrees((one.inv() * other).magnitude()), abs=1e-6)


def test_hand_that_turns_with_the_forearm_is_clean():
    assert_clean(run(CHECK, swing(1.0)))


def test_hand_that_drags_is_clean():
    assert_clean(run(CHECK, swing(0.6)))


def test_held_hand_is_flagged_at_the_swing():
    reading = run(CHECK, swing(0.0))
    (flag,) = reading.flags
    assert (flag.part, flag.code) == ("hand.R", "held-in-world")
    assert flag.severity is Severity.GLARING
    assert 13 <= flag.peak <= 37
    assert abs(flag.start - 13) <= 5 and abs(flag.end - 37) <= 5
    assert flag.other_parts == ("forearm.R",)


@pytest.mark.parametrize(
    ("answer", "severity"),
    [
        (0.26, None),
        (0.24, Severity.FAINT),
        (0.13, Severity.FAINT),
        (0.11, Severity.CLEAR),
        (0.06, Severity.CLEAR),
        (0.04, Severity.GLARING),
    ],
)
def test_severity_follows_the_ratio(answer, severity):
    flags = run(CHECK, swing(answer)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


def test_hand_planted_in_the_world_is_left_alone_and_said_so():
    # The whole body turns about the hand, which keeps its place and angle: leaning on something.
    u = (np.arange(FRAMES) - 12) / 24.0
    angle = 40.0 * figure.minimum_jerk(u)
    motion = figure.make_motion(
        {
            "root": figure.turn((0, 0, 1), angle),
            "hand.R": figure.turn((0, 0, 1), -angle),
        },
        FRAMES,
    )
    hand = motion.head("hand.R")
    shifted = motion.heads - (hand - hand[0])[:, np.newaxis]
    tails = motion.tails - (hand - hand[0])[:, np.newaxis]
    planted = figure.build_motion(
        subject="Figure",
        frames=motion.frames,
        fps=24.0,
        parts=motion.parts,
        parents=motion.parents,
        heads=shifted,
        tails=tails,
        rotations_wxyz=motion.rotations,
    )
    reading = run(CHECK, planted)
    assert [flag for flag in reading.flags if flag.part == "hand.R"] == []
    assert any("planted" in entry.reason for entry in reading.not_evaluated)


def test_missing_hand_is_not_evaluated():
    motion = figure.make_motion({}, FRAMES, without=("hand.L", "hand.R"))
    assert_not_evaluated(run(CHECK, motion), "hand.L (not mapped)")


def test_small_turn_of_the_forearm_is_left_alone():
    u = (np.arange(FRAMES) - 12) / 24.0
    angle = 13.0 * figure.minimum_jerk(u)
    motion = figure.make_motion(
        {
            "forearm.R": figure.turn((1, 0, 0), angle),
            "hand.R": figure.turn((1, 0, 0), -angle),
        },
        FRAMES,
    )
    assert_clean(run(CHECK, motion))


def test_invariances():
    assert_invariant(CHECK, swing(0.03), at_rates={fps: swing(0.03, fps=fps) for fps in (12, 60)})


@pytest.mark.captures
@pytest.mark.parametrize("fps", [None, 24, 25, 30])
@pytest.mark.parametrize("clip", ["01_01", "01_03", "Boxing_Toes"])
def test_captures_have_nothing_clear(clip, fps):
    reading = run(CHECK, captures.load(clip, fps))
    assert [f.message for f in reading.flags if f.severity >= Severity.CLEAR] == []


@pytest.mark.captures
@pytest.mark.parametrize("fps", [24, 30, None])
@pytest.mark.parametrize(
    ("clip", "side", "start"),
    [("01_01", ".L", 1.7), ("01_01", ".R", 5.4), ("Boxing_Toes", ".L", 2.9), ("01_03", ".R", 1.7)],
)
def test_hand_held_for_half_a_second_in_a_capture_is_flagged_there(clip, side, start, fps):
    motion = captures.load(clip, fps)
    first = motion.frame(0) + round(start * motion.fps)
    last = first + round(0.58 * motion.fps)
    slack = 2.0 * motion.fps / 24.0
    held = reposing.hold_in_world(motion, f"hand{side}", first, last, round(slack))
    flags = [f for f in run(CHECK, held).flags if f.severity >= Severity.CLEAR]
    assert [flag.part for flag in flags] == [f"hand{side}"]
    # The hold is eased in over two frames before it, which are partly held too.
    assert first - 2 * slack <= flags[0].start and flags[0].end <= last + slack
    assert first <= flags[0].peak <= last
