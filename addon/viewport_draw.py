# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The overlay of the 3D view: trails, flags where they happen, and the sentence at the pointer.

Reads what is kept and nothing else. Trails become batches when the reading or the way they are
asked for changes; view and current frame are numbers handed to the shader. Without a window there
is nothing to draw on, and nothing is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import bpy
import gpu
import numpy as np
from mathutils import Matrix
from numpy.typing import NDArray

from ..core_math import Flag, Note, SubjectKind, format_quantity, say_part
from . import kept, window_state
from .drawing import (
    TextLine,
    draw_label,
    draw_mark_batch,
    draw_text_box,
    get_scale,
    get_text_size,
    guard,
    make_batch,
    make_mark_batch,
)
from .overlay_marks import (
    FlagTable,
    Mark,
    PlacedMark,
    Stack,
    find_stack,
    mark_stack,
    project,
    stack_flags,
    tabulate,
)
from .palette import NOTE, SEVERITY_COLOURS
from .preferences import get_flag_size
from .selection import find_owner
from .shaders import forget_shaders, get_ribbon_shader
from .trails import Trail, TrailSpace, build_ribbons, find_nearest_frames, make_trail

LIMBS = ("hand.L", "hand.R", "foot.L", "foot.R", "head", "hips")

TOWARDS_EYE = 0.03
"""Share of body size by which trails are drawn nearer: they run inside limbs, not behind them."""

NUMBERS_REACH = 46.0
"""Frame numbers show within this distance of the pointer, in pixels at scale 1."""

MOST_BATCHES = 64

LEAST_TRAVEL = 0.004
"""Share of body size below which a part stands still and leaves no trail."""

STALE_ALPHA = 0.35

POINTER_S = 4.0
"""Frame numbers stay this long beside a pointer at rest."""


@dataclass(eq=False, slots=True)
class _Scenery:
    """What is derived from one scene's reading, until it changes."""

    key: tuple[Any, ...]
    trails: dict[tuple[str, str], Trail]
    table: FlagTable
    batches: dict[tuple[Any, ...], Any] = field(default_factory=dict)
    places: NDArray[np.float64] | None = None


@dataclass(eq=False, slots=True)
class _RegionState:
    """What one region of a 3D view shows: for hovering, for clicks, and to draw it again."""

    key: tuple[Any, ...] = ()
    stacks: list[Stack] = field(default_factory=list)
    batch: Any = None
    mouse: tuple[float, float] | None = None
    hovered: tuple[str, ...] = ()
    notes: list[tuple[float, float, Note]] = field(default_factory=list)


_scenery: dict[str, _Scenery] = {}
_regions: dict[int, _RegionState] = {}
_handles: list[Any] = []


def is_drawn(context: bpy.types.Context) -> bool:
    """Say whether this view shows the overlay."""
    space = context.space_data
    return (
        bool(_handles)
        and isinstance(space, bpy.types.SpaceView3D)
        and space.overlay.show_overlays
        and context.region_data is not None
    )


def hover(context: bpy.types.Context, x: float, y: float) -> Stack | None:
    """Return the flags under the pointer, and show their sentence from now on."""
    state = _get_region(context.region)
    stack = find_stack(state.stacks, x, y)
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
    return _get_region(region).stacks


def _get_region(region: bpy.types.Region) -> _RegionState:
    return _regions.setdefault(region.as_pointer(), _RegionState())


def _near_trail(context: bpy.types.Context, x: float, y: float) -> bool:
    state = _get_region(context.region)
    return bool(state.hovered or state.notes or _find_near_points(context, (x, y)))


# Deriving.


