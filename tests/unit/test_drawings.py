# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Held drawings taken as one sample each: the same movement, at the rate of the drawings."""

import figure
import numpy as np
import pytest

from fettle.core_math.findings import CannotEvaluateError
from fettle.core_math.motion import Stage


def swing(count: int, fps: float, hold: int = 1, late: int = 0):
    """An arm that swings on ones, or holds each pose for `hold` frames from frame `late` on."""
    index = np.maximum((np.arange(count) - late) // hold * hold, 0)
    return figure.make_motion(
        {"upper_arm.L": figure.turn((1, 0, 0), 50.0 * np.sin(index / fps * 4.0))}, count, fps=fps
    )


@pytest.mark.parametrize("hold", [2, 3])
@pytest.mark.parametrize("late", [0, 1])
def test_drawings_are_the_samples_at_which_the_pose_changes(hold, late):
    held = swing(72, 24.0, hold, late)
    assert (held.stage, held.cadence) == (Stage.HELD, hold)
    drawn = held.drawings()
    assert drawn.fps == 24.0 / hold and drawn.cadence == 1
    assert drawn.frame_step == hold and held.frame_step == 1
    begins = np.flatnonzero(np.any(np.diff(held.rotations, axis=0) != 0.0, axis=(1, 2))) + 2
    assert set(begins) <= set(drawn.frames)
    assert np.array_equal(drawn.heads, held.heads[drawn.frames - 1])
    assert np.array_equal(drawn.local_rotations, held.local_rotations[drawn.frames - 1])
    assert held.drawings() is drawn
    rows = held.list_drawings()
    assert held.drawings() is drawn, "what is remembered of the one is not taken for the other"
    assert np.array_equal(held.list_drawings(), rows)


def test_motion_on_ones_is_its_own_drawings():
    motion = swing(48, 24.0)
    assert motion.drawings() is motion


def test_keys_are_found_among_drawings_by_their_frame():
    held = swing(72, 24.0, 3)
    drawn = held.drawings()
    first, second, third = drawn.frames[:3]
    # A key between two drawings shows first on the later one; those outside show nowhere.
    keys = np.array([first, second - 0.5, second + 0.5, 0.0, 99.0])
    assert drawn.list_rows(keys).tolist() == [0, 1, 2]
    assert held.list_rows(keys).tolist() == [first - 1, second - 1, second]
    assert third == second + 3


def test_too_few_drawings_are_no_clean_reading():
    with pytest.raises(CannotEvaluateError, match="24 drawings are too few, it needs 25"):
        swing(72, 24.0, 3).require_drawings(25)
