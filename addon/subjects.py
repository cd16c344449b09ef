# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Who acts in a scene: animated armatures, and animated things that belong to no character.

A `Subject` holds names only, never Blender's data itself, so that it can be kept over an undo or
a change of file; `find_object` looks the object up again.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import bpy

from ..core_math import SubjectKind
from .animation_data import (
    TRANSFORM_CHANNELS,
    list_drivers,
    list_played_curves,
    moves_over_time,
)

THINGS = frozenset(
    {"MESH", "CURVE", "CURVES", "SURFACE", "META", "FONT", "GPENCIL", "GREASEPENCIL", "VOLUME"}
    | {"POINTCLOUD", "EMPTY"}
)
"""Types of objects that can be a subject of their own; an empty only when it carries others."""


class SamplingError(ValueError):
    """A subject cannot be sampled; the message says who, where and what to do, in one line."""


@dataclass(frozen=True, slots=True)
class Subject:
    """One animated armature or thing, by name.

    Attributes
    ----------
    name : str
        What it is called in readings; unique in the scene.
    kind : SubjectKind
    object_name : str
    library : str or None
        Path of the library file the object is linked from.
    instancer : str or None
        Name of the object whose instanced collection holds it.
    """

    name: str
    kind: SubjectKind
    object_name: str
    library: str | None = None
    instancer: str | None = None


def read_shot_from_context(
    context: bpy.types.Context,
) -> tuple[bpy.types.Scene, bpy.types.ViewLayer]:
    """Return what the user looks at; everything after this needs no context."""
    scene, view_layer = context.scene, context.view_layer
    if scene is None or view_layer is None:
        raise SamplingError("there is no scene to read; open one first")
    return scene, view_layer


def find_subjects(scene: bpy.types.Scene, view_layer: bpy.types.ViewLayer) -> list[Subject]:
    """Return who acts, armatures first, then things, each in order of name.

    An armature acts when its own curves, NLA strips or drivers move it or its bones, or what it
    is parented or constrained to moves. A thing acts when its own curves, drivers or constraints
    move it and it is neither carried by an armature nor one of its controls. Cameras and lights
    never do. Linked and overridden objects count, those inside instanced collections too.
    """
    movers = _Movers()
    # A layer that was not synchronised yet still lists what has left it.
    objects = [entry for entry in view_layer.objects if entry is not None]
    controls = _list_rig_targets(objects)
    found = []
    for entry in objects:
        if entry.type == "ARMATURE" and movers.moves(entry):
            found.append(_describe(entry, SubjectKind.ARMATURE))
        elif _is_thing(entry) and entry not in controls and movers.moves_by_itself(entry):
            found.append(_describe(entry, SubjectKind.OBJECT))
        found += [
            _describe(inner, SubjectKind.ARMATURE, entry)
            for inner in _list_instanced_armatures(entry)
            if movers.moves(inner) or movers.moves(entry)
        ]
    return _make_names_unique(found)


def find_object(subject: Subject) -> bpy.types.Object:
    """Return the subject's object; raises SamplingError when it is no longer there."""
    found = bpy.data.objects.get((subject.object_name, subject.library))
    if found is None:
        raise SamplingError(f"{subject.name}: it is no longer in the file; read the shot again")
    return found


def find_cameras(scene: bpy.types.Scene) -> list[str]:
    """Return the names of the scene's cameras, the one in use first."""
    cameras = sorted(entry.name for entry in scene.objects if entry.type == "CAMERA")
    used = scene.camera.name if scene.camera is not None else None
    return sorted(cameras, key=lambda name: name != used)


def is_animated(owner: bpy.types.Object) -> bool:
    """Say whether anything moves this object or one of its bones."""
    return _Movers().moves(owner)


