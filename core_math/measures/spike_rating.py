# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How far a jump stands out from the path around it, and whether some path leads through it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .spike_fit import ORDER, Shape, make_template

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

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
    count = len(path)
    if len(frames) == 0 or count <= ORDER:
        return np.zeros(len(frames))
    template = make_template(shape)
    offsets = np.arange(-ORDER - reach, len(shape) + reach)
    rows = frames[:, np.newaxis] + offsets
    inside = (rows >= 0) & (rows < count - ORDER)
    # Only what lies around the jumps is looked up and differenced.
    span = frames[:, np.newaxis] + np.arange(offsets[0], offsets[-1] + ORDER + 1)
    near = path[np.clip(span, 0, count - 1), columns[:, np.newaxis]]
    window = near[:, 3:] - 3.0 * near[:, 2:-1] + 3.0 * near[:, 1:-2] - near[:, :-3]
    if axes is not None:
        window = window @ axes
        heights = (heights[:, np.newaxis] @ axes)[:, 0]
    signature = np.zeros(len(offsets))
    signature[reach : reach + len(template)] = template
    left = (window - signature[:, np.newaxis] * heights[:, np.newaxis]) * inside[..., np.newaxis]
    weight = (signature**2 * inside).sum(axis=1)
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
    offsets = np.array((-3, -2, -1, 1, 2, 3))
    rows = np.where(offsets < 0, frames[:, np.newaxis], frames[:, np.newaxis] + width - 1) + offsets
    near = path[np.clip(rows, 0, len(path) - 1), columns[:, np.newaxis]]
    guesses = np.einsum("wk,ckd->cwd", _WAYS, near)
    edges = np.stack((path[frames, columns], path[frames + width - 1, columns]), axis=1)
    off = np.repeat(edges, len(_WAYS) // 2, axis=1) - guesses
    exists = (rows >= 0) & (rows < len(path))
    askable = ~np.any((_WAYS != 0.0) & ~exists[:, np.newaxis], axis=-1)
    distances = np.where(askable, np.linalg.norm(off, axis=-1), np.inf)
    nearest: FloatArray = distances.min(axis=1)
    return nearest


def rate_against(
    rest: FloatArray,
    freedom: IntArray,
    heights: FloatArray,
    weight: FloatArray,
    floor: float,
    rank: int | None = None,
) -> FloatArray:
    """Return heights, shape (C, D), over their standard error given the rest, shape (C, W, D)."""
    dimensions = rest.shape[-1]
    rank = rank or dimensions
    spread = np.swapaxes(rest, 1, 2) @ rest / np.maximum(freedom, 1)[:, np.newaxis, np.newaxis]
    round_spread = np.trace(spread, axis1=1, axis2=2) / rank * SHRINKAGE + floor**2
    spread = (1.0 - SHRINKAGE) * spread
    spread += round_spread[:, np.newaxis, np.newaxis] * np.eye(dimensions)
    ratio = np.sum(heights * np.linalg.solve(spread, heights[..., np.newaxis])[..., 0], axis=1)
    rating: FloatArray = np.sqrt(np.maximum(weight * ratio / rank, 0.0))
    return rating
