# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""From a flag to what the animator moves: its frame, its bone, its object."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import bpy

from ..core_math import Flag, Motion, SubjectFacts
from . import kept


def find_owner(facts: SubjectFacts, scene: bpy.types.Scene | None) -> bpy.types.Object | None:
    """Return the object of a subject that is in the scene, None when it is gone."""
    if scene is None:
        return None
    found = scene.objects.get(facts.name)
    if found is not None:
        return found
    name = facts.name.rpartition(" (")[0] or facts.name
    return scene.objects.get(name)


def list_bones(flag: Flag, entry: kept.Kept) -> list[str]:
    """Return the bones to select for a flag, best first: keyed controls, then the mapped bone."""
    motion = entry.motions.get(flag.subject)
    facts = next((one for one in entry.reading.subjects if one.name == flag.subject), None)
    names: dict[str, None] = {}
    for part in (flag.part, *flag.other_parts):
        track = motion.keys.get(part) if motion is not None else None
        if track is not None:
            names.update(dict.fromkeys(track.controls))
        if facts is not None and part in facts.parts:
            names[facts.parts[part].bone] = None
        if names:
            break
    return list(names)


def select_flag(context: bpy.types.Context, flag: Flag, entry: kept.Kept) -> str | None:
    """Select what a flag is about, in the mode the user is in; return its name, None if gone.

    In pose mode the bone is selected; otherwise its object is, with the bone made the active one,
    so that it is at hand when pose mode is entered.
    """
    facts = next((one for one in entry.reading.subjects if one.name == flag.subject), None)
    owner = find_owner(facts, context.scene) if facts is not None else None
    if owner is None or owner.name not in context.view_layer.objects:
        return None
    bone = None
    if owner.type == "ARMATURE":
        bone = next((name for name in list_bones(flag, entry) if _is_visible(owner, name)), None)
    posing = owner.mode == "POSE"
    if not posing and context.mode == "OBJECT":
        for other in context.view_layer.objects:
            if other.select_get() and other != owner:
                other.select_set(False)
        owner.select_set(True)
        context.view_layer.objects.active = owner
    elif posing:
        context.view_layer.objects.active = owner
    if bone is not None:
        _select_bone(owner, bone, posing)
    return bone or owner.name


def list_selected_parts(
    context: bpy.types.Context, facts: SubjectFacts, motion: Motion | None
) -> Iterator[str]:
    """Yield the parts of a subject whose bones, or whose controls, are selected."""
    owner = find_owner(facts, context.scene)
    if owner is None:
        return
    if owner.type != "ARMATURE":
        if owner.select_get():
            yield from facts.parts or (motion.parts if motion is not None else ())
        return
    selected = {bone.name for bone in iterate_selected_bones(owner)}
    if not selected:
        return
    for part, mapped in facts.parts.items():
        track = motion.keys.get(part) if motion is not None else None
        if mapped.bone in selected or (track and selected.intersection(track.controls)):
            yield part


def iterate_selected_bones(owner: bpy.types.Object) -> Iterable[bpy.types.PoseBone]:
    """Return the selected pose bones of an armature; none outside pose mode."""
    if owner.pose is None or owner.mode != "POSE":
        return []
    return [bone for bone in owner.pose.bones if is_bone_selected(bone)]


def is_bone_selected(bone: bpy.types.PoseBone) -> bool:
    """Say whether a pose bone is selected; the switch moved to pose bones in later versions."""
    return bool(bone.select if hasattr(bone, "select") else bone.bone.select)


def _set_bone_selected(bone: bpy.types.PoseBone, selected: bool) -> None:
    if hasattr(bone, "select"):
        bone.select = selected
    else:
        bone.bone.select = selected


def _is_visible(owner: bpy.types.Object, name: str) -> bool:
    bone = owner.data.bones.get(name)
    if bone is None or bone.hide:
        return False
    pose_bone = owner.pose.bones.get(name)
    if getattr(pose_bone, "hide", False):
        return False
    collections = bone.collections
    return not collections or any(_is_collection_visible(entry) for entry in collections)


def _is_collection_visible(collection: bpy.types.BoneCollection) -> bool:
    return bool(getattr(collection, "is_visible_effectively", collection.is_visible))


def _select_bone(owner: bpy.types.Object, name: str, alone: bool) -> None:
    if alone:
        for bone in owner.pose.bones:
            if is_bone_selected(bone) != (bone.name == name):
                _set_bone_selected(bone, bone.name == name)
    owner.data.bones.active = owner.data.bones[name]
