# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Keeps what the interface shows in step with the readings: overlay, rows of the list, redraws."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import bpy

from ..core_math import Flag, Settings, Severity, State
from . import kept, live, reading_job, scene_settings
from .filters import EVERYTHING, FlagFilter
from .selection import select_flag
from .translation import tell
from .wording import name_part

SHOWN_IN = {"VIEW_3D", "DOPESHEET_EDITOR", "GRAPH_EDITOR", "NLA_EDITOR", "SEQUENCE_EDITOR"}

TELL_EACH_S = 0.1
"""Progress is told this seldom: drawing it must not slow the reading down."""

SLOW_S = 0.25
"""Readings that are over sooner come and go without a sign: nothing flickers."""

overlay_listeners: list[Callable[[bool], None]] = []
"""Called when the overlay is switched, by those who draw it."""

rows_listeners: list[Callable[[str], None]] = []
"""Called with the scene's name when its list was made anew, by those who list more beside it."""

expanded_checks: set[str] = set()
_part_items: list[tuple[str, str, str]] = []
_ALL_PARTS = (EVERYTHING, "All parts", "Show the flags of every part")


class _Picking:
    """True while a row is made the active one by us, not by a click."""

    quiet = False


def get_window_properties() -> Any:
    """Return the window's own state, as `properties` declares it."""
    return bpy.data.window_managers[0].fettle


# The overlay.


def overlay_is_on() -> bool:
    """Say whether the overlay is drawn."""
    return live.is_on()


def switch_overlay(on: bool) -> None:
    """Draw the overlay and keep it up to date, or leave it."""
    if on == live.is_on():
        return
    if on:
        live.switch_on()
    else:
        live.switch_off()
    for listener in overlay_listeners:
        listener(on)
    redraw()


def redraw() -> None:
    """Have everything drawn anew that shows a reading."""
    for manager in bpy.data.window_managers:
        for window in manager.windows:
            for area in window.screen.areas:
                if area.type in SHOWN_IN:
                    area.tag_redraw()


def _redraw_sidebars() -> None:
    """Have the progress drawn anew, and not the views: that may take longer than a slice."""
    for manager in bpy.data.window_managers:
        for window in manager.windows:
            for area in window.screen.areas:
                for region in area.regions if area.type == "VIEW_3D" else ():
                    if region.type == "UI":
                        region.tag_redraw()


# The list.


def read_filter(state: Any) -> FlagFilter:
    """Return what the window's filters ask for."""
    severities = {
        severity for severity in Severity if getattr(state, f"show_{severity.word}", True)
    }
    return FlagFilter(
        severities=frozenset(severities),
        state=None if state.state == EVERYTHING else State(state.state.lower()),
        check=_read_choice(state.check),
        part=_read_choice(state.part),
        words=state.search,
        worst_first=state.order == "WORST",
    )


def _read_choice(word: str) -> str | None:
    return None if word in ("", EVERYTHING) else word


def list_shown_flags(entry: kept.Kept) -> list[Flag]:
    """Return the flags the filters let through, in the order of the list."""
    return read_filter(get_window_properties()).select(entry.reading.flags)


def get_list(scene_name: str) -> Any:
    """Return a scene's list of flags, None before it was read."""
    return get_window_properties().lists.get(scene_name)


def refresh_rows(scene_name: str) -> None:
    """Make the rows of a scene's list anew."""
    state = get_window_properties()
    entry = kept.get(scene_name)
    _forget_lists(state)
    if entry is None:
        return
    rows = state.lists.get(scene_name)
    if rows is None:
        rows = state.lists.add()
        rows.name = scene_name
    flags = read_filter(state).select(entry.reading.flags)
    rows.rows.clear()
    active = -1
    for number, flag in enumerate(flags):
        rows.rows.add().flag_id = flag.id
        if flag.id == entry.chosen:
            active = number
    _set_active(rows, active)
    for listener in rows_listeners:
        listener(scene_name)


def _forget_lists(state: Any) -> None:
    for number in range(len(state.lists) - 1, -1, -1):
        if kept.get(state.lists[number].name) is None:
            state.lists.remove(number)


def _set_active(rows: Any, number: int) -> None:
    _Picking.quiet = True
    try:
        rows.active = number
    finally:
        _Picking.quiet = False


def row_picked(rows: Any, context: bpy.types.Context) -> None:
    """Go to the flag whose row was clicked."""
    if _Picking.quiet or not 0 <= rows.active < len(rows.rows):
        return
    entry = kept.get(rows.name)
    flag = entry.flag(rows.rows[rows.active].flag_id) if entry is not None else None
    if flag is not None and context.scene is not None and context.scene.name == rows.name:
        bpy.ops.fettle.go_to_flag("EXEC_DEFAULT", True, flag_id=flag.id)


