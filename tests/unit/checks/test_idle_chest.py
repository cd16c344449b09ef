# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""idle-chest on motion of known truth: clean, planted, just under, just over, not evaluated."""

import captures
import figure
import numpy as np
import pytest
import reposing
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.idle_chest import CHECK
from fettle.core_math.findings import Severity

SECONDS = 2.0
START, LENGTH = 0.5, 0.6


def swing(
    gain: float,
    *,
    late: float = 0.0,
    degrees: float = 70.0,
    length: float = LENGTH,
    fps: float = 24.0,
    sides=(".R",),
    elbow: float = 0.0,
    **options,
):
    """Swing upper arms forward; the chest turns by `gain` times as much, `late` seconds later."""
    count = round(SECONDS * fps)
    seconds = np.arange(count) / fps
    arm = figure.minimum_jerk((seconds - START) / length)
    chest = figure.minimum_jerk((seconds - START - late) / length)
    angles = {"chest": figure.turn((0, 0, 1), gain * degrees * chest)}
    for side in sides:
        angles[f"upper_arm{side}"] = figure.turn((1, 0, 0), -degrees * arm)
        angles[f"forearm{side}"] = figure.turn((1, 0, 0), -elbow * arm)
    return figure.make_motion(angles, count, fps=fps, **options)


def test_chest_that_turns_with_the_arm_is_clean():
    assert_clean(run(CHECK, swing(0.2)))


@pytest.mark.parametrize("late", [-0.125, 0.0, 0.125])
def test_leading_and_dragging_are_both_clean(late):
    assert_clean(run(CHECK, swing(0.2, late=late)))


def test_welded_chest_is_flagged_at_the_swing():
    (flag,) = run(CHECK, swing(0.0)).flags
    assert (flag.part, flag.code) == ("chest", "stays-with-pelvis")
    assert flag.other_parts == ("upper_arm.R",)
    assert flag.severity is Severity.GLARING
    first, last = 1 + START * 24, 1 + (START + LENGTH) * 24
    assert abs(flag.start - first) <= 2 and abs(flag.end - last) <= 2
    assert abs(flag.peak - (first + last) / 2) <= 2
    # The slow ends of the ease count as pause, so the swing reads a few degrees short of 70.
    assert "right arm swings 6" in flag.message


def test_turning_the_whole_body_is_no_answer_of_the_chest():
    count = round(SECONDS * 24)
    u = (np.arange(count) / 24.0 - START) / LENGTH
    motion = swing(0.0)
    turned = reposing.repose(
        motion, {"root": figure.turn((0, 0, 1), 60.0 * figure.minimum_jerk(u))}
    )
    (flag,) = run(CHECK, turned).flags
    assert flag.code == "stays-with-pelvis"


def test_both_arms_make_one_flag():
    (flag,) = run(CHECK, swing(0.0, sides=(".L", ".R"))).flags
    assert sorted(flag.other_parts) == ["upper_arm.L", "upper_arm.R"]


