# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Flags as columns of numbers, and their order at a frame: what does not ask for the view."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..core_math import Flag, State
from .overlay_marks import Fill, FloatArray, Mark
from .palette import QUIET, SEVERITY_COLOURS

IntArray = NDArray[np.intp]

NEAR_FRAMES = 3
"""This close to the current frame a flag shows in full."""


@dataclass(frozen=True, eq=False, slots=True)
class FlagTable:
    """Flags with what is asked of all of them at every redraw, as arrays.

    Attributes
    ----------
    flags : tuple of Flag
    ids : tuple of str
    rows : mapping of id to row
    places : tuple of (subject, part)
        Those that have flags.
    at : ndarray, shape (N,)
        Which of these places a flag is about.
    ranks, peaks, starts, ends : ndarray, shape (N,)
    kinds, fills : ndarray, shape (N,)
        Its mark, and how it is filled.
    colours : ndarray, shape (N, 3)
    """

    flags: tuple[Flag, ...]
    ids: tuple[str, ...]
    rows: dict[str, int]
    places: tuple[tuple[str, str], ...]
    at: IntArray
    ranks: FloatArray
    peaks: FloatArray
    starts: FloatArray
    ends: FloatArray
    kinds: IntArray
    fills: IntArray
    colours: FloatArray


def tabulate(flags: Sequence[Flag]) -> FlagTable:
    """Put flags into a table."""
    ids = tuple(flag.id for flag in flags)
    named = [(flag.subject, flag.part) for flag in flags]
    places = {place: number for number, place in enumerate(dict.fromkeys(named))}
    is_open = [flag.state is State.OPEN for flag in flags]
    colours = [
        SEVERITY_COLOURS[flag.severity] if open_ else QUIET
        for flag, open_ in zip(flags, is_open, strict=True)
    ]
    return FlagTable(
        flags=tuple(flags),
        ids=ids,
        rows={flag_id: row for row, flag_id in enumerate(ids)},
        places=tuple(places),
        at=np.array([places[place] for place in named], dtype=np.intp),
        ranks=np.array([flag.rank for flag in flags], dtype=np.float64),
        peaks=np.array([flag.peak for flag in flags], dtype=np.float64),
        starts=np.array([flag.start for flag in flags], dtype=np.float64),
        ends=np.array([flag.end for flag in flags], dtype=np.float64),
        kinds=np.array([Mark(int(flag.severity)) for flag in flags], dtype=np.intp),
        fills=np.array([Fill.FULL if o else Fill.HOLLOW for o in is_open], dtype=np.intp),
        colours=np.array(colours, dtype=np.float64).reshape(-1, 3),
    )


@dataclass(frozen=True, eq=False, slots=True)
class FlagOrder:
    """Flags as they come at a frame, however the view is turned.

    Attributes
    ----------
    table : FlagTable
    nearness : ndarray, shape (N,)
        1 for those that show in full.
    order : ndarray, shape (N,)
        Who comes first gathers the others around itself: what is near in time, then the worst.
    ranks : ndarray, shape (N,)
        The place of each within a stack: the worst has the lowest.
    """

    table: FlagTable
    nearness: FloatArray
    order: IntArray
    ranks: IntArray


def order_flags(table: FlagTable, frame: int, reach: int, chosen: str | None = None) -> FlagOrder:
    """Order flags for a frame.

    Parameters
    ----------
    table : FlagTable
    frame : int
        The current frame: flags near it show in full.
    reach : int
        Frames from the current one at which a flag is as quiet as it gets.
    chosen : str, optional
        The selected flag is never quiet, and comes first.
    """
    nearness, worst = measure_nearness(table, frame, reach), table.ranks
    row = table.rows.get(chosen or "")
    if row is not None:
        worst = worst.copy()
        worst[row] += 9.0
        nearness[row] = 1.0
    by_rank = np.lexsort((table.peaks, -worst))
    ranks = np.empty_like(by_rank)
    ranks[by_rank] = np.arange(len(by_rank))
    far = nearness[by_rank] < 1.0
    return FlagOrder(table, nearness, np.concatenate((by_rank[~far], by_rank[far])), ranks)


def measure_nearness(table: FlagTable, frame: int, reach: int) -> FloatArray:
    """Return how near flags are to a frame: 1 on or beside their span, 0 at `reach` frames.

    A flag over half the shot is near where it shows most, not everywhere.
    """
    start = np.maximum(np.minimum(table.starts, table.peaks), table.peaks - reach)
    end = np.minimum(np.maximum(table.ends, table.peaks), table.peaks + reach)
    away = np.maximum(np.maximum(start - frame, frame - end), 0.0)
    room = max(1.0, float(reach) - NEAR_FRAMES)
    return np.minimum(np.maximum(1.0 - (away - NEAR_FRAMES) / room, 0.0), 1.0)
