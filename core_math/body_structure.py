# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Arms and legs without names: two pairs of like limbs on one line of joints.

Used when names tell nothing ("Bone", "Bone.001" ...). It asks for what every human figure has, in
any rest pose: a pair of legs on one joint, a pair of arms on a joint farther up the same line,
something that goes on above the arms, and limb bones in human proportion. What is found this way
stays a guess of low confidence.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .body_limbs import NAMELESS_CONFIDENCE, Found
from .body_skeleton import FloatArray, Joint, Skeleton

# Bone lengths along a limb, the upper long bone taken as 1: the project's own round figures after
# the proportions of Drillis & Contini 1966 (from memory), with room for stylised figures.
_LEGS: Mapping[tuple[str, ...], tuple[float, ...]] = {
    ("thigh", "shin", "foot"): (1.0, 1.0, 0.4),
    ("thigh", "shin", "foot", "toe"): (1.0, 1.0, 0.4, 0.25),
    ("", "thigh", "shin", "foot"): (0.35, 1.0, 1.0, 0.4),
    ("", "thigh", "shin", "foot", "toe"): (0.35, 1.0, 1.0, 0.4, 0.25),
}
_ARMS: Mapping[tuple[str, ...], tuple[float, ...]] = {
    ("upper_arm", "forearm", "hand"): (1.0, 0.85, 0.45),
    ("shoulder", "upper_arm", "forearm", "hand"): (0.6, 1.0, 0.85, 0.45),
}
_FAR_FROM_HUMAN = 0.9  # root mean square of the logarithms of the length ratios
_LIKE = 0.12  # how far the two limbs of a pair may differ in length
_ARM_TO_LEG = 0.68  # upper arm and forearm over thigh and shin, same source
_SPARE_BONE = 0.3
_LONGEST_LIMB = 12
_LIMB_BONES = 4  # a limb's own bones; what follows are fingers, or no limb at all


@dataclass(slots=True)
class _Pair:
    base: Joint
    chains: tuple[list[Joint], list[Joint]]
    length: float


def find_limbs_by_structure(
    skeleton: Skeleton,
) -> tuple[dict[str, dict[str, Found]], dict[str, dict[str, Found]]]:
    """Find arms and legs from hierarchy and lengths alone.

    Returns
    -------
    arms, legs : dict of side to dict of label to Found
        Empty when the joints make no human figure, or could make more than one.
    """
    pairs = _find_pairs(skeleton)
    options = []
    for legs in pairs:
        for arms in pairs:
            if legs is arms or not legs.base.is_above(arms.base):
                continue
            if any(legs.base is j or arms.base is j for p in pairs for c in p.chains for j in c):
                continue
            leg_fit = _fit(skeleton, legs.chains, _LEGS)
            arm_fit = _fit(skeleton, arms.chains, _ARMS)
            if leg_fit is None or arm_fit is None or not _goes_on(arms):
                continue
            ratio = np.log(_limb_length(skeleton, arms, arm_fit[1]) / _ARM_TO_LEG)
            ratio -= np.log(_limb_length(skeleton, legs, leg_fit[1]))
            if abs(ratio) > _FAR_FROM_HUMAN:
                continue
            misfit = leg_fit[0] + arm_fit[0] + 0.3 * abs(float(ratio))
            options.append((misfit, legs, leg_fit[1], arms, arm_fit[1]))
    if not options:
        return {}, {}
    options.sort(key=lambda option: (option[0], option[1].chains[0][0].name))
    misfit, legs, leg_labels, arms, arm_labels = options[0]
    if _has_more_limbs(pairs, legs, arms) or _stands_on_four(skeleton, legs, arms):
        return {}, {}
    sure = NAMELESS_CONFIDENCE * (1.0 - 0.4 * min(1.0, misfit / (2 * _FAR_FROM_HUMAN)))
    left = _left(skeleton, legs, arms)
    leg_sides = _name_sides(skeleton, legs, leg_labels, left, sure)
    return _name_sides(skeleton, arms, arm_labels, left, sure), leg_sides


def _find_pairs(skeleton: Skeleton) -> list[_Pair]:
    """Find joints that carry two chains of three bones or more with the same lengths."""
    pairs = []
    reach = _measure_reach(skeleton)
    for base in skeleton.joints:
        if len(base.children) < 2:
            continue
        chains = [_main_chain(skeleton, child, reach) for child in base.children]
        chains = [chain for chain in chains if len(chain) >= 3]
        chains.sort(key=lambda chain: chain[0].name)
        for i, first in enumerate(chains):
            for second in chains[i + 1 :]:
                a, b = _lengths(skeleton, first), _lengths(skeleton, second)
                if abs(len(a) - len(b)) > 1 or np.abs(a[:3] - b[:3]).max() > _LIKE * a.max():
                    continue
                total = float(a[:_LIMB_BONES].sum() + b[:_LIMB_BONES].sum()) / 2
                if total > 0:
                    pairs.append(_Pair(base, (first, second), total))
    return _outermost(pairs)


def _outermost(pairs: list[_Pair]) -> list[_Pair]:
    """Leave out pairs that sit on another pair's limbs, as the fingers do."""
    inside = {j for pair in pairs for chain in pair.chains for j in chain[0].subtree()}
    return [pair for pair in pairs if pair.base not in inside]


def _main_chain(skeleton: Skeleton, start: Joint, reach: Mapping[Joint, float]) -> list[Joint]:
    """Follow the longest way down, up to where it branches into many (a hand)."""
    chain = [start]
    while len(chain) <= _LONGEST_LIMB:
        children = [c for c in chain[-1].children if skeleton.length(chain[-1], c) > 1e-9]
        if not children or len(children) >= 3:
            break
        chain.append(max(children, key=lambda c: (reach[c], c.name)))
    return chain


