# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Takes in the sidebar: those kept, and what changed since the one it is compared with."""

from __future__ import annotations

from typing import Any

import bpy

from ..core_math import Change, Fate, format_quantity
from . import kept, window_state, window_takes
from .icons import get_flag_icon
from .old_trails import explain_missing
from .panels import CATEGORY, count_letters, draw_text, get_list_width, shorten
from .translation import say
from .wording import name_fate, name_part, say_severity, say_where_and_what

FATE_ICONS: dict[Fate, Any] = {
    Fate.NEW: "ADD",
    Fate.WORSE: "TRIA_DOWN",
    Fate.SAME: "REMOVE",
    Fate.BETTER: "TRIA_UP",
    Fate.UNKNOWN: "QUESTION",
    Fate.FIXED: "CHECKMARK",
}


class FETTLE_UL_changes(bpy.types.UIList):
    """What changed since another take."""

    bl_idname = "FETTLE_UL_changes"

    def draw_item(
        self,
        context: bpy.types.Context,
        layout: bpy.types.UILayout,
        data: Any,
        item: Any,
        _icon: int,
        _active_data: Any,
        _active_property: str,
        _index: int = 0,
        _flt_flag: int = 0,
    ) -> None:
        """Draw one change: what became of it, frame, sentence."""
        entry = kept.get(data.name)
        change = window_takes.find_change(entry, item.number) if entry is not None else None
        if entry is None or change is None:
            layout.label(text="")
            return
        row = layout.row(align=True)
        row.active = change.new is not None
        wide = 56.0 + 8.0 * len(str(entry.reading.frame_range[1]))
        place = row.split(factor=min(0.5, wide / get_list_width(context)), align=True)
        head = place.row(align=True)
        head.label(text="", icon=FATE_ICONS[change.fate])
        frame = window_takes.find_frame(entry, change)
        head.label(text=str(frame), icon_value=get_flag_icon(change.flag), translate=False)
        text = shorten(context, say_where_and_what(change.flag), 82.0 + wide)
        place.label(text=text, translate=False)


class FETTLE_PT_takes(bpy.types.Panel):
    """Readings kept under a name, and what changed since one of them."""

    bl_idname = "FETTLE_PT_takes"
    bl_label = "Takes"
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = CATEGORY
    bl_parent_id = "FETTLE_PT_main"
    bl_options = {"DEFAULT_CLOSED"}
    bl_order = 20

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only once there is a reading to keep or to compare."""
        return kept.get(context.scene.name) is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out the takes, then the comparison."""
        layout = self.layout
        entry = kept.get(context.scene.name)
        rows = window_state.get_list(context.scene.name)
        if entry is None or rows is None:
            return
        base = entry.base.name if entry.base is not None else None
        if rows.takes_problem:
            draw_text(layout.box(), context, rows.takes_problem, icon="ERROR")
        elif not len(rows.takes) and base is None:
            draw_text(
                layout.column(align=True),
                context,
                say("Keep a take now; after your changes, compare to see what was fixed."),
            )
        column = layout.column(align=True)
        for take in rows.takes:
            row = column.row(align=True)
            row.operator(
                "fettle.compare_take", text=take.name, depress=take.name == base, translate=False
            ).name = take.name
            row.operator("fettle.drop_take", text="", icon="X").name = take.name
        if base is not None and base not in rows.takes:
            row = column.row(align=True)
            row.operator(
                "fettle.compare_take", text=base, depress=True, icon="FILE", translate=False
            ).name = base
        row = layout.row(align=True)
        row.operator("fettle.keep_take", icon="ADD")
        row.operator("fettle.compare_file", text="With File", icon="FILEBROWSER")
        if entry.base is not None:
            draw_comparison(layout, context, entry, rows)


def draw_comparison(
    layout: bpy.types.UILayout, context: bpy.types.Context, entry: kept.Kept, rows: Any
) -> None:
    """Lay out the counts, the list of changes and the selected one in full."""
    counts = window_takes.count_fates(entry)
    state = window_state.get_window_properties()
    layout.label(text=say("Since {take}", take=entry.base.name), translate=False)
    grid = layout.grid_flow(columns=2, row_major=True, align=True, even_columns=True)
    narrow = count_letters(context, 60.0) < 26
    for fate, count in counts.items():
        if fate is Fate.UNKNOWN and not count:
            grid.label(text="")
            continue
        words = "" if narrow else f" {name_fate(fate)}"
        grid.operator(
            "fettle.show_fate",
            text=f"{count}{words}",
            icon=FATE_ICONS[fate],
            depress=fate.name in state.show_fates,
            translate=False,
        ).fate = fate.name
    if len(rows.changes):
        layout.template_list(
            "FETTLE_UL_changes",
            "",
            rows,
            "changes",
            rows,
            "active_change",
            rows=4,
            maxrows=10,
            sort_lock=True,
        )
    elif not any(counts.values()):
        layout.label(text="Neither take has a flag", icon="CHECKMARK")
    else:
        layout.label(text="Nothing of this kind")
    if 0 <= rows.active_change < len(rows.changes):
        change = window_takes.find_change(entry, rows.changes[rows.active_change].number)
        if change is not None:
            draw_change(layout.box(), context, change)
    row = layout.row()
    row.enabled = bool(entry.base.trails)
    row.prop(state, "old_trails")
    missing = explain_missing(entry.base, state.trail_space)
    if missing:
        hint = layout.column(align=True)
        hint.active = False
        draw_text(hint, context, missing)


def draw_change(layout: bpy.types.UILayout, context: bpy.types.Context, change: Change) -> None:
    """Lay out one change: what became of it, and the numbers of both takes."""
    flag = change.flag
    layout.label(
        text=f"{name_fate(change.fate)}: {name_part(flag.part)}, {say_severity(flag)}",
        icon=FATE_ICONS[change.fate],
        translate=False,
    )
    column = layout.column(align=True)
    draw_text(column, context, flag.message)
    facts = column.column(align=True)
    facts.active = False
    numbers = [
        format_quantity(one.value, one.unit) if one is not None else say("no flag")
        for one in (change.old, change.new)
    ]
    if change.reason:
        draw_text(facts, context, say("Not judged: {reason}", reason=change.reason))
    else:
        facts.label(text=f"{numbers[0]}  \u2192  {numbers[1]}", translate=False)
    facts.label(text=flag.check, translate=False)


CLASSES = (FETTLE_UL_changes, FETTLE_PT_takes)
