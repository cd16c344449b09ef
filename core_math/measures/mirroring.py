# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Limbs that mirror each other: as directions of their bones, so that lengths do not matter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import geometry, joints, likeness, series, swings
from .pieces import Steps

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

STILL_RATE = 5.0
"""Degrees per second; a limb that turns slower stands still (practice)."""

TELLING = 0.002
"""By so much an offset must be the better likeness to be believed (measured on captures)."""

TURN_ADDS = 0.1
"""A common turn of a few degrees never adds more than this to a likeness."""

REFERENCE_STEP = 24.0
"""Neighbouring offsets are tried one frame at 24 fps apart."""


@dataclass(frozen=True)
class Stretch:
    """A stretch (indices of samples, both included) in which two limbs mirror each other.

    `level` counts the limits that it crosses for long enough, less one; `likeness` is the middle
    of its windows, `offset` in samples is positive where the right limb comes later, `size_ratio`
    is the right limb's movement over the left one's.
    """

    first: int
    last: int
    peak: int
    level: int
    likeness: float
    offset: float
    size_ratio: float


@dataclass(frozen=True)
class Pose:
    """Neighbouring key poses `first` .. `last` (their numbers) that are mirror images.

    `best` is the one with the least `difference`, degrees.
    """

    first: int
    last: int
    best: int
    difference: float


def limb_directions(axes: FloatArray, points: Sequence[FloatArray]) -> FloatArray:
    """Return a limb's bones as unit vectors (left, forward, up), shape (F, B, 3).

    Parameters
    ----------
    axes : ndarray, shape (F, 3, 3)
        The body's own axes in rows.
    points : sequence of B + 1 ndarray, shape (F, 3)
        Its joints from top to bottom.
    """
    bones = zip(points, points[1:], strict=False)
    return np.stack(
        [likeness.in_body_axes(axes, swings.unit_directions(*bone)) for bone in bones], axis=1
    )


def find_mirrored(
    left: FloatArray,
    right: FloatArray,
    fps: float,
    *,
    window: int,
    levels: Sequence[float],
    shortest: float,
    least_spread: float,
    least_ratio: float,
    most_offset: float,
    most_turn: float,
) -> Steps[list[Stretch]]:
    """Find where two limbs move as mirror images at the same time, with pauses.

    Parameters
    ----------
    left, right : ndarray, shape (F, B, 3)
        Directions of both limbs, the right one mirrored already.
    fps : float
    window : int
        Samples over which the limbs are compared.
    levels : sequence of float, rising
        Likenesses; a level counts where it is kept up for `shortest`.
    shortest : float
        Samples. Shorter stretches come out at level 0, if they cross the second level at all.
    least_spread : float, radians
        Both limbs must move by this much in a window.
    least_ratio : float
        Smaller over larger spread.
    most_offset : float
        Samples; limbs this far apart are not at the same time.
    most_turn : float, degrees
        Common turn that is taken out first (see `likeness.rolling_likeness`).
    """
    step = max(1, round(fps / REFERENCE_STEP))
    windows = yield from likeness.rolling_likeness(
        left, right, window, step=step, most_turn=most_turn, least=levels[0] - TURN_ADDS
    )
    small = np.minimum(windows.spread, windows.other_spread)
    large = np.maximum(windows.spread, windows.other_spread)
    alike = (small >= least_spread) & (small >= least_ratio * large)
    alike &= np.abs(windows.offset) < most_offset
    moving = _find_moving(left, right, fps)
    found: list[Stretch] = []
    for first, last in series.find_runs(alike & (windows.likeness >= levels[0])):
        stretch = windows.likeness[first : last + 1]
        span, level = _trim(moving, first, last + window - 1), 0
        lasting = span[1] - span[0] >= shortest or float(stretch.max()) >= levels[1]
        for number, limit in enumerate(levels[1:], start=1):
            inner = [
                _trim(moving, first + low, first + high + window - 1)
                for low, high in series.find_runs(stretch >= limit)
            ]
            longest = max(inner, key=lambda one: one[1] - one[0], default=(0, 0))
            if longest[1] - longest[0] >= shortest:
                level, span = number, longest if number == 1 else span
        if not lasting:
            continue
        yield
        one, other = (side[span[0] : span[1] + 1] for side in (left, right))
        shape = (len(one), -1)
        twins = likeness.compare(one.reshape(shape), other.reshape(shape), 3 * step)
        at_once = likeness.compare(one.reshape(shape), other.reshape(shape), 0)
        apart = twins.likeness - at_once.likeness > TELLING and abs(twins.offset) >= most_offset
        if not apart:
            best = first + int(np.argmax(stretch))
            found.append(
                Stretch(
                    first=span[0],
                    last=span[1],
                    peak=int(np.clip(best + window // 2, *span)),
                    level=level,
                    likeness=float(np.median(stretch)),
                    offset=float(np.median(windows.offset[first : last + 1])),
                    size_ratio=twins.size_ratio,
                )
            )
    return found


def find_mirrored_poses(
    left: FloatArray, right: FloatArray, limit: float, hanging: float
) -> list[Pose]:
    """Find poses whose limbs are mirror images; neighbouring ones come out as one.

    Parameters
    ----------
    left, right : ndarray, shape (K, B, 3)
        Directions of both limbs in each pose, the right one mirrored already.
    limit : float, degrees
        Largest mean angle between the two.
    hanging : float, degrees
        Limbs that point down to within this much are no pose.
    """
    if len(left) == 0:
        return []
    apart = joints.angle_between_vectors(left, right).mean(axis=-1)
    down = joints.angle_between_vectors(left, np.array([0.0, 0.0, -1.0])).max(axis=-1)
    found = []
    for first, last in series.find_runs((apart <= limit) & (down > hanging)):
        best = first + int(np.argmin(apart[first : last + 1]))
        found.append(Pose(first, last, best, float(apart[best])))
    return found


def _find_moving(left: FloatArray, right: FloatArray, fps: float) -> BoolArray:
    """Say on which samples either limb turns, shape (F,)."""
    steps = np.maximum(*(geometry.lengths(np.diff(side, axis=0)) for side in (left, right)))
    moving = np.degrees(steps.max(axis=-1)) * fps > STILL_RATE
    return np.concatenate((moving, [False])) | np.concatenate(([False], moving))


def _trim(moving: BoolArray, first: int, last: int) -> tuple[int, int]:
    """Drop the still samples at both ends of a stretch."""
    inside = np.flatnonzero(moving[first : last + 1])
    return (first + int(inside[0]), first + int(inside[-1])) if len(inside) else (first, last)
