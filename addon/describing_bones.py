# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Poses, constraints and what else is settled about bones, as plain values to be compared."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import compat
from .animation_data import split_bone_path
from .dependency_cycles import list_chain
from .describing_curves import read_curve
from .moved_paths import UNMOVED, Moved, list_movers
from .plain_values import Values, make_getter, name_owner, read_column, read_settings
from .source_reading import HeldConstraint, SourceReader

_BONE_CHANNELS = (
    "location",
    "rotation_euler",
    "rotation_quaternion",
    "rotation_axis_angle",
    "scale",
    "rotation_mode",
)
_SOLVER_RULES = tuple(
    f"{name}_{axis}"
    for name in ("lock_ik", "use_ik_limit", "ik_min", "ik_max", "ik_stiffness")
    for axis in "xyz"
) + ("ik_stretch", "ik_rotation_weight", "ik_linear_weight", "use_ik_rotation_control")
_get_solver_rules = make_getter(_SOLVER_RULES)


def read_pose(owner: bpy.types.Object, reader: SourceReader) -> NDArray[np.int32]:
    """Return the settled numbers of all bones, one row each; what is keyed or driven is 0."""
    bones = owner.pose.bones
    rows = {name: row for row, name in enumerate(bones.keys())}
    moved: dict[str, list[tuple[int, int]]] = {}
    for path, index in list_movers(owner, reader):
        split = split_bone_path(path)
        if split is not None and split[0] in rows and split[1] in _BONE_CHANNELS:
            moved.setdefault(split[1], []).append((rows[split[0]], index))
    tables = []
    # What only solvers of chains ask for is read bone by bone, unless one solver moves them all.
    is_one_solver = owner.pose.ik_solver != "LEGACY"
    for name in (*_BONE_CHANNELS, *(_SOLVER_RULES if is_one_solver else ())):
        table = read_column(bones, name)
        for row, index in moved.get(name, ()):
            if index < table.shape[1]:
                table[row, index] = 0
        tables.append(table)
    return np.concatenate([table.view(np.int32) for table in tables], axis=1)


def describe_bones(
    owner: Any, moved: dict[str, Moved], reader: SourceReader
) -> Iterator[tuple[str, Any]]:
    """Yield what is settled about each bone of an armature object."""
    if not isinstance(owner, bpy.types.Object) or owner.pose is None:
        return
    here = moved[name_owner(owner)]
    held_by: dict[str, list[HeldConstraint]] = {}
    for held in reader.read_constraints(owner):
        if held.bone:
            held_by.setdefault(held.bone, []).append(held)
    for name, constraints in held_by.items():
        yield name, list(describe_constraints(constraints, f"{_name_place(name)}.", owner, moved))
    for name in _list_solved(owner, reader):
        bone = owner.pose.bones[name]
        animated = here.inside.get(f"{_name_place(name)}.", ())
        rules = zip(_SOLVER_RULES, _get_solver_rules(bone), strict=True)
        yield name, [rule for rule in rules if rule[0] not in animated]
    for name in reader.read_named(owner):
        bone = owner.pose.bones[name]
        yield name, list(describe_properties(bone, _name_place(name), here))


def _list_solved(owner: bpy.types.Object, reader: SourceReader) -> Iterator[str]:
    """Return the bones that are in a chain a solver moves."""
    solved: set[str] = set()
    for held in reader.read_constraints(owner):
        if held.bone and held.kind == "IK":
            solved.update(list_chain(owner, held))
    yield from sorted(solved)


def _name_place(bone: str) -> str:
    """Return the data path of a pose bone."""
    return f'pose.bones["{bpy.utils.escape_identifier(bone)}"]'


def describe_constraints(
    constraints: Iterable[HeldConstraint], prefix: str, owner: Any, every: dict[str, Moved]
) -> Iterator[Any]:
    """Yield what is settled about constraints of an owner, whose data path begins with a prefix."""
    moved = every[name_owner(owner)]
    for held in constraints:
        path = f'{prefix}constraints["{bpy.utils.escape_identifier(held.name)}"].'
        yield held.name, held.kind
        yield held.form.show(held.values, moved.inside.get(path, ()))
        if held.kind == "ACTION" and held.get("action", None) is not None:
            # It plays by a clock of its own: what changes there may show anywhere.
            yield from map(read_curve, _list_own_curves(owner, held))
        yield from held.shares
        if held.kind == "ARMATURE" or held.get("use_bbone_shape", False):
            for target, subtarget in held.targets:
                if target.type == "ARMATURE" and subtarget in target.data.bones:
                    yield _read_bend(target, subtarget, every)


def _list_own_curves(owner: bpy.types.Object, held: HeldConstraint) -> Sequence[Any]:
    """Return the curves of the action that a constraint plays."""
    holder: Any = owner.pose.bones.get(held.bone) if held.bone else owner
    constraint = holder.constraints.get(held.name) if holder is not None else None
    if constraint is None or constraint.action is None:
        return ()
    return compat.list_action_curves(constraint.action, getattr(constraint, "action_slot", None))


def _read_bend(owner: bpy.types.Object, name: str, moved: dict[str, Moved]) -> Values:
    """Return what bends a bone made of segments, at rest and posed; nothing for other bones."""
    rest, posed = owner.data.bones[name], owner.pose.bones[name]
    if rest.bbone_segments < 2:
        return ()
    inside = moved.get(name_owner(owner), UNMOVED).inside
    animated = inside.get(f"{_name_place(name)}.", ())
    return (
        *read_settings(rest, prefix="bbone_"),
        *read_settings(posed, animated, prefix="bbone_"),
    )


def describe_properties(owner: Any, prefix: str, moved: Moved) -> Iterator[Any]:
    """Yield the custom properties of an ID, or of a bone whose data path is a prefix."""
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
