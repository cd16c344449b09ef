# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Hips, spine, chest, neck and head: what carries the legs, what carries the arms, what is between.

The chest is the joint that carries both arms and the hips the one that carries both legs, unless
a name says otherwise; numbered spines cannot be told apart in any other way.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from .body_limbs import Found
from .body_names import LIMB_CONCEPTS
from .body_skeleton import Joint, Skeleton

_NO_TRUNK = frozenset(("tip", "twist", "strand", "wing", "prop", "heel", "ear"))
_NOT_SPINE = LIMB_CONCEPTS | {"root", "head"}
_CHEST_WORDS = frozenset(("spine", "chest", "upperbody", "torso"))
_NECK_LIMIT = 6
_GAP = 0.3


def find_trunk(
    skeleton: Skeleton,
    arms: Mapping[str, Mapping[str, Found]],
    legs: Mapping[str, Mapping[str, Found]],
    shoulders: Sequence[Joint] = (),
) -> dict[str, list[Found]]:
    """Find the joints of the trunk, each part with all its joints in order.

    Parameters
    ----------
    skeleton : Skeleton
    arms, legs : mapping of side to found limb
    shoulders : sequence of Joint
        Where limbs that are no arms (front legs, wings) hang from, when there are no arms.

    Returns
    -------
    dict of part to list of Found
        "hips", "spine", "chest", "neck", "head", those that were found.
    """
    limb_joints = {
        entry.joint for limb in (*arms.values(), *legs.values()) for entry in limb.values()
    }
    leg_tops = [next(iter(limb.values())).joint for limb in legs.values() if limb]
    arm_tops = [next(iter(limb.values())).joint for limb in arms.values() if limb]
    arm_tops = arm_tops or list(shoulders)
    free = {
        joint: None
        for joint in skeleton.joints
        if joint not in limb_joints and not joint.side and joint.reading.kind not in _NO_TRUNK
    }
    carrier = _carrier(leg_tops)
    hips = _find_hips(free, carrier, len(leg_tops))
    if hips and legs:
        hips = _no_surer_than(hips, legs)
    chest = _find_chest(free, _carrier(arm_tops), hips, sum(map(bool, arms.values())))
    if chest and arms:
        chest = _no_surer_than(chest, arms)
    head, neck = _find_head(skeleton, free, chest, hips, limb_joints)

    found: dict[str, list[Found]] = {}
    if hips:
        found["hips"] = [hips]
    above_chest = chest or (neck[0] if neck else head)
    spine = _between(hips.joint if hips else None, above_chest.joint) if above_chest else []
    spine = [j for j in spine if j in free and j.reading.concept not in _NOT_SPINE]
    if not chest and spine and (neck or head):
        chest = _found_by_place(spine.pop(), "chest", "last of the spine")
    if spine:
        found["spine"] = [
            _found_by_place(joint, "spine", "between hips and chest") for joint in spine
        ]
    if chest:
        found["chest"] = [chest]
        if any(f.joint.reading.concept == "neck" for f in neck):
            # What is named as a neck begins there; joints below it still belong to the chest.
            extra = [f for f in neck if f.joint.reading.concept in _CHEST_WORDS]
            found["chest"] += [Found(f.joint, 0.75, "between the arms and the neck") for f in extra]
            neck = [f for f in neck if f not in extra]
    if neck:
        found["neck"] = neck
    if head:
        found["head"] = [head]
    return found


def find_root(skeleton: Skeleton, hips: Joint | None) -> Found | None:
    """Find what carries the whole body: the topmost joint above the hips, or one named so."""
    if hips is not None:
        above = [j for j in hips.ancestors() if j.reading.kind in ("part", "")]
        named = [j for j in above if j.reading.scores.get("root", 0.0) >= 0.8]
        if named:
            return Found(named[-1], 0.95 * named[-1].reading.scores["root"], "named so, above hips")
    else:
        above = []
    named = [
        j
        for j in skeleton.joints
        if j.reading.scores.get("root", 0.0) >= 0.8 and j.parent is None and j is not hips
    ]
    if named:
        best = max(named, key=lambda j: (j.reading.scores["root"], j.size, j.name))
        return Found(best, 0.6, "by its name alone")
    if above and "mechanism" not in above[-1].reading.roles:
        return Found(above[-1], 0.5, "topmost joint above the hips")
    return None


def _carrier(tops: Sequence[Joint]) -> Joint | None:
    """Return the nearest joint that all of these hang from."""
    if not tops:
        return None
    return next((a for a in tops[0].ancestors() if all(a.is_above(t) for t in tops[1:])), None)


def _find_hips(free: Mapping[Joint, None], carrier: Joint | None, legs: int) -> Found | None:
    named = [j for j in free if j.reading.scores.get("hips", 0.0) >= 0.3]
    if named:

        def fit(joint: Joint) -> tuple[float, int, str]:
            carries = joint is carrier or (carrier is not None and joint.is_above(carrier))
            score = joint.reading.scores["hips"] + 0.5 * carries
            return (round(score, 6), -joint.depth, joint.name)

        best = max(named, key=fit)
        score = best.reading.scores["hips"]
        if best is carrier:
            return Found(best, 0.67 + 0.3 * score, "by its name, and it carries the legs")
        carries = carrier is not None and best.is_above(carrier)
        spare = carrier is None or legs < 2 or carrier.reading.concept in ("root", "centre")
        if score >= 0.9 and (carries or spare):
            return Found(best, 0.9 if carries else 0.75, "by its name")
    if carrier is None or carrier not in free or legs < 2:
        return None
    if carrier.reading.concept == "root":
        return Found(carrier, 0.45, "carries both legs, though it is named as a root")
    return Found(carrier, 0.8, "carries both legs")


