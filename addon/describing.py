# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Everything a subject's movement depends on, as plain values that can be kept and compared.

Beside the curves these are constraints, drivers, parents, the rest pose, and values nobody keyed.
Values that are keyed or driven are left out of these: they follow the current frame.
"""

from __future__ import annotations

import builtins
import math
import re
from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import compat
from .animation_data import TRANSFORM_CHANNELS, split_bone_path
from .bone_links import ALL, BoneLinks, collect_links
from .curve_tables import PlayedCurves, read_keys_of
from .dependency_cycles import has_cycle
from .plain_values import name_owner, read_column, read_settings
from .source_reading import HeldConstraint, HeldDriver, SourceReader
from .surroundings import CurveStates, Surroundings, Values

_BONE_CHANNELS = (
    "location",
    "rotation_euler",
    "rotation_quaternion",
    "rotation_axis_angle",
    "scale",
)
_BONE_RULES = tuple(
    f"{name}_{axis}"
    for name in ("lock_ik", "use_ik_limit", "ik_min", "ik_max", "ik_stiffness")
    for axis in "xyz"
) + ("ik_stretch", "ik_rotation_weight", "ik_linear_weight", "use_ik_rotation_control")
_REST = ("head_local", "tail_local", "matrix_local", "use_inherit_rotation", "use_local_location",
         "use_connect", "inherit_scale", "bbone_segments")  # fmt: skip
_OBJECT = ("parent_type", "parent_bone", "rotation_mode", "hide_viewport", "track_axis", "up_axis")
_GEOMETRY = {"SHRINKWRAP", "SPLINE_IK", "FOLLOW_PATH", "CLAMP_TO", "CAMERA_SOLVER", "FOLLOW_TRACK",
             "OBJECT_SOLVER", "TRANSFORM_CACHE"}  # fmt: skip
_INDEX = re.compile(r"\[\d+\]$")
_EXPRESSION_NAMES = {*dir(math), *dir(builtins), "frame", "noise", "clamp", "lerp", "smoothstep"}


class CannotDescribeError(Exception):
    """The subject depends on something whose changes cannot be seen cheaply, such as a mesh."""


@dataclass(slots=True)
class _Moved:
    """What curves and drivers move on one owner: their data paths, and by what they lie in."""

    paths: set[str] = field(default_factory=set)
    inside: dict[str, set[str]] = field(default_factory=dict)

    def add(self, *paths: str) -> None:
        for path in set(paths) - self.paths:
            self.paths.add(path)
            cut = path.rfind(".") + 1
            self.inside.setdefault(path[:cut], set()).add(path[cut:])


_UNMOVED = _Moved()
_STRIP_MOVED = ("influence", "strip_time")


def iterate_describing(
    roots: Iterable[bpy.types.Object],
    scene: bpy.types.Scene,
    reader: SourceReader,
    before: Surroundings | None = None,
) -> Generator[None, None, Surroundings]:
    """Describe what these objects' movement depends on, with pauses.

    Parameters
    ----------
    roots : iterable of objects
    scene : bpy.types.Scene
    reader : SourceReader
        Of the sampling that is under way, which may have read some of it.
    before : Surroundings, optional
        How it was described last: what leads in a ring is looked for only where more than keys
        has changed.

    Raises
    ------
    CannotDescribeError
        When that includes geometry or a simulation.
    """
    roots = list(roots)
    owners = _collect(roots, reader)
    owners.append(scene)
    moved: dict[str, _Moved] = {name_owner(owner): _Moved() for owner in owners}
    curves: dict[str, CurveStates] = {}
    for owner in owners:
        name, played = name_owner(owner), reader.read_curves(owner)
        if played.played:
            curves[name] = _read_states(played)
            moved[name].add(*played.paths)
        moved[name].add(*(driven.path for driven in reader.read_drivers(owner)))
    yield
    subject = roots[0] if roots and roots[0].pose is not None else None
    settled: dict[tuple[str, str], list[Any]] = {}
    for owner in owners:
        for describe in (_describe_drivers, _describe, _describe_bones):
            for bone, value in describe(owner, moved, reader):
                place = (name_owner(owner), bone if owner == subject else ALL)
                settled.setdefault(place, []).append(value)
            if owner.animation_data is not None:
                yield
    clock = scene.render
    units = scene.unit_settings
    settled["", ALL] = [clock.frame_map_old, clock.frame_map_new, clock.fps, clock.fps_base,
                        units.system, units.scale_length]  # fmt: skip
    pose, links = np.empty((0, 0), np.int32), BoneLinks()
    if subject is not None:
        pose = _read_pose(subject, reader)
        yield
        links = collect_links(subject, name_owner(subject), owners, reader)
    if before is not None and (before.settled, before.links) == (settled, links):
        cyclic = before.cyclic
    else:
        cyclic = has_cycle(owners, reader)
    return Surroundings(settled, pose, links, curves, cyclic)


def _collect(roots: Iterable[bpy.types.Object], reader: SourceReader) -> list[Any]:
    """Return everything the objects depend on, by parents, constraints and drivers."""
    found: dict[Any, None] = {}
    waiting: list[Any] = list(roots)
    while waiting:
        owner = waiting.pop()
        if owner is None or owner in found or isinstance(owner, bpy.types.Scene):
            continue
        found[owner] = None
        waiting += dict.fromkeys(_list_needed(owner, reader))
    return sorted(found, key=name_owner)


def _list_needed(owner: Any, reader: SourceReader) -> Iterator[Any]:
    for driven in reader.read_drivers(owner):
        for read in driven.reads:
            yield read.owner
    if not isinstance(owner, bpy.types.Object):
        return
    if owner.parent_type not in ("OBJECT", "BONE", "ARMATURE") or owner.rigid_body is not None:
        raise CannotDescribeError("it follows geometry or a simulation")
    if owner.parent is not None and owner.parent.type == "CURVE":
        raise CannotDescribeError("it follows geometry")
    yield owner.parent
    for held in reader.read_constraints(owner):
        if held.kind in _GEOMETRY:
            raise CannotDescribeError("it follows geometry")
        for target, subtarget in held.targets:
            if subtarget and target.type != "ARMATURE":
                raise CannotDescribeError("it follows geometry")
            yield target
    if owner.type in ("ARMATURE", "CAMERA", "LIGHT"):
        yield owner.data
    if owner.type == "CAMERA":
        yield owner.data.dof.focus_object


def _describe(
    owner: Any, moved: dict[str, _Moved], reader: SourceReader
) -> Iterator[tuple[str, Any]]:
    """Yield what is settled about an owner, but for its drivers and bones, under no bone."""
    here = moved[name_owner(owner)]
    plain = [*_describe_animation(owner), *_describe_properties(owner, "", here)]
    if isinstance(owner, bpy.types.Object):
        plain += _describe_object(owner, here, reader)
    elif isinstance(owner, bpy.types.Armature):
        plain.append(owner.pose_position)
        plain += [read_column(owner.bones, name).tobytes() for name in _REST]
        plain.append([(b.name, b.parent.name if b.parent is not None else "") for b in owner.bones])
    elif isinstance(owner, bpy.types.Camera):
        plain += read_settings(owner, here.inside.get("", ()))
        plain += read_settings(owner.dof, here.inside.get("dof.", ()))
    yield ALL, plain


def _describe_object(owner: bpy.types.Object, moved: _Moved, reader: SourceReader) -> Iterator[Any]:
    yield name_owner(owner.parent) if owner.parent is not None else ""
    yield tuple(getattr(owner, name) for name in _OBJECT)
    yield tuple(value for row in owner.matrix_parent_inverse for value in row)
    for name in TRANSFORM_CHANNELS:
        if name not in moved.paths:
            yield tuple(getattr(owner, name)[:])
        else:
            yield _mask_keyed(owner, name, reader)
    own = [held for held in reader.read_constraints(owner) if not held.bone]
    yield from _describe_constraints(own, "", moved)
    if owner.instance_collection is not None:
        yield tuple(owner.instance_collection.instance_offset[:])
    if owner.type == "ARMATURE" and owner.pose is not None:
        yield owner.pose.ik_solver


def _mask_keyed(owner: Any, name: str, reader: SourceReader) -> Values:
    """Return the values of a channel that no curve and no driver of its own moves."""
    moved = {curve.array_index for curve in _list_movers(owner, reader) if curve.data_path == name}
    return tuple(v for index, v in enumerate(getattr(owner, name)) if index not in moved)


def _list_movers(owner: Any, reader: SourceReader) -> Iterator[Any]:
    """Yield the curves of an owner, then those of its drivers."""
    yield from (entry.curve for entry in reader.read_curves(owner).played)
    yield from (driven.curve for driven in reader.read_drivers(owner))


def _read_pose(owner: bpy.types.Object, reader: SourceReader) -> NDArray[np.int32]:
    """Return the settled numbers of all bones, one row each; what is keyed or driven is 0."""
    bones = owner.pose.bones
    rows = {name: row for row, name in enumerate(bones.keys())}
    moved: dict[str, list[tuple[int, int]]] = {}
    for curve in _list_movers(owner, reader):
        split = split_bone_path(curve.data_path)
        if split is not None and split[0] in rows and split[1] in _BONE_CHANNELS:
            moved.setdefault(split[1], []).append((rows[split[0]], curve.array_index))
    tables = []
    for name in _BONE_CHANNELS:
        table = read_column(bones, name)
        for row, index in moved.get(name, ()):
            if index < table.shape[1]:
                table[row, index] = 0
        tables.append(table)
    tables += [read_column(bones, name) for name in (*_BONE_RULES, "rotation_mode")]
    return np.concatenate([table.view(np.int32) for table in tables], axis=1)


def _describe_bones(
    owner: Any, moved: dict[str, _Moved], reader: SourceReader
) -> Iterator[tuple[str, Any]]:
    """Yield what is settled about each bone of an armature object."""
    if not isinstance(owner, bpy.types.Object) or owner.pose is None:
        return
    here = moved[name_owner(owner)]
    held_by: dict[str, list[HeldConstraint]] = {}
    for held in reader.read_constraints(owner):
        held_by.setdefault(held.bone, []).append(held)
    for bone in owner.pose.bones:
        named, name = bool(bone.keys()), bone.name
        constraints = held_by.get(name)
        if constraints is None and not named:
            continue
        prefix = f'pose.bones["{bpy.utils.escape_identifier(name)}"]'
        values: list[Any] = []
        if constraints is not None:
            values += _describe_constraints(constraints, f"{prefix}.", here)
        if named:
            values += _describe_properties(bone, prefix, here)
        yield name, values


def _describe_constraints(
    constraints: Iterable[HeldConstraint], prefix: str, moved: _Moved
) -> Iterator[Any]:
    for held in constraints:
        constraint, name = held.constraint, held.constraint.name
        yield name, held.kind
        path = f'{prefix}constraints["{bpy.utils.escape_identifier(name)}"].'
        yield from read_settings(constraint, moved.inside.get(path, ()))
        if held.kind == "ACTION" and constraint.action is not None:
            # It plays by a clock of its own: what changes there may show anywhere.
            slot = getattr(constraint, "action_slot", None)
            for curve in compat.list_action_curves(constraint.action, slot):
                yield curve.data_path, curve.array_index, _list_keys(curve)
        if held.kind == "ARMATURE":
            for target in constraint.targets:
                yield target.weight, target.subtarget, getattr(target.target, "name_full", "")


def _describe_animation(owner: Any) -> Iterator[Any]:
    data = owner.animation_data
    if data is None:
        return
    yield data.use_nla, data.use_tweak_mode, data.action_blend_type, data.action_influence
    yield data.action_extrapolation, data.action is not None
    for track in data.nla_tracks:
        yield track.mute, track.is_solo
        for strip in track.strips:
            yield from read_settings(strip, _STRIP_MOVED)
            for curve in strip.fcurves:
                yield curve.data_path, _list_keys(curve)


def _describe_drivers(
    owner: Any, moved: dict[str, _Moved], reader: SourceReader
) -> Iterator[tuple[str, Any]]:
    """Yield each driver's settled values with the bone it moves."""
    drivers = reader.read_drivers(owner)
    if not drivers:
        return
    keys = read_keys_of([driven.curve for driven in drivers])
    every = keys.show_keys()
    for row, driven in enumerate(drivers):
        curve = driven.curve
        values: list[Any] = [
            (driven.path, curve.array_index, driven.mute, curve.extrapolation),
            every[keys.place(row)].tobytes(),
        ]
        values += [value for m in curve.modifiers for value in read_settings(m)]
        values += _describe_driver(driven, moved)
        split = split_bone_path(driven.path)
        yield split[0] if split is not None else ALL, values


