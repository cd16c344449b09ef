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


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Stack:
    """Flags that share a place on the screen, the worst first.

    Attributes
    ----------
    flags : tuple of Flag
    x, y : float, pixels
        Where the worst one stands.
    size, alpha : float
    """

    flags: tuple[Flag, ...]
    x: float
    y: float
    size: float
    alpha: float

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


def stack_flags(
    flags: Sequence[Flag],
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
    flags : sequence of Flag
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
    inside = np.isfinite(pixels).all(axis=1)
    with np.errstate(invalid="ignore"):
        inside &= (pixels >= -20.0).all(axis=1) & (pixels <= np.array(size) + 20.0).all(axis=1)
    waiting = [number for number in np.flatnonzero(inside)]
    if not waiting:
        return []
    nearness = measure_nearness(flags, frame, reach)
    ranks = np.array([flag.rank + (9.0 if flag.id == chosen else 0.0) for flag in flags])
    order = sorted(waiting, key=lambda n: (nearness[n] < 1.0, -ranks[n], flags[n].peak))
    taken = np.zeros(len(flags), dtype=bool)
    stacks = []
    for number in order:
        if taken[number]:
            continue
        distance = np.abs(pixels[order] - pixels[number]).max(axis=1)
        members = [n for n, d in zip(order, distance, strict=True) if d <= STACK_REACH * scale]
        members = [n for n in members if not taken[n]]
        taken[members] = True
        members.sort(key=lambda n: (-ranks[n], flags[n].peak))
        near = 1.0 if flags[number].id == chosen else float(max(nearness[n] for n in members))
        stacks.append(
            Stack(
                flags=tuple(flags[n] for n in members),
                x=float(pixels[members[0]][0]),
                y=float(pixels[members[0]][1]),
                size=scale * (QUIET_SIZE + (1.0 - QUIET_SIZE) * near),
                alpha=QUIET_ALPHA + (1.0 - QUIET_ALPHA) * near,
            )
        )
    return sorted(stacks, key=lambda stack: stack.alpha)


def measure_nearness(flags: Sequence[Flag], frame: int, reach: int) -> FloatArray:
    """Return how near flags are to a frame: 1 on or beside their span, 0 at `reach` frames."""
    if not flags:
        return np.zeros(0)
    # A flag over half the shot is near where it shows most, not everywhere.
    start = np.array([max(flag.start, flag.peak - reach) for flag in flags], dtype=np.float64)
    end = np.array([min(flag.end, flag.peak + reach) for flag in flags], dtype=np.float64)
    away = np.maximum(np.maximum(start - frame, frame - end), 0.0)
    room = max(1.0, float(reach) - NEAR_FRAMES)
    return np.clip(1.0 - (away - NEAR_FRAMES) / room, 0.0, 1.0)


def mark_stack(stack: Stack, hovered: bool, chosen: str | None) -> PlacedMark:
    """Return the mark of a stack: the shape and colour of its worst flag."""
    flag = stack.flags[0]
    decided = flag.state is not State.OPEN
    standing_out = hovered or any(one.id == chosen for one in stack.flags)
    return PlacedMark(
        kind=Mark(int(flag.severity)),
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
    anchors = np.array([(mark.x, mark.y) for mark in marks], dtype=np.float32).reshape(-1, 2)
    sizes = np.array([mark.size for mark in marks], dtype=np.float32)
    extents = np.array([_EXTENTS[mark.kind] for mark in marks], dtype=np.float32).reshape(-1, 4)
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
    tints = np.array([(*mark.colour, mark.alpha) for mark in marks], dtype=np.float32)
    shapes = np.array(
        [(mark.kind, mark.size, mark.fill, scale) for mark in marks], dtype=np.float32
    )
    arrays = {
        "anchor": np.repeat(anchors, 4, axis=0),
        "corner": corners.reshape(-1, 2).astype(np.float32),
        "tint": np.repeat(tints.reshape(-1, 4), 4, axis=0),
        "shape": np.repeat(shapes.reshape(-1, 4), 4, axis=0),
    }
    return arrays, quad_indices(count)


def build_box(
    bounds: tuple[float, float, float, float],
    colour: tuple[float, float, float, float],
    radius: float,
) -> tuple[dict[str, NDArray[np.float32]], NDArray[np.int32]]:
    """Return the vertex arrays of a box with round corners, x0, y0, x1, y1 in pixels."""
    x0, y0, x1, y1 = bounds
    half = ((x1 - x0) / 2.0, (y1 - y0) / 2.0)
    anchor = np.array([((x0 + x1) / 2.0, (y0 + y1) / 2.0)], dtype=np.float32)
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], dtype=np.float32)
    arrays = {
        "anchor": np.repeat(anchor, 4, axis=0),
        "corner": corners * (np.array(half, dtype=np.float32) + 1.0),
        "tint": np.repeat(np.array([colour], dtype=np.float32), 4, axis=0),
        "shape": np.repeat(np.array([(Mark.BOX, *half, radius)], dtype=np.float32), 4, axis=0),
    }
    return arrays, quad_indices(1)


def find_stack(stacks: Sequence[Stack], x: float, y: float) -> Stack | None:
    """Return the stack under a point: of several the one drawn on top."""
    return next((stack for stack in reversed(stacks) if stack.contains(x, y)), None)


def severity_of(stack: Stack) -> Severity:
    """Return the worst severity of a stack."""
    return max(flag.severity for flag in stack.flags)
