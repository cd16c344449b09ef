# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Flags and points as arrays for the shader of marks: laid out, stacked, made quiet. Draws nothing.

Every mark is one quad in pixels of the region; the shader finds the shape from the distance to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..core_math import Flag, Severity, State
from .palette import QUIET, SEVERITY_COLOURS
from .trails import quad_indices

FloatArray = NDArray[np.float64]

STACK_REACH = 13.0
"""Flags nearer to each other than this, in pixels at scale 1, share one place."""

NEAR_FRAMES = 3
"""This close to the current frame a flag shows in full."""

QUIET_ALPHA = 0.5
QUIET_SIZE = 0.72


class Mark(IntEnum):
    """Shapes the shader knows; faint, clear and glaring have the numbers of their severity."""

    DOT = 0
    FAINT = 1
    CLEAR = 2
    GLARING = 3
    HERE = 4
    BOX = 5


class Fill(IntEnum):
    """How a mark is filled."""

    FULL = 0
    HOLLOW = 1
    CHOSEN = 2


_EXTENTS = {
    # left, right, below, above the anchor, at size 1
    Mark.DOT: (1.0, 1.0, 1.0, 1.0),
    Mark.FAINT: (5.0, 5.0, 2.0, 18.0),
    Mark.CLEAR: (2.0, 16.0, 2.0, 22.0),
    Mark.GLARING: (11.0, 11.0, 2.0, 29.0),
    Mark.HERE: (7.0, 7.0, 7.0, 7.0),
}
_EXTENT_ROWS = np.array([_EXTENTS[kind] for kind in sorted(_EXTENTS)], dtype=np.float32)
_KINDS = {severity: Mark(int(severity)) for severity in Severity}


# Made by the hundred at every redraw in which the view moves: a frozen one takes twice the time.
@dataclass(slots=True)
class PlacedMark:
    """One mark to draw.

    Attributes
    ----------
    kind : Mark
    x, y : float, pixels
        The point it stands on.
    size : float
    colour : tuple of float
    alpha : float
    fill : Fill
    """

    kind: Mark
    x: float
    y: float
    size: float
    colour: tuple[float, float, float]
    alpha: float = 1.0
    fill: Fill = Fill.FULL


@dataclass(slots=True)
class Stack:
    """Flags that share a place on the screen, the worst first.

    Attributes
    ----------
    flags : tuple of Flag
    x, y : float, pixels
        Where the worst one stands.
    size, alpha : float
    ids : tuple of str
        Their ids, in the same order.
    """

    flags: tuple[Flag, ...]
    x: float
    y: float
    size: float
    alpha: float
    ids: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        """How many flags there are."""
        return len(self.flags)

    def contains(self, x: float, y: float) -> bool:
        """Say whether a point of the region touches the flag as it is drawn, with some give."""
        left, right, below, above = _EXTENTS[Mark(int(self.flags[0].severity))]
        give = 4.0
        return (
            -left * self.size - give <= x - self.x <= right * self.size + give
            and -below * self.size - give <= y - self.y <= above * self.size + give
        )


def project(points: ArrayLike, matrix: ArrayLike, width: float, height: float) -> FloatArray:
    """Return points of space in pixels of a region.

    Parameters
    ----------
    points : array_like, shape (N, 3)
    matrix : array_like, shape (4, 4)
        The view's perspective matrix.
    width, height : float, pixels

    Returns
    -------
    ndarray, shape (N, 2)
        NaN for points behind the eye.
    """
    given = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    view = np.asarray(matrix, dtype=np.float64)
    clip = given @ view[:, :3].T + view[:, 3]
    behind = clip[:, 3] <= 1e-6
    depth = np.where(behind, np.nan, clip[:, 3])
    share = clip[:, :2] / depth[:, None] * 0.5 + 0.5
    return share * np.array([width, height])


@dataclass(frozen=True, eq=False, slots=True)
class FlagTable:
    """Flags with what is asked of all of them at every redraw, as arrays.

    Attributes
    ----------
    flags : tuple of Flag
    ids : tuple of str
    ranks, peaks, starts, ends : ndarray, shape (N,)
    """

    flags: tuple[Flag, ...]
    ids: tuple[str, ...]
    ranks: FloatArray
    peaks: FloatArray
    starts: FloatArray
    ends: FloatArray


