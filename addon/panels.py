# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The tab in the sidebar of the 3D view: what was found, what was not judged. Lays out only."""

from __future__ import annotations

import textwrap
from typing import Any

import bpy

from ..core_math import Flag, Severity, State
from . import kept, markers, reading_job, window_state
from .filters import count_checks, count_severities, group_unjudged
from .icons import get_flag_icon, get_icon
from .old_trails import explain_missing
from .translation import say
from .wording import (
    name_part,
    name_severity,
    say_measure,
    say_part_name,
    say_severity,
    say_span,
    say_value,
    say_where_and_what,
)

CATEGORY = "Fettle"
CHARACTER_WIDTH = 6.2
"""Mean width of a letter of the interface, in pixels at scale 1."""

UNMENDED = "marked as done, and still found"


class FETTLE_UL_flags(bpy.types.UIList):
    """The flags that the filters let through."""

    bl_idname = "FETTLE_UL_flags"

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
        """Draw one flag: severity, frame, part, sentence."""
        entry = kept.get(data.name)
        flag = entry.flag(item.flag_id) if entry is not None else None
        if flag is None or entry is None:
            layout.label(text="")
            return
        row = layout.row(align=True)
        row.active = flag.state is State.OPEN and entry.stale is None
        # A split keeps the number whole however long the sentence is.
        wide = 36.0 + 8.0 * len(str(entry.reading.frame_range[1]))
        place = row.split(factor=min(0.5, wide / get_list_width(context)), align=True)
        place.label(text=str(flag.peak), icon_value=get_flag_icon(flag), translate=False)
        text = shorten(context, say_where_and_what(flag), 82.0 + wide)
        place.label(text=text, translate=False)


def get_list_width(context: bpy.types.Context) -> float:
    """Return the width of a row of the list, in pixels at scale 1."""
    scale = context.preferences.system.ui_scale
    width = context.region.width / scale if context.region is not None else 300.0
    return max(80.0, width - 90.0)


def count_letters(context: bpy.types.Context, taken: float) -> int:
    """Return how many letters a line of the sidebar holds beside `taken` pixels at scale 1."""
    scale = context.preferences.system.ui_scale
    width = context.region.width / scale if context.region is not None else 300.0
    return max(12, int((width - taken) / CHARACTER_WIDTH))


def shorten(context: bpy.types.Context, text: str, taken: float) -> str:
    """Cut a sentence at the end of its line: its beginning says the most."""
    room = count_letters(context, taken)
    return text if len(text) <= room else text[: room - 1].rstrip() + "\u2026"


class _Panel:
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = CATEGORY


