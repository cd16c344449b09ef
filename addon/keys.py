# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Keys: Esc stops a reading, clicks in the timelines reach the strip; the rest is unset.

Keys for the overlay and for going from flag to flag are listed in the preferences without a key, so
that none of the user's own is taken.
"""

from __future__ import annotations

from typing import Any

import bpy

UNSET = ("fettle.toggle_overlay", "fettle.read", "fettle.next_flag", "fettle.previous_flag")
UNSET += ("fettle.add_note",)

STRIP_KEYMAPS: tuple[tuple[str, Any], ...] = (
    # A low timeline is nothing but the ruler, where a click otherwise sets the frame.
    ("Time Scrub", "EMPTY"),
    ("Dopesheet", "DOPESHEET_EDITOR"),
    ("Graph Editor", "GRAPH_EDITOR"),
    ("NLA Editor", "NLA_EDITOR"),
)

_items: list[tuple[Any, Any]] = []


def register() -> None:
    """Add the entries; without a window there are none to add to."""
    configuration = bpy.context.window_manager.keyconfigs.addon if _has_manager() else None
    if configuration is None:
        return
    screen = configuration.keymaps.new(name="Screen", space_type="EMPTY")
    for operator in UNSET:
        _items.append((screen, screen.keymap_items.new(operator, "NONE", "PRESS")))
    window = configuration.keymaps.new(name="Window", space_type="EMPTY")
    _items.append((window, window.keymap_items.new("fettle.stop", "ESC", "PRESS")))
    for name, space in STRIP_KEYMAPS:
        keymap = configuration.keymaps.new(name=name, space_type=space)
        item = keymap.keymap_items.new("fettle.pick_in_strip", "LEFTMOUSE", "PRESS", head=True)
        _items.append((keymap, item))
        item = keymap.keymap_items.new("fettle.hover_strip", "MOUSEMOVE", "ANY", head=True)
        _items.append((keymap, item))


def unregister() -> None:
    """Take the entries back."""
    while _items:
        keymap, item = _items.pop()
        keymap.keymap_items.remove(item)


def list_unset() -> list[tuple[Any, Any]]:
    """Return keymap and entry of everything a key can be given to, as the user has it."""
    configuration = bpy.context.window_manager.keyconfigs.user
    keymap = configuration.keymaps.get("Screen") if configuration is not None else None
    found: list[tuple[Any, Any]] = []
    for operator in UNSET:
        item = (
            next((i for i in keymap.keymap_items if i.idname == operator), None) if keymap else None
        )
        if item is not None:
            found.append((keymap, item))
    return found


def _has_manager() -> bool:
    return bpy.context.window_manager is not None
