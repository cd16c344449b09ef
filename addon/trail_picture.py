# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A picture of a hand's trail with its flags, drawn with matplotlib where the command runs.

Above: the path as the shot camera sees it, coloured by spacing, a tick for every frame, with
figures left standing along the way. Below: the spacing itself, frame by frame. Flags are marked by
colour and shape in both.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..core_math import (
    Flag,
    Motion,
    Severity,
    ShotReading,
    State,
    View,
    choose_view,
    draw_sticks,
    format_quantity,
    measure_spacing,
    say_frame_rate,
    say_frames,
    say_part,
)

FloatArray = NDArray[np.float64]

MARKERS = {Severity.FAINT: "o", Severity.CLEAR: ">", Severity.GLARING: "D"}
COLOURS = {Severity.FAINT: "#56B4E9", Severity.CLEAR: "#E69F00", Severity.GLARING: "#D55E00"}
PAPER, INK, PALE = "#FBFAF6", "#22252B", "#8C9099"
LEAD_S = 0.7
"""How much of the motion before and after the flags is drawn, in seconds."""
MOST_FIGURES = 6
MOST_FRAMES = 90


def draw_worst_hand(path: Path, motions: Sequence[Motion], reading: ShotReading) -> bool:
    """Draw the hand that has the worst flags; False when nobody has a hand.

    Parameters
    ----------
    path : Path
        The picture to write; its ending says the kind (.png, .svg, .pdf).
    motions : sequence of Motion
    reading : ShotReading
    """
    hands = [(m, part) for m in motions for part in ("hand.L", "hand.R") if m.has(part)]
    if not hands:
        return False

    def badness(entry: tuple[Motion, str]) -> tuple[float, float]:
        motion, part = entry
        flags = _flags_of(reading, motion, part)
        travel = float(np.ptp(motion.head(part), axis=0).sum())
        return (max((flag.rank for flag in flags), default=0.0), travel)

    motion, part = max(hands, key=badness)
    flags = _flags_of(reading, motion, part)
    figure = _draw(motion, part, flags, reading)
    figure.savefig(path, dpi=150, facecolor=PAPER)
    return True


def _flags_of(reading: ShotReading, motion: Motion, part: str) -> list[Flag]:
    return [
        flag
        for flag in reading.flags
        if flag.subject == motion.subject and flag.part == part and flag.state is not State.MEANT
    ]


def _choose_rows(motion: Motion, part: str, flags: Sequence[Flag]) -> tuple[int, int]:
    """Return the rows to draw: around the worst flag, and what else fits near it."""
    lead = round(LEAD_S * motion.fps)
    count = motion.frame_count
    if flags:
        worst = max(flags, key=lambda flag: flag.rank)
        first = int(np.searchsorted(motion.frames, worst.start)) - lead
        last = int(np.searchsorted(motion.frames, worst.end)) + lead
    else:
        middle = int(np.argmax(measure_spacing(motion.head(part))))
        first, last = middle - 2 * lead, middle + 2 * lead
    if last - first > MOST_FRAMES:
        middle = (first + last) // 2
        first, last = middle - MOST_FRAMES // 2, middle + MOST_FRAMES // 2
    return max(0, first), min(count - 1, last)


def _draw(motion: Motion, part: str, flags: Sequence[Flag], reading: ShotReading) -> Any:
    from matplotlib.figure import Figure

    first, last = _choose_rows(motion, part, flags)
    shown = [f for f in flags if motion.frame(first) <= f.peak <= motion.frame(last)]
    path = motion.tail(part)[first : last + 1]
    middle = first + len(path) // 2
    if shown:
        middle = int(np.searchsorted(motion.frames, max(shown, key=lambda f: f.rank).peak))
    view = choose_view(motion, middle, path)
    spacing = measure_spacing(path)

    figure = Figure(figsize=(12.8, 9.6), facecolor=PAPER)
    grid = figure.add_gridspec(
        2, 1, height_ratios=(4.2, 1.0), left=0.06, right=0.97, top=0.87, bottom=0.08, hspace=0.16
    )
    above, below = figure.add_subplot(grid[0]), figure.add_subplot(grid[1])
    _write_title(figure, motion, part, reading, view, (motion.frame(first), motion.frame(last)))
    outline = _draw_figures(above, motion, view, (first, last), middle)
    _fit(above, np.concatenate((outline, view.project(path))))
    _draw_trail(above, view, path, spacing)
    _draw_ticks(above, motion, view.project(path), first, part)
    _mark_flags(above, motion, view.project(path), shown, first)
    _draw_spacing(below, motion, spacing, shown, first)
    return figure


