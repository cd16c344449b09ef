# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How far a jump stands out from the path around it, and whether some path leads through it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .spike_fit import ORDER, Shape, make_template

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BLOCK = 256
"""Jumps that are rated at a time: what lies around them stays in the processor's own memory."""

SHRINKAGE = 0.02
"""Share of a round spread mixed into the directional one, so that no direction is without any."""

_WAYS = np.array(
    [
        # held, carried on straight, carried on with its acceleration; before, then after
        (0.0, 0.0, 1.0, 0.0, 0.0, 0.0),
        (0.0, -1.0, 2.0, 0.0, 0.0, 0.0),
        (1.0, -3.0, 3.0, 0.0, 0.0, 0.0),
        (0.0, 0.0, 0.0, 1.0, 0.0, 0.0),
        (0.0, 0.0, 0.0, 2.0, -1.0, 0.0),
        (0.0, 0.0, 0.0, 3.0, -3.0, 1.0),
    ]
)
"""Ways to go on: weights of the three frames before and the three frames after a jump."""


def rate_heights(
    path: FloatArray,
    frames: IntArray,
    columns: IntArray,
    heights: FloatArray,
    shape: Shape,
    reach: int,
    floor: float,
    axes: FloatArray | None = None,
    rank: int | None = None,
) -> FloatArray:
    """Say how far each height stands out from what the path does around it anyway.

    The third differences of `reach` frames on both sides, with what the jump explains taken out,
    give a spread for every direction (shrunk a little towards a round one): a jump across a fast
    swing stands out although the swing itself is rough.

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
    frames, columns : ndarray of int, shape (C,)
        First frame of each jump, and its path.
    heights : ndarray, shape (C, D)
        Heights found at those places by `find_heights` for the same shape.
    shape : tuple of float
    reach : int
    floor : float
        Smallest spread assumed, in the unit of the path.
    axes : ndarray, shape (C, D, E), optional
        Directions (as columns) in which heights and spread are compared; all of them when left
        out. For quaternions the three that are square to the quaternion itself.
    rank : int, optional
        How many independent directions these are, D when left out.

    Returns
    -------
    ndarray, shape (C,)
        Height over its standard error, root mean square over the directions; 0 where fewer than
        four differences are left to judge by.
    """
    ratings = np.zeros(len(frames))
    if len(path) > ORDER:
        for start in range(0, len(frames), BLOCK):
            some = slice(start, start + BLOCK)
            ratings[some] = _rate_block(
                path,
                frames[some],
                columns[some],
                heights[some],
                shape,
                reach,
                floor,
                None if axes is None else axes[some],
                rank,
            )
    return ratings


def _rate_block(
    path: FloatArray,
    frames: IntArray,
    columns: IntArray,
    heights: FloatArray,
    shape: Shape,
    reach: int,
    floor: float,
    axes: FloatArray | None,
    rank: int | None,
) -> FloatArray:
    count, template = len(path), make_template(shape)
    offsets = np.arange(-ORDER - reach, len(shape) + reach)
    rows = frames[:, np.newaxis] + offsets
    inside = (rows >= 0) & (rows < count - ORDER)
    # Only what lies around the jumps is looked up and differenced.
    span = frames[:, np.newaxis] + np.arange(offsets[0], offsets[-1] + ORDER + 1)
    near = path[np.clip(span, 0, count - 1), columns[:, np.newaxis]]
    window = near[:, 1:-2] - near[:, 2:-1]
    window *= 3.0
    window += near[:, 3:]
    window -= near[:, :-3]
    window[~inside] = 0.0
    own = slice(reach, reach + len(template))
    weight = inside[:, own] @ template**2
    squares = np.swapaxes(window, 1, 2) @ window
    answer = template @ window[:, own]
    if axes is not None:
        squares = np.swapaxes(axes, 1, 2) @ (squares @ axes)
        answer, heights = ((vectors[:, np.newaxis] @ axes)[:, 0] for vectors in (answer, heights))
    # What is left when the jump is taken out, (window - template x height), squared.
    shared = answer[:, :, np.newaxis] * heights[:, np.newaxis]
    jumped = heights[:, :, np.newaxis] * heights[:, np.newaxis]
    left = squares - shared - np.swapaxes(shared, 1, 2)
    left += weight[:, np.newaxis, np.newaxis] * jumped
    freedom = inside.sum(axis=1) - 1
    rating = rate_against(left, freedom, heights, weight, floor, rank)
    return np.where(freedom >= ORDER + 1, rating, 0.0)


def miss_all_paths(path: FloatArray, frames: IntArray, columns: IntArray, width: int) -> FloatArray:
    """Return by how much a jump misses every way of simply going on, shape (C,).

    The frames may be the end of what came before (held, carried on straight, carried on with its
    acceleration) or the start of what comes after. A corner at a hit, a stop, a jump that stays
    and an accent of three frames and more all lie on one of these; a spike lies on none. Only
    ways whose frames exist are asked; with none the result is infinite.

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
    frames, columns : ndarray of int, shape (C,)
    width : int
    """
    nearest = np.empty(len(frames))
    offsets = np.array((-3, -2, -1, 1, 2, 3))
    half = len(_WAYS) // 2
    for start in range(0, len(frames), BLOCK):
        first, column = frames[start : start + BLOCK, np.newaxis], columns[start : start + BLOCK]
        rows = np.where(offsets < 0, first, first + width - 1) + offsets
        near = path[np.clip(rows, 0, len(path) - 1), column[:, np.newaxis]]
        off = _WAYS @ near
        off[:, :half] -= path[first, column[:, np.newaxis]]
        off[:, half:] -= path[first + width - 1, column[:, np.newaxis]]
        squares = np.einsum("cwd,cwd->cw", off, off)
        exists = (rows >= 0) & (rows < len(path))
        if not exists.all():
            squares[np.any((_WAYS != 0.0) & ~exists[:, np.newaxis], axis=-1)] = np.inf
        nearest[start : start + BLOCK] = np.sqrt(squares.min(axis=1))
    return nearest


def rate_against(
    squares: FloatArray,
    freedom: IntArray,
    heights: FloatArray,
    weight: FloatArray,
    floor: float,
    rank: int | None = None,
) -> FloatArray:
    """Return heights over their standard error, given the rest of what is around them.

    Parameters
    ----------
    squares : ndarray, shape (C, D, D)
        Sum of the squares (outer products) of the rest.
    freedom : ndarray of int, shape (C,)
        How many of them count.
    heights : ndarray, shape (C, D)
    weight : ndarray, shape (C,)
        The fit's trust in its height.
    floor, rank
        As for `rate_heights`.

    Returns
    -------
    ndarray, shape (C,)
    """
    dimensions = squares.shape[-1]
    rank = rank or dimensions
    spread = squares / np.maximum(freedom, 1)[:, np.newaxis, np.newaxis]
    round_spread = np.trace(spread, axis1=1, axis2=2) / rank * SHRINKAGE + floor**2
    spread *= 1.0 - SHRINKAGE
    spread += round_spread[:, np.newaxis, np.newaxis] * np.eye(dimensions)
    ratio = np.einsum(
        "cd,cd->c", heights, np.linalg.solve(spread, heights[..., np.newaxis])[..., 0]
    )
    rating: FloatArray = np.sqrt(np.maximum(weight * ratio / rank, 0.0))
    return rating
