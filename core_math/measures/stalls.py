# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Valleys of speed: where a path slows down or stops and then goes on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import geometry

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Stalls:
    """Valleys of speed of single paths, one row each.

    Attributes
    ----------
    firsts, lasts : ndarray of int, shape (C,)
        First and last frame that comes too late: the path has not moved on to it.
    columns : ndarray of int, shape (C,)
        Which path.
    losses : ndarray, shape (C,)
        Way missing, in the unit of the path: how much farther the slower side would have gone.
    depths : ndarray, shape (C,)
        Speed in the valley over that of the slower side: 0 stands still.
    likeness : ndarray, shape (C,)
        Cosine between the directions of travel before and after: 1 goes on, -1 turns back.
    sharpness : ndarray, shape (C,)
        Speed right at the edges over what is usual on that side, the lesser one: near 1 the path
        stops and starts within a frame, near 0 it eases.
    """

    firsts: IntArray
    lasts: IntArray
    columns: IntArray
    losses: FloatArray
    depths: FloatArray
    likeness: FloatArray
    sharpness: FloatArray

    @classmethod
    def none(cls) -> Stalls:
        """Return no valleys."""
        rows, numbers = np.zeros(0, dtype=np.int64), np.zeros(0)
        return cls(rows, rows, rows, numbers, numbers, numbers, numbers)

    def select(self, keep: BoolArray) -> Stalls:
        """Return the rows where `keep`, shape (C,), is true."""
        return Stalls(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))


def find_stalls(path: FloatArray, longest: int, side: int, around: int, share: float) -> Stalls:
    """Find valleys of speed in paths.

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
        N paths in D dimensions; quaternions of continuous sign do.
    longest : int
        Most steps a valley may last.
    side : int
        Steps on each side whose mean is the speed before and after.
    around : int
        Steps on each side that tell what speed is usual there.
    share : float
        A valley is slower than this share of the speeds on both sides.
    """
    steps = np.diff(path, axis=0)
    speeds = np.sqrt(np.einsum("tnd,tnd->tn", steps, steps))
    far = longest + side
    bound = share * np.minimum(
        _largest_within(speeds, far), _largest_within(speeds[::-1], far)[::-1]
    )
    slow = (speeds <= bound) & (bound > 0.0)
    slow[:2] = False
    slow[-2:] = False
    edges = np.diff(slow.astype(np.int8), axis=0, prepend=0, append=0)
    columns, firsts = np.nonzero(edges.T == 1)
    _, ends = np.nonzero(edges.T == -1)
    short = ends - firsts <= longest
    columns, firsts, ends = columns[short], firsts[short], ends[short]
    before = mean_steps(path, firsts - side, firsts, columns)
    after = mean_steps(path, ends, ends + side, columns)
    inside = mean_steps(path, firsts, ends, columns)
    fast_before, fast_after = (geometry.lengths(mean) for mean in (before, after))
    slower = np.minimum(fast_before, fast_after)
    here = geometry.lengths(inside)
    product = fast_before * fast_after
    real = (product > 0.0) & (here <= share * slower)
    columns, firsts, ends = columns[real], firsts[real], ends[real]
    slower, here = slower[real], here[real]
    return Stalls(
        firsts=firsts + 1,
        lasts=ends,
        columns=columns,
        losses=(slower - here) * (ends - firsts),
        depths=here / slower,
        likeness=np.einsum("cd,cd->c", before[real], after[real]) / product[real],
        sharpness=np.minimum(
            speeds[firsts - 1, columns] / _usual_speed(speeds, firsts - around, firsts, columns),
            speeds[ends, columns] / _usual_speed(speeds, ends, ends + around, columns),
        ),
    )


