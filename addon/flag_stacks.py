# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Flags on the screen: those that lie on one another share a place, far ones are quiet.

Stacked anew at every redraw in which the view turns or the frame changes, so all of it is done on
arrays; a `Stack` of its own is made only of what the pointer asks for. Draws nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..core_math import Flag
from .flag_table import FlagOrder, FlagTable, IntArray
from .overlay_marks import EXTENTS, Fill, FloatArray, MarkRows, make_rows, write_counts

STACK_REACH = 13.0
"""Flags nearer to each other than this, in pixels at scale 1, share one place."""

QUIET_ALPHA = 0.5
QUIET_SIZE = 0.72

HOVERED_SIZE = 1.22

GIVE = 4.0
"""A flag is hit this many pixels beside it, too."""


@dataclass(slots=True)
class Stack:
    """Flags that share a place on the screen, the worst first.

    Attributes
    ----------
    flags : tuple of Flag
    ids : tuple of str
        Their ids, in the same order.
    x, y : float, pixels
        Where the worst one stands.
    size, alpha : float
    """

    flags: tuple[Flag, ...]
    ids: tuple[str, ...]
    x: float
    y: float
    size: float
    alpha: float

    @property
    def count(self) -> int:
        """How many flags there are."""
        return len(self.flags)


@dataclass(frozen=True, eq=False, slots=True)
class Stacks:
    """All stacks of a region, quiet ones first, so that they are drawn below.

    Attributes
    ----------
    table : FlagTable
    places : ndarray, shape (M, 2), pixels
        Where the worst flag of each stands.
    sizes, alphas : ndarray, shape (M,)
    counts : ndarray, shape (M,)
    begins : ndarray, shape (M,)
        Where the flags of each begin in `members`.
    members : ndarray, shape (N,)
        Rows of the table, the worst of each stack first.
    """

    table: FlagTable
    places: FloatArray
    sizes: FloatArray
    alphas: FloatArray
    counts: IntArray
    begins: IntArray
    members: IntArray

    def __len__(self) -> int:
        return len(self.begins)

    def __iter__(self) -> Iterator[Stack]:
        return (self.take(number) for number in range(len(self)))

    def take(self, number: int) -> Stack:
        """Return one stack."""
        begin, count = int(self.begins[number]), int(self.counts[number])
        rows = self.members[begin : begin + count].tolist()
        x, y = self.places[number].tolist()
        return Stack(
            tuple(self.table.flags[row] for row in rows),
            tuple(self.table.ids[row] for row in rows),
            x,
            y,
            float(self.sizes[number]),
            float(self.alphas[number]),
        )

    def find_at(self, x: float, y: float) -> int | None:
        """Return the stack under a point, None when there is none: of several the one on top."""
        reach = EXTENTS[self.table.kinds[self.members[self.begins]]] * self.sizes[:, None] + GIVE
        right, up = x - self.places[:, 0], y - self.places[:, 1]
        hit = (-reach[:, 0] <= right) & (right <= reach[:, 1])
        hit &= (-reach[:, 2] <= up) & (up <= reach[:, 3])
        found = np.flatnonzero(hit)
        return int(found[-1]) if len(found) else None

    def find_flag(self, flag_id: str | None) -> int | None:
        """Return the stack that holds a flag, None when none does."""
        row = self.table.rows.get(flag_id or "")
        if row is None:
            return None
        found = np.flatnonzero(self.members == row)
        # The stacks are ordered anew for drawing: what begins last before it is its own.
        begins = np.where(self.begins <= found[0], self.begins, -1) if len(found) else None
        return int(np.argmax(begins)) if begins is not None else None


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
    flags: FlagOrder, pixels: FloatArray, size: tuple[float, float], scale: float
) -> Stacks:
    """Put flags that lie on one another on the screen into stacks.

    Parameters
    ----------
    flags : FlagOrder
    pixels : ndarray, shape (N, 2)
        Where they are; NaN is nowhere.
    size : tuple of float
        Width and height of the region: what lies outside is left out.
    scale : float
        Size of the interface.
    """
    places = pixels[flags.order]
    # Comparing with NaN is no error: it is nowhere.
    inside = (places >= -20.0) & (places <= (size[0] + 20.0, size[1] + 20.0))
    inside = inside[:, 0] & inside[:, 1]
    order = flags.order[inside]
    gathered = _gather(places[inside], STACK_REACH * scale)
    # All members, stack by stack, the worst of each first.
    sorting = np.argsort(gathered * len(pixels) + flags.ranks[order])
    members, owners = order[sorting], gathered[sorting]
    begins = np.flatnonzero(np.diff(owners, prepend=-1))
    counts = np.diff(begins, append=len(owners))
    near = np.maximum.reduceat(flags.nearness[members], begins) if len(begins) else np.zeros(0)
    drawing = np.argsort(near, kind="stable")
    begins, counts, near = begins[drawing], counts[drawing], near[drawing]
    return Stacks(
        flags.table,
        pixels[members[begins]],
        scale * (QUIET_SIZE + (1.0 - QUIET_SIZE) * near),
        QUIET_ALPHA + (1.0 - QUIET_ALPHA) * near,
        counts,
        begins,
        members,
    )


