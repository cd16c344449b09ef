# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""From transform matrices to joint positions and rotations, all frames and bones at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .measures import rotations

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SMALLEST_SCALE = 1e-6
"""A column shorter than this tells no direction: the object is scaled away at that frame."""


def split_transforms(rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Take transforms apart into positions and rotations.

    Shear and mirroring are no rotations: the direction of the second axis (along a bone) is kept,
    the third is made square to it.

    Parameters
    ----------
    rows : ndarray, shape (3, 4, ...)
        The upper three rows of matrices that act on column vectors.

    Returns
    -------
    positions : ndarray, shape (3, ...)
        In the unit of the transforms.
    rotations_wxyz : ndarray, shape (4, ...)
        Unit quaternions; NaN where a transform is not finite, all zero where something is scaled
        to nothing (see `fill_rotations`).
    """
    axes = rows[:, :3]
    broken = ~np.isfinite(np.sum(axes, axis=(0, 1)))
    if np.any(broken):
        axes = np.where(broken, np.nan_to_num(axes, posinf=0.0, neginf=0.0), axes)
    x, y, z, flat = _make_square(axes[:, 1], axes[:, 2])
    turned = _find_quaternion(x, y, z)
    turned[:, flat] = 0.0
    turned[:, broken] = np.nan
    return rows[:, 3], turned


def split_matrices(matrices: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Take matrices apart as `split_transforms` does, frame by frame.

    Parameters
    ----------
    matrices : array_like, shape (F, ..., 4, 4)

    Returns
    -------
    positions : ndarray, shape (F, ..., 3)
    rotations_wxyz : ndarray, shape (F, ..., 4)
        With continuous sign along axis 0.
    """
    m = np.asarray(matrices, dtype=np.float64)
    rows = np.ascontiguousarray(np.moveaxis(m[..., :3, :], (-2, -1), (0, 1)))
    positions, turned = split_transforms(rows)
    signed = rotations.make_continuous(np.moveaxis(turned, 0, -1))
    return np.moveaxis(positions, 0, -1).copy(), signed


def fill_rotations(rotations_wxyz: FloatArray) -> FloatArray:
    """Give frames on which something is scaled to nothing the rotation of their neighbours.

    That of the nearest earlier frame that has one, or else of the nearest later one, so that a
    thing that is scaled away for a while does not seem to jump; no rotation where none has one.

    Parameters
    ----------
    rotations_wxyz : ndarray, shape (F, ..., 4)
        All zero where there is no rotation.
    """
    w, x, y, z = np.moveaxis(rotations_wxyz, -1, 0)
    usable = (w != 0.0) | (x != 0.0) | (y != 0.0) | (z != 0.0)
    if np.all(usable):
        return rotations_wxyz
    filled = _fill_from_neighbours(rotations_wxyz, usable)
    filled[np.all(filled == 0.0, axis=-1)] = (1.0, 0.0, 0.0, 0.0)
    return filled


def _make_square(
    along: FloatArray, across: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Return square axes, (3, ...) each, from the second and third, and where there are none."""
    y_length = np.sqrt(_dot(along, along))
    y = along / np.maximum(y_length, SMALLEST_SCALE)
    z = across - _dot(across, y) * y
    z_length = np.sqrt(_dot(z, z))
    z = z / np.maximum(z_length, SMALLEST_SCALE)
    x = np.stack((y[1] * z[2] - y[2] * z[1], y[2] * z[0] - y[0] * z[2], y[0] * z[1] - y[1] * z[0]))
    return x, y, z, (y_length < SMALLEST_SCALE) | (z_length < SMALLEST_SCALE)


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _find_quaternion(x: FloatArray, y: FloatArray, z: FloatArray) -> FloatArray:
    """Return the unit quaternions, (4, ...), of square axes, (3, ...) each.

    Each of the four components can be the one that the others are found by: the first where it
    is at least a half, else the largest.
    """
    (x0, x1, x2), (y0, y1, y2), (z0, z1, z2) = x, y, z
    result = np.empty((4, *x0.shape))
    fourfold = 1.0 + x0 + y1 + z2
    # What turns by 120 degrees at most has its first component large enough.
    scale = 0.5 / np.sqrt(np.maximum(fourfold, 1.0))
    np.multiply(fourfold, scale, out=result[0])
    np.multiply(y2 - z1, scale, out=result[1])
    np.multiply(z0 - x2, scale, out=result[2])
    np.multiply(x1 - y0, scale, out=result[3])
    far = ~(fourfold >= 1.0)
    if np.any(far):
        result[:, far] = _find_far_quaternion(x[:, far], y[:, far], z[:, far])
    return result


def _find_far_quaternion(x: FloatArray, y: FloatArray, z: FloatArray) -> FloatArray:
    """Return the unit quaternions, (4, N), of square axes that are turned far, (3, N) each."""
    (x0, x1, x2), (y0, y1, y2), (z0, z1, z2) = x, y, z
    fourfold = np.stack(
        (1.0 + x0 + y1 + z2, 1.0 + x0 - y1 - z2, 1.0 - x0 + y1 - z2, 1.0 - x0 - y1 + z2)
    )
    best = np.argmax(fourfold, axis=0)
    lowered = (y2 - z1, z0 - x2, x1 - y0)
    raised = (x1 + y0, z0 + x2, y2 + z1)
    table = (
        (fourfold[0], *lowered),
        (lowered[0], fourfold[1], raised[0], raised[1]),
        (lowered[1], raised[0], fourfold[2], raised[2]),
        (lowered[2], raised[1], raised[2], fourfold[3]),
    )
    result = np.empty((4, len(best)))
    for largest, row in enumerate(table):
        those = np.flatnonzero(best == largest)
        if len(those):
            scale = 0.5 / np.sqrt(fourfold[largest, those])
            for component in range(4):
                result[component, those] = row[component][those] * scale
    return result


def _fill_from_neighbours(values: FloatArray, usable: BoolArray) -> FloatArray:
    """Replace unusable rows along axis 0 by the nearest usable one before, else after."""
    rows = np.arange(len(values)).reshape((-1,) + (1,) * (usable.ndim - 1))
    before = np.maximum.accumulate(np.where(usable, rows, -1), axis=0)
    later = np.where(usable, rows, len(values))
    after = np.minimum.accumulate(later[::-1], axis=0)[::-1]
    source = np.where(before >= 0, before, after)
    source = np.where(source < len(values), source, rows)
    return np.take_along_axis(values, source[..., np.newaxis], axis=0)