def tabulate(flags: Sequence[Flag]) -> FlagTable:
    """Put flags into a table."""
    return FlagTable(
        flags=tuple(flags),
        ids=tuple(flag.id for flag in flags),
        ranks=np.array([flag.rank for flag in flags], dtype=np.float64),
        peaks=np.array([flag.peak for flag in flags], dtype=np.float64),
        starts=np.array([flag.start for flag in flags], dtype=np.float64),
        ends=np.array([flag.end for flag in flags], dtype=np.float64),
    )


def stack_flags(
    table: FlagTable,
    pixels: FloatArray,
    size: tuple[float, float],
    frame: int,
    reach: int,
    scale: float,
    chosen: str | None = None,
) -> list[Stack]:
    """Put flags that lie on one another on the screen into stacks.

    Parameters
    ----------
    table : FlagTable
    pixels : ndarray, shape (N, 2)
        Where they are; NaN is nowhere.
    size : tuple of float
        Width and height of the region: what lies outside is left out.
    frame : int
        The current frame: flags near it show in full.
    reach : int
        Frames from the current one at which a flag is as quiet as it gets.
    scale : float
        Size of the interface.
    chosen : str, optional
        The selected flag is never quiet, and comes first.

    Returns
    -------
    list of Stack
        Quiet ones first, so that they are drawn below.
    """
    with np.errstate(invalid="ignore"):
        inside = ((pixels >= -20.0) & (pixels <= np.array(size) + 20.0)).all(axis=1)
    waiting = np.flatnonzero(inside)
    if not len(waiting):
        return []
    nearness = measure_nearness(table, frame, reach)
    ranks = table.ranks.copy()
    if chosen in table.ids:
        ranks[table.ids.index(chosen)] += 9.0
        nearness[table.ids.index(chosen)] = 1.0
    # Who comes first gathers the others around itself: what is near in time, then the worst.
    order = waiting[np.lexsort((table.peaks[waiting], -ranks[waiting], nearness[waiting] < 1.0))]
    placed = pixels[order]
    x, y = placed.T
    close = np.abs(x[:, None] - x) <= STACK_REACH * scale
    close &= np.abs(y[:, None] - y) <= STACK_REACH * scale
    alone = (close.sum(axis=1) == 1).tolist()
    numbers, nearby, rank = order.tolist(), nearness.tolist(), ranks.tolist()
    places = pixels.tolist()
    flags, ids = table.flags, table.ids
    taken: set[int] = set()
    stacks = []
    for row, first in enumerate(numbers):
        if first in taken:
            continue
        if alone[row]:
            near, members = nearby[first], [first]
            shown, names = (flags[first],), (ids[first],)
        else:
            members = [numbers[other] for other in np.flatnonzero(close[row]).tolist()]
            members = [number for number in members if number not in taken]
            members.sort(key=lambda number: (-rank[number], flags[number].peak))
            taken.update(members)
            near = max(nearby[number] for number in members)
            shown = tuple(flags[number] for number in members)
            names = tuple(ids[number] for number in members)
        at_x, at_y = places[members[0]]
        stacks.append(
            Stack(
                shown,
                at_x,
                at_y,
                scale * (QUIET_SIZE + (1.0 - QUIET_SIZE) * near),
                QUIET_ALPHA + (1.0 - QUIET_ALPHA) * near,
                names,
            )
        )
    return sorted(stacks, key=lambda stack: stack.alpha)


def measure_nearness(table: FlagTable, frame: int, reach: int) -> FloatArray:
    """Return how near flags are to a frame: 1 on or beside their span, 0 at `reach` frames.

    A flag over half the shot is near where it shows most, not everywhere.
    """
    start = np.maximum(np.minimum(table.starts, table.peaks), table.peaks - reach)
    end = np.minimum(np.maximum(table.ends, table.peaks), table.peaks + reach)
    away = np.maximum(np.maximum(start - frame, frame - end), 0.0)
    room = max(1.0, float(reach) - NEAR_FRAMES)
    return np.clip(1.0 - (away - NEAR_FRAMES) / room, 0.0, 1.0)


