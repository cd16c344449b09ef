# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Plant faults into any motion: edit local rotations or joint offsets, then pose it again.

Everything below an edited part is carried along, as it would be in the rig:

    motion = captures.load("Boxing_Toes", 24)
    welded = reposing.hold(motion, ["spine", "chest"], 30, 54)
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np

from fettle.core_math.measures import rotations, stage
from fettle.core_math.motion import Motion
from fettle.core_math.motion_making import build_motion


def repose(
    motion: Motion,
    local_rotations: Mapping[str, np.ndarray] | None = None,
    local_heads: Mapping[str, np.ndarray] | None = None,
) -> Motion:
    """Return the motion with some parts' local rotations or joint offsets replaced.

    Parameters
    ----------
    motion : Motion
    local_rotations : mapping of part to ndarray, shape (F, 4)
        Relative to the parent part, as `Motion.local_rotations`.
    local_heads : mapping of part to ndarray, shape (F, 3)
        In the parent part's axes, as `Motion.local_heads`.
    """
    turns, places = motion.local_rotations.copy(), motion.local_heads.copy()
    changed = set()
    for wanted, values in ((turns, local_rotations), (places, local_heads)):
        for part, new in (values or {}).items():
            row = motion.index(part)
            wanted[:, row] = new
            changed.add(row)
    return pose_again(motion, turns, places, changed)


def pose_again(
    motion: Motion,
    turns: np.ndarray,
    places: np.ndarray,
    changed: Collection[int] | None = None,
) -> Motion:
    """Pose the skeleton from turns (F, P, 4) and places (F, P, 3) relative to the parents.

    `changed` names the rows that differ from the motion's own; they and all they carry are posed,
    the others stay what they are. Left out, everything is.
    """
    heads, world = motion.heads.copy(), motion.rotations.copy()
    tails, turns = motion.tails.copy(), turns.copy()
    levels = list_levels(motion.parents, changed)
    for rows in levels:
        above = np.asarray(motion.parents)[rows]
        if above[0] < 0:
            world[:, rows], heads[:, rows] = turns[:, rows], places[:, rows]
        else:
            carrying = world[:, above]
            world[:, rows] = rotations.multiply(carrying, turns[:, rows])
            heads[:, rows] = heads[:, above] + rotations.rotate(carrying, places[:, rows])
    posed = np.concatenate([np.zeros(0, dtype=int), *levels])
    own = motion.tails[:, posed] - motion.heads[:, posed]
    own = rotations.rotate(rotations.conjugate(motion.rotations[:, posed]), own)
    for values in (world, turns):
        values[:, posed] = rotations.make_continuous(rotations.normalize(values[:, posed]))
    tails[:, posed] = heads[:, posed] + rotations.rotate(world[:, posed], own)
    steps = rotations.step_angles(turns).sum(axis=-1)
    travel = np.linalg.norm(np.diff(places, axis=0), axis=-1).sum(axis=-1)
    return replace(
        motion,
        heads=heads,
        tails=tails,
        rotations=world,
        local_rotations=turns,
        local_heads=places,
        cadence=stage.find_cadence(steps + 100.0 * travel / motion.height),
        channels={},
        _memo={},
    )


def list_levels(parents: Sequence[int], changed: Collection[int] | None = None) -> list[np.ndarray]:
    """Return the rows to pose, parents before children, all of one depth together.

    `changed` rows and everything below them; all rows when it is left out.
    """
    below = set(range(len(parents)) if changed is None else changed)
    depths: dict[int, int] = {}

    def depth(row: int) -> int:
        if row not in depths:
            above = parents[row]
            depths[row] = 0 if above < 0 else 1 + depth(above)
            if above in below:
                below.add(row)
        return depths[row]

    levels: dict[int, list[int]] = {}
    for row in range(len(parents)):
        depth(row)
    for row in sorted(below):
        levels.setdefault(depths[row], []).append(row)
    return [np.array(levels[number]) for number in sorted(levels)]


def pick_frames(motion: Motion, rows: np.ndarray) -> Motion:
    """Return the motion that shows, frame by frame, the poses of these rows, shape (N,).

    Rows may repeat (a hold) or leave some out; frames are counted on from the first.
    """
    return build_motion(
        subject=motion.subject,
        kind=motion.kind,
        frames=motion.frame(0) + np.arange(len(rows)),
        fps=motion.fps,
        parts=motion.parts,
        parents=motion.parents,
        heads=motion.heads[rows],
        tails=motion.tails[rows],
        rotations_wxyz=motion.rotations[rows],
        ground_height=motion.ground_height,
        height=motion.height,
    )


def resample(motion: Motion, fps: float) -> Motion:
    """Return the motion at another rate, in a straight line from sample to sample."""
    count = int((motion.frame_count - 1) / motion.fps * fps) + 1
    rows = np.arange(count) / fps * motion.fps
    low = np.minimum(rows.astype(int), motion.frame_count - 2)
    share = (rows - low)[:, np.newaxis, np.newaxis]
    heads, tails, world = (
        values[low] * (1.0 - share) + values[low + 1] * share
        for values in (motion.heads, motion.tails, motion.rotations)
    )
    return build_motion(
        subject=motion.subject,
        kind=motion.kind,
        frames=np.arange(1, 1 + count),
        fps=fps,
        parts=motion.parts,
        parents=motion.parents,
        heads=heads,
        tails=tails,
        rotations_wxyz=world,
        ground_height=motion.ground_height,
        height=motion.height,
    )


