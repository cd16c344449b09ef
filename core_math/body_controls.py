# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which bones an animator keys and selects for a part, when the part's own bone only follows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from .body_limbs import Found
from .body_skeleton import Bone, Joint, Skeleton
from .body_vocabulary import FINGER_PARTS, TRUNK, join_part, split_part

_NO_CONTROL = frozenset(("mechanism", "original", "deform", "parent"))
_KEYED = frozenset(("control", "ik", "fk", "tweak", "pole"))
_EFFECTORS = frozenset(("hand", "foot", "toe"))
_SEGMENTED = frozenset(("shoulder", "upper_arm", "forearm", "thigh", "shin"))
_NAMED_SURELY = 0.6


def find_controls(skeleton: Skeleton, found: Mapping[str, Found]) -> dict[str, tuple[str, ...]]:
    """Find the bones an animator keys for each part: the joint's own, and those named for it.

    The order is the one to select by: the animated ones first, then the visible ones, controls in
    world space (IK) first at hands and feet and last elsewhere.
    """
    bones, readings = skeleton.bones, skeleton.readings
    standing = {entry.joint.bone: part for part, entry in found.items()}
    by_part: dict[str, list[int]] = {part: [] for part in found}
    for joint in skeleton.joints:
        part = next((standing[i] for i in joint.members if i in standing), "")
        if not part:
            if joint.deform and not joint.reading.roles & _KEYED:
                continue
            part = _named_part(joint, found)
        if part:
            by_part[part].extend(
                i
                for i in joint.members
                if i not in standing
                and not readings[i].roles & _NO_CONTROL
                and (readings[i].roles & _KEYED or not bones[i].deform)
            )

    def rank(index: int, part: str) -> tuple[bool, bool, bool, bool, bool, str]:
        roles = readings[index].roles
        effector = split_part(part)[0] in _EFFECTORS
        return (
            not bones[index].animated,
            bones[index].hidden,
            bool(roles & {"pole", "tweak"}),
            ("ik" in roles) != effector,
            readings[index].kind != "part",
            bones[index].name,
        )

    return {
        part: tuple(bones[i].name for i in sorted(indices, key=lambda i: rank(i, part)))
        for part, indices in by_part.items()
        if indices
    }


def _named_part(joint: Joint, found: Mapping[str, Found]) -> str:
    """Return the part a control is named for, "" when its name tells none."""
    reading = joint.reading
    scores: Mapping[str, float] = reading.scores
    if reading.kind == "heel" and reading.concept in ("foot", "toe", "ankle", ""):
        scores = {"foot": 1.0}
    elif reading.kind != "part" or reading.roles & _NO_CONTROL:
        return ""
    if reading.concept in ("torso", "centre"):
        scores = {"hips": 1.0}
    best = max(scores, key=lambda label: scores[label], default="")
    if not best or scores[best] < _NAMED_SURELY:
        return ""
    side = "" if best in TRUNK else joint.side
    if best in FINGER_PARTS and len(reading.numbers) > 1:
        return ""  # "index.01.L.001": a finger's tip control turns another joint than its first
    number = int(reading.numbers[-1]) if best in FINGER_PARTS and reading.numbers else 1
    part = join_part(best, side, max(1, number))
    return part if part in found else ""


def find_turning_bone(skeleton: Skeleton, part: str, joint: Joint) -> str:
    """Return the bone that has the whole rotation of a joint, its own bone as a rule.

    Where further segments ("upper_arm.L.001" after "upper_arm.L") follow at once, the first one
    keeps still when the limb twists, and the rig's original bone tells the rotation.
    """
    members = next((j.members for j in skeleton.joints if joint.bone in j.members), [joint.bone])
    own = skeleton.bones[joint.bone]
    if split_part(part)[0] not in _SEGMENTED:
        return own.name
    readings = skeleton.readings
    segmented = any(
        bone.deform
        and bone.parent == joint.bone
        and reading.side == readings[joint.bone].side
        and reading.stem[:-1] == readings[joint.bone].stem
        and reading.stem[-1].isdigit()
        for bone, reading in zip(skeleton.bones, readings, strict=True)
    )
    if not segmented:
        return own.name
    originals = [i for i in members if "original" in readings[i].roles]
    same_place = [
        i for i in originals if skeleton.length(joint) > 10 * _apart(skeleton, i, joint.bone)
    ]
    return skeleton.bones[same_place[0]].name if same_place else own.name


def _apart(skeleton: Skeleton, one: int, other: int) -> float:
    return float(np.linalg.norm(skeleton.heads[one] - skeleton.heads[other]))


def choose_selectable(bones: Sequence[Bone], bone: int, controls: Sequence[str]) -> str:
    """Return a bone the user can see and select: the part's own, else its first visible control."""
    if not bones[bone].hidden:
        return bones[bone].name
    visible = {b.name for b in bones if not b.hidden}
    return next((name for name in controls if name in visible), bones[bone].name)
