# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Who follows whom among the bones of an armature: children, constraints, drivers.

Where it is not certain that a bone alone follows (another object hangs from the armature and may
lead back to it, or a driver moves the object itself), everything counts as following.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import bpy

from .animation_data import split_bone_path
from .dependency_cycles import list_chain
from .source_reading import HeldConstraint, HeldDriver, SourceReader

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


def collect_links(
    armature: bpy.types.Object,
    name: str,
    owners: Iterable[Any],
    reader: SourceReader | None = None,
) -> BoneLinks:
    """Return who follows whom in an armature.

    Parameters
    ----------
    armature : bpy.types.Object
    name : str
        What the armature is called in data paths' owners.
    owners : iterable of IDs
        Everything the armature's movement depends on.
    reader : SourceReader, optional
        Of the sampling that is under way.
    """
    reader = reader or SourceReader()
    bones = tuple(armature.pose.bones.keys())
    followers: dict[str, set[str]] = {bone: set() for bone in bones}
    links = BoneLinks(name, bones, followers)
    is_one_solver = armature.pose.ik_solver != "LEGACY"
    leads_back = any(
        _follows(owner, armature, reader)
        for owner in owners
        if owner != armature and not isinstance(owner, bpy.types.Scene)
    )
    if leads_back or is_one_solver:
        for bone in bones:
            followers[bone].add(ALL)
        return links
    for bone, above in reader.read_parents(armature.data).items():
        if above:
            followers[above].add(bone)
    for held in reader.read_constraints(armature):
        if held.bone:
            _link(followers, armature, held)
        else:
            for source in _list_sources(armature, held, followers):
                followers[source].add(ALL)
    for driven in reader.read_drivers(armature):
        moved = links.find_bone(name, driven.path)
        for source in _list_read(driven, armature, links):
            followers[source].add(moved)
    return links


def _link(followers: dict[str, set[str]], armature: bpy.types.Object, held: HeldConstraint) -> None:
    """Note who leads a bone by one of its constraints, muted or not."""
    names = {held.bone}
    if held.kind in ("IK", "SPLINE_IK"):
        names.update(list_chain(armature, held))
    leaders = {*_list_sources(armature, held, followers), *(names if len(names) > 1 else ())}
    if held.kind == "ARMATURE" or held.get("use_bbone_shape", False):
        leaders |= {near for name in tuple(leaders) for near in _list_shaping(armature, name)}
    for leader in leaders:
        followers[leader] |= names - {leader}


def _list_sources(
    armature: bpy.types.Object, held: HeldConstraint, bones: Collection[str]
) -> Iterator[str]:
    for target, subtarget in held.targets:
        if subtarget in bones and target == armature:
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


def _list_read(driven: HeldDriver, armature: bpy.types.Object, links: BoneLinks) -> Iterator[str]:
    """Yield the bones of the armature that a driver reads."""
    for read in driven.reads:
        if read.owner != armature:
            continue
        if read.kind == "SINGLE_PROP":
            bone = links.find_bone(links.owner, read.path)
        else:
            bone = read.bone
        if bone in links.followers:
            yield bone


def _follows(owner: Any, armature: bpy.types.Object, reader: SourceReader) -> bool:
    """Say whether another ID follows the armature, or reads from it by a driver."""
    own: Any = armature
    for driven in reader.read_drivers(owner):
        if any(read.owner in (own, own.data) for read in driven.reads):
            return True
    if not isinstance(owner, bpy.types.Object):
        return False
    return owner.parent == armature or any(
        target == armature for held in reader.read_constraints(owner) for target, _ in held.targets
    )
