# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Frames that leave a path and come back, found wherever they are.

The fit is that of `spike_fit`, the rating that of `spike_rating`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import geometry
from .spike_fit import (
    BUMP,
    LONG_BUMP,
    ONE_FRAME,
    ORDER,
    THREE_FRAMES,
    TWO_FRAMES,
    Shape,
    find_best_fits,
    find_heights,
    find_peaks,
    height_at,
    make_template,
)
from .spike_rating import miss_all_paths, rate_against, rate_heights

__all__ = [
    "BUMP",
    "LONG_BUMP",
    "ONE_FRAME",
    "ORDER",
    "THREE_FRAMES",
    "TWO_FRAMES",
    "Shape",
    "Spikes",
    "find_all_spikes",
    "find_end_spikes",
    "find_flashes",
    "find_heights",
    "find_jumps",
    "find_peaks",
    "find_spikes",
    "height_at",
    "join_spikes",
    "list_strides",
    "make_tangents",
    "make_template",
    "miss_all_paths",
    "place_on_frames",
    "rate_ends",
    "rate_heights",
    "rate_near",
    "split_phases",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Spikes:
    """Jumps of single paths, one row each.

    Attributes
    ----------
    firsts, lasts : ndarray of int, shape (C,)
        First and last frame that is off, as indices of frames.
    columns : ndarray of int, shape (C,)
        Which path.
    heights : ndarray, shape (C, D)
        By how much and which way, in the unit of the path.
    sizes : ndarray, shape (C,)
        Length of the heights.
    ratings : ndarray, shape (C,)
        How far they stand out (see `rate_heights`).
    misses : ndarray, shape (C,)
        By how much they miss every path (see `miss_all_paths`), where shapes begin and end with
        a share of their height scaled up to all of it.
    """

    firsts: IntArray
    lasts: IntArray
    columns: IntArray
    heights: FloatArray
    sizes: FloatArray
    ratings: FloatArray
    misses: FloatArray

    @classmethod
    def none(cls, dimensions: int) -> Spikes:
        """Return no jumps, of paths in so many dimensions."""
        rows, numbers = np.zeros(0, dtype=np.int64), np.zeros(0)
        return cls(rows, rows, rows, np.zeros((0, dimensions)), numbers, numbers, numbers)

    def select(self, keep: BoolArray) -> Spikes:
        """Return the rows where `keep`, shape (C,), is true."""
        return Spikes(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))


Worth = Callable[[IntArray, IntArray, IntArray, FloatArray], BoolArray]
"""Says which jumps (firsts, lasts, columns, sizes), shape (C,), are of interest."""


def find_spikes(
    path: FloatArray,
    *,
    least: float,
    floor: float,
    shapes: Sequence[Shape] = (ONE_FRAME,),
    stride: int = 1,
    reach: int = 10,
    on_sphere: bool = False,
    across: bool = False,
    rays: FloatArray | None = None,
    miss_share: float = 0.0,
    worth: Worth | None = None,
) -> Spikes:
    """Find the places where a path leaves and comes back, with the shape that fits best.

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
    least : float
        Smallest height that is of interest, in the unit of the path.
    floor : float
        Smallest roughness assumed, in the unit of the path.
    shapes : sequence of tuple of float
        By how much the samples in a row may be off.
    stride : int
        Looks at every `stride`-th frame (from each starting frame), which is how a slower frame
        rate would show the same motion.
    reach : int
        Samples on both sides that tell how rough the path is.
    on_sphere : bool
        True for quaternions: what lies along the quaternion itself is no movement.
    across : bool
        True keeps only what lies across the direction of travel (from the frame before to the
        frame after); heights, sizes and ratings are then of that part alone.
    rays : ndarray, shape (F, N, D), optional
        Unit vectors along which nothing shows (lines of sight), left out the same way.
    miss_share : float
        Share of its height by which a jump must miss every path (see `miss_all_paths`).
    worth : callable, optional
        Says of jumps (firsts, lasts, columns, sizes) which are of interest: rating is dear.
    """
    taken = split_phases(path, stride)
    parts = []
    for shape, fit in zip(shapes, find_best_fits(taken, shapes, least), strict=True):
        width = len(shape)
        frames, columns, found = fit
        whole = geometry.lengths(found)
        rows = len(path) - len(taken) * stride + frames * stride + columns // path.shape[1]
        axes: FloatArray | None = None
        rank = path.shape[2]
        if on_sphere:
            axes = make_tangents(taken[frames, columns])
            rank -= 1
        if across:
            sight = None if rays is None else rays[rows, columns % path.shape[1]]
            axes = _leave_out(_find_travel(taken, frames, columns, width), sight)
            found = (found[:, np.newaxis] @ axes)[:, 0]
            rank -= 1 if rays is None else 2
        sizes = geometry.lengths(found)
        # Most are too small, or on a path after all: those need no rating, the dear part.
        of, lasts = columns % path.shape[1], rows + (width - 1) * stride
        large = np.flatnonzero(sizes >= least)
        if worth is not None:
            large = large[worth(rows[large], lasts[large], of[large], sizes[large])]
        misses = miss_all_paths(taken, frames[large], columns[large], width)
        misses /= min(shape[0], shape[-1])
        off = misses >= miss_share * whole[large]
        kept, misses = large[off], misses[off]
        frames, columns, found = frames[kept], columns[kept], found[kept]
        axes = None if axes is None else axes[kept]
        parts.append(
            Spikes(
                firsts=rows[kept],
                lasts=lasts[kept],
                columns=of[kept],
                heights=found,
                sizes=sizes[kept],
                ratings=rate_heights(
                    taken, frames, columns, found, shape, reach, floor, axes, rank
                ),
                misses=misses,
            )
        )
    return join_spikes(parts)


