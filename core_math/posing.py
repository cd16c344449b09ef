# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Forward kinematics: channels to matrices, and down a tree of bones, all frames at once.

Follows the host: six Euler orders, quaternions of any length, axis and angle; and what a bone
takes over from its parent: rotation or not, scale in one of six ways, location in the parent's
axes or the armature's.

A transform is kept as its upper three rows, and the numbers of one row and column lie together
for all bones and frames: shape (3, 4, bones, frames), so that NumPy has long rows to work on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_STRAIGHT = 1e-4
"""Cosine between two axes under which the host leaves them as they are."""


class InheritScale(IntEnum):
    """How a bone takes over its parent's scale."""

    FULL = 0
    FIX_SHEAR = 1
    AVERAGE = 2
    NONE = 3
    NONE_LEGACY = 4
    ALIGNED = 5


@dataclass(frozen=True, eq=False)
class BoneTree:
    """The bones of an armature at rest, parents before children.

    Attributes
    ----------
    parents : ndarray of int, shape (B,)
        -1 for none.
    rest : ndarray, shape (B, 4, 4)
        Rest matrices in the armature's space.
    inherit_rotation, local_location, connected : ndarray of bool, shape (B,)
    inherit_scale : ndarray of int, shape (B,)
    """

    parents: IntArray
    rest: FloatArray
    inherit_rotation: BoolArray
    inherit_scale: IntArray
    local_location: BoolArray
    connected: BoolArray

    @cached_property
    def plain(self) -> BoolArray:
        """Where a bone simply takes over its parent's transform, shape (B,)."""
        full = self.inherit_rotation & (self.inherit_scale == InheritScale.FULL)
        result: BoolArray = full & self.local_location
        return result

    @cached_property
    def offsets(self) -> FloatArray:
        """Rest matrices as their parents see them, shape (B, 4, 4)."""
        offsets = self.rest.copy()
        children = np.flatnonzero(self.parents >= 0)
        above = self.rest[self.parents[children]]
        inverse = _invert(above[:, :3, :3])
        away = self.rest[children, :3].copy()
        away[..., 3] -= above[:, :3, 3]
        offsets[children, :3] = inverse @ away
        return offsets

    @cached_property
    def levels(self) -> list[IntArray]:
        """Bones by how many are above them."""
        return _group_by_depth(self.parents)


def _invert(axes: FloatArray) -> FloatArray:
    """Return the inverse of matrices, shape (N, 3, 3)."""
    rows = np.moveaxis(axes, -1, 0)
    across = np.stack([np.cross(rows[i - 2], rows[i - 1]) for i in range(3)], axis=1)
    volume = np.sum(rows[0] * across[:, 0], axis=-1)
    inverse: FloatArray = across / volume[:, np.newaxis, np.newaxis]
    return inverse


def euler_to_matrix(angles: ArrayLike, order: str) -> FloatArray:
    """Return rotation matrices of Euler angles.

    Parameters
    ----------
    angles : array_like, shape (3, ...), radians
        About x, y and z, whatever the order.
    order : str
        "XYZ" turns about x first, then about the fixed y, then about the fixed z.

    Returns
    -------
    ndarray, shape (3, 3, ...)
    """
    i, j, k = ("XYZ".index(letter) for letter in order)
    turned = np.asarray(angles, dtype=np.float64)
    if (j - i) % 3 == 2:
        # A left-handed order of axes turns the other way.
        turned = -turned
    sines, cosines = np.sin(turned), np.cos(turned)
    sa, sb, sc, ca, cb, cc = (v[axis] for v in (sines, cosines) for axis in (i, j, k))
    result = np.empty((3, *turned.shape))
    result[i, i] = cb * cc
    result[j, i] = cb * sc
    result[k, i] = -sb
    result[k, j] = sa * cb
    result[k, k] = ca * cb
    sa_sb, ca_sb = sa * sb, ca * sb
    result[i, j] = sa_sb * cc - ca * sc
    result[i, k] = ca_sb * cc + sa * sc
    result[j, j] = sa_sb * sc + ca * cc
    result[j, k] = ca_sb * sc - sa * cc
    return result


