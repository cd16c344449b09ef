# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What all views share: batches of marks, boxes and text that can be read on any background."""

from __future__ import annotations

import sys
import textwrap
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import blf
import bpy
import gpu
from gpu_extras.batch import batch_for_shader

from . import window_state
from .overlay_marks import MarkRows, build_box, build_marks
from .shaders import get_mark_shader

FONT = 0
Colour = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class TextLine:
    """One paragraph of a text box; `quiet` ones stand back."""

    text: str
    quiet: bool = False


def guard(draw: Callable[[], None]) -> Callable[[], None]:
    """Return a draw function whose failure is told once and takes the overlay away.

    Whatever goes wrong while drawing would otherwise be told at every redraw, and leave the state
    of the graphics card as it was in the middle.
    """

    def run() -> None:
        try:
            draw()
        except Exception:
            traceback.print_exc()
            print("Fettle: drawing failed, the overlay is switched off", file=sys.stderr)
            bpy.app.timers.register(_switch_off, first_interval=0.0)
        finally:
            gpu.state.depth_test_set("NONE")
            gpu.state.blend_set("NONE")

    return run


def _switch_off() -> None:
    window_state.switch_overlay(False)


def make_batch(shader: Any, arrays: dict[str, Any], indices: Any) -> Any:
    """Return a batch of triangles."""
    return batch_for_shader(shader, "TRIS", arrays, indices=indices)


def make_mark_batch(rows: MarkRows, scale: float) -> Any:
    """Return the batch of marks, None when there are none."""
    return make_batch(get_mark_shader(), *build_marks(rows, scale)) if len(rows) else None


def draw_mark_batch(batch: Any, region: bpy.types.Region) -> None:
    """Draw a batch of marks or boxes over a region."""
    if batch is None:
        return
    shader = get_mark_shader()
    shader.bind()
    # The 3D view's surface takes linear light, those of the other editors do not.
    linear = float(bpy.context.area.type == "VIEW_3D")
    shader.uniform_float("screen", (float(region.width), float(region.height), linear, 0.0))
    gpu.state.blend_set("ALPHA")
    batch.draw(shader)
    gpu.state.blend_set("NONE")


def get_scale(context: bpy.types.Context) -> float:
    """Return the size of the interface, dense screens included."""
    return float(context.preferences.system.ui_scale)


def get_text_size(context: bpy.types.Context) -> float:
    """Return the size of the interface's text, in pixels."""
    points = float(context.preferences.ui_styles[0].widget.points)
    return points * get_scale(context)


def get_box_colours(context: bpy.types.Context) -> tuple[Colour, Colour]:
    """Return the theme's colours of tooltips: ground and text."""
    colours: Any = context.preferences.themes[0].user_interface.wcol_tooltip
    ground, text = list(colours.inner), list(colours.text)
    return (ground[0], ground[1], ground[2], 0.98), (text[0], text[1], text[2], 1.0)


def draw_label(
    text: str, x: float, y: float, size: float, colour: Colour, centred: bool = False
) -> None:
    """Write a few letters with a dark edge around them."""
    blf.size(FONT, size)
    if centred:
        width, _ = blf.dimensions(FONT, text)
        x -= width / 2.0
    blf.enable(FONT, blf.SHADOW)
    blf.shadow(FONT, 5, 0.0, 0.0, 0.0, 0.9)
    blf.shadow_offset(FONT, 0, 0)
    blf.color(FONT, *colour)
    blf.position(FONT, x, y, 0.0)
    blf.draw(FONT, text)
    blf.disable(FONT, blf.SHADOW)


def wrap_lines(lines: Sequence[TextLine], widest: int, room: int) -> list[TextLine]:
    """Break paragraphs into lines; where there is no room for all, the sentence alone stays.

    Parameters
    ----------
    lines : sequence of TextLine
    widest : int
        Letters that fit beside each other in the region.
    room : int
        Lines that fit above each other.
    """

    def wrap(some: Sequence[TextLine]) -> list[TextLine]:
        letters = max(24, min(46, widest))
        return [
            TextLine(piece, line.quiet)
            for line in some
            for piece in textwrap.wrap(line.text, letters) or [""]
        ]

    wrapped = wrap(lines)
    if len(wrapped) <= room:
        return wrapped
    wrapped = wrap([line for line in lines if not line.quiet])
    if len(wrapped) <= room:
        return wrapped
    # Half the width: the flag itself stays in view.
    return [TextLine(textwrap.shorten(lines[0].text, max(24, widest // 2), placeholder="\u2026"))]


def find_free_width(context: bpy.types.Context, region: bpy.types.Region) -> tuple[float, float]:
    """Return the bounds of a region that no toolbar or sidebar lies over, in its pixels."""
    left, right = 0.0, float(region.width)
    for other in context.area.regions if context.area is not None else ():
        if other.type == "TOOLS" and other.width > 1 and other.x <= region.x:
            left = max(left, float(other.x + other.width - region.x))
        elif other.type == "UI" and other.width > 1 and other.x > region.x:
            right = min(right, float(other.x - region.x))
    return left, right


def draw_text_box(
    context: bpy.types.Context,
    region: bpy.types.Region,
    lines: Sequence[TextLine],
    x: float,
    y: float,
    edge: tuple[float, float, float] | None = None,
) -> tuple[float, float, float, float]:
    """Write paragraphs into a box beside a point, kept inside the region.

    Parameters
    ----------
    lines : sequence of TextLine
    x, y : float, pixels
        The point; it stays uncovered where there is room.
    edge : tuple of float, optional
        Colour of the strip along the left side.

    Returns
    -------
    tuple of float
        The box, x0, y0, x1, y1.
    """
    scale, size = get_scale(context), get_text_size(context)
    blf.size(FONT, size)
    pad, step = 9.0 * scale, size * 1.42
    room = int((region.height - 2.0 * pad) / step)
    wrapped = wrap_lines(lines, int(region.width / (0.62 * size) - 6.0), room)
    if room < 2:
        pad = 3.0 * scale
    width = max(blf.dimensions(FONT, line.text)[0] for line in wrapped) + 2.0 * pad
    height = step * len(wrapped) + 2.0 * pad - (step - size) * 0.7
    gap = 24.0 * scale
    free_left, free_right = find_free_width(context, region)
    right_side = x + gap + width < free_right
    left = x + gap if right_side else max(free_left + 4.0, min(x, free_right) - gap - width)
    highest = max(1.0, region.height - height - (30.0 * scale if room >= 6 else 1.0))
    bottom = min(max(1.0, y - height / 2.0), highest)
    if left <= x <= left + width and room >= 6:
        # No room beside the point: above it, or below.
        above = y + gap
        bottom = above if above <= highest else max(1.0, y - 2.0 * gap - height)
    bounds = (left, bottom, left + width, bottom + height)
    ground, colour = get_box_colours(context)
    shader = get_mark_shader()
    draw_mark_batch(make_batch(shader, *build_box(bounds, ground, 4.0 * scale)), region)
    if edge is not None:
        strip = (left, bottom, left + 3.5 * scale, bottom + height)
        draw_mark_batch(make_batch(shader, *build_box(strip, (*edge, 1.0), 1.5 * scale)), region)
    at = bottom + height - pad - size * 0.82
    for line in wrapped:
        alpha = 0.62 if line.quiet else 1.0
        blf.color(FONT, *colour[:3], alpha)
        blf.position(FONT, left + pad, at, 0.0)
        blf.draw(FONT, line.text)
        at -= step
    return bounds