def _get_scenery(context: bpy.types.Context, entry: kept.Kept) -> _Scenery:
    """Return trails and flags of the scene's reading as they are asked for now."""
    state = window_state.get_window_properties()
    selected = _list_selected(context, entry)
    pinned = tuple((pin.subject, pin.name) for pin in state.pinned)
    if "PINNED" not in state.trail_parts:
        pinned = ()
    key = (entry.revision, state.trail_space, tuple(sorted(state.trail_parts)), selected + pinned)
    found = _scenery.get(entry.scene)
    if found is not None and found.key == key:
        return found
    flags = window_state.list_shown_flags(entry)
    space, reference = _read_space(state.trail_space)
    wanted: dict[tuple[str, str], None] = dict.fromkeys(pinned)
    if "SELECTED" in state.trail_parts:
        wanted.update(dict.fromkeys(selected))
    if "FLAGGED" in state.trail_parts:
        wanted.update(dict.fromkeys((flag.subject, flag.part) for flag in flags))
    if "LIMBS" in state.trail_parts:
        for subject, motion in entry.motions.items():
            if motion.kind is SubjectKind.ARMATURE:
                wanted.update(dict.fromkeys((subject, part) for part in LIMBS))
    trails = {}
    for subject, part in wanted:
        motion = entry.motions.get(subject)
        if motion is None:
            continue
        trail = make_trail(motion, part, flags, space, reference)
        if trail is not None:
            trails[subject, part] = _bend_to_pose(trail, entry)
    found = _Scenery(key, trails, tabulate(flags))
    _scenery[entry.scene] = found
    return found


def _read_space(word: str) -> tuple[TrailSpace, str]:
    if word in ("world", "picture"):
        return TrailSpace(word), ""
    return TrailSpace.PART, word


def _list_selected(context: bpy.types.Context, entry: kept.Kept) -> tuple[tuple[str, str], ...]:
    """Return (subject, part) of the selected bones and objects."""
    bones = context.selected_pose_bones
    found: dict[tuple[str, str], None] = {}
    for facts in entry.reading.subjects:
        motion = entry.motions.get(facts.name)
        owner = find_owner(facts, context.scene)
        if owner is None or motion is None:
            continue
        if owner.type != "ARMATURE":
            if owner.select_get():
                found[facts.name, motion.parts[0]] = None
            continue
        names = {bone.name for bone in bones or () if bone.id_data == owner}
        if not names:
            continue
        for part, mapped in facts.parts.items():
            track = motion.keys.get(part)
            if mapped.bone in names or (track is not None and names.intersection(track.controls)):
                found[facts.name, part] = None
    return tuple(found)


def _bend_to_pose(trail: Trail, entry: kept.Kept) -> Trail:
    """Return the trail with its current point where the part is being posed."""
    place = entry.posed.get((trail.subject, trail.part))
    row = entry.posed_frame - int(trail.frames[0])
    if place is None or trail.places is not None or not 0 <= row < len(trail.frames):
        return trail
    points = trail.points.copy()
    points[row] = place
    return Trail(
        trail.subject,
        trail.part,
        trail.frames,
        points,
        trail.places,
        trail.speeds,
        trail.keyed,
        trail.severities,
    )


def _list_drawn(scenery: _Scenery, entry: kept.Kept, frame: int, state: Any) -> list[Trail]:
    """Return the trails to draw now: flagged parts leave one only near their flags."""
    first, last = frame - state.frames_before, frame + state.frames_after
    table = scenery.table
    rows = np.flatnonzero((table.starts <= last) & (first <= table.ends))
    near = {(table.flags[row].subject, table.flags[row].part) for row in rows}
    kept_anyway = set(scenery.key[-1])
    limbs = LIMBS if "LIMBS" in state.trail_parts else ()
    return [
        trail
        for name, trail in scenery.trails.items()
        if (name in near or name in kept_anyway or name[1] in limbs)
        and trail.travels(first, last, LEAST_TRAVEL * entry.motions[trail.subject].height)
    ]


def place_flags(scenery: _Scenery, entry: kept.Kept, frame: int) -> NDArray[np.float64]:
    """Return where flags stand in the world while a frame is shown, shape (N, 3), metres."""
    if scenery.places is not None:
        return scenery.places
    flags = scenery.table.flags
    places = np.full((len(flags), 3), np.nan)
    moving = False
    for number, flag in enumerate(flags):
        trail = scenery.trails.get((flag.subject, flag.part))
        if trail is not None and trail.places is not None:
            row = int(np.clip(flag.peak - trail.frames[0], 0, len(trail.frames) - 1))
            matrix = trail.place_at(frame)
            places[number] = matrix[:3, :3] @ trail.points[row] + matrix[:3, 3]
            moving = True
            continue
        place = entry.place(flag)
        if place is not None:
            places[number] = place
    if not moving:
        scenery.places = places
    return places