def quaternion_to_matrix(quaternions: ArrayLike) -> FloatArray:
    """Return rotation matrices of quaternions of any length, shape (4, ...) to (3, 3, ...).

    One without length is half a turn about x, as in the host.
    """
    q = np.asarray(quaternions, dtype=np.float64)
    length = np.sqrt(np.sum(q * q, axis=0))
    q = q / np.where(length > 0.0, length, 1.0)
    w, x, y, z = q
    x = np.where(length > 0.0, x, 1.0)
    result = np.empty((3, 3, *w.shape))
    result[0, 0] = 1.0 - 2.0 * (y * y + z * z)
    result[0, 1] = 2.0 * (x * y - w * z)
    result[0, 2] = 2.0 * (x * z + w * y)
    result[1, 0] = 2.0 * (x * y + w * z)
    result[1, 1] = 1.0 - 2.0 * (x * x + z * z)
    result[1, 2] = 2.0 * (y * z - w * x)
    result[2, 0] = 2.0 * (x * z - w * y)
    result[2, 1] = 2.0 * (y * z + w * x)
    result[2, 2] = 1.0 - 2.0 * (x * x + y * y)
    return result


def axis_angle_to_matrix(values: ArrayLike) -> FloatArray:
    """Return rotation matrices of angle (radians) and axis, shape (4, ...) to (3, 3, ...).

    An axis without length does not turn.
    """
    given = np.asarray(values, dtype=np.float64)
    length = np.sqrt(np.sum(given[1:] ** 2, axis=0))
    half = np.where(length > 0.0, given[0], 0.0) / 2.0
    axis = given[1:] / np.where(length > 0.0, length, 1.0)
    return quaternion_to_matrix(np.concatenate((np.cos(half)[np.newaxis], np.sin(half) * axis)))


def rotation_to_matrix(values: ArrayLike, mode: str) -> FloatArray:
    """Return rotation matrices of channels in any rotation mode, shape (3, 3, ...)."""
    if mode == "QUATERNION":
        return quaternion_to_matrix(values)
    if mode == "AXIS_ANGLE":
        return axis_angle_to_matrix(values)
    return euler_to_matrix(values, mode)


def compose(location: FloatArray, rotation: FloatArray, scale: FloatArray) -> FloatArray:
    """Return transforms of locations and scales, (3, ...), and rotation matrices, (3, 3, ...).

    Returns
    -------
    ndarray, shape (3, 4, ...)
    """
    result = np.empty((3, 4, *location.shape[1:]))
    np.multiply(rotation, scale, out=result[:, :3])
    result[:, 3] = location
    return result


def chain_transforms(outer: FloatArray, inner: FloatArray) -> FloatArray:
    """Return transforms one after the other, inner first, shapes (3, 4, ...) that broadcast."""
    result = np.empty(np.broadcast_shapes(outer.shape, inner.shape))
    product = np.empty(result.shape[2:])
    # Number by number: each lies together in memory, and stays in the processor's own.
    for row in range(3):
        for column in range(4):
            into = result[row, column]
            np.multiply(outer[row, 0], inner[0, column], out=into)
            into += np.multiply(outer[row, 1], inner[1, column], out=product)
            into += np.multiply(outer[row, 2], inner[2, column], out=product)
        result[row, 3] += outer[row, 3]
    return result


