# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Swings of a limb: the windows between its turning points, and how far something turns in one.

A limb's swing is read off its direction (joint to joint), so neither its own twist nor the axes
and roll of its bone matter.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from . import geometry, rotations, series

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

REST_RATE = 8.0  # deg/s: a limb that turns slower rests, and asks for no answer
LONGEST_STILL = 0.75  # s: a still follower is followed this far beyond the swing
STILL_BEND = 0.5  # degrees, and twice the follower's turn in the swing: still


@dataclass(frozen=True)
class Swing:
    """One move between two turning points; indices of frames, both included.

    `degrees` is the way turned, `peak` the frame with the fastest step and `peak_rate` its
    degrees per second.
    """

    first: int
    last: int
    peak: int
    degrees: float
    peak_rate: float


@dataclass(frozen=True, eq=False)
class Cores:
    """Swings without their slow ends, one entry for each: frames, both included, and way turned."""

    firsts: IntArray
    lasts: IntArray
    degrees: FloatArray


def unit_directions(start: FloatArray, end: FloatArray) -> FloatArray:
    """Return unit vectors from `start` to `end`, shapes (F, 3); zero where the two coincide."""
    vectors = end - start
    length = geometry.lengths(vectors)[..., np.newaxis]
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
    axis = geometry.cross(directions[:-1], directions[1:])
    sine = geometry.lengths(axis)
    cosine = geometry.dots(directions[:-1], directions[1:])
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
    rate = geometry.lengths(steps) * fps
    turned = _add_up(rate / fps)
    swings: list[Swing] = []
    for first, last in series.find_runs(rate > still_rate):
        cuts = _find_cuts(steps[first : last + 1], rate[first : last + 1], dip)
        edges = [first, *(first + cut for cut in cuts), last + 1]
        for low, high in zip(edges, edges[1:], strict=False):
            degrees = float(turned[high] - turned[low])
            if high > low and degrees >= least_degrees:
                fastest = low + int(rate[low:high].argmax())
                swings.append(Swing(low, high, fastest, degrees, float(rate[fastest])))
    return swings


def find_cores(steps: FloatArray, found: Sequence[Swing], share: float) -> Cores:
    """Leave out the first and last `share` of each swing's turn, where neighbours leak in.

    Parameters
    ----------
    steps : ndarray, shape (F - 1, 3)
        The steps the swings were found in, degrees per frame.
    found : sequence of Swing
    share : float
        Under one half. A swing of which nothing would be left stays whole.

    Returns
    -------
    Cores
    """
    way = _add_up(geometry.lengths(steps))
    firsts = np.array([swing.first for swing in found], dtype=np.int64)
    lasts = np.array([swing.last for swing in found], dtype=np.int64)
    starts, turned = way[firsts], way[lasts] - way[firsts]
    # What was turned after each step tells whether the step lies inside.
    inner = np.searchsorted(way[1:], starts + share * turned, side="right")
    outer = np.searchsorted(way[1:], starts + (1.0 - share) * turned, side="left")
    left = inner < outer
    firsts, lasts = np.where(left, inner, firsts), np.where(left, outer, lasts)
    return Cores(firsts, lasts, way[lasts] - way[firsts])


def _add_up(lengths: FloatArray) -> FloatArray:
    """Return what has been gone before each step and in the end, shape (F,) from (F - 1,)."""
    total = np.zeros(len(lengths) + 1)
    np.cumsum(lengths, out=total[1:])
    return total


def excursion(points: FloatArray) -> float:
    """Return about the largest distance between two points of a path, shape (N, D).

    Exact on a line and for N = 2, never more than the true one, and at least 1 / sqrt(3) of it:
    from the point farthest from the first one to the point farthest from that.
    """
    if len(points) < 2:
        return 0.0
    far = int(np.argmax(geometry.lengths(points - points[0])))
    return float(np.max(geometry.lengths(points - points[far])))


def turn_range(q: FloatArray) -> float:
    """Return about the largest angle between two rotations of a stretch, degrees, (N, 4).

    As `excursion`: from the rotation farthest from the first one to the one farthest from that.
    """
    if len(q) < 2:
        return 0.0
    # The farther apart two rotations, the smaller the product of their quaternions.
    one = q[np.abs(q @ q[0]).argmin()]
    other = q[np.abs(q @ one).argmin()]
    apart, together = one - other, one + other
    # As `rotations.angle_between`, which takes far longer for a single pair.
    squared = min(float(apart @ apart), float(together @ together))
    return math.degrees(4.0 * math.asin(min(0.5 * math.sqrt(squared), 1.0)))


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


def _find_cuts(steps: FloatArray, rate: FloatArray, dip: float) -> list[int]:
    """Return the steps at which a new swing begins inside a run of movement."""
    cuts = [int(i) + 1 for i in np.flatnonzero(geometry.dots(steps[1:], steps[:-1]) < 0.0)]
    minima = (np.flatnonzero((rate[1:-1] < rate[:-2]) & (rate[1:-1] <= rate[2:])) + 1).tolist()
    edges, rates = [0, *cuts, len(rate)], rate.tolist()
    for low, high in zip(edges, edges[1:], strict=False):
        inside = minima[bisect_right(minima, low) : bisect_left(minima, high - 1)]
        if not inside:
            continue
        # The highest rate from each step to the end, and from the last cut to here.
        after = list(accumulate(reversed(rates[low:high]), max))[::-1]
        before, seen = 0.0, low
        for place in inside:
            before, seen = max(before, *rates[seen:place]), place
            if rates[place] < dip * min(before, after[place - low]):
                cuts.append(place)
                before = 0.0
    return sorted(cuts)
