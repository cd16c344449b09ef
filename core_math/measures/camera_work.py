# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a camera does to the picture: pan and track, zoom and push, roll; and jumps in any of it.

All of it is told as the way of the picture around a point, in shares of its width: what a zoom or
a roll does is taken a quarter of the width from the point, where half of the picture lies inside.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from . import picture, projection, rotations

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ASIDE = 0.25
"""Picture widths from the point at which zoom and roll are taken."""

_SPIKE = np.array([0.0, 1.0, -3.0, 3.0, -1.0, 0.0])
_CHANGES = np.array(
    [
        # a change of speed on the frame before, on it and after it, and one spread over two frames
        (0.0, 1.0, -1.0, 0.0, 0.0, 0.0),
        (0.0, 0.0, 1.0, -1.0, 0.0, 0.0),
        (0.0, 0.0, 0.0, 1.0, -1.0, 0.0),
        (0.0, 1.0, 0.0, -1.0, 0.0, 0.0),
        (0.0, 0.0, 1.0, 0.0, -1.0, 0.0),
    ]
)
"""Third differences from four before a frame to one after it, for events of height one."""


def measure_work(
    point: FloatArray,
    camera_positions: FloatArray,
    camera_rotations: FloatArray,
    lens: projection.Lens,
) -> FloatArray:
    """Return what the camera does to the picture around a point, step by step.

    Parameters
    ----------
    point : ndarray, shape (F, 3), metres
    camera_positions, camera_rotations : ndarray, shapes (F, 3) and (F, 4)
    lens : Lens

    Returns
    -------
    ndarray, shape (F - 1, 4), picture widths
        Across, up, outward (zoom) and round (roll); NaN where the point is behind the camera.
    """
    _, depths = projection.project(point, camera_positions, camera_rotations, lens)
    axes = np.zeros((len(point), 3))
    share = projection.projected_size(np.ones(1), depths, lens)
    axes[:, 0] = ASIDE / share
    aside = point + rotations.rotate(camera_rotations, axes)

    def step(where: FloatArray) -> FloatArray:
        return picture.divide_motion(where, camera_positions, camera_rotations, lens).by_camera

    at_point, beside = step(point), step(aside)
    return np.concatenate((at_point, beside - at_point), axis=-1)


def is_spike(path: FloatArray, frames: IntArray, share: float) -> BoolArray:
    """Say where a frame off its path explains what happens better than a change of speed does.

    Parameters
    ----------
    path : ndarray, shape (F, D)
    frames : ndarray of int, shape (C,)
    share : float
        What the spike leaves unexplained must stay under this share of what the best change of
        speed leaves.
    """
    thirds = np.diff(path, n=3, axis=0)
    rows = frames[:, np.newaxis] + np.arange(-4, 2)
    there = (rows >= 0) & (rows < len(thirds))
    near = np.where(there[..., np.newaxis], thirds[np.clip(rows, 0, len(thirds) - 1)], 0.0)

    def left(template: FloatArray) -> FloatArray:
        explained = np.sum((near * template[:, np.newaxis]).sum(axis=1) ** 2, axis=-1)
        total = np.sum(near**2, axis=(1, 2))
        return np.asarray(total - explained / np.sum(template**2))

    changes = np.min([left(template) for template in _CHANGES], axis=0)
    return np.asarray(left(_SPIKE) <= share * changes)
