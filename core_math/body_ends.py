# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What hangs at the ends of the body: fingers, and strands such as braids, tails and belts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from .body_limbs import FINGERS, NAMELESS_CONFIDENCE, Found
from .body_skeleton import Joint, Skeleton
from .body_vocabulary import split_part

_DIGIT_CONCEPTS = frozenset((*FINGERS, "finger"))
_RIG_ROLES = frozenset(("ik", "pole", "mechanism", "control", "parent", "tweak"))
_STRAND_CONFIDENCE = {"strand": 0.9, "ear": 0.6, "": NAMELESS_CONFIDENCE, "part": 0.55}
_ENDS = frozenset(("hand", "foot", "toe", *FINGERS))
_LONG_EAR = 0.5  # shorter than this share of the head, an ear does not swing
_CLOSED = 0.2  # a chain that comes back to its start is a rim (an ear, an eyelid), no strand


def find_fingers(skeleton: Skeleton, hand: Joint) -> dict[str, list[Found]]:
    """Find the fingers of a hand: each finger's joints in order, knuckle first."""
    chains = _finger_chains(hand)
    named: dict[str, list[Joint]] = {}
    numbered: dict[int, list[Joint]] = {}
    nameless: list[list[Joint]] = []
    for chain in chains:
        digit = next((j.reading.concept for j in chain if j.reading.concept in FINGERS), None)
        number = None if digit else _finger_number(chain)
        if digit and digit not in named:
            named[digit] = chain
        elif number is not None and number not in numbered:
            numbered[number] = chain
        elif not digit:
            nameless.append(chain)
    found = {
        digit: [Found(j, 0.95, "by its name, below the hand") for j in chain]
        for digit, chain in named.items()
    }
    if len(numbered) == 1 and not nameless and "thumb" not in found:
        nameless.append(numbered.popitem()[1])  # the only finger stands for all, whatever number
    for digit, chain in _place_numbered(numbered, "thumb" in named).items():
        if digit not in found:
            found[digit] = [Found(j, 0.85, "by the finger's number") for j in chain]
    free = [digit for digit in FINGERS if digit not in found]
    for digit, chain, sure in _place_nameless(skeleton, hand, nameless, found, free):
        found[digit] = [Found(j, sure, "by its place on the hand") for j in chain]
    return {digit: found[digit] for digit in FINGERS if digit in found}


def find_strands(skeleton: Skeleton, mapped: Mapping[Joint, str]) -> list[list[Found]]:
    """Find the chains of two bones and more that are no part of the body.

    Parameters
    ----------
    skeleton : Skeleton
    mapped : mapping of joint to part
        What is taken already.

    Returns
    -------
    list of list of Found
        Each strand's joints in order, the one that hangs from the body first.
    """
    trunk = {"root", "hips", "spine"}
    whole = any(part == "chest" for part in mapped.values())
    attached = dict(mapped)
    for joint in skeleton.joints:
        if mapped.get(joint) == "hips":
            attached.update({a: "root" for a in joint.ancestors() if a not in attached})
    hangs: dict[Joint, str] = {}
    eligible: dict[Joint, None] = {}
    for joint in skeleton.downwards():
        reading, above = joint.reading, joint.parent
        hangs[joint] = (attached.get(above) or hangs[above]) if above else ""
        if joint in attached or reading.roles & _RIG_ROLES:
            continue
        base = split_part(hangs[joint])[0]
        tail = whole and reading.kind == "part" and reading.concept == "spine" and base in trunk
        chainlike = base and base not in _ENDS and (reading.kind in ("ear", "") or tail)
        if reading.kind == "strand" or chainlike:
            eligible[joint] = None
    heads = [j for j in skeleton.joints if mapped.get(j) == "head"]
    head_length = skeleton.length(heads[0]) if heads else np.inf
    strands = []
    starts = [joint for joint in eligible if not _continues(joint, eligible)]
    for start in sorted(starts, key=lambda joint: joint.name):
        chain = [start]
        while (onward := _next_in_strand(chain[-1], eligible)) is not None:
            chain.append(onward)
        kinds = [j.reading.kind for j in chain]
        if len(chain) < 2 or _is_closed(skeleton, chain):
            continue
        if "strand" not in kinds and hangs[start] == "head":
            # Bones of a face may have any name; what hangs from a head is long.
            if _chain_length(skeleton, chain) < _LONG_EAR * head_length:
                continue
        sure = _STRAND_CONFIDENCE[max(kinds, key=lambda kind: _STRAND_CONFIDENCE[kind])]
        why = "named as a strand" if "strand" in kinds else "a chain that is no part of the body"
        strands.append([Found(j, sure, why) for j in chain])
    return strands


def _finger_chains(hand: Joint) -> list[list[Joint]]:
    chains = []
    starts: list[Joint] = list(hand.children)
    while starts:
        joint = starts.pop(0)
        reading = joint.reading
        if reading.concept == "palm" and reading.kind == "part":
            starts.extend(joint.children)
        elif _is_phalanx(joint):
            onward = [child for child in joint.children if _is_phalanx(child)]
            if len(onward) > 1 and not reading.concept:
                starts.extend(onward)  # a bone of the palm that carries several fingers
                continue
            chain = [joint]
            while onward := [c for c in chain[-1].children if _is_phalanx(c)]:
                chain.append(max(onward, key=lambda c: (_same_word(c, joint), c.size)))
            chain = _trim_finger(chain)
            chains.append(chain)
    return sorted(chains, key=lambda chain: chain[0].name)


