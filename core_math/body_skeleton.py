# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The joints behind an armature's bones: one joint for all bones that stand for the same thing.

A control rig has many bones per joint (deforming, original, mechanism, controls). They are told
apart by role words in their names and put together by the words that remain; the bone that
moves the mesh stands for the joint. Lengths and places are used, stances never: many rigs rest
with all limbs along one axis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .body_names import NameReading, iterate_names
from .measures.pieces import Steps

FloatArray = NDArray[np.float64]


class BodyMapError(ValueError):
    """The bones make no armature; the message says which bone and why."""


@dataclass(frozen=True, eq=False)
class Bone:
    """One bone of an armature at rest.

    Attributes
    ----------
    name : str
    parent : int
        Index of the parent bone in the same sequence, -1 for none; any order of bones will do.
    head, tail : array_like, shape (3,), metres
    deform : bool
        Whether it moves the mesh.
    hidden : bool
        Whether the user cannot see and select it.
    collections : tuple of str
        Names of the bone collections it is in.
    animated : bool
        Whether it has key frames.
    """

    name: str
    parent: int
    head: ArrayLike
    tail: ArrayLike
    deform: bool = True
    hidden: bool = False
    collections: tuple[str, ...] = ()
    animated: bool = False


@dataclass(slots=True, eq=False)
class Joint:
    """All bones of one joint; `bone` is the one that stands for it.

    `depth` counts the joints above, `size` the joints of its subtree, itself included.
    """

    bone: int
    reading: NameReading
    members: list[int]
    deform: bool
    parent: Joint | None = None
    children: list[Joint] = field(default_factory=list)
    side: str = ""
    sureness: float = 1.0
    depth: int = 0
    size: int = 1

    @property
    def name(self) -> str:
        """The name of the bone that stands for the joint."""
        return self.reading.name

    def ancestors(self) -> list[Joint]:
        """Return the joints above this one, the nearest first."""
        found = []
        above = self.parent
        while above is not None:
            found.append(above)
            above = above.parent
        return found

    def subtree(self) -> list[Joint]:
        """Return this joint and all below it."""
        found = [self]
        for joint in found:
            found.extend(joint.children)
        return found

    def is_above(self, other: Joint) -> bool:
        """Say whether `other` hangs somewhere below this joint."""
        above = other.parent
        while above is not None and above is not self:
            above = above.parent
        return above is self


@dataclass(slots=True, eq=False)
class Skeleton:
    """The joints of an armature as a forest; `heads` and `tails` are (B, 3) by bone, metres."""

    bones: Sequence[Bone]
    readings: list[NameReading]
    heads: FloatArray
    tails: FloatArray
    joints: list[Joint]

    def head(self, joint: Joint) -> FloatArray:
        """Return the joint's place at rest, shape (3,)."""
        return self.heads[joint.bone]

    def length(self, joint: Joint, towards: Joint | None = None) -> float:
        """Return the way to the next joint, or the bone's own length at the end of a chain."""
        end = self.tails[joint.bone] if towards is None else self.heads[towards.bone]
        return float(np.linalg.norm(end - self.heads[joint.bone]))

    def downwards(self) -> list[Joint]:
        """Return all joints, each after its parent."""
        order = [joint for joint in self.joints if joint.parent is None]
        for joint in order:
            order.extend(joint.children)
        return order

    def restricted(self, keep: Sequence[Joint]) -> Skeleton:
        """Return the same skeleton with these joints only, reconnected over those left out."""
        kept = {joint: replace(joint, parent=None, children=[]) for joint in keep}
        nearest: dict[Joint, Joint | None] = {}
        for joint in self.downwards():
            above = nearest[joint.parent] if joint.parent else None
            nearest[joint] = kept.get(joint, above)
            if joint in kept:
                kept[joint].parent = above
        return _finish(
            Skeleton(self.bones, self.readings, self.heads, self.tails, [*kept.values()])
        )


def build_skeleton(bones: Sequence[Bone]) -> Steps[Skeleton]:
    """Check the bones, read their names and gather them into joints, with pauses.

    Raises
    ------
    BodyMapError
        When a parent is not among the bones, the parents run in a circle, two bones share a
        name, or a rest position is no point.
    """
    heads = _read_points(bones, "head")
    tails = _read_points(bones, "tail")
    _check_parents(bones)
    yield
    readings = yield from iterate_names([bone.name for bone in bones])
    yield
    joints = _gather(bones, readings)
    _connect(bones, joints)
    return _finish(Skeleton(bones, readings, heads, tails, joints))


def _finish(skeleton: Skeleton) -> Skeleton:
    """Fill in the children, depths and sizes from the parents."""
    for joint in skeleton.joints:
        if joint.parent is not None:
            joint.parent.children.append(joint)
    order = skeleton.downwards()
    for joint in order:
        joint.depth = joint.parent.depth + 1 if joint.parent else 0
        joint.size = 1
    for joint in reversed(order):
        if joint.parent is not None:
            joint.parent.size += joint.size
    return skeleton


