# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Swings of a limb: the windows between its turning points, and how far something turns in one.

A limb's swing is read off its direction (joint to joint), so neither its own twist nor the axes
and roll of its bone matter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import rotations, series

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

REST_RATE = 8.0  # deg/s: a limb that turns slower rests, and asks for no answer
LONGEST_STILL = 0.75  # s: a still follower is followed this far beyond the swing
STILL_BEND = 0.5  # degrees, and twice the follower's turn in the swing: still


@dataclass(frozen=True)
class Swing:
    """One move between two turning points; indices of frames, both included.

    `degrees` is the way turned, `chord` the angle between both ends (smaller where the path
    curves), `peak` the frame with the fastest step and `peak_rate` its degrees per second.
    """

    first: int
    last: int
    peak: int
    degrees: float
    chord: float
    peak_rate: float


def unit_directions(start: FloatArray, end: FloatArray) -> FloatArray:
    """Return unit vectors from `start` to `end`, shapes (F, 3); zero where the two coincide."""
    vectors = end - start
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return vectors / np.where(length > 0.0, length, 1.0)


def seen_from(frame: FloatArray, vectors: FloatArray) -> FloatArray:
    """Return world vectors, shape (F, 3), in the axes of a turning part, rotations (F, 4)."""
    return rotations.rotate(rotations.conjugate(frame), vectors)


def smooth_directions(directions: FloatArray, fps: float, cutoff_hz: float) -> FloatArray:
    """Smooth unit vectors over time (see `series.smooth`) and bring them back to unit length."""
    smoothed = series.smooth(directions, fps, cutoff_hz)
    return unit_directions(np.zeros_like(smoothed), smoothed)


def smooth_rotations(q: FloatArray, fps: float, cutoff_hz: float) -> FloatArray:
    """Smooth rotations of continuous sign, shape (F, 4), and bring them back to unit length."""
    return rotations.normalize(series.smooth(q, fps, cutoff_hz))


def direction_steps(directions: FloatArray) -> FloatArray:
    """Return the turn from each direction to the next as rotation vectors.

    Parameters
    ----------
    directions : ndarray, shape (F, 3)
        Unit vectors; zero vectors do not turn.

    Returns
    -------
    ndarray, shape (F - 1, 3), degrees per frame
    """
    axis = np.cross(directions[:-1], directions[1:])
    sine = np.linalg.norm(axis, axis=-1)
    cosine = np.sum(directions[:-1] * directions[1:], axis=-1)
    turned = np.degrees(np.arctan2(sine, cosine)) * ((sine > 0.0) | (cosine != 0.0))
    return axis * (turned / np.where(sine > 1e-15, sine, 1.0))[:, np.newaxis]


def find_swings(
    steps: FloatArray, fps: float, *, least_degrees: float, still_rate: float, dip: float = 0.5
) -> list[Swing]:
    """Cut a turning limb into its swings.

    A swing ends where the limb turns slower than `still_rate`, where its turn reverses, and where
    its rate falls under `dip` times the lower of the peaks on both sides.

    Parameters
    ----------
    steps : ndarray, shape (F - 1, 3)
        Turn from each frame to the next as rotation vectors, degrees per frame (smooth them
        first: noise has turning points too).
    fps : float
    least_degrees : float
        Smaller swings are left out.
    still_rate : float, degrees per second
    dip : float
        0 never cuts at a dip, 1 at every one.

    Returns
    -------
    list of Swing
        In order; none overlap.
    """
    rate = np.linalg.norm(steps, axis=-1) * fps
    swings: list[Swing] = []
    for first, last in series.find_runs(rate > still_rate):
        cuts = _find_cuts(steps[first : last + 1], rate[first : last + 1], dip)
        edges = [first, *(first + cut for cut in cuts), last + 1]
        for low, high in zip(edges, edges[1:], strict=False):
            degrees = float(rate[low:high].sum()) / fps
            if high > low and degrees >= least_degrees:
                fastest = low + int(np.argmax(rate[low:high]))
                swings.append(
                    Swing(
                        first=low,
                        last=high,
                        peak=fastest,
                        degrees=degrees,
                        chord=float(np.linalg.norm(steps[low:high].sum(axis=0))),
                        peak_rate=float(rate[fastest]),
                    )
                )
    return swings


