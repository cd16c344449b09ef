# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The body map: which bone stands for which part of the body, guessed and corrected.

    body_map = guess_body_map(bones)
    body_map.parts["hand.L"].bone

The guess rests on names, hierarchy and proportions. `body_words` and `body_names` read the names,
`body_skeleton` puts the bones of one joint together, `body_limbs`, `body_trunk` and `body_ends`
find the parts, `body_structure` does so where names tell nothing, `body_controls` finds what is
keyed.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

from .body_controls import choose_selectable, find_controls, find_turning_bone
from .body_ends import find_fingers, find_strands
from .body_limbs import (
    ARM,
    BACKSTAGE,
    LEG,
    NAMELESS_CONFIDENCE,
    Found,
    find_limb,
    find_shoulders,
    infer_sides,
)
from .body_skeleton import BodyMapError, Bone, Joint, Skeleton, build_skeleton
from .body_structure import find_limbs_by_structure
from .body_trunk import find_root, find_trunk
from .body_vocabulary import (
    CANONICAL_PARTS,
    LIMBS,
    SIDES,
    STRAND,
    is_part,
    join_part,
    limb_of,
    mirror_part,
    parent_part,
    part_label,
    sort_parts,
    split_part,
)
from .measures.pieces import Steps, run_steps

__all__ = [
    "CANONICAL_PARTS",
    "LIMBS",
    "BodyMap",
    "BodyMapError",
    "Bone",
    "PartGuess",
    "apply_corrections",
    "body_map_to_chains",
    "guess_body_map",
    "is_part",
    "join_part",
    "limb_of",
    "mirror_part",
    "parent_part",
    "part_label",
    "sort_parts",
    "split_part",
]

_NOT_DEFORMING = 0.7


@dataclass(frozen=True, slots=True)
class PartGuess:
    """The bone that stands for a part.

    Attributes
    ----------
    bone : str
    confidence : float, ratio
        0 to 1; 1 is the user's own word.
    why : str
        What the guess rests on.
    controls : tuple of str
        Bones the animator keys that move this part, the animated and the visible ones first.
    select : str
        The bone to select for this part: `bone` itself, or a control when that one is hidden.
    parent : str
        The part this one hangs from, "" for none.
    turn : str
        The bone whose rotation is the whole joint's. It differs from `bone` where the mesh's limb
        is cut in segments, the first of which leaves out the twist; both sit at the joint.
    """

    bone: str
    confidence: float
    why: str
    controls: tuple[str, ...] = ()
    select: str = ""
    parent: str = ""
    turn: str = ""


@dataclass(frozen=True, slots=True)
class BodyMap:
    """All parts found on an armature.

    Attributes
    ----------
    parts : mapping of part to PartGuess
        In canonical order, strands last.
    unmapped : tuple of str
        Canonical parts that were not found.
    notes : tuple of str
        What the user should know: corrections that could not be followed, one line each.
    """

    parts: Mapping[str, PartGuess] = field(default_factory=dict)
    unmapped: tuple[str, ...] = CANONICAL_PARTS
    notes: tuple[str, ...] = ()

    def bone(self, part: str) -> str:
        """Return the bone that stands for a part, "" when it is not mapped."""
        guess = self.parts.get(part)
        return guess.bone if guess else ""

    def part_of(self, bone: str) -> str:
        """Return the part a bone stands for or controls, "" for none."""
        for part, guess in self.parts.items():
            if guess.bone == bone:
                return part
        return next((part for part, guess in self.parts.items() if bone in guess.controls), "")


def guess_body_map(bones: Sequence[Bone]) -> BodyMap:
    """Guess which bone stands for which part.

    Parameters
    ----------
    bones : sequence of Bone
        All bones of one armature at rest, in any order.

    Returns
    -------
    BodyMap
        Empty, with every part unmapped, for an armature without a body.

    Raises
    ------
    BodyMapError
        When the bones make no armature (see `build_skeleton`).
    """
    return run_steps(iterate_body_map(bones))


