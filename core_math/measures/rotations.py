# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Unit quaternions (w, x, y, z) over time: products, angles, turns.

Angles are those of the rotation itself, never of channels: q and -q are the same rotation, so
every angle here lies between 0 and 180 degrees.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import geometry

FloatArray = NDArray[np.float64]

TINY = 1e-140
"""Length under which the squares of a quaternion's numbers are too small for a double."""


def normalize(quaternions: ArrayLike) -> FloatArray:
    """Scale quaternions to unit length; an all-zero one becomes the identity.

    Parameters
    ----------
    quaternions : array_like, shape (..., 4)

    Returns
    -------
    ndarray, shape (..., 4)
    """
    q = np.array(quaternions, dtype=np.float64)
    length = np.sqrt(geometry.dots(q, q))
    tiny = length < TINY
    if np.any(tiny):
        # Squares of so small numbers lose their digits: the largest of the four is made 1 first.
        largest = np.abs(q[tiny]).max(axis=-1, keepdims=True)
        q[tiny] /= np.where(largest > 0.0, largest, 1.0)
        q[..., 0] += np.where(tiny, geometry.dots(q, q) == 0.0, 0.0)
        length = np.where(tiny, np.sqrt(geometry.dots(q, q)), length)
    q /= length[..., np.newaxis]
    return q


def conjugate(q: FloatArray) -> FloatArray:
    """Return the inverse rotation of unit quaternions, shape (..., 4)."""
    return q * np.array([1.0, -1.0, -1.0, -1.0])


def multiply(a: FloatArray, b: FloatArray) -> FloatArray:
    """Hamilton product: first turn by `b`, then by `a`; shapes (..., 4) broadcast."""
    aw, ax, ay, az = a[..., 0], a[..., 1], a[..., 2], a[..., 3]
    bw, bx, by, bz = b[..., 0], b[..., 1], b[..., 2], b[..., 3]
    w = aw * bw - ax * bx - ay * by - az * bz
    product = np.empty((*w.shape, 4))
    product[..., 0] = w
    product[..., 1] = aw * bx + ax * bw + ay * bz - az * by
    product[..., 2] = aw * by - ax * bz + ay * bw + az * bx
    product[..., 3] = aw * bz + ax * by - ay * bx + az * bw
    return product


def rotate(q: FloatArray, vectors: FloatArray) -> FloatArray:
    """Turn vectors, shape (..., 3), by unit quaternions, shape (..., 4)."""
    w, x, y, z = q[..., 0], q[..., 1], q[..., 2], q[..., 3]
    vx, vy, vz = vectors[..., 0], vectors[..., 1], vectors[..., 2]
    # v + 2 w (u x v) + 2 u x (u x v), written out: far quicker than calls for the products.
    tx, ty, tz = 2.0 * (y * vz - z * vy), 2.0 * (z * vx - x * vz), 2.0 * (x * vy - y * vx)
    first = vx + w * tx + y * tz - z * ty
    turned = np.empty((*first.shape, 3))
    turned[..., 0] = first
    turned[..., 1] = vy + w * ty + z * tx - x * tz
    turned[..., 2] = vz + w * tz + x * ty - y * tx
    return turned


def relative(parent: FloatArray, child: FloatArray) -> FloatArray:
    """Return the child's rotation seen from its parent, shape (..., 4)."""
    return multiply(conjugate(parent), child)


def make_continuous(q: FloatArray) -> FloatArray:
    """Choose signs along axis 0 so that neighbours lie in the same half of the sphere.

    Parameters
    ----------
    q : ndarray, shape (F, ..., 4)

    Returns
    -------
    ndarray, shape (F, ..., 4)
        The same rotations.
    """
    if len(q) < 2:
        return q.copy()
    dots = geometry.dots(q[1:], q[:-1])
    signs = np.cumprod(np.where(dots < 0.0, -1.0, 1.0), axis=0)
    result = q.copy()
    result[1:] *= signs[..., np.newaxis]
    return result


def angle(q: FloatArray) -> FloatArray:
    """Return how far unit quaternions turn, 0 to 180 degrees, shape (...)."""
    half = np.arctan2(geometry.lengths(q[..., 1:]), np.abs(q[..., 0]))
    return np.degrees(2.0 * half)


