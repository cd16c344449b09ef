# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What stands on the screen in the 3D view: flags, notes, frame numbers, the sentence.

Also answers what lies under the pointer, for the gizmo that takes the clicks.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core_math import Note
from . import framing_draw, kept, window_state
from .drawing import (
    TextLine,
    draw_label,
    draw_mark_batch,
    draw_text_box,
    get_scale,
    get_text_size,
    make_mark_batch,
)
from .flag_stacks import Stack, Stacks, mark_counts, mark_stacks, project, stack_flags
from .overlay_marks import Mark, MarkRows, make_rows, to_rows
from .palette import NOTE, SEVERITY_COLOURS
from .preferences import get_flag_size
from .trails import find_nearest_frames
from .view_scenery import (
    Scenery,
    get_made,
    get_order,
    get_scenery,
    list_drawn,
    list_old,
    place_flags,
)
from .view_words import describe_flags

NUMBERS_REACH = 46.0
"""Frame numbers show within this distance of the pointer, in pixels at scale 1."""

STALE_ALPHA = 0.35

POINTER_S = 4.0
"""Frame numbers stay this long beside a pointer at rest."""


@dataclass(eq=False, slots=True)
class _RegionState:
    """What one region of a 3D view shows: for hovering, for clicks, and to draw it again."""

    key: tuple[Any, ...] = ()
    stacks: Stacks | None = None
    batch: Any = None
    mouse: tuple[float, float] | None = None
    hovered: tuple[str, ...] = ()
    notes: list[tuple[float, float, Note]] = field(default_factory=list)


_regions: dict[int, _RegionState] = {}


def hover(context: bpy.types.Context, x: float, y: float) -> Stack | None:
    """Return the flags under the pointer, and show their sentence from now on."""
    state = _get_region(context.region)
    number = state.stacks.find_at(x, y) if state.stacks is not None else None
    stack = state.stacks.take(number) if state.stacks is not None and number is not None else None
    hovered = stack.ids if stack is not None else ()
    moved = state.mouse is None or max(abs(x - state.mouse[0]), abs(y - state.mouse[1])) >= 2.0
    state.mouse = (x, y)
    if moved:
        _forget_pointer_later()
    if hovered != state.hovered or (moved and _near_trail(context, x, y)):
        state.hovered = hovered
        context.region.tag_redraw()
    return stack


def _forget_pointer_later() -> None:
    # Nobody tells when the pointer leaves a region: after a while at rest it is forgotten.
    if bpy.app.timers.is_registered(_forget_pointer):
        bpy.app.timers.unregister(_forget_pointer)
    bpy.app.timers.register(_forget_pointer, first_interval=POINTER_S)


def _forget_pointer() -> None:
    shown = [state for state in _regions.values() if state.mouse is not None]
    for state in shown:
        state.mouse = None
    if shown:
        window_state.redraw()


def leave_flag(region: bpy.types.Region) -> None:
    """Take the sentence away: the pointer is no longer on a flag."""
    state = _regions.get(region.as_pointer())
    if state is not None and state.hovered:
        state.hovered = ()
        region.tag_redraw()


def list_stacks(region: bpy.types.Region) -> list[Stack]:
    """Return the flags as a region shows them."""
    return list(_get_region(region).stacks or ())


def _get_region(region: bpy.types.Region) -> _RegionState:
    return _regions.setdefault(region.as_pointer(), _RegionState())


def _near_trail(context: bpy.types.Context, x: float, y: float) -> bool:
    state = _get_region(context.region)
    return bool(state.hovered or state.notes or _find_near_points(context, (x, y)))


def draw_marks(context: bpy.types.Context, entry: kept.Kept) -> None:
    """Draw what stands on the screen: flags, notes, where parts are now, numbers, the sentence."""
    region: Any = context.region
    view: Any = context.region_data
    window = window_state.get_window_properties()
    frame, scale = context.scene.frame_current, get_scale(context)
    scenery = get_scenery(context, entry)
    state = _get_region(region)
    # What is asked for in the panel is part of the scenery's key.
    key = (
        scenery.key,
        frame,
        region.width,
        region.height,
        scale,
        get_text_size(context),
        get_flag_size(),
        state.hovered,
        tuple(tuple(row) for row in view.perspective_matrix),
    )
    if key != state.key:
        _lay_out(context, entry, scenery, state)
        state.key = key
    if window.place_in_frame:
        framing_draw.draw_card(context, entry)
    draw_mark_batch(state.batch, region)
    if state.mouse is not None or state.hovered:
        _draw_numbers(context, entry, scenery, state)
        _draw_sentence(context, entry, state)