def pose_bones(tree: BoneTree, basis: FloatArray, world: FloatArray | None = None) -> FloatArray:
    """Return the posed bones in the armature's space, or in the world's.

    Parameters
    ----------
    tree : BoneTree
    basis : ndarray, shape (3, 4, B, F)
        Each bone's own channels as a transform.
    world : ndarray, shape (3, 4, F), optional
        Where the armature is in the world.

    Returns
    -------
    ndarray, shape (3, 4, B, F)
    """
    own = basis
    if np.any(tree.connected):
        own = basis.copy()
        own[:, 3, tree.connected & (tree.parents >= 0)] = 0.0
    offsets = tree.offsets
    result = chain_transforms(_as_rows(offsets), own)
    plain = tree.plain
    # Where all bones simply follow, it is enough to put those that follow none into the world.
    carried = world is not None and bool(np.all(plain))
    for level in tree.levels:
        simple = level[plain[level]]
        if len(simple) and tree.parents[simple[0]] >= 0:
            result[:, :, simple] = chain_transforms(
                result[:, :, tree.parents[simple]], result[:, :, simple]
            )
        elif world is not None and carried:
            result[:, :, simple] = chain_transforms(world[:, :, np.newaxis], result[:, :, simple])
        for bone in level[~plain[level]]:
            parent = int(tree.parents[bone])
            posed = _as_frames(result[:, :, parent]) if parent >= 0 else None
            rest = tree.rest[parent] if parent >= 0 else None
            special = _pose_special(
                tree, int(bone), offsets[bone], _as_frames(own[:, :, bone]), posed, rest
            )
            result[:, :, bone] = np.moveaxis(special, 0, -1)
    if world is not None and not carried:
        return chain_transforms(world[:, :, np.newaxis], result)
    return result


def _as_rows(matrices: FloatArray) -> FloatArray:
    """Bring matrices, (B, 4, 4), into the shape (3, 4, B, 1)."""
    return np.ascontiguousarray(matrices[:, :3].transpose(1, 2, 0))[..., np.newaxis]


def _as_frames(rows: FloatArray) -> FloatArray:
    """Bring the transforms of one bone, (3, 4, F), into the shape (F, 3, 4)."""
    return np.ascontiguousarray(np.moveaxis(rows, -1, 0))


def _group_by_depth(parents: IntArray) -> list[IntArray]:
    depth = np.zeros(len(parents), dtype=np.int64)
    for bone, parent in enumerate(parents):
        if parent >= bone:
            raise ValueError(f"bone {bone} comes before its parent {parent}")
        depth[bone] = depth[parent] + 1 if parent >= 0 else 0
    return [np.flatnonzero(depth == level) for level in range(int(depth.max(initial=-1)) + 1)]


def _pose_special(
    tree: BoneTree,
    bone: int,
    offset: FloatArray,
    own: FloatArray,
    parent: FloatArray | None,
    parent_rest: FloatArray | None,
) -> FloatArray:
    """Pose one bone that does not simply take over its parent's transform, (F, 3, 4)."""
    local = bool(tree.local_location[bone])
    turn, place = offset[:3, :3], offset[:3, 3]
    result = np.empty_like(own)
    if parent is None or parent_rest is None:
        result[..., :3] = turn @ own[..., :3]
        result[..., 3] = place + (own[..., 3] @ turn.T if local else own[..., 3])
        return result
    mode = InheritScale(int(tree.inherit_scale[bone]))
    rotates = bool(tree.inherit_rotation[bone])
    axes = parent[:, :3, :3]
    post = np.ones((len(parent), 3))
    if rotates:
        carried = axes
        if mode in (InheritScale.NONE, InheritScale.AVERAGE):
            carried = _square_up(axes, unit=True)
        elif mode is InheritScale.ALIGNED:
            carried = _square_up(axes, unit=False)
            post = _lengths(carried)
            carried = carried / _never_zero(post)[:, np.newaxis, :]
        elif mode is InheritScale.NONE_LEGACY:
            carried = axes / _never_zero(_lengths(axes))[:, np.newaxis, :]
    else:
        carried = np.broadcast_to(parent_rest[:3, :3], axes.shape)
        if mode is InheritScale.FULL:
            carried = carried * _lengths(axes)[:, np.newaxis, :]
        elif mode is InheritScale.FIX_SHEAR:
            carried = carried * _true_scale(axes)[:, np.newaxis, :]
        elif mode is InheritScale.ALIGNED:
            post = _true_scale(axes)
    if mode is InheritScale.AVERAGE:
        carried = carried * np.cbrt(np.abs(np.linalg.det(axes)))[:, np.newaxis, np.newaxis]
    turned = carried @ turn
    if mode is InheritScale.FIX_SHEAR:
        turned = _square_up(turned, unit=False)
    result[..., :3] = turned @ own[..., :3] * post[:, np.newaxis, :]
    way = place + (own[..., 3] @ turn.T if local else own[..., 3])
    result[..., 3] = (axes @ way[..., np.newaxis])[..., 0] + parent[..., 3]
    return result


