# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Rings among what moves a subject: a bone that follows what follows it.

Blender breaks such a ring somewhere, and what is left there from the frame before shows in the
next one. So no frame of such a rig stands for itself: after an edit all of them are to be read.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import bpy

from .animation_data import split_bone_path
from .source_reading import DriverRead, HeldConstraint, SourceReader

Node = tuple[int, str]
"""Pointer of an object and name of one of its bones, "" for the object's own transform."""

_POSED = ("matrix", "head", "tail", "vector", "center", "x_axis", "y_axis", "z_axis")
"""Properties of a bone that tell where it has come to, others are set and not worked out."""


def has_cycle(owners: Iterable[Any], reader: SourceReader) -> bool:
    """Say whether anything among these IDs depends on itself."""
    links = _Links()
    for owner in owners:
        if isinstance(owner, bpy.types.Object):
            _link_object(links, owner, reader)
    return links.has_cycle()


class _Links:
    """Who follows whom; bones that one solver moves count as one."""

    def __init__(self) -> None:
        self._followers: dict[Node, set[Node]] = {}
        self._same: dict[Node, Node] = {}

    def add(self, leader: Node, follower: Node) -> None:
        self._followers.setdefault(leader, set()).add(follower)

    def join(self, nodes: list[Node]) -> None:
        first = self._find(nodes[0])
        for node in nodes[1:]:
            other = self._find(node)
            if other != first:
                self._same[other] = first

    def has_cycle(self) -> bool:
        """Take away what leads nothing that is left, again and again: a ring never goes."""
        waits: dict[Node, int] = {}
        followers: dict[Node, list[Node]] = {}
        for leader, those in self._followers.items():
            one = self._find(leader)
            for follower in those:
                other = self._find(follower)
                if other != one:
                    followers.setdefault(one, []).append(other)
                    waits[other] = waits.get(other, 0) + 1
        free = [node for node in followers if node not in waits]
        while free:
            for follower in followers.get(free.pop(), ()):
                waits[follower] -= 1
                if not waits[follower]:
                    free.append(follower)
        return any(waits.values())

    def _find(self, node: Node) -> Node:
        while node in self._same:
            node = self._same[node]
        return node


def _link_object(links: _Links, owner: bpy.types.Object, reader: SourceReader) -> None:
    key = owner.as_pointer()
    if owner.parent is not None:
        bone = owner.parent_bone if owner.parent_type == "BONE" else ""
        links.add((owner.parent.as_pointer(), bone), (key, ""))
    for bone in owner.pose.bones if owner.pose is not None else ():
        above = bone.parent
        links.add((key, above.name if above is not None else ""), (key, bone.name))
    for held in reader.read_constraints(owner):
        moved = (key, held.bone)
        for target, subtarget in held.targets:
            of_bone = target.pose is not None and subtarget in target.pose.bones
            links.add((target.as_pointer(), subtarget if of_bone else ""), moved)
        if held.bone and held.kind in ("IK", "SPLINE_IK"):
            links.join([(key, name) for name in list_chain(owner, held)])
    for driven in reader.read_drivers(owner):
        split = split_bone_path(driven.path)
        for read in driven.reads:
            for leader in _list_posed(read):
                links.add(leader, (key, split[0] if split is not None else ""))


def list_chain(owner: bpy.types.Object, held: HeldConstraint) -> list[str]:
    """Return the bones a chain solver moves, the one that has the constraint first."""
    bone = owner.pose.bones[held.bone]
    chain = [bone, *bone.parent_recursive]
    count = held.get("chain_count", 0)
    if held.kind == "IK" and not held.get("use_tail", True):
        chain = chain[1:]
    return [held.bone, *(entry.name for entry in (chain[:count] if count else chain))]


def _list_posed(read: DriverRead) -> Iterator[Node]:
    """Yield what a driver's variable reads the place or turn of."""
    owner = read.owner
    if not isinstance(owner, bpy.types.Object):
        return
    if read.kind != "SINGLE_PROP":
        yield owner.as_pointer(), read.bone if owner.pose is not None else ""
        return
    split = split_bone_path(read.path)
    if split is not None and split[1].startswith(_POSED):
        yield owner.as_pointer(), split[0]
