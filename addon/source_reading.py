# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What moves an ID, curves, constraints and drivers, read once for all who ask in one sampling.

A production rig has hundreds of constraints and drivers, and whether it is bound to its scene,
what it depends on, who follows whom and what has changed are all read off the same ones.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import bpy

from .curve_tables import PlayedCurves


@dataclass(frozen=True, slots=True)
class HeldConstraint:
    """A constraint of an object, or of one of its bones.

    Attributes
    ----------
    bone : str
        "" for the object's own.
    constraint : bpy.types.Constraint
    kind : str
        Its type.
    mute : bool
    targets : tuple of (object, name of the bone or vertex group)
        What it follows.
    """

    bone: str
    constraint: Any
    kind: str
    mute: bool
    targets: tuple[tuple[bpy.types.Object, str], ...]


@dataclass(frozen=True, slots=True)
class DriverRead:
    """One target of one of a driver's variables.

    Attributes
    ----------
    variable : bpy.types.DriverVariable
    kind : str
        The variable's type.
    target : bpy.types.DriverTarget
    owner : bpy.types.ID or None
        What is read from.
    """

    variable: Any
    kind: str
    target: Any
    owner: Any


@dataclass(frozen=True, slots=True)
class HeldDriver:
    """A driver, its F-curve, and all it reads."""

    curve: Any
    path: str
    mute: bool
    driver: Any
    reads: tuple[DriverRead, ...]


class SourceReader:
    """Reads what moves each ID once; made anew for each sampling."""

    def __init__(self) -> None:
        self._curves: dict[int, PlayedCurves] = {}
        self._constraints: dict[int, list[HeldConstraint]] = {}
        self._drivers: dict[int, list[HeldDriver]] = {}

    def let_go(self) -> None:
        """Forget constraints and drivers: while the user had a turn they may have been removed."""
        self._constraints.clear()
        self._drivers.clear()

    def read_curves(self, owner: Any) -> PlayedCurves:
        """Return the curves that play on an ID."""
        key = owner.as_pointer()
        if key not in self._curves:
            self._curves[key] = PlayedCurves(owner)
        return self._curves[key]

    def read_constraints(self, owner: bpy.types.Object) -> list[HeldConstraint]:
        """Return the constraints of an object and of its bones, muted or not."""
        key = owner.as_pointer()
        if key not in self._constraints:
            held = list(_list_held("", owner.constraints))
            for bone in owner.pose.bones if owner.pose is not None else ():
                constraints = bone.constraints
                if len(constraints):
                    held += _list_held(bone.name, constraints)
            self._constraints[key] = held
        return self._constraints[key]

    def read_drivers(self, owner: Any) -> list[HeldDriver]:
        """Return the drivers of an ID, muted or not."""
        key = owner.as_pointer()
        if key not in self._drivers:
            data = getattr(owner, "animation_data", None)
            curves = data.drivers if data is not None else ()
            self._drivers[key] = [_read_driver(curve) for curve in curves]
        return self._drivers[key]


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


def _list_held(bone: str, constraints: Iterable[Any]) -> Iterator[HeldConstraint]:
    for entry in constraints:
        targets = tuple(list_constraint_targets(entry))
        yield HeldConstraint(bone, entry, entry.type, entry.mute, targets)


def _read_driver(curve: Any) -> HeldDriver:
    driver = curve.driver
    reads = []
    for variable in driver.variables:
        kind = variable.type
        reads += [DriverRead(variable, kind, t, t.id) for t in variable.targets]
    return HeldDriver(curve, curve.data_path, curve.mute, driver, tuple(reads))
