# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The key frames behind each part: those of its bone, of its controls, or of the object."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from ..core_math import CONSTANT, KeyTrack
from .curve_tables import PlayedCurves

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SAME_FRAME = 1e-3
"""Keys closer than this, in frames, are one."""


def read_key_tracks(
    curves: PlayedCurves, bones_of: Mapping[str, Sequence[str]], factor: float
) -> dict[str, KeyTrack]:
    """Return the keys of each part.

    Parameters
    ----------
    curves : PlayedCurves
        Of the object.
    bones_of : mapping of part to names of bones
        The bone that stands for the part and its controls; "" stands for the object itself.
    factor : float
        Animation time per frame of the scene.
    """
    keys = _KeyTimes(curves, factor)
    tracks = {}
    for part, bones in bones_of.items():
        keyed = [bone for bone in bones if bone in curves.by_bone]
        rows = [row for bone in keyed for row in curves.by_bone[bone]]
        joined = keys.join(rows)
        if joined is not None:
            frames, held = joined
            controls = tuple(name for name in keyed if name)
            tracks[part] = KeyTrack(frames=frames, stepped=held, controls=controls)
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
        single = np.ascontiguousarray(keys.points[0, :, 0])
        # The times of one curve as bytes: told apart from another's far quicker than as numbers.
        self._bytes = memoryview(single.tobytes())
        self._times = single.astype(np.float64)
        self._frames = self._times / factor
        self._held = keys.kinds == CONSTANT
        curve_of = np.repeat(np.arange(len(keys.counts)), keys.counts)
        falls = np.zeros(len(curve_of), dtype=np.bool_)
        falls[1:] = (np.diff(self._times) <= 0.0) & (np.diff(curve_of) == 0)
        self._falling = set(curve_of[falls].tolist())
        self._holding = set(curve_of[self._held].tolist())

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
