# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which trails go anywhere between two frames, answered for all of them at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .trails import Trail


@dataclass(eq=False, slots=True)
class Travels:
    """The points of all trails, side by side from the earliest frame on.

    Attributes
    ----------
    first : int
    lows, highs : ndarray, shape (F, N * 3)
        The points; where there is none, what no other lies above or below.
    least : ndarray, shape (N,)
        What a trail must travel to be drawn.
    owners : ndarray, shape (N,)
        Whose path it is: an older path counts for the one it is drawn beside.
    count : int
        T, the number of trails that are asked about.
    """

    first: int
    lows: NDArray[np.float32]
    highs: NDArray[np.float32]
    least: NDArray[np.float64]
    owners: NDArray[np.intp]
    count: int
    _last: tuple[tuple[int, int], NDArray[np.bool_]] | None = None

    def reach(self, first: int, last: int) -> NDArray[np.bool_]:
        """Say which trails, or their older paths, go anywhere between two frames; shape (T,)."""
        start = max(0, first - self.first)
        stop = max(start, min(len(self.lows), last - self.first + 1))
        if self._last is None or self._last[0] != (start, stop):
            self._last = ((start, stop), self._measure(start, stop))
        return self._last[1]

    def _measure(self, start: int, stop: int) -> NDArray[np.bool_]:
        found = np.zeros(self.count, dtype=np.bool_)
        if stop > start:
            spans = self.highs[start:stop].max(axis=0) - self.lows[start:stop].min(axis=0)
            found[self.owners[spans.reshape(-1, 3).max(axis=1) > self.least]] = True
        return found


def measure_travels(trails: Sequence[tuple[Trail, Trail | None, float]]) -> Travels:
    """Lay trails side by side.

    Parameters
    ----------
    trails : sequence of (Trail, Trail or None, float)
        Each with its older path and the least it must travel, in the unit of its points.
    """
    paths = [
        (path, least, owner)
        for owner, (trail, old, least) in enumerate(trails)
        for path in (trail, old)
        if path is not None
    ]
    first = min((int(path.frames[0]) for path, _, _ in paths), default=0)
    stop = max((int(path.frames[0]) + len(path.points) for path, _, _ in paths), default=0)
    lows = np.full((stop - first, len(paths), 3), np.inf, dtype=np.float32)
    highs = np.full_like(lows, -np.inf)
    for number, (path, _, _) in enumerate(paths):
        begin = int(path.frames[0]) - first
        known = np.isfinite(path.points).all(axis=1)[:, None]
        rows = slice(begin, begin + len(path.points))
        lows[rows, number] = np.where(known, path.points, np.inf)
        highs[rows, number] = np.where(known, path.points, -np.inf)
    return Travels(
        first,
        lows.reshape(len(lows), 3 * len(paths)),
        highs.reshape(len(lows), 3 * len(paths)),
        np.array([least for _, least, _ in paths], dtype=np.float64),
        np.array([owner for _, _, owner in paths], dtype=np.intp),
        len(trails),
    )
