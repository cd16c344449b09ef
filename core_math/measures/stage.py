# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What kind of animation this is: held on twos or threes, stepped poses, or moving on ones."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

STILL_SHARE = 1e-3
"""A step counts as held when it is under this share of the typical moving step."""

LONGEST_CADENCE = 4
"""Frames per drawing: ones, twos, threes and fours are what the trade uses (common practice)."""

LONGEST_DRAWING = 3
"""Frames a drawing of stepped animation lasts at most; key poses lie farther apart (practice)."""

REGULAR_SHARE = 0.8
"""Share of drawings that must last the same number of frames to speak of a cadence."""

HELD_SHARE = 0.7
"""Share of drawings held for two frames and more to speak of one without a regular beat: mixed
twos, threes and longer holds, with ones where the action is fast (common practice)."""

BEAT_SHARE = 0.4
"""Share of drawings that last as long as most do, all the same: key poses have no beat."""


def find_held_steps(steps: FloatArray) -> BoolArray:
    """Say which frame-to-frame steps of a whole body are held.

    Parameters
    ----------
    steps : ndarray, shape (F - 1,)
        Any non-negative amount of change of the whole subject from frame to frame.

    Returns
    -------
    ndarray of bool, shape (F - 1,)
    """
    moving = steps[steps > 0.0]
    if len(moving) == 0:
        return np.ones(len(steps), dtype=np.bool_)
    return steps <= STILL_SHARE * float(np.median(moving))


def are_key_poses(frames: Sequence[FloatArray], stepped: Sequence[BoolArray]) -> bool:
    """Say whether keys are stepped key poses, as in blocking.

    Most keys hold their value, and they lie apart: stepped keys on every frame, or on every second
    or third, are drawings of finished animation, or what an exporter writes.

    Parameters
    ----------
    frames : sequence of ndarray, shape (K,)
        Key frames of each part, rising.
    stepped : sequence of ndarray of bool, shape (K,)
        Which of them hold their value until the next.
    """
    if not stepped or stepped_share(np.concatenate(stepped)) <= 0.5:
        return False
    apart = np.concatenate([np.diff(own) for own in frames])
    return len(apart) == 0 or float(np.median(apart)) > LONGEST_DRAWING


def find_cadence(steps: FloatArray) -> int:
    """Return how many frames each drawing lasts: 1 when it moves on ones, 2 on twos, ...

    Parameters
    ----------
    steps : ndarray, shape (F - 1,)
        Change of the whole subject from frame to frame.

    Returns
    -------
    int
        1 when there is no regular cadence (also for still subjects, or fewer than four changes).
    """
    changes = np.flatnonzero(~find_held_steps(steps))
    if len(changes) < 4:
        return 1
    gaps = np.diff(changes)
    counts = np.bincount(np.minimum(gaps, LONGEST_CADENCE + 1), minlength=LONGEST_CADENCE + 2)
    best = int(np.argmax(counts[: LONGEST_CADENCE + 1]))
    # A drawing may be held over several beats (a hold on twos lasts 2, 4, 6 ... frames).
    regular = np.count_nonzero(gaps % max(best, 1) == 0) >= REGULAR_SHARE * len(gaps)
    mixed = np.count_nonzero((gaps > 1) & (gaps <= 2 * LONGEST_CADENCE)) >= HELD_SHARE * len(gaps)
    mixed &= counts[best] >= BEAT_SHARE * len(gaps)
    return best if best > 1 and (regular or mixed) else 1


def list_drawings(steps: FloatArray) -> IntArray:
    """Return the frames (indices) on which something new is shown, frame 0 included.

    Parameters
    ----------
    steps : ndarray, shape (F - 1,)
        Change of the whole subject from frame to frame.
    """
    return np.concatenate(([0], 1 + np.flatnonzero(~find_held_steps(steps)))).astype(np.int64)


def stepped_share(stepped: BoolArray) -> float:
    """Return which share of the keys holds its value until the next one; 0 without keys."""
    return float(np.mean(stepped)) if len(stepped) else 0.0
