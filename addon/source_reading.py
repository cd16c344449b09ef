# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What moves an ID, curves, constraints and drivers, read once for all who ask in one sampling.

A production rig has hundreds of constraints and drivers, and whether it is bound to its scene,
what it depends on, who follows whom and what has changed are all read off the same ones.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from typing import Any

import bpy

from ..core_math import run_steps
from .curve_tables import PlayedCurves
from .plain_values import Form, Values, find_form, make_getter, show
from .sampling_scene import InterruptedReadingError

BONES_AT_A_TIME = 250
"""Bones whose constraints are read between two pauses."""


@dataclass(slots=True)
class HeldConstraint:
    """A constraint of an object, or of one of its bones, with all its settings.

    As plain values and IDs, which Blender itself marks as removed: it may be held while the user
    has a turn, and the constraint be gone by then.

    Attributes
    ----------
    bone : str
        "" for the object's own.
    name : str
    kind : str
        Its type.
    mute : bool
    targets : tuple of (object, name of the bone or vertex group)
        What it follows, or is measured in the space of.
    form : Form
        Which settings it has.
    values : tuple
        What they are.
    shares : tuple
        How much each of several targets has a say.
    """

    bone: str
    name: str
    kind: str
    mute: bool
    targets: tuple[tuple[bpy.types.Object, str], ...]
    form: Form
    values: Values
    shares: Values

    def get(self, setting: str, otherwise: Any) -> Any:
        """Return a setting, or something else where its type has no such setting."""
        place = self.form.places.get(setting)
        return self.values[place] if place is not None else otherwise


@dataclass(slots=True)
class DriverRead:
    """One target of one of a driver's variables, with all its settings.

    Attributes
    ----------
    variable : str
        The variable's name.
    kind : str
        The variable's type.
    owner : bpy.types.ID or None
        What is read from.
    path, bone : str
        The property that is read, or the bone whose place or turn is.
    form : Form
    values : tuple
    """

    variable: str
    kind: str
    owner: Any
    path: str
    bone: str
    form: Form
    values: Values


@dataclass(slots=True)
class HeldDriver:
    """A driver, its F-curve, and all it reads."""

    curve: Any
    path: str
    index: int
    mute: bool
    extrapolation: str
    driver: Any
    reads: tuple[DriverRead, ...]


@dataclass(slots=True)
class _HeldPose:
    """The constraints of an object and its bones, and the bones with properties of their own."""

    owner: bpy.types.Object
    bones: tuple[str, ...]
    constraints: list[HeldConstraint]
    named: list[str]


class SourceReader:
    """Reads what moves each ID once; made anew for each sampling."""

    def __init__(self) -> None:
        self._curves: dict[int, PlayedCurves] = {}
        self._poses: dict[int, _HeldPose] = {}
        self._drivers: dict[int, list[HeldDriver]] = {}
        self._parents: dict[int, dict[str, str]] = {}

    def let_go(self) -> None:
        """Forget the drivers: while the user had a turn they may have been removed.

        Raises
        ------
        InterruptedReadingError
            When bones were renamed, added or removed meanwhile: what is held names them.
        """
        self._drivers.clear()
        for held in self._poses.values():
            if _list_bones(held.owner) != held.bones:
                raise InterruptedReadingError(f"the bones of {held.owner.name} changed")

    def read_curves(self, owner: Any) -> PlayedCurves:
        """Return the curves that play on an ID."""
        key = owner.as_pointer()
        if key not in self._curves:
            self._curves[key] = PlayedCurves(owner)
        return self._curves[key]

    def read_constraints(self, owner: bpy.types.Object) -> list[HeldConstraint]:
        """Return the constraints of an object and of its bones, muted or not."""
        return self._read_pose(owner).constraints

    def read_named(self, owner: bpy.types.Object) -> list[str]:
        """Return the bones of an object that have custom properties."""
        return self._read_pose(owner).named

    def read_drivers(self, owner: Any) -> list[HeldDriver]:
        """Return the drivers of an ID, muted or not."""
        key = owner.as_pointer()
        if key not in self._drivers:
            data = getattr(owner, "animation_data", None)
            curves = data.drivers if data is not None else ()
            self._drivers[key] = [_read_driver(curve) for curve in curves]
        return self._drivers[key]

    def read_parents(self, armature: Any) -> dict[str, str]:
        """Return what each bone hangs from, "" for nothing, in the order of the bones."""
        key = armature.as_pointer()
        if key not in self._parents:
            bones = armature.bones
            above = ["" if (up := bone.parent) is None else up.name for bone in bones]
            self._parents[key] = dict(zip(bones.keys(), above, strict=True))
        return self._parents[key]

    def iterate_pose(self, owner: bpy.types.Object) -> Generator[None, None, None]:
        """Read the constraints of an object and its bones where nobody did, with pauses."""
        key = owner.as_pointer()
        if key in self._poses:
            return
        held = [_hold("", entry) for entry in owner.constraints]
        named = []
        bones = _list_bones(owner)
        for first in range(0, len(bones), BONES_AT_A_TIME):
            for bone in owner.pose.bones[first : first + BONES_AT_A_TIME]:
                constraints = bone.constraints
                if len(constraints):
                    name = bone.name
                    held += [_hold(name, entry) for entry in constraints]
                if bone.keys():
                    named.append(bone.name)
            yield
        if _list_bones(owner) != bones:
            raise InterruptedReadingError(f"the bones of {owner.name} changed")
        self._poses[key] = _HeldPose(owner, bones, held, named)

    def _read_pose(self, owner: bpy.types.Object) -> _HeldPose:
        run_steps(self.iterate_pose(owner))
        return self._poses[owner.as_pointer()]