def mark_cadence(
    columns: IntArray, firsts: IntArray, lasts: IntArray, among: BoolArray
) -> BoolArray:
    """Mark stalls that follow one another at equal distances: a stretch held on twos or threes.

    Parameters
    ----------
    columns, firsts, lasts : ndarray of int, shape (C,)
    among : ndarray of bool, shape (C,)
        Only these are looked at.

    Returns
    -------
    ndarray of bool, shape (C,)
        True for each of three and more stalls of the same path and length, `length + 1` frames
        from one to the next.
    """
    marked = np.zeros(len(columns), dtype=np.bool_)
    rows = np.flatnonzero(among)
    rows = rows[np.lexsort((firsts[rows], columns[rows]))]
    length = lasts - firsts + 1
    if len(rows) < 3:
        return marked
    one, two = rows[:-1], rows[1:]
    regular = (columns[one] == columns[two]) & (length[one] == length[two])
    regular &= firsts[two] - firsts[one] == length[one] + 1
    thrice = regular[:-1] & regular[1:]
    for shift in range(3):
        marked[rows[shift : len(rows) - 2 + shift][thrice]] = True
    return marked


def mark_copies(
    drawn: IntArray, firsts: IntArray, lasts: IntArray, around: int, fewest: int = 3
) -> BoolArray:
    """Mark stalls on which the whole subject is held, one of several such holds in a row.

    Parameters
    ----------
    drawn : ndarray of int, shape (K,)
        Frames on which the subject shows something new.
    firsts, lasts : ndarray of int, shape (C,)
        Frames of each stall that come too late.
    around : int
        Frames on both sides of a stall that are looked at.
    fewest : int
        Holds of the whole subject there, this one included.

    Returns
    -------
    ndarray of bool, shape (C,)
    """
    held = np.flatnonzero(np.diff(drawn) > 1)
    starts = drawn[held] + 1
    low = np.searchsorted(starts, firsts - around)
    high = np.searchsorted(starts, firsts + around, side="right")
    whole = np.searchsorted(drawn, firsts) == np.searchsorted(drawn, lasts, side="right")
    marked: BoolArray = whole & (high - low >= fewest)
    return marked


def _largest_within(speeds: FloatArray, reach: int) -> FloatArray:
    """Return the largest of the `reach` values before each one along axis 0, 0 for none."""
    # Doubling windows: each pass knows the largest of twice as many.
    known, width = np.zeros_like(speeds), 1
    known[1:] = speeds[:-1]
    while width < reach:
        shift = min(width, reach - width)
        later = known.copy()
        later[shift:] = np.maximum(known[shift:], known[:-shift])
        known, width = later, width + shift
    return known


def mean_steps(path: FloatArray, starts: IntArray, ends: IntArray, columns: IntArray) -> FloatArray:
    """Return the mean step of paths from one frame to another, shape (C, D).

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
    starts, ends : ndarray of int, shape (C,)
        Frames; those before the first or after the last one are drawn in to them.
    columns : ndarray of int, shape (C,)
        Which path.
    """
    low, high = (np.clip(frames, 0, len(path) - 1) for frames in (starts, ends))
    way: FloatArray = path[high, columns] - path[low, columns]
    return way / np.maximum(high - low, 1)[:, np.newaxis]


def _usual_speed(
    speeds: FloatArray, starts: IntArray, ends: IntArray, columns: IntArray
) -> FloatArray:
    """Return the median of speeds start .. end - 1 of some columns, shape (C,); kept inside."""
    if len(columns) == 0:
        return np.zeros(0)
    rows = starts[:, np.newaxis] + np.arange(int((ends - starts).max()))
    inside = (rows >= 0) & (rows < np.minimum(ends, len(speeds))[:, np.newaxis])
    taken = speeds[np.clip(rows, 0, len(speeds) - 1), columns[:, np.newaxis]]
    # What lies outside sorts to the end; of the rest the middle one, or the mean of the middle two.
    rising, count = np.sort(np.where(inside, taken, np.inf), axis=1), inside.sum(axis=1)
    middle = np.maximum(np.stack(((count - 1) // 2, count // 2), axis=1), 0)
    usual = np.take_along_axis(rising, middle, axis=1).mean(axis=1)
    return np.where(usual > 0.0, usual, np.inf)