def core(steps: FloatArray, swing: Swing, share: float) -> tuple[int, int]:
    """Return the frames of a swing without the first and last `share` of its turn.

    Parameters
    ----------
    steps : ndarray, shape (F - 1, 3)
        The steps the swing was found in.
    """
    turned = np.cumsum(np.linalg.norm(steps[swing.first : swing.last], axis=-1))
    inside = np.flatnonzero((turned > share * turned[-1]) & (turned < (1.0 - share) * turned[-1]))
    if len(inside) == 0:
        return swing.first, swing.last
    return swing.first + int(inside[0]), swing.first + int(inside[-1]) + 1


def turned_degrees(steps: FloatArray, first: int, last: int) -> float:
    """Return the way turned between two frames, steps (F - 1, 3) in degrees."""
    return float(np.linalg.norm(steps[first:last], axis=-1).sum())


def excursion(points: FloatArray) -> float:
    """Return about the largest distance between two points of a path, shape (N, D).

    Exact on a line and for N = 2, never more than the true one, and at least 1 / sqrt(3) of it:
    from the point farthest from the first one to the point farthest from that.
    """
    if len(points) < 2:
        return 0.0
    far = int(np.argmax(np.linalg.norm(points - points[0], axis=-1)))
    return float(np.max(np.linalg.norm(points - points[far], axis=-1)))


def turn_range(q: FloatArray) -> float:
    """Return about the largest angle between two rotations of a stretch, degrees, (N, 4).

    As `excursion`: from the rotation farthest from the first one to the one farthest from that.
    """
    if len(q) < 2:
        return 0.0
    far = int(np.argmax(_chords(q, q[0])))
    return float(np.degrees(4.0 * np.arcsin(0.5 * np.max(_chords(q, q[far])))))


def still_span(
    q: FloatArray, moving: BoolArray, swing: Swing, within: tuple[int, int], fps: float
) -> tuple[int, int]:
    """Return the frames around a swing on which a follower that gives nothing stays as it is.

    Parameters
    ----------
    q : ndarray, shape (F, 4)
        The follower's rotations.
    moving : ndarray of bool, shape (F - 1,)
        Steps in which the driver moves: while it rests nothing is asked of the follower.
    swing : Swing
    within : tuple of int and int
        The frames of the swing over which the follower's turn was measured, see `core`.
    fps : float

    Returns
    -------
    tuple of int and int
        Both included, never inside the swing.
    """
    turned = turn_range(q[within[0] : within[1] + 1])
    first, last = grow_still(q, *within, STILL_BEND + 2.0 * turned, round(LONGEST_STILL * fps))
    seen = first + np.flatnonzero(moving[first:last])
    if len(seen) == 0:
        return swing.first, swing.last
    return min(int(seen[0]), swing.first), max(int(seen[-1]) + 1, swing.last)


def grow_still(
    q: FloatArray, first: int, last: int, tolerance: float, longest: int
) -> tuple[int, int]:
    """Return the frames around a stretch on which rotations stay as they are in it.

    Parameters
    ----------
    q : ndarray, shape (F, 4)
    first, last : int
        The stretch, both frames included.
    tolerance : float, degrees
        How far a rotation may lie from that at the stretch's nearer end.
    longest : int
        Frames to look at beyond either end.
    """
    low, high = max(0, first - longest), min(len(q), last + 1 + longest)
    before = rotations.angle_between(q[low:first], q[first]) > tolerance
    after = rotations.angle_between(q[last + 1 : high], q[last]) > tolerance
    start = low + int(np.flatnonzero(before)[-1]) + 1 if before.any() else low
    end = last + int(np.flatnonzero(after)[0]) if after.any() else high - 1
    return start, end


def _chords(q: FloatArray, other: FloatArray) -> FloatArray:
    """Return the distance of unit quaternions from one, of either sign: 2 sin(angle / 4)."""
    lengths = np.minimum(np.sum((q - other) ** 2, -1), np.sum((q + other) ** 2, -1))
    return np.asarray(np.sqrt(np.minimum(lengths, 2.0)))


def _find_cuts(steps: FloatArray, rate: FloatArray, dip: float) -> list[int]:
    """Return the steps at which a new swing begins inside a run of movement."""
    cuts = [int(i) + 1 for i in np.flatnonzero(np.sum(steps[1:] * steps[:-1], axis=-1) < 0.0)]
    minima = np.flatnonzero((rate[1:-1] < rate[:-2]) & (rate[1:-1] <= rate[2:])) + 1
    edges = [0, *cuts, len(rate)]
    for low, high in zip(edges, edges[1:], strict=False):
        start = low
        for place in minima[(minima > low) & (minima < high - 1)]:
            before, after = rate[start:place].max(), rate[place:high].max()
            if rate[place] < dip * min(before, after):
                cuts.append(int(place))
                start = int(place)
    return sorted(cuts)
