# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Everything a subject's movement depends on, so that it can be told what an edit has changed.

Two halves: the curves, whose keys tell which frames an edit can influence, and all the rest
(constraints, drivers, parents, rest pose, values nobody keyed), where any change touches every
frame. Values that are keyed or driven are left out of the rest: they follow the current frame.
"""

from __future__ import annotations

import builtins
import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import compat
from .animation_data import TRANSFORM_CHANNELS, list_played_curves, split_bone_path
from .dependencies import list_constraint_targets

Values = tuple[Any, ...]

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
_STRIP_ONLY_SHOWN = {"rna_type", "show_expanded", "active", "select", "name", "error_location"}
_GEOMETRY = {"SHRINKWRAP", "SPLINE_IK", "FOLLOW_PATH", "CLAMP_TO", "CAMERA_SOLVER", "FOLLOW_TRACK",
             "OBJECT_SOLVER", "TRANSFORM_CACHE"}  # fmt: skip
_INDEX = re.compile(r"\[\d+\]$")
_EXPRESSION_NAMES = {*dir(math), *dir(builtins), "frame", "noise", "clamp", "lerp", "smoothstep"}
_NAMES: dict[type, tuple[str, ...]] = {}


class CannotDescribeError(Exception):
    """The subject depends on something whose changes cannot be seen cheaply, such as a mesh."""


@dataclass(frozen=True, eq=False, slots=True)
class CurveState:
    """What an F-curve plays.

    Attributes
    ----------
    rules : tuple
        Extrapolation, modifiers, where it plays.
    keys : ndarray, shape (K, 11)
        Time, value, both handles, interpolation, easing and its three numbers.
    local : bool
        Whether a change of some keys changes the frames around them only.
    """

    rules: Values
    keys: NDArray[np.float32]
    local: bool


@dataclass(frozen=True, eq=False, slots=True)
class Surroundings:
    """All that moves a subject: settled values, and the curves by owner, path and index."""

    settled: Values
    curves: dict[Values, CurveState]


def describe_surroundings(
    roots: Iterable[bpy.types.Object], scene: bpy.types.Scene
) -> Surroundings:
    """Describe what these objects' movement depends on.

    Raises
    ------
    CannotDescribeError
        When that includes geometry or a simulation.
    """
    owners = _collect(roots)
    owners.append(scene)
    animated: dict[str, set[str]] = {_name(owner): set() for owner in owners}
    curves: dict[Values, CurveState] = {}
    for owner in owners:
        seen: dict[tuple[str, int], int] = {}
        for played in list_played_curves(owner):
            curve = played.curve
            place = (curve.data_path, curve.array_index)
            seen[place] = seen.get(place, 0) + 1
            key = (_name(owner), *place, seen[place])
            curves[key] = _read_state(curve, played.is_shifted)
            animated[_name(owner)].add(curve.data_path)
        data = owner.animation_data
        if data is not None:
            animated[_name(owner)].update(curve.data_path for curve in data.drivers)
    settled = tuple(value for owner in owners for value in _describe(owner, animated))
    clock = scene.render
    settled += (clock.frame_map_old, clock.frame_map_new, clock.fps, clock.fps_base)
    settled += (scene.unit_settings.system, scene.unit_settings.scale_length)
    return Surroundings(settled, curves)


def find_changed(
    old: Surroundings, new: Surroundings, times: NDArray[np.float64]
) -> NDArray[np.bool_] | None:
    """Return at which animation times the two may differ; None when that is all of them."""
    if old.settled != new.settled or old.curves.keys() != new.curves.keys():
        return None
    changed = np.zeros(len(times), dtype=np.bool_)
    for key, state in new.curves.items():
        before = old.curves[key]
        if before.rules != state.rules:
            return None
        if before.keys.shape == state.keys.shape and np.array_equal(
            before.keys.view(np.int32), state.keys.view(np.int32)
        ):
            continue
        if not state.local:
            return None
        first, last = _find_span(before.keys, state.keys, straight=state.rules[0] == "LINEAR")
        changed |= (times >= first - 0.01) & (times <= last + 0.01)
    return changed


def _find_span(
    old: NDArray[np.float32], new: NDArray[np.float32], straight: bool
) -> tuple[float, float]:
    """Return the time between the last key that is the same before a change, and after it."""
    shorter = min(len(old), len(new))
    ahead = (old[:shorter].view(np.int32) == new[:shorter].view(np.int32)).all(axis=1)
    same_before = shorter if ahead.all() else int(np.argmin(ahead))
    behind = (
        old[len(old) - shorter :].view(np.int32) == new[len(new) - shorter :].view(np.int32)
    ).all(axis=1)[::-1]
    same_after = shorter if behind.all() else int(np.argmin(behind))
    same_after = min(same_after, shorter - same_before)
    # A curve that goes on straight may lean on the outer two keys.
    edge = 1 if straight else 0
    first = float(new[same_before - 1, 0]) if same_before > edge else -np.inf
    last = float(new[len(new) - same_after, 0]) if same_after > edge else np.inf
    return first, last


def _collect(roots: Iterable[bpy.types.Object]) -> list[Any]:
    """Return everything the objects depend on, by parents, constraints and drivers."""
    found: dict[Any, None] = {}
    waiting: list[Any] = list(roots)
    while waiting:
        owner = waiting.pop()
        if owner is None or owner in found or isinstance(owner, bpy.types.Scene):
            continue
        found[owner] = None
        waiting += _list_needed(owner)
    return sorted(found, key=_name)


def _list_needed(owner: Any) -> Iterator[Any]:
    data = owner.animation_data
    for curve in data.drivers if data is not None else ():
        for variable in curve.driver.variables:
            for target in variable.targets:
                yield target.id
    if not isinstance(owner, bpy.types.Object):
        return
    if owner.parent_type not in ("OBJECT", "BONE", "ARMATURE") or owner.rigid_body is not None:
        raise CannotDescribeError("it follows geometry or a simulation")
    if owner.parent is not None and owner.parent.type == "CURVE":
        raise CannotDescribeError("it follows geometry")
    yield owner.parent
    yield from _list_targets(owner.constraints)
    if owner.type == "ARMATURE":
        yield owner.data
        for bone in owner.pose.bones:
            yield from _list_targets(bone.constraints)
    elif owner.type in ("CAMERA", "LIGHT"):
        yield owner.data
    if owner.type == "CAMERA":
        yield owner.data.dof.focus_object


def _list_targets(constraints: Iterable[Any]) -> Iterator[Any]:
    for constraint in constraints:
        if constraint.type in _GEOMETRY:
            raise CannotDescribeError("it follows geometry")
        for target, subtarget in list_constraint_targets(constraint):
            if subtarget and target.type != "ARMATURE":
                raise CannotDescribeError("it follows geometry")
            yield target


def _describe(owner: Any, moved: dict[str, set[str]]) -> Iterator[Any]:
    animated = moved[_name(owner)]
    yield _name(owner)
    yield from _describe_animation(owner, moved)
    yield from _describe_properties(owner, "", animated)
    if isinstance(owner, bpy.types.Object):
        yield from _describe_object(owner, animated)
    elif isinstance(owner, bpy.types.Armature):
        yield owner.pose_position
        for name in _REST:
            yield _read_all(owner.bones, name)
        yield tuple((b.name, b.parent.name if b.parent is not None else "") for b in owner.bones)
    elif isinstance(owner, bpy.types.Camera):
        yield from _read_rna(owner, "", animated)
        yield from _read_rna(owner.dof, "dof.", animated)


def _describe_object(owner: bpy.types.Object, animated: set[str]) -> Iterator[Any]:
    yield _name(owner.parent) if owner.parent is not None else ""
    yield tuple(getattr(owner, name) for name in _OBJECT)
    yield tuple(value for row in owner.matrix_parent_inverse for value in row)
    for name in TRANSFORM_CHANNELS:
        if name not in animated:
            yield tuple(getattr(owner, name)[:])
        else:
            yield _mask_keyed(owner, name)
    yield from _describe_constraints(owner.constraints, "", animated)
    if owner.instance_collection is not None:
        yield tuple(owner.instance_collection.instance_offset[:])
    if owner.type == "ARMATURE" and owner.pose is not None:
        yield from _describe_pose(owner, animated)


def _mask_keyed(owner: Any, name: str) -> Values:
    """Return the values of a channel that no curve and no driver of its own moves."""
    moved = {
        curve.array_index
        for curve in [*(p.curve for p in list_played_curves(owner)), *owner.animation_data.drivers]
        if curve.data_path == name
    }
    return tuple(v for index, v in enumerate(getattr(owner, name)) if index not in moved)


def _describe_pose(owner: bpy.types.Object, animated: set[str]) -> Iterator[Any]:
    bones = owner.pose.bones
    rows = {bone.name: row for row, bone in enumerate(bones)}
    moved: dict[str, list[tuple[int, int]]] = {}
    data: Any = owner.animation_data
    played = [entry.curve for entry in list_played_curves(owner)]
    for curve in [*played, *(data.drivers if data is not None else ())]:
        split = split_bone_path(curve.data_path)
        if split is not None and split[0] in rows and split[1] in _BONE_CHANNELS:
            moved.setdefault(split[1], []).append((rows[split[0]], curve.array_index))
    for name in _BONE_CHANNELS:
        width = 4 if name in ("rotation_quaternion", "rotation_axis_angle") else 3
        values = np.empty(width * len(bones), dtype=np.float32)
        bones.foreach_get(name, values)
        table = values.reshape(-1, width)
        for row, index in moved.get(name, ()):
            if index < width:
                table[row, index] = 0.0
        yield table.tobytes()
    for name in (*_BONE_RULES, "rotation_mode"):
        yield _read_all(bones, name)
    yield owner.pose.ik_solver
    for bone in bones:
        constrained, named = len(bone.constraints) > 0, bool(bone.keys())
        if not constrained and not named:
            continue
        prefix = f'pose.bones["{bpy.utils.escape_identifier(bone.name)}"]'
        if constrained:
            yield from _describe_constraints(bone.constraints, f"{prefix}.", animated)
        if named:
            yield from _describe_properties(bone, prefix, animated)


def _describe_constraints(
    constraints: Iterable[Any], prefix: str, animated: set[str]
) -> Iterator[Any]:
    for constraint in constraints:
        yield constraint.name, constraint.type
        path = f'{prefix}constraints["{bpy.utils.escape_identifier(constraint.name)}"].'
        yield from _read_rna(constraint, path, animated)
        if constraint.type == "ACTION" and constraint.action is not None:
            # It plays by a clock of its own: what changes there may show anywhere.
            slot = getattr(constraint, "action_slot", None)
            for curve in compat.list_action_curves(constraint.action, slot):
                yield curve.data_path, curve.array_index, _read_state(curve, True).keys.tobytes()
        if constraint.type == "ARMATURE":
            for target in constraint.targets:
                yield target.weight, target.subtarget, getattr(target.target, "name_full", "")


def _describe_animation(owner: Any, moved: dict[str, set[str]]) -> Iterator[Any]:
    data = owner.animation_data
    if data is None:
        return
    yield data.use_nla, data.use_tweak_mode, data.action_blend_type, data.action_influence
    yield data.action_extrapolation, data.action is not None
    for track in data.nla_tracks:
        yield track.mute, track.is_solo
        for strip in track.strips:
            yield from _read_rna(strip, "", {"influence", "strip_time"})
            for curve in strip.fcurves:
                yield curve.data_path, _read_state(curve, True).keys.tobytes()
    for curve in data.drivers:
        yield curve.data_path, curve.array_index, curve.mute, curve.extrapolation
        yield _read_state(curve, False).keys.tobytes()
        yield from (value for m in curve.modifiers for value in _read_rna(m, "", set()))
        yield from _describe_driver(curve.driver, moved)


def _describe_driver(driver: Any, moved: dict[str, set[str]]) -> Iterator[Any]:
    _refuse_free_code(driver)
    yield driver.type, driver.expression, driver.use_self
    for variable in driver.variables:
        yield variable.name, variable.type
        for target in variable.targets:
            yield from _read_rna(target, "", set())
            if variable.type == "SINGLE_PROP" and target.id is not None:
                yield _resolve(target, moved)


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


def _resolve(target: Any, moved: dict[str, set[str]]) -> Any:
    """Return the value a driver reads, unless it is moved itself."""
    path = target.data_path
    animated = moved.get(_name(target.id), set())
    if path in animated or _INDEX.sub("", path) in animated:
        return None
    try:
        value = target.id.path_resolve(path)
    except ValueError:
        return "not there"
    return tuple(value) if hasattr(value, "__len__") and not isinstance(value, str) else value


def _describe_properties(owner: Any, prefix: str, animated: set[str]) -> Iterator[Any]:
    for name in sorted(owner.keys()):
        path = f'{prefix}["{bpy.utils.escape_identifier(name)}"]'
        value = owner[name]
        if path in animated:
            continue
        if isinstance(value, (bool, int, float, str)):
            yield name, value
        elif hasattr(value, "to_list"):
            yield name, repr(value.to_list())


def _read_rna(struct: Any, prefix: str, animated: set[str]) -> Iterator[Any]:
    """Yield all settings of a structure that are plain values or names of other data."""
    kind = type(struct)
    if kind not in _NAMES:
        _NAMES[kind] = tuple(
            prop.identifier
            for prop in struct.bl_rna.properties
            if prop.identifier not in _STRIP_ONLY_SHOWN
            and prop.type != "COLLECTION"
            and (not prop.is_readonly or prop.type == "POINTER")
        )
    for name in _NAMES[kind]:
        if prefix + name in animated or name in animated:
            continue
        value = getattr(struct, name)
        if isinstance(value, (bool, int, float, str)) or value is None:
            yield value
        elif isinstance(value, bpy.types.ID):
            yield value.name_full
        elif hasattr(value, "identifier"):
            yield value.identifier
        elif not isinstance(value, bpy.types.bpy_struct):
            yield tuple(tuple(v) if hasattr(v, "__len__") else v for v in value)


def _read_all(items: Any, name: str) -> bytes:
    """Return one property of all items of a collection, as bytes."""
    prop = items[0].bl_rna.properties[name] if len(items) else None
    if prop is None:
        return b""
    width = max(1, getattr(prop, "array_length", 1))
    kind = np.float32 if prop.type == "FLOAT" else np.int32
    values = np.empty(width * len(items), dtype=kind)
    items.foreach_get(name, values)
    return values.tobytes()


def _read_state(curve: Any, shifted: bool) -> CurveState:
    points = curve.keyframe_points
    count = len(points)
    keys = np.zeros((count, 11), dtype=np.float32)
    pairs, numbers = np.empty((3, 2 * count), np.float32), np.empty((2, count), np.int32)
    extras = np.empty((3, count), np.float32)
    for row, name in enumerate(("co", "handle_left", "handle_right")):
        points.foreach_get(name, pairs[row])
        keys[:, 2 * row : 2 * row + 2] = pairs[row].reshape(-1, 2)
    points.foreach_get("interpolation", numbers[0])
    if count and numbers[0].max() > 2:
        points.foreach_get("easing", numbers[1])
        for row, name in enumerate(("back", "amplitude", "period")):
            points.foreach_get(name, extras[row])
        keys[:, 7], keys[:, 8:11] = numbers[1], extras.T
    keys[:, 6] = numbers[0]
    modifiers = tuple(v for m in curve.modifiers for v in (m.type, *_read_rna(m, "", set())))
    rules: Values = (curve.extrapolation, shifted, modifiers)
    if len(curve.sampled_points):
        samples = np.empty(2 * len(curve.sampled_points), np.float32)
        curve.sampled_points.foreach_get("co", samples)
        rules += (samples.tobytes(),)
    return CurveState(rules, keys, local=not modifiers and not shifted)


def _name(owner: Any) -> str:
    return f"{owner.bl_rna.identifier} {owner.name_full}"