def _list_bones(owner: bpy.types.Object) -> tuple[str, ...]:
    return tuple(owner.pose.bones.keys()) if owner.pose is not None else ()


@dataclass(frozen=True, slots=True)
class _Kind:
    """How the constraints of one type are read; `loose` are settings that point into other data."""

    name: str
    form: Form
    mute: int
    targets: tuple[tuple[int, int | None], ...]
    loose: tuple[int, ...]


_KINDS: dict[type, _Kind] = {}


def _find_kind(constraint: Any) -> _Kind:
    known = _KINDS.get(type(constraint))
    if known is None:
        form = find_form(constraint)
        at = form.places
        pairs = (
            ("target", "subtarget"),
            ("pole_target", "pole_subtarget"),
            ("space_object", "space_subtarget"),
        )
        targets = tuple((at[one], at.get(other)) for one, other in pairs if one in at)
        rules = constraint.bl_rna.properties
        loose = tuple(
            place
            for name, place in at.items()
            if rules[name].type == "POINTER" and not _is_id(rules[name].fixed_type)
        )
        known = _Kind(constraint.type, form, at["mute"], targets, loose)
        _KINDS[type(constraint)] = known
    return known


def _is_id(kind: Any) -> bool:
    while kind is not None and kind.identifier != "ID":
        kind = kind.base
    return kind is not None


def _hold(bone: str, constraint: Any) -> HeldConstraint:
    kind = _find_kind(constraint)
    values = kind.form.get(constraint)
    targets = tuple(
        (followed, values[part] if part is not None else "")
        for place, part in kind.targets
        if isinstance(followed := values[place], bpy.types.Object)
    )
    if kind.loose:
        # What Blender does not mark when it is removed.
        values = tuple(show(v) if place in kind.loose else v for place, v in enumerate(values))
    shares: Values = ()
    if kind.name == "ARMATURE":
        shared = constraint.targets
        targets += tuple((each.target, each.subtarget) for each in shared if each.target)
        shares = tuple((each.weight, each.subtarget, show(each.target)) for each in shared)
    mute, name = values[kind.mute], constraint.name
    return HeldConstraint(bone, name, kind.name, mute, targets, kind.form, values, shares)


_read_curve = make_getter(("data_path", "array_index", "mute", "extrapolation", "driver"))


def _read_driver(curve: Any) -> HeldDriver:
    path, index, mute, extrapolation, driver = _read_curve(curve)
    reads = []
    for variable in driver.variables:
        name, kind = variable.name, variable.type
        for target in variable.targets:
            form = find_form(target)
            at, values = form.places, form.get(target)
            place, bone = values[at["data_path"]], values[at["bone_target"]]
            reads.append(DriverRead(name, kind, values[at["id"]], place, bone, form, values))
    return HeldDriver(curve, path, index, mute, extrapolation, driver, tuple(reads))
