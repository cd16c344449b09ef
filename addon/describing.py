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
from functools import partial
from typing import Any

import bpy
import numpy as np

from .animation_data import TRANSFORM_CHANNELS, split_bone_path
from .bone_links import ALL, BoneLinks, collect_links
from .curve_tables import read_keys_of
from .dependencies import CLOCK
from .dependency_cycles import has_cycle
from .describing_bones import describe_bones, describe_constraints, describe_properties, read_pose
from .describing_curves import describe_animation, read_modifier, read_states
from .moved_paths import UNMOVED, Moved, list_movers
from .plain_values import Values, make_getter, name_owner, read_column, read_settings
from .source_reading import HeldDriver, SourceReader
from .surroundings import CurveStates, Surroundings

_REST = ("head_local", "tail_local", "matrix_local", "use_inherit_rotation", "use_local_location",
         "use_connect", "use_relative_parent", "inherit_scale", "bbone_segments")  # fmt: skip
_OBJECT = ("parent_type", "parent_bone", "rotation_mode", "hide_viewport", "track_axis", "up_axis")
_GEOMETRY = {"SHRINKWRAP", "SPLINE_IK", "FOLLOW_PATH", "CLAMP_TO", "CAMERA_SOLVER", "FOLLOW_TRACK",
             "OBJECT_SOLVER", "TRANSFORM_CACHE", "GEOMETRY_ATTRIBUTE"}  # fmt: skip
_get_driver_settings = make_getter(("type", "expression", "use_self"))
_INDEX = re.compile(r"\[\d+\]$")
_EXPRESSION_NAMES = {*dir(math), *dir(builtins), "frame", "noise", "clamp", "lerp", "smoothstep"}


class CannotDescribeError(Exception):
    """The subject depends on something whose changes cannot be seen cheaply, such as a mesh."""


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
    moved: dict[str, Moved] = {name_owner(owner): Moved() for owner in owners}
    curves: dict[str, CurveStates] = {}
    for owner in owners:
        name, played = name_owner(owner), reader.read_curves(owner)
        if played.played:
            yield from played.iterate_keys()
            curves[name] = read_states(played)
            moved[name].add(*played.paths)
        moved[name].add(*(driven.path for driven in reader.read_drivers(owner)))
    yield
    subject = roots[0] if roots and roots[0].pose is not None else None
    settled: dict[tuple[str, str], list[Any]] = {}
    for owner in owners:
        for describe in (partial(_describe_drivers, scene), _describe, describe_bones):
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
    for owner in owners:
        if not isinstance(owner, bpy.types.Object) or owner.pose is None:
            continue
        if owner == subject:
            pose = read_pose(owner, reader)
        else:
            settled[name_owner(owner), ALL].append(read_pose(owner, reader).tobytes())
        yield
    if subject is not None:
        links = collect_links(subject, name_owner(subject), owners, reader)
    if before is not None and (before.settled, before.links) == (settled, links):
        # The very same objects: whoever compares them again is done at once.
        settled, links, cyclic = before.settled, before.links, before.cyclic
    else:
        yield
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
    owner: Any, moved: dict[str, Moved], reader: SourceReader
) -> Iterator[tuple[str, Any]]:
    """Yield what is settled about an owner, but for its drivers and bones, under no bone."""
    here = moved[name_owner(owner)]
    plain = [*describe_animation(owner), *describe_properties(owner, "", here)]
    if isinstance(owner, bpy.types.Object):
        plain += _describe_object(owner, moved, reader)
    elif isinstance(owner, bpy.types.Armature):
        plain.append(owner.pose_position)
        plain += [read_column(owner.bones, name).tobytes() for name in _REST]
        plain.append(list(reader.read_parents(owner).items()))
    elif isinstance(owner, bpy.types.Camera):
        plain += read_settings(owner, here.inside.get("", ()))
        plain += read_settings(owner.dof, here.inside.get("dof.", ()))
    yield ALL, plain


