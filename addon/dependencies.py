# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What moves an armature from outside that only the user's own scene can tell.

Bones that follow a simulation, and drivers that read the frame or an animated value of a scene,
come out right nowhere but in that scene. They are found and named here, never sampled wrongly.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import bpy

from .animation_data import (
    TRANSFORM_CHANNELS,
    list_drivers,
    list_played_curves,
    moves_over_time,
    split_bone_path,
)

OBJECT = ""
"""Stands for the object itself among the names of its bones."""

_SIMULATIONS = {
    "CLOTH": "cloth",
    "SOFT_BODY": "soft body",
    "FLUID": "fluid",
    "DYNAMIC_PAINT": "dynamic paint",
    "PARTICLE_SYSTEM": "particles",
}
_CLOCK = ("frame_current", "frame_float", "frame_subframe", "frame_current_final")


def find_scene_bound(owner: bpy.types.Object) -> dict[str, str]:
    """Return the bones that only the user's scene moves rightly, each with the reason.

    The key "" stands for the object as a whole. Bones that hang from such a bone, or follow it by
    a constraint, are named too.
    """
    return _Search().of_armature(owner) if owner.pose is not None else _Search().of_thing(owner)


def list_constraint_targets(constraint: Any) -> Iterator[tuple[bpy.types.Object, str]]:
    """Yield the objects a constraint follows, each with the name of the bone or vertex group."""
    for target, subtarget in (("target", "subtarget"), ("pole_target", "pole_subtarget")):
        followed = getattr(constraint, target, None)
        if isinstance(followed, bpy.types.Object):
            yield followed, getattr(constraint, subtarget, "")
    if constraint.type == "ARMATURE":
        for entry in constraint.targets:
            if entry.target is not None:
                yield entry.target, entry.subtarget


class _Search:
    def __init__(self) -> None:
        self._known: dict[tuple[int, bool], str | None] = {}

    def of_thing(self, owner: bpy.types.Object) -> dict[str, str]:
        reason = self._trouble(owner, geometry=False)
        return {OBJECT: reason} if reason else {}

    def of_armature(self, owner: bpy.types.Object) -> dict[str, str]:
        found = self.of_thing(owner)
        for bone in owner.pose.bones:
            for constraint in bone.constraints:
                if not constraint.mute and bone.name not in found:
                    reason = self._follows_trouble(constraint, apart_from=owner)
                    if reason:
                        found[bone.name] = reason
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
        for curve in list_drivers(entry):
            if curve.data_path in TRANSFORM_CHANNELS:
                reason = _read_scene_clock(curve.driver)
                if reason:
                    return reason
        if entry.parent is not None:
            on_mesh = entry.parent_type in ("VERTEX", "VERTEX_3")
            reason = self._trouble(entry.parent, on_mesh)
            if reason:
                return reason
        for constraint in entry.constraints:
            if not constraint.mute:
                reason = self._follows_trouble(constraint, apart_from=entry)
                if reason:
                    return reason
        return None

    def _follows_trouble(self, constraint: Any, apart_from: bpy.types.Object) -> str | None:
        for target, subtarget in list_constraint_targets(constraint):
            if target == apart_from:
                continue
            on_mesh = target.type != "ARMATURE" and (
                bool(subtarget) or constraint.type in ("SHRINKWRAP", "FOLLOW_PATH")
            )
            reason = self._trouble(target, on_mesh)
            if reason:
                return reason
        return None

    def _driven_bones(self, owner: bpy.types.Object) -> dict[str, str]:
        """Return bones with drivers that read a scene's clock, straight or by other properties."""
        drivers = [*list_drivers(owner), *list_drivers(owner.data)]
        tainted: dict[str, str] = {}
        found: dict[str, str] = {}
        before = -1
        while before != len(tainted):
            before = len(tainted)
            for curve in drivers:
                if curve.data_path in tainted:
                    continue
                reason = _read_scene_clock(curve.driver) or _read_tainted(
                    curve.driver, owner, tainted
                )
                if reason:
                    tainted[curve.data_path] = reason
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
                for constraint in bone.constraints:
                    for target, name in list_constraint_targets(constraint):
                        if not constraint.mute and target == owner and name in found:
                            found[bone.name] = found[name]
            for curve in list_drivers(owner):
                split = split_bone_path(curve.data_path)
                if split is not None and split[0] not in found:
                    for name in _list_bones_read(curve.driver, owner):
                        if name in found:
                            found[split[0]] = found[name]


def _list_bones_read(driver: Any, owner: bpy.types.Object) -> Iterator[str]:
    """Yield the bones of the armature whose place or turn a driver reads."""
    for variable in driver.variables:
        for target in variable.targets:
            if target.id == owner and variable.type != "SINGLE_PROP" and target.bone_target:
                yield target.bone_target


def _read_scene_clock(driver: Any) -> str | None:
    for variable in driver.variables:
        for target in variable.targets:
            read = target.id if variable.type == "SINGLE_PROP" else None
            if isinstance(read, bpy.types.Scene):
                path = target.data_path
                if path in _CLOCK or any(
                    played.curve.data_path == path and moves_over_time(played.curve)
                    for played in list_played_curves(read)
                ):
                    return f"driven by {path} of the scene {read.name!r}"
    return None


def _read_tainted(driver: Any, owner: bpy.types.Object, tainted: dict[str, str]) -> str | None:
    for variable in driver.variables:
        for target in variable.targets:
            if target.id in (owner, owner.data) and target.data_path in tainted:
                return tainted[target.data_path]
    return None