def _lay_out(
    context: bpy.types.Context, entry: kept.Kept, scenery: Scenery, state: _RegionState
) -> None:
    """Find out where everything stands in a region, and make the batch of it."""
    frame, scale = context.scene.frame_current, get_scale(context)
    matrix = np.array(context.region_data.perspective_matrix)
    state.notes = _place_notes(context, matrix, entry)
    stacks = _place_stacks(context, matrix, entry, scenery, scale * get_flag_size())
    flags = [
        mark_stacks(stacks, next(iter(state.hovered), None), entry.chosen),
        mark_counts(stacks, 0.9 * get_text_size(context)),
    ]
    if entry.stale:
        for rows in flags:
            rows[:, 6] *= STALE_ALPHA
    here = _mark_current_places(context, matrix, entry, scenery, scale)
    notes = _mark_notes(state.notes, frame, scale)
    state.stacks = stacks
    state.batch = make_mark_batch(np.concatenate((here, notes, *flags)), scale)


def _to_pixels(
    context: bpy.types.Context,
    matrix: NDArray[np.float64],
    places: NDArray[np.float64],
    entry: kept.Kept,
) -> NDArray[np.float64]:
    region = context.region
    return project(places / entry.metres_per_unit, matrix, region.width, region.height)


def _place_stacks(
    context: bpy.types.Context,
    matrix: NDArray[np.float64],
    entry: kept.Kept,
    scenery: Scenery,
    scale: float,
) -> Stacks:
    window, frame = window_state.get_window_properties(), context.scene.frame_current
    pixels = _to_pixels(context, matrix, place_flags(scenery, entry, frame), entry)
    reach = max(window.frames_before, window.frames_after)
    order = get_order(scenery, frame, reach, entry.chosen)
    return stack_flags(order, pixels, (context.region.width, context.region.height), scale)


def _mark_current_places(
    context: bpy.types.Context,
    matrix: NDArray[np.float64],
    entry: kept.Kept,
    scenery: Scenery,
    scale: float,
) -> MarkRows:
    """Set off the current frame on every trail that is drawn."""
    frame = context.scene.frame_current
    drawn = list_drawn(scenery, frame, window_state.get_window_properties())
    places, is_old = [], []
    for trail in (*list_old(scenery, drawn), *drawn):
        row = trail.find_row(frame)
        if row is not None:
            places.append(trail.world_point(row, frame))
            is_old.append(trail.dashed)
    pixels = _to_pixels(context, matrix, np.array(places).reshape(-1, 3), entry)
    known, old = np.isfinite(pixels[:, 0]), np.array(is_old, dtype=np.bool_)
    return make_rows(
        pixels[known],
        np.where(old, 3.2, 1.0)[known] * scale,
        (1.0, 1.0, 1.0),
        np.where(old, 0.7, 1.0)[known],
        np.where(old, Mark.DOT, Mark.HERE)[known],
    )


def _place_notes(
    context: bpy.types.Context, matrix: NDArray[np.float64], entry: kept.Kept
) -> list[tuple[float, float, Note]]:
    """Return the pixels of the notes that are pinned to a part."""
    notes, places = [], []
    for note in entry.notes:
        motion = entry.motions.get(note.subject or "")
        if motion is None or note.part is None or not motion.has(note.part):
            continue
        row = min(max(note.frame - int(motion.frames[0]), 0), motion.frame_count - 1)
        notes.append(note)
        places.append(motion.head(note.part)[row])
    if not notes:
        return []
    pixels = _to_pixels(context, matrix, np.array(places).reshape(-1, 3), entry)
    placed = zip(pixels.tolist(), notes, strict=True)
    return [(x, y, note) for (x, y), note in placed if np.isfinite(x)]


