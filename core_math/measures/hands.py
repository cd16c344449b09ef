# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What hands are doing: resting on a thing, holding one together, striking; where they point."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import geometry, joints, rotations, series, swings

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class HandPair:
    """Both hands over a stretch, metres.

    `change` is how much their distance changes, `widest` its largest value, `travel` how far
    their middle moves.
    """

    change: float
    widest: float
    travel: float


def compare_hands(left: FloatArray, right: FloatArray) -> HandPair:
    """Measure whether two hands keep their distance while they move.

    Parameters
    ----------
    left, right : ndarray, shape (N, 3), metres
        Places of the hands, from the body's own point of view where the body travels.
    """
    if len(left) == 0:
        return HandPair(0.0, 0.0, 0.0)
    distance = geometry.lengths(left - right)
    return HandPair(
        change=float(np.ptp(distance)),
        widest=float(distance.max()),
        travel=swings.excursion(0.5 * (left + right)),
    )


def stopping_seconds(place: FloatArray, fps: float) -> float:
    """Return the shortest time in which a point brakes from 70 % to 15 % of its top speed.

    A strike that meets something stops within a frame or two; a hand that brakes itself takes
    longer. Infinite where the point never brakes that far.

    Parameters
    ----------
    place : ndarray, shape (N, 3)
    """
    if len(place) < 3:
        return float("inf")
    speed = geometry.lengths(np.diff(place, axis=0))
    top = float(speed.max())
    fast, slow = speed >= 0.7 * top, speed <= 0.15 * top
    if top <= 0.0 or not slow.any():
        return float("inf")
    last_fast = np.maximum.accumulate(np.where(fast, np.arange(len(speed)), -1))
    braked = np.arange(len(speed)) - last_fast
    usable = slow & (last_fast >= 0)
    return float(braked[usable].min()) / fps if usable.any() else float("inf")


def pointing_directions(
    wrist: FloatArray, candidates: Sequence[FloatArray], least: float
) -> FloatArray | None:
    """Return where a hand points, unit vectors (F, 3), from the first usable end of the hand.

    Parameters
    ----------
    wrist : ndarray, shape (F, 3)
    candidates : sequence of ndarray, shape (F, 3)
        Possible ends in order of preference: the middle of the knuckles, fingertips, bone end.
    least : float
        An end closer to the wrist than this tells no direction (some rigs start their fingers in
        the wrist itself).

    Returns
    -------
    ndarray or None
    """
    for end in candidates:
        if len(end) and float(np.median(geometry.lengths(end - wrist))) >= least:
            return swings.unit_directions(wrist, end)
    return None


def pose_vectors(local_rotations: FloatArray) -> FloatArray:
    """Return joint rotations as vectors from their own middle pose, shape (F, J, 3), degrees.

    Parameters
    ----------
    local_rotations : ndarray, shape (F, J, 4)
        Continuous in sign. Differences of the result are angles between poses to within a few
        per cent for joints that move less than 90 degrees from their middle.
    """
    middle = rotations.normalize(local_rotations.mean(axis=0))
    return rotations.rotation_vector(rotations.relative(middle[np.newaxis], local_rotations))


def rolling_spread(vectors: FloatArray, window: int) -> FloatArray:
    """Return the largest spread of any joint over each window, shape (F - window + 1,).

    The spread of a joint is the diagonal of the box around its vectors (F, J, 3).
    """
    if len(vectors) < window or window < 1:
        return np.zeros(0)
    box = series.rolling_maximum(vectors, window) - series.rolling_minimum(vectors, window)
    return np.asarray(geometry.lengths(box).max(axis=-1))


def grow_still_run(vectors: FloatArray, first: int, spread: float) -> int:
    """Return the last index up to which no joint leaves a box of this spread from `first` on."""
    stretch = 32
    while True:
        ahead = vectors[first : first + stretch]
        box = np.maximum.accumulate(ahead, axis=0) - np.minimum.accumulate(ahead, axis=0)
        wide = np.flatnonzero(geometry.lengths(box).max(axis=-1) > spread)
        if len(wide):
            return first + int(wide[0]) - 1
        if first + stretch >= len(vectors):
            return len(vectors) - 1
        stretch *= 2


def find_still_runs(
    vectors: FloatArray, moving: BoolArray, shortest: int, spread: float
) -> Iterator[tuple[int, int]]:
    """Yield stretches of travel in which no finger joint leaves its spread.

    Parameters
    ----------
    vectors : ndarray, shape (F, J, 3), degrees
        Poses, see `pose_vectors`.
    moving : ndarray of bool, shape (F,)
        Where the hand travels.
    shortest : int
        Samples.
    spread : float, degrees

    Yields
    ------
    tuple of int and int
        First and last sample, both included.
    """
    for first, last in series.find_runs(moving):
        still = rolling_spread(vectors[first : last + 1], shortest) <= spread
        starts = first + np.flatnonzero(still)
        place = 0
        while place < len(starts):
            end = grow_still_run(vectors[: last + 1], int(starts[place]), spread)
            yield int(starts[place]), end
            place = int(np.searchsorted(starts, end, side="right"))


def find_travel(
    place: FloatArray, fps: float, *, least_speed: float, least_way: float, longest_pause: float
) -> BoolArray:
    """Mark the stretches in which a point travels, short pauses included, shape (F,).

    Parameters
    ----------
    place : ndarray, shape (F, 3)
    least_speed : float, per second
    least_way : float
        Stretches that stay within this distance are no travel.
    longest_pause : float, seconds
    """
    speed = geometry.lengths(series.central_velocity(place, fps))
    moving = series.close_gaps(speed > least_speed, round(longest_pause * fps))
    for first, last in series.find_runs(moving):
        if swings.excursion(place[first : last + 1]) < least_way:
            moving[first : last + 1] = False
    return moving


def chain_bends(points: Sequence[FloatArray]) -> FloatArray:
    """Return the angle from bone to bone along a chain of joints, shape (B - 1, F), degrees.

    Parameters
    ----------
    points : sequence of B + 1 ndarray, shape (F, 3)
        From the first joint to the tip.
    """
    bones = [end - start for start, end in zip(points, points[1:], strict=False)]
    pairs = zip(bones, bones[1:], strict=False)
    return np.array([joints.angle_between_vectors(one, other) for one, other in pairs])
