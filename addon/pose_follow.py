# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a part is while someone poses it: the trail bends to it before any key is set."""

from __future__ import annotations

import bpy
import numpy as np

from . import kept
from .selection import find_owner

LEAST_M = 1e-4
"""A part that is nearer to where its curves put it was not posed."""


def follow_pose(scene: bpy.types.Scene, depsgraph: bpy.types.Depsgraph, entry: kept.Kept) -> bool:
    """Note where the parts of evaluated characters are now; say whether any was posed.

    The reading's own curves say where they ought to be; only what differs is kept, and it holds
    for the current frame alone.
    """
    posed: dict[tuple[str, str], np.ndarray] = {}
    frame = scene.frame_current
    for facts in entry.reading.subjects:
        motion = entry.motions.get(facts.name)
        owner = find_owner(facts, scene)
        if motion is None or owner is None or owner.type != "ARMATURE":
            continue
        row = frame - int(motion.frames[0])
        if not 0 <= row < motion.frame_count:
            continue
        evaluated = owner.evaluated_get(depsgraph)
        world = np.array(evaluated.matrix_world)
        for part, mapped in facts.parts.items():
            bone = evaluated.pose.bones.get(mapped.bone)
            if bone is None or not motion.has(part):
                continue
            place = (world[:3, :3] @ np.array(bone.head) + world[:3, 3]) * entry.metres_per_unit
            if np.linalg.norm(place - motion.head(part)[row]) > LEAST_M:
                posed[facts.name, part] = place
    changed = bool(posed) or bool(entry.posed)
    entry.posed, entry.posed_frame = posed, frame
    if changed:
        kept.touch(entry)
    return changed
