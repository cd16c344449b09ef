# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Where the sidebar offers to hand the reading over."""

from __future__ import annotations

from typing import Any

import bpy

from . import kept
from .operators_hand_over import KINDS
from .panels import CATEGORY, draw_text
from .translation import say

ICONS: dict[str, Any] = {
    "SHEET": "WORLD",
    "CSV": "SPREADSHEET",
    "JSON": "TEXT",
    "OTIO": "SEQUENCE",
}


class FETTLE_PT_hand_over(bpy.types.Panel):
    """The reading as a file for others."""

    bl_idname = "FETTLE_PT_hand_over"
    bl_label = "Hand Over"
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = CATEGORY
    bl_parent_id = "FETTLE_PT_main"
    bl_options = {"DEFAULT_CLOSED"}
    bl_order = 95

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out one button for each kind of file."""
        column = self.layout.column(align=True)
        for kind, text, _ in KINDS:
            column.operator("fettle.hand_over", text=text, icon=ICONS[kind]).kind = kind
        entry = kept.get(context.scene.name)
        if entry is not None and entry.base is not None:
            hint = self.layout.column(align=True)
            hint.active = False
            draw_text(
                hint,
                context,
                say("The sheet tells what changed since {take}", take=entry.base.name),
            )


CLASSES = (FETTLE_PT_hand_over,)
