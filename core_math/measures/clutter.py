# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which things lie around a body in the picture, behind it and before it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Clutter:
    """Things around a body, look by look.

    Attributes
    ----------
    behind, before : ndarray of bool, shape (S, K)
    nearest : ndarray, shape (S, K), metres
        Distance of the side that the thing turns to the body.
    """

    behind: BoolArray
    before: BoolArray
    nearest: FloatArray


def find_clutter(
    places: FloatArray,
    depths: FloatArray,
    boxes: FloatArray,
    thing_depths: FloatArray,
    *,
    around: float,
    smallest: float,
    largest: float,
) -> Clutter:
    """Find the things next to a body in the picture.

    Parameters
    ----------
    places, depths : ndarray, shapes (S, N, 2) and (S, N)
        The body's points: 0 to 1 in the picture, and metres along the view axis.
    boxes : ndarray, shape (S, K, 4)
        Left, bottom, right and top of each thing, 0 to 1; NaN where it does not show.
    thing_depths : ndarray, shape (S, K, 2), metres
        Of its nearest and farthest corner.
    around : float
        Widths of the body on each side that still are next to it.
    smallest : float
        Share of the picture's width or height that a thing must have.
    largest : float
        Share of the picture's area beyond which it is no thing but a backdrop.
    """
    left, right = np.nanmin(places[..., 0], axis=1), np.nanmax(places[..., 0], axis=1)
    low, high = np.nanmin(places[..., 1], axis=1), np.nanmax(places[..., 1], axis=1)
    room = around * (right - left)
    clipped = np.clip(boxes, 0.0, 1.0)
    wide, tall = clipped[..., 2] - clipped[..., 0], clipped[..., 3] - clipped[..., 1]
    counted = (
        (boxes[..., 2] > (left - room)[:, np.newaxis])
        & (boxes[..., 0] < (right + room)[:, np.newaxis])
        & (boxes[..., 3] > low[:, np.newaxis])
        & (boxes[..., 1] < high[:, np.newaxis])
        & (wide > 0.0)
        & (tall > 0.0)
        & (np.maximum(wide, tall) >= smallest)
        & (wide * tall <= largest)
    )
    near, far = np.min(depths, axis=1)[:, np.newaxis], np.max(depths, axis=1)[:, np.newaxis]
    behind = counted & (thing_depths[..., 0] >= far)
    before = counted & (thing_depths[..., 1] <= near)
    nearest = np.where(behind, thing_depths[..., 0], thing_depths[..., 1])
    return Clutter(behind, before, nearest)


def find_middle(counts: IntArray, weights: FloatArray) -> int:
    """Return the row with the weighted median of the counts, shape (S,): the first half's last."""
    order = np.argsort(counts, kind="stable")
    passed = np.cumsum(weights[order])
    return int(
        order[np.searchsorted(passed, 0.5 * passed[-1], side="right").clip(0, len(order) - 1)]
    )
