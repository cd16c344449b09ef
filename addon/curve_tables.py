# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The curves of an ID with all their keys, read in bulk, once for all who need them.

One sampling asks for the same keys several times: to see what has changed, to evaluate curves, to
tell key frames; see `source_reading`.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..core_math import BEZIER, run_steps
from .animation_data import (
    TRANSFORM_CHANNELS,
    PlayedCurve,
    list_drivers,
    list_played_curves,
    split_bone_path,
)
from .plain_values import make_getter

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST_KEYS = 1 << 13
"""Keys that are read between two pauses; the curves of most shots have fewer, all together."""


@dataclass(frozen=True, eq=False, slots=True)
class KeyArrays:
    """The keys of several curves, one curve after the other, as Blender keeps them.

    Attributes
    ----------
    counts, first : ndarray of int, shape (C,)
        How many keys a curve has, and where they begin.
    points : ndarray of float32, shape (3, K, 2)
        Keys, left handles, right handles: time and value.
    kinds : ndarray of int32, shape (K,)
        Interpolation.
    easing : ndarray of float32, shape (K, 4), or None
        Easing, back, amplitude, period; None where no key is eased.
    """

    counts: IntArray
    first: IntArray
    points: NDArray[np.float32]
    kinds: NDArray[np.int32]
    easing: NDArray[np.float32] | None

    def pick(self, rows: Sequence[int]) -> KeyArrays:
        """Return the keys of some of the curves, in that order."""
        if list(rows) == list(range(len(self.counts))):
            return self
        chosen = np.asarray(rows, dtype=np.int64)
        counts = self.counts[chosen]
        first = np.cumsum(counts) - counts
        keys = np.arange(int(counts.sum())) + np.repeat(self.first[chosen] - first, counts)
        easing = self.easing[keys] if self.easing is not None else None
        return KeyArrays(counts, first, self.points[:, keys], self.kinds[keys], easing)

    def find_different(self, other: KeyArrays) -> IntArray:
        """Return the curves with any different key, of two that have as many keys each."""
        differs = (self.points.view(np.int64) != other.points.view(np.int64)).any(axis=(0, 2))
        differs |= self.kinds != other.kinds
        if self.easing is not None or other.easing is not None:
            one, two = self._show_easing(), other._show_easing()
            differs |= (one.view(np.int32) != two.view(np.int32)).any(axis=1)
        if not differs.any():
            return np.zeros(0, dtype=np.int64)
        return np.unique(np.repeat(np.arange(len(self.counts)), self.counts)[differs])

    def place(self, row: int) -> slice:
        """Return where the keys of one curve lie."""
        return slice(int(self.first[row]), int(self.first[row] + self.counts[row]))

    def show_keys(self) -> NDArray[np.int32]:
        """Return all about the keys bit by bit, shape (K, 11): the time comes first."""
        points = self.points.transpose(1, 0, 2).reshape(-1, 6)
        easing = self._show_easing()
        shown = (points.view(np.int32), self.kinds[:, np.newaxis], easing.view(np.int32))
        return np.concatenate(shown, axis=1)

    def _show_easing(self) -> NDArray[np.float32]:
        if self.easing is None:
            return np.zeros((len(self.kinds), 4), dtype=np.float32)
        return self.easing


def read_keys_of(curves: Sequence[Any]) -> KeyArrays:
    """Read the keys of F-curves in bulk."""
    return run_steps(iterate_keys_of(curves))


def iterate_keys_of(curves: Sequence[Any]) -> Generator[None, None, KeyArrays]:
    """Read the keys of F-curves in bulk, with pauses where there are many."""
    points = [curve.keyframe_points for curve in curves]
    counts = [len(keyed) for keyed in points]
    total = sum(counts)
    sides = np.empty((3, 2 * total), dtype=np.float32)
    kinds = np.empty(total, dtype=np.int32)
    keys, left, right = sides
    first = waiting = 0
    for keyed, count in zip(points, counts, strict=True):
        if not count:
            continue
        if waiting + count > MOST_KEYS:
            yield
            waiting = 0
        stop, waiting = first + count, waiting + count
        keyed.foreach_get("co", keys[2 * first : 2 * stop])
        keyed.foreach_get("handle_left", left[2 * first : 2 * stop])
        keyed.foreach_get("handle_right", right[2 * first : 2 * stop])
        keyed.foreach_get("interpolation", kinds[first:stop])
        first = stop
    if waiting < total:
        yield
    numbers = np.array(counts, dtype=np.int64)
    easing = _read_easing(points, counts, kinds) if total and kinds.max() > BEZIER else None
    return KeyArrays(
        numbers, np.cumsum(numbers) - numbers, sides.reshape(3, total, 2), kinds, easing
    )


