# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""F-curves as arrays: keys, handles, interpolation and cycles, read in bulk."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..core_math import BEZIER, CONSTANT, CurveBatch, CycleMode, Cycles

FloatArray = NDArray[np.float64]

_CYCLE_MODES = {
    "NONE": CycleMode.NONE,
    "REPEAT": CycleMode.REPEAT,
    "REPEAT_OFFSET": CycleMode.REPEAT_OFFSET,
    "MIRROR": CycleMode.MIRROR,
}


class CurveGroup:
    """F-curves read once, to be evaluated at any frames.

    Those with modifiers other than plain cycles, and baked ones, are left to Blender.

    Attributes
    ----------
    foreign : list of (row, F-curve)
    """

    def __init__(self, fcurves: Sequence[Any]) -> None:
        self._count = len(fcurves)
        self.foreign: list[tuple[int, Any]] = []
        self._ours: list[int] = []
        self._pointers: list[int] = []
        points: list[Any] = []
        cycles: dict[int, Cycles] = {}
        straight: list[bool] = []
        for row, fcurve in enumerate(fcurves):
            known, cycling = _read_cycles(fcurve) if len(fcurve.modifiers) else (True, None)
            keyed = fcurve.keyframe_points
            if not known or not len(keyed):
                self.foreign.append((row, fcurve))
                continue
            if cycling is not None:
                cycles[len(points)] = cycling
            straight.append(fcurve.extrapolation == "LINEAR")
            self._ours.append(row)
            self._pointers.append(fcurve.as_pointer())
            points.append(keyed)
        self._batch = _read_batch(points, np.array(straight, dtype=np.bool_), cycles)

    def evaluate(self, frames: FloatArray) -> FloatArray:
        """Return the values at rising frames of the curves' own time, shape (C, F)."""
        if not self.foreign:
            return self._batch.evaluate(frames)
        result = np.empty((self._count, len(frames)))
        result[self._ours] = self._batch.evaluate(frames)
        for row, fcurve in self.foreign:
            result[row] = [fcurve.evaluate(frame) for frame in frames]
        return result

    def list_keys(self) -> dict[int, tuple[FloatArray, NDArray[np.bool_]]]:
        """Return times of keys and whether they are held, by the F-curve's pointer."""
        batch = self._batch
        held = batch.kind == CONSTANT
        return {
            pointer: (batch.time[first : first + count], held[first : first + count])
            for pointer, first, count in zip(
                self._pointers, batch.first.tolist(), batch.counts.tolist(), strict=True
            )
        }


def _read_batch(
    points: list[Any], straight: NDArray[np.bool_], cycles: dict[int, Cycles]
) -> CurveBatch:
    counts = [len(keyed) for keyed in points]
    total = sum(counts)
    place, left, right = np.empty((3, 2 * total), dtype=np.float32)
    kinds = np.empty(total, dtype=np.int32)
    first = 0
    for keyed, count in zip(points, counts, strict=True):
        stop = first + count
        keyed.foreach_get("co", place[2 * first : 2 * stop])
        keyed.foreach_get("handle_left", left[2 * first : 2 * stop])
        keyed.foreach_get("handle_right", right[2 * first : 2 * stop])
        keyed.foreach_get("interpolation", kinds[first:stop])
        first = stop
    easing = extras = None
    if total and kinds.max() > BEZIER:
        easing, extras = _read_easing(points, counts)
    return CurveBatch(
        counts=np.array(counts, dtype=np.int64),
        keys=place.astype(np.float64).reshape(-1, 2),
        left=left.astype(np.float64).reshape(-1, 2),
        right=right.astype(np.float64).reshape(-1, 2),
        interpolation=kinds,
        straight=straight,
        easing=easing,
        extras=extras,
        cycles=cycles,
    )


def _read_easing(points: list[Any], counts: list[int]) -> tuple[NDArray[np.int32], FloatArray]:
    total = sum(counts)
    easing = np.empty(total, dtype=np.int32)
    extras = np.empty((3, total), dtype=np.float32)
    first = 0
    for keyed, count in zip(points, counts, strict=True):
        stop = first + count
        keyed.foreach_get("easing", easing[first:stop])
        for row, name in enumerate(("back", "amplitude", "period")):
            keyed.foreach_get(name, extras[row, first:stop])
        first = stop
    return easing, extras.T.astype(np.float64)


def _read_cycles(fcurve: Any) -> tuple[bool, Cycles | None]:
    """Return whether the modifiers are understood, and the cycles among them."""
    playing = [m for m in fcurve.modifiers if not m.mute and m.is_valid]
    if not playing:
        return True, None
    modifier = playing[0]
    plain = (
        len(playing) == 1
        and modifier.type == "CYCLES"
        and not modifier.use_restricted_range
        and not modifier.use_influence
    )
    if not plain:
        return False, None
    return True, Cycles(
        before=_CYCLE_MODES[modifier.mode_before],
        after=_CYCLE_MODES[modifier.mode_after],
        count_before=modifier.cycles_before,
        count_after=modifier.cycles_after,
    )
