# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The small pictures of a flag on the review sheet, as SVG written by hand.

Three for each flag: the trail around it through the shot camera, the spacing below, and a row of
stick figures. Few elements a picture, so that a page with hundreds of flags stays quick; colours
are classes, so that they follow the page from light to dark.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..core_math import (
    Flag,
    Motion,
    Severity,
    View,
    choose_view,
    draw_sticks,
    find_trail_part,
    measure_spacing,
    say_frames,
    say_part,
)
from .markup import Markup, join, tag

FloatArray = NDArray[np.float64]

SPACING_LEVELS = 8
LEAD_S = 0.5
MOST_FRAMES = 72
FIGURES = 7
TRAIL_SIZE = (360.0, 220.0)
SPACING_SIZE = (360.0, 84.0)
FIGURE_SIZE = (76.0, 118.0)


@dataclass(frozen=True, slots=True)
class FlagPictures:
    """The three pictures of one flag, as SVG."""

    trail: str
    spacing: str
    figures: str


def draw_flag(motion: Motion, flag: Flag) -> FlagPictures | None:
    """Draw a flag; None when nothing of its subject was sampled.

    Parameters
    ----------
    motion : Motion
        The flag's subject.
    flag : Flag
    """
    part = find_trail_part(motion, flag.part, flag.other_parts)
    if part is None or motion.frame_count < 2:
        return None
    first, last = choose_rows(motion, flag)
    peak = int(np.clip(np.searchsorted(motion.frames, flag.peak), first, last))
    path = motion.tail(part)[first : last + 1]
    view = choose_view(motion, peak, path)
    return FlagPictures(
        trail=_draw_trail(motion, flag, part, view, path, first, peak),
        spacing=_draw_spacing(motion, flag, part, path, first),
        figures=_draw_figures(motion, flag, first, last, peak),
    )


def draw_flags(motions: Mapping[str, Motion], flags: Sequence[Flag]) -> dict[int, FlagPictures]:
    """Draw all flags that can be drawn; pictures by the flag's number."""
    drawn = {}
    for number, flag in enumerate(flags):
        motion = motions.get(flag.subject)
        pictures = None if motion is None else draw_flag(motion, flag)
        if pictures is not None:
            drawn[number] = pictures
    return drawn


def choose_rows(motion: Motion, flag: Flag) -> tuple[int, int]:
    """Return first and last row to draw: the flag with some lead, never over a cut."""
    lead = max(3, round(LEAD_S * motion.fps))
    edges = [0, *np.searchsorted(motion.frames, motion.cuts), motion.frame_count]
    start, end, peak = (
        int(np.clip(np.searchsorted(motion.frames, frame), 0, motion.frame_count - 1))
        for frame in (flag.start, flag.end, flag.peak)
    )
    low = max(edge for edge in edges if edge <= peak)
    high = min(edge for edge in edges if edge > peak) - 1
    first, last = start - lead, end + lead
    if last - first >= MOST_FRAMES:
        first, last = peak - MOST_FRAMES // 2, peak + MOST_FRAMES // 2
    return max(low, first), max(min(high, last), min(high, max(low, first) + 1))


def draw_sign(severity: Severity, x: float = 0.0, y: float = 0.0, size: float = 1.0) -> Markup:
    """Draw a severity's sign: a bead on a pin, a pennant, a board on its corner with an eye.

    Its foot stands at x, y; the sign is 14 units high.
    """
    shapes = {
        Severity.FAINT: "M0 0V-5M0-5a4.2 4.2 0 1 1 .01 0z",
        Severity.CLEAR: "M-3.4 0V-14L6.6-9.8L-3.4-5.6z",
        Severity.GLARING: "M0 0V-2.4M0-2.4L-5.9-8.3L0-14.2L5.9-8.3zM1.5-8.3a1.5 1.5 0 1 0-3 0"
        "a1.5 1.5 0 1 0 3 0z",
    }
    return tag(
        "path",
        class_=f"sign {severity.word}",
        d=shapes[severity],
        transform=f"translate({_number(x)} {_number(y)}) scale({_number(size, 2)})",
    )


def _draw_trail(
    motion: Motion, flag: Flag, part: str, view: View, path: FloatArray, first: int, peak: int
) -> str:
    width, height = TRAIL_SIZE
    sticks = draw_sticks(motion, peak, view)
    places = view.project(path)
    figure = np.concatenate([line for _, line in sticks]) if sticks else places
    fit = _Fit(places, figure, TRAIL_SIZE)
    dots = fit.place(places)
    steps = measure_spacing(path)
    levels = _quantise(steps)
    start, end = _clip_span(motion, flag, first, len(path))
    pieces = [
        _draw_stick_figure(sticks, fit, flag),
        tag("path", class_=f"halo {flag.severity.word}", d=_write_line(dots[start : end + 1])),
        tag("path", class_="casing", d=_write_line(dots)),
        *(
            tag("path", class_=f"spacing s{level}", d=_write_segments(dots, levels == level))
            for level in np.unique(levels)
        ),
        *_draw_ticks(motion, dots, first, part),
        draw_sign(flag.severity, float(dots[peak - first, 0]), float(dots[peak - first, 1]), 1.25),
    ]
    seen = f"through {view.name}" if np.isfinite(view.distance) else view.name
    label = (
        f"Trail of {say_part(part)} on frames {motion.frame(first)} to "
        f"{motion.frame(first + len(path) - 1)}, seen {seen}, flag at {flag.peak}"
    )
    return _svg(width, height, label, pieces)