def angle_between(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the angle of the turn from `a` to `b` in degrees, |log(a^-1 b)|.

    Unit quaternions that are an angle apart are the chord 2 sin(angle / 4) apart, of the two
    signs the shorter one.
    """
    apart, together = a - b, a + b
    squared = np.minimum(geometry.dots(apart, apart), geometry.dots(together, together))
    return np.degrees(4.0 * np.arcsin(np.minimum(0.5 * np.sqrt(squared), 1.0)))


def rotation_vector(q: FloatArray) -> FloatArray:
    """Return axis times angle in degrees, shape (..., 3), of the shorter turn."""
    sign = np.where(q[..., :1] < 0.0, -1.0, 1.0)
    vector = q[..., 1:] * sign
    length = geometry.lengths(vector)[..., np.newaxis]
    half = np.arctan2(length, np.abs(q[..., :1]))
    # angle / sin(angle / 2) tends to 2 where the turn vanishes
    factor = np.where(length > 1e-12, 2.0 * half / np.where(length > 1e-12, length, 1.0), 2.0)
    return np.degrees(vector * factor)


def step_vectors(q: FloatArray) -> FloatArray:
    """Return the turn from each frame to the next as rotation vectors in the world's axes.

    Parameters
    ----------
    q : ndarray, shape (F, ..., 4)

    Returns
    -------
    ndarray, shape (F - 1, ..., 3), degrees per frame
    """
    return rotation_vector(multiply(q[1:], conjugate(q[:-1])))


def step_angles(q: FloatArray) -> FloatArray:
    """Return the turn from each frame to the next, shape (F - 1, ...), degrees per frame."""
    return angle_between(q[:-1], q[1:])


def spread_in_stretches(
    q: FloatArray,
    starts: NDArray[np.int64],
    stops: NDArray[np.int64],
    counts: NDArray[np.int64],
) -> FloatArray:
    """Return how far the rotations of stretches lie from their mean (rms), degrees, shape (..., S).

    The mean of rotations is the direction along which the most of their quaternions' squares lies
    (Markley, Cheng, Crassidis & Oshman 2007, from memory): signs do not matter, and the sums of
    many stretches come from one running total.

    Parameters
    ----------
    q : ndarray, shape (..., N, 4)
        All zero where there is no rotation.
    starts, stops : ndarray of int, shape (S,)
        Stops are not included.
    counts : ndarray of int, shape (..., S)
        Rotations in each stretch; one with none has no spread.
    """
    total = np.zeros((*q.shape[:-2], q.shape[-2] + 1, 4, 4))
    np.cumsum(q[..., :, np.newaxis] * q[..., np.newaxis, :], axis=-3, out=total[..., 1:, :, :])
    squares = total[..., stops, :, :] - total[..., starts, :, :]
    along = np.linalg.eigvalsh(squares)[..., -1] / np.maximum(counts, 1)
    return np.degrees(2.0 * np.sqrt(np.maximum(1.0 - along, 0.0))) * (counts > 0)


def from_axis_angle(axis: ArrayLike, degrees: ArrayLike) -> FloatArray:
    """Make unit quaternions from axes, shape (..., 3), and angles in degrees, shape (...)."""
    axes = np.asarray(axis, dtype=np.float64)
    axes = axes / geometry.lengths(axes)[..., np.newaxis]
    half = np.radians(np.asarray(degrees, dtype=np.float64))[..., np.newaxis] / 2.0
    cosine, sine = np.cos(half), np.sin(half) * axes
    return np.concatenate((np.broadcast_to(cosine, (*sine.shape[:-1], 1)), sine), axis=-1)


def from_matrices(matrices: FloatArray) -> FloatArray:
    """Turn rotation matrices, shape (..., 3, 3), possibly scaled, into unit quaternions.

    Columns are normalised first; a mirrored matrix (negative determinant) has its sign turned, as
    a rotation cannot carry a mirror; a column of no length gives the identity.
    """
    length = np.linalg.norm(matrices, axis=-2, keepdims=True)
    usable = np.all(length > 1e-20, axis=(-1, -2))
    m = matrices / np.where(length > 1e-20, length, 1.0)
    m = m * np.where(np.linalg.det(m) < 0.0, -1.0, 1.0)[..., np.newaxis, np.newaxis]
    m00, m11, m22 = m[..., 0, 0], m[..., 1, 1], m[..., 2, 2]
    # Four candidates, each stable where its own component is largest.
    squares = np.stack(
        (1 + m00 + m11 + m22, 1 + m00 - m11 - m22, 1 - m00 + m11 - m22, 1 - m00 - m11 + m22),
        axis=-1,
    )
    a, b, c = m[..., 2, 1], m[..., 1, 2], m[..., 0, 2]
    d, e, f = m[..., 2, 0], m[..., 1, 0], m[..., 0, 1]
    candidates = np.stack(
        (
            np.stack((squares[..., 0], a - b, c - d, e - f), axis=-1),
            np.stack((a - b, squares[..., 1], e + f, c + d), axis=-1),
            np.stack((c - d, e + f, squares[..., 2], a + b), axis=-1),
            np.stack((e - f, c + d, a + b, squares[..., 3]), axis=-1),
        ),
        axis=-2,
    )
    best = np.argmax(squares, axis=-1)
    chosen = np.take_along_axis(candidates, best[..., np.newaxis, np.newaxis], axis=-2)[..., 0, :]
    chosen = np.where(usable[..., np.newaxis], chosen, np.array([1.0, 0.0, 0.0, 0.0]))
    return normalize(chosen)
