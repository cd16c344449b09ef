# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The key frames behind each part: those of its bone, of its controls, or of the object."""

from __future__ import annotations

from collections.abc import Generator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..core_math import CONSTANT, KeyTrack
from .curve_tables import PlayedCurves, list_runs

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MANY_KEYS = 1 << 15
"""Keys that are looked at between two pauses."""

SAME_FRAME = 1e-3
"""Keys closer than this, in frames, are one."""


def iterate_key_tracks(
    curves: PlayedCurves, bones_of: Mapping[str, Sequence[str]], factor: float
) -> Generator[None, None, dict[str, KeyTrack]]:
    """Return the keys of each part, with pauses where there are many.

    Parameters
    ----------
    curves : PlayedCurves
        Of the object.
    bones_of : mapping of part to names of bones
        The bone that stands for the part and its controls; "" stands for the object itself.
    factor : float
        Animation time per frame of the scene.
    """
    yield from curves.iterate_keys()
    keys = _KeyTimes(curves, factor)
    yield from keys.look_through()
    tracks, looked_at = {}, 0
    for part, bones in bones_of.items():
        keyed = [bone for bone in bones if bone in curves.by_bone]
        rows = [row for bone in keyed for row in curves.by_bone[bone]]
        joined = keys.join(rows)
        if joined is not None:
            frames, held = joined
            controls = tuple(name for name in keyed if name)
            tracks[part] = KeyTrack(frames=frames, stepped=held, controls=controls)
            looked_at += len(frames) * len(rows)
            if looked_at > MANY_KEYS:
                yield
                looked_at = 0
    return tracks


def find_rotation_bone(curves: PlayedCurves, bones: Sequence[str]) -> str | None:
    """Return the first of the bones whose rotation is keyed."""
    for bone in bones:
        if any("rotation" in curves.paths[row] for row in curves.by_bone.get(bone, ())):
            return bone
    return None


class _KeyTimes:
    """When the keys of each curve play, and which of them are held until the next."""

    def __init__(self, curves: PlayedCurves, factor: float) -> None:
        self._played, self._factor = curves.played, factor
        keys = curves.keys
        self._counts, self._first = keys.counts.tolist(), keys.first.tolist()
        self._points, self._kinds = keys.points[0, :, 0], keys.kinds
        # Once it is looked through; that of one curve as bytes is told apart from another's far
        # quicker than as numbers.
        self._bytes = memoryview(b"")
        self._times, self._frames = np.empty(len(keys.kinds)), np.empty(len(keys.kinds))
        self._held = np.empty(len(keys.kinds), dtype=np.bool_)
        self._falling: set[int] = set()
        self._holding: set[int] = set()

    def look_through(self) -> Generator[None, None, None]:
        """Look at the keys of all curves, with pauses."""
        single: Any = np.ascontiguousarray(self._points)
        self._bytes = memoryview(single).cast("B")
        for curves in list_runs(self._counts, MANY_KEYS):
            counts = self._counts[curves.start : curves.stop]
            first = self._first[curves.start]
            keys = slice(first, first + sum(counts))
            self._times[keys] = single[keys]
            self._frames[keys] = self._times[keys] / self._factor
            held = self._held[keys] = self._kinds[keys] == CONSTANT
            curve_of = np.repeat(np.arange(curves.start, curves.stop), counts)
            falls = (np.diff(self._times[keys]) <= 0.0) & (np.diff(curve_of) == 0)
            self._falling.update(curve_of[1:][falls].tolist())
            self._holding.update(curve_of[held].tolist())
            yield

    def join(self, rows: Sequence[int]) -> tuple[FloatArray, BoolArray] | None:
        """Return frames and what is held of several curves together; None without keys."""
        rows = [row for row in rows if self._counts[row]]
        if not rows:
            return None
        places = [slice(self._first[row], self._first[row] + self._counts[row]) for row in rows]
        every = places[0]
        same = self._bytes[4 * every.start : 4 * every.stop]
        if (
            not any(self._played[row].is_shifted for row in rows)
            and rows[0] not in self._falling
            and all(self._bytes[4 * p.start : 4 * p.stop] == same for p in places[1:])
        ):
            held = self._held[every]
            if rows[0] in self._holding:
                held = np.logical_and.reduce([self._held[place] for place in places])
            return self._frames[every], held
        tracks = []
        for row, place in zip(rows, places, strict=True):
            at, held = self._played[row].to_frames(self._times[place]), self._held[place]
            # A strip that repeats plays its keys several times over.
            tracks.append((at, held if len(at) == len(held) else np.resize(held, len(at))))
        times, together = _merge(tracks)
        return (times / self._factor, together) if len(times) else None


def _merge(tracks: Sequence[tuple[FloatArray, BoolArray]]) -> tuple[FloatArray, BoolArray]:
    """Return the keys of several curves as one, those on the same frame together."""
    every = np.concatenate([at for at, _ in tracks])
    held_there = np.concatenate([held for _, held in tracks])
    finite = np.isfinite(every)
    every, held_there = every[finite], held_there[finite]
    if not len(every):
        return every, held_there
    order = np.argsort(every, kind="stable")
    every, held_there = every[order], held_there[order]
    starts = np.concatenate(([0], np.flatnonzero(np.diff(every) > SAME_FRAME) + 1))
    # Held only when every curve that has a key there holds it.
    return every[starts], np.logical_and.reduceat(held_there, starts)