def _write_title(
    figure: Any,
    motion: Motion,
    part: str,
    reading: ShotReading,
    view: View,
    span: tuple[int, int],
) -> None:
    name = say_part(part).capitalize()
    seen = f"seen through {view.name}" if np.isfinite(view.distance) else f"seen {view.name}"
    figure.text(
        0.06, 0.945, f"{name} of {motion.subject}", size=19, weight="bold", color=INK, va="center"
    )
    facts = f"{Path(reading.source).name}, frames {span[0]}-{span[1]} "
    facts += f"at {say_frame_rate(reading.fps)} fps, {seen}"
    figure.text(0.06, 0.905, facts, size=11, color=PALE, va="center")
    for number, (severity, marker) in enumerate(MARKERS.items()):
        x = 0.76 + 0.075 * number
        figure.text(x + 0.011, 0.945, severity.word, size=10.5, color=INK, va="center")
        axes = figure.add_axes((x - 0.008, 0.93, 0.016, 0.03))
        axes.plot(0, 0, marker, ms=9, mfc=COLOURS[severity], mec=INK, mew=0.8)
        axes.axis("off")


def _draw_figures(
    axes: Any, motion: Motion, view: View, span: tuple[int, int], middle: int
) -> FloatArray:
    """Leave figures standing along the way, the one that matters darkest; return their points."""
    from matplotlib.collections import LineCollection
    from matplotlib.patches import Circle

    count = min(MOST_FIGURES, span[1] - span[0] + 1)
    rows = np.unique(np.append(np.linspace(*span, count).round().astype(int), middle))
    points = []
    for row in rows:
        strength = 0.62 if row == middle else 0.15
        sticks = [
            (part, line)
            for part, line in draw_sticks(motion, int(row), view)
            if np.isfinite(line).all()
        ]
        thin = [part.startswith("strand:") for part, _ in sticks]
        axes.add_collection(
            LineCollection(
                [line for _, line in sticks],
                colors=[(0.42, 0.45, 0.52, strength)],
                linewidths=[1.6 if is_thin else 4.6 for is_thin in thin],
                capstyle="round",
                joinstyle="round",
                zorder=1,
            )
        )
        for part, line in sticks:
            if part == "head":
                neck, top = line[-2], line[-1]
                radius = float(np.linalg.norm(top - neck)) / 2.0
                shade = (0.42, 0.45, 0.52, strength)
                axes.add_patch(Circle((neck + top) / 2.0, radius, color=shade, lw=0, zorder=1))
        points += [line for _, line in sticks]
    return np.concatenate(points) if points else np.zeros((0, 2))


def _draw_trail(axes: Any, view: View, path: FloatArray, spacing: FloatArray) -> None:
    from matplotlib.collections import LineCollection

    places = view.project(path)
    segments = np.stack((places[:-1], places[1:]), axis=1)
    steps = np.linalg.norm(np.diff(path, axis=0), axis=-1)
    axes.add_collection(
        LineCollection(list(segments), colors=INK, linewidths=6.0, capstyle="round", zorder=2)
    )
    trail = LineCollection(
        list(segments), cmap="cividis", linewidths=4.2, capstyle="round", zorder=3
    )
    trail.set_array(steps)
    trail.set_clim(0.0, float(spacing.max()) or 1.0)
    axes.add_collection(trail)


def _fit(axes: Any, places: FloatArray) -> None:
    """Show all points, with room beside them for sentences."""
    low, high = np.nanmin(places, axis=0), np.nanmax(places, axis=0)
    centre, size = (low + high) / 2.0, np.maximum(high - low, 1e-3)
    box = axes.get_window_extent()
    ratio = box.width / box.height
    half = max(size[0] / 2.0 * 1.12, ratio * size[1] / 2.0 * 1.06)
    axes.set_xlim(centre[0] - half, centre[0] + half)
    axes.set_ylim(centre[1] - half / ratio, centre[1] + half / ratio)
    axes.set_aspect("equal")
    axes.axis("off")