def _read_points(bones: Sequence[Bone], which: str) -> FloatArray:
    points = np.zeros((len(bones), 3))
    every = [getattr(bone, which) for bone in bones]
    try:
        if every:
            points[:] = every
    except (TypeError, ValueError):
        for row, point in enumerate(every):
            try:
                points[row] = point
            except (TypeError, ValueError):
                raise BodyMapError(_not_a_point(bones[row].name, which, point)) from None
    for row in np.flatnonzero(~np.isfinite(points).all(axis=1))[:1]:
        raise BodyMapError(_not_a_point(bones[row].name, which, points[row].tolist()))
    return points


def _not_a_point(name: str, which: str, point: object) -> str:
    return f"bone {name!r}: its rest {which} is {point}, not a point in space"


def _check_parents(bones: Sequence[Bone]) -> None:
    names: set[str] = set()
    for bone in bones:
        if bone.name in names:
            raise BodyMapError(f"bone {bone.name!r}: two bones have this name")
        names.add(bone.name)
        if not -1 <= bone.parent < len(bones):
            raise BodyMapError(
                f"bone {bone.name!r}: its parent is number {bone.parent}, "
                f"but there are {len(bones)} bones"
            )
    settled = [False] * len(bones)
    for start in range(len(bones)):
        trail: list[int] = []
        seen: set[int] = set()
        at = start
        while at >= 0 and not settled[at]:
            if at in seen:
                raise BodyMapError(f"bone {bones[at].name!r}: it is its own ancestor")
            seen.add(at)
            trail.append(at)
            at = bones[at].parent
        for index in trail:
            settled[index] = True


_ROLE_WEIGHTS = {
    "deform": 1.0,
    "control": -0.5,
    "fk": -0.3,
    "ik": -0.6,
    "tweak": -0.7,
    "original": -0.4,
    "mechanism": -1.5,
    "parent": -1.0,
    "pole": -2.0,
}


def _weigh(bone: Bone, reading: NameReading) -> float:
    """Say how likely the bone is the one that carries the mesh."""
    return float(bone.deform) + _weigh_roles(reading.roles)


@lru_cache(maxsize=1024)
def _weigh_roles(roles: frozenset[str]) -> float:
    return sum(_ROLE_WEIGHTS[role] for role in sorted(roles))


def _gather(bones: Sequence[Bone], readings: list[NameReading]) -> list[Joint]:
    groups: dict[tuple[object, ...], list[int]] = {}
    for index, reading in enumerate(readings):
        named = any(not word.isdigit() for word in reading.stem)
        key = (reading.stem, reading.side) if named else (index,)
        groups.setdefault(key, []).append(index)
    joints = []
    for members in groups.values():
        order = members
        if len(members) > 1:
            order = sorted(members, key=lambda i: (-_weigh(bones[i], readings[i]), bones[i].name))
        # Two bones alike in role are two joints ("Hand.l" and "hand.l"): a joint's bones differ.
        together: list[int] = [order[0]]
        apart: list[int] = []
        for index in order[1:]:
            first = readings[order[0]]
            same = readings[index].roles == first.roles and bones[index].deform
            (apart if same and bones[order[0]].deform else together).append(index)
        for bunch in (together, *([index] for index in apart)):
            best = bunch[0]
            joint = Joint(best, readings[best], bunch, any(bones[i].deform for i in bunch))
            joint.side = readings[best].side
            joints.append(joint)
    return sorted(joints, key=lambda joint: joint.name)


def _connect(bones: Sequence[Bone], joints: list[Joint]) -> None:
    """Give each joint its parent: the first other joint met going up from its bones.

    The bone that stands for the joint decides. Only where it hangs from nothing, or straight from
    a root, are the other bones asked: in some rigs the deforming bones lie flat and only follow
    the controls.
    """
    owner = {index: joint for joint in joints for index in joint.members}

    def look_up(joint: Joint, index: int) -> Joint | None:
        at = bones[index].parent
        while at >= 0 and owner[at] is joint:
            at = bones[at].parent
        return owner[at] if at >= 0 else None

    shared = len(owner) > len(joints)
    for joint in joints:
        above = look_up(joint, joint.bone)
        # One bone for each joint is the armature's own tree, which runs in no circle.
        if above is not None and (not shared or not joint.is_above(above)):
            joint.parent = above
    for joint in joints:
        if joint.parent is not None and joint.parent.reading.concept != "root":
            continue
        for index in joint.members[1:]:
            above = look_up(joint, index)
            if above and above.reading.scores and above.reading.concept != "root":
                if not joint.is_above(above):
                    joint.parent = above
                    break