def iterate_body_map(bones: Sequence[Bone]) -> Steps[BodyMap]:
    """Guess what `guess_body_map` guesses, with pauses."""
    skeleton = yield from build_skeleton(bones)
    yield
    infer_sides(skeleton)
    yield
    deforming = [joint for joint in skeleton.joints if joint.deform]
    found = _find_body(skeleton.restricted(deforming) if deforming else skeleton)
    yield
    visible = [joint for joint in skeleton.joints if not joint.reading.roles & BACKSTAGE]
    if deforming and len(deforming) < len(skeleton.joints):
        _fill_gaps(found, _find_body(skeleton.restricted(visible)))
        yield
    hips = found.get("hips")
    at_hips = next((j for j in skeleton.joints if hips and j.bone == hips.joint.bone), None)
    root = find_root(skeleton, at_hips) if _has_body(found) else None
    if root and root.joint.bone not in {entry.joint.bone for entry in found.values()}:
        found["root"] = root
    _leave_one_part_a_bone(found)
    controls = find_controls(skeleton, found)
    yield
    parents = _find_parents(skeleton, found)
    yield
    parts = {}
    for part in sort_parts(found):
        entry = found[part]
        name = bones[entry.joint.bone].name
        parts[part] = PartGuess(
            bone=name,
            confidence=round(min(entry.confidence, 0.99), 3),
            why=entry.why,
            controls=controls.get(part, ()),
            select=choose_selectable(bones, entry.joint.bone, controls.get(part, ())),
            parent=parents[part],
            turn=find_turning_bone(skeleton, part, entry.joint),
        )
    return BodyMap(parts, tuple(part for part in CANONICAL_PARTS if part not in parts))


def _leave_one_part_a_bone(found: dict[str, Found]) -> None:
    """Take a bone that two ways of looking gave to two parts from the one that is less sure."""
    owner: dict[int, str] = {}
    for part in sorted(found, key=lambda part: (-found[part].confidence, part)):
        if owner.setdefault(found[part].joint.bone, part) != part:
            del found[part]


def apply_corrections(
    body_map: BodyMap, corrections: Mapping[str, str], bones: Sequence[Bone]
) -> BodyMap:
    """Return the map with the user's word on some parts, which then have confidence 1.

    Parameters
    ----------
    body_map : BodyMap
    corrections : mapping of part to str
        Name of the bone, or "" where the part is not to be mapped at all.
    bones : sequence of Bone

    Returns
    -------
    BodyMap
        A correction that names no part or no bone of this armature leaves the guess as it is and
        adds one line to `notes`.
    """
    known = {bone.name: index for index, bone in enumerate(bones)}
    parts = dict(body_map.parts)
    notes = list(body_map.notes)
    for part, name in corrections.items():
        if not is_part(part):
            notes.append(f"{part}: no such part of the body; the correction is left out")
        elif not name:
            parts.pop(part, None)
        elif name not in known:
            notes.append(f"{part}: the armature has no bone {name!r}; choose another one")
        else:
            for other in [p for p, g in parts.items() if g.bone == name and p != part]:
                if other not in corrections:
                    del parts[other]
            old = parts.get(part)
            controls = old.controls if old else ()
            parts[part] = PartGuess(
                bone=name,
                confidence=1.0,
                why="chosen by the user",
                controls=tuple(c for c in controls if c != name),
                select=choose_selectable(bones, known[name], controls),
                turn=name,
            )
    ordered = sort_parts(parts)
    owner = {parts[part].bone: part for part in ordered}
    for part in ordered:
        guess = parts[part]
        parent = _parent_after_correction(part, guess.bone, ordered, bones, known, owner)
        parts[part] = replace(guess, parent=parent)
    return BodyMap(
        {part: parts[part] for part in ordered},
        tuple(part for part in CANONICAL_PARTS if part not in parts),
        tuple(notes),
    )


def body_map_to_chains(body_map: BodyMap) -> dict[str, tuple[str, ...]]:
    """Return the chains of the map, each from the body outwards.

    Returns
    -------
    dict of chain to tuple of part
        "spine" (hips to head), "arm.L", "leg.L" and so on, each finger ("index.L") and each strand
        by its first joint; chains of fewer than two joints are left out.
    """
    trunk = ("hips", "spine", "chest", "neck", "head")
    lines: dict[str, tuple[str, ...]] = {"spine": trunk}
    for limb, members in LIMBS.items():
        if limb.startswith("fingers"):
            lines.update({part: (part,) for part in members})
        else:
            lines[limb] = members
    for part in body_map.parts:
        base, _, joint = split_part(part)
        if base.startswith(STRAND) and joint == 1:
            lines[part] = (part,)
    found: dict[str, tuple[str, ...]] = {}
    for chain, members in lines.items():
        firsts = {split_part(member)[:2] for member in members}
        order = [part for part in body_map.parts if split_part(part)[:2] in firsts]
        if len(order) >= 2:
            found[chain] = tuple(order)
    return found