def _draw_stick_figure(
    sticks: Sequence[tuple[str, FloatArray]], fit: _Fit, flag: Flag | None
) -> list[Markup]:
    """Draw a figure in few paths: the head, the body, and on top the parts that carry the flag."""
    marked = {flag.part, *flag.other_parts} if flag is not None else set()
    accent_style = f"figure marked {flag.severity.word}" if flag is not None else ""
    body: list[FloatArray] = []
    accent: list[FloatArray] = []
    drawn = []
    for part, line in sticks:
        if not np.isfinite(line).all():
            continue
        dots = fit.place(line)
        is_marked = part in marked or part.split("/")[0] in marked
        if part == "head":
            middle = (dots[-1] + dots[-2]) / 2.0
            radius = float(np.linalg.norm(dots[-1] - dots[-2])) / 2.0
            drawn.append(
                tag(
                    "circle",
                    class_=accent_style if is_marked else "figure",
                    cx=_number(middle[0]),
                    cy=_number(middle[1]),
                    r=_number(radius),
                )
            )
            dots = dots[:-1]  # the neck; the head itself is the circle
        (accent if is_marked else body).append(dots)
    if body:
        drawn.append(tag("path", class_="figure", d="".join(map(_write_line, body))))
    if accent:
        drawn.append(tag("path", class_=accent_style, d="".join(map(_write_line, accent))))
    return drawn


def _draw_ticks(motion: Motion, dots: FloatArray, first: int, part: str) -> list[Markup]:
    """Draw a tick for every frame, keys as dots, numbers where there is room."""
    along = np.gradient(dots, axis=0)
    length = np.linalg.norm(along, axis=-1, keepdims=True)
    across = np.stack((-along[:, 1], along[:, 0]), axis=-1) / np.where(length > 0.0, length, 1.0)
    frames = motion.frames[first : first + len(dots)]
    half = np.where(frames % 5 == 0, 5.0, 2.6)[:, np.newaxis]
    ticks = np.stack((dots - across * half, dots + across * half), axis=1)
    track = motion.keys.get(part)
    drawn = [tag("path", class_="tick", d="".join(_write_line(tick) for tick in ticks))]
    if track is not None:
        keyed = np.isin(frames, np.round(track.frames))
        squares = "".join(
            f"M{_number(x - 1.8)} {_number(y - 1.8)}h3.6v3.6h-3.6z" for x, y in dots[keyed]
        )
        if squares:
            drawn.append(tag("path", class_="key", d=squares))
    last = np.full(2, np.inf)
    numbers = []
    for dot, normal, frame in zip(dots, across, frames, strict=True):
        where = dot + normal * 11.0
        if frame % 5 == 0 and np.linalg.norm(where - last) > 22.0:
            numbers.append(
                tag("text", str(int(frame)), x=_number(where[0]), y=_number(where[1] + 3.0))
            )
            last = where
    if numbers:
        drawn.append(tag("g", *numbers, class_="frames"))
    return drawn


def _draw_spacing(motion: Motion, flag: Flag, part: str, path: FloatArray, first: int) -> str:
    width, height = SPACING_SIZE
    spacing = measure_spacing(path)
    levels = _quantise(spacing)
    top, floor = 20.0, height - 16.0
    left, right = 34.0, width - 4.0
    step = (right - left) / len(spacing)
    tall = spacing / (float(spacing.max()) or 1.0) * (floor - top)
    start, end = _clip_span(motion, flag, first, len(path))
    bars = []
    for level in np.unique(levels):
        rows = np.flatnonzero(levels == level)
        d = "".join(
            f"M{_number(left + step * row + 0.1 * step)} {_number(floor)}"
            f"v{_number(-max(tall[row], 0.6))}h{_number(0.8 * step)}V{_number(floor)}z"
            for row in rows
        )
        bars.append(tag("path", class_=f"bar s{level}", d=d))
    peak = int(np.clip(np.searchsorted(motion.frames, flag.peak) - first, 0, len(path) - 1))
    pieces = [
        *bars,
        tag(
            "path",
            class_=f"span {flag.severity.word}",
            d=f"M{_number(left + step * start)} {top - 5}H{_number(left + step * (end + 1))}",
        ),
        draw_sign(flag.severity, left + step * (peak + 0.5), top - 3.0),
        tag("path", class_="axis", d=f"M{left} {floor}H{right}"),
        tag("text", f"{spacing.max() * 100.0:.3g}", class_="unit", x=left - 5, y=top + 4),
        tag("text", "cm", class_="unit", x=left - 5, y=top + 15),
    ]
    frames = motion.frames[first : first + len(path)]
    every = 5 if len(frames) <= 50 else 10
    labels = [
        tag(
            "text", str(int(frame)), x=_number(left + step * (row + 0.5)), y=height - 4, class_="at"
        )
        for row, frame in enumerate(frames)
        if frame % every == 0
    ]
    label = (
        f"Spacing of {say_part(part)}, largest {spacing.max() * 100.0:.3g} cm a frame; "
        f"the flag spans {say_frames(flag)}"
    )
    return _svg(width, height, label, [*pieces, tag("g", *labels, class_="frames")])