def _gather(places: FloatArray, reach: float) -> IntArray:
    """Return which place gathers each: the first one within reach that nobody gathered itself.

    Parameters
    ----------
    places : ndarray, shape (N, 2)
    reach : float
    """
    first, second = _list_close(places, reach)
    groups = np.flatnonzero(np.diff(first, prepend=-1))
    bounds = [*groups.tolist(), len(first)]
    owners = list(range(len(places)))
    for number, head in enumerate(first[groups].tolist()):
        if owners[head] != head:
            continue
        for other in second[bounds[number] : bounds[number + 1]].tolist():
            if owners[other] == other:
                owners[other] = head
    return np.array(owners, dtype=np.intp)


def _list_close(places: FloatArray, reach: float) -> tuple[IntArray, IntArray]:
    """Return all pairs within reach of each other, by the first of each, which is the lower one.

    Only what is close along x is compared: mostly far less than each with each.
    """
    count = len(places)
    along = np.argsort(places[:, 0])
    x, y = places[along, 0], places[:, 1]
    ends = np.searchsorted(x, x + reach, side="right")
    later = ends - np.arange(1, count + 1)
    one = np.repeat(np.arange(count), later)
    other = np.arange(len(one)) - np.repeat(np.cumsum(later) - ends, later)
    one, other = along[one], along[other]
    near = np.abs(y[one] - y[other]) <= reach
    one, other = one[near], other[near]
    first = np.minimum(one, other)
    # Small numbers are sorted far faster.
    small = np.uint16 if count < 65536 else np.intp
    order = np.argsort(first.astype(small), kind="stable")
    return first[order], np.maximum(one, other)[order]


def mark_stacks(
    stacks: Stacks, hovered: str | None = None, chosen: str | None = None, strength: float = 1.0
) -> MarkRows:
    """Return the marks of stacks: each the shape and colour of its worst flag.

    Parameters
    ----------
    hovered, chosen : str, optional
        Ids of flags whose stacks stand out.
    strength : float
        What does not stand back on its own stands back by this.
    """
    worst, table = stacks.members[stacks.begins], stacks.table
    rows = make_rows(
        stacks.places,
        stacks.sizes,
        table.colours[worst],
        stacks.alphas,
        table.kinds[worst],
        table.fills[worst],
    )
    pointed_at = stacks.find_flag(hovered)
    if pointed_at is not None:
        rows[pointed_at, 2] *= HOVERED_SIZE
    for number in (pointed_at, stacks.find_flag(chosen)):
        if number is not None:
            rows[number, 6], rows[number, 8] = 1.0, Fill.CHOSEN
    rows[:, 6] *= strength
    return rows


def mark_counts(stacks: Stacks, text_size: float) -> MarkRows:
    """Return how many flags there are where there are several, beside their marks.

    Parameters
    ----------
    text_size : float, pixels
        Size of the interface's text.
    """
    several = stacks.counts > 1
    sizes = stacks.sizes[several]
    places = stacks.places[several]
    # To the left of the mark, at about half its height.
    places[:, 0] -= 5.0 * sizes + 0.27 * text_size
    places[:, 1] += 10.0 * sizes
    return write_counts(places, stacks.counts[several], 0.68 * text_size, stacks.alphas[several])
