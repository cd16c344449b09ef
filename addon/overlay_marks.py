# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Flags, points, counts and boxes as arrays for the shader of marks. Draws nothing.

Every mark is one quad in pixels of the region; the shader finds the shape from the distance to it.
Hundreds are laid out at every redraw in which the view turns, so they are rows of one array.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .trails import quad_indices

FloatArray = NDArray[np.float64]
MarkRows = NDArray[np.float32]
"""Marks, shape (N, 9): x, y, size, red, green, blue, alpha, kind, fill; see `PlacedMark`."""

Arrays = tuple[dict[str, NDArray[np.float32]], NDArray[np.int32]]
"""Vertex arrays by attribute of the shader, and the indices of the triangles."""


class Mark(IntEnum):
    """Shapes the shader knows; faint, clear and glaring have the numbers of their severity."""

    DOT = 0
    FAINT = 1
    CLEAR = 2
    GLARING = 3
    HERE = 4
    BOX = 5
    COUNT = 6
    """A number in digits, which comes in place of a fill."""


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
    # Of the foot of the first of three digits.
    Mark.COUNT: (0.4, 1.9, 0.0, 1.0),
}
EXTENTS = np.zeros((len(Mark), 4), dtype=np.float32)
"""How far each kind of mark reaches to the left, right, below and above its anchor, at size 1."""
for _kind, _extent in _EXTENTS.items():
    EXTENTS[_kind] = _extent

MOST_COUNTED = 999

_CORNERS = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], dtype=np.float32)


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


def to_rows(marks: Sequence[PlacedMark]) -> MarkRows:
    """Put marks into rows."""
    rows = [(m.x, m.y, m.size, *m.colour, m.alpha, m.kind.value, m.fill.value) for m in marks]
    return np.array(rows, dtype=np.float32).reshape(-1, 9)


def make_rows(
    places: ArrayLike,
    size: ArrayLike,
    colour: ArrayLike,
    alpha: ArrayLike = 1.0,
    kind: ArrayLike = Mark.DOT,
    fill: ArrayLike = Fill.FULL,
) -> MarkRows:
    """Make rows of marks out of columns; what is given once holds for all.

    Parameters
    ----------
    places : array_like, shape (N, 2), pixels
    size, alpha, kind, fill : array_like, shape (N,)
    colour : array_like, shape (N, 3)
    """
    given = np.asarray(places)
    rows = np.empty((len(given), 9), dtype=np.float32)
    rows[:, 0:2] = given
    rows[:, 2] = size
    rows[:, 3:6] = colour
    rows[:, 6] = alpha
    rows[:, 7] = kind
    rows[:, 8] = fill
    return rows


def write_counts(
    places: FloatArray, counts: NDArray[np.intp], height: float, alpha: ArrayLike = 1.0
) -> MarkRows:
    """Return counts, white, as marks: the shader draws their digits.

    Words are drawn one by one, each with its own calls to the graphics driver; a hundred counts
    would take longer than all the rest.

    Parameters
    ----------
    places : ndarray, shape (N, 2), pixels
        The middle of the foot of each count's first digit.
    counts : ndarray, shape (N,)
        Up to 999; more is written as 999.
    height : float, pixels
    alpha : array_like, shape (N,)
    """
    shown = np.minimum(counts, MOST_COUNTED)
    return make_rows(places, height, (1.0, 1.0, 1.0), alpha, Mark.COUNT, shown)


def build_marks(rows: MarkRows, scale: float) -> Arrays:
    """Return the vertex arrays and triangle indices of marks, the first one lowest.

    Parameters
    ----------
    rows : ndarray, shape (N, 9)
    scale : float
        Size of the interface: the width of the rims follows it.
    """
    count = len(rows)
    reach = EXTENTS[rows[:, 7].astype(np.intp)]
    reach *= rows[:, 2:3]
    reach += 3.0 * scale
    corners = np.empty((count, 4, 2), dtype=np.float32)
    corners[:, 0, 0] = corners[:, 3, 0] = -reach[:, 0]
    corners[:, 1, 0] = corners[:, 2, 0] = reach[:, 1]
    corners[:, 0, 1] = corners[:, 1, 1] = -reach[:, 2]
    corners[:, 2, 1] = corners[:, 3, 1] = reach[:, 3]
    shapes = np.empty((count, 4), dtype=np.float32)
    shapes[:, 0], shapes[:, 1], shapes[:, 2] = rows[:, 7], rows[:, 2], rows[:, 8]
    shapes[:, 3] = scale
    # The graphics card is handed the memory as it lies: repeated rows are whole arrays.
    arrays = {
        "anchor": np.repeat(rows[:, 0:2], 4, axis=0),
        "corner": corners.reshape(-1, 2),
        "tint": np.repeat(rows[:, 3:7], 4, axis=0),
        "shape": np.repeat(shapes, 4, axis=0),
    }
    return arrays, quad_indices(count)


Box = tuple[tuple[float, float, float, float], tuple[float, float, float, float], float]
"""Bounds x0, y0, x1, y1 in pixels, colour, and the radius of the corners."""


def build_boxes(boxes: Sequence[Box]) -> Arrays:
    """Return the vertex arrays of boxes with round corners, the first one lowest."""
    bounds = np.array([box[0] for box in boxes], dtype=np.float32).reshape(-1, 4)
    colours = np.array([box[1] for box in boxes], dtype=np.float32).reshape(-1, 4)
    half = (bounds[:, 2:] - bounds[:, :2]) / 2.0
    radii = np.array([(Mark.BOX.value, box[2]) for box in boxes], dtype=np.float32).reshape(-1, 2)
    shapes = np.concatenate((radii[:, :1], half, radii[:, 1:]), axis=1)
    arrays = {
        "anchor": np.repeat((bounds[:, :2] + bounds[:, 2:]) / 2.0, 4, axis=0),
        "corner": (_CORNERS[None] * (half[:, None] + 1.0)).reshape(-1, 2),
        "tint": np.repeat(colours, 4, axis=0),
        "shape": np.repeat(shapes, 4, axis=0),
    }
    return arrays, quad_indices(len(boxes))


def build_box(
    bounds: tuple[float, float, float, float],
    colour: tuple[float, float, float, float],
    radius: float,
) -> Arrays:
    """Return the vertex arrays of one box; see `build_boxes`."""
    return build_boxes([(bounds, colour, radius)])


def join(lower: Arrays, upper: Arrays) -> Arrays:
    """Put the arrays of boxes and marks together: one call draws them all."""
    first = len(lower[0]["anchor"])
    arrays = {name: np.concatenate((values, upper[0][name])) for name, values in lower[0].items()}
    return arrays, np.concatenate((lower[1], upper[1] + np.int32(first)))
