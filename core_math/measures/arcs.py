# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Arcs: how far a point lies beside the smooth path through its neighbours, and what it travels."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from . import geometry, rotations, spikes

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SHAPES: tuple[spikes.Shape, ...] = (
    spikes.ONE_FRAME,
    spikes.TWO_FRAMES,
    spikes.THREE_FRAMES,
    spikes.BUMP,
    spikes.LONG_BUMP,
)
"""Ways to leave an arc for one to four samples, abrupt and soft."""


def list_leaves(parents: Sequence[int]) -> IntArray:
    """Return the rows of the parts that carry nothing."""
    rows = np.arange(len(parents))
    return rows[~np.isin(rows, np.asarray(parents))]


def find_breaks(
    path: FloatArray,
    longest: float,
    *,
    least: float,
    floor: float,
    rays: FloatArray | None = None,
    miss_share: float = 0.0,
    worth: spikes.Worth | None = None,
) -> spikes.Spikes:
    """Find where points leave their arcs for up to `longest` frames and come back.

    The frames in question are left out of the path they are held against; only what lies across
    the direction of travel counts.

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
    longest : float
        In frames; a single frame is always looked at.
    least, floor : float
        As for `spikes.find_spikes`.
    rays : ndarray, shape (F, N, D), optional
        Lines of sight; distance along them is left out.
    miss_share, worth
        As for `spikes.find_spikes`.
    """
    found = [
        spikes.find_spikes(
            path,
            least=least,
            floor=floor,
            shapes=[s for s in SHAPES if len(s) == 1 or (len(s) - 0.5) * stride <= longest],
            stride=stride,
            across=True,
            rays=rays,
            miss_share=miss_share,
            worth=worth,
        )
        for stride in spikes.list_strides(longest / 3.0, len(path))
    ]
    return spikes.join_spikes(found)


def find_sight_lines(
    points: FloatArray,
    camera_positions: FloatArray,
    camera_rotations: FloatArray,
    orthographic: bool,
) -> FloatArray:
    """Return unit vectors from a camera to points, shape (F, N, 3).

    Parameters
    ----------
    points : ndarray, shape (F, N, 3)
    camera_positions, camera_rotations : ndarray, shapes (F, 3) and (F, 4)
    orthographic : bool
        True when all lines of sight run along the camera's own -Z.
    """
    if orthographic:
        ahead = rotations.rotate(camera_rotations, np.array([0.0, 0.0, -1.0]))
        return np.repeat(ahead[:, np.newaxis], points.shape[1], axis=1)
    lines = points - camera_positions[:, np.newaxis]
    length = geometry.lengths(lines)[..., np.newaxis]
    return np.divide(lines, length, out=np.zeros_like(lines), where=length > 0.0)


def add_up_way(path: FloatArray) -> FloatArray:
    """Return how far points, shape (F, N, D), have travelled until each frame, shape (F, N)."""
    gone = np.zeros(path.shape[:2])
    np.cumsum(geometry.lengths(np.diff(path, axis=0)), axis=0, out=gone[1:])
    return gone


def find_way_around(
    path: FloatArray,
    gone: FloatArray,
    firsts: IntArray,
    lasts: IntArray,
    columns: IntArray,
    side: int,
) -> tuple[FloatArray, FloatArray]:
    """Return how far points travel around some frames, and per frame across them.

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
    gone : ndarray, shape (F, N)
        See `add_up_way`.
    firsts, lasts, columns : ndarray of int, shape (C,)
        Frames (left out themselves) and their paths.
    side : int
        How many frames to both sides are looked at.

    Returns
    -------
    way : ndarray, shape (C,)
        Length of the path on both sides together.
    step : ndarray, shape (C,)
        Straight way from the frame before to the frame after, per frame.
    """
    last = len(path) - 1
    before, after = np.maximum(firsts - 1, 0), np.minimum(lasts + 1, last)
    way = gone[before, columns] - gone[np.maximum(before - side, 0), columns]
    way += gone[np.minimum(after + side, last), columns] - gone[after, columns]
    chord = geometry.lengths(path[after, columns] - path[before, columns])
    return way, chord / np.maximum(after - before, 1)
