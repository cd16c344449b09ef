# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults between parts: twins, copies, planks, moves and keys on common frames."""

from __future__ import annotations

from dataclasses import replace

import formula_motions
import numpy as np
import reposing
from planting_case import (
    CAPTURE,
    FORMULA,
    GESTURE,
    POSES,
    RIG,
    WALK,
    Case,
    Fault,
    bone,
    fault,
    way_turned,
)

from fettle.core_math import Severity
from fettle.core_math.measures import rotations
from fettle.core_math.motion import KeyTrack, Motion

ARM = ("upper_arm", "forearm", "hand")
KEY_EVERY_S = 0.4
SWINGS = 8


def mirror_arms(case: Case, size: float) -> Fault | None:
    """Give the right arm the left one's mirror image for some seconds."""
    motion = case.motion
    needed = [f"{part}{side}" for part in ARM for side in (".L", ".R")]
    if not motion.has(*needed, "hips", "neck"):
        return None
    length = max(2, round(size * motion.fps))
    way = way_turned(bone(motion, "upper_arm.L", "forearm.L"))
    beat = case.frames(12)
    lively = np.zeros(motion.frame_count, dtype=bool)
    # Every half second of the stretch moves, or there is nothing to mirror.
    lively[: len(way) - beat] = way[beat:] - way[:-beat] > 12.0
    rows = np.arange(motion.frame_count - length)
    good = np.zeros(motion.frame_count, dtype=bool)
    good[rows] = [lively[r : r + max(1, length - beat)].all() for r in rows]
    first = case.pick(good, 0.2)
    if first is None:
        return None
    last = first + length - 1
    mirrored = reposing.mirror_limb(
        motion,
        ARM,
        motion.frame(first),
        motion.frame(last),
        axes=_find_body_axes(motion),
        blend=case.frames(4),
    )
    return fault(mirrored, ["hand.L", "hand.R"], first, last)


def copy_strand(case: Case, size: float) -> Fault | None:
    """Paste a share of one strand's turning on another, on the same frames."""
    motion, random = case.motion, case.random
    strands = [p for p in motion.parts if p.startswith("strand:") and "/" not in p]
    if len(strands) < 2:
        return None
    one, other = (strands[i] for i in random.permutation(len(strands))[:2])
    length = round(float(random.uniform(2.5, 4.0)) * motion.fps)
    first = int(random.integers(case.frames(8), motion.frame_count - length - case.frames(8)))
    last = first + length - 1
    share = size * reposing.ramp(motion, motion.frame(first), motion.frame(last), case.frames(4))
    turns = {}
    for source, target in zip(motion.chain(one), motion.chain(other), strict=False):
        own = motion.local_rotations[:, motion.index(target)]
        turns[target] = reposing.mix(own, motion.local_rotations[:, motion.index(source)], share)
    parts = [*motion.chain(one), *motion.chain(other)]
    return fault(reposing.repose(motion, turns), parts, first, last)


def stiffen_chain(case: Case, size: float) -> Fault | None:
    """Take a share of the drag out of a swinging arm or strand, all its joints after the first."""
    motion = case.motion
    strands = [p for p in motion.parts if p.startswith("strand:") and "/" not in p]
    options = [motion.chain(strand) for strand in strands]
    options += [
        tuple(f"{part}{side}" for part in ARM)
        for side in (".L", ".R")
        if motion.has(*(f"{part}{side}" for part in ARM))
    ]
    joints = case.choose(options)
    if joints is None:
        return None
    wholes = [_swing_vectors(motion, joint) for joint in joints]
    # Joints of a strand share their axes; those of an arm have each their own main one.
    strand = joints[0].startswith("strand:")
    ways = [np.eye(3) if strand else _main_axis(whole) for whole in wholes]
    signals = [whole @ way for whole, way in zip(wholes, ways, strict=True)]
    main = signals[0][:, np.argmax(np.std(signals[0], axis=0))]
    crossings = np.flatnonzero(np.diff(np.sign(main)))
    if len(crossings) < SWINGS or np.std(main) < 3.0:
        return None
    turns = {}
    for joint, way, own in zip(joints[1:], ways[1:], signals[1:], strict=True):
        likeness = float(np.sign(np.sum(own * signals[0])) or 1.0)
        together = signals[0] * likeness * np.std(own) / np.std(signals[0])
        change = size * (together - own) @ way.T
        length = np.linalg.norm(change, axis=-1)
        axes = np.where(length[:, np.newaxis] > 0.0, change, [1.0, 0.0, 0.0])
        turn = rotations.from_axis_angle(axes, length)
        local = motion.local_rotations[:, motion.index(joint)]
        turns[joint] = rotations.multiply(turn, local)
    moved = reposing.repose(motion, turns)
    return fault(moved, joints, int(crossings[0]), int(crossings[-1]))


