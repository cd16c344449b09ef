# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The extension's preferences: what a new window starts with, and the keys."""

from __future__ import annotations

from typing import Any

import bpy
import rna_keymap_ui
from bpy.props import BoolProperty, EnumProperty, FloatProperty, IntProperty

from . import keys, window_state

PACKAGE = (__package__ or "").rpartition(".")[0]
"""The extension's own package: `bl_ext.<repository>.fettle`."""


def _apply(self: Any, _context: bpy.types.Context) -> None:
    apply_defaults(self)


def _redraw(_self: Any, _context: bpy.types.Context) -> None:
    window_state.look_changed()


class FETTLE_AP_preferences(bpy.types.AddonPreferences):
    """What new windows start with."""

    bl_idname = PACKAGE

    overlay_at_start: BoolProperty(
        name="Overlay on at start",
        description="Switch the overlay on when Blender starts",
        default=False,
    )
    frames_around: IntProperty(
        name="Frames around",
        description="Frames of the trails before and after the current one",
        default=16,
        min=1,
        soft_max=100,
        update=_apply,
    )
    width: FloatProperty(
        name="Trail width",
        description="Width of the trails; it grows with the interface on dense screens",
        default=2.2,
        min=0.5,
        max=8.0,
        precision=1,
        update=_apply,
    )
    flag_size: FloatProperty(
        name="Flag size",
        description="Size of the flags in the views",
        default=1.0,
        min=0.5,
        max=3.0,
        precision=1,
        update=_redraw,
    )
    order: EnumProperty(
        name="List",
        description="The order in which flags are listed",
        items=[
            ("TIME", "By time", "In the order in which they happen"),
            ("WORST", "Worst first", "The worst and surest first"),
        ],
        default="TIME",
        update=_apply,
    )

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out defaults and keys."""
        layout = self.layout
        column = layout.column()
        column.use_property_split = True
        column.prop(self, "overlay_at_start")
        column.prop(self, "frames_around")
        column.prop(self, "width")
        column.prop(self, "flag_size")
        column.prop(self, "order")
        layout.label(text="Keys: none is set until you set one")
        box = layout.box()
        configuration = context.window_manager.keyconfigs.user
        for keymap, item in keys.list_unset():
            box.context_pointer_set("keymap", keymap)
            rna_keymap_ui.draw_kmi([], configuration, keymap, item, box, 0)


def get_preferences() -> Any:
    """Return the preferences, None where the extension runs without them."""
    addon: Any = bpy.context.preferences.addons.get(PACKAGE)
    return addon.preferences if addon is not None else None


def get_flag_size() -> float:
    """Return the size of the flags in the views."""
    preferences = get_preferences()
    return float(preferences.flag_size) if preferences is not None else 1.0


def apply_defaults(preferences: Any) -> None:
    """Give the window what the preferences say a new one starts with."""
    state = window_state.get_window_properties()
    state.frames_before = state.frames_after = preferences.frames_around
    state.width = preferences.width
    state.order = preferences.order


def _apply_at_start() -> None:
    preferences = get_preferences()
    if preferences is None or not bpy.data.window_managers:
        return
    apply_defaults(preferences)
    if preferences.overlay_at_start and not bpy.app.background:
        window_state.switch_overlay(True)


def register() -> None:
    """Register the preferences, and follow them once Blender is up."""
    bpy.utils.register_class(FETTLE_AP_preferences)
    bpy.app.timers.register(_apply_at_start, first_interval=0.0, persistent=True)


def unregister() -> None:
    """Take them back."""
    if bpy.app.timers.is_registered(_apply_at_start):
        bpy.app.timers.unregister(_apply_at_start)
    bpy.utils.unregister_class(FETTLE_AP_preferences)
