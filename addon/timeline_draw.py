# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Flags as a strip along the foot of timeline, dope sheet and graph editor; a click goes there."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import bpy
import numpy as np

from ..core_math import Flag, State
from . import kept, window_state
from .drawing import (
    draw_mark_batch,
    draw_text_box,
    get_scale,
    get_text_size,
    guard,
    make_batch,
)
from .overlay_marks import (
    Box,
    Fill,
    Mark,
    MarkRows,
    PlacedMark,
    build_box,
    build_boxes,
    build_marks,
    join,
    to_rows,
    write_counts,
)
from .palette import NOTE, QUIET, SEVERITY_COLOURS
from .selection import find_owner
from .shaders import get_mark_shader
from .view_words import describe_flags

SPACES = (bpy.types.SpaceDopeSheetEditor, bpy.types.SpaceGraphEditor, bpy.types.SpaceNLA)
EDITORS = {"DOPESHEET_EDITOR", "GRAPH_EDITOR", "NLA_EDITOR"}

FOOT = 11.0
"""Room left below the strip for the scroll bar, in pixels at scale 1."""
MARKERS_ROOM = 20.0
"""And for the host's own markers, where there are any."""
HEIGHT = 12.0
STACK_REACH = 7.0
TINT_ALPHA = 0.07


@dataclass(frozen=True, slots=True)
class StripEntry:
    """Flags that share a place on the strip, the worst first."""

    flags: tuple[Flag, ...]
    x: float
    start_x: float
    end_x: float


@dataclass(eq=False, slots=True)
class _StripState:
    key: tuple[Any, ...] = ()
    entries: list[StripEntry] = field(default_factory=list)
    batch: Any = None
    hovered: tuple[str, ...] = ()


_strips: dict[int, _StripState] = {}
_handles: list[tuple[Any, Any]] = []


def find_foot(context: bpy.types.Context) -> float:
    """Return where the strip begins above the foot of the region, in pixels."""
    room = FOOT + (MARKERS_ROOM if len(context.scene.timeline_markers) else 0.0)
    return room * get_scale(context)


def lay_out_strip(flags: list[Flag], to_x: Any, width: float, scale: float) -> list[StripEntry]:
    """Put flags at their frames, those that lie on one another together.

    Parameters
    ----------
    flags : list of Flag
    to_x : callable
        Frame to pixel.
    width : float, pixels
        What lies outside the region is left out.
    scale : float
        Size of the interface.
    """
    places = sorted(((to_x(flag.peak), flag) for flag in flags), key=lambda place: place[0])
    entries: list[StripEntry] = []
    group: list[tuple[float, Flag]] = []

    def close() -> None:
        if group:
            worst = sorted((flag for _, flag in group), key=lambda flag: -flag.rank)
            at = next(x for x, flag in group if flag is worst[0])
            entries.append(
                StripEntry(
                    tuple(worst),
                    at,
                    min(to_x(flag.start) for flag in worst),
                    max(to_x(flag.end) for flag in worst),
                )
            )
            group.clear()

    for x, flag in places:
        if to_x(flag.end) < 0.0 or to_x(flag.start) > width:
            continue
        if group and x - group[0][0] > STACK_REACH * scale:
            close()
        group.append((x, flag))
    close()
    return entries


def find_entry(region: bpy.types.Region, x: float, y: float, foot: float, scale: float) -> Any:
    """Return the entry of a region's strip under a point, None when there is none."""
    state = _strips.get(region.as_pointer())
    if state is None or not foot - 3.0 * scale <= y <= foot + (HEIGHT + 5.0) * scale:
        return None
    near = [
        (abs(entry.x - x), number)
        for number, entry in enumerate(state.entries)
        if abs(entry.x - x) <= 8.0 * scale
    ]
    if near:
        return state.entries[min(near)[1]]
    return next((entry for entry in state.entries if entry.start_x <= x <= entry.end_x), None)