def _describe_object(
    owner: bpy.types.Object, every: dict[str, Moved], reader: SourceReader
) -> Iterator[Any]:
    moved = every[name_owner(owner)]
    yield name_owner(owner.parent) if owner.parent is not None else ""
    yield tuple(getattr(owner, name) for name in _OBJECT)
    yield tuple(value for row in owner.matrix_parent_inverse for value in row)
    for name in TRANSFORM_CHANNELS:
        if name not in moved.paths:
            yield tuple(getattr(owner, name)[:])
        else:
            yield _mask_keyed(owner, name, reader)
    own = [held for held in reader.read_constraints(owner) if not held.bone]
    yield from describe_constraints(own, "", owner, every)
    if owner.instance_collection is not None:
        yield tuple(owner.instance_collection.instance_offset[:])
    if owner.type == "ARMATURE" and owner.pose is not None:
        yield owner.pose.ik_solver
        if owner.pose.ik_param is not None:
            yield read_settings(owner.pose.ik_param)


def _mask_keyed(owner: Any, name: str, reader: SourceReader) -> Values:
    """Return the values of a channel that no curve and no driver of its own moves."""
    moved = {index for path, index in list_movers(owner, reader) if path == name}
    return tuple(v for index, v in enumerate(getattr(owner, name)) if index not in moved)


def _describe_drivers(
    scene: bpy.types.Scene, owner: Any, moved: dict[str, Moved], reader: SourceReader
) -> Iterator[tuple[str, Any]]:
    """Yield each driver's settled values with the bone it moves."""
    drivers = reader.read_drivers(owner)
    if not drivers:
        return
    keys = read_keys_of([driven.curve for driven in drivers])
    every = keys.show_keys()
    sources = {read.owner for driven in drivers for read in driven.reads if read.owner is not None}
    sources.add(scene)
    animated = {source: moved.get(name_owner(source), UNMOVED).paths for source in sources}
    for row, driven in enumerate(drivers):
        values: list[Any] = [
            (driven.path, driven.index, driven.mute, driven.extrapolation),
            every[keys.place(row)].tobytes(),
        ]
        values += map(read_modifier, driven.curve.modifiers)
        values += _describe_driver(driven, animated, scene)
        split = split_bone_path(driven.path)
        yield split[0] if split is not None else ALL, values


def _describe_driver(
    driven: HeldDriver, animated: dict[Any, set[str]], scene: bpy.types.Scene
) -> Iterator[Any]:
    settings = _get_driver_settings(driven.driver)
    if settings[0] == "SCRIPTED":
        _refuse_free_code(driven.driver)
    yield settings
    for read in driven.reads:
        yield read.variable, read.kind, read.form.show(read.values)
        if read.kind == "SINGLE_PROP" and read.owner is not None:
            yield _resolve(read.path, read.owner, animated[read.owner])
        elif read.kind == "CONTEXT_PROP" and read.path not in CLOCK:
            yield _resolve(read.path, scene, animated[scene])


def _refuse_free_code(driver: Any) -> None:
    """Raise CannotDescribeError when an expression may read more than its variables."""
    if driver.is_simple_expression:
        return
    known = {variable.name for variable in driver.variables} | _EXPRESSION_NAMES
    try:
        names = set(compile(driver.expression, "driver", "eval").co_names)
    except (SyntaxError, ValueError):
        return
    if driver.use_self or not names <= known:
        raise CannotDescribeError("a driver's expression reads more than its variables")


def _resolve(path: str, owner: Any, animated: set[str]) -> Any:
    """Return the value a driver reads, unless it is animated itself."""
    if path in animated or _INDEX.sub("", path) in animated:
        return None
    try:
        value = owner.path_resolve(path)
    except ValueError:
        return "not there"
    return tuple(value) if hasattr(value, "__len__") and not isinstance(value, str) else value
