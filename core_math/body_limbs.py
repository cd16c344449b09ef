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
from itertools import accumulate

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
BACKSTAGE = frozenset(("mechanism", "pole"))
"""Roles of bones that stand for no joint."""
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
    for joint in skeleton.downwards():
        if joint.side or not limb_words & joint.reading.scores.keys():
            continue
        above = joint.parent
        while above is not None and not above.side and not limb_words & above.reading.scores.keys():
            above = above.parent
        if above is not None:
            # The limb it belongs to has been looked at before: parents come first.
            joint.side, joint.sureness = above.side, above.sureness
            continue
        top, below = joint, joint.subtree()
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
    total, chain = _best_chain(joints, labels, side, set())
    if not chain or total < 0.2:
        return _find_loose(joints, labels, side, {}), False
    taken = {*chain[0][1].subtree(), *chain[0][1].ancestors()}
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
    for joint in sorted(joints, key=lambda j: (j.depth, j.name)):
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
            and not joint.reading.roles & BACKSTAGE
            and joint.reading.scores.get(label, 0.0) >= 0.9
            and not any(joint is other for other in used)
        ]
        if clear and not any(other.is_above(clear[0]) for other in used):
            confidence = 0.6 if len(clear) == 1 else 0.3
            found[label] = Found(clear[0], confidence * clear[0].sureness, "by its name alone")
    return {label: found[label] for label in labels if label in found}


def _best_chain(
    joints: Sequence[Joint], labels: tuple[str, ...], side: str, taken: Collection[Joint]
) -> tuple[float, list[tuple[str, Joint]]]:
    """Find the way down the hierarchy whose names fit the labels best, in their order.

    Each joint hands down the best way that ends at or above it, for each label: the time grows
    with the number of joints.
    """
    gaps = [0.0, *accumulate(_MISSING[label] for label in labels)]
    states: dict[Joint, _State] = {}
    start = _State(((-np.inf, None),) * len(labels), ((-np.inf, 0),) * len(labels))
    best: tuple[float, _Way | None] = (-np.inf, None)
    for joint in sorted(joints, key=lambda j: (j.depth, j.name)):
        state = start if joint.parent is None else states.get(joint.parent, start)
        fits = {} if joint in taken else _read_fits(joint, labels, side)
        if not fits:
            states[joint] = state
            continue
        ways, named = list(state.ways), list(state.named)
        for place, fit in fits.items():
            # Of a limb cut into segments that are named alike, the first holds the joint.
            strongest, count = state.named[place]
            score = fit - (_SECOND_SEGMENT * count if strongest >= fit - 0.1 else 0.0)
            named[place] = (max(strongest, fit), count + 1)
            options: list[tuple[float, _Way | None]] = []
            if fit > 0:
                options.append((-gaps[place], None))
            for earlier in range(place):
                value, way = state.ways[earlier]
                options.append((value - (gaps[place] - gaps[earlier + 1]), way))
            value, way = max(options, key=lambda option: option[0], default=(-np.inf, None))
            value += score
            if value > ways[place][0] + 1e-9:
                ways[place] = (value, _Way(labels[place], joint, way))
            finished = value - (gaps[-1] - gaps[place + 1])
            if fit > 0 and finished > best[0] + 1e-9:
                best = (finished, _Way(labels[place], joint, way))
        states[joint] = _State(tuple(ways), tuple(named))
    return float(best[0]), best[1].steps() if best[1] else []


@dataclass(frozen=True, slots=True)
class _Way:
    """The last step of a way down, and the way to it."""

    label: str
    joint: Joint
    before: _Way | None

    def steps(self) -> list[tuple[str, Joint]]:
        found = []
        at: _Way | None = self
        while at is not None:
            found.append((at.label, at.joint))
            at = at.before
        return found[::-1]


@dataclass(frozen=True, slots=True)
class _State:
    """What a joint hands down, by label: the best way yet, and who bore the label's name."""

    ways: tuple[tuple[float, _Way | None], ...]
    named: tuple[tuple[float, int], ...]


def _read_fits(joint: Joint, labels: tuple[str, ...], side: str) -> dict[int, float]:
    """Return how well a joint's name fits each label, by the label's place."""
    reading = joint.reading
    if joint.side not in (side, "") or reading.roles & BACKSTAGE:
        return {}
    if reading.kind == "part" and joint.side == side:
        scores = reading.scores
        return {i: scores[label] for i, label in enumerate(labels) if label in scores}
    if reading.kind == "" and not reading.concept:
        return {i: _NAMELESS for i in range(1, len(labels) - 1)}
    return {}