def _measure_reach(skeleton: Skeleton) -> dict[Joint, float]:
    """Return how far the longest chain below each joint goes."""
    reach: dict[Joint, float] = {}
    for joint in reversed(skeleton.downwards()):
        onward = [skeleton.length(joint, c) + reach[c] for c in joint.children]
        reach[joint] = max(onward, default=skeleton.length(joint))
    return reach


def _lengths(skeleton: Skeleton, chain: Sequence[Joint]) -> FloatArray:
    onward = [*chain[1:], None]
    return np.array([skeleton.length(j, n) for j, n in zip(chain, onward, strict=True)])


def _fit(
    skeleton: Skeleton,
    chains: tuple[list[Joint], list[Joint]],
    templates: Mapping[tuple[str, ...], tuple[float, ...]],
) -> tuple[float, tuple[str, ...]] | None:
    """Return how far the limb is from the nearest human proportion, and its labels."""
    shared = min(map(len, chains))
    both = [_lengths(skeleton, chain[:shared]) for chain in chains]
    lengths = np.maximum(np.mean(both, axis=0), 1e-9)
    best = None
    branches = any(len(chain[-1].children) >= 3 for chain in chains)
    for labels, shape in templates.items():
        if len(labels) > shared or (branches and labels[-1] == "hand" and len(labels) != shared):
            continue
        scale = lengths[labels.index("thigh" if "thigh" in labels else "upper_arm")]
        # The last bone's own length is often made up, so it does not speak.
        off = np.log(lengths[: len(labels) - 1] / scale / np.array(shape[: len(labels) - 1]))
        # Below a hand there may be fingers; below a foot there is little.
        spare = 0.0 if labels[-1] == "hand" else _SPARE_BONE * (shared - len(labels))
        misfit = float(np.sqrt(np.mean(off**2))) + spare
        if misfit < _FAR_FROM_HUMAN and (best is None or misfit < best[0]):
            best = (misfit, labels)
    return best


def _limb_length(skeleton: Skeleton, pair: _Pair, labels: tuple[str, ...]) -> float:
    """Return the length of the two long bones, the mean of both sides."""
    start = labels.index("thigh" if "thigh" in labels else "upper_arm")
    both = [_lengths(skeleton, chain)[start : start + 2].sum() for chain in pair.chains]
    return max(float(np.mean(both)), 1e-9)


def _goes_on(arms: _Pair) -> bool:
    """Say whether something other than the arms hangs on the chest: a neck, a head."""
    limbs = [chain[0] for chain in arms.chains]
    return any(not any(child is limb for limb in limbs) for child in arms.base.children)


def _has_more_limbs(pairs: list[_Pair], legs: _Pair, arms: _Pair) -> bool:
    """Say whether a third pair is a limb too; above the arms, shorter ones may be braids."""
    trunk = {arms.base, *arms.base.ancestors()}
    for pair in pairs:
        if pair is legs or pair is arms:
            continue
        share = 0.6 if pair.base in trunk else 0.8
        if pair.length > share * min(legs.length, arms.length):
            return True
    return False


def _stands_on_four(skeleton: Skeleton, legs: _Pair, arms: _Pair) -> bool:
    """Say whether both pairs run the same way, square to the back: a four-footed body."""
    back = _unit(skeleton.head(arms.base) - skeleton.head(legs.base))
    ways = []
    for pair in (legs, arms):
        reach = [skeleton.head(c[-1]) - skeleton.head(c[0]) for c in pair.chains]
        ways.append(_unit(np.mean(reach, axis=0)))
    alike = float(ways[0] @ ways[1])
    return alike > 0.85 and max(abs(float(back @ way)) for way in ways) < 0.5


def _left(skeleton: Skeleton, legs: _Pair, arms: _Pair) -> FloatArray:
    """Return the direction to the body's left: from the way the feet point, else +X."""
    up = _unit(skeleton.head(arms.base) - skeleton.head(legs.base))
    ends = [_unit(skeleton.tails[c[-1].bone] - skeleton.head(c[-1])) for c in legs.chains]
    forward = np.mean(ends, axis=0)
    forward = forward - up * float(forward @ up)
    if float(np.linalg.norm(forward)) > 0.5:
        left = np.cross(up, _unit(forward))
        apart = skeleton.head(legs.chains[0][0]) - skeleton.head(legs.chains[1][0])
        if abs(float(_unit(apart) @ left)) > 0.7:
            return left
    return np.array([1.0, 0.0, 0.0])


def _name_sides(
    skeleton: Skeleton, pair: _Pair, labels: tuple[str, ...], left: FloatArray, sure: float
) -> dict[str, dict[str, Found]]:
    places = [float(np.mean([skeleton.head(j) @ left for j in chain])) for chain in pair.chains]
    apart = abs(places[0] - places[1]) / max(pair.length, 1e-9)
    if apart < 0.02:
        sure *= 0.5
    first = "L" if places[0] > places[1] else "R"
    told = [{joint.side for joint in chain} - {""} for chain in pair.chains]
    if all(len(sides) == 1 for sides in told) and told[0] != told[1]:
        (first,) = told[0]
    found = {}
    for side, chain in zip((first, "R" if first == "L" else "L"), pair.chains, strict=True):
        found[side] = {
            label: Found(joint, sure, "by hierarchy and proportion, without a name")
            for label, joint in zip(labels, chain, strict=False)
            if label
        }
    return {side: found[side] for side in sorted(found)}


def _unit(vector: FloatArray) -> FloatArray:
    length = float(np.linalg.norm(vector))
    return vector / length if length > 1e-12 else vector