def _read_easing(
    points: Sequence[Any], counts: Sequence[int], kinds: NDArray[np.int32]
) -> NDArray[np.float32]:
    easing = np.zeros((len(kinds), 4), dtype=np.float32)
    first = 0
    for keyed, count in zip(points, counts, strict=True):
        stop = first + count
        if count and kinds[first:stop].max() > BEZIER:
            numbers = np.empty(count, dtype=np.int32)
            keyed.foreach_get("easing", numbers)
            easing[first:stop, 0] = numbers
            values = np.empty(count, dtype=np.float32)
            for column, name in enumerate(("back", "amplitude", "period"), start=1):
                keyed.foreach_get(name, values)
                easing[first:stop, column] = values
        first = stop
    return easing


_read_curve = make_getter(("data_path", "array_index", "extrapolation"))


def list_runs(counts: Sequence[int], most: int) -> list[slice]:
    """Return which of some curves to look at together, given how many keys they have."""
    runs, start, keys = [], 0, 0
    for row, count in enumerate(counts):
        keys += count
        if keys >= most or row + 1 == len(counts):
            runs.append(slice(start, row + 1))
            start, keys = row + 1, 0
    return runs


class PlayedCurves:
    """All curves that play on one ID, those of its NLA strips included; keys when asked for.

    Parameters
    ----------
    owner : bpy.types.ID

    Attributes
    ----------
    played : list of PlayedCurve
    paths : list of str
        Their data paths.
    indices : list of int
        Which of a property's numbers each moves.
    straight : list of bool
        Which go on straight beyond their keys.
    """

    def __init__(self, owner: Any) -> None:
        self._owner = owner
        self._keys: KeyArrays | None = None
        self.played: list[PlayedCurve] = list_played_curves(owner)
        self.paths: list[str] = []
        self.indices: list[int] = []
        self.straight: list[bool] = []
        for entry in self.played:
            path, index, extrapolation = _read_curve(entry.curve)
            self.paths.append(path)
            self.indices.append(index)
            self.straight.append(extrapolation == "LINEAR")

    @property
    def keys(self) -> KeyArrays:
        """The keys of all of them."""
        if self._keys is None:
            run_steps(self.iterate_keys())
        assert self._keys is not None
        return self._keys

    def iterate_keys(self) -> Generator[None, None, None]:
        """Read the keys of all of them where nobody did, with pauses."""
        if self._keys is None:
            self._keys = yield from iterate_keys_of([entry.curve for entry in self.played])

    def list_rows(self, bone: str) -> Sequence[int]:
        """Return the rows of a bone's curves; "" for all that are no bone's."""
        return self.by_bone.get(bone, ()) if bone else self._own

    @cached_property
    def _own(self) -> list[int]:
        return [row for row, path in enumerate(self.paths) if split_bone_path(path) is None]

    @cached_property
    def by_bone(self) -> dict[str, list[int]]:
        """Rows of the curves of each bone by its name, and those of the object itself under ""."""
        groups: dict[str, list[int]] = {}
        for row, path in enumerate(self.paths):
            split = split_bone_path(path)
            if split is not None:
                groups.setdefault(split[0], []).append(row)
            elif path in TRANSFORM_CHANNELS:
                groups.setdefault("", []).append(row)
        return groups

    @cached_property
    def hides(self) -> bool:
        """Whether curves or a driver hide the object from the viewport for a while."""
        drivers = [curve.data_path for curve in list_drivers(self._owner)]
        return "hide_viewport" in self.paths or "hide_viewport" in drivers
