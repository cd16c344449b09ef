# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Forward kinematics where nothing is scaled: quaternions down a tree of bones, all frames at once.

Most bodies are posed so. It does what `posing` does with matrices, with half the numbers, and the
rotations need not be taken out of matrices in the end. Arrays lie number by number: (4, B, F).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .kinematics import split_transforms
from .posing import BoneTree

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BLOCK = 1 << 12
"""Bones times frames whose angles are turned into quaternions at a time."""

_ALIKE = 1e-6
"""Axes whose lengths, or angles, differ by less than this share are those of a plain rotation."""


def euler_to_quaternion(angles: ArrayLike, order: str) -> FloatArray:
    """Return unit quaternions w, x, y, z of Euler angles.

    Parameters
    ----------
    angles : array_like, shape (3, ...), radians
        About x, y and z, whatever the order.
    order : str
        "XYZ" turns about x first, then about the fixed y, then about the fixed z.

    Returns
    -------
    ndarray, shape (4, ...)
    """
    given = np.asarray(angles, dtype=np.float64)
    result = np.empty((4, *given.shape[1:]))
    if given.ndim < 3:
        _put_euler(given, order, result)
        return result
    # A few bones at a time: what is worked out on the way stays in the processor.
    size = max(1, BLOCK // max(1, given.shape[-1]))
    for first in range(0, given.shape[1], size):
        some = slice(first, first + size)
        _put_euler(given[:, some], order, result[:, some])
    return result


def _put_euler(angles: FloatArray, order: str, result: FloatArray) -> None:
    i, j, k = ("XYZ".index(letter) for letter in order)
    half = 0.5 * angles
    odd = (j - i) % 3 == 2
    if odd:
        # A left-handed order of axes turns the other way about the middle one.
        half[j] = -half[j]
    sines, cosines = np.sin(half), np.cos(half)
    si, sj, sk, ci, cj, ck = (v[axis] for v in (sines, cosines) for axis in (i, j, k))
    cc, cs, sc, ss = ci * ck, ci * sk, si * ck, si * sk
    result[0] = cj * cc + sj * ss
    result[1 + i] = cj * sc - sj * cs
    result[1 + j] = cj * ss + sj * cc
    result[1 + k] = cj * cs - sj * sc
    if odd:
        result[1 + j] = -result[1 + j]


def rotation_to_quaternion(values: ArrayLike, mode: str) -> FloatArray:
    """Return unit quaternions of channels in any rotation mode, shape (4, ...).

    A quaternion without length is half a turn about x, as in the host; an axis without length
    does not turn.
    """
    if mode not in ("QUATERNION", "AXIS_ANGLE"):
        return euler_to_quaternion(values, mode)
    given = np.asarray(values, dtype=np.float64)
    if mode == "AXIS_ANGLE":
        length = np.sqrt(_square(given[1:]))
        half = np.where(length > 0.0, given[0], 0.0) / 2.0
        axis = given[1:] / np.where(length > 0.0, length, 1.0)
        return np.concatenate((np.cos(half)[np.newaxis], np.sin(half) * axis))
    length = np.sqrt(_square(given))
    unit: FloatArray = given / np.where(length > 0.0, length, 1.0)
    unit[1][length == 0.0] = 1.0
    return unit


def multiply(a: FloatArray, b: FloatArray, into: FloatArray | None = None) -> FloatArray:
    """Return products of quaternions, shapes (4, ...) that broadcast: first `b`, then `a`.

    `into` is an array apart from both that takes them.
    """
    (aw, ax, ay, az), (bw, bx, by, bz) = a, b
    product = into
    if product is None:
        product = np.empty((4, *np.broadcast_shapes(a.shape[1:], b.shape[1:])))
    product[0] = aw * bw - ax * bx - ay * by - az * bz
    product[1] = aw * bx + ax * bw + ay * bz - az * by
    product[2] = aw * by - ax * bz + ay * bw + az * bx
    product[3] = aw * bz + ax * by - ay * bx + az * bw
    return product


def rotate(q: FloatArray, vectors: FloatArray) -> FloatArray:
    """Turn vectors, (3, ...), by unit quaternions, (4, ...); the shapes broadcast."""
    (w, x, y, z), (vx, vy, vz) = q, vectors
    tx, ty, tz = 2.0 * (y * vz - z * vy), 2.0 * (z * vx - x * vz), 2.0 * (x * vy - y * vx)
    turned = np.empty((3, *tx.shape))
    turned[0] = vx + w * tx + y * tz - z * ty
    turned[1] = vy + w * ty + z * tx - x * tz
    turned[2] = vz + w * tz + x * ty - y * tx
    return turned


def find_second_axis(q: FloatArray) -> FloatArray:
    """Return the second axis, the one along a bone, of unit quaternions, (4, ...) to (3, ...)."""
    w, x, y, z = q
    axis = np.empty((3, *w.shape))
    axis[0] = 2.0 * (x * y - w * z)
    axis[1] = 1.0 - 2.0 * (x * x + z * z)
    axis[2] = 2.0 * (y * z + w * x)
    return axis


def has_even_scale(transform: FloatArray) -> bool:
    """Say whether a transform, (3, 4), scales alike along all axes and mirrors nothing."""
    axes = transform[:, :3]
    squared = np.sum(axes[:, 0] ** 2)
    product = axes.T @ axes - squared * np.eye(3)
    even = squared > 0.0 and np.all(np.abs(product) <= _ALIKE * squared)
    return bool(even and np.linalg.det(axes) > 0.0)


def turn_bones(
    tree: BoneTree,
    turned: FloatArray,
    moving: IntArray,
    moved: FloatArray,
    world: FloatArray,
    scale: FloatArray,
    into: tuple[FloatArray, FloatArray] | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Return where bones are in the world, and how they are turned.

    Parameters
    ----------
    tree : BoneTree
        All of its bones `plain`.
    turned : ndarray, shape (4, B, F)
        Each bone's own rotation.
    moving : ndarray of int, shape (M,)
        The bones that have a location of their own; the others stay where they are at rest.
    moved : ndarray, shape (3, M, F)
        These bones' own locations.
    world : ndarray, shape (3, 4, F)
        Where the armature is.
    scale : ndarray, shape (F,)
        By how much it scales, alike along all axes.
    into : heads and rotations, optional
        Arrays that take the result, of the shapes that are returned.

    Returns
    -------
    heads : ndarray, shape (3, B, F)
    rotations : ndarray, shape (4, B, F)
        Unit quaternions w, x, y, z.
    """
    offsets = np.ascontiguousarray(tree.offsets[:, :3].transpose(1, 2, 0))[..., np.newaxis]
    places, rests = split_transforms(offsets)
    free = ~(tree.connected & (tree.parents >= 0))[moving]
    slot = np.full(len(tree.parents), -1)
    slot[moving[free]] = np.flatnonzero(free)
    is_scaled = np.any(scale != 1.0)
    # What carries the bones mostly stands still.
    stands = bool(np.all(world == world[..., :1]))
    at, carried = split_transforms(world[..., :1] if stands else world)
    heads, rotations = into or (np.empty((3, *turned.shape[1:])), np.empty(turned.shape))
    multiply(rests, turned, rotations)
    for level in tree.levels:
        rows = slice(int(level[0]), int(level[-1]) + 1)
        some = rows if rows.stop - rows.start == len(level) else level
        above, way = tree.parents[level], places[:, some]
        own = np.flatnonzero(slot[level] >= 0)
        if len(own):
            way = np.repeat(way, turned.shape[-1], axis=-1)
            way[:, own] += rotate(rests[:, level[own]], moved[:, slot[level[own]]])
        if is_scaled:
            way = way * scale
        if above[0] < 0:
            base, outer = at[:, np.newaxis], carried[:, np.newaxis]
        else:
            base, outer = heads[:, above], rotations[:, above]
        heads[:, some] = base + rotate(outer, way)
        rotations[:, some] = multiply(outer, rotations[:, some])
    return heads, rotations


def _square(v: FloatArray) -> FloatArray:
    total: FloatArray = v[0] * v[0]
    for number in v[1:]:
        total += number * number
    return total