def _describe_driver(driven: HeldDriver, moved: dict[str, _Moved]) -> Iterator[Any]:
    driver = driven.driver
    _refuse_free_code(driver)
    yield driver.type, driver.expression, driver.use_self
    for read in driven.reads:
        yield read.variable.name, read.kind
        yield from read_settings(read.target)
        if read.kind == "SINGLE_PROP" and read.owner is not None:
            yield _resolve(read.target, read.owner, moved)


def _refuse_free_code(driver: Any) -> None:
    """Raise CannotDescribeError when an expression may read more than its variables."""
    if driver.type != "SCRIPTED" or driver.is_simple_expression:
        return
    known = {variable.name for variable in driver.variables} | _EXPRESSION_NAMES
    try:
        names = set(compile(driver.expression, "driver", "eval").co_names)
    except (SyntaxError, ValueError):
        return
    if driver.use_self or not names <= known:
        raise CannotDescribeError("a driver's expression reads more than its variables")


def _resolve(target: Any, owner: Any, moved: dict[str, _Moved]) -> Any:
    """Return the value a driver reads, unless it is moved itself."""
    path = target.data_path
    animated = moved.get(name_owner(owner), _UNMOVED).paths
    if path in animated or _INDEX.sub("", path) in animated:
        return None
    try:
        value = owner.path_resolve(path)
    except ValueError:
        return "not there"
    return tuple(value) if hasattr(value, "__len__") and not isinstance(value, str) else value


