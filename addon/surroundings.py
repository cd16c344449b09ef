# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Everything a subject's movement depends on, so that it can be told what an edit has changed.

Two halves: the curves, whose keys tell which frames an edit can influence, and all the rest
(constraints, drivers, parents, rest pose, values nobody keyed), where any change touches every
frame. Values that are keyed or driven are left out of the rest: they follow the current frame.

What belongs to one bone of the subject is kept apart from what belongs to the other bones, and who
follows whom is kept with it: an edit touches the edited bones and their followers alone.
"""

from __future__ import annotations

import builtins
import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from operator import attrgetter
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import compat
from .animation_data import CONSTANT, TRANSFORM_CHANNELS, list_played_curves, split_bone_path
from .bone_links import ALL, BoneLinks, collect_links, list_reached
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
_PLAIN = {"BOOLEAN", "INT", "FLOAT", "STRING", "ENUM"}


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
    pointer: int = 0
    """Of the F-curve, for the length of the reading that described it."""


@dataclass(frozen=True, eq=False, slots=True)
class Surroundings:
    """All that moves a subject.

    Attributes
    ----------
    settled : dict of (owner, bone) to values
        The bone is "" for what belongs to no single bone of the subject.
    pose : ndarray of int, shape (B, W)
        Settled numbers of the subject's bones, a row for each.
    links : BoneLinks
        Who follows whom among these bones.
    curves : dict of (owner, path, index, place) to CurveState
    """

    settled: dict[tuple[str, str], list[Any]]
    pose: NDArray[np.int32]
    links: BoneLinks
    curves: dict[Values, CurveState]

    def is_same(self, other: Surroundings) -> bool:
        """Say whether not even a key beyond the frames is different."""
        return (
            self.settled == other.settled
            and self.links.bones == other.links.bones
            and np.array_equal(self.pose, other.pose)
            and self.curves.keys() == other.curves.keys()
            and all(
                state.rules == other.curves[key].rules
                and _is_same_keys(state.keys, other.curves[key].keys)
                for key, state in self.curves.items()
            )
        )

    def list_keys(self) -> dict[int, tuple[NDArray[np.float64], NDArray[np.bool_]]]:
        """Return times of keys and whether they are held, by the F-curve's pointer."""
        return {
            state.pointer: (state.keys[:, 0].astype(np.float64), state.keys[:, 6] == CONSTANT)
            for state in self.curves.values()
        }


@dataclass(slots=True)
class _Moved:
    """What curves and drivers move on one owner: their data paths, and by what they lie in."""

    paths: set[str] = field(default_factory=set)
    inside: dict[str, set[str]] = field(default_factory=dict)

    def add(self, path: str) -> None:
        self.paths.add(path)
        cut = path.rfind(".") + 1
        self.inside.setdefault(path[:cut], set()).add(path[cut:])


_UNMOVED = _Moved()
_STRIP_MOVED = _Moved(inside={"": {"influence", "strip_time"}})


def describe_surroundings(
    roots: Iterable[bpy.types.Object], scene: bpy.types.Scene
) -> Surroundings:
    """Describe what these objects' movement depends on.

    Raises
    ------
    CannotDescribeError
        When that includes geometry or a simulation.
    """
    roots = list(roots)
    owners = _collect(roots)
    owners.append(scene)
    moved: dict[str, _Moved] = {_name(owner): _Moved() for owner in owners}
    curves: dict[Values, CurveState] = {}
    for owner in owners:
        name, seen = _name(owner), dict[tuple[str, int], int]()
        for played in list_played_curves(owner):
            curve = played.curve
            place = (curve.data_path, curve.array_index)
            seen[place] = seen.get(place, 0) + 1
            curves[name, *place, seen[place]] = _read_state(curve, played.is_shifted)
            moved[name].add(place[0])
        data = owner.animation_data
        if data is not None:
            for curve in data.drivers:
                moved[name].add(curve.data_path)
    subject = roots[0] if roots and roots[0].pose is not None else None
    settled: dict[tuple[str, str], list[Any]] = {}
    for owner in owners:
        for bone, value in _describe(owner, moved):
            settled.setdefault((_name(owner), bone if owner == subject else ALL), []).append(value)
    clock = scene.render
    units = scene.unit_settings
    settled["", ALL] = [clock.frame_map_old, clock.frame_map_new, clock.fps, clock.fps_base,
                        units.system, units.scale_length]  # fmt: skip
    if subject is None:
        return Surroundings(settled, np.empty((0, 0), np.int32), BoneLinks(), curves)
    pose = _read_pose(subject)
    return Surroundings(settled, pose, collect_links(subject, _name(subject), owners), curves)


