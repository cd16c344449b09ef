# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A small animated figure in Blender: enough bones to be mapped, one hand locked in the world."""

import math

import bpy

# name, parent, head, tail (metres); faces -Y, left is +X
BONES = (
    ("hips", None, (0.0, 0.0, 0.95), (0.0, 0.0, 1.10)),
    ("chest", "hips", (0.0, 0.0, 1.10), (0.0, 0.0, 1.45)),
    ("head", "chest", (0.0, 0.0, 1.50), (0.0, 0.0, 1.75)),
    ("upper_arm.L", "chest", (0.18, 0.0, 1.42), (0.46, 0.0, 1.42)),
    ("forearm.L", "upper_arm.L", (0.46, 0.0, 1.42), (0.72, 0.0, 1.42)),
    ("hand.L", "forearm.L", (0.72, 0.0, 1.42), (0.90, 0.0, 1.42)),
    ("upper_arm.R", "chest", (-0.18, 0.0, 1.42), (-0.46, 0.0, 1.42)),
    ("forearm.R", "upper_arm.R", (-0.46, 0.0, 1.42), (-0.72, 0.0, 1.42)),
    ("hand.R", "forearm.R", (-0.72, 0.0, 1.42), (-0.90, 0.0, 1.42)),
    ("thigh.L", "hips", (0.1, 0.0, 0.92), (0.1, 0.0, 0.50)),
    ("shin.L", "thigh.L", (0.1, 0.0, 0.50), (0.1, 0.0, 0.08)),
    ("foot.L", "shin.L", (0.1, 0.0, 0.08), (0.1, -0.15, 0.02)),
    ("thigh.R", "hips", (-0.1, 0.0, 0.92), (-0.1, 0.0, 0.50)),
    ("shin.R", "thigh.R", (-0.1, 0.0, 0.50), (-0.1, 0.0, 0.08)),
    ("foot.R", "shin.R", (-0.1, 0.0, 0.08), (-0.1, -0.15, 0.02)),
)

LAST_FRAME = 48


def build_rig(name="Rig"):
    """Link an armature of that name into the scene, in object mode and without animation."""
    data = bpy.data.armatures.new(name)
    rig = bpy.data.objects.new(name, data)
    bpy.context.scene.collection.objects.link(rig)
    bpy.context.view_layer.objects.active = rig
    rig.select_set(True)
    bpy.ops.object.mode_set(mode="EDIT")
    for bone_name, parent, head, tail in BONES:
        bone = data.edit_bones.new(bone_name)
        bone.head, bone.tail = head, tail
        if parent:
            bone.parent = data.edit_bones[parent]
    bpy.ops.object.mode_set(mode="OBJECT")
    for bone in rig.pose.bones:
        bone.rotation_mode = "XYZ"
    return rig


def swing(rig, bone, degrees, period=24, axis=0, every=4):
    """Key a bone to swing around one of its own axes, a key every few frames."""
    pose_bone = rig.pose.bones[bone]
    for frame in range(1, LAST_FRAME + 1, every):
        angle = math.radians(degrees) * math.sin(2.0 * math.pi * (frame - 1) / period)
        pose_bone.rotation_euler[axis] = angle
        pose_bone.keyframe_insert("rotation_euler", index=axis, frame=frame)


def lock_in_world(rig, bone):
    """Undo every turn of the bones above: the bone keeps its orientation in the world."""
    constraint = rig.pose.bones[bone].constraints.new("COPY_ROTATION")
    anchor = bpy.data.objects.new("Anchor", None)
    bpy.context.scene.collection.objects.link(anchor)
    constraint.target = anchor


def build_shot(locked=True):
    """Make an empty file with a figure whose left arm swings under a hand locked in the world."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    return build_shot_here(locked)


def build_shot_here(locked=True):
    """Do so in the scene that is open."""
    scene = bpy.context.scene
    scene.frame_start, scene.frame_end = 1, LAST_FRAME
    scene.frame_set(7)
    rig = build_rig()
    swing(rig, "upper_arm.L", 40.0)
    swing(rig, "upper_arm.R", 12.0, period=31, axis=2)
    swing(rig, "chest", 8.0, axis=1)
    if locked:
        lock_in_world(rig, "hand.L")
    return scene, rig
