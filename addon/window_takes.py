# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Takes in the window: which one the reading is compared with, and the list of what changed."""

from __future__ import annotations

from typing import Any

import bpy

from ..core_math import (
    Change,
    Comparison,
    Fate,
    Retime,
    Take,
    TakeError,
    compare_readings,
    make_retime,
)
from . import kept, window_state
from .readings import collect_keys
from .scene_takes import list_takes
from .selection import select_flag


class _Picking:
    """True while a row is made the active one by us, not by a click."""

    quiet = False


def choose_base(entry: kept.Kept, take: Take | None) -> None:
    """Compare a scene's reading with a take from now on; None compares no longer."""
    entry.base = take
    kept.touch(entry)
    window_state.shown_changed(entry.scene)


def compare(entry: kept.Kept) -> Comparison | None:
    """Return what changed since the take it is compared with; None when there is none."""
    if entry.base is None:
        return None
    made = entry.comparison
    if made is None or made.old is not entry.base.reading or made.new is not entry.reading:
        made = compare_readings(entry.base.reading, entry.reading, retime(entry))
        entry.comparison = made
    return made


def retime(entry: kept.Kept) -> Retime:
    """Return what moves frames of the older take to where its keys are now."""
    keys = entry.base.keys if entry.base is not None else {}
    return make_retime(keys, collect_keys(entry.motions.values()))


def list_shown_changes(entry: kept.Kept) -> list[tuple[int, Change]]:
    """Return the changes that are asked for, each with its number in the comparison."""
    comparison = compare(entry)
    if comparison is None:
        return []
    wanted = window_state.get_window_properties().show_fates
    return [(n, one) for n, one in enumerate(comparison.changes) if one.fate.name in wanted]


def find_change(entry: kept.Kept, number: int) -> Change | None:
    """Return a change by its number, None when there is none of that number."""
    comparison = compare(entry)
    if comparison is None or not 0 <= number < len(comparison.changes):
        return None
    return comparison.changes[number]


def find_frame(entry: kept.Kept, change: Change) -> int:
    """Return the frame at which a change is to be looked at in the scene as it is now."""
    flag = change.flag
    if change.new is not None:
        return flag.peak
    return round(retime(entry)(flag.subject, flag.part, flag.peak))


def go_to_change(context: bpy.types.Context, entry: kept.Kept, number: int) -> Change | None:
    """Go to where something changed and select what it is about; None when it is gone."""
    change = find_change(entry, number)
    if change is None:
        return None
    if change.new is not None:
        window_state.go_to(context, change.new, entry)
    else:
        context.scene.frame_current = find_frame(entry, change)
        select_flag(context, change.flag, entry)
        kept.choose(entry, None)
        window_state.redraw()
    return change


def row_picked(rows: Any, context: bpy.types.Context) -> None:
    """Go to the change whose row was clicked."""
    if _Picking.quiet or not 0 <= rows.active_change < len(rows.changes):
        return
    if context.scene is not None and context.scene.name == rows.name:
        number = rows.changes[rows.active_change].number
        bpy.ops.fettle.go_to_change("EXEC_DEFAULT", True, number=number)


def fates_changed() -> None:
    """List the changes that are asked for now."""
    for name in kept.list_scenes():
        refresh_rows(name)
    window_state.redraw()


def refresh_rows(scene_name: str) -> None:
    """Make the rows of a scene's takes and of what changed anew."""
    entry, rows = kept.get(scene_name), window_state.get_list(scene_name)
    scene = bpy.data.scenes.get(scene_name)
    if entry is None or rows is None or scene is None:
        return
    rows.takes.clear()
    rows.takes_problem = ""
    try:
        for name in list_takes(scene):
            rows.takes.add().name = name
    except TakeError as error:
        rows.takes_problem = str(error)
    at = rows.active_change
    picked = rows.changes[at].number if 0 <= at < len(rows.changes) else -1
    rows.changes.clear()
    active = -1
    for number, _ in list_shown_changes(entry):
        rows.changes.add().number = number
        if number == picked:
            active = len(rows.changes) - 1
    _Picking.quiet = True
    try:
        rows.active_change = active
    finally:
        _Picking.quiet = False


def count_fates(entry: kept.Kept) -> dict[Fate, int]:
    """Return how many findings met each fate."""
    comparison = compare(entry)
    return comparison.count() if comparison is not None else dict.fromkeys(Fate, 0)


def register() -> None:
    """Follow the lists of flags."""
    window_state.rows_listeners.append(refresh_rows)


def unregister() -> None:
    """Follow nothing."""
    window_state.rows_listeners.remove(refresh_rows)
