# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of known place and size put into any Motion: pops, breaks of an arc, stalls."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion, build_motion


def list_by_depth(parents: Sequence[int]) -> list[int]:
    """Return the rows of the parts, every parent before its children."""
    order: list[int] = []
    while len(order) < len(parents):
        order += [i for i, p in enumerate(parents) if i not in order and (p < 0 or p in order)]
    return order


def rebuild(motion: Motion, local_rotations: np.ndarray, local_heads: np.ndarray) -> Motion:
    """Pose the skeleton again from turns and places relative to the parents."""
    heads, world = np.zeros_like(motion.heads), np.zeros_like(motion.rotations)
    reach = rotations.rotate(rotations.conjugate(motion.rotations), motion.tails - motion.heads)
    for row in list_by_depth(motion.parents):
        above = motion.parents[row]
        if above < 0:
            heads[:, row], world[:, row] = local_heads[:, row], local_rotations[:, row]
        else:
            world[:, row] = rotations.multiply(world[:, above], local_rotations[:, row])
            offset = rotations.rotate(world[:, above], local_heads[:, row])
            heads[:, row] = heads[:, above] + offset
    return build_motion(
        subject=motion.subject,
        kind=motion.kind,
        frames=motion.frames,
        fps=motion.fps,
        parts=motion.parts,
        parents=motion.parents,
        heads=heads,
        tails=heads + rotations.rotate(world, reach),
        rotations_wxyz=world,
        keys=motion.keys,
        camera=motion.camera,
        cuts=motion.cuts,
        ground_height=motion.ground_height,
        height=motion.height,
        stage_override=motion.stage,
    )


def pick_direction(seed: int) -> np.ndarray:
    """Return a unit vector that a seed decides."""
    vector = np.random.default_rng(seed).normal(size=3)
    return vector / np.linalg.norm(vector)


def turn_off(
    motion: Motion, parts: Sequence[str], frames: Sequence[int], degrees: float, seed: int = 0
) -> Motion:
    """Turn parts by an angle on some frames (indices) only, about an axis the seed decides."""
    local = motion.local_rotations.copy()
    for number, part in enumerate(parts):
        row = motion.index(part)
        off = rotations.from_axis_angle(pick_direction(seed + number), degrees)
        local[list(frames), row] = rotations.multiply(local[list(frames), row], off)
    return rebuild(motion, local, motion.local_heads)


def move_off(
    motion: Motion, part: str, frames: Sequence[int], percent: float, seed: int = 0
) -> Motion:
    """Move a part, and what hangs on it, by a share of body size on some frames only."""
    places = motion.local_heads.copy()
    off = pick_direction(seed) * percent / 100.0 * motion.height
    places[list(frames), motion.index(part)] += off
    return rebuild(motion, motion.local_rotations, places)


def push_across(
    motion: Motion, part: str, first: int, shape: Sequence[float], percent: float, seed: int = 0
) -> Motion:
    """Move a part across its direction of travel, by `shape` times a share of body size."""
    row = motion.index(part)
    path = motion.heads[:, row]
    way = path[min(first + len(shape), len(path) - 1)] - path[first - 1]
    off = pick_direction(seed)
    length = float(np.linalg.norm(way))
    if length > 0.0:
        off = off - (off @ way) * way / length**2
    off = off / np.linalg.norm(off) * percent / 100.0 * motion.height
    above = motion.parents[row]
    places = motion.local_heads.copy()
    for number, share in enumerate(shape):
        turn = rotations.conjugate(motion.rotations[first + number, above])
        places[first + number, row] += rotations.rotate(turn, share * off)
    return rebuild(motion, motion.local_rotations, places)
