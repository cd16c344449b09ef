# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How high the floor is, read off the feet that stand on it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from . import geometry, series

FloatArray = NDArray[np.float64]

FLOOR_SHARE = 0.06
"""Feet whose lowest stand is within this share of body size of height 0 stand on the scene's floor
(the ankle alone lies 0.039 of stature above the sole: Drillis & Contini 1966, from memory)."""

STILL_SPEED = 0.15
"""Body sizes per second below which a foot counts as standing (common practice)."""


def find_ground_height(
    parts: Sequence[str], heads: FloatArray, tails: FloatArray, fps: float, height: float
) -> float:
    """Return the height of the ground, metres.

    It is 0, the floor of the scene, unless the feet stand somewhere else altogether: then it is
    the lowest level on which one of them comes to rest.

    Parameters
    ----------
    parts : sequence of str, length P
    heads, tails : ndarray, shape (F, P, 3), metres
    fps : float
    height : float, metres
        Body size.
    """
    rows = [
        row for row, part in enumerate(parts) if part.startswith(("foot.", "toe.")) and fps > 0.0
    ]
    points = np.concatenate((heads[:, rows], tails[:, rows]), axis=1)
    if points.shape[1] == 0 or len(points) < 2 or not height > 0.0:
        return 0.0
    steps = geometry.lengths(np.diff(points, axis=0)) * fps
    still = steps < STILL_SPEED * height
    levels = 0.5 * (points[1:, :, 2] + points[:-1, :, 2])
    resting = levels[still & np.isfinite(levels)]
    if not len(resting):
        return 0.0
    # One stray sample is no floor: the lowest twentieth of the stands decides.
    level = float(np.quantile(resting, 0.05))
    return 0.0 if abs(level) <= FLOOR_SHARE * height else level


def find_shifts(heights: FloatArray, least: float, shortest: int) -> list[tuple[int, int, float]]:
    """Find the stretches in which points that stand lie off their usual height, all the same way.

    Parameters
    ----------
    heights : ndarray, shape (F, P), metres
        Heights of P points of one foot while it stands.
    least : float, metres
        What every point must be off by.
    shortest : int
        Fewest frames.

    Returns
    -------
    list of (first, last, offset)
        Indices, and the offset kept for `shortest` frames, of the point that is off least; up
        positive.
    """
    off = heights - np.median(heights, axis=0)
    shift = np.maximum(off.min(axis=1), 0.0) + np.minimum(off.max(axis=1), 0.0)
    found = []
    for sign in (1.0, -1.0):
        for first, last in series.find_runs(sign * shift >= least):
            if last - first + 1 >= shortest:
                kept = np.sort(sign * shift[first : last + 1])[-shortest]
                found.append((first, last, sign * float(kept)))
    return sorted(found)


NEAR_SHARE = 0.05
"""A foot this share of body size above its lowest place around is near the ground."""

NEAR_SECONDS = 1.0
"""How far around a frame the lowest place of a foot is looked for."""


def is_foot_near_ground(
    part: str, head: FloatArray, tail: FloatArray, frame: int, fps: float, height: float
) -> bool:
    """Say whether a part is a foot or toe that is near the ground; False for any other part.

    Parameters
    ----------
    part : str
    head, tail : ndarray, shape (F, 3), metres
        Its joint and its end.
    frame, fps, height
        As for `is_near_ground`.
    """
    if not part.startswith(("foot", "toe")):
        return False
    return is_near_ground(np.minimum(head[:, 2], tail[:, 2]), frame, fps, height)


def is_near_ground(lows: FloatArray, frame: int, fps: float, height: float) -> bool:
    """Say whether a foot is near the ground it lands on or leaves around a frame.

    Parameters
    ----------
    lows : ndarray, shape (F,), metres
        Height of the foot's lower end.
    frame : int
    fps, height : float
        Frames per second; body size in metres.
    """
    wide, close = round(NEAR_SECONDS * fps), max(2, round(fps / 12.0))
    lowest = lows[max(0, frame - wide) : frame + wide + 1].min()
    here = lows[max(0, frame - close) : frame + close + 1].min()
    return bool(here - lowest <= NEAR_SHARE * height)