def _draw_figures(motion: Motion, flag: Flag, first: int, last: int, peak: int) -> str:
    rows = np.unique(np.linspace(first, last, min(FIGURES, last - first + 1)).round().astype(int))
    rows[np.argmin(np.abs(rows - peak))] = peak
    width, height = FIGURE_SIZE
    drawn = []
    for number, row in enumerate(rows):
        points = np.concatenate((motion.heads[row], motion.tails[row]))
        view = choose_view(motion, int(row), points)
        sticks = draw_sticks(motion, int(row), view)
        if not sticks:
            sticks = [(p, view.project(points)) for p in motion.parts[:1]]
        figure = np.concatenate([line for _, line in sticks])
        fit = _Fit(figure, figure, (width, height - 18.0), motion.height)
        frame = motion.frame(int(row))
        inside = flag.start <= frame <= flag.end
        drawn.append(
            tag(
                "g",
                _draw_stick_figure(sticks, fit, flag if inside else None),
                tag(
                    "text",
                    str(frame),
                    class_="at" + (" inside" if inside else ""),
                    x=_number(width / 2.0),
                    y=_number(height - 4.0),
                ),
                transform=f"translate({_number(width * number)} 0)",
            )
        )
    shown = ", ".join(str(motion.frame(int(row))) for row in rows)
    label = f"{motion.subject} on frames {shown}"
    return _svg(width * len(rows), height, label, drawn)


class _Fit:
    """From metres in a view to the picture's own units, y downwards."""

    def __init__(
        self,
        points: FloatArray,
        around: FloatArray,
        size: tuple[float, float],
        height_m: float | None = None,
    ) -> None:
        """Show all points with what stands around them, or a height in metres from top to foot."""
        everything = np.concatenate((points, around))
        everything = everything[np.isfinite(everything).all(axis=-1)]
        if len(everything) == 0:
            everything = np.zeros((1, 2))
        low, high = everything.min(axis=0), everything.max(axis=0)
        margin = 22.0 if height_m is None else 4.0
        room = np.array(size) - 2.0 * margin
        extent = np.maximum(high - low, 1e-6)
        scale = float((room / extent).min())
        if height_m:
            scale = min(scale, float(room[1]) / (1.12 * height_m))
        self._scale = scale
        self._centre = (low + high) / 2.0
        self._middle = np.array(size) / 2.0

    def place(self, points: FloatArray) -> FloatArray:
        """Return points in the picture, shape (N, 2)."""
        seen = (points - self._centre) * self._scale * [1.0, -1.0] + self._middle
        return np.nan_to_num(seen, nan=-1e4)


def _clip_span(motion: Motion, flag: Flag, first: int, count: int) -> tuple[int, int]:
    start, end = (int(np.searchsorted(motion.frames, f)) - first for f in (flag.start, flag.end))
    start = int(np.clip(start, 0, count - 1))
    return start, int(np.clip(end, start, count - 1))


def _quantise(spacing: FloatArray) -> NDArray[np.int64]:
    share = spacing / (float(spacing.max()) or 1.0)
    return np.minimum((share * SPACING_LEVELS).astype(np.int64), SPACING_LEVELS - 1)


def _write_segments(dots: FloatArray, chosen: NDArray[np.bool_]) -> str:
    """Write the pieces of a path around the chosen points, from middle to middle."""
    written = []
    for row in np.flatnonzero(chosen):
        before = dots[row] if row == 0 else (dots[row - 1] + dots[row]) / 2.0
        after = dots[row] if row == len(dots) - 1 else (dots[row] + dots[row + 1]) / 2.0
        written.append(_write_line(np.stack((before, dots[row], after))))
    return "".join(written)


def _write_line(dots: FloatArray) -> str:
    words = [f"{_number(x)} {_number(y)}" for x, y in dots]
    return "M" + "L".join(words)


def _number(value: float, digits: int = 1) -> str:
    text = f"{float(value):.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def _svg(width: float, height: float, label: str, pieces: Iterable[object]) -> str:
    return tag(
        "svg",
        join(pieces),  # type: ignore[arg-type]
        viewBox=f"0 0 {_number(width)} {_number(height)}",
        width=_number(width),
        height=_number(height),
        role="img",
        aria_label=label,
    )