# Drawing.


def _get_entry(context: bpy.types.Context) -> kept.Kept | None:
    if not is_drawn(context):
        return None
    return kept.get(context.scene.name)


def _draw_trails() -> None:
    """Draw the trails in space, hidden by what stands before them."""
    context = bpy.context
    entry = _get_entry(context)
    if entry is None:
        return
    state = window_state.get_window_properties()
    frame = context.scene.frame_current
    scenery = _get_scenery(context, entry)
    drawn = _list_drawn(scenery, entry, frame, state)
    if not drawn:
        return
    scale = get_scale(context)
    view = context.region_data
    shader = get_ribbon_shader()
    shader.bind()
    near, far = _find_depths(entry, view) if state.depth_fade else (0.0, 0.0)
    alpha = STALE_ALPHA if entry.stale else 1.0
    region = context.region
    shader.uniform_float("screen", (region.width, region.height, near, far))
    shader.uniform_float("time", (frame, state.frames_before, state.frames_after, alpha))
    gpu.state.blend_set("ALPHA")
    gpu.state.depth_test_set("NONE" if state.behind else "LESS_EQUAL")
    to_units = 1.0 / entry.metres_per_unit
    shared = [
        (
            _get_batch(scenery, name, trails, shader),
            _view_matrix(context, trails[0], frame, to_units),
            _find_eye(entry, trails[0], view, frame, to_units),
        )
        for name, trails in _share_places(drawn).items()
    ]
    for kind in (0, 1, 2):
        shader.uniform_float("style", (0.5 * state.width * scale, 3.4 * scale, kind, scale))
        for batch, matrix, eye in shared:
            shader.uniform_float("view_projection", matrix)
            shader.uniform_float("eye", eye)
            batch.draw(shader)


def _share_places(drawn: list[Trail]) -> dict[tuple[Any, ...], list[Trail]]:
    """Put trails together that one matrix takes to the screen; the key names them all."""
    groups: dict[Any, list[Trail]] = {}
    for trail in drawn:
        groups.setdefault(id(trail.places), []).append(trail)
    return {tuple((t.subject, t.part) for t in trails): trails for trails in groups.values()}


def _get_batch(scenery: _Scenery, name: tuple[Any, ...], trails: list[Trail], shader: Any) -> Any:
    if name not in scenery.batches:
        if len(scenery.batches) > MOST_BATCHES:
            scenery.batches.clear()
        scenery.batches[name] = make_batch(shader, *build_ribbons(trails))
    return scenery.batches[name]


def _view_matrix(context: bpy.types.Context, trail: Trail, frame: int, to_units: float) -> Any:
    """Return what takes a trail's points, in metres, to the screen."""
    place = trail.place_at(frame)
    place[:3] *= to_units
    view = np.array(context.region_data.perspective_matrix)
    return Matrix((view @ place).tolist())


def _find_eye(
    entry: kept.Kept, trail: Trail, view: Any, frame: int, to_units: float
) -> tuple[float, float, float, float]:
    """Return the eye in the trail's own space, and how far towards it the trail is drawn."""
    motion = entry.motions[trail.subject]
    inverse = np.array(view.view_matrix.inverted())
    place = trail.place_at(frame)
    place[:3] *= to_units
    back = np.linalg.inv(place)
    if view.is_perspective:
        eye = back @ inverse[:, 3]
    else:
        # From far away along the line of sight.
        eye = back @ (inverse[:, 3] + 1e4 * inverse[:, 2])
    return (float(eye[0]), float(eye[1]), float(eye[2]), TOWARDS_EYE * motion.height)


def _find_depths(entry: kept.Kept, view: Any) -> tuple[float, float]:
    """Return the distances from the eye at which trails start and end to stand back."""
    height = max((motion.height for motion in entry.motions.values()), default=1.0)
    height /= entry.metres_per_unit
    distance = float(view.view_distance) if view.is_perspective else 1e9
    return distance + 0.5 * height, distance + 6.0 * height