def _trim_finger(chain: list[Joint]) -> list[Joint]:
    """Take off what a finger's three bones do not include: a bone of the palm, an end."""
    named = [bool(joint.reading.concept) for joint in chain]
    if any(named):
        chain = chain[named.index(True) :]
    if len(chain) == 4:
        numbers = chain[0].reading.numbers
        starts_at_zero = bool(numbers) and int(numbers[-1]) == 0
        in_the_palm = starts_at_zero or not any(named)
        chain = chain[1:] if in_the_palm else chain[:3]
    return chain


def _is_phalanx(joint: Joint) -> bool:
    reading = joint.reading
    if reading.roles & (_RIG_ROLES - {"control"}):
        return False
    return reading.kind == "" or (reading.kind == "part" and reading.concept in _DIGIT_CONCEPTS)


def _same_word(a: Joint, b: Joint) -> bool:
    return a.reading.concept == b.reading.concept


def _finger_number(chain: Sequence[Joint]) -> int | None:
    """Return which finger a chain is by its number, or None when the numbers count its joints."""
    first = chain[0].reading
    if first.concept != "finger" or not first.numbers:
        return None
    number = first.numbers[0]
    if len(first.numbers) > 1 or len(chain) == 1:
        return int(number)
    following = chain[1].reading.numbers
    if not following or following[0] == number or following[0].startswith(number):
        return int(number)
    if len(number) == 2 and following[0][:1] == number[:1] and number[0] != "0":
        return int(number[0])
    return None


def _place_numbered(
    numbered: Mapping[int, list[Joint]], thumb_named: bool
) -> dict[str, list[Joint]]:
    if not numbered:
        return {}
    first = min(numbered)
    starts_at_thumb = first == 0 or (not thumb_named and max(numbered) - first == 4)
    digits = FINGERS if starts_at_thumb else FINGERS[1:]
    base = 0 if first == 0 else 1
    return {
        digits[number - base]: chain
        for number, chain in numbered.items()
        if 0 <= number - base < len(digits)
    }


def _place_nameless(
    skeleton: Skeleton,
    hand: Joint,
    chains: list[list[Joint]],
    found: Mapping[str, list[Found]],
    free: list[str],
) -> Iterable[tuple[str, list[Joint], float]]:
    """Tell fingers apart by where they sit: the thumb stands off, the others follow in a row."""
    if not chains or not free:
        return
    if len(chains) == 1:
        # One chain for all fingers, as in a mitten, counts as the index finger.
        if chains[0][0].reading.concept == "finger" and free[-4:] == list(FINGERS[1:]):
            yield "index", chains[0], 0.6
        return
    if len(chains) > len(free) or len(chains) < 3:
        return
    starts = np.array([skeleton.head(chain[0]) for chain in chains])
    ends = np.array([skeleton.tails[chain[-1].bone] for chain in chains])
    way = ends - starts
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
    order = list(range(len(chains)))
    sure = 0.3
    if "thumb" in found:
        origin = skeleton.head(found["thumb"][0].joint)
        digits = free
    else:
        reach = np.linalg.norm(starts - skeleton.head(hand), axis=1)
        apart = [
            1.0
            - float(way[i] @ np.mean(np.delete(way, i, 0), axis=0))
            + 1.0
            - float(reach[i] / max(np.mean(np.delete(reach, i)), 1e-12))
            for i in order
        ]
        thumb = int(np.argmax(apart))
        if len(chains) < 5 and apart[thumb] < 0.25:
            return
        yield "thumb", chains[thumb], 0.35
        order.remove(thumb)
        origin = starts[thumb]
        digits = free[1:]
    order.sort(key=lambda i: float(np.linalg.norm(starts[i] - origin)))
    if len(order) == 3 and len(digits) == 4:
        digits = [digits[0], digits[1], digits[3]]
    elif len(order) == len(digits):
        sure = 0.4
    for index, digit in zip(order, digits, strict=False):
        yield digit, chains[index], sure


def _continues(joint: Joint, eligible: Mapping[Joint, None]) -> bool:
    parent = joint.parent
    return parent is not None and parent in eligible and _next_in_strand(parent, eligible) is joint


def _next_in_strand(joint: Joint, eligible: Mapping[Joint, None]) -> Joint | None:
    onward = [child for child in joint.children if child in eligible]
    if not onward:
        return None
    words = [word for word in joint.reading.stem if not word.isdigit()]

    def fit(child: Joint) -> tuple[bool, int, str]:
        alike = words == [word for word in child.reading.stem if not word.isdigit()]
        return (not alike, -child.size, child.name)

    return min(onward, key=fit)


def _is_closed(skeleton: Skeleton, chain: Sequence[Joint]) -> bool:
    span = skeleton.tails[chain[-1].bone] - skeleton.head(chain[0])
    return float(np.linalg.norm(span)) < _CLOSED * _chain_length(skeleton, chain)


def _chain_length(skeleton: Skeleton, chain: Sequence[Joint]) -> float:
    onward = [*chain[1:], None]
    return sum(skeleton.length(j, n) for j, n in zip(chain, onward, strict=True))
