# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of known place and size put into any Motion: pops, breaks of an arc, stalls."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import reposing

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion


def rebuild(motion: Motion, local_rotations: np.ndarray, local_heads: np.ndarray) -> Motion:
    """Pose the skeleton again from turns and places relative to the parents."""
    return reposing.pose_again(motion, local_rotations, local_heads)


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
    return reposing.pose_again(motion, local, motion.local_heads, [motion.index(p) for p in parts])


def move_off(
    motion: Motion, part: str, frames: Sequence[int], percent: float, seed: int = 0
) -> Motion:
    """Move a part, and what hangs on it, by a share of body size on some frames only."""
    places = motion.local_heads.copy()
    off = pick_direction(seed) * percent / 100.0 * motion.height
    places[list(frames), motion.index(part)] += off
    return reposing.repose(motion, local_heads={part: places[:, motion.index(part)]})


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
    return reposing.repose(motion, local_heads={part: places[:, motion.index(part)]})