def _draw_marks() -> None:
    """Draw what stands on the screen: flags, notes, where parts are now, numbers, the sentence."""
    context = bpy.context
    entry = _get_entry(context)
    if entry is None:
        return
    region, view = context.region, context.region_data
    window = window_state.get_window_properties()
    frame, scale = context.scene.frame_current, get_scale(context)
    scenery = _get_scenery(context, entry)
    state = _get_region(region)
    key = (
        scenery.key,
        frame,
        region.width,
        region.height,
        scale,
        get_flag_size(),
        state.hovered,
        entry.chosen,
        window.frames_before,
        window.frames_after,
        tuple(value for row in view.perspective_matrix for value in row),
    )
    if key != state.key:
        marks = _mark_current_places(context, entry, scenery, frame, scale)
        state.notes = _place_notes(context, entry)
        marks += _mark_notes(state.notes, frame, scale)
        state.stacks = _place_stacks(context, entry, scenery, frame, scale * get_flag_size())
        for stack in state.stacks:
            hovered = bool(state.hovered) and stack.ids == state.hovered
            mark = mark_stack(stack, hovered, entry.chosen)
            marks.append(_fade(mark) if entry.stale else mark)
        state.batch = make_mark_batch(marks, scale)
        state.key = key
    draw_mark_batch(state.batch, region)
    _draw_counts(context, state)
    _draw_numbers(context, entry, scenery, state)
    _draw_sentence(context, entry, state)


def _fade(mark: PlacedMark) -> PlacedMark:
    return PlacedMark(
        mark.kind, mark.x, mark.y, mark.size, mark.colour, mark.alpha * STALE_ALPHA, mark.fill
    )


def _to_pixels(
    context: bpy.types.Context, places: NDArray[np.float64], entry: kept.Kept
) -> NDArray[np.float64]:
    return project(
        places / entry.metres_per_unit,
        np.array(context.region_data.perspective_matrix),
        context.region.width,
        context.region.height,
    )


def _place_stacks(
    context: bpy.types.Context, entry: kept.Kept, scenery: _Scenery, frame: int, scale: float
) -> list[Stack]:
    window = window_state.get_window_properties()
    pixels = _to_pixels(context, place_flags(scenery, entry, frame), entry)
    return stack_flags(
        scenery.table,
        pixels,
        (context.region.width, context.region.height),
        frame,
        max(window.frames_before, window.frames_after),
        scale,
        entry.chosen,
    )


def _mark_current_places(
    context: bpy.types.Context, entry: kept.Kept, scenery: _Scenery, frame: int, scale: float
) -> list[PlacedMark]:
    """Set off the current frame on every trail that is drawn."""
    window = window_state.get_window_properties()
    places = []
    for trail in _list_drawn(scenery, entry, frame, window):
        row = frame - int(trail.frames[0])
        if 0 <= row < len(trail.frames):
            places.append(trail.world_points(frame)[row])
    pixels = _to_pixels(context, np.array(places).reshape(-1, 3), entry)
    return [
        PlacedMark(Mark.HERE, float(x), float(y), scale, (1.0, 1.0, 1.0))
        for x, y in pixels
        if np.isfinite(x)
    ]


def _place_notes(context: bpy.types.Context, entry: kept.Kept) -> list[tuple[float, float, Note]]:
    """Return the pixels of the notes that are pinned to a part."""
    placed = []
    for note in entry.notes:
        motion = entry.motions.get(note.subject or "")
        if motion is None or note.part is None or not motion.has(note.part):
            continue
        row = int(np.clip(note.frame - motion.frames[0], 0, motion.frame_count - 1))
        ((x, y),) = _to_pixels(context, motion.head(note.part)[row][None], entry)
        if np.isfinite(x):
            placed.append((float(x), float(y), note))
    return placed


