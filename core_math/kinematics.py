# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""From transform matrices to joint positions and rotations, all frames and bones at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .measures import rotations

FloatArray = NDArray[np.float64]

SMALLEST_SCALE = 1e-6
"""A column shorter than this tells no direction: the object is scaled away at that frame."""


def split_matrices(matrices: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Take transform matrices apart into positions and rotations.

    Shear and mirroring are no rotations: the direction of the second axis (along a bone) is kept,
    the third is made square to it.

    Parameters
    ----------
    matrices : array_like, shape (F, ..., 4, 4)
        Acting on column vectors.

    Returns
    -------
    positions : ndarray, shape (F, ..., 3)
        In the unit of the matrices.
    rotations_wxyz : ndarray, shape (F, ..., 4)
        Unit quaternions with continuous sign along axis 0; NaN where the matrix is not finite,
        all zero where something is scaled to nothing (see `fill_rotations`).
    """
    m = np.asarray(matrices, dtype=np.float64)
    axes = m[..., :3, :3]
    broken = ~np.isfinite(axes).all(axis=(-1, -2))
    if np.any(broken):
        axes = np.where(broken[..., np.newaxis, np.newaxis], np.eye(3), axes)
    square, flat = _make_square(axes)
    turned = rotations.make_continuous(rotations.from_matrices(square))
    turned[flat] = 0.0
    turned[broken] = np.nan
    return m[..., :3, 3].copy(), turned


def fill_rotations(rotations_wxyz: FloatArray) -> FloatArray:
    """Give frames on which something is scaled to nothing the rotation of their neighbours.

    That of the nearest earlier frame that has one, or else of the nearest later one, so that a
    thing that is scaled away for a while does not seem to jump; no rotation where none has one.

    Parameters
    ----------
    rotations_wxyz : ndarray, shape (F, ..., 4)
        All zero where there is no rotation.
    """
    usable = np.any(rotations_wxyz != 0.0, axis=-1)
    if np.all(usable):
        return rotations_wxyz
    filled = _fill_from_neighbours(rotations_wxyz, usable)
    filled[np.all(filled == 0.0, axis=-1)] = (1.0, 0.0, 0.0, 0.0)
    return filled


def _make_square(axes: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Return rotation matrices from any axes, and where these span no space."""
    along, across = axes[..., :, 1], axes[..., :, 2]
    y_length = np.linalg.norm(along, axis=-1, keepdims=True)
    y = along / np.where(y_length > SMALLEST_SCALE, y_length, 1.0)
    z = across - np.sum(across * y, axis=-1, keepdims=True) * y
    z_length = np.linalg.norm(z, axis=-1, keepdims=True)
    z = z / np.where(z_length > SMALLEST_SCALE, z_length, 1.0)
    flat = (y_length[..., 0] < SMALLEST_SCALE) | (z_length[..., 0] < SMALLEST_SCALE)
    square = np.stack((np.cross(y, z), y, z), axis=-1)
    square[flat] = np.eye(3)
    return square, flat


def _fill_from_neighbours(values: FloatArray, usable: NDArray[np.bool_]) -> FloatArray:
    """Replace unusable rows along axis 0 by the nearest usable one before, else after."""
    rows = np.arange(len(values)).reshape((-1,) + (1,) * (usable.ndim - 1))
    before = np.maximum.accumulate(np.where(usable, rows, -1), axis=0)
    later = np.where(usable, rows, len(values))
    after = np.minimum.accumulate(later[::-1], axis=0)[::-1]
    source = np.where(before >= 0, before, after)
    source = np.where(source < len(values), source, rows)
    return np.take_along_axis(values, source[..., np.newaxis], axis=0)
