# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Armatures made by hand or by Blender's own generator, and the host's word on where they are."""

from __future__ import annotations

import math

import bpy
import numpy as np
from mathutils import Matrix

BODY = {
    # name: (parent, head, tail)
    "root": (None, (0.0, 0.0, 0.0), (0.0, -0.3, 0.0)),
    "hips": ("root", (0.0, 0.0, 0.95), (0.0, 0.0, 1.10)),
    "spine": ("hips", (0.0, 0.0, 1.10), (0.0, 0.0, 1.25)),
    "chest": ("spine", (0.0, 0.0, 1.25), (0.0, 0.0, 1.48)),
    "neck": ("chest", (0.0, 0.0, 1.48), (0.0, 0.0, 1.58)),
    "head": ("neck", (0.0, 0.0, 1.58), (0.0, 0.0, 1.80)),
    "shoulder.L": ("chest", (0.03, 0.0, 1.45), (0.18, 0.0, 1.45)),
    "upper_arm.L": ("shoulder.L", (0.18, 0.0, 1.45), (0.46, 0.02, 1.45)),
    "forearm.L": ("upper_arm.L", (0.46, 0.02, 1.45), (0.71, 0.0, 1.45)),
    "hand.L": ("forearm.L", (0.71, 0.0, 1.45), (0.80, 0.0, 1.45)),
    "thigh.L": ("hips", (0.10, 0.0, 0.92), (0.10, -0.02, 0.50)),
    "shin.L": ("thigh.L", (0.10, -0.02, 0.50), (0.10, 0.0, 0.08)),
    "foot.L": ("shin.L", (0.10, 0.0, 0.08), (0.10, -0.14, 0.02)),
    "toe.L": ("foot.L", (0.10, -0.14, 0.02), (0.10, -0.20, 0.02)),
}


def start_empty() -> bpy.types.Scene:
    """Open an empty file and return its scene."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    return bpy.context.scene


def full_body() -> dict:
    """Return the table of bones with the right side added."""
    table = dict(BODY)
    for name, (parent, head, tail) in BODY.items():
        if name.endswith(".L"):
            above = parent[:-2] + ".R" if parent.endswith(".L") else parent
            flip = np.array((-1.0, 1.0, 1.0))
            table[name[:-2] + ".R"] = (above, tuple(flip * head), tuple(flip * tail))
    return table


def make_armature(
    name: str = "Rig", bones: dict | None = None, scene: bpy.types.Scene | None = None
) -> bpy.types.Object:
    """Make an armature object with these bones, by default a whole body."""
    scene = scene or bpy.context.scene
    data = bpy.data.armatures.new(name)
    rig = bpy.data.objects.new(name, data)
    scene.collection.objects.link(rig)
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    table = full_body() if bones is None else bones
    for bone, (parent, head, tail) in table.items():
        edit = data.edit_bones.new(bone)
        edit.head, edit.tail = head, tail
        if parent:
            edit.parent = data.edit_bones[parent]
    bpy.ops.object.mode_set(mode="OBJECT")
    for bone in rig.pose.bones:
        bone.rotation_mode = "XYZ"
    return rig


def key(owner, path: str, keys: dict[float, tuple], interpolation: str | None = None) -> None:
    """Set keys on a property: {frame: value or values}."""
    for frame, value in keys.items():
        setattr(owner, path, value)
        owner.keyframe_insert(path, frame=frame)
    if interpolation:
        for point in (p for curve in curves_of(owner.id_data) for p in curve.keyframe_points):
            point.interpolation = interpolation


def curves_of(owner) -> list:
    """Return the F-curves of an ID's action, whichever way this Blender keeps them."""
    action = owner.animation_data.action
    if hasattr(action, "fcurves"):
        return list(action.fcurves)
    return [c for layer in action.layers for s in layer.strips for b in s.channelbags
            for c in b.fcurves]  # fmt: skip


