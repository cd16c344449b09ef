# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults between parts: twins, copies, keys in columns."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import reposing
from planting_case import (
    CAPTURE,
    FORMULA,
    GESTURE,
    RIG,
    WALK,
    Case,
    Fault,
    bone,
    fault,
    way_turned,
)

from fettle.core_math import Severity
from fettle.core_math.motion import KeyTrack, Motion

ARM = ("upper_arm", "forearm", "hand")
KEY_EVERY_S = 0.4


def mirror_arms(case: Case, size: float) -> Fault | None:
    """Give the right arm the left one's mirror image for some seconds."""
    motion = case.motion
    needed = [f"{part}{side}" for part in ARM for side in (".L", ".R")]
    if not motion.has(*needed, "thigh.L", "thigh.R", "hips", "neck"):
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
    """Return the body's left, forward and up, shape (F, 3, 3), from the hip joints and the neck."""
    left = motion.head("thigh.L") - motion.head("thigh.R")
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
)
