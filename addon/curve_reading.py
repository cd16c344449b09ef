# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""F-curves as arrays: keys, handles, interpolation and cycles, read in bulk."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..core_math import CurveBatch, CycleMode, Cycles, run_steps
from .curve_tables import KeyArrays, PlayedCurves

FloatArray = NDArray[np.float64]

_CYCLE_MODES = {
    "NONE": CycleMode.NONE,
    "REPEAT": CycleMode.REPEAT,
    "REPEAT_OFFSET": CycleMode.REPEAT_OFFSET,
    "MIRROR": CycleMode.MIRROR,
}


class CurveGroup:
    """Curves that are followed together, at any frames.

    Those with modifiers other than plain cycles, and baked ones, are left to Blender.

    Parameters
    ----------
    played : PlayedCurves
        What holds their keys.
    rows : sequence of int
        Which of its curves.

    Attributes
    ----------
    foreign : list of (row, F-curve)
    """

    def __init__(self, played: PlayedCurves, rows: Sequence[int]) -> None:
        self._count = len(rows)
        self.foreign: list[tuple[int, Any]] = []
        self._ours: list[int] = []
        ours: list[int] = []
        cycles: dict[int, Cycles] = {}
        keys = played.keys
        counts = keys.counts[list(rows)].tolist()
        for place, row in enumerate(rows):
            fcurve = played.played[row].curve
            modifiers = fcurve.modifiers
            known, cycling = _read_cycles(modifiers) if len(modifiers) else (True, None)
            if not known or not counts[place]:
                self.foreign.append((place, fcurve))
                continue
            if cycling is not None:
                cycles[len(ours)] = cycling
            self._ours.append(place)
            ours.append(row)
        straight = np.array([played.straight[row] for row in ours], dtype=np.bool_)
        self._batch = _make_batch(keys.pick(ours), straight, cycles)

    def evaluate(self, frames: FloatArray) -> FloatArray:
        """Return the values at rising frames of the curves' own time, shape (C, F)."""
        return run_steps(self.iterate_values(frames))

    def iterate_values(self, frames: FloatArray) -> Generator[None, None, FloatArray]:
        """Return what `evaluate` returns, with pauses."""
        values = yield from self._batch.iterate_values(frames)
        if not self.foreign:
            return values
        result = np.empty((self._count, len(frames)))
        result[self._ours] = values
        for row, fcurve in self.foreign:
            yield
            result[row] = [fcurve.evaluate(frame) for frame in frames]
        return result


def _make_batch(
    keys: KeyArrays, straight: NDArray[np.bool_], cycles: dict[int, Cycles]
) -> CurveBatch:
    points = keys.points.astype(np.float64)
    easing = extras = None
    if keys.easing is not None:
        easing = keys.easing[:, 0].astype(np.int32)
        extras = keys.easing[:, 1:].astype(np.float64)
    return CurveBatch(
        counts=keys.counts,
        keys=points[0],
        left=points[1],
        right=points[2],
        interpolation=keys.kinds,
        straight=straight,
        easing=easing,
        extras=extras,
        cycles=cycles,
    )


def _read_cycles(modifiers: Any) -> tuple[bool, Cycles | None]:
    """Return whether the modifiers are understood, and the cycles among them."""
    playing = [m for m in modifiers if not m.mute and m.is_valid]
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
