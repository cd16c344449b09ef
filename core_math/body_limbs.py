# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Arms and legs by their names, read along the chain: a word's meaning depends on its neighbours.

"Shoulder" is the clavicle above an "arm", and the upper arm below a "collar"; a "leg" is a shin
below a "thigh" and a thigh above a "knee". So each limb is found as a whole: the way down the
hierarchy whose names fit shoulder, upper arm, forearm, hand (thigh, shin, foot, toe) best.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from .body_skeleton import Joint, Skeleton

ARM = ("shoulder", "upper_arm", "forearm", "hand")
LEG = ("thigh", "shin", "foot", "toe")
FINGERS = ("thumb", "index", "middle", "ring", "pinky")

NAMELESS_CONFIDENCE = 0.45
"""The most a guess can be sure of that rests on no name at all."""

# What it costs to do without a joint: a hand can be missing, an elbow hardly.
_MISSING = {
    "shoulder": 0.1,
    "upper_arm": 0.8,
    "forearm": 0.8,
    "hand": 0.5,
    "thigh": 0.8,
    "shin": 0.8,
    "foot": 0.4,
    "toe": 0.05,
}
_NAMELESS = -0.2
_SECOND_SEGMENT = 0.06
_SIDED_BY_PLACE = 0.7
_ALIKE = 0.85
_ONE_OF_SEVERAL = 0.35


@dataclass(frozen=True, slots=True)
class Found:
    """A joint taken for a part, how surely, and the reason in words."""

    joint: Joint
    confidence: float
    why: str


def infer_sides(skeleton: Skeleton) -> None:
    """Give a side, by the place at rest, to limbs whose names tell none: left is +X.

    The mean place of the whole limb decides, seen from the joint it hangs from.
    """
    limb_words = {*ARM, *LEG, *FINGERS, "finger", "palm"}
    for joint in skeleton.joints:
        if joint.side or not limb_words & joint.reading.scores.keys():
            continue
        line = [joint, *joint.ancestors()]
        told = next((above for above in line if above.side), None)
        if told:
            joint.side, joint.sureness = told.side, told.sureness
            continue
        limb = [above for above in line if limb_words & above.reading.scores.keys()]
        top = limb[-1]
        below = top.subtree()
        origin = skeleton.head(top.parent)[0] if top.parent else 0.0
        points = np.array([skeleton.tails[j.bone] for j in below])
        spread = sum(skeleton.length(j) for j in below)
        offset = float(points[:, 0].mean() - origin)
        if abs(offset) > 0.02 * spread:
            joint.side = "L" if offset > 0 else "R"
            joint.sureness = _SIDED_BY_PLACE


def find_limb(
    joints: Sequence[Joint], labels: tuple[str, ...], side: str
) -> tuple[dict[str, Found], bool]:
    """Find one limb by its names.

    Parameters
    ----------
    joints : sequence of Joint
    labels : tuple of str
        ARM or LEG.
    side : str
        "L" or "R".

    Returns
    -------
    dict of label to Found
        Empty when no name speaks for the limb.
    bool
        True when several limbs fit alike, as on a creature with many legs.
    """
    total, chain = _best_chain(joints, labels, side, ())
    if not chain or total < 0.2:
        return _find_loose(joints, labels, side, {}), False
    taken = set(map(id, (*chain[0][1].subtree(), *chain[0][1].ancestors())))
    rival, _ = _best_chain(joints, labels, side, taken)
    alike = rival >= _ALIKE * total
    named = sum(1 for label, joint in chain if label in joint.reading.scores)
    context = min(1.0, named / 3.0)
    found = {}
    for label, joint in chain:
        score = joint.reading.scores.get(label)
        if score is None:
            confidence, why = 0.4 * context, "between named joints of the limb"
        else:
            confidence = 0.45 * score + 0.53 * context
            why = "by its name and its place in the chain" if named > 1 else "by its name alone"
        if joint.sureness < 1.0:
            why += ", side by place"
        if alike:
            confidence *= _ONE_OF_SEVERAL
            why = "one of several limbs alike"
        found[label] = Found(joint, confidence * joint.sureness, why)
    return (found if alike else _find_loose(joints, labels, side, found)), alike