def _draw_strip() -> None:
    context = bpy.context
    entry = kept.get(context.scene.name) if context.scene is not None else None
    if entry is None or context.region is None:
        if context.region is not None:
            # A strip that is no longer drawn must take no clicks either.
            _strips.pop(context.region.as_pointer(), None)
        return
    region, scale = context.region, get_scale(context)
    view = region.view2d
    state = _strips.setdefault(region.as_pointer(), _StripState())
    foot = find_foot(context)
    left, right = view.view_to_region(0.0, 0.0, clip=False)[0], 0.0
    right = view.view_to_region(1000.0, 0.0, clip=False)[0]
    key = (entry.revision, entry.chosen, region.width, region.height, foot, left, right)
    key += (state.hovered, get_text_size(context))
    if key != state.key:
        per_frame = (right - left) / 1000.0
        flags = window_state.list_shown_flags(entry)
        state.entries = lay_out_strip(
            flags, lambda frame: left + per_frame * frame, region.width, scale
        )
        state.batch = _build(context, entry, state, foot, left, per_frame)
        state.key = key
    draw_mark_batch(state.batch, region)
    # A flag's id is made anew each time it is asked for: at every redraw that would be felt.
    if state.hovered:
        _draw_sentence(context, state, foot)


def _build(
    context: bpy.types.Context,
    entry: kept.Kept,
    state: _StripState,
    foot: float,
    left: float,
    per_frame: float,
) -> Any:
    """Return the batch of the strip: ground, spans, shapes, then how many flags there are."""
    region, scale = context.region, get_scale(context)
    quiet = 0.4 if entry.stale else 1.0
    first, last = entry.reading.frame_range
    ground = (left + per_frame * first, foot - scale, left + per_frame * last, foot + 3.0 * scale)
    boxes: list[Box] = [(ground, (0.0, 0.0, 0.0, 0.35), 2.0 * scale)]
    marks = []
    standing = {entry.chosen, *state.hovered} - {None}
    for group in state.entries:
        flag = group.flags[0]
        colour = SEVERITY_COLOURS[flag.severity] if flag.state is State.OPEN else QUIET
        standing_out = bool(standing) and any(f.id in standing for f in group.flags)
        half = (2.4 if standing_out else 1.1) * scale
        end_x = max(group.end_x, group.start_x + 1.0)
        span = (group.start_x, foot + scale - half, end_x, foot + scale + half)
        boxes.append((span, (*colour, (0.9 if standing_out else 0.45) * quiet), half))
        fill = Fill.CHOSEN if standing_out else Fill.FULL
        if flag.state is not State.OPEN and not standing_out:
            fill = Fill.HOLLOW
        size = (0.62 if standing_out else 0.5) * scale
        marks.append(PlacedMark(Mark(int(flag.severity)), group.x, foot, size, colour, quiet, fill))
    for note in entry.notes:
        x = left + per_frame * note.frame
        if 0.0 <= x <= region.width:
            marks.append(PlacedMark(Mark.DOT, x, foot + 3.0 * scale, 3.0 * scale, NOTE, quiet))
    rows = np.concatenate((to_rows(marks), _count_flags(context, state, foot)))
    return make_batch(get_mark_shader(), *join(build_boxes(boxes), build_marks(rows, scale)))


def _count_flags(context: bpy.types.Context, state: _StripState, foot: float) -> MarkRows:
    """Return the counts beside the places that several flags share."""
    scale, size = get_scale(context), 0.8 * get_text_size(context)
    several = [group for group in state.entries if len(group.flags) > 1]
    places = [(group.x + 7.0 * scale + 0.27 * size, foot + 2.5 * scale) for group in several]
    counts = np.array([len(group.flags) for group in several], dtype=np.intp)
    return write_counts(np.array(places).reshape(-1, 2), counts, 0.68 * size, 0.95)


def _draw_sentence(context: bpy.types.Context, state: _StripState, foot: float) -> None:
    """Tell what the flags under the pointer say."""
    scale = get_scale(context)
    hovered = next((g for g in state.entries if g.flags[0].id in state.hovered), None)
    if hovered is not None:
        draw_text_box(
            context,
            context.region,
            describe_flags(hovered.flags),
            hovered.x,
            foot + HEIGHT * scale,
            edge=SEVERITY_COLOURS[hovered.flags[0].severity],
        )


def _draw_tint() -> None:
    """Tint the flagged spans of what is selected behind the curves of the graph editor."""
    context = bpy.context
    entry = kept.get(context.scene.name) if context.scene is not None else None
    if entry is None or entry.stale:
        return
    region = context.region
    shader = get_mark_shader()
    for flag in list_selected_flags(context, entry):
        x0 = region.view2d.view_to_region(flag.start - 0.5, 0.0, clip=False)[0]
        x1 = region.view2d.view_to_region(flag.end + 0.5, 0.0, clip=False)[0]
        if x1 < 0.0 or x0 > region.width:
            continue
        colour = (*SEVERITY_COLOURS[flag.severity], TINT_ALPHA)
        box = build_box((x0, 0.0, x1, float(region.height)), colour, 0.0)
        draw_mark_batch(make_batch(shader, *box), region)