def find_changed(
    old: Surroundings, new: Surroundings, times: NDArray[np.float64]
) -> dict[str, NDArray[np.bool_]]:
    """Return at which animation times the two may differ, by bone of the subject.

    Returns
    -------
    dict of bone to ndarray of bool, shape (F,)
        What is not named is the same; "" stands for everything about the subject.
    """
    always = np.ones(len(times), dtype=np.bool_)
    if old.links.bones != new.links.bones or old.pose.shape != new.pose.shape:
        return {ALL: always}
    changed: dict[str, NDArray[np.bool_]] = {}

    def note(bone: str, when: NDArray[np.bool_]) -> None:
        changed[bone] = changed[bone] | when if bone in changed else when

    for place in old.settled.keys() | new.settled.keys():
        if old.settled.get(place) != new.settled.get(place):
            note(place[1], always)
    for row in np.flatnonzero((old.pose != new.pose).any(axis=1)):
        note(new.links.bones[row], always)
    for key in old.curves.keys() | new.curves.keys():
        before, state = old.curves.get(key), new.curves.get(key)
        if before is None or state is None:
            note(new.links.find_bone(key[0], key[1]), always)
        elif before.rules != state.rules:
            note(new.links.find_bone(key[0], key[1]), always)
        elif not _is_same_keys(before.keys, state.keys):
            when = always
            if state.local:
                straight = state.rules[0] == "LINEAR"
                first, last = _find_span(before.keys, state.keys, straight)
                when = (times >= first - 0.01) & (times <= last + 0.01)
            note(new.links.find_bone(key[0], key[1]), when)
    spread: dict[str, NDArray[np.bool_]] = {}
    for bone, when in changed.items():
        for reached in list_reached(bone, old.links, new.links):
            spread[reached] = spread[reached] | when if reached in spread else when
    return spread


def _is_same_keys(one: NDArray[np.float32], other: NDArray[np.float32]) -> bool:
    return one.shape == other.shape and np.array_equal(one.view(np.int32), other.view(np.int32))


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


def _describe(owner: Any, moved: dict[str, _Moved]) -> Iterator[tuple[str, Any]]:
    """Yield what is settled about an owner, each value with the bone it belongs to."""
    here = moved[_name(owner)]
    yield from _describe_drivers(owner, moved)
    plain = [*_describe_animation(owner), *_describe_properties(owner, "", here)]
    if isinstance(owner, bpy.types.Object):
        plain += _describe_object(owner, here)
        if owner.type == "ARMATURE" and owner.pose is not None:
            yield from _describe_bones(owner, here)
    elif isinstance(owner, bpy.types.Armature):
        plain.append(owner.pose_position)
        plain += [_read_all(owner.bones, name).tobytes() for name in _REST]
        plain.append([(b.name, b.parent.name if b.parent is not None else "") for b in owner.bones])
    elif isinstance(owner, bpy.types.Camera):
        plain += [*_read_rna(owner, "", here), *_read_rna(owner.dof, "dof.", here)]
    yield ALL, plain