def join_spikes(parts: Sequence[Spikes]) -> Spikes:
    """Put the rows of several findings together."""
    names = Spikes.__dataclass_fields__
    return Spikes(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def find_all_spikes(
    path: FloatArray,
    enough: float,
    *,
    least: float,
    floor: float,
    shapes: Sequence[Shape] = (ONE_FRAME,),
    stride: int = 1,
    on_sphere: bool = False,
    miss_share: float = 0.0,
) -> Spikes:
    """Find jumps, then look again with those rated `enough` taken out.

    Two jumps near each other hide one another: each makes the path look rough for the other.
    The other arguments are those of `find_spikes`.
    """
    known: dict[str, Any] = {
        "least": least,
        "floor": floor,
        "shapes": shapes,
        "stride": stride,
        "on_sphere": on_sphere,
        "miss_share": miss_share,
    }
    found = find_spikes(path, **known)
    certain = found.select(found.ratings >= enough)
    if len(certain.firsts) == 0:
        return found
    columns = np.unique(certain.columns)
    mended = path[:, columns].copy()
    where = np.searchsorted(columns, certain.columns)
    for later in range(max(map(len, shapes))):
        rows = certain.firsts + later * stride
        inside = rows <= certain.lasts
        # Of several that overlap one is taken out; the others are known already.
        mended[rows[inside], where[inside]] = (
            path[rows[inside], certain.columns[inside]] - certain.heights[inside]
        )
    more = find_spikes(mended, **known)
    more = replace(more, columns=columns[more.columns])
    return join_spikes((found, more.select(more.ratings >= enough)))


def find_end_spikes(
    path: FloatArray,
    *,
    least: float,
    floor: float,
    orders: Sequence[int] = (2, 3),
    reach: int = 20,
    on_sphere: bool = False,
    miss_share: float = 0.0,
) -> Spikes:
    """Find paths whose last frame is not where the frames before it were going.

    The frame is held against the straight prediction 2 x[n-1] - x[n-2] and the accelerated one
    3 x[n-1] - 3 x[n-2] + x[n-3], each rated by how well it foretold the frames before; the one
    that sees the jump better counts. Turn the path round for its first frame.

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
    least, floor : float
        As for `find_spikes`.
    orders : sequence of int
        2 for the straight prediction, 3 for the accelerated one.
    reach : int
        How many predictions before the last one tell how good they are.
    on_sphere, miss_share
        As for `find_spikes`.
    """
    count, number, dimensions = path.shape
    heights, ratings = np.zeros((number, dimensions)), np.zeros(number)
    columns = np.arange(number)
    path = path[-reach - max(orders) - 1 :]
    axes = make_tangents(path[-1]) if on_sphere else None
    for order in orders:
        errors = np.diff(path[-reach - order - 1 :], n=order, axis=0)
        if len(errors) < order + 2:
            continue
        before, off = np.swapaxes(errors[:-1], 0, 1), errors[-1]
        if axes is not None:
            before, off = before @ axes, (off[:, np.newaxis] @ axes)[:, 0]
        squares, freedom = np.swapaxes(before, 1, 2) @ before, np.full(number, before.shape[1])
        rated = rate_against(squares, freedom, off, np.ones(number), floor)
        better = rated > ratings
        ratings = np.where(better, rated, ratings)
        heights[better] = errors[-1, better]
    last = np.full(number, count - 1)
    found = Spikes(
        firsts=last,
        lasts=last,
        columns=columns,
        heights=heights,
        sizes=geometry.lengths(heights),
        ratings=ratings,
        misses=miss_all_paths(path, last - count + len(path), columns, 1),
    )
    return found.select((found.sizes >= least) & (found.misses >= miss_share * found.sizes))


def find_flashes(
    path: FloatArray,
    poses: IntArray,
    *,
    longest: float,
    least: float,
    back_share: float,
    rating: float,
) -> Spikes:
    """Find poses that are shown for a moment between two longer ones, the second like the first.

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
    poses : ndarray of int, shape (K,)
        First frame of each pose; each is shown until the next one begins.
    longest : float
        Frames for which a moment lasts at most; the poses on both sides last longer.
    least : float
        Smallest jump that is of interest, in the unit of the path.
    back_share : float
        How far the second pose may lie from the first one, as a share of the jump.
    rating : float
        How far each is said to stand out: held poses have no roughness to compare with.

    Returns
    -------
    Spikes
        Rows of frames, in order of time.
    """
    lengths = np.diff(np.append(poses, len(path)))
    brief = (lengths[1:-1] <= longest) & (np.minimum(lengths[:-2], lengths[2:]) > longest)
    at = 1 + np.flatnonzero(brief)
    before, now, after = (path[poses[at + shift]] for shift in (-1, 0, 1))
    sizes = geometry.lengths(now - before)
    back = geometry.lengths(after - before)
    rows, columns = np.nonzero((sizes >= least) & (back <= back_share * sizes))
    firsts = poses[at[rows]]
    return Spikes(
        firsts=firsts,
        lasts=firsts + lengths[at[rows]] - 1,
        columns=columns,
        heights=(now - before)[rows, columns],
        sizes=sizes[rows, columns],
        ratings=np.full(len(rows), rating),
        misses=sizes[rows, columns],
    )


def find_jumps(
    path: FloatArray,
    *,
    least: float,
    floor: float,
    longest: float,
    enough: float,
    enough_at_ends: float,
    miss_share: float,
    on_sphere: bool = False,
) -> Spikes:
    """Find jumps of one or two samples that stand out, and on the first and last frame.

    Parameters
    ----------
    path, least, floor, miss_share, on_sphere
        As for `find_spikes`.
    longest : float
        Frames a jump may last; a single frame is always looked for.
    enough, enough_at_ends : float
        Rating a jump needs; the second one for the ends, which are seen from one side only.

    Returns
    -------
    Spikes
        Ratings at the ends are scaled so that `enough` is the limit everywhere.
    """
    last = len(path) - 1
    between = join_spikes(
        [
            find_all_spikes(
                path,
                enough,
                least=least,
                floor=floor,
                shapes=[ONE_FRAME, TWO_FRAMES] if 2 * stride <= longest else [ONE_FRAME],
                stride=stride,
                on_sphere=on_sphere,
                miss_share=miss_share,
            )
            for stride in list_strides(max(1.0, longest / 2.0), len(path))
        ]
    )
    between = between.select((between.firsts > 0) & (between.lasts < last))
    at_end, at_start = (
        find_end_spikes(shown, least=least, floor=floor, on_sphere=on_sphere, miss_share=miss_share)
        for shown in (path, path[::-1])
    )
    at_start = replace(at_start, firsts=last - at_start.firsts, lasts=last - at_start.lasts)
    ends = join_spikes((at_end, at_start))
    ends = replace(ends, ratings=enough / enough_at_ends * ends.ratings)
    found = join_spikes((between, ends))
    return found.select(found.ratings >= enough)


def rate_ends(
    path: FloatArray, columns: Sequence[int], *, floor: float, on_sphere: bool = False
) -> float:
    """Return how far the last frame of some paths stands out: the highest rating of all of them.

    The arguments are those of `rate_near`.
    """
    near = path[:, list(columns)]
    if near.shape[1] == 0:
        return 0.0
    found = find_end_spikes(near, least=0.0, floor=floor, on_sphere=on_sphere)
    return float(found.ratings.max(initial=0.0))


def rate_near(
    path: FloatArray,
    first: int,
    shape: Shape,
    columns: Sequence[int],
    *,
    floor: float,
    reach: int = 10,
    on_sphere: bool = False,
) -> float:
    """Return how far other paths stand out around a frame: the highest rating of all of them.

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
    first : int
        First frame of the jump; one frame to either side is looked at too.
    shape : tuple of float
    columns : sequence of int
        The paths that are asked; 0 is returned for none.
    floor, reach, on_sphere
        As for `find_spikes`.
    """
    start = max(0, first - reach - ORDER - 1)
    near = path[start : first + len(shape) + reach + ORDER + 1, list(columns)]
    rows = np.arange(max(0, first - 1), min(first + 2, len(path) - len(shape) + 1)) - start
    if len(rows) == 0 or near.shape[1] == 0:
        return 0.0
    heights, _ = find_heights(near, shape)
    frames, own = (np.ravel(a) for a in np.meshgrid(rows, np.arange(near.shape[1])))
    axes = make_tangents(near[frames, own]) if on_sphere else None
    rank = path.shape[2] - (1 if on_sphere else 0)
    rated = rate_heights(near, frames, own, heights[frames, own], shape, reach, floor, axes, rank)
    return float(rated.max())


def place_on_frames(found: Spikes, used: IntArray, count: int) -> Spikes:
    """Turn rows of drawings into frames: each drawing is shown until the next one begins.

    Parameters
    ----------
    used : ndarray of int, shape (U,)
        Frame on which each row of the path is first shown.
    count : int
        Number of frames.
    """
    until = np.append(used[1:], count) - 1
    return replace(found, firsts=used[found.firsts], lasts=until[found.lasts])


def list_strides(longest: float, count: int) -> list[int]:
    """Return the strides at which something of up to `longest` frames fits into one sample.

    1, then doubling, up to `longest`; none that leaves fewer than eight samples of `count`.
    """
    strides = [1]
    while strides[-1] * 2 <= longest and strides[-1] * 16 <= count:
        strides.append(strides[-1] * 2)
    if strides[-1] < int(longest) and int(longest) * 8 <= count:
        strides.append(int(longest))
    return strides


def make_tangents(quaternions: FloatArray) -> FloatArray:
    """Return three directions square to each quaternion, as columns, shape (C, 4, 3).

    They are the quaternion times i, j and k: small turns about the part's own axes.
    """
    w, x, y, z = np.moveaxis(quaternions, -1, 0)
    columns = ((-x, w, z, -y), (-y, -z, w, x), (-z, y, -x, w))
    tangents = np.stack([np.stack(column, axis=-1) for column in columns], axis=-1)
    length = geometry.lengths(quaternions)[:, np.newaxis, np.newaxis]
    return tangents / np.where(length > 0.0, length, 1.0)


def split_phases(path: FloatArray, stride: int) -> FloatArray:
    """Take every `stride`-th frame, each starting frame as a path of its own.

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
    stride : int

    Returns
    -------
    ndarray, shape (F // stride, stride * N, D)
        Frame t of path n is at row t // stride, column (t % stride) * N + n; the frames of the
        last incomplete row are left out at the start, so that the end of the path is kept.
    """
    rows = len(path) // stride
    kept = path[len(path) - rows * stride :]
    return kept.reshape(rows, stride * path.shape[1], path.shape[2])


def _find_travel(path: FloatArray, frames: IntArray, columns: IntArray, width: int) -> FloatArray:
    """Return the way from the frame before a jump to the frame after it, shape (C, D)."""
    before = np.maximum(frames - 1, 0)
    after = np.minimum(frames + width, len(path) - 1)
    way: FloatArray = path[after, columns] - path[before, columns]
    return way


def _leave_out(one: FloatArray, other: FloatArray | None) -> FloatArray:
    """Return matrices that take one or two directions, shape (C, D), out of row vectors."""
    keep = np.broadcast_to(np.eye(one.shape[1]), (len(one), one.shape[1], one.shape[1])).copy()
    for direction in (other, one):
        if direction is None:
            continue
        rest = (direction[:, np.newaxis] @ keep)[:, 0]
        length = geometry.lengths(rest)[..., np.newaxis]
        unit = np.divide(rest, length, out=np.zeros_like(rest), where=length > 1e-12)
        keep -= unit[:, :, np.newaxis] * unit[:, np.newaxis, :]
    return keep
