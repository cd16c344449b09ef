# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Who follows whom among the bones of an armature: children, constraints, drivers.

Where it is not certain that a bone alone follows (another object hangs from the armature and may
lead back to it, or a driver moves the object itself), everything counts as following.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import bpy

from .animation_data import split_bone_path
from .dependencies import list_constraint_targets

ALL = ""
"""Stands for everything about a subject among the names of its bones."""


@dataclass(frozen=True, slots=True)
class BoneLinks:
    """The bones of one armature and what follows each of them.

    Attributes
    ----------
    owner : str
        The armature object.
    bones : tuple of str
        In the order of the pose.
    followers : dict of bone to set of bones
        Followers of the first degree; "" is everything.
    """

    owner: str = ""
    bones: tuple[str, ...] = ()
    followers: dict[str, set[str]] = field(default_factory=dict)

    def find_bone(self, owner: str, path: str) -> str:
        """Return the bone whose channel an owner's data path is; "" when it is no bone's."""
        split = split_bone_path(path) if owner == self.owner else None
        return split[0] if split is not None and split[0] in self.followers else ALL


def list_reached(bone: str, *links: BoneLinks) -> set[str]:
    """Return the bone and all that follow it, near or far, by any of the links."""
    reached, waiting = {bone}, [bone]
    while waiting and ALL not in reached:
        at = waiting.pop()
        for entry in links:
            more = entry.followers.get(at, {ALL}) - reached
            reached |= more
            waiting += more
    return reached


def collect_links(armature: bpy.types.Object, name: str, owners: Iterable[Any]) -> BoneLinks:
    """Return who follows whom in an armature.

    Parameters
    ----------
    armature : bpy.types.Object
    name : str
        What the armature is called in data paths' owners.
    owners : iterable of IDs
        Everything the armature's movement depends on.
    """
    bones = tuple(bone.name for bone in armature.pose.bones)
    followers: dict[str, set[str]] = {bone: set() for bone in bones}
    links = BoneLinks(name, bones, followers)
    is_one_solver = armature.pose.ik_solver != "LEGACY"
    leads_back = any(
        _follows(owner, armature)
        for owner in owners
        if owner != armature and not isinstance(owner, bpy.types.Scene)
    )
    if leads_back or is_one_solver:
        for bone in bones:
            followers[bone].add(ALL)
        return links
    for bone in armature.pose.bones:
        if bone.parent is not None:
            followers[bone.parent.name].add(bone.name)
        for constraint in bone.constraints:
            _link(followers, armature, bone, constraint)
    for constraint in armature.constraints:
        for source in _list_sources(armature, constraint):
            followers[source].add(ALL)
    data: Any = armature.animation_data
    for curve in data.drivers if data is not None else ():
        driven = links.find_bone(name, curve.data_path)
        for source in _list_read(curve.driver, armature, links):
            followers[source].add(driven)
    return links


def _link(
    followers: dict[str, set[str]], armature: bpy.types.Object, bone: Any, constraint: Any
) -> None:
    """Note who leads a bone by one of its constraints, muted or not."""
    moved = [bone]
    if constraint.type in ("IK", "SPLINE_IK"):
        chain = [bone, *bone.parent_recursive]
        count = constraint.chain_count
        if constraint.type == "IK" and not constraint.use_tail:
            chain = chain[1:]
        moved += chain[:count] if count else chain
    names = {entry.name for entry in moved}
    leaders = {*_list_sources(armature, constraint), *(names if len(names) > 1 else ())}
    if constraint.type == "ARMATURE" or getattr(constraint, "use_bbone_shape", False):
        leaders |= {near for name in tuple(leaders) for near in _list_shaping(armature, name)}
    for leader in leaders:
        followers[leader] |= names - {leader}


def _list_sources(armature: bpy.types.Object, constraint: Any) -> Iterator[str]:
    bones = armature.pose.bones
    for target, subtarget in list_constraint_targets(constraint):
        if target == armature and subtarget in bones:
            yield subtarget


def _list_shaping(armature: bpy.types.Object, name: str) -> Iterator[str]:
    """Yield the bones that give a bone made of segments its bend."""
    bone = armature.pose.bones[name]
    if bone.bone.bbone_segments < 2:
        return
    if bone.parent is not None:
        yield bone.parent.name
    yield from (child.name for child in bone.children)
    for handle in (bone.bbone_custom_handle_start, bone.bbone_custom_handle_end):
        if handle is not None:
            yield handle.name


def _list_read(driver: Any, armature: bpy.types.Object, links: BoneLinks) -> Iterator[str]:
    """Yield the bones of the armature that a driver reads."""
    for variable in driver.variables:
        for target in variable.targets:
            if target.id != armature:
                continue
            if variable.type == "SINGLE_PROP":
                bone = links.find_bone(links.owner, target.data_path)
            else:
                bone = target.bone_target
            if bone in links.followers:
                yield bone


def _follows(owner: Any, armature: bpy.types.Object) -> bool:
    """Say whether another ID follows the armature, or reads from it by a driver."""
    own: Any = armature
    data = owner.animation_data
    for curve in data.drivers if data is not None else ():
        for variable in curve.driver.variables:
            if any(target.id in (own, own.data) for target in variable.targets):
                return True
    if not isinstance(owner, bpy.types.Object):
        return False
    constraints = [*owner.constraints]
    for bone in owner.pose.bones if owner.pose is not None else ():
        constraints += bone.constraints
    return owner.parent == armature or any(
        target == armature
        for constraint in constraints
        for target, _ in list_constraint_targets(constraint)
    )