def _describe_object(owner: bpy.types.Object, moved: _Moved) -> Iterator[Any]:
    yield _name(owner.parent) if owner.parent is not None else ""
    yield tuple(getattr(owner, name) for name in _OBJECT)
    yield tuple(value for row in owner.matrix_parent_inverse for value in row)
    for name in TRANSFORM_CHANNELS:
        if name not in moved.paths:
            yield tuple(getattr(owner, name)[:])
        else:
            yield _mask_keyed(owner, name)
    yield from _describe_constraints(owner.constraints, "", moved)
    if owner.instance_collection is not None:
        yield tuple(owner.instance_collection.instance_offset[:])
    if owner.type == "ARMATURE" and owner.pose is not None:
        yield owner.pose.ik_solver


def _mask_keyed(owner: Any, name: str) -> Values:
    """Return the values of a channel that no curve and no driver of its own moves."""
    moved = {
        curve.array_index
        for curve in [*(p.curve for p in list_played_curves(owner)), *owner.animation_data.drivers]
        if curve.data_path == name
    }
    return tuple(v for index, v in enumerate(getattr(owner, name)) if index not in moved)


def _read_pose(owner: bpy.types.Object) -> NDArray[np.int32]:
    """Return the settled numbers of all bones, one row each; what is keyed or driven is 0."""
    bones = owner.pose.bones
    rows = {bone.name: row for row, bone in enumerate(bones)}
    moved: dict[str, list[tuple[int, int]]] = {}
    data: Any = owner.animation_data
    played = [entry.curve for entry in list_played_curves(owner)]
    for curve in [*played, *(data.drivers if data is not None else ())]:
        split = split_bone_path(curve.data_path)
        if split is not None and split[0] in rows and split[1] in _BONE_CHANNELS:
            moved.setdefault(split[1], []).append((rows[split[0]], curve.array_index))
    tables = []
    for name in _BONE_CHANNELS:
        table = _read_all(bones, name)
        for row, index in moved.get(name, ()):
            if index < table.shape[1]:
                table[row, index] = 0
        tables.append(table)
    tables += [_read_all(bones, name) for name in (*_BONE_RULES, "rotation_mode")]
    return np.concatenate([table.view(np.int32) for table in tables], axis=1)


def _describe_bones(owner: bpy.types.Object, moved: _Moved) -> Iterator[tuple[str, Any]]:
    for bone in owner.pose.bones:
        constrained, named = len(bone.constraints) > 0, bool(bone.keys())
        if not constrained and not named:
            continue
        prefix = f'pose.bones["{bpy.utils.escape_identifier(bone.name)}"]'
        values: list[Any] = []
        if constrained:
            values += _describe_constraints(bone.constraints, f"{prefix}.", moved)
        if named:
            values += _describe_properties(bone, prefix, moved)
        yield bone.name, values


def _describe_constraints(constraints: Iterable[Any], prefix: str, moved: _Moved) -> Iterator[Any]:
    for constraint in constraints:
        yield constraint.name, constraint.type
        path = f'{prefix}constraints["{bpy.utils.escape_identifier(constraint.name)}"].'
        yield from _read_rna(constraint, path, moved)
        if constraint.type == "ACTION" and constraint.action is not None:
            # It plays by a clock of its own: what changes there may show anywhere.
            slot = getattr(constraint, "action_slot", None)
            for curve in compat.list_action_curves(constraint.action, slot):
                yield curve.data_path, curve.array_index, _read_state(curve, True).keys.tobytes()
        if constraint.type == "ARMATURE":
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
            yield from _read_rna(strip, "", _STRIP_MOVED)
            for curve in strip.fcurves:
                yield curve.data_path, _read_state(curve, True).keys.tobytes()


def _describe_drivers(owner: Any, moved: dict[str, _Moved]) -> Iterator[tuple[str, Any]]:
    """Yield each driver's settled values with the bone it moves."""
    data = owner.animation_data
    for curve in data.drivers if data is not None else ():
        values: list[Any] = [
            (curve.data_path, curve.array_index, curve.mute, curve.extrapolation),
            _read_state(curve, False).keys.tobytes(),
        ]
        values += [value for m in curve.modifiers for value in _read_rna(m, "", _UNMOVED)]
        values += _describe_driver(curve.driver, moved)
        split = split_bone_path(curve.data_path)
        yield split[0] if split is not None else ALL, values


