# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A card in the 3D view: the subject's place in the shot camera's picture, over the whole shot.

Left to right is time, top to bottom the picture from its left edge to its right one, so that a
subject that walks to the right leaves a line that falls. Around the place where the settled framing
would have it lie the three limits of its wandering; ticks show on which frames subject and camera
set off.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import blf
import bpy
import gpu
import numpy as np
from gpu_extras.batch import batch_for_shader
from numpy.typing import NDArray

from ..core_math import FramingTrace, Severity, SubjectKind, find_trace, trace_framing
from . import kept, scene_settings
from .drawing import (
    FONT,
    draw_label,
    draw_mark_batch,
    find_free_width,
    get_box_colours,
    get_scale,
    get_text_size,
    make_batch,
)
from .overlay_marks import build_box
from .palette import SEVERITY_COLOURS
from .shaders import get_mark_shader
from .translation import OWN, say

WIDTH, HEIGHT, MARGIN = 360.0, 132.0, 12.0
"""Of the card and around it, in pixels at scale 1."""
PLOT = (10.0, 22.0, 10.0, 26.0)
"""Room around the curve: left, below, right, above."""
TICK = 11.0
"""Room of the ticks on the edges of the plot, in pixels at scale 1: a tenth of its height."""
LATE_FRAMES = 3.0
"""A camera that sets off no later than this, at 24 frames a second, answers at once."""

Colour = tuple[float, float, float, float]
Points = NDArray[np.float64]
PLACE: Colour = (1.0, 1.0, 1.0, 1.0)
EXPECTED: Colour = (0.62, 0.62, 0.62, 0.9)
HERE: Colour = (1.0, 1.0, 1.0, 0.55)


@dataclass(frozen=True, eq=False, slots=True)
class FramingLines:
    """What is drawn of the traces, in shares of the plot: x 0 to 1 in time, y 0 to 1 from below.

    Attributes
    ----------
    lines : tuple of (ndarray, shape (N, 2), colour, width)
        Stretches without a gap.
    bands : tuple of (ndarray, shape (N, 2), ndarray, shape (N, 2), colour)
        Lower and upper edge.
    """

    lines: tuple[tuple[Points, Colour, float], ...]
    bands: tuple[tuple[Points, Points, Colour], ...]


@dataclass(frozen=True, eq=False, slots=True)
class _Stroke:
    """Something to draw in one colour; a line where it has a width, else an area."""

    batch: Any
    colour: Colour
    width: float = 0.0


@dataclass(eq=False, slots=True)
class _Card:
    key: tuple[Any, ...]
    subject: str
    traces: tuple[FramingTrace, ...]
    fps: float
    lines: FramingLines
    bounds: tuple[float, ...] = ()
    strokes: list[_Stroke] = field(default_factory=list)


_cards: dict[str, _Card] = {}


def lay_out(
    traces: tuple[FramingTrace, ...], frame_range: tuple[int, int], fps: float
) -> FramingLines:
    """Turn traces into lines and bands.

    Parameters
    ----------
    traces : tuple of FramingTrace
    frame_range : (int, int)
        The frames the plot shows.
    fps : float
    """
    first, last = frame_range
    lines: list[tuple[Points, Colour, float]] = []
    bands: list[tuple[Points, Points, Colour]] = []

    def to_x(frames: Any) -> Any:
        return (np.asarray(frames, dtype=np.float64) - first) / max(1.0, float(last - first))

    def join(x: Any, y: Any) -> Points:
        return np.stack((x, np.clip(y, 0.0, 1.0)), axis=-1)

    for trace in traces:
        x = to_x(trace.frames)
        # The left edge of the picture is the upper edge of the plot.
        place, expected = 1.0 - trace.places[:, 0], 1.0 - trace.expected[:, 0]
        for run in _find_runs(np.isfinite(expected)):
            for limit, severity in zip(trace.limits, Severity, strict=True):
                low = join(x[run], expected[run] - limit / 100.0)
                high = join(x[run], expected[run] + limit / 100.0)
                bands.append((low, high, (*SEVERITY_COLOURS[severity], 0.13)))
            lines.append((join(x[run], expected[run]), EXPECTED, 1.0))
        seen = np.isfinite(place) & (place >= 0.0) & (place <= 1.0)
        for run in _find_runs(seen):
            lines.append((join(x[run], place[run]), PLACE, 2.0))
        for limit, severity in zip(trace.limits, Severity, strict=True):
            for run in _find_runs(seen & (np.nan_to_num(trace.beyond) > limit)):
                lines.append((join(x[run], place[run]), (*SEVERITY_COLOURS[severity], 1.0), 3.0))
        for move in trace.moves:
            at = to_x(move.start)
            ends = (0.9, 1.0) if move.maker == "camera" else (0.0, 0.1)
            lines.append((join((at, at), ends), PLACE, 2.0))
            if move.late * 24.0 / fps >= LATE_FRAMES:
                late = join((to_x(move.start - move.late), at), (0.95, 0.95))
                lines.append((late, (*SEVERITY_COLOURS[Severity.CLEAR], 1.0), 3.0))
        if trace is not traces[-1]:
            cut = to_x(trace.frames[-1] + 0.5)
            lines.append((join((cut, cut), (0.0, 1.0)), EXPECTED, 1.0))
    return FramingLines(tuple(lines), tuple(bands))


