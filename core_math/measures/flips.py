# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Rotation channels against the rotation they stand for: jumps, and the long way round."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from . import geometry, rotations

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

HALF_TURN = 180.0


def is_quaternion(mode: str) -> bool:
    """Say whether channels of a rotation mode are a quaternion's four numbers."""
    return mode == "QUATERNION"


def can_flip(values: FloatArray, mode: str) -> bool:
    """Say whether any two rows are so far apart that `step_channels` could tell of a flip.

    Parameters
    ----------
    values, mode
        As for `step_channels`.
    """
    if is_quaternion(mode):
        # What lies within 45 degrees of one direction lies within 90 of each other.
        length = np.sqrt(np.einsum("fi,fi->f", values, values)) * np.linalg.norm(values[0])
        return not np.all(values @ values[0] > 0.75 * length)
    if values.max() - values.min() <= HALF_TURN:
        # Most parts; far quicker to ask of all channels at once.
        return False
    angles = values[:, :1] if mode == "AXIS_ANGLE" else values[:, :3]
    spans = angles.max(axis=0) - angles.min(axis=0)
    return not np.all(spans <= HALF_TURN)


def step_channels(values: FloatArray, mode: str) -> FloatArray:
    """Return how far the angle channels go from each row to the next, the farthest of them.

    Parameters
    ----------
    values : ndarray, shape (F, 3) or (F, 4)
        Euler angles in degrees; axis-angle in degrees, x, y, z; quaternion w, x, y, z.
    mode : str
        "XYZ" and the other orders, "AXIS_ANGLE" or "QUATERNION".

    Returns
    -------
    ndarray, shape (F - 1,)
        Signed degrees. For quaternions 360 where the next one lies in the opposite half of the
        sphere (it stands for the same rotation wound up by a full turn), else 0.
    """
    if is_quaternion(mode):
        return np.where(geometry.dots(values[1:], values[:-1]) < 0.0, 360.0, 0.0)
    angles = values[:, :1] if mode == "AXIS_ANGLE" else values[:, :3]
    steps = np.diff(angles, axis=0)
    farthest = np.argmax(np.abs(steps), axis=1)
    return np.take_along_axis(steps, farthest[:, np.newaxis], axis=1)[:, 0]


def find_jumps(values: FloatArray, mode: str, turns: FloatArray, small: float) -> BoolArray:
    """Say where channels jump by more than half a turn although the rotation hardly changes.

    Parameters
    ----------
    values, mode
        As for `step_channels`.
    turns : ndarray, shape (F - 1,)
        True angle from each frame to the next, degrees.
    small : float
        Largest true angle, degrees.

    Returns
    -------
    ndarray of bool, shape (F - 1,)
    """
    result: BoolArray = (np.abs(step_channels(values, mode)) > HALF_TURN) & (turns <= small)
    return result


def measure_detour(local: FloatArray, first: int, last: int) -> float:
    """Return how much farther a part turns between two frames than it needs to, degrees.

    Parameters
    ----------
    local : ndarray, shape (F, 4)
        Rotations relative to the parent.
    first, last : int
        Frames (indices), both included.
    """
    way = float(rotations.step_angles(local[first : last + 1]).sum())
    return max(0.0, way - float(rotations.angle_between(local[first], local[last])))


def measure_windings(local: FloatArray, rows: IntArray) -> FloatArray:
    """Return how far a part turns one way from each of some frames to the next of them.

    Steps there and back cancel; a turn by 300 degrees about one axis is 300, whatever is left of
    it in the end.

    Parameters
    ----------
    local : ndarray, shape (F, 4)
        Rotations relative to the parent, continuous sign.
    rows : ndarray of int, shape (K,)
        Frames (indices), rising.

    Returns
    -------
    ndarray, shape (K - 1,), degrees
    """
    turned = np.zeros((len(local), 3))
    np.cumsum(rotations.step_vectors(local), axis=0, out=turned[1:])
    return geometry.lengths(np.diff(turned[rows], axis=0))
