# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What is derived from a reading to be drawn in the 3D view: trails, flags and where they stand.

Derived anew when the reading, or the way it is asked for, changes; never because the view did.
What is asked for changes the reading's revision, so that one number tells whether all still holds.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core_math import SubjectKind
from . import kept, window_state
from .flag_table import FlagOrder, FlagTable, order_flags, tabulate
from .old_trails import lay_out_old
from .selection import find_owner
from .trails import Trail, TrailSpace, make_trail
from .travels import Travels, measure_travels
from .viewpoints import Viewpoint, find_viewpoint

LIMBS = ("hand.L", "hand.R", "foot.L", "foot.R", "head", "hips")

LEAST_TRAVEL = 0.004
"""Share of body size below which a part stands still and leaves no trail."""

Place = tuple[str, str]
"""Subject and part."""


@dataclass(eq=False, slots=True)
class FlagPlaces:
    """Where flags stand in the world.

    Attributes
    ----------
    fixed : ndarray, shape (N, 3), metres
        Whatever frame is shown.
    moving : list of (Trail, ndarray, shape (K,), ndarray, shape (K, 3))
        Flags on a trail that moves with the current frame: their rows, and their places on it.
    """

    fixed: NDArray[np.float64]
    moving: list[tuple[Trail, NDArray[np.intp], NDArray[np.float64]]]


@dataclass(eq=False, slots=True)
class Scenery:
    """What is derived from one scene's reading, until it changes.

    Attributes
    ----------
    key : tuple
        What it was derived from.
    trails, old_trails : mapping of (subject, part) to Trail
    always : ndarray of bool, shape (T,)
        Trails that are drawn whether or not a flag is near.
    at : ndarray, shape (T,)
        The place of each trail in the table of flags, -1 where it has none.
    travels : Travels
        How far each goes; the older take's follow those of now.
    """

    key: tuple[Any, ...]
    trails: dict[Place, Trail]
    old_trails: dict[Place, Trail]
    table: FlagTable
    always: NDArray[np.bool_]
    at: NDArray[np.intp]
    travels: Travels
    places: FlagPlaces | None = None
    ordered: tuple[tuple[int, int, str | None], FlagOrder] | None = None
    window: tuple[int, int, int] | None = None
    drawn: list[Trail] = field(default_factory=list)
    batches: dict[bytes, Any] = field(default_factory=dict)
    shown: bytes = b""
    """Which trails are drawn, as a name for what is made of them."""


_scenery: dict[str, Scenery] = {}


def get_scenery(context: bpy.types.Context, entry: kept.Kept) -> Scenery:
    """Return trails and flags of the scene's reading as they are asked for now."""
    state = window_state.get_window_properties()
    selected = _list_selected(context, entry) if "SELECTED" in state.trail_parts else ()
    key = (entry.revision, selected)
    found = _scenery.get(entry.scene)
    if found is None or found.key != key:
        found = _scenery[entry.scene] = _derive(entry, state, selected, key)
    return found


def _derive(
    entry: kept.Kept, state: Any, selected: tuple[Place, ...], key: tuple[Any, ...]
) -> Scenery:
    flags = window_state.list_shown_flags(entry)
    always: dict[Place, None] = {}
    if "PINNED" in state.trail_parts:
        always.update(dict.fromkeys((pin.subject, pin.name) for pin in state.pinned))
    always.update(dict.fromkeys(selected))
    if "LIMBS" in state.trail_parts:
        for subject, motion in entry.motions.items():
            if motion.kind is SubjectKind.ARMATURE:
                always.update(dict.fromkeys((subject, part) for part in LIMBS))
    wanted = dict(always)
    if "FLAGGED" in state.trail_parts:
        wanted.update(dict.fromkeys((flag.subject, flag.part) for flag in flags))
    space, reference = _read_space(state.trail_space)
    viewpoints: dict[str, Viewpoint | None] = {}
    if space is TrailSpace.PART:
        viewpoints = {who: find_viewpoint(m, reference) for who, m in entry.motions.items()}
    trails = {}
    for subject, part in wanted:
        motion = entry.motions.get(subject)
        if motion is None:
            continue
        seen_from = viewpoints.get(subject) if part != reference else None
        trail = make_trail(motion, part, flags, space, seen_from)
        if trail is not None:
            trails[subject, part] = _bend_to_pose(trail, entry)
    old = lay_out_old(entry, trails, space, reference, viewpoints) if state.old_trails else {}
    table = tabulate(flags)
    flagged = {place: number for number, place in enumerate(table.places)}
    # In the picture places are shares of its width.
    in_picture = space is TrailSpace.PICTURE
    least = {
        name: LEAST_TRAVEL * (1.0 if in_picture else entry.motions[name[0]].height)
        for name in trails
    }
    return Scenery(
        key=key,
        trails=trails,
        old_trails=old,
        table=table,
        always=np.array([name in always for name in trails], dtype=np.bool_),
        at=np.array([flagged.get(name, -1) for name in trails], dtype=np.intp),
        travels=measure_travels([(trail, old.get(n), least[n]) for n, trail in trails.items()]),
    )