def _describe_properties(owner: Any, prefix: str, moved: _Moved) -> Iterator[Any]:
    for name in sorted(owner.keys()):
        path = f'{prefix}["{bpy.utils.escape_identifier(name)}"]'
        value = owner[name]
        # Decisions, notes, takes and limits are kept with the scene, and move nothing.
        if path in moved.paths or name.startswith("fettle_"):
            continue
        if isinstance(value, (bool, int, float, str)):
            yield name, value
        elif hasattr(value, "to_list"):
            yield name, repr(value.to_list())


def _read_states(played: PlayedCurves) -> CurveStates:
    seen: dict[tuple[str, int], int] = {}
    places: list[tuple[str, int, int]] = []
    rules: list[Values] = []
    for path, entry in zip(played.paths, played.played, strict=True):
        place = (path, entry.curve.array_index)
        seen[place] = seen.get(place, 0) + 1
        places.append((*place, seen[place]))
        rules.append(_read_rules(entry.curve, entry.is_shifted))
    return CurveStates(tuple(places), rules, played.keys)


def _read_rules(curve: Any, shifted: bool) -> Values:
    """Return what a curve plays by beside its keys: see `CurveStates`."""
    modifiers, samples, baked = curve.modifiers, curve.sampled_points, b""
    settings: Values = ()
    if len(modifiers):
        settings = tuple(v for m in modifiers for v in (m.type, *read_settings(m)))
    if len(samples):
        values = np.empty(2 * len(samples), np.float32)
        samples.foreach_get("co", values)
        baked = values.tobytes()
    return (curve.extrapolation, shifted, settings, baked)


def _list_keys(curve: Any) -> bytes:
    """Return a curve's keys as something to compare."""
    return read_keys_of([curve]).show_keys().tobytes() if len(curve.keyframe_points) else b""