def _draw_ticks(axes: Any, motion: Motion, places: FloatArray, first: int, part: str) -> None:
    """Draw a tick for every frame, a longer one with a number now and then, a square for a key."""
    from matplotlib.patheffects import withStroke

    along = np.gradient(places, axis=0)
    length = np.linalg.norm(along, axis=-1, keepdims=True)
    across = np.stack((-along[:, 1], along[:, 0]), axis=-1) / np.where(length > 0.0, length, 1.0)
    reach = np.diff(axes.get_xlim())[0] / 100.0
    number_every = 5 if len(places) < 70 else 10
    track = motion.keys.get(part)
    keys = set() if track is None else {round(float(frame)) for frame in track.frames}
    last_label = np.full(2, np.inf)
    for row, (place, normal) in enumerate(zip(places, across, strict=True)):
        frame = motion.frame(first + row)
        numbered = frame % number_every == 0
        half = reach * (1.5 if numbered else 0.8)
        ends = np.stack((place - normal * half, place + normal * half))
        axes.plot(ends[:, 0], ends[:, 1], color=INK, lw=1.3, zorder=4, solid_capstyle="round")
        if frame in keys:
            axes.plot(*place, "s", ms=4.2, mfc="white", mec=INK, mew=0.9, zorder=5)
        if numbered and np.linalg.norm(place - last_label) > 3.5 * reach:
            where = place + normal * reach * 3.2
            axes.text(
                *where,
                str(frame),
                size=9.5,
                color=INK,
                ha="center",
                va="center",
                zorder=6,
                path_effects=[withStroke(linewidth=2.5, foreground=PAPER)],
            )
            last_label = place


def _mark_flags(
    axes: Any, motion: Motion, places: FloatArray, flags: Sequence[Flag], first: int
) -> None:
    """Mark each flag at its peak; the worst ones say their sentence in a free corner."""
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    corners = [(left, top), (right, top), (left, bottom), (right, bottom)]
    free = list(range(len(corners)))
    size = np.array([0.34 * (right - left), 0.24 * (top - bottom)])
    for flag in sorted(flags, key=lambda flag: -flag.rank):
        place = places[int(np.searchsorted(motion.frames, flag.peak)) - first]
        if free:
            crowding = [_crowding(np.array(corners[n]), size, places, place) for n in free]
            number = free.pop(int(np.argmin(crowding)))
            text = [f"{say_frames(flag)}   {flag.message}"]
            text += [f"try: {flag.suggestion}"] if flag.suggestion else []
            axes.annotate(
                "\n".join(line for words in text for line in textwrap.wrap(words, 36)),
                place,
                corners[number],
                size=10.5,
                color=INK,
                ha="right" if number % 2 else "left",
                va="bottom" if number > 1 else "top",
                linespacing=1.35,
                multialignment="left",
                zorder=8,
                bbox={
                    "boxstyle": "round,pad=0.6",
                    "fc": "white",
                    "ec": COLOURS[flag.severity],
                    "lw": 1.6,
                },
                arrowprops={"arrowstyle": "-", "color": INK, "lw": 0.9, "shrinkB": 9},
            )
        axes.plot(
            *place,
            MARKERS[flag.severity],
            ms=15,
            mfc=COLOURS[flag.severity],
            mec=INK,
            mew=1.4,
            zorder=9,
        )


def _crowding(corner: FloatArray, size: FloatArray, places: FloatArray, place: FloatArray) -> float:
    """Return how bad a corner is for a sentence: what of the trail lies under it, how far it is."""
    under = np.all(np.abs(places - corner) < size, axis=-1).sum()
    distance = np.linalg.norm((corner - place) / size)
    return float(under) * 10.0 + float(distance)


def _draw_spacing(
    axes: Any, motion: Motion, spacing: FloatArray, flags: Sequence[Flag], first: int
) -> None:
    from matplotlib import colormaps

    frames = motion.frames[first : first + len(spacing)]
    top = float(spacing.max()) * 100.0 or 1.0
    colours = colormaps["cividis"](spacing * 100.0 / top)
    axes.bar(frames, spacing * 100.0, width=0.82, color=colours, edgecolor=INK, linewidth=0.3)
    for flag in flags:
        start, end = max(flag.start, int(frames[0])), min(flag.end, int(frames[-1]))
        level = top * (1.14 + 0.12 * (flags.index(flag) % 3))
        colour = COLOURS[flag.severity]
        axes.plot([start - 0.4, end + 0.4], [level] * 2, color=colour, lw=4, solid_capstyle="butt")
        axes.plot(flag.peak, level, MARKERS[flag.severity], ms=9, mfc=colour, mec=INK, mew=0.9)
        axes.annotate(
            format_quantity(flag.value, flag.unit),
            (end + 0.9, level),
            size=9,
            color=INK,
            va="center",
        )
    axes.set_xlim(frames[0] - 1, frames[-1] + 1)
    axes.set_ylim(0, top * 1.55)
    axes.set_facecolor(PAPER)
    axes.set_ylabel("spacing\ncm a frame", color=INK, size=10)
    axes.set_xlabel("frame", color=INK, size=10)
    axes.tick_params(colors=INK, labelsize=9)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