def mark_stack(stack: Stack, hovered: bool, chosen: str | None) -> PlacedMark:
    """Return the mark of a stack: the shape and colour of its worst flag."""
    flag = stack.flags[0]
    decided = flag.state is not State.OPEN
    standing_out = hovered or chosen in stack.ids
    return PlacedMark(
        kind=_KINDS[flag.severity],
        x=stack.x,
        y=stack.y,
        size=stack.size * (1.22 if hovered else 1.0),
        colour=QUIET if decided else SEVERITY_COLOURS[flag.severity],
        alpha=1.0 if standing_out else stack.alpha,
        fill=Fill.CHOSEN if standing_out else Fill.HOLLOW if decided else Fill.FULL,
    )


def build_marks(
    marks: Sequence[PlacedMark], scale: float
) -> tuple[dict[str, NDArray[np.float32]], NDArray[np.int32]]:
    """Return the vertex arrays and triangle indices of marks.

    Parameters
    ----------
    marks : sequence of PlacedMark
    scale : float
        Size of the interface: the width of the rims follows it.
    """
    count = len(marks)
    numbers = np.array(
        [(m.x, m.y, m.size, *m.colour, m.alpha, m.kind.value, m.fill.value, scale) for m in marks],
        dtype=np.float32,
    ).reshape(-1, 10)
    sizes = numbers[:, 2]
    extents = _EXTENT_ROWS[numbers[:, 7].astype(np.intp)]
    left, right, below, above = (extents * sizes[:, None] + 3.0 * scale).T
    corners = np.stack(
        [
            np.stack((-left, -below), axis=1),
            np.stack((right, -below), axis=1),
            np.stack((right, above), axis=1),
            np.stack((-left, above), axis=1),
        ],
        axis=1,
    )
    four = np.repeat(numbers, 4, axis=0)
    arrays = {
        "anchor": four[:, 0:2],
        "corner": corners.reshape(-1, 2).astype(np.float32),
        "tint": four[:, 3:7],
        "shape": four[:, [7, 2, 8, 9]],
    }
    # The graphics card is handed the memory as it lies.
    whole = {name: np.ascontiguousarray(values) for name, values in arrays.items()}
    return whole, quad_indices(count)


Box = tuple[tuple[float, float, float, float], tuple[float, float, float, float], float]
"""Bounds x0, y0, x1, y1 in pixels, colour, and the radius of the corners."""


def build_boxes(boxes: Sequence[Box]) -> tuple[dict[str, NDArray[np.float32]], NDArray[np.int32]]:
    """Return the vertex arrays of boxes with round corners, the first one lowest."""
    bounds = np.array([box[0] for box in boxes], dtype=np.float32).reshape(-1, 4)
    colours = np.array([box[1] for box in boxes], dtype=np.float32).reshape(-1, 4)
    half = (bounds[:, 2:] - bounds[:, :2]) / 2.0
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], dtype=np.float32)
    radii = np.array([(Mark.BOX.value, box[2]) for box in boxes], dtype=np.float32).reshape(-1, 2)
    shapes = np.concatenate((radii[:, :1], half, radii[:, 1:]), axis=1)
    arrays = {
        "anchor": np.repeat((bounds[:, :2] + bounds[:, 2:]) / 2.0, 4, axis=0),
        "corner": (corners[None] * (half[:, None] + 1.0)).reshape(-1, 2),
        "tint": np.repeat(colours, 4, axis=0),
        "shape": np.repeat(shapes, 4, axis=0),
    }
    return arrays, quad_indices(len(boxes))


def build_box(
    bounds: tuple[float, float, float, float],
    colour: tuple[float, float, float, float],
    radius: float,
) -> tuple[dict[str, NDArray[np.float32]], NDArray[np.int32]]:
    """Return the vertex arrays of one box; see `build_boxes`."""
    return build_boxes([(bounds, colour, radius)])


def find_stack(stacks: Sequence[Stack], x: float, y: float) -> Stack | None:
    """Return the stack under a point: of several the one drawn on top."""
    return next((stack for stack in reversed(stacks) if stack.contains(x, y)), None)


def severity_of(stack: Stack) -> Severity:
    """Return the worst severity of a stack."""
    return max(flag.severity for flag in stack.flags)
