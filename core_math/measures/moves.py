# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Moves that start from rest and come to rest: onset, peak and end, to a fraction of a frame.

Onset and end follow the conventional rule of movement research, a share of the move's own peak
speed (2 to 5 percent of it is used in upper-limb studies): a bell-shaped profile starts so softly
that its first frames cannot be seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import geometry, rotations, series

FloatArray = NDArray[np.float64]

ONSET_SHARE = 0.05
"""Share of its peak speed at which a move starts and ends."""

REST_SHARE = 0.2
"""Share of the speeds around under which a part rests (a moving hold drifts, common practice)."""


@dataclass(frozen=True)
class Move:
    """One move; `first`, `peak` and `last` are frame indices, `onset` and `end` between frames.

    `rest_before` and `rest_after` tell how many frames the part rests on either side, `peak_speed`
    is per second in the unit of the speeds given.
    """

    first: int
    last: int
    peak: int
    onset: float
    end: float
    peak_speed: float
    rest_before: int
    rest_after: int


def find_moves(
    speed: FloatArray,
    *,
    least_peak: float,
    rest: int,
    around: int,
    rest_share: float = REST_SHARE,
    onset_share: float = ONSET_SHARE,
) -> list[Move]:
    """Find the moves in a speed profile that are kept apart by rests.

    Parameters
    ----------
    speed : ndarray, shape (F,)
        Speed at each frame, not negative.
    least_peak : float
        Moves that never get faster than this are left out.
    rest : int
        Fewest frames of rest that separate two moves. The turning point of a swing is shorter, so
        what swings on without a pause is one move.
    around : int
        Frames to either side whose highest speed tells what rest means there: a moving hold drifts
        on, slowly.
    rest_share : float
        Share of that highest speed under which a part rests.
    onset_share : float
        Share of a move's own peak (over what it drifts at in the rest) at which it starts and ends.

    Returns
    -------
    list of Move
        In order.
    """
    if len(speed) == 0:
        return []
    highest = np.maximum(_highest_around(speed, around), least_peak)
    moving = series.close_gaps(speed > rest_share * highest, max(0, rest - 1))
    runs = [
        (first, last)
        for first, last in series.find_runs(moving)
        if speed[first : last + 1].max() >= least_peak > 0.0
    ]
    found: list[Move] = []
    for number, (first, last) in enumerate(runs):
        low = runs[number - 1][1] + 1 if number else 0
        high = runs[number + 1][0] - 1 if number + 1 < len(runs) else len(speed) - 1
        peak = first + int(np.argmax(speed[first : last + 1]))
        before, after = speed[low : first + 1], speed[last : high + 1]
        # A frame of rest between two moves belongs to one of them.
        bound = max(low, found[-1].last + 1) if found else low
        start, onset = _edge(speed, first, peak, float(before.min()), onset_share, bound)
        stop, end = _edge(speed, last, peak, float(after.min()), onset_share, high)
        found.append(
            Move(
                first=start,
                last=stop,
                peak=peak,
                onset=onset,
                end=end,
                peak_speed=float(speed[peak]),
                rest_before=first - low,
                rest_after=high - last,
            )
        )
    return found


def travel_speed(
    positions: FloatArray, frame_positions: FloatArray, frame_rotations: FloatArray, fps: float
) -> FloatArray:
    """Return the speed of a point as seen from a moving part, shape (F,), metres per second.

    Parameters
    ----------
    positions, frame_positions : ndarray, shape (F, 3), metres
    frame_rotations : ndarray, shape (F, 4)
    """
    seen = rotations.rotate(rotations.conjugate(frame_rotations), positions - frame_positions)
    return np.asarray(geometry.lengths(series.central_velocity(seen, fps)))


def turn_speed(turned: FloatArray, frame_rotations: FloatArray, fps: float) -> FloatArray:
    """Return how fast a part turns as seen from another, shape (F,), degrees per second.

    Parameters
    ----------
    turned, frame_rotations : ndarray, shape (F, 4)
        Unit quaternions; the rate of a unit quaternion is half the angular velocity.
    """
    seen = rotations.make_continuous(rotations.relative(frame_rotations, turned))
    rate = geometry.lengths(series.central_velocity(seen, fps))
    return np.asarray(np.degrees(2.0 * rate))


def _highest_around(speed: FloatArray, around: int) -> FloatArray:
    """Return the highest speed within `around` frames of each frame, in time linear in both."""
    padded = np.pad(speed, around, mode="edge")
    result = padded[: len(speed)].copy()
    span, window = 1, 2 * around + 1
    table = padded
    # Maxima over windows of doubling length; two overlapping ones cover any length.
    while 2 * span <= window:
        table = np.maximum(table[: len(table) - span], table[span:])
        span *= 2
    rest = window - span
    result = np.maximum(table[: len(speed)], table[rest : rest + len(speed)])
    return result


def _edge(
    speed: FloatArray, run_end: int, peak: int, drift: float, share: float, outermost: int
) -> tuple[int, float]:
    """Find the frame, and the time, at which a move begins or ends, near the end of its run."""
    limit = drift + share * (float(speed[peak]) - drift)
    way = -1 if outermost <= run_end <= peak else 1
    frame = run_end
    while frame != peak and speed[frame] < limit:
        frame -= way
    while frame != outermost and speed[frame + way] >= limit:
        frame += way
    if frame == outermost or speed[frame] <= speed[frame + way]:
        return frame, float(frame)
    part = (speed[frame] - limit) / (speed[frame] - speed[frame + way])
    return frame, frame + way * float(np.clip(part, 0.0, 1.0))
