# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Where the sidebar offers to hand the reading over."""

from __future__ import annotations

import bpy


class FETTLE_PT_hand_over(bpy.types.Panel):
    """The reading as a file for others."""

    bl_idname = "FETTLE_PT_hand_over"
    bl_label = "Hand Over"
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = "Fettle"
    bl_parent_id = "FETTLE_PT_main"
    bl_options = {"DEFAULT_CLOSED"}
    bl_order = 95

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out one button for each kind of file."""
        column = self.layout.column(align=True)
        for kind, text in (
            ("SHEET", "Review Sheet"),
            ("CSV", "Spreadsheet"),
            ("JSON", "Findings"),
            ("OTIO", "Timeline"),
        ):
            column.operator("fettle.hand_over", text=text).kind = kind


CLASSES = (FETTLE_PT_hand_over,)