def swing_body(rig: bpy.types.Object, last: int = 24) -> None:
    """Give the body simple keys: it travels, turns, and swings an arm and a leg."""
    bones = rig.pose.bones
    key(bones["hips"], "location", {1: (0, 0, 0), last: (0.3, 0.1, -0.4)})
    key(bones["hips"], "rotation_euler", {1: (0, 0, 0), last: (0.1, 0.6, 0.2)})
    key(bones["chest"], "rotation_euler", {1: (0, 0, 0), last // 2: (0.2, 0.3, 0), last: (0, 0, 0)})
    key(bones["upper_arm.L"], "rotation_euler", {1: (0, 0, 0), last: (0.4, 0.2, 1.1)})
    key(bones["forearm.L"], "rotation_euler", {1: (0.1, 0, 0), last - 4: (0.9, 0, 0.3)})
    key(bones["thigh.R"], "rotation_euler", {1: (0, 0, 0), last: (-0.7, 0, 0)})


def generate_rig() -> bpy.types.Object:
    """Make the generated production rig of Blender's bundled add-on."""
    bpy.ops.preferences.addon_enable(module="rigify")
    bpy.ops.object.armature_human_metarig_add()
    metarig = bpy.context.object
    bpy.ops.pose.rigify_generate()
    rig = bpy.context.object
    assert rig is not metarig and len(rig.pose.bones) > 600
    bpy.data.objects.remove(metarig)
    return rig


def ask_host(owner: bpy.types.Object, bones: list[str], start: int, end: int) -> np.ndarray:
    """Step the open scene itself and return the bones' world matrices, (F, B, 4, 4).

    An empty bone name stands for the object. The frame is put back.
    """
    scene, before = bpy.context.scene, bpy.context.scene.frame_current
    bpy.context.view_layer.update()
    result = np.empty((end - start + 1, len(bones), 4, 4))
    for frame in range(start, end + 1):
        scene.frame_set(frame)
        seen = owner.evaluated_get(bpy.context.evaluated_depsgraph_get())
        for column, name in enumerate(bones):
            matrix = seen.matrix_world
            matrix = matrix @ seen.pose.bones[name].matrix if name else matrix
            result[frame - start, column] = np.array(matrix)
    scene.frame_set(before)
    return result


def matrices_of(motion, parts: list[str]) -> np.ndarray:
    """Return positions and rotations of a Motion as matrices without scale, (F, P, 4, 4)."""
    from fettle.core_math.measures import rotations

    rows = [motion.index(part) for part in parts]
    result = np.zeros((motion.frame_count, len(rows), 4, 4))
    result[..., 3, 3] = 1.0
    result[..., :3, 3] = motion.heads[:, rows]
    for column, axis in enumerate(np.eye(3)):
        result[..., :3, column] = rotations.rotate(motion.rotations[:, rows], axis)
    return result


def assert_agrees(motion, owner: bpy.types.Object, scale: float = 1.0) -> None:
    """Compare a Motion with the host's own evaluation in the open scene: 1e-5 m, 0.01 degrees."""
    from fettle.addon.rig_mapping import map_body

    parts = list(motion.parts)
    names = [map_body(owner).parts[part].turn for part in parts]
    first, last = motion.frame(0), motion.frame(-1)
    compare(matrices_of(motion, parts), ask_host(owner, names, first, last), scale)


def compare(mine: np.ndarray, host: np.ndarray, scale: float = 1.0) -> None:
    """Compare places (1e-5 m) and turns (0.01 degrees).

    Under shear a bone's own direction is what counts; its third axis is made square to it.
    """
    np.testing.assert_allclose(mine[..., :3, 3], scale * host[..., :3, 3], rtol=0, atol=1e-5)
    y = host[..., :3, 1] / np.linalg.norm(host[..., :3, 1], axis=-1, keepdims=True)
    x = np.cross(y, host[..., :3, 2])
    x /= np.linalg.norm(x, axis=-1, keepdims=True)
    axes = np.stack((x, y, np.cross(x, y)), axis=-1)
    chord = np.linalg.norm(mine[..., :3, :3] - axes, axis=-2)
    assert math.degrees(chord.max()) < 0.01


def snapshot() -> dict:
    """Return what a reading must leave alone, to be compared before and after."""
    context = bpy.context
    blocks = {
        name: sorted((b.name, b.users, b.library.filepath if b.library else "") for b in group)
        for name in dir(bpy.data)
        if isinstance(group := getattr(bpy.data, name), bpy.types.bpy_prop_collection)
    }
    poses = {
        o.name: [tuple(v for row in b.matrix_basis for v in row) for b in o.pose.bones]
        for o in bpy.data.objects
        if o.pose
    }
    places = [(o.name, *o.location, *o.rotation_euler, *o.scale) for o in bpy.data.objects]
    return {
        "places": places,
        "frame": [(s.name, s.frame_current, s.frame_subframe) for s in bpy.data.scenes],
        "scene": context.scene.name,
        "active": context.view_layer.objects.active,
        "selected": [o.name for o in context.view_layer.objects if o.select_get()],
        "hidden": [o.name for o in context.view_layer.objects if o.hide_get()],
        "modes": [(o.name, o.mode) for o in bpy.data.objects],
        "dirty": bpy.data.is_dirty,
        "blocks": blocks,
        "poses": poses,
        "curves": [
            (c.data_path, c.array_index, tuple(p.co[:] for p in c.keyframe_points))
            for o in bpy.data.objects
            if o.animation_data and o.animation_data.action
            for c in curves_of(o)
        ],
        "markers": [(m.name, m.frame) for m in context.scene.timeline_markers],
        "handlers": {
            name: list(value)
            for name in dir(bpy.app.handlers)
            if isinstance(value := getattr(bpy.app.handlers, name), list)
        },
    }


def random_matrix(rng) -> Matrix:
    """Make a matrix that turns, moves, scales and shears."""
    matrix = np.eye(4)
    matrix[:3] += rng.normal(size=(3, 4)) * 0.3
    return Matrix(matrix.tolist())
