# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The canonical names of body parts, and what follows from a name: side, joint, parent, words.

A part is `hand.L` or `spine`; a part of several joints names the further ones `index.L/2`,
`spine/2`. Strands (hair, tails, cloth) are named after their first bone: `strand:braid_L`.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from functools import lru_cache

from .body_names import flip_side

TRUNK = ("root", "hips", "spine", "chest", "neck", "head")
ARM_PARTS = ("shoulder", "upper_arm", "forearm", "hand")
FINGER_PARTS = ("thumb", "index", "middle", "ring", "pinky")
LEG_PARTS = ("thigh", "shin", "foot", "toe")
SIDES = ("L", "R")
STRAND = "strand:"

CANONICAL_PARTS: tuple[str, ...] = (
    *TRUNK,
    *(f"{part}.{side}" for side in SIDES for part in (*ARM_PARTS, *FINGER_PARTS)),
    *(f"{part}.{side}" for side in SIDES for part in LEG_PARTS),
)
"""Every part the body map looks for, in the order they are listed in; strands come after."""

LIMBS: dict[str, tuple[str, ...]] = {
    **{f"arm.{side}": tuple(f"{part}.{side}" for part in ARM_PARTS) for side in SIDES},
    **{f"leg.{side}": tuple(f"{part}.{side}" for part in LEG_PARTS) for side in SIDES},
    **{f"fingers.{side}": tuple(f"{part}.{side}" for part in FINGER_PARTS) for side in SIDES},
}
"""The parts that make up a limb, from the body outwards."""

_ABOVE = {
    "root": "",
    "hips": "root",
    "spine": "hips",
    "chest": "spine",
    "neck": "chest",
    "head": "neck",
    "shoulder": "chest",
    "upper_arm": "shoulder",
    "forearm": "upper_arm",
    "hand": "forearm",
    "thigh": "hips",
    "shin": "thigh",
    "foot": "shin",
    "toe": "foot",
    **dict.fromkeys(FINGER_PARTS, "hand"),
}
_ORDER = {part: place for place, part in enumerate(CANONICAL_PARTS)}
_WORDS = {
    "upper_arm": "upper arm",
    "toe": "toes",
    "index": "index finger",
    "middle": "middle finger",
    "ring": "ring finger",
    "pinky": "little finger",
}
_SIDE_WORDS = {"L": "left", "R": "right"}
_JOINT = re.compile(r"/([1-9][0-9]*)$")


@lru_cache(maxsize=4096)
def split_part(part: str) -> tuple[str, str, int]:
    """Split a part's name into base, side ("L", "R" or "") and number of the joint, from 1.

    The base of a strand is `strand:<first bone>` and its side is "".
    """
    match = _JOINT.search(part)
    joint = int(match.group(1)) if match else 1
    base = part[: match.start()] if match else part
    if not base.startswith(STRAND) and base[-2:] in (".L", ".R"):
        return base[:-2], base[-1], joint
    return base, "", joint


def join_part(base: str, side: str = "", joint: int = 1) -> str:
    """Make a part's name of its base, side and joint number; the reverse of `split_part`."""
    name = f"{base}.{side}" if side else base
    # A strand may start at a bone whose own name ends in "/2": its first joint is then "/2/1".
    return f"{name}/{joint}" if joint > 1 or _JOINT.search(name) else name


def is_part(part: str) -> bool:
    """Say whether this is a canonical part, a further joint of one, or a strand."""
    base, side, _ = split_part(part)
    if base.startswith(STRAND):
        return len(base) > len(STRAND)
    return (f"{base}.{side}" if side else base) in _ORDER


def mirror_part(part: str) -> str:
    """Return the part on the other side; parts in the middle are their own mirror.

    A strand's mirror is the strand whose first bone has the other side in its name.
    """
    base, side, joint = split_part(part)
    if base.startswith(STRAND):
        other = flip_side(base[len(STRAND) :])
        return join_part(f"{STRAND}{other}", "", joint) if other else part
    return join_part(base, {"L": "R", "R": "L"}.get(side, ""), joint)


def part_label(part: str) -> str:
    """Return the words an animator reads: "left hand", "spine, joint 2", "braid_L strand"."""
    base, side, joint = split_part(part)
    if base.startswith(STRAND):
        words = f"{base[len(STRAND) :]} strand"
    else:
        words = _WORDS.get(base, base)
        if side:
            words = f"{_SIDE_WORDS[side]} {words}"
    return f"{words}, joint {joint}" if joint > 1 else words


def sort_parts(parts: Iterable[str]) -> list[str]:
    """Put parts in canonical order: trunk, arms, legs, then strands by name; joints in order."""

    def rank(part: str) -> tuple[int, str, int]:
        base, side, joint = split_part(part)
        name = f"{base}.{side}" if side else base
        return (_ORDER.get(name, len(_ORDER)), name, joint)

    return sorted(parts, key=rank)


def parent_part(part: str, present: Collection[str] | None = None) -> str:
    """Return the canonical parent of a part, "" for none.

    Parameters
    ----------
    part : str
    present : collection of str, optional
        The parts that are there: missing parents are skipped upwards, and a parent of several
        joints counts with its last one. Without it the canonical parent is returned as it is.
    """
    base, side, joint = split_part(part)
    if joint > 1:
        above = join_part(base, side, joint - 1)
        if present is None or above in present:
            return above
        return parent_part(above, present)
    name = _ABOVE.get(base, "")
    if not name:
        return ""
    above = f"{name}.{side}" if side and f"{name}.{side}" in _ORDER else name
    if present is None:
        return above
    joints = [p for p in present if p == above or p.startswith(f"{above}/")]
    if joints:
        return max(joints, key=lambda p: split_part(p)[2])
    return parent_part(above, present)


def limb_of(part: str) -> str:
    """Return the limb a part belongs to ("arm.L", "leg.R", "fingers.L"), "" for the trunk."""
    base, side, _ = split_part(part)
    name = f"{base}.{side}"
    return next((limb for limb, parts in LIMBS.items() if name in parts), "")