def _find_chest(
    free: Mapping[Joint, None], carrier: Joint | None, hips: Found | None, arms: int
) -> Found | None:
    line = [carrier, *carrier.ancestors()] if carrier else []
    for joint in line:
        if hips and (joint is hips.joint or joint.is_above(hips.joint)):
            break
        if joint not in free or joint.reading.concept in ("neck", "head", "root"):
            continue
        score = joint.reading.scores.get("chest", 0.0)
        sure = (0.8 if joint is carrier else 0.7) + 0.16 * score - 0.15 * (arms < 2)
        carried = {0: "both shoulders", 1: "the arm"}.get(arms, "both arms")
        return Found(joint, sure, f"carries {carried}")
    named = [j for j in free if j.reading.scores.get("chest", 0.0) >= 0.9]
    if named:
        last = max(named, key=lambda j: (j.depth, j.name))
        return Found(last, 0.75, "by its name")
    return None


def _find_head(
    skeleton: Skeleton,
    free: Mapping[Joint, None],
    chest: Found | None,
    hips: Found | None,
    limb_joints: set[Joint],
) -> tuple[Found | None, list[Found]]:
    base = chest or hips
    named = [j for j in free if "head" in j.reading.scores and j.reading.kind == "part"]
    if base:
        named = [j for j in named if base.joint.is_above(j)] or named
    if named:
        head = min(named, key=lambda j: (j.depth, j.reading.numbers, j.name))
        connected = base.joint.is_above(head) if base else _has_face(head)
        found = Found(head, 0.97 if connected else 0.55, "by its name")
    elif chest and (end := _follow_neck(skeleton, free, chest.joint, limb_joints)):
        head, sure, why = end
        found = Found(head, sure, why)
    else:
        return None, _named_neck(free)
    if base and base.joint.is_above(head):
        way = _between(base.joint, head)
        if not chest:
            way = [j for j in way if j.reading.concept == "neck"]
    else:
        way = [j for j in reversed(head.ancestors()) if j.reading.concept == "neck"]
    neck = [j for j in way if j in free and j.reading.kind in ("part", "")]
    return found, [_found_by_place(j, "neck", "between chest and head") for j in neck]


def _named_neck(free: Mapping[Joint, None]) -> list[Found]:
    named = [j for j in free if j.reading.concept == "neck" and j.reading.kind == "part"]
    named.sort(key=lambda j: (j.depth, j.name))
    return [Found(j, 0.8, "by its name") for j in named]


def _follow_neck(
    skeleton: Skeleton, free: Mapping[Joint, None], chest: Joint, limb_joints: set[Joint]
) -> tuple[Joint, float, str] | None:
    """Go up from the chest to a head whose name does not tell: it has a face, or ends the chain."""
    at, steps = chest, 0
    while steps < _NECK_LIMIT:
        onward = [
            child
            for child in at.children
            if child in free
            and child.reading.kind in ("part", "")
            and child not in limb_joints
            and not any(below in limb_joints for below in child.subtree())
        ]
        bearing = [child for child in onward if _has_face(child)]
        if steps and not bearing and _has_face(at):
            sure = 0.6 if at.reading.concept == "neck" else 0.85
            return at, sure, "the face hangs from it"
        onward = bearing or onward
        if not onward:
            break
        nameless = not any(child.reading.concept or _has_face(child) for child in onward)
        if steps and nameless and (len(at.children) > 1 or _is_apart(skeleton, at, onward[0])):
            break
        onward.sort(
            key=lambda j: (
                not _has_face(j),
                j.reading.stem[:1] != at.reading.stem[:1],
                j.reading.concept not in ("neck", "spine"),
                -j.size,
                j.name,
            )
        )
        at, steps = onward[0], steps + 1
    if not steps or at.reading.concept == "neck":
        return None
    return at, 0.7, "ends the chain above the chest"


def _is_apart(skeleton: Skeleton, joint: Joint, child: Joint) -> bool:
    """Say whether a child does not go on where the joint's bone ends, but sits somewhere on it."""
    gap = np.linalg.norm(skeleton.head(child) - skeleton.tails[joint.bone])
    return float(gap) > _GAP * skeleton.length(joint)


def _has_face(joint: Joint) -> bool:
    return sum(below.reading.kind == "face" for below in joint.subtree()) >= 2


def _between(low: Joint | None, high: Joint) -> list[Joint]:
    """Return the joints on the way from `low` (or the branch towards it) up to `high`."""
    way: list[Joint] = []
    stops = {low, *low.ancestors()} if low else set()
    for joint in high.ancestors():
        if joint in stops:
            break
        way.append(joint)
    return way[::-1]


def _no_surer_than(found: Found, limbs: Mapping[str, Mapping[str, Found]]) -> Found:
    """Lower the confidence in a carrier of limbs that are doubtful themselves."""
    entries = [entry.confidence for limb in limbs.values() for entry in limb.values()]
    return replace(found, confidence=min(found.confidence, 0.25 + max(entries, default=1.0)))


def _found_by_place(joint: Joint, part: str, place: str) -> Found:
    score = joint.reading.scores.get(part, 0.0)
    if score >= 0.9:
        return Found(joint, 0.96, "by its name and place")
    if joint.reading.concept and not score:
        return Found(joint, 0.7, f"{place}, though its name says {joint.reading.concept}")
    return Found(joint, 0.75 + 0.1 * score, place)
