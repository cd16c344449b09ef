# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Make the clip of the generated rig: rig_motion.npz beside this file.

    PYTHONPATH=tests/support python tests/quality/make_rig_clip.py

Blender's own generator makes its human rig of 706 bones; its controls are keyed from pose to pose
as an animator does it: hips first, then trunk, head, upper arms, elbows, wrists and fingers, each a
few frames after the one before, with Blender's automatic handles in between. Feet stay on their IK
controls. Which poses, and how far apart, is drawn from a seed. The rig is then sampled by the
add-on, and what its parts did is stored.

Written for Blender 5.0 as a Python module; the stored clip needs no Blender to be read.
"""

from __future__ import annotations

import math
from pathlib import Path

import bpy
import numpy as np
import rigs

from fettle.addon.sampling import sample_subject
from fettle.addon.subjects import find_subjects

STORED = Path(__file__).with_name("rig_motion.npz")
SEED, FPS, POSES, FIRST = 5, 24, 9, 12

CONTROLS = (
    # control, lateness in frames, degrees about X, Y, Z that a pose may take
    ("torso", 0, (5, 6, 9)),
    ("hips", 1, (3, 3, 4)),
    ("chest", 2, (7, 9, 6)),
    ("neck", 3, (6, 8, 4)),
    ("head", 4, (9, 14, 5)),
    ("shoulder.{}", 2, (3, 3, 5)),
    ("upper_arm_fk.{}", 3, (34, 18, 26)),
    ("forearm_fk.{}", 5, (30, 4, 4)),
    ("hand_fk.{}", 7, (18, 8, 9)),
)
BENT = {"forearm_fk": 38.0, "hand_fk": -8.0}
"""Degrees about X around which elbows and wrists are posed."""

FINGERS = ("thumb.01_master", "f_index.01_master", "f_middle.01_master", "f_ring.01_master",
           "f_pinky.01_master")  # fmt: skip


def main() -> None:
    """Generate, key, sample, store."""
    rigs.start_empty()
    scene = bpy.context.scene
    rig = rigs.generate_rig()
    random = np.random.default_rng(SEED)
    bones = rig.pose.bones
    for side in ("L", "R"):
        bones[f"upper_arm_parent.{side}"]["IK_FK"] = 1.0
    frames = [FIRST]
    while len(frames) < POSES:
        frames.append(frames[-1] + int(random.integers(17, 30)))
    sides = {"L": 0, "R": 2}
    for name, late, room in CONTROLS:
        for side in ("L", "R") if "{}" in name else ("",):
            bone = bones[name.format(side)]
            bone.rotation_mode = "XYZ"
            middle = BENT.get(name.split(".")[0], 0.0)
            for frame in frames:
                angles = np.array(room) * random.uniform(-1.0, 1.0, 3) + [middle, 0.0, 0.0]
                bone.rotation_euler = [math.radians(a) for a in angles]
                at = frame + late + sides.get(side, 0) + int(random.integers(-1, 2))
                bone.keyframe_insert("rotation_euler", frame=at)
    torso = bones["torso"]
    for frame in frames:
        way = random.uniform(-1.0, 1.0, 3) * [0.035, 0.02, 0.012]
        torso.location = way - [0.0, 0.0, 0.03]
        torso.keyframe_insert("location", frame=frame)
    for side in ("L", "R"):
        for number, finger in enumerate(FINGERS):
            bone = bones[f"{finger}.{side}"]
            for frame in frames:
                bone.scale[1] = float(random.uniform(0.6, 0.92))
                at = frame + 8 + sides[side] + number % 3
                bone.keyframe_insert("scale", index=1, frame=at)
    last = frames[-1] + 20
    scene.frame_start, scene.frame_end = 1, last
    scene.render.fps = FPS
    subject = next(s for s in find_subjects(scene, bpy.context.view_layer) if s.name == rig.name)
    motion = sample_subject(scene, bpy.context.view_layer, subject, (1, last)).motion
    np.savez_compressed(
        STORED,
        fps=motion.fps,
        parts=np.array(motion.parts),
        parents=np.array(motion.parents),
        heads=motion.heads.astype(np.float32),
        tails=motion.tails.astype(np.float32),
        rotations=motion.rotations.astype(np.float32),
        ground_height=motion.ground_height,
    )
    print(f"{STORED.name}: {len(motion.parts)} parts, {motion.frame_count} frames")


if __name__ == "__main__":
    main()