def _mark_notes(notes: list[tuple[float, float, Note]], frame: int, scale: float) -> MarkRows:
    """Mark notes, in full near their frame."""
    if not notes:
        return to_rows(())
    places = np.array([(x, y) for x, y, _ in notes]).reshape(-1, 2)
    near = [1.0 if abs(note.frame - frame) <= 3 else 0.5 for _, _, note in notes]
    return make_rows(places, 4.0 * scale, NOTE, near)


def _find_near_points(
    context: bpy.types.Context, mouse: tuple[float, float]
) -> list[tuple[int, str, float, float, bool]]:
    """Return frame, text, place and keyed of the trail points near the pointer, nearest first."""
    entry = kept.get(context.scene.name)
    scenery = get_made(entry.scene) if entry is not None else None
    if entry is None or scenery is None:
        return []
    window = window_state.get_window_properties()
    frame = context.scene.frame_current
    matrix = np.array(context.region_data.perspective_matrix)
    trails = list_drawn(scenery, frame, window)
    points, firsts = {}, {}
    for number, trail in enumerate(trails):
        first = max(0, frame - window.frames_before - int(trail.frames[0]))
        last = max(first, frame + window.frames_after + 1 - int(trail.frames[0]))
        world = trail.world_points(frame)[first:last]
        points[number], firsts[number] = _to_pixels(context, matrix, world, entry), first
    reach = NUMBERS_REACH * get_scale(context)
    found = []
    for number, row in find_nearest_frames(points, mouse, reach):
        trail, whole = trails[number], row + firsts[number]
        x, y = points[number][row]
        at = int(trail.frames[whole])
        found.append((at, str(at), float(x), float(y), bool(trail.keyed[whole])))
    return found


def _draw_numbers(
    context: bpy.types.Context, entry: kept.Kept, scenery: Scenery, state: _RegionState
) -> None:
    """Write the numbers of the frames near the pointer, as many as find room."""
    if state.mouse is None or state.hovered:
        return
    size = get_text_size(context) * 0.92
    written: list[tuple[float, float]] = []
    for _, text, x, y, keyed in _find_near_points(context, state.mouse):
        if all(abs(x - a) > 2.0 * size or abs(y - b) > 1.1 * size for a, b in written):
            colour = (1.0, 1.0, 1.0, 1.0) if keyed else (0.86, 0.86, 0.86, 0.9)
            draw_label(text, x, y + 0.75 * size, size, colour, centred=True)
            written.append((x, y))
        if len(written) >= 7:
            break


def _draw_sentence(context: bpy.types.Context, entry: kept.Kept, state: _RegionState) -> None:
    """Tell what the flags, or the note, under the pointer say."""
    if not state.hovered:
        note = _find_note(state, get_scale(context))
        if note is not None:
            lines = [TextLine(note[2].text), TextLine(str(note[2].frame), quiet=True)]
            draw_text_box(context, context.region, lines, note[0], note[1], edge=NOTE)
        return
    number = state.stacks.find_flag(state.hovered[0]) if state.stacks is not None else None
    if state.stacks is None or number is None:
        return
    stack = state.stacks.take(number)
    lines = describe_flags(stack.flags)
    draw_text_box(
        context,
        context.region,
        lines,
        stack.x,
        stack.y + 12.0 * stack.size,
        edge=SEVERITY_COLOURS[stack.flags[0].severity],
    )


def _find_note(state: _RegionState, scale: float) -> tuple[float, float, Note] | None:
    """Return the note under the pointer, None when there is none."""
    if state.mouse is None:
        return None
    x, y = state.mouse
    reach = 9.0 * scale
    return next((n for n in state.notes if abs(n[0] - x) <= reach and abs(n[1] - y) <= reach), None)


def forget_region(region: bpy.types.Region) -> None:
    """Let go of what a region showed: nothing is drawn there now."""
    _regions.pop(region.as_pointer(), None)


def forget_regions() -> None:
    """Let everything go that belongs to regions."""
    if bpy.app.timers.is_registered(_forget_pointer):
        bpy.app.timers.unregister(_forget_pointer)
    _regions.clear()
    framing_draw.forget_cards()
