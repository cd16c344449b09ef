# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What Motion makes of world samples, against SciPy; and anew for some parts only, bit by bit."""

from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fettle.core_math.motion_making import build_motion
from fettle.core_math.settling import BLOCK, measure_change

PARENTS = [-1, 0, 1, 0, 3, -1]
PARTS = ["hips", "thigh.L", "shin.L", "thigh.R", "shin.R", "root"]
ARRAYS = ("heads", "tails", "rotations", "local_rotations", "local_heads")


def draw(frames, seed=0):
    """Return heads, tails and rotations of any sign and length."""
    rng = np.random.default_rng(seed)
    count = len(PARTS)
    heads, tails = rng.normal(size=(2, frames, count, 3))
    turned = rng.normal(size=(frames, count, 4))
    return heads, tails, turned


def build(heads, tails, turned, **options):
    return build_motion(
        subject="figure", frames=np.arange(len(heads)), fps=24.0, parts=PARTS, parents=PARENTS,
        heads=heads, tails=tails, rotations_wxyz=turned, **options,
    )  # fmt: skip


def rotation(wxyz):
    return Rotation.from_quat(np.roll(wxyz, -1, axis=-1))


def test_each_part_as_its_parent_sees_it():
    heads, tails, turned = draw(30)
    motion = build(heads, tails, turned)
    np.testing.assert_array_equal(motion.heads, heads)
    for row, parent in enumerate(PARENTS):
        own = rotation(turned[:, row])
        local, place = rotation(motion.local_rotations[:, row]), motion.local_heads[:, row]
        if parent < 0:
            expected, offset = own, heads[:, row]
        else:
            above = rotation(turned[:, parent])
            expected = above.inv() * own
            offset = above.inv().apply(heads[:, row] - heads[:, parent])
        np.testing.assert_allclose((expected.inv() * local).magnitude(), 0.0, atol=1e-7)
        np.testing.assert_allclose(place, offset, atol=1e-12)


def test_signs_go_on_over_all_blocks():
    frames = 2 * BLOCK // len(PARTS) + 7
    motion = build(*draw(frames))
    for name in ("rotations", "local_rotations"):
        values = getattr(motion, name)
        assert np.all(np.sum(values[1:] * values[:-1], axis=-1) >= 0.0)
        np.testing.assert_allclose(np.linalg.norm(values, axis=-1), 1.0, atol=1e-12)


def test_change_is_what_scipy_measures():
    motion = build(*draw(20))
    local = [rotation(motion.local_rotations[:, row]) for row in range(len(PARTS))]
    turns = sum(np.degrees((one[:-1].inv() * one[1:]).magnitude()) for one in local)
    travel = np.linalg.norm(np.diff(motion.local_heads, axis=0), axis=-1).sum(axis=-1)
    change = measure_change(motion.local_heads, motion.local_rotations, 2.0)
    np.testing.assert_allclose(change, turns + 50.0 * travel, rtol=1e-9)


@pytest.mark.parametrize("edited", [[], ["shin.L"], ["thigh.R"], ["hips"], ["root", "shin.R"]])
@pytest.mark.parametrize("frames", [40, 2 * BLOCK // len(PARTS) + 7])
def test_parts_settled_anew_are_the_same_as_all_of_them(edited, frames):
    heads, tails, turned = draw(frames)
    before = build(heads, tails, turned)
    kept = {name: getattr(before, name).copy() for name in ARRAYS}
    rows = [PARTS.index(part) for part in edited]
    for values, other in zip((heads, tails, turned), draw(frames, seed=1), strict=True):
        values[5:9, rows] = other[5:9, rows]
    motion = build(heads, tails, turned, before=before, changed=edited)
    whole = build(heads, tails, turned)
    for entry in fields(whole):
        if entry.name in ARRAYS:
            one, other = getattr(motion, entry.name), getattr(whole, entry.name)
            np.testing.assert_array_equal(one.view(np.int64), other.view(np.int64))
            np.testing.assert_array_equal(getattr(before, entry.name), kept[entry.name])
    assert (motion.height, motion.cadence) == (whole.height, whole.cadence)


def test_another_set_of_parts_takes_nothing_over():
    heads, tails, turned = draw(12)
    before = replace(build(heads, tails, turned), parents=(-1, 0, 1, 0, 3, 0))
    motion = build(heads, tails, turned, before=before, changed=[])
    np.testing.assert_array_equal(motion.local_heads, build(heads, tails, turned).local_heads)
