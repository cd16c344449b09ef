# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""no-overlap on a braid whose joints follow each other by a known number of frames."""

import captures
import figure
import numpy as np
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.no_overlap import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.motion import Stage

BRAID = "strand:braid_L"


def swing(late_per_joint, *, fps=24.0, seconds=6.0, offset_swings=(), **options):
    """Swing a braid of five joints at 1 Hz; each joint turns `late_per_joint` frames (at 24 fps)
    after the one above it. `offset_swings` names swings that are well offset all the same."""
    count = round(seconds * fps)
    time = np.arange(count) / fps
    angles = {}
    for joint in range(5):
        late = np.full(count, late_per_joint * joint / 24.0)
        for number in offset_swings:
            # Blend the delay in around one turning point, half a second per swing.
            late += joint * 0.05 * np.exp(-(((time - 0.25 - 0.5 * number) / 0.12) ** 2))
        name = f"{BRAID}/{joint + 1}" if joint else BRAID
        angles[name] = figure.turn((1, 0, 0.2), 14.0 * np.sin(2 * np.pi * (time - late)))
    return figure.make_motion(angles, count, fps=fps, **options)


def test_braid_that_turns_over_at_once_is_glaring():
    (flag,) = run(CHECK, swing(0.0)).flags
    assert (flag.part, flag.severity, flag.value) == (BRAID, Severity.GLARING, 100.0)
    assert flag.start <= 14 and flag.end >= 126


def test_braid_offset_by_two_frames_per_joint_is_clean():
    assert_clean(run(CHECK, swing(2.0)))


@pytest.mark.parametrize(("late", "flagged"), [(0.1, True), (0.2, False)])
def test_just_over_and_just_under_half_a_frame(late, flagged):
    # Five joints: four times the delay is the spread, 0.4 or 0.8 of a frame.
    assert bool(run(CHECK, swing(late)).flags) is flagged


def test_severity_falls_with_the_share_of_swings():
    worst = [
        max((f.severity for f in run(CHECK, swing(0.0, offset_swings=out)).flags), default=0)
        for out in ((), (5,), (3, 6, 9), tuple(range(0, 12, 2)))
    ]
    assert worst == sorted(worst, reverse=True)
    assert worst[0] is Severity.GLARING and worst[-1] <= Severity.FAINT


def test_few_swings_are_no_habit():
    assert_clean(run(CHECK, swing(0.0, seconds=2.0)))


def test_still_chains_are_clean_and_short_ones_not_evaluated():
    assert_clean(run(CHECK, figure.make_motion({}, 48)))
    assert_not_evaluated(run(CHECK, swing(0.0, stage_override=Stage.BLOCKING)), "waits")
    hips = figure.make_motion({}, 48, without=("spine", "thigh.L", "thigh.R"))
    assert_not_evaluated(run(CHECK, hips), "at least two joints")


@pytest.mark.captures
@pytest.mark.parametrize("name", ["01_01", "Boxing_Toes"])
@pytest.mark.parametrize("fps", [None, 24.0, 30.0])
def test_captures_are_quiet(name, fps):
    flags = run(CHECK, captures.load(name, fps)).flags
    assert [(f.part, f.start, f.value) for f in flags if f.severity >= Severity.CLEAR] == []


def test_invariances():
    assert_invariant(CHECK, swing(0.0), at_rates={fps: swing(0.0, fps=fps) for fps in (12.0, 60.0)})