def _read_space(word: str) -> tuple[TrailSpace, str]:
    if word in ("world", "picture"):
        return TrailSpace(word), ""
    return TrailSpace.PART, word


def _list_selected(context: bpy.types.Context, entry: kept.Kept) -> tuple[Place, ...]:
    """Return (subject, part) of the selected bones and objects."""
    bones = context.selected_pose_bones
    found: dict[Place, None] = {}
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
    return replace(trail, points=points)


def list_drawn(scenery: Scenery, frame: int, state: Any) -> list[Trail]:
    """Return the trails to draw now: flagged parts leave one only near their flags.

    The list stays the same one until it holds other trails.
    """
    window = (frame, state.frames_before, state.frames_after)
    if scenery.window == window:
        return scenery.drawn
    scenery.window = window
    first, last = frame - window[1], frame + window[2]
    table = scenery.table
    # The last one stands for trails without a flag.
    near = np.zeros(len(table.places) + 1, dtype=np.bool_)
    near[table.at[(table.starts <= last) & (first <= table.ends)]] = True
    shown = (scenery.always | near[scenery.at]) & scenery.travels.reach(first, last)
    name = shown.tobytes()
    if name != scenery.shown:
        scenery.shown = name
        all_trails = list(scenery.trails.values())
        scenery.drawn = [all_trails[number] for number in np.flatnonzero(shown)]
    return scenery.drawn


def list_old(scenery: Scenery, drawn: list[Trail]) -> list[Trail]:
    """Return the older take's trails beside those that are drawn now."""
    if not scenery.old_trails:
        return []
    old = (scenery.old_trails.get((trail.subject, trail.part)) for trail in drawn)
    return [trail for trail in old if trail is not None]


def get_order(scenery: Scenery, frame: int, reach: int, chosen: str | None) -> FlagOrder:
    """Return the flags in their order at a frame; see `order_flags`."""
    key = (frame, reach, chosen)
    if scenery.ordered is None or scenery.ordered[0] != key:
        scenery.ordered = (key, order_flags(scenery.table, frame, reach, chosen))
    return scenery.ordered[1]


def place_flags(scenery: Scenery, entry: kept.Kept, frame: int) -> NDArray[np.float64]:
    """Return where flags stand in the world while a frame is shown, shape (N, 3), metres."""
    if scenery.places is None:
        scenery.places = _find_places(scenery, entry)
    places = scenery.places
    if not places.moving:
        return places.fixed
    now = places.fixed.copy()
    for trail, rows, points in places.moving:
        matrix = trail.place_at(frame)
        now[rows] = points @ matrix[:3, :3].T + matrix[:3, 3]
    return now


def _find_places(scenery: Scenery, entry: kept.Kept) -> FlagPlaces:
    flags = scenery.table.flags
    fixed = np.full((len(flags), 3), np.nan)
    moving: dict[Place, list[int]] = {}
    for number, flag in enumerate(flags):
        trail = scenery.trails.get((flag.subject, flag.part))
        if trail is not None and trail.places is not None:
            moving.setdefault((flag.subject, flag.part), []).append(number)
            continue
        place = entry.place(flag)
        if place is not None:
            fixed[number] = place
    found = []
    for name, numbers in moving.items():
        trail, rows = scenery.trails[name], np.array(numbers, dtype=np.intp)
        peaks = scenery.table.peaks[rows].astype(np.intp) - int(trail.frames[0])
        found.append((trail, rows, trail.points[np.clip(peaks, 0, len(trail.points) - 1)]))
    return FlagPlaces(fixed, found)


def get_made(scene_name: str) -> Scenery | None:
    """Return what was derived last for a scene, None when nothing was."""
    return _scenery.get(scene_name)


def forget_all() -> None:
    """Let everything go."""
    _scenery.clear()