def _describe_driver(driver: Any, moved: dict[str, _Moved]) -> Iterator[Any]:
    _refuse_free_code(driver)
    yield driver.type, driver.expression, driver.use_self
    for variable in driver.variables:
        yield variable.name, variable.type
        for target in variable.targets:
            yield from _read_rna(target, "", _UNMOVED)
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


def _resolve(target: Any, moved: dict[str, _Moved]) -> Any:
    """Return the value a driver reads, unless it is moved itself."""
    path = target.data_path
    animated = moved.get(_name(target.id), _UNMOVED).paths
    if path in animated or _INDEX.sub("", path) in animated:
        return None
    try:
        value = target.id.path_resolve(path)
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


@dataclass(frozen=True, slots=True)
class _Settings:
    """The properties of one type: plain values, got all at once, and those with more to them."""

    plain: tuple[str, ...]
    get: Callable[[Any], Any]
    others: tuple[str, ...]


_KNOWN: dict[type, _Settings] = {}


def _list_settings(struct: Any) -> _Settings:
    kind = type(struct)
    if kind not in _KNOWN:
        plain: list[str] = []
        others: list[str] = []
        for prop in struct.bl_rna.properties:
            name = prop.identifier
            if name in _STRIP_ONLY_SHOWN or prop.type == "COLLECTION":
                continue
            if prop.is_readonly and prop.type != "POINTER":
                continue
            many = getattr(prop, "is_array", False) or getattr(prop, "is_enum_flag", False)
            (plain if prop.type in _PLAIN and not many else others).append(name)
        get = attrgetter(*plain) if plain else tuple
        _KNOWN[kind] = _Settings(tuple(plain), get, tuple(others))
    return _KNOWN[kind]


def _read_rna(struct: Any, prefix: str, moved: _Moved) -> Iterator[Any]:
    """Yield all settings of a structure that are plain values or names of other data."""
    settings, animated = _list_settings(struct), moved.inside.get(prefix)
    if not animated:
        yield settings.get(struct) if settings.plain else ()
    else:
        yield [(name, getattr(struct, name)) for name in settings.plain if name not in animated]
    for name in settings.others:
        if animated and name in animated:
            continue
        value = getattr(struct, name)
        if value is None or isinstance(value, (bool, int, float, str)):
            yield value
        elif isinstance(value, bpy.types.ID):
            yield value.name_full
        elif hasattr(value, "identifier"):
            yield value.identifier
        elif isinstance(value, (set, frozenset)):
            yield sorted(value)
        elif not isinstance(value, bpy.types.bpy_struct):
            yield tuple(tuple(v) if hasattr(v, "__len__") else v for v in value)


def _read_all(items: Any, name: str) -> NDArray[Any]:
    """Return one property of all items of a collection, a row for each."""
    prop = items[0].bl_rna.properties.get(name) if len(items) else None
    if prop is None:
        return np.empty((len(items), 0), dtype=np.int32)
    width = max(1, getattr(prop, "array_length", 1))
    kind = np.float32 if prop.type == "FLOAT" else np.int32
    values = np.empty(width * len(items), dtype=kind)
    items.foreach_get(name, values)
    return values.reshape(len(items), width)


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
    modifiers = tuple(v for m in curve.modifiers for v in (m.type, *_read_rna(m, "", _UNMOVED)))
    rules: Values = (curve.extrapolation, shifted, modifiers)
    if len(curve.sampled_points):
        samples = np.empty(2 * len(curve.sampled_points), np.float32)
        curve.sampled_points.foreach_get("co", samples)
        rules += (samples.tobytes(),)
    return CurveState(rules, keys, not modifiers and not shifted, curve.as_pointer())


def _name(owner: Any) -> str:
    return f"{owner.bl_rna.identifier} {owner.name_full}"
