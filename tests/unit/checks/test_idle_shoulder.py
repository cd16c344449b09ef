# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""idle-shoulder on motion of known truth: clean, planted, just under and over, not evaluated."""

import captures
import figure
import numpy as np
import pytest
import reposing
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.idle_shoulder import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.motion import Stage

SECONDS = 3.0
START = 0.5


def raise_arm(
    share: float,
    *,
    top: float = 130.0,
    fps: float = 24.0,
    side: str = ".R",
    start: float = START,
    down: float | None = None,
    bow: float = 0.0,
    shrug: float = 10.0,
    **options,
):
    """Raise an arm sideways to `top` degrees in 0.8 s; the clavicle makes `share` of it. At the end
    both shoulders shrug a little, so that the clavicles are no dead bones."""
    count = round(SECONDS * fps)
    seconds = np.arange(count) / fps
    rise = figure.minimum_jerk((seconds - start) / 0.8)
    if down is not None:
        rise = rise - figure.minimum_jerk((seconds - down) / 0.8)
    lift = shrug * figure.minimum_jerk((seconds - SECONDS + 0.4) / 0.3)
    other, sign = (".L", 1.0) if side == ".R" else (".R", -1.0)
    angles = {
        f"shoulder{other}": figure.turn((0, 1, 0), -sign * lift),
        f"shoulder{side}": figure.turn((0, 1, 0), sign * (share * top * rise + lift)),
        f"upper_arm{side}": figure.turn((0, 1, 0), sign * (1.0 - share) * top * rise),
        "root": figure.turn((1, 0, 0), bow * rise),
    }
    return figure.make_motion(angles, count, fps=fps, **options)


@pytest.mark.parametrize("ratio", [2.3, 2.7])
def test_published_rhythm_is_clean(ratio):
    # Braman et al. 2009: arm on scapula to scapula 2.3 to 1 raising, 2.7 to 1 lowering.
    assert_clean(run(CHECK, raise_arm(1.0 / (1.0 + ratio))))


def test_arm_raised_out_of_a_still_shoulder_is_flagged_at_the_raise():
    (flag,) = run(CHECK, raise_arm(0.0)).flags
    assert (flag.part, flag.code) == ("shoulder.R", "arm-without-clavicle")
    assert flag.other_parts == ("upper_arm.R",)
    assert flag.severity is Severity.GLARING
    # The arm passes 60 of 130 degrees 0.47 of the way through a minimum-jerk rise of 0.8 s.
    assert abs(flag.start - (1 + 24 * (START + 0.47 * 0.8))) <= 2
    assert abs(flag.end - (1 + 24 * (START + 0.8))) <= 3


def test_clavicles_that_never_turn_are_one_flag_and_no_more_than_clear():
    rise = raise_arm(0.0, shrug=0.0)
    left = raise_arm(0.0, shrug=0.0, side=".L")
    row = rise.index("upper_arm.L")
    both = reposing.repose(rise, {"upper_arm.L": left.local_rotations[:, row]})
    (flag,) = run(CHECK, both).flags
    assert flag.severity is Severity.CLEAR and "never turns" in flag.message
    assert {flag.part, *flag.other_parts} >= {"shoulder.L", "shoulder.R"}


@pytest.mark.parametrize(
    ("share", "severity"),
    [
        (0.11, None),
        (0.095, Severity.FAINT),
        (0.055, Severity.FAINT),
        (0.045, Severity.CLEAR),
        (0.023, Severity.CLEAR),
        (0.017, Severity.GLARING),
    ],
)
def test_severity_follows_the_share(share, severity):
    flags = run(CHECK, raise_arm(share)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


@pytest.mark.parametrize(("top", "found"), [(59.0, False), (78.0, False), (84.0, True)])
def test_only_raises_past_sixty_degrees_count(top, found):
    assert bool(run(CHECK, raise_arm(0.0, top=top)).flags) is found


def test_bowing_is_no_raise():
    assert_clean(run(CHECK, raise_arm(0.0, top=40.0, bow=80.0)))


def test_raising_and_lowering_again_make_one_flag():
    (flag,) = run(CHECK, raise_arm(0.0, down=1.7)).flags
    assert "2 times" in flag.message


def test_rig_without_clavicles_is_not_evaluated():
    # The arms hang on the chest itself when the clavicles are not mapped.
    motion = raise_arm(0.0)
    keep = [i for i, part in enumerate(motion.parts) if not part.startswith("shoulder")]
    parents = []
    for i in keep:
        parent = motion.parents[i]
        while parent >= 0 and parent not in keep:
            parent = motion.parents[parent]
        parents.append(keep.index(parent) if parent >= 0 else -1)
    bare = figure.build_motion(
        subject="Figure",
        frames=motion.frames,
        fps=24.0,
        parts=[motion.parts[i] for i in keep],
        parents=parents,
        heads=motion.heads[:, keep],
        tails=motion.tails[:, keep],
        rotations_wxyz=motion.rotations[:, keep],
    )
    assert_not_evaluated(run(CHECK, bare), "shoulder.L (not mapped)")


def test_clavicle_that_only_connects_is_not_evaluated():
    motion = raise_arm(0.0, shrug=0.0)
    joint = np.zeros((motion.frame_count, 3))
    linked = reposing.repose(motion, local_heads={"shoulder.L": joint, "shoulder.R": joint})
    assert_not_evaluated(run(CHECK, linked), "only connects")


def test_one_missing_clavicle_is_said_and_the_other_judged():
    reading = run(CHECK, raise_arm(0.0, without=("shoulder.L",)))
    assert [flag.part for flag in reading.flags] == ["shoulder.R"]
    assert [entry.part for entry in reading.not_evaluated] == ["shoulder.L"]


def test_waits_in_blocking():
    assert_not_evaluated(run(CHECK, raise_arm(0.0, stage_override=Stage.BLOCKING)), "blocking")


def test_invariances():
    rates = {fps: raise_arm(0.0, fps=fps) for fps in (12, 60, 120)}
    assert_invariant(CHECK, raise_arm(0.0), at_rates=rates)


@pytest.mark.captures
@pytest.mark.parametrize("fps", [None, 24, 25, 30])
def test_capture_with_clavicles_is_clean(fps):
    assert_clean(run(CHECK, captures.load("Boxing_Toes", fps)))


@pytest.mark.captures
@pytest.mark.parametrize("clip", ["01_01", "01_03"])
def test_captures_whose_clavicles_only_connect_are_not_evaluated(clip):
    assert_not_evaluated(run(CHECK, captures.load(clip, 24)), "only connects")


@pytest.mark.captures
@pytest.mark.parametrize(("side", "first", "last"), [(".L", 220, 227), (".R", 79, 91)])
def test_clavicle_frozen_in_a_capture_is_flagged_there(side, first, last):
    motion = captures.load("Boxing_Toes", 24)
    flags = run(CHECK, reposing.hold(motion, [f"shoulder{side}"], first, last)).flags
    hits = [f for f in flags if f.severity >= Severity.CLEAR]
    assert [flag.part for flag in hits] == [f"shoulder{side}"]
    assert first - 2 <= hits[0].peak <= last + 2
