# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What is derived from a reading to be drawn in the 3D view: trails, flags and where they stand.

Derived anew when the reading, or the way it is asked for, changes; never because the view did.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core_math import Motion, SubjectKind
from . import kept, window_state, window_takes
from .overlay_marks import FlagTable, tabulate
from .selection import find_owner
from .trails import Trail, TrailSpace, make_old_trail, make_trail

LIMBS = ("hand.L", "hand.R", "foot.L", "foot.R", "head", "hips")

LEAST_TRAVEL = 0.004
"""Share of body size below which a part stands still and leaves no trail."""


SAME_WAY = 0.003
"""Share of body size by which an older path must differ from the present one to be drawn."""


@dataclass(eq=False, slots=True)
class Scenery:
    """What is derived from one scene's reading, until it changes."""

    key: tuple[Any, ...]
    trails: dict[tuple[str, str], Trail]
    old_trails: dict[tuple[str, str], Trail]
    table: FlagTable
    batches: dict[tuple[Any, ...], Any] = field(default_factory=dict)
    places: NDArray[np.float64] | None = None
    drawn: tuple[tuple[int, int, int], list[Trail]] | None = None


_scenery: dict[str, Scenery] = {}


def get_scenery(context: bpy.types.Context, entry: kept.Kept) -> Scenery:
    """Return trails and flags of the scene's reading as they are asked for now."""
    state = window_state.get_window_properties()
    selected = _list_selected(context, entry) if "SELECTED" in state.trail_parts else ()
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
    old = _lay_out_old(entry, trails, space) if state.old_trails else {}
    found = Scenery(key, trails, old, tabulate(flags))
    _scenery[entry.scene] = found
    return found


def _lay_out_old(
    entry: kept.Kept, trails: dict[tuple[str, str], Trail], space: TrailSpace
) -> dict[tuple[str, str], Trail]:
    """Return the older take's trails beside those of now; seen from a part there are none."""
    if entry.base is None or space is TrailSpace.PART:
        return {}
    move = window_takes.retime(entry)
    first = entry.base.reading.frame_range[0]
    old = {}
    for (subject, part), trail in trails.items():
        points = entry.base.trails.get((subject, part))
        if points is None or not len(points):
            continue
        frames = np.array([move(subject, part, first + row) for row in range(len(points))])
        motion = entry.motions[subject]
        if not _is_same_way(points, motion.head(part), frames, motion):
            old[subject, part] = make_old_trail(trail, motion, points, frames)
    return old


def _is_same_way(
    old: NDArray[np.float64], new: NDArray[np.float64], frames: NDArray[np.float64], motion: Motion
) -> bool:
    """Say whether a part still goes where it went, frame by frame: then one line is enough."""
    if old.shape != new.shape or not np.array_equal(np.rint(frames), motion.frames):
        return False
    return bool(np.abs(old - new).max() <= SAME_WAY * motion.height)


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
    return replace(trail, points=points)


def list_drawn(scenery: Scenery, entry: kept.Kept, frame: int, state: Any) -> list[Trail]:
    """Return the trails to draw now: flagged parts leave one only near their flags."""
    window = (frame, state.frames_before, state.frames_after)
    if scenery.drawn is None or scenery.drawn[0] != window:
        scenery.drawn = (window, _choose_drawn(scenery, entry, window, state))
    return scenery.drawn[1]


def _choose_drawn(
    scenery: Scenery, entry: kept.Kept, window: tuple[int, int, int], state: Any
) -> list[Trail]:
    first, last = window[0] - window[1], window[0] + window[2]
    table = scenery.table
    rows = np.flatnonzero((table.starts <= last) & (first <= table.ends))
    near = {(table.flags[row].subject, table.flags[row].part) for row in rows}
    kept_anyway = set(scenery.key[-1])
    space, _ = _read_space(state.trail_space)
    limbs = LIMBS if "LIMBS" in state.trail_parts else ()
    drawn = []
    for name, trail in scenery.trails.items():
        if name not in near and name not in kept_anyway and name[1] not in limbs:
            continue
        least = LEAST_TRAVEL * entry.motions[trail.subject].height
        if trail.places is not None and space is TrailSpace.PICTURE:
            least = LEAST_TRAVEL
        old = scenery.old_trails.get(name)
        if trail.travels(first, last, least) or (old and old.travels(first, last, least)):
            drawn.append(trail)
    return drawn


def list_old(scenery: Scenery, drawn: list[Trail]) -> list[Trail]:
    """Return the older take's trails beside those that are drawn now."""
    old = (scenery.old_trails.get((trail.subject, trail.part)) for trail in drawn)
    return [trail for trail in old if trail is not None]


def place_flags(scenery: Scenery, entry: kept.Kept, frame: int) -> NDArray[np.float64]:
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


def get_made(scene_name: str) -> Scenery | None:
    """Return what was derived last for a scene, None when nothing was."""
    return _scenery.get(scene_name)


def forget_all() -> None:
    """Let everything go."""
    _scenery.clear()