def _mark_notes(
    notes: list[tuple[float, float, Note]], frame: int, scale: float
) -> list[PlacedMark]:
    """Mark notes, in full near their frame."""
    return [
        PlacedMark(Mark.DOT, x, y, 4.0 * scale, NOTE, 1.0 if abs(note.frame - frame) <= 3 else 0.5)
        for x, y, note in notes
    ]


def _draw_counts(context: bpy.types.Context, state: _RegionState) -> None:
    size = get_text_size(context) * 0.9
    for stack in state.stacks:
        if stack.count > 1:
            x, y = stack.x - 5.0 * stack.size, stack.y + 10.0 * stack.size
            colour = (1.0, 1.0, 1.0, stack.alpha)
            draw_label(str(stack.count), x - 0.55 * size, y, size, colour)


def _find_near_points(
    context: bpy.types.Context, mouse: tuple[float, float]
) -> list[tuple[int, str, float, float, bool]]:
    """Return frame, text, place and keyed of the trail points near the pointer, nearest first."""
    entry = _get_entry(context)
    scenery = _scenery.get(entry.scene) if entry is not None else None
    if entry is None or scenery is None:
        return []
    window = window_state.get_window_properties()
    frame = context.scene.frame_current
    trails = _list_drawn(scenery, entry, frame, window)
    points, firsts = {}, {}
    for number, trail in enumerate(trails):
        first = max(0, frame - window.frames_before - int(trail.frames[0]))
        last = max(first, frame + window.frames_after + 1 - int(trail.frames[0]))
        world = trail.world_points(frame)[first:last]
        points[number], firsts[number] = _to_pixels(context, world, entry), first
    reach = NUMBERS_REACH * get_scale(context)
    found = []
    for number, row in find_nearest_frames(points, mouse, reach):
        trail, whole = trails[number], row + firsts[number]
        x, y = points[number][row]
        at = int(trail.frames[whole])
        found.append((at, str(at), float(x), float(y), bool(trail.keyed[whole])))
    return found


def _draw_numbers(
    context: bpy.types.Context, entry: kept.Kept, scenery: _Scenery, state: _RegionState
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
    stack = next((s for s in state.stacks if s.ids == state.hovered), None)
    if stack is None:
        return
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


def describe_flags(flags: tuple[Flag, ...], most: int = 3) -> list[TextLine]:
    """Return the lines that tell about flags: sentence, number, what to try."""
    lines: list[TextLine] = []
    for flag in flags[:most]:
        value = format_quantity(flag.value, flag.unit)
        limit = format_quantity(flag.limit, flag.unit)
        lines.append(TextLine(flag.message))
        head = f"{flag.peak}  {say_part(flag.part)}  {flag.severity.word}"
        lines.append(TextLine(f"{head}: {value} (limit {limit})", quiet=True))
        if len(flags) == 1 and flag.suggestion:
            lines.append(TextLine(f"Try: {flag.suggestion}", quiet=True))
        if flag.reason:
            lines.append(TextLine(f"Meant: {flag.reason}", quiet=True))
    if len(flags) > most:
        lines.append(TextLine(f"and {len(flags) - most} more", quiet=True))
    return lines


def _overlay_switched(on: bool) -> None:
    """Draw from now on, or no longer."""
    if on and not _handles and not bpy.app.background:
        add = bpy.types.SpaceView3D.draw_handler_add
        _handles.append(add(guard(_draw_trails), (), "WINDOW", "POST_VIEW"))
        _handles.append(add(guard(_draw_marks), (), "WINDOW", "POST_PIXEL"))
    elif not on:
        while _handles:
            bpy.types.SpaceView3D.draw_handler_remove(_handles.pop(), "WINDOW")
        if bpy.app.timers.is_registered(_forget_pointer):
            bpy.app.timers.unregister(_forget_pointer)
        _scenery.clear()
        _regions.clear()


def register() -> None:
    """Follow the overlay's switch."""
    window_state.overlay_listeners.append(_overlay_switched)


def unregister() -> None:
    """Draw no longer, and let batches and shaders go."""
    _overlay_switched(False)
    window_state.overlay_listeners.remove(_overlay_switched)
    forget_shaders()


__all__ = ["describe_flags", "hover", "is_drawn", "list_stacks", "place_flags"]