class FETTLE_PT_main(_Panel, bpy.types.Panel):
    """Reading, and what it brought back in one line."""

    bl_idname = "FETTLE_PT_main"
    bl_label = "Fettle"

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out the buttons and the state of the reading."""
        layout = self.layout
        job = reading_job.running(context.scene.name)
        row = layout.row(align=True)
        row.scale_y = 1.4
        if job is not None and window_state.is_slow(job):
            row.progress(factor=job.progress, text=say("Reading {share:.0%}", share=job.progress))
            row.operator("fettle.stop", text="", icon="X")
        else:
            row.operator("fettle.read", icon="VIEWZOOM")
        row.operator(
            "fettle.toggle_overlay",
            text="Overlay",
            icon="HIDE_OFF" if window_state.overlay_is_on() else "HIDE_ON",
            depress=window_state.overlay_is_on(),
        )
        entry, problem = kept.get(context.scene.name), kept.get_problem(context.scene.name)
        if problem is not None:
            box = layout.box()
            draw_text(box, context, problem, icon="ERROR")
        elif entry is None:
            draw_text(
                layout,
                context,
                say(
                    "Overlay reads the shot and flags what reads wrong, in the views and in a list."
                ),
            )
        else:
            draw_summary(layout, context, entry)


def draw_summary(layout: bpy.types.UILayout, context: bpy.types.Context, entry: kept.Kept) -> None:
    """Lay out how many flags there are, and whether they are up to date."""
    reading = entry.reading
    counts = count_severities(reading.flags)
    row = layout.row(align=True)
    state = window_state.get_window_properties()
    # A third of the sidebar each, less the icon; where a word does not fit, the shape must do.
    room = count_letters(context, 30.0) // 3 - 2
    texts = {one: f"{counts[one]} {name_severity(one)}" for one in Severity}
    fits = max(len(text) for text in texts.values()) <= room
    for severity in sorted(Severity, reverse=True):
        row.operator(
            "fettle.show_severity",
            text=texts[severity] if fits else str(counts[severity]),
            icon_value=get_icon(severity.word),
            depress=getattr(state, f"show_{severity.word}"),
        ).word = severity.word
    column = layout.column(align=True)
    if entry.stale:
        column.label(text="The animation changed: read again", icon="FILE_REFRESH")
    elif not any(counts.values()):
        column.label(text="No open flags", icon="CHECKMARK")
    else:
        column.label(text="A flag is a question: your intent wins")
    if any(counts.values()) and not window_state.overlay_is_on():
        hint = column.row()
        hint.active = False
        hint.label(text="Overlay shows them in the views", icon="INFO")
    for crash in reading.crashes:
        draw_text(column, context, f"{crash.check}: {crash.error}", icon="ERROR")


class FETTLE_PT_flags(_Panel, bpy.types.Panel):
    """The list of flags and the selected one in full."""

    bl_idname = "FETTLE_PT_flags"
    bl_label = "Flags"
    bl_parent_id = "FETTLE_PT_main"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only once there is a reading."""
        return kept.get(context.scene.name) is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out filters, list and the selected flag."""
        layout = self.layout
        entry = kept.get(context.scene.name)
        rows = window_state.get_list(context.scene.name)
        if entry is None or rows is None:
            return
        state = window_state.get_window_properties()
        row = layout.row(align=True)
        row.prop(state, "search", text="", icon="VIEWZOOM")
        row.popover("FETTLE_PT_filter", text="", icon="FILTER")
        row.prop(state, "order", text="", icon_only=True)
        row = layout.row()
        row.template_list(
            "FETTLE_UL_flags",
            "",
            rows,
            "rows",
            rows,
            "active",
            rows=5,
            maxrows=12,
            sort_lock=True,
        )
        column = row.column(align=True)
        column.operator("fettle.previous_flag", text="", icon="TRIA_UP")
        column.operator("fettle.next_flag", text="", icon="TRIA_DOWN")
        column.separator()
        column.operator("fettle.clear_filters", text="", icon="LOOP_BACK")
        flag = entry.flag(entry.chosen)
        if flag is not None:
            draw_flag(layout, context, flag)
        elif len(rows.rows):
            layout.label(text="Click a flag to go there")
        elif entry.reading.flags:
            layout.label(text="The filters hide every flag", icon="FILTER")


def draw_flag(layout: bpy.types.UILayout, context: bpy.types.Context, flag: Flag) -> None:
    """Lay out one flag: sentence, number and limit, what to try, what was decided."""
    box = layout.box()
    head = box.row(align=True)
    head.label(
        text=f"{name_part(flag.part)}, {say_severity(flag)}",
        icon_value=get_flag_icon(flag),
        translate=False,
    )
    head.operator("fettle.go_to_flag", text="", icon="RESTRICT_SELECT_OFF").flag_id = flag.id
    column = box.column(align=True)
    column.scale_y = 0.9
    draw_text(column, context, flag.message)
    facts = column.column(align=True)
    facts.active = False
    facts.label(text=f"{say_span(flag)}   {flag.check}", translate=False)
    facts.label(text=say_value(flag), translate=False)
    measure = say_measure(flag)
    if measure:
        draw_text(facts, context, measure)
    if flag.suggestion:
        column.separator(factor=0.5)
        draw_text(column, context, say("Try: {what}", what=flag.suggestion), icon="LIGHT")
    if flag.state is State.MEANT:
        draw_text(column, context, say("Meant: {reason}", reason=flag.reason), icon="CHECKMARK")
    elif flag.state is State.DONE:
        draw_text(column, context, say(UNMENDED), icon="INFO")
    row = box.row(align=True)
    if flag.state is State.OPEN:
        row.operator("fettle.mark_meant", icon="BOOKMARKS").flag_id = flag.id
        row.operator("fettle.mark_done", icon="CHECKMARK").flag_id = flag.id
    else:
        row.operator("fettle.open_again", icon="LOOP_BACK").flag_id = flag.id


class FETTLE_PT_filter(bpy.types.Panel):
    """The filters, behind the funnel."""

    bl_idname = "FETTLE_PT_filter"
    bl_label = "Filter"
    bl_space_type = "VIEW_3D"
    bl_region_type = "HEADER"
    bl_options = {"INSTANCED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out the filters, and the checks with their counts."""
        layout = self.layout
        state = window_state.get_window_properties()
        entry = kept.get(context.scene.name)
        layout.label(text="Show the flags that are")
        layout.row(align=True).prop(state, "state", expand=True)
        row = layout.row(align=True)
        for severity in sorted(Severity, reverse=True):
            row.prop(state, f"show_{severity.word}", toggle=True)
        column = layout.column()
        column.use_property_split = True
        column.prop(state, "check")
        column.prop(state, "part")
        if entry is not None:
            column = layout.column(align=True)
            for check, count in count_checks(entry.reading.flags).items():
                row = column.row()
                row.active = state.check in ("ALL", check)
                row.label(text=check, translate=False)
                row.label(text=str(count), translate=False)
        layout.operator("fettle.clear_filters", icon="LOOP_BACK")