def go_to(context: bpy.types.Context, flag: Flag, entry: kept.Kept) -> str | None:
    """Go to a flag's frame, select what it is about and show it in the list."""
    context.scene.frame_current = flag.peak
    selected = select_flag(context, flag, entry)
    show_in_list(entry, flag)
    redraw()
    return selected


def show_in_list(entry: kept.Kept, flag: Flag) -> None:
    """Select a flag in the list."""
    kept.choose(entry, flag.id)
    rows = get_list(entry.scene)
    if rows is not None:
        ids = [row.flag_id for row in rows.rows]
        _set_active(rows, ids.index(flag.id) if flag.id in ids else -1)


def list_part_items(context: bpy.types.Context) -> list[tuple[str, str, str]]:
    """Return the parts that have flags, as items of a menu."""
    entry = kept.get(context.scene.name) if context and context.scene else None
    parts = sorted({flag.part for flag in entry.reading.flags}) if entry is not None else []
    # Blender keeps pointers to these texts: the list must outlive the menu.
    _part_items[:] = [_ALL_PARTS, *((part, name_part(part), "") for part in parts)]
    return _part_items


def filters_changed(_context: bpy.types.Context | None = None) -> None:
    """Show what the filters let through now."""
    for name in kept.list_scenes():
        entry = kept.get(name)
        if entry is not None:
            kept.touch(entry)
        refresh_rows(name)
    redraw()


def look_changed() -> None:
    """Draw the trails as they are asked for now."""
    for name in kept.list_scenes():
        entry = kept.get(name)
        if entry is not None:
            kept.touch(entry)
    redraw()


# Settings.


def change_settings(scene: bpy.types.Scene, change: Callable[[Settings], Settings]) -> None:
    """Change a scene's settings, and judge again where the overlay is on."""
    before = scene_settings.settings_or_default(scene)
    scene_settings.change_settings(scene, change)
    _settings_changed(scene, before)


def drop_settings(scene: bpy.types.Scene) -> None:
    """Take a scene's own settings away."""
    before = scene_settings.settings_or_default(scene)
    scene_settings.drop_scene_settings(scene)
    _settings_changed(scene, before)


def _settings_changed(scene: bpy.types.Scene, before: Settings) -> None:
    after = scene_settings.settings_or_default(scene)
    if before == after:
        return
    if live.is_on():
        live.request(scene.name, live.KEYS_PAUSE_S, judge_only=before.stage == after.stage)
    else:
        kept.mark_stale(scene.name, "the settings changed since it was read")
        shown_changed(scene.name)


def expand_check(check_id: str, on: bool) -> None:
    """Show or hide the numbers of a check in the panel of limits."""
    (expanded_checks.add if on else expanded_checks.discard)(check_id)


# Being told.


def is_slow(job: reading_job.ReadingJob) -> bool:
    """Say whether a reading goes on long enough for its progress to be shown."""
    return time.perf_counter() - job.started > SLOW_S


def shown_changed(scene_name: str) -> None:
    """Follow what changed about a scene's reading."""
    if scene_name:
        refresh_rows(scene_name)
    else:
        _forget_lists(get_window_properties())
    redraw()


class _Told:
    """What the status bar says now."""

    text: str | None = None
    at = 0.0


def job_changed(scene_name: str) -> None:
    """Follow a reading at work: its progress, and its rows once it is done."""
    job = reading_job.running(scene_name)
    if job is None:
        refresh_rows(scene_name)
        _tell_status(None)
        redraw()
    elif is_slow(job) and time.monotonic() - _Told.at > TELL_EACH_S:
        words = "Fettle reads {scene}: {share:.0%}, {what} (Esc stops)"
        words = tell(words, scene=scene_name, share=job.progress, what=job.text)
        _tell_status(words)
        _Told.at = time.monotonic()
        _redraw_sidebars()


def _tell_status(text: str | None) -> None:
    if text == _Told.text:
        return
    _Told.text = text
    for manager in bpy.data.window_managers:
        for window in manager.windows:
            window.workspace.status_text_set(text)


def register() -> None:
    """Listen to readings."""
    live.changed_listeners.append(shown_changed)
    live.posed_listeners.append(redraw)
    reading_job.listeners.append(job_changed)


def unregister() -> None:
    """Listen no more, and leave no text behind."""
    switch_overlay(False)
    reading_job.stop()
    _tell_status(None)
    reading_job.listeners.remove(job_changed)
    live.posed_listeners.remove(redraw)
    live.changed_listeners.remove(shown_changed)
    expanded_checks.clear()