def find_shoulders(joints: Sequence[Joint]) -> list[Joint]:
    """Return one left and one right joint where front limbs of any kind hang, or nothing."""
    tops: dict[str, Joint] = {}
    for joint in sorted(joints, key=lambda j: (len(j.ancestors()), j.name)):
        reading = joint.reading
        front = reading.kind == "front" and joint.parent and joint.parent.reading.kind != "front"
        shoulder = reading.kind == "part" and reading.scores.get("shoulder", 0.0) >= 0.8
        if joint.side and (front or shoulder):
            tops.setdefault(joint.side, joint)
    return list(tops.values()) if len(tops) == 2 else []


def _find_loose(
    joints: Sequence[Joint], labels: tuple[str, ...], side: str, found: dict[str, Found]
) -> dict[str, Found]:
    """Add the joints whose name is clear though the hierarchy does not connect them."""
    used = [entry.joint for entry in found.values()]
    for label in labels:
        if label in found:
            continue
        clear = [
            joint
            for joint in joints
            if joint.side == side
            and joint.reading.kind == "part"
            and joint.reading.scores.get(label, 0.0) >= 0.9
            and not any(joint is other for other in used)
        ]
        if clear and not any(a is b for b in clear[0].ancestors() for a in used):
            confidence = 0.6 if len(clear) == 1 else 0.3
            found[label] = Found(clear[0], confidence * clear[0].sureness, "by its name alone")
    return {label: found[label] for label in labels if label in found}


def _best_chain(
    joints: Sequence[Joint], labels: tuple[str, ...], side: str, taken: Collection[int]
) -> tuple[float, list[tuple[str, Joint]]]:
    """Find the way down the hierarchy whose names fit the labels best, in their order."""
    fits: dict[int, dict[int, float]] = {}
    order: list[Joint] = []
    for joint in joints:
        if id(joint) in taken or joint.side not in (side, ""):
            continue
        reading = joint.reading
        if reading.kind == "part" and joint.side == side:
            scores = {i: reading.scores[x] for i, x in enumerate(labels) if x in reading.scores}
        elif reading.kind == "" and not reading.concept:
            scores = {i: _NAMELESS for i in range(1, len(labels) - 1)}
        else:
            continue
        if scores:
            fits[id(joint)] = scores
            order.append(joint)
    above = {id(joint): [a for a in joint.ancestors() if id(a) in fits] for joint in order}
    order.sort(key=lambda joint: (len(above[id(joint)]), joint.name))
    gaps = np.concatenate([[0.0], np.cumsum([_MISSING[label] for label in labels])])

    best: dict[tuple[int, int], tuple[float, list[tuple[str, Joint]]]] = {}
    answer: tuple[float, list[tuple[str, Joint]]] = (0.0, [])
    for joint in order:
        for place, score in fits[id(joint)].items():
            # Of a limb cut into segments that are named alike, the first holds the joint.
            score -= _SECOND_SEGMENT * sum(
                fits[id(a)].get(place, -1.0) >= score - 0.1 for a in above[id(joint)]
            )
            options: list[tuple[float, list[tuple[str, Joint]]]]
            options = [] if score < _NAMELESS / 2 else [(-float(gaps[place]), [])]
            for ancestor in above[id(joint)]:
                for earlier in fits[id(ancestor)]:
                    if earlier < place and (id(ancestor), earlier) in best:
                        value, way = best[id(ancestor), earlier]
                        options.append((value - float(gaps[place] - gaps[earlier + 1]), way))
            if not options:
                continue
            value, way = max(options, key=lambda option: option[0])
            step = (value + score, [*way, (labels[place], joint)])
            best[id(joint), place] = step
            finished = step[0] - float(gaps[-1] - gaps[place + 1])
            if score > 0 and finished > answer[0] + 1e-9:
                answer = (finished, step[1])
    return answer