@pytest.mark.parametrize(
    ("gain", "severity"),
    [
        (0.053, None),
        (0.047, Severity.FAINT),
        (0.032, Severity.FAINT),
        (0.028, Severity.CLEAR),
        (0.017, Severity.CLEAR),
        (0.013, Severity.GLARING),
    ],
)
def test_severity_follows_the_gain(gain, severity):
    flags = run(CHECK, swing(gain)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


@pytest.mark.parametrize(
    ("late", "word"), [(0.125, "frames (0.1"), (-0.125, "before the arm"), (0.125, "after the arm")]
)
def test_flag_says_which_way_the_little_answer_leads(late, word):
    (flag,) = run(CHECK, swing(0.045, late=late)).flags
    assert word in flag.message


def carried(share: float, late: float = 0.0):
    """The chest bends forward and makes `share` of the arm's swing of 70 degrees."""
    count = round(SECONDS * 24)
    seconds = np.arange(count) / 24.0
    chest = figure.minimum_jerk((seconds - START - late) / LENGTH)
    arm = figure.minimum_jerk((seconds - START) / LENGTH)
    return figure.make_motion(
        {
            "chest": figure.turn((1, 0, 0), -70.0 * share * chest),
            "upper_arm.R": figure.turn((1, 0, 0), -70.0 * (1.0 - share) * arm),
            "upper_arm.L": figure.turn((1, 0, 0), 70.0 * share * chest),
        },
        count,
    )


def test_chest_that_makes_the_whole_swing_on_the_same_frame_is_one_block():
    (flag,) = run(CHECK, carried(1.0)).flags
    assert (flag.code, flag.severity) == ("carries-the-arm", Severity.GLARING)


@pytest.mark.parametrize(("share", "severity"), [(0.83, None), (0.87, Severity.FAINT)])
def test_severity_follows_the_share_of_the_chest(share, severity):
    flags = run(CHECK, carried(share)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


@pytest.mark.parametrize(
    "change",
    [{"degrees": 45.0}, {"degrees": 70.0, "length": 1.45}],
    ids=["small swing", "slow swing"],
)
def test_small_and_slow_swings_are_left_alone(change):
    assert_clean(run(CHECK, swing(0.0, **change)))


def test_gesture_from_the_elbow_is_left_alone_and_said_so():
    reading = run(CHECK, swing(0.0, degrees=56.0, elbow=130.0))
    assert reading.flags == ()
    assert any("from the elbow" in entry.reason for entry in reading.not_evaluated)


def test_planted_hand_is_left_alone_and_said_so():
    motion = swing(0.0, degrees=60.0)
    drift = motion.head("hand.R") - motion.head("hand.R")[:1]
    planted = reposing.repose(motion, local_heads={"root": motion.head("root") - drift})
    reading = run(CHECK, planted)
    assert reading.flags == ()
    assert any("planted" in entry.reason for entry in reading.not_evaluated)


def test_missing_parts_are_not_evaluated():
    assert_not_evaluated(run(CHECK, swing(0.0, without=("hips",))), "hips (not mapped)")
    arms = ("upper_arm.L", "upper_arm.R")
    assert_not_evaluated(run(CHECK, swing(0.0, without=arms)), "upper_arm.L (not mapped)")


def test_one_missing_arm_is_said_and_the_other_judged():
    reading = run(CHECK, swing(0.0, without=("upper_arm.L",)))
    assert len(reading.flags) == 1
    assert [entry.part for entry in reading.not_evaluated] == ["upper_arm.L"]


def test_stays_quiet_in_blocking():
    from fettle.core_math.motion import Stage

    assert_not_evaluated(run(CHECK, swing(0.0, stage_override=Stage.BLOCKING)), "blocking")


def test_invariances():
    assert_invariant(
        CHECK, swing(0.0), at_rates={fps: swing(0.0, fps=fps) for fps in (12, 60, 120)}
    )


@pytest.mark.captures
@pytest.mark.parametrize("fps", [None, 24, 25, 30])
@pytest.mark.parametrize("clip", ["01_01", "01_03", "Boxing_Toes"])
def test_captures_are_clean(clip, fps):
    assert_clean(run(CHECK, captures.load(clip, fps)))


@pytest.mark.captures
@pytest.mark.parametrize(
    ("clip", "first", "last"), [("Boxing_Toes", 166, 186), ("01_01", 303, 322)]
)
def test_chest_welded_in_a_capture_is_flagged_there(clip, first, last):
    motion = captures.load(clip, 24)
    trunk = [part for part in motion.parts if part.split("/")[0] in ("spine", "chest")]
    flags = run(CHECK, reposing.hold(motion, trunk, first, last)).flags
    hits = [f for f in flags if f.part == "chest" and f.severity >= Severity.CLEAR]
    assert hits and len(hits) == len(flags)
    assert all(first - 2 <= flag.peak <= last + 2 for flag in hits)
