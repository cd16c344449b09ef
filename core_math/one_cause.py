# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""One cause, one flag: what two checks see of the same fault is told once.

A stray key on the upper arm breaks the arc of the hand and pops the arm itself. Both checks are
right, and together they cost the reader twice. A check names in `explained_by` the checks whose
flags tell the same story better; where such a flag lies on the same limb at the same time, the
worse of the two stays and names the other's parts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from .check import Check
from .findings import Flag
from .motion import Motion

NEAR_FRAMES = 1
NEAR_JOINTS = 3
"""How many joints up or down a limb two parts may lie apart to be one limb (hand to clavicle)."""


def merge_causes(flags: Iterable[Flag], checks: Sequence[Check], motion: Motion) -> list[Flag]:
    """Join flags of different checks that have one cause.

    Parameters
    ----------
    flags : iterable of Flag
        All flags of one subject.
    checks : sequence of Check
        Those that ran; each says which others explain it.
    motion : Motion
        For what hangs on what.

    Returns
    -------
    list of Flag
        In the order given, without those that are explained by another.
    """
    explained_by = {check.id: check.explained_by for check in checks if check.explained_by}
    kept = list(flags)
    for flag in list(kept):
        for other in list(kept):
            if other.check not in explained_by.get(flag.check, ()) or flag not in kept:
                continue
            if not flag.overlaps(other, NEAR_FRAMES) or not _share_a_limb(flag, other, motion):
                continue
            stays, goes = (flag, other) if flag.severity > other.severity else (other, flag)
            parts = dict.fromkeys((*stays.other_parts, goes.part, *goes.other_parts))
            parts.pop(stays.part, None)
            kept[kept.index(stays)] = replace(stays, other_parts=tuple(parts))
            kept.remove(goes)
            break
    return kept


def merge_subjects(flags: Iterable[Flag]) -> list[Flag]:
    """Keep one of the flags that several subjects of a shot give about their one camera.

    Parameters
    ----------
    flags : iterable of Flag
        Those of all subjects of a shot.

    Returns
    -------
    list of Flag
        In the order given; of those that say the same of the camera at the same time, the worst.
    """
    kept: list[Flag] = []
    for flag in flags:
        same = next((other for other in kept if _tell_the_same_of_the_camera(flag, other)), None)
        if same is None:
            kept.append(flag)
        elif flag.severity > same.severity:
            kept[kept.index(same)] = flag
    return kept


def _tell_the_same_of_the_camera(one: Flag, other: Flag) -> bool:
    about = (one.part, one.check, one.code) == ("camera", other.check, other.code)
    return about and other.part == "camera" and one.overlaps(other, NEAR_FRAMES)


def _share_a_limb(one: Flag, other: Flag, motion: Motion) -> bool:
    named = {one.part, *one.other_parts} & {other.part, *other.other_parts}
    return (
        bool(named)
        or _hangs_on(one.part, other.part, motion)
        or _hangs_on(other.part, one.part, motion)
    )


def _hangs_on(part: str, upper: str, motion: Motion) -> bool:
    """Say whether a part hangs on another one, a few joints up."""
    if not motion.has(part, upper):
        return False
    row, target = motion.index(part), motion.index(upper)
    for _ in range(NEAR_JOINTS):
        row = motion.parents[row]
        if row == target:
            return True
        if row < 0:
            return False
    return False
