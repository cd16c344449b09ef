# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Channels to rotations against SciPy, and both ways down a tree of bones against each other."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fettle.core_math import split_transforms
from fettle.core_math.posing import (
    BoneTree,
    InheritScale,
    chain_transforms,
    compose,
    pose_bones,
    rotation_to_matrix,
)
from fettle.core_math.rigid_posing import (
    find_second_axis,
    has_even_scale,
    multiply,
    rotate,
    rotation_to_quaternion,
    turn_bones,
)

ORDERS = ["XYZ", "XZY", "YXZ", "YZX", "ZXY", "ZYX"]
MODES = [*ORDERS, "QUATERNION", "AXIS_ANGLE"]


def draw(mode, rng, count=40):
    """Return raw channels, and what SciPy makes of them."""
    if mode == "QUATERNION":
        raw = rng.normal(size=(4, count)) * rng.uniform(0.2, 3.0, count)
        return raw, Rotation.from_quat(np.roll(raw, -1, axis=0).T)
    if mode == "AXIS_ANGLE":
        raw = np.concatenate((rng.uniform(-7, 7, (1, count)), rng.normal(size=(3, count))))
        axes = raw[1:] / np.linalg.norm(raw[1:], axis=0)
        return raw, Rotation.from_rotvec((raw[0] * axes).T)
    raw = rng.uniform(-7, 7, (3, count))
    # About the fixed axes, in the order of the letters: SciPy's lower case.
    own = raw[["XYZ".index(letter) for letter in mode]]
    return raw, Rotation.from_euler(mode.lower(), own.T)


def by_scipy(quaternions):
    return Rotation.from_quat(np.roll(quaternions, -1, axis=0).reshape(4, -1).T)


@pytest.mark.parametrize("mode", MODES)
def test_channels_are_the_rotations_scipy_makes_of_them(mode):
    raw, expected = draw(mode, np.random.default_rng(3))
    matrices = np.moveaxis(rotation_to_matrix(raw, mode), -1, 0)
    np.testing.assert_allclose(matrices, expected.as_matrix(), atol=1e-12)
    quaternions = rotation_to_quaternion(raw, mode)
    np.testing.assert_allclose(np.linalg.norm(quaternions, axis=0), 1.0, atol=1e-12)
    apart = (by_scipy(quaternions).inv() * expected).magnitude()
    np.testing.assert_allclose(apart, 0.0, atol=1e-7)


@pytest.mark.parametrize("mode", ["QUATERNION", "AXIS_ANGLE"])
def test_channels_of_no_length_mean_the_same_both_ways(mode):
    raw = np.array([[0.0, 0.7], [0.0, 0.0], [0.0, 0.0], [0.0, 0.0]])
    turned = by_scipy(rotation_to_quaternion(raw, mode)).as_matrix()
    np.testing.assert_allclose(
        turned, np.moveaxis(rotation_to_matrix(raw, mode), -1, 0), atol=1e-12
    )


def test_products_and_turned_vectors():
    rng = np.random.default_rng(5)
    (a, first), (b, second) = (draw("QUATERNION", rng) for _ in range(2))
    a, b = (q / np.linalg.norm(q, axis=0) for q in (a, b))
    apart = (by_scipy(multiply(a, b)).inv() * (first * second)).magnitude()
    np.testing.assert_allclose(apart, 0.0, atol=1e-7)
    vectors = rng.normal(size=(3, 40))
    np.testing.assert_allclose(rotate(a, vectors).T, first.apply(vectors.T), atol=1e-12)
    np.testing.assert_allclose(find_second_axis(a).T, first.as_matrix()[..., 1], atol=1e-12)


def grow(rng, count):
    """A tree at rest in any pose, parents first and by their depth."""
    parents = np.array([-1, -1, *(int(rng.integers(row)) for row in range(2, count))])
    depth = np.zeros(count, dtype=int)
    for row, parent in enumerate(parents):
        depth[row] = depth[parent] + 1 if parent >= 0 else 0
    order = np.argsort(depth, kind="stable")
    place = np.argsort(order)
    parents = np.array([place[p] if p >= 0 else -1 for p in parents[order]])
    rest = np.tile(np.eye(4), (count, 1, 1))
    rest[:, :3, :3] = Rotation.random(count, random_state=int(rng.integers(1000))).as_matrix()
    rest[:, :3, 3] = rng.normal(size=(count, 3))
    yes = np.ones(count, dtype=bool)
    return BoneTree(
        parents, rest, yes, np.full(count, InheritScale.FULL), yes, rng.random(count) < 0.5
    )


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("scale", [1.0, 0.01])
def test_bones_by_quaternions_are_where_matrices_put_them(seed, scale):
    rng = np.random.default_rng(seed)
    tree, frames = grow(rng, 12), 9
    angles = rng.uniform(-3, 3, (3, 12, frames))
    moved = np.where(rng.random((1, 12, 1)) < 0.5, rng.normal(size=(3, 12, frames)), 0.0)
    turn = rotation_to_matrix(rng.uniform(-3, 3, (3, frames)), "YZX")
    world = compose(rng.normal(size=(3, frames)), turn, np.full((3, frames), scale))
    basis = compose(moved, rotation_to_matrix(angles, "ZXY"), np.ones_like(moved))
    posed = pose_bones(tree, basis, world)
    own = rotation_to_quaternion(angles, "ZXY")
    moving = np.flatnonzero(np.any(moved != 0.0, axis=(0, 2)))
    heads, turned = turn_bones(tree, own, moving, moved[:, moving], world, np.full(frames, scale))
    np.testing.assert_allclose(heads, posed[:, 3], atol=1e-11)
    np.testing.assert_allclose(scale * find_second_axis(turned), posed[:, 1], atol=1e-11)
    _, expected = split_transforms(posed)
    apart = (by_scipy(turned).inv() * by_scipy(expected)).magnitude()
    np.testing.assert_allclose(apart, 0.0, atol=1e-6)


@pytest.mark.parametrize("plain", [True, False])
def test_the_world_is_put_before_the_armatures_space(plain):
    rng = np.random.default_rng(8)
    tree, frames = grow(rng, 7), 5
    if not plain:
        tree.inherit_scale[4] = InheritScale.NONE
    basis = compose(
        rng.normal(size=(3, 7, frames)),
        rotation_to_matrix(rng.uniform(-3, 3, (3, 7, frames)), "XYZ"),
        rng.uniform(0.5, 2.0, (3, 7, frames)),
    )
    world = rng.normal(size=(3, 4, frames))
    expected = chain_transforms(world[:, :, np.newaxis], pose_bones(tree, basis))
    np.testing.assert_allclose(pose_bones(tree, basis, world), expected, atol=1e-9)


@pytest.mark.parametrize(
    ("axes", "even"),
    [
        (np.diag([2.0, 2.0, 2.0]), True),
        (np.diag([2.0, 2.0, 2.1]), False),
        (np.diag([1.0, 1.0, -1.0]), False),
        (np.zeros((3, 3)), False),
        ([[1.0, 0.1, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], False),
    ],
)
def test_even_scale(axes, even):
    turned = Rotation.from_rotvec([0.3, -1.0, 0.4]).as_matrix() @ np.asarray(axes)
    assert has_even_scale(np.concatenate((turned, np.ones((3, 1))), axis=1)) is even
