# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The overlay of the 3D view: draws the trails, and has the marks drawn over them.

Reads what is kept and nothing else. Trails become batches when the reading or the way they are
asked for changes; view and current frame are numbers handed to the shader. Without a window there
is nothing to draw on, and nothing is drawn.
"""

from __future__ import annotations

from typing import Any

import bpy
import gpu
import numpy as np
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


def _draw_trails() -> None:
    """Draw the trails in space, hidden by what stands before them."""
    context = bpy.context
    entry = _get_entry(context)
    if entry is None:
        return
    state = window_state.get_window_properties()
    frame = context.scene.frame_current
    scenery = get_scenery(context, entry)
    drawn = list_drawn(scenery, entry, frame, state)
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
        for name, trails in _share_places([*list_old(scenery, drawn), *drawn]).items()
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
    return {
        tuple((t.subject, t.part, t.dashed) for t in trails): trails for trails in groups.values()
    }


def _get_batch(scenery: Scenery, name: tuple[Any, ...], trails: list[Trail], shader: Any) -> Any:
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
