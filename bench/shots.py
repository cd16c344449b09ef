# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The shots that are measured: rigs of any size with seeded keys, a heavy mesh, a capture."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np

from fettle.addon.animation_data import list_played_curves, split_bone_path

KEY_GAP = 8
"""Frames between the keys of a channel."""

_TRUNK = ("hips", "spine", "chest", "neck", "head")
_SIDE = ("shoulder", "upper_arm", "forearm", "hand", "thigh", "shin", "foot", "toe")
_FINGERS = ("thumb", "index", "middle", "ring", "pinky")


def start_empty(frames: int) -> bpy.types.Scene:
    """Open an empty file whose scene has frames 1 .. frames."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene: Any = bpy.context.scene
    scene.frame_start, scene.frame_end = 1, frames
    return scene


def make_rig(bones: int, name: str = "Rig") -> bpy.types.Object:
    """Make a body with fingers, and as many braids as it takes to have this many bones."""
    scene: Any = bpy.context.scene
    data = bpy.data.armatures.new(name)
    rig = bpy.data.objects.new(name, data)
    scene.collection.objects.link(rig)
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    for bone, parent, head, tail in _list_bones(bones):
        edit = data.edit_bones.new(bone)
        edit.head, edit.tail = head, tail
        if parent:
            edit.parent = data.edit_bones[parent]
    bpy.ops.object.mode_set(mode="OBJECT")
    assert len(rig.pose.bones) == bones
    return rig


def _list_bones(count: int) -> list[tuple[str, str | None, Any, Any]]:
    table: list[tuple[str, str | None, Any, Any]] = []
    above: str | None = None
    for bone, low, high in zip(
        _TRUNK, (0.95, 1.1, 1.25, 1.48, 1.58), (1.1, 1.25, 1.48, 1.58, 1.8), strict=True
    ):
        table.append((bone, above, (0, 0, low), (0, 0, high)))
        above = bone
    places = {
        "shoulder": ("chest", (0.03, 0, 1.45), (0.18, 0, 1.45)),
        "upper_arm": ("shoulder", (0.18, 0, 1.45), (0.46, 0.02, 1.45)),
        "forearm": ("upper_arm", (0.46, 0.02, 1.45), (0.71, 0, 1.45)),
        "hand": ("forearm", (0.71, 0, 1.45), (0.8, 0, 1.45)),
        "thigh": ("hips", (0.1, 0, 0.92), (0.1, -0.02, 0.5)),
        "shin": ("thigh", (0.1, -0.02, 0.5), (0.1, 0, 0.08)),
        "foot": ("shin", (0.1, 0, 0.08), (0.1, -0.14, 0.02)),
        "toe": ("foot", (0.1, -0.14, 0.02), (0.1, -0.2, 0.02)),
    }
    for side, sign in (("L", 1.0), ("R", -1.0)):
        flip = np.array((sign, 1.0, 1.0))
        for part in _SIDE:
            parent, head, tail = places[part]
            upper = parent if parent in _TRUNK else f"{parent}.{side}"
            table.append((f"{part}.{side}", upper, flip * head, flip * tail))
    for side, sign in (("L", 1.0), ("R", -1.0)):
        for row, finger in enumerate(_FINGERS):
            upper = f"hand.{side}"
            for joint in range(1, 4):
                start = np.array((sign * (0.78 + 0.03 * joint), 0.02 * (row - 2), 1.45))
                bone = f"{finger}.{joint:02d}.{side}"
                table.append((bone, upper, start, start + (sign * 0.03, 0, 0)))
                upper = bone
    braid = 0
    while len(table) < count:
        upper = "head"
        for joint in range(1, 7):
            start = np.array((0.01 * braid - 0.1, 0.1, 1.7 - 0.05 * joint))
            bone = f"braid_{chr(97 + braid)}.{joint:02d}"
            table.append((bone, upper, start, start - (0, 0, 0.05)))
            upper = bone
        braid += 1
    return table[:count]


def key_rig(rig: bpy.types.Object, frames: int, seed: int = 7) -> None:
    """Key every bone's rotation and the hips' location, with keys that do not fall together."""
    rng = np.random.default_rng(seed)
    for row, bone in enumerate(rig.pose.bones):
        bone.rotation_mode = "XYZ"
        bone.keyframe_insert("rotation_euler", frame=1)
        if bone.name == "hips":
            bone.keyframe_insert("location", frame=1)
        size = 0.15 if bone.name.startswith(_TRUNK) else 0.5
        at = np.arange(1 + row % KEY_GAP, frames + KEY_GAP, KEY_GAP, dtype=float)
        for curve in list_curves(rig, bone.name):
            _fill(curve, at, rng.normal(scale=size, size=len(at)))


def list_curves(owner: Any, bone: str) -> list[Any]:
    """Return the F-curves of one bone."""
    played = [entry.curve for entry in list_played_curves(owner)]
    return [c for c in played if (split_bone_path(c.data_path) or ("",))[0] == bone]


def _fill(curve: Any, times: np.ndarray, values: np.ndarray) -> None:
    points = curve.keyframe_points
    points.clear()
    points.add(len(times))
    points.foreach_set("co", np.stack((times, values), axis=-1).ravel().astype(np.float32))
    curve.update()


def add_skin(rig: bpy.types.Object, vertices: int) -> bpy.types.Object:
    """Add a mesh of this many vertices that all bones deform."""
    side = int(np.sqrt(vertices))
    bpy.ops.mesh.primitive_grid_add(x_subdivisions=side - 1, y_subdivisions=side - 1, size=2)
    skin: Any = bpy.context.object
    share = np.array_split(np.arange(len(skin.data.vertices)), len(rig.pose.bones))
    for bone, members in zip(rig.pose.bones, share, strict=True):
        skin.vertex_groups.new(name=bone.name).add(members.tolist(), 1.0, "REPLACE")
    skin.parent = rig
    skin.modifiers.new("Skin", "ARMATURE").object = rig
    return skin


def make_generated_rig(frames: int) -> bpy.types.Object:
    """Make the production rig of Blender's own generator, animated by its controls."""
    bpy.ops.preferences.addon_enable(module="rigify")
    bpy.ops.object.armature_human_metarig_add()
    metarig = bpy.context.object
    bpy.ops.pose.rigify_generate()
    rig: Any = bpy.context.object
    bpy.data.objects.remove(metarig)
    rng = np.random.default_rng(3)
    at = np.arange(1, frames + KEY_GAP, KEY_GAP, dtype=float)
    moved = ("torso", "chest", "hips", "head", "hand_ik.L", "hand_ik.R", "foot_ik.L", "foot_ik.R")
    for name in moved:
        bone = rig.pose.bones[name]
        bone.rotation_mode = "XYZ"
        for path in ("location", "rotation_euler"):
            bone.keyframe_insert(path, frame=1)
        for curve in list_curves(rig, name):
            size = 0.05 if curve.data_path.endswith("location") else 0.3
            _fill(curve, at, rng.normal(scale=size, size=len(at)))
    return rig


def import_capture(path: Path) -> tuple[bpy.types.Object, int]:
    """Import a BVH file; returns the armature and its last frame."""
    bpy.ops.preferences.addon_enable(module="io_anim_bvh")
    bpy.ops.import_anim.bvh(filepath=str(path), global_scale=0.01)
    rig: Any = bpy.context.object
    return rig, int(rig.animation_data.action.frame_range[1])


def put_things_around(count: int, seed: int = 3) -> None:
    """Put a camera before the rig and things around it, some of them in between."""
    scene, rng = bpy.context.scene, np.random.default_rng(seed)
    camera = bpy.data.objects.new("Camera", bpy.data.cameras.new("Camera"))
    camera.location, camera.rotation_euler = (0.0, -6.0, 1.2), (0.5 * np.pi, 0.0, 0.0)
    scene.collection.objects.link(camera)
    scene.camera = camera
    for place in rng.uniform((-4.0, -3.0, 0.0), (4.0, 6.0, 3.0), (count, 3)):
        bpy.ops.mesh.primitive_uv_sphere_add(segments=64, ring_count=48, location=place)