def move_together(case: Case, size: float) -> Fault | None:
    """Start and stop all parts on the same frames for some changes of pose in a row."""
    assert case.options is not None, "planted into poses only"
    options = {**case.options, "together": int(size)}
    motion = formula_motions.make_pose_changes(**options)
    spans = formula_motions.list_shared_moves(**options)
    first, last = (round(t * motion.fps) for t in (spans[0][0], spans[-1][1]))
    return fault(motion, ["hand.L", "hand.R", "head", "chest"], first, last)


def _swing_vectors(motion: Motion, part: str) -> np.ndarray:
    """Return a part's own turn about its mean pose, rotation vectors (F, 3), degrees."""
    local = motion.local_rotations[:, motion.index(part)]
    vectors = rotations.rotation_vector(
        rotations.multiply(local, rotations.conjugate(local[len(local) // 2]))
    )
    return vectors - vectors.mean(axis=0)


def _main_axis(vectors: np.ndarray) -> np.ndarray:
    """Return the axis about which a part swings most, shape (3, 1)."""
    return np.linalg.svd(vectors, full_matrices=False)[2][:1].T


def key_in_columns(case: Case, size: float) -> Fault | None:
    """Key every part on the same frames but for a share that sits one to three frames beside."""
    motion, random = case.motion, case.random
    step = max(4, round(KEY_EVERY_S * motion.fps))
    columns = np.arange(step, motion.frame_count - step, step)
    if len(columns) < 6:
        return None
    tracks = {}
    for part in motion.parts:
        beside = random.random(len(columns)) > size
        late = random.choice([-3, -2, -1, 1, 2, 3], size=len(columns))
        rows = np.concatenate(([0], columns + np.where(beside, late, 0), [motion.frame_count - 1]))
        frames = np.unique(motion.frames[rows]).astype(float)
        tracks[part] = KeyTrack(frames, np.zeros(len(frames), dtype=bool), (part,))
    keyed = replace(motion, keys=tracks, _memo={})
    return fault(keyed, motion.parts, int(columns[0]), int(columns[-1]))


def _find_body_axes(motion: Motion) -> np.ndarray:
    """Return the trunk's left, forward and up, shape (F, 3, 3), from shoulders, hips and neck.

    Arms are copied and flipped as seen from the shoulders; the pelvis may turn below them.
    """
    left = motion.head("upper_arm.L") - motion.head("upper_arm.R")
    left = left / np.linalg.norm(left, axis=-1, keepdims=True)
    up = bone(motion, "hips", "neck")
    up = up - np.sum(up * left, axis=-1, keepdims=True) * left
    up = up / np.linalg.norm(up, axis=-1, keepdims=True)
    return np.stack((left, np.cross(left, up), up), axis=1)


ENTRIES = (
    {
        "check": "twinning",
        "code": "mirrored-motion",
        "sizes": (0.3, 0.6, 1.0, 2.0, 3.0),
        "unit": "s as mirror images",
        "visible_from": 2.0,
        "reason": "practice: one symmetric gesture is everyday, two seconds of them a pattern",
        "plant": mirror_arms,
        "families": (FORMULA, WALK, CAPTURE, RIG),
    },
    {
        "check": "copied-strands",
        "code": "same-on-the-same-frame",
        "sizes": (0.3, 0.6, 0.8, 0.95, 1.0),
        "unit": "share that is copied",
        "visible_from": 0.95,
        "reason": "practice: the two differ by a degree or less",
        "plant": copy_strand,
        "families": (FORMULA,),
        "kinds": ("swings",),
        "seconds": 8.0,
    },
    {
        "check": "lockstep-keys",
        "code": "keyed-in-columns",
        "sizes": (0.2, 0.4, 0.7, 0.92, 1.0),
        "unit": "share of keys on the columns",
        "visible_from": 0.92,
        "reason": "practice: nine of ten keys are where everybody's are",
        "plant": key_in_columns,
        "families": (FORMULA, GESTURE, WALK),
        "least": Severity.FAINT,
    },
    {
        "check": "no-overlap",
        "code": "all-joints-at-once",
        "sizes": (0.0, 0.3, 0.6, 0.92, 1.0),
        "unit": "share of the drag taken away",
        "visible_from": 0.92,
        "reason": "practice: of 5 frames from the first joint to the last not half a one is left",
        "plant": stiffen_chain,
        "families": (FORMULA,),
        "kinds": ("swings",),
        "seconds": 8.0,
    },
    {
        "check": "same-frame-moves",
        "code": "start-and-stop-together",
        "sizes": (1.0, 2.0, 3.0, 4.0, 5.0),
        "unit": "changes of pose in a row",
        "visible_from": 4.0,
        "reason": "practice: with the fourth in a row a slide show is recognised",
        "plant": move_together,
        "families": (POSES,),
        "seconds": 20.0,
    },
)