def list_selected_flags(context: bpy.types.Context, entry: kept.Kept) -> list[Flag]:
    """Return the shown flags about the selected bones and objects."""
    found = []
    for facts in entry.reading.subjects:
        owner = find_owner(facts, context.scene)
        motion = entry.motions.get(facts.name)
        if owner is None or motion is None:
            continue
        names = {bone.name for bone in context.selected_pose_bones or () if bone.id_data == owner}
        for flag in window_state.list_shown_flags(entry):
            if flag.subject != facts.name:
                continue
            mapped, track = facts.parts.get(flag.part), motion.keys.get(flag.part)
            controls = set(track.controls) if track is not None else set()
            if (mapped is not None and mapped.bone in names) or controls & names:
                found.append(flag)
    return found


class FETTLE_OT_pick_in_strip(bpy.types.Operator):
    """Go to the flag in the strip"""

    bl_idname = "fettle.pick_in_strip"
    bl_label = "Go to Flag in Strip"
    bl_options = {"INTERNAL"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where a strip is drawn: all other clicks pass."""
        return bool(_handles) and context.area is not None and context.area.type in EDITORS

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Take a click on a flag, and let every other one pass."""
        entry = kept.get(context.scene.name)
        region = context.region
        if entry is None or region is None or region.type != "WINDOW":
            return {"PASS_THROUGH"}
        x, y = event.mouse_region_x, event.mouse_region_y
        group = find_entry(region, x, y, find_foot(context), get_scale(context))
        if group is None:
            return {"PASS_THROUGH"}
        ids = [flag.id for flag in group.flags]
        chosen = entry.flag(entry.chosen)
        picked = ids[0]
        if chosen is not None and chosen.id in ids and context.scene.frame_current == chosen.peak:
            picked = ids[(ids.index(chosen.id) + 1) % len(ids)]
        bpy.ops.fettle.go_to_flag("EXEC_DEFAULT", True, flag_id=picked)
        return {"FINISHED"}


class FETTLE_OT_hover_strip(bpy.types.Operator):
    """Tell what the flag in the strip says"""

    bl_idname = "fettle.hover_strip"
    bl_label = "Read Flag in Strip"
    bl_options = {"INTERNAL"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where a strip is drawn."""
        return bool(_handles) and context.area is not None and context.area.type in EDITORS

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Remember what is under the pointer; the event goes on to everybody else."""
        region = context.region
        if region is not None and region.type == "WINDOW":
            state = _strips.get(region.as_pointer())
            x, y = event.mouse_region_x, event.mouse_region_y
            group = find_entry(region, x, y, find_foot(context), get_scale(context))
            hovered = tuple(flag.id for flag in group.flags) if group is not None else ()
            if state is not None and hovered != state.hovered:
                state.hovered = hovered
                region.tag_redraw()
        return {"PASS_THROUGH"}


def list_entries(region: bpy.types.Region) -> list[StripEntry]:
    """Return the strip as a region shows it."""
    state = _strips.get(region.as_pointer())
    return state.entries if state is not None else []


def _overlay_switched(on: bool) -> None:
    """Draw from now on, or no longer."""
    if on and not _handles and not bpy.app.background:
        for space in SPACES:
            handle = space.draw_handler_add(guard(_draw_strip), (), "WINDOW", "POST_PIXEL")
            _handles.append((space, handle))
        graph = bpy.types.SpaceGraphEditor
        handle = graph.draw_handler_add(guard(_draw_tint), (), "WINDOW", "POST_PIXEL")
        _handles.append((graph, handle))
    elif not on:
        while _handles:
            space, handle = _handles.pop()
            space.draw_handler_remove(handle, "WINDOW")
        _strips.clear()


def register() -> None:
    """Follow the overlay's switch."""
    window_state.overlay_listeners.append(_overlay_switched)


def unregister() -> None:
    """Draw no longer."""
    _overlay_switched(False)
    window_state.overlay_listeners.remove(_overlay_switched)


CLASSES = (FETTLE_OT_pick_in_strip, FETTLE_OT_hover_strip)