def _find_runs(true: NDArray[np.bool_]) -> list[slice]:
    """Return the stretches of two and more that are all true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], true.astype(np.int8), [0]))))
    return [slice(a, b) for a, b in edges.reshape(-1, 2).tolist() if b - a > 1]


def find_subject(entry: kept.Kept) -> str | None:
    """Return whose place is shown: the selected flag's subject, else the first character."""
    flag = entry.flag(entry.chosen)
    if flag is not None and flag.subject in entry.motions:
        return flag.subject
    for kind in (SubjectKind.ARMATURE, SubjectKind.OBJECT):
        for name, motion in entry.motions.items():
            if motion.kind is kind:
                return name
    return None


def _get_card(context: bpy.types.Context, entry: kept.Kept) -> _Card | None:
    subject = find_subject(entry)
    if subject is None:
        return None
    key = (entry.revision, subject)
    card = _cards.get(entry.scene)
    if card is None or card.key != key:
        motion = entry.motions[subject]
        settings = scene_settings.settings_or_default(context.scene)
        traces = trace_framing(motion, settings)
        lines = lay_out(traces, entry.reading.frame_range, motion.fps)
        card = _Card(key, subject, traces, motion.fps, lines)
        _cards[entry.scene] = card
    return card


def find_bounds(context: bpy.types.Context) -> tuple[float, float, float, float]:
    """Return where the card lies in the region, x0, y0, x1, y1 in pixels."""
    scale, region = get_scale(context), context.region
    left, right = find_free_width(context, region)
    x0, y0 = left + MARGIN * scale, MARGIN * scale
    width = min(WIDTH * scale, max(120.0 * scale, right - x0 - MARGIN * scale))
    return x0, y0, x0 + width, y0 + HEIGHT * scale


def draw_card(context: bpy.types.Context, entry: kept.Kept) -> None:
    """Draw the card into the present region."""
    card = _get_card(context, entry)
    if card is None:
        return
    scale, region = get_scale(context), context.region
    bounds = find_bounds(context)
    ground, text = get_box_colours(context)
    box = build_box(bounds, (*ground[:3], 0.86), 4.0 * scale)
    draw_mark_batch(make_batch(get_mark_shader(), *box), region)
    x0, y0 = bounds[0] + PLOT[0] * scale, bounds[1] + PLOT[1] * scale
    x1, y1 = bounds[2] - PLOT[2] * scale, bounds[3] - PLOT[3] * scale
    if card.bounds != bounds:
        card.strokes = _make_strokes(card.lines, (x0, y0, x1, y1), scale)
        card.bounds = bounds
    first, last = entry.reading.frame_range
    share = (context.scene.frame_current - first) / max(1.0, float(last - first))
    gpu.state.blend_set("ALPHA")
    for stroke in card.strokes:
        _draw_stroke(stroke, region)
    gpu.state.blend_set("NONE")
    if 0.0 <= share <= 1.0:
        at, half = x0 + share * (x1 - x0), 0.75 * scale
        here = build_box((at - half, y0, at + half, y1), HERE, 0.0)
        draw_mark_batch(make_batch(get_mark_shader(), *here), region)
    _write_words(context, card, bounds, (y0, y1), text)


