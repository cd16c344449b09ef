# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""F-curves as arrays: keys, handles, interpolation and cycles, read in bulk."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..core_math import Curve, CycleMode, Cycles, evaluate_curves

FloatArray = NDArray[np.float64]

_PLAIN = 2
"""Interpolations above this number are easings, which have numbers of their own."""

_CYCLE_MODES = {
    "NONE": CycleMode.NONE,
    "REPEAT": CycleMode.REPEAT,
    "REPEAT_OFFSET": CycleMode.REPEAT_OFFSET,
    "MIRROR": CycleMode.MIRROR,
}


class CurveGroup:
    """F-curves read once, to be evaluated at any frames.

    Those with modifiers other than plain cycles, and baked ones, are left to Blender.
    """

    def __init__(self, fcurves: Sequence[Any]) -> None:
        read = [read_curve(fcurve) for fcurve in fcurves]
        self._count = len(read)
        self._ours = [row for row, curve in enumerate(read) if curve is not None]
        self._curves = [curve for curve in read if curve is not None]
        self._foreign = [(row, fcurves[row]) for row, curve in enumerate(read) if curve is None]

    def evaluate(self, frames: FloatArray) -> FloatArray:
        """Return the values at rising frames of the curves' own time, shape (C, F)."""
        if not self._foreign:
            return evaluate_curves(self._curves, frames)
        result = np.empty((self._count, len(frames)))
        result[self._ours] = evaluate_curves(self._curves, frames)
        for row, fcurve in self._foreign:
            result[row] = [fcurve.evaluate(frame) for frame in frames]
        return result


def read_curve(fcurve: Any) -> Curve | None:
    """Return an F-curve's keys; None when only Blender itself can tell its values."""
    points = fcurve.keyframe_points
    count = len(points)
    if count == 0:
        return None
    cycles = None
    if len(fcurve.modifiers):
        known, cycles = _read_cycles(fcurve)
        if not known:
            return None
    flat = np.empty((3, 2 * count), dtype=np.float32)
    points.foreach_get("co", flat[0])
    points.foreach_get("handle_left", flat[1])
    points.foreach_get("handle_right", flat[2])
    kinds = np.empty(count, dtype=np.int32)
    points.foreach_get("interpolation", kinds)
    place, left, right = flat.astype(np.float64).reshape(3, count, 2)
    easing = extras = None
    if kinds.max() > _PLAIN:
        easing, extras = _read_easing(points, count)
    return Curve(
        times=place[:, 0],
        values=place[:, 1],
        left=left,
        right=right,
        interpolation=kinds,
        easing=easing,
        extras=extras,
        straight=fcurve.extrapolation == "LINEAR",
        cycles=cycles,
    )


def _read_easing(points: Any, count: int) -> tuple[NDArray[np.int32], FloatArray]:
    easing = np.empty(count, dtype=np.int32)
    points.foreach_get("easing", easing)
    extras = np.empty((3, count), dtype=np.float32)
    for row, name in enumerate(("back", "amplitude", "period")):
        points.foreach_get(name, extras[row])
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