class FETTLE_PT_unjudged(_Panel, bpy.types.Panel):
    """What was not evaluated, and why: never the same as clean."""

    bl_idname = "FETTLE_PT_unjudged"
    bl_label = "Not evaluated"
    bl_parent_id = "FETTLE_PT_main"
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where something was not evaluated."""
        entry = kept.get(context.scene.name)
        return entry is not None and bool(entry.reading.not_evaluated)

    def draw_header_preset(self, context: bpy.types.Context) -> None:
        """Show how many there are while the fold is closed."""
        entry = kept.get(context.scene.name)
        if entry is not None:
            count = len(group_unjudged(entry.reading.not_evaluated))
            self.layout.label(text=str(count), translate=False)

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out check and reason, one after the other."""
        entry = kept.get(context.scene.name)
        if entry is None:
            return
        column = self.layout.column(align=True)
        draw_text(column, context, say("Not judged is not the same as clean."))
        column.separator()
        several = len(entry.reading.subjects) > 1
        for group in group_unjudged(entry.reading.not_evaluated):
            draw_text(column, context, group.reason, icon="DOT")
            words = [", ".join(group.checks)]
            if group.parts:
                words.append(", ".join(say_part_name(part) for part in group.parts))
            if several:
                words.append(", ".join(group.subjects))
            where = column.column(align=True)
            where.active = False
            draw_text(where, context, "; ".join(words), indent=True)
            column.separator(factor=0.6)