def _make_strokes(
    lines: FramingLines, plot: tuple[float, float, float, float], scale: float
) -> list[_Stroke]:
    """Return what is drawn, in pixels of the region."""
    x0, y0, x1, y1 = plot
    area, line = (
        gpu.shader.from_builtin(name) for name in ("UNIFORM_COLOR", "POLYLINE_UNIFORM_COLOR")
    )

    def place(points: Points) -> list[tuple[float, float, float]]:
        pixels = np.array((x0, y0)) + points * (x1 - x0, y1 - y0)
        return [(x, y, 0.0) for x, y in pixels.tolist()]

    low, high = (np.array([(0.0, y), (1.0, y)]) for y in (0.0, 1.0))
    bands: list[tuple[Points, Points, Colour]] = [(low, high, (0.0, 0.0, 0.0, 0.35)), *lines.bands]
    strokes = []
    for low, high, colour in bands:
        corners = place(np.stack((low, high), axis=1).reshape(-1, 2))
        strokes.append(_Stroke(batch_for_shader(area, "TRI_STRIP", {"pos": corners}), colour))
    for points, colour, width in lines.lines:
        batch = batch_for_shader(line, "LINE_STRIP", {"pos": place(points)})
        strokes.append(_Stroke(batch, colour, width * scale))
    return strokes


def _draw_stroke(stroke: _Stroke, region: bpy.types.Region) -> None:
    name = "POLYLINE_UNIFORM_COLOR" if stroke.width else "UNIFORM_COLOR"
    shader = gpu.shader.from_builtin(name)
    shader.bind()
    if stroke.width:
        shader.uniform_float("viewportSize", (float(region.width), float(region.height)))
        shader.uniform_float("lineWidth", stroke.width)
    shader.uniform_float("color", stroke.colour)
    stroke.batch.draw(shader)


def _write_words(
    context: bpy.types.Context,
    card: _Card,
    bounds: tuple[float, float, float, float],
    plot_y: tuple[float, float],
    text: Colour,
) -> None:
    scale, size = get_scale(context), get_text_size(context)
    left = bounds[0] + PLOT[0] * scale
    title = say("{subject}: place in the picture", subject=card.subject)
    _write(title, left, bounds[3] - 18.0 * scale, size, text)
    frame = context.scene.frame_current
    trace = find_trace(card.traces, frame)
    if not card.traces:
        said = say("no shot camera")
    elif trace is None:
        said = say("this frame was not read")
    else:
        said = describe_place(trace, frame, card.fps)
    _write(said, left, bounds[1] + 7.0 * scale, 0.9 * size, (*text[:3], 0.75))
    small = 0.75 * size
    # Clear of the ticks along the upper and the lower edge.
    above, below = plot_y[1] - 1.2 * small - TICK * scale, plot_y[0] + TICK * scale
    for word, y in ((say("left", OWN), above), (say("right", OWN), below)):
        draw_label(word, left + 3.0 * scale, y, small, (1.0, 1.0, 1.0, 0.7))


def describe_place(trace: FramingTrace, frame: int, fps: float) -> str:
    """Say in a line where the subject is at a frame, and what the framing makes of it."""
    row = frame - int(trace.frames[0])
    place = float(trace.places[row, 0])
    if np.isfinite(place):
        words = [say("{frame}: {share:.0f} % from the left", frame=frame, share=100.0 * place)]
    else:
        words = [say("{frame}: behind the camera", frame=frame)]
    late = [m.late for m in trace.moves if m.late * 24.0 / fps >= LATE_FRAMES]
    if trace.reason:
        words.append(trace.reason)
    elif float(trace.beyond[row]) > 0.0:
        words.append(say("{share:.1f} % beyond its framing", share=float(trace.beyond[row])))
    if late:
        words.append(say("camera late by {count:.0f} frames", count=max(late)))
    return ", ".join(words)


def _write(words: str, x: float, y: float, size: float, colour: Colour) -> None:
    blf.size(FONT, size)
    blf.color(FONT, *colour)
    blf.position(FONT, x, y, 0.0)
    blf.draw(FONT, words)


def forget_cards() -> None:
    """Let everything go."""
    _cards.clear()