def _lengths(axes: FloatArray) -> FloatArray:
    return np.linalg.norm(axes, axis=-2)


def _never_zero(lengths: FloatArray) -> FloatArray:
    return np.where(lengths > 0.0, lengths, 1.0)


def _true_scale(axes: FloatArray) -> FloatArray:
    """Return the scale along the axes with the volume that is left under shear, (F, 3)."""
    size = _lengths(axes)
    box = np.prod(size, axis=-1)
    share = np.abs(np.linalg.det(axes)) / np.where(box > 0.0, box, 1.0)
    return size * np.where(box > 0.0, np.cbrt(share), 1.0)[:, np.newaxis]


def _square_up(axes: FloatArray, unit: bool) -> FloatArray:
    """Make axes square to each other about the second one, keeping their volume, (F, 3, 3).

    Both other axes are brought into the plane across it and turned towards a right angle by the
    same amount each; `unit` makes all of length 1.
    """
    x, y, z = axes[..., 0], axes[..., 1], axes[..., 2]
    squared = np.sum(y * y, axis=-1, keepdims=True)
    safe = np.where(squared > 0.0, squared, 1.0)
    x = x - y * np.sum(x * y, axis=-1, keepdims=True) / safe
    z = z - y * np.sum(z * y, axis=-1, keepdims=True) / safe
    x_length = np.linalg.norm(x, axis=-1, keepdims=True)
    z_length = np.linalg.norm(z, axis=-1, keepdims=True)
    x_unit, z_unit = x / _never_zero(x_length), z / _never_zero(z_length)
    cosine = np.sum(x_unit * z_unit, axis=-1, keepdims=True)
    sheared = (np.abs(cosine) > _STRAIGHT) & (np.abs(cosine) < 1.0 - np.finfo(np.float32).eps)
    angle = np.arccos(np.clip(cosine, -1.0, 1.0))
    target = 0.5 * (angle + np.pi / 2.0)
    across = x_unit - cosine * z_unit
    across = across / _never_zero(np.linalg.norm(across, axis=-1, keepdims=True))
    new_x = np.sin(target) * across + np.cos(target) * z_unit
    new_z = np.cross(np.cross(new_x, z_unit), new_x)
    new_z = new_z / _never_zero(np.linalg.norm(new_z, axis=-1, keepdims=True))
    x_unit, z_unit = np.where(sheared, new_x, x_unit), np.where(sheared, new_z, z_unit)
    if unit:
        y = y / np.sqrt(safe)
        return np.stack((x_unit, y, z_unit), axis=-1)
    kept = np.where(sheared, np.sqrt(np.sin(angle)), 1.0)
    return np.stack((x_unit * x_length * kept, y, z_unit * z_length * kept), axis=-1)


def list_with_ancestors(parents: Sequence[int], wanted: Sequence[int]) -> list[int]:
    """Return the wanted bones and all above them, parents first."""
    needed: set[int] = set()
    for bone in wanted:
        at = int(bone)
        while at >= 0 and at not in needed:
            needed.add(at)
            at = int(parents[at])
    return sorted(needed, key=lambda bone: _depth(parents, bone))


def _depth(parents: Sequence[int], bone: int) -> int:
    depth = 0
    while parents[bone] >= 0:
        bone = int(parents[bone])
        depth += 1
    return depth
