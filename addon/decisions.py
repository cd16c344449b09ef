# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What people decide about flags, and their notes: kept with the scene, shown with the reading."""

from __future__ import annotations

from dataclasses import replace

import bpy

from ..core_math import (
    Flag,
    Note,
    State,
    apply_marks,
    clear_mark,
    mark_flag,
    set_mark,
)
from . import kept
from .readings import collect_keys, keep_marks, read_marks


def decide(scene: bpy.types.Scene, flag: Flag, state: State, reason: str | None = None) -> None:
    """Keep a decision about a flag, or open the flag again.

    Raises
    ------
    MarksError
        When a flag is to be meant without a reason.
    SamplingError
        When what the scene keeps cannot be read.
    """
    marks, notes = read_marks(scene)
    entry = kept.get(scene.name)
    keys = collect_keys(entry.motions.values()) if entry is not None else {}
    if state is State.OPEN:
        marks = clear_mark(marks, flag, keys)
    else:
        marks = set_mark(marks, mark_flag(flag, state, reason, keys), flag)
    keep_marks(scene, marks, notes)
    reapply(scene)


def add_note(scene: bpy.types.Scene, note: Note) -> None:
    """Pin a note to the scene."""
    marks, notes = read_marks(scene)
    keep_marks(scene, marks, sorted((*notes, note), key=lambda entry: entry.frame))
    reapply(scene)


def remove_note(scene: bpy.types.Scene, number: int) -> bool:
    """Take a note away by its place in the list; say whether there was one."""
    marks, notes = read_marks(scene)
    if not 0 <= number < len(notes):
        return False
    keep_marks(scene, marks, (*notes[:number], *notes[number + 1 :]))
    reapply(scene)
    return True


def drop_unused(scene: bpy.types.Scene) -> int:
    """Forget the decisions whose flag is gone; return how many there were."""
    entry = kept.get(scene.name)
    if entry is None:
        return 0
    marks, notes = read_marks(scene)
    unused = set(entry.unused_marks)
    keep_marks(scene, [mark for mark in marks if mark not in unused], notes)
    reapply(scene)
    return len(unused)


def reapply(scene: bpy.types.Scene) -> None:
    """Show the decisions and notes as the scene keeps them now, in the reading that is there."""
    entry = kept.get(scene.name)
    if entry is None:
        return
    marks, notes = read_marks(scene)
    opened = [replace(flag, state=State.OPEN, reason=None) for flag in entry.reading.flags]
    flags, unused = apply_marks(opened, marks, collect_keys(entry.motions.values()))
    kept.keep(
        kept.Kept(
            scene=entry.scene,
            reading=replace(entry.reading, flags=flags),
            motions=entry.motions,
            samples=entry.samples,
            metres_per_unit=entry.metres_per_unit,
            notes=notes,
            unused_marks=unused,
            stale=entry.stale,
            posed=entry.posed,
            posed_frame=entry.posed_frame,
        )
    )