class FETTLE_PT_trails(_Panel, bpy.types.Panel):
    """Which trails are drawn, and how."""

    bl_idname = "FETTLE_PT_trails"
    bl_label = "Trails"
    bl_parent_id = "FETTLE_PT_main"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out what can be chosen about the trails."""
        layout = self.layout
        state = window_state.get_window_properties()
        layout.active = window_state.overlay_is_on()
        layout.row(align=True).prop(state, "trail_parts", expand=True)
        row = layout.row(align=True)
        row.operator("fettle.pin_trails", icon="PINNED")
        row.operator("fettle.unpin_trails", icon="UNPINNED")
        column = layout.column()
        column.use_property_split = True
        column.use_property_decorate = False
        column.prop(state, "trail_space")
        entry = kept.get(context.scene.name)
        if entry is not None and entry.base is not None and state.old_trails:
            missing = explain_missing(entry.base, state.trail_space)
            if missing:
                hint = column.column(align=True)
                hint.active = False
                draw_text(hint, context, missing)
        frames = column.column(align=True)
        frames.prop(state, "frames_before", text="Frames Back")
        frames.prop(state, "frames_after", text="Ahead")
        column.prop(state, "width")
        column.prop(state, "behind")
        column.prop(state, "depth_fade")
        column.prop(state, "place_in_frame")


class FETTLE_PT_notes(_Panel, bpy.types.Panel):
    """Notes of one's own, and decisions whose flag is gone."""

    bl_idname = "FETTLE_PT_notes"
    bl_label = "Notes"
    bl_parent_id = "FETTLE_PT_main"
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only once there is a reading to pin them to."""
        return kept.get(context.scene.name) is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out the notes by frame."""
        layout = self.layout
        entry = kept.get(context.scene.name)
        if entry is None:
            return
        layout.operator("fettle.add_note", icon="ADD")
        for number, note in enumerate(entry.notes):
            box = layout.box()
            row = box.row(align=True)
            where = f"{note.frame}" + (f"  {say_part_name(note.part)}" if note.part else "")
            go = row.operator("fettle.go_to_note", text=where, icon_value=get_icon("note"))
            go.frame = note.frame
            row.operator("fettle.remove_note", text="", icon="X").number = number
            draw_text(box.column(align=True), context, note.text)
        if entry.unused_marks:
            box = layout.box()
            box.label(text="Decisions whose flag is gone")
            column = box.column(align=True)
            column.active = False
            for mark in entry.unused_marks:
                draw_text(column, context, f"{mark.start}-{mark.end} {mark.part}: {mark.check}")
            box.operator("fettle.drop_unused")


class FETTLE_PT_markers(_Panel, bpy.types.Panel):
    """Flags as scene markers."""

    bl_idname = "FETTLE_PT_markers"
    bl_label = "Markers"
    bl_parent_id = "FETTLE_PT_main"
    bl_options = {"DEFAULT_CLOSED"}
    bl_order = 90

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out baking and removing."""
        column = self.layout.column(align=True)
        column.operator("fettle.bake_markers", text="Bake Listed Flags").which = "LISTED"
        column.operator("fettle.bake_markers", text="Bake All Open Flags").which = "OPEN"
        column.operator("fettle.remove_baked")
        baked = len(markers.find_baked(context.scene))
        if baked:
            self.layout.label(text=say("{count} markers of Fettle in this scene", count=baked))


def draw_text(
    layout: bpy.types.UILayout,
    context: bpy.types.Context,
    text: str,
    icon: Any = "NONE",
    indent: bool = False,
) -> None:
    """Lay out a sentence over as many lines as the sidebar's width asks for."""
    icon_width = 24.0 if icon != "NONE" or indent else 0.0
    lines = textwrap.wrap(text, count_letters(context, 46.0 + icon_width)) or [""]
    for number, line in enumerate(lines):
        if number == 0 and icon != "NONE":
            layout.label(text=line, icon=icon, translate=False)
        elif icon != "NONE" or indent:
            layout.label(text=line, icon="BLANK1", translate=False)
        else:
            layout.label(text=line, translate=False)


CLASSES = (
    FETTLE_UL_flags,
    FETTLE_PT_main,
    FETTLE_PT_flags,
    FETTLE_PT_filter,
    FETTLE_PT_unjudged,
    FETTLE_PT_trails,
    FETTLE_PT_notes,
    FETTLE_PT_markers,
)