class _Movers:
    """Answers what moves, each ID asked once; a ring of constraints moves nothing by itself."""

    def __init__(self) -> None:
        self._known: dict[int, bool] = {}

    def moves(self, owner: Any) -> bool:
        """Say whether the ID, or one of its bones, moves for any reason."""
        key = owner.as_pointer()
        if key not in self._known:
            self._known[key] = False
            self._known[key] = self._find_out(owner)
        return self._known[key]

    def moves_by_itself(self, owner: bpy.types.Object) -> bool:
        """Say whether more than its parents or a rig moves the object.

        What a machine moves of itself (a wheel that its cart turns) is part of the machine.
        """
        machine = _find_top(owner)
        for played in list_played_curves(owner):
            path = played.curve.data_path
            own = path in TRANSFORM_CHANNELS or path.startswith("constraints[")
            if own and moves_over_time(played.curve):
                return True
        if any(
            curve.data_path in TRANSFORM_CHANNELS and self._driver_moves(curve, owner, machine)
            for curve in list_drivers(owner)
        ):
            return True
        return any(
            target.type != "ARMATURE" and _find_top(target) != machine and self.moves(target)
            for target in _list_targets(owner.constraints)
        )

    def _find_out(self, owner: Any) -> bool:
        if any(moves_over_time(played.curve) for played in list_played_curves(owner)):
            return True
        if any(self._driver_moves(curve, owner) for curve in list_drivers(owner)):
            return True
        if not isinstance(owner, bpy.types.Object):
            return False
        followed = [owner.parent] if owner.parent is not None else []
        followed += _list_targets(owner.constraints)
        if owner.type == "ARMATURE":
            for bone in owner.pose.bones if owner.pose is not None else ():
                followed += _list_targets(bone.constraints)
            if any(moves_over_time(played.curve) for played in list_played_curves(owner.data)):
                return True
        return any(self.moves(target) for target in followed)

    def _driver_moves(
        self, curve: Any, owner: Any, machine: bpy.types.Object | None = None
    ) -> bool:
        """Say whether a driver moves something; what a named machine feeds it doesn't count."""
        driver = curve.driver
        if driver.type == "SCRIPTED" and "frame" in driver.expression:
            return True
        return any(
            target.id is not None
            and target.id != owner
            and (machine is None or _find_top(target.id) != machine)
            and self.moves(target.id)
            for variable in driver.variables
            for target in variable.targets
        )


def _find_top(entry: Any) -> Any:
    """Return the object at the top of the parents of an object; of any other ID itself."""
    while isinstance(entry, bpy.types.Object) and entry.parent is not None:
        entry = entry.parent
    return entry


def _list_targets(constraints: Iterable[Any]) -> list[bpy.types.Object]:
    found = []
    for constraint in constraints:
        if constraint.mute:
            continue
        for name in ("target", "pole_target"):
            target = getattr(constraint, name, None)
            if isinstance(target, bpy.types.Object):
                found.append(target)
        if constraint.type == "ARMATURE":
            found += [entry.target for entry in constraint.targets if entry.target is not None]
    return found


def _list_rig_targets(objects: Iterable[bpy.types.Object]) -> set[bpy.types.Object]:
    """Return the objects that bones of any armature follow: controls of that rig."""
    return {
        target
        for entry in objects
        if entry.type == "ARMATURE" and entry.pose is not None
        for bone in entry.pose.bones
        for target in _list_targets(bone.constraints)
    }


def _is_thing(entry: bpy.types.Object) -> bool:
    if entry.type not in THINGS or entry.hide_render:
        return False
    if entry.type == "EMPTY" and entry.instance_collection is None:
        if all(other.type == "EMPTY" for other in list_family(entry)):
            return False
    above = entry.parent
    while above is not None:
        if above.type == "ARMATURE":
            return False
        above = above.parent
    return not _is_skin(entry)


def list_family(entry: bpy.types.Object) -> list[bpy.types.Object]:
    """Return an object and the things that hang from it, characters and what they wear left out."""
    found = [entry]
    for member in found:
        found += [
            child for child in member.children if child.type in THINGS and not _is_skin(child)
        ]
    return found


def _is_skin(entry: bpy.types.Object) -> bool:
    return any(
        modifier.type == "ARMATURE" and modifier.object is not None for modifier in entry.modifiers
    )


def _list_instanced_armatures(entry: bpy.types.Object) -> Iterator[bpy.types.Object]:
    if entry.instance_type == "COLLECTION" and entry.instance_collection is not None:
        for inner in entry.instance_collection.all_objects:
            if inner.type == "ARMATURE":
                yield inner


def _describe(
    entry: bpy.types.Object, kind: SubjectKind, instancer: bpy.types.Object | None = None
) -> Subject:
    library = entry.library.filepath if entry.library is not None else None
    inside = instancer.name if instancer is not None else None
    return Subject(entry.name, kind, entry.name, library, inside)


def _make_names_unique(found: list[Subject]) -> list[Subject]:
    found = sorted(found, key=lambda s: (s.kind != SubjectKind.ARMATURE, s.name, s.instancer or ""))
    counts: dict[str, int] = {}
    for subject in found:
        counts[subject.name] = counts.get(subject.name, 0) + 1
    result = []
    for subject in found:
        name = subject.name
        if counts[name] > 1 and (subject.instancer or subject.library):
            where = subject.instancer or bpy.path.basename(subject.library or "")
            name = f"{name} ({where})"
        result.append(
            Subject(name, subject.kind, subject.object_name, subject.library, subject.instancer)
        )
    return result