def _find_body(skeleton: Skeleton) -> dict[str, Found]:
    """Find all parts among these joints: by names first, by structure where they tell nothing."""
    plain = [j for j in skeleton.joints if not j.reading.roles & BACKSTAGE]
    arms, legs = {}, {}
    for side in SIDES:
        arms[side], _ = find_limb(skeleton.joints, ARM, side)
        legs[side], _ = find_limb(skeleton.joints, LEG, side)
    told = True
    if not any(arms.values()) or not any(legs.values()):
        bodily = [j for j in plain if j.reading.kind in ("part", "")]
        smaller = skeleton.restricted(bodily)
        back = {joint.bone: joint for joint in skeleton.joints}
        more_arms, more_legs = find_limbs_by_structure(smaller)
        told = any(arms.values()) or any(legs.values())
        if not any(arms.values()) and more_arms:
            arms = {side: _rebind(limb, back) for side, limb in more_arms.items()}
        if not any(legs.values()) and more_legs:
            legs = {side: _rebind(limb, back) for side, limb in more_legs.items()}
    trunk = find_trunk(skeleton, arms, legs, find_shoulders(plain))
    if not told:
        trunk = {part: [_doubt(entry, part) for entry in row] for part, row in trunk.items()}
    for side in SIDES:
        # A clavicle or a toe without its limb tells nothing a check could use.
        if set(arms.get(side, ())) == {"shoulder"}:
            arms[side] = {}
        if set(legs.get(side, ())) == {"toe"}:
            legs[side] = {}
    found: dict[str, Found] = {}
    for base, entries in trunk.items():
        found.update(_name_joints(base, "", entries))
    for limbs in (arms, legs):
        for side, limb in limbs.items():
            found.update({f"{label}.{side}": entry for label, entry in limb.items()})
    for side in SIDES:
        if f"hand.{side}" in found:
            fingers = find_fingers(skeleton, found[f"hand.{side}"].joint)
            for digit, entries in fingers.items():
                found.update(_name_joints(digit, side, entries))
    mapped = {entry.joint: part for part, entry in found.items()}
    for entries in find_strands(skeleton, mapped):
        found.update(_name_joints(f"{STRAND}{entries[0].joint.name}", "", entries))
    return found


def _doubt(entry: Found, part: str) -> Found:
    """Lower the confidence of a joint that neither its own name nor the limbs' names confirm."""
    if part in entry.joint.reading.scores:
        return entry
    return replace(entry, confidence=min(entry.confidence, NAMELESS_CONFIDENCE))


def _has_body(found: Mapping[str, Found]) -> bool:
    return any(part == "hips" or limb_of(part) for part in found)


def _rebind(limb: Mapping[str, Found], back: Mapping[int, Joint]) -> dict[str, Found]:
    """Point at the joints of the whole skeleton again."""
    return {label: replace(entry, joint=back[entry.joint.bone]) for label, entry in limb.items()}


def _name_joints(base: str, side: str, entries: Sequence[Found]) -> dict[str, Found]:
    return {join_part(base, side, n): entry for n, entry in enumerate(entries, start=1)}


def _fill_gaps(found: dict[str, Found], among_all: Mapping[str, Found]) -> None:
    """Add parts that only bones without a mesh stand for, when they fit what is there."""
    used = {entry.joint.bone for entry in found.values()}
    had = {split_part(part)[:2] for part in found}
    had_strands = any(part.startswith(STRAND) for part in found)
    for part, entry in among_all.items():
        base, side, _ = split_part(part)
        if base == "spine" or (base, side) in had or entry.joint.bone in used:
            continue
        if base.startswith(STRAND) and (had_strands or entry.joint.reading.kind != "strand"):
            continue
        used.add(entry.joint.bone)
        found[part] = replace(
            entry,
            confidence=entry.confidence * _NOT_DEFORMING,
            why=f"{entry.why}, though it moves no mesh",
        )


def _find_parents(skeleton: Skeleton, found: Mapping[str, Found]) -> dict[str, str]:
    owner = {entry.joint.bone: part for part, entry in found.items()}
    joint_of = {index: joint for joint in skeleton.joints for index in joint.members}
    parents = {}
    for part, entry in found.items():
        above = (joint.bone for joint in joint_of[entry.joint.bone].ancestors())
        nearest = next((owner[bone] for bone in above if bone in owner), "")
        parents[part] = _settle_parent(part, nearest, found)
    return parents


def _settle_parent(part: str, nearest: str, present: Collection[str]) -> str:
    """Return the parent a part has by the vocabulary, at the joint it really hangs from."""
    base, _, joint = split_part(part)
    if base.startswith(STRAND) and joint == 1:
        return nearest
    canonical = parent_part(part, present)
    if joint == 1 and nearest and split_part(nearest)[:2] == split_part(canonical)[:2]:
        return nearest
    return canonical


def _parent_after_correction(
    part: str,
    bone: str,
    present: Sequence[str],
    bones: Sequence[Bone],
    known: Mapping[str, int],
    owner: Mapping[str, str],
) -> str:
    at = bones[known[bone]].parent
    while at >= 0 and bones[at].name not in owner:
        at = bones[at].parent
    return _settle_parent(part, owner[bones[at].name] if at >= 0 else "", present)
