# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What moves an armature from outside that only the user's own scene can tell.

Bones that follow a simulation, and drivers that read the frame or an animated value of a scene,
come out right nowhere but in that scene. They are found and named here, never sampled wrongly.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import bpy

from .animation_data import (
    TRANSFORM_CHANNELS,
    list_played_curves,
    moves_over_time,
    split_bone_path,
)
from .source_reading import HeldConstraint, HeldDriver, SourceReader

OBJECT = ""
"""Stands for the object itself among the names of its bones."""

_SIMULATIONS = {
    "CLOTH": "cloth",
    "SOFT_BODY": "soft body",
    "FLUID": "fluid",
    "DYNAMIC_PAINT": "dynamic paint",
    "PARTICLE_SYSTEM": "particles",
}
CLOCK = ("frame_current", "frame_float", "frame_subframe", "frame_current_final")

_ANY_SCENE = re.compile(
    r"""\["[^"]+"\](\[\d+\])?$|frame_(start|end)$|(use_)?gravity(\[\d\])?$"""
    r"""|render\.(fps|fps_base|frame_map_old|frame_map_new)$"""
    r"""|unit_settings\.(system|scale_length|system_rotation)$"""
)
"""What a scene of our own shows as the user's does, whoever asks "the active scene" for it."""


def find_scene_bound(owner: bpy.types.Object, reader: SourceReader | None = None) -> dict[str, str]:
    """Return the bones that only the user's scene moves rightly, each with the reason.

    The key "" stands for the object as a whole. Bones that hang from such a bone, or follow it by
    a constraint, are named too. `reader` is that of the sampling that is under way.
    """
    search = _Search(reader or SourceReader())
    return search.of_armature(owner) if owner.pose is not None else search.of_thing(owner)


class _Search:
    def __init__(self, reader: SourceReader) -> None:
        self._reader = reader
        self._known: dict[tuple[int, bool], str | None] = {}

    def of_thing(self, owner: bpy.types.Object) -> dict[str, str]:
        reason = self._trouble(owner, geometry=False)
        return {OBJECT: reason} if reason else {}

    def of_armature(self, owner: bpy.types.Object) -> dict[str, str]:
        found = self.of_thing(owner)
        for held in self._reader.read_constraints(owner):
            if held.bone and not held.mute and held.bone not in found:
                reason = self._follows_trouble(held, apart_from=owner)
                if reason:
                    found[held.bone] = reason
        found.update(self._driven_bones(owner))
        self._spread(owner, found)
        return found

    def _trouble(self, entry: bpy.types.Object, geometry: bool) -> str | None:
        """Return why an object's place (or its geometry) is known to its scene alone."""
        key = (entry.as_pointer(), geometry)
        if key not in self._known:
            self._known[key] = None
            self._known[key] = self._look_for_trouble(entry, geometry)
        return self._known[key]

    def _look_for_trouble(self, entry: bpy.types.Object, geometry: bool) -> str | None:
        body = entry.rigid_body
        if body is not None and body.type == "ACTIVE" and not body.kinematic:
            return f"moved by the rigid body {entry.name!r}"
        if geometry:
            for modifier in entry.modifiers:
                if modifier.type in _SIMULATIONS and modifier.show_viewport:
                    return f"moved by {_SIMULATIONS[modifier.type]} on {entry.name!r}"
        for driven in self._reader.read_drivers(entry):
            if not driven.mute and driven.path in TRANSFORM_CHANNELS:
                reason = _read_scene_clock(driven)
                if reason:
                    return reason
        if entry.parent is not None:
            on_mesh = entry.parent_type in ("VERTEX", "VERTEX_3")
            reason = self._trouble(entry.parent, on_mesh)
            if reason:
                return reason
        for held in self._reader.read_constraints(entry):
            if not held.bone and not held.mute:
                reason = self._follows_trouble(held, apart_from=entry)
                if reason:
                    return reason
        return None

    def _follows_trouble(self, held: HeldConstraint, apart_from: bpy.types.Object) -> str | None:
        for target, subtarget in held.targets:
            if target == apart_from:
                continue
            on_mesh = target.type != "ARMATURE" and (
                bool(subtarget) or held.kind in ("SHRINKWRAP", "FOLLOW_PATH", "GEOMETRY_ATTRIBUTE")
            )
            reason = self._trouble(target, on_mesh)
            if reason:
                return reason
        return None

    def _driven_bones(self, owner: bpy.types.Object) -> dict[str, str]:
        """Return bones with drivers that read a scene's clock, straight or by other properties."""
        drivers = [
            driven
            for source in (owner, owner.data)
            for driven in self._reader.read_drivers(source)
            if not driven.mute
        ]
        tainted: dict[str, str] = {}
        found: dict[str, str] = {}
        before = -1
        while before != len(tainted):
            before = len(tainted)
            for driven in drivers:
                if driven.path in tainted:
                    continue
                reason = _read_scene_clock(driven) or _read_tainted(driven, owner, tainted)
                if reason:
                    tainted[driven.path] = reason
        for path, reason in tainted.items():
            split = split_bone_path(path)
            if split is not None:
                found[split[0]] = reason
        return found

    def _spread(self, owner: bpy.types.Object, found: dict[str, str]) -> None:
        """Add the bones that hang from, or follow, a bone that is already named."""
        before = -1
        while found and before != len(found):
            before = len(found)
            for bone in owner.pose.bones:
                if bone.name in found:
                    continue
                if bone.parent is not None and bone.parent.name in found:
                    found[bone.name] = found[bone.parent.name]
                    continue
            for held in self._reader.read_constraints(owner):
                for target, name in held.targets:
                    follows = held.bone and not held.mute and target == owner
                    if follows and name in found and held.bone not in found:
                        found[held.bone] = found[name]
            for driven in self._reader.read_drivers(owner):
                split = split_bone_path(driven.path)
                if split is not None and split[0] not in found and not driven.mute:
                    for name in _list_bones_read(driven, owner):
                        if name in found:
                            found[split[0]] = found[name]


def _list_bones_read(driven: HeldDriver, owner: bpy.types.Object) -> Iterator[str]:
    """Yield the bones of the armature whose place or turn a driver reads."""
    for read in driven.reads:
        if read.owner == owner and read.kind != "SINGLE_PROP" and read.bone:
            yield read.bone


def _read_scene_clock(driven: HeldDriver) -> str | None:
    for read in driven.reads:
        if read.kind == "CONTEXT_PROP":
            # Our own scene has a clock of its own, and copies of a few more things.
            is_scene = read.values[read.form.places["context_property"]] == "ACTIVE_SCENE"
            if not is_scene or not (read.path in CLOCK or _ANY_SCENE.match(read.path)):
                return f"driven by {read.path} of the active {'scene' if is_scene else 'layer'}"
        scene = read.owner if read.kind == "SINGLE_PROP" else None
        if isinstance(scene, bpy.types.Scene):
            path = read.path
            if path in CLOCK or any(
                played.curve.data_path == path and moves_over_time(played.curve)
                for played in list_played_curves(scene)
            ):
                return f"driven by {path} of the scene {scene.name!r}"
    return None


def _read_tainted(
    driven: HeldDriver, owner: bpy.types.Object, tainted: dict[str, str]
) -> str | None:
    if not tainted:
        return None
    for read in driven.reads:
        if read.owner in (owner, owner.data) and read.path in tainted:
            return tainted[read.path]
    return None