def hold_drawings(motion: Motion, frames: int) -> Motion:
    """Hold every pose for this many frames: animation on twos, threes, fours."""
    rows = np.arange(motion.frame_count) // frames * frames
    return build_motion(
        subject=motion.subject,
        kind=motion.kind,
        frames=motion.frames,
        fps=motion.fps,
        parts=motion.parts,
        parents=motion.parents,
        heads=motion.heads[rows],
        tails=motion.tails[rows],
        rotations_wxyz=motion.rotations[rows],
        ground_height=motion.ground_height,
        height=motion.height,
    )


def ramp(motion: Motion, first: int, last: int, blend: int = 0) -> np.ndarray:
    """Return shares (F,): 1 on frames first .. last, eased to 0 over `blend` frames outside."""
    frames = motion.frames.astype(float)
    outside = np.maximum(first - frames, frames - last)
    u = np.clip(1.0 - outside / (blend + 1.0), 0.0, 1.0)
    return u * u * (3.0 - 2.0 * u)


def mix(one: np.ndarray, other: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Turn from rotations `one` towards `other` by a share, shapes (F, 4), (F, 4) and (F,)."""
    other = other * np.where(np.sum(one * other, axis=-1, keepdims=True) < 0.0, -1.0, 1.0)
    return rotations.normalize(one + share[:, np.newaxis] * (other - one))


def hold(motion: Motion, parts: Sequence[str], first: int, last: int, blend: int = 3) -> Motion:
    """Freeze parts' local rotations on frames first .. last at what they are on the first."""
    share = ramp(motion, first, last, blend)
    at = first - motion.frame(0)
    turns = {}
    for part in parts:
        own = motion.local_rotations[:, motion.index(part)]
        turns[part] = mix(own, np.broadcast_to(own[at], own.shape), share)
    return repose(motion, turns)


def hold_in_world(motion: Motion, part: str, first: int, last: int, blend: int = 2) -> Motion:
    """Keep a part's world orientation on frames first .. last at what it is on the first."""
    share = ramp(motion, first, last, blend)
    world = motion.rotation(part)
    wanted = mix(world, np.broadcast_to(world[first - motion.frame(0)], world.shape), share)
    parent = motion.parent_of(part)
    above = motion.rotation(parent) if parent else np.broadcast_to((1.0, 0, 0, 0), world.shape)
    return repose(motion, {part: rotations.relative(above, wanted)})


def mirror_limb(
    motion: Motion,
    parts: Sequence[str],
    first: int,
    last: int,
    *,
    axes: np.ndarray,
    lag_frames: float = 0.0,
    size: float = 1.0,
    blend: int = 3,
) -> Motion:
    """Give the right limb the left one's mirrored movement on frames first .. last.

    Directions are mirrored, not channels, so bone axes do not matter: each right bone is turned by
    the shortest way from where it points to the mirror image of where its twin points.

    Parameters
    ----------
    parts : sequence of str
        The limb from top to bottom without side, each but the last with a successor:
        ("upper_arm", "forearm", "hand").
    axes : ndarray, shape (F, 3, 3)
        The body's own axes (left, forward, up) in which to mirror.
    lag_frames, size : float
        The copy's delay, and its size around the limb's mean direction.
    """
    share = ramp(motion, first, last, blend)
    frames = np.arange(motion.frame_count, dtype=float)
    result = motion
    for part, following in zip(parts, parts[1:], strict=False):
        left = motion.head(f"{following}.L") - motion.head(f"{part}.L")
        own = np.einsum("fij,fj->fi", axes, left)
        if size != 1.0:
            middle = own[(motion.frames >= first) & (motion.frames <= last)].mean(axis=0)
            own = middle + size * (own - middle)
        late = np.stack([np.interp(frames - lag_frames, frames, c) for c in own.T], axis=-1)
        target = np.einsum("fij,fi->fj", axes, late * [-1.0, 1.0, 1.0])
        now = result.head(f"{following}.R") - result.head(f"{part}.R")
        turn = shortest_turn(now, target)
        identity = np.broadcast_to((1.0, 0.0, 0.0, 0.0), turn.shape)
        world = rotations.multiply(mix(identity, turn, share), result.rotation(f"{part}.R"))
        parent = result.parent_of(f"{part}.R")
        above = result.rotation(parent) if parent else identity
        result = repose(result, {f"{part}.R": rotations.relative(above, world)})
    return result


def shortest_turn(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Return the rotations, shape (F, 4), that take directions `one` to `other`, (F, 3)."""
    one = one / np.linalg.norm(one, axis=-1, keepdims=True)
    other = other / np.linalg.norm(other, axis=-1, keepdims=True)
    w = 1.0 + np.sum(one * other, axis=-1, keepdims=True)
    return rotations.normalize(np.concatenate((w, np.cross(one, other)), axis=-1))
