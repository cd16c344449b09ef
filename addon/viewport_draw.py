# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The overlay of the 3D view: draws the trails, and has the marks drawn over them.

Reads what is kept and nothing else. Trails become batches when the reading or the way they are
asked for changes; view and current frame are numbers handed to the shader. Without a window there
is nothing to draw on, and nothing is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import gpu
from mathutils import Matrix

from . import kept, view_marks, view_scenery, window_state
from .drawing import get_scale, guard, make_batch
from .shaders import forget_shaders, get_ribbon_shader
from .trails import Trail, build_ribbons
from .view_marks import STALE_ALPHA
from .view_scenery import Scenery, get_scenery, list_drawn, list_old

TOWARDS_EYE = 0.03
"""Share of body size by which trails are drawn nearer: they run inside limbs, not behind them."""

MOST_BATCHES = 64

_UNDER_FLAGS, _RIMS, _LINES = 0, 1, 2
"""What is drawn of the trails, one over the other."""

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


def _get_entry(context: bpy.types.Context) -> kept.Kept | None:
    if not is_drawn(context):
        return None
    return kept.get(context.scene.name)


@dataclass(frozen=True, eq=False, slots=True)
class _Group:
    """Trails that one matrix takes to the screen, in one batch."""

    trail: Trail
    batch: Any
    is_flagged: bool
    height: float
    """Body size of the subject, metres."""


def _draw_trails() -> None:
    """Draw the trails in space, hidden by what stands before them."""
    context = bpy.context
    entry = _get_entry(context)
    if entry is None:
        return
    state = window_state.get_window_properties()
    frame = context.scene.frame_current
    scenery = get_scenery(context, entry)
    drawn = list_drawn(scenery, frame, state)
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
    to_world = Matrix.Diagonal((*(1.0 / entry.metres_per_unit,) * 3, 1.0))
    groups = [
        (group, *_place_group(group, view, frame, to_world))
        for group in _get_groups(entry, scenery, drawn, shader)
    ]
    half_width = 0.5 * state.width * scale
    placed = None
    for kind in (_UNDER_FLAGS, _RIMS, _LINES):
        shader.uniform_float("style", (half_width, 3.4 * scale, kind, scale))
        for group, matrix, eye in groups:
            if kind == _UNDER_FLAGS and not group.is_flagged:
                continue
            if placed is not group:
                shader.uniform_float("view_projection", matrix)
                shader.uniform_float("eye", eye)
                placed = group
            group.batch.draw(shader)


def _get_groups(
    entry: kept.Kept, scenery: Scenery, drawn: list[Trail], shader: Any
) -> list[_Group]:
    """Return the batches of what is drawn, made when other trails are drawn than before."""
    found: list[_Group] | None = scenery.batches.get(scenery.shown)
    if found is None:
        together: dict[int, list[Trail]] = {}
        for trail in (*list_old(scenery, drawn), *drawn):
            together.setdefault(id(trail.places), []).append(trail)
        found = [
            _Group(
                trails[0],
                make_batch(shader, *build_ribbons(trails)),
                any(trail.severities.any() for trail in trails),
                entry.motions[trails[0].subject].height,
            )
            for trails in together.values()
        ]
        if len(scenery.batches) > MOST_BATCHES:
            scenery.batches.clear()
        scenery.batches[scenery.shown] = found
    return found


def _place_group(
    group: _Group, view: Any, frame: int, to_world: Any
) -> tuple[Any, tuple[float, float, float, float]]:
    """Return what takes a group's points, in metres, to the screen, and the eye among them.

    The eye comes with how far towards it the trails are drawn.
    """
    place = to_world
    if group.trail.places is not None:
        place = to_world @ Matrix(group.trail.place_at(frame).tolist())
    looking = view.view_matrix.inverted()
    eye = looking.translation
    if not view.is_perspective:
        # From far away along the line of sight.
        eye = eye + 1e4 * looking.col[2].xyz
    eye = place.inverted_safe() @ eye
    return view.perspective_matrix @ place, (*eye, TOWARDS_EYE * group.height)


def _find_depths(entry: kept.Kept, view: Any) -> tuple[float, float]:
    """Return the distances from the eye at which trails start and end to stand back."""
    height = max((motion.height for motion in entry.motions.values()), default=1.0)
    height /= entry.metres_per_unit
    distance = float(view.view_distance) if view.is_perspective else 1e9
    return distance + 0.5 * height, distance + 6.0 * height


def _draw_marks() -> None:
    """Draw what stands on the screen."""
    context = bpy.context
    entry = _get_entry(context)
    if entry is not None:
        view_marks.draw_marks(context, entry)
    elif context.region is not None:
        # Flags that are no longer drawn must take no clicks either.
        view_marks.forget_region(context.region)


def _overlay_switched(on: bool) -> None:
    """Draw from now on, or no longer."""
    if on and not _handles and not bpy.app.background:
        add = bpy.types.SpaceView3D.draw_handler_add
        _handles.append(add(guard(_draw_trails), (), "WINDOW", "POST_VIEW"))
        _handles.append(add(guard(_draw_marks), (), "WINDOW", "POST_PIXEL"))
    elif not on:
        while _handles:
            bpy.types.SpaceView3D.draw_handler_remove(_handles.pop(), "WINDOW")
        view_marks.forget_regions()
        view_scenery.forget_all()


def register() -> None:
    """Follow the overlay's switch."""
    window_state.overlay_listeners.append(_overlay_switched)


def unregister() -> None:
    """Draw no longer, and let batches and shaders go."""
    _overlay_switched(False)
    window_state.overlay_listeners.remove(_overlay_switched)
    forget_shaders()
