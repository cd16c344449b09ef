# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a planted foot does on its spot: how far it wanders, turns on it left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import contacts, geometry, series, swings

FloatArray = NDArray[np.float64]

SMOOTHING_HZ = 6.0
EDGE_S = 0.06
SHORTEST_S = 0.12
WAY_EDGE = 0.06
AROUND_S = 0.25
DOWN_SHARE = 0.004
DOWN_DEGREES = 2.0
"""A sole that stays within this share of body height and this turn of its rest is down: feet of
open captures that shuffle at speed always rise or turn more than that."""


@dataclass(frozen=True)
class Plant:
    """A stretch in which a standing foot should keep its place (frame indices, both included).

    `first` and `last` are narrowed to where it moves.

    `slide` is how far the point it turns on (ball or heel, whichever wanders less) gets from its
    place, in metres along the ground, what a steady slide does at the edges included; `peak` the
    frame on which it slides fastest; `way` the direction of the slide, shape (2,).
    """

    first: int
    last: int
    peak: int
    slide: float
    way: FloatArray


def find_plants(
    foot: contacts.Foot,
    stances: Sequence[contacts.Stance],
    fps: float,
    height: float,
    calm_speed: FloatArray,
    slide_speed: float,
    ground: FloatArray,
) -> list[Plant]:
    """Find where a standing foot should keep its place, and how far it wanders there.

    Parameters
    ----------
    foot : Foot
    stances : sequence of Stance
        Those of this foot.
    fps : float
    height : float, metres
        Body size.
    calm_speed : ndarray, shape (F,), m/s
        A foot that glides faster and lifts or turns meanwhile is stepping or shuffling on, not
        planted; it splits the stance.
    slide_speed : float, m/s
        The same for a foot whose sole stays down.
    ground : ndarray, shape (2,), m/s
        Velocity of the ground itself (see `contacts.find_treadmill`).

    Returns
    -------
    list of Plant
        Rolling down and off is left out, and the edges of each stretch, where the foot arrives
        and leaves; a foot that slides steadily from the first to the last frame in between is
        taken to have done so at the edges as well.
    """
    found: list[Plant] = []
    edge = max(1, round(EDGE_S * fps))
    for stance in stances:
        whole = stance.flat is not None and stance.heel_off is not None
        first = stance.flat if whole and stance.flat is not None else stance.touch
        last = stance.heel_off if whole and stance.heel_off is not None else stance.off
        # A little more than the stance, so that smoothing has the same neighbours as ever.
        begin, stop = max(0, first - round(AROUND_S * fps) - 4), last + round(AROUND_S * fps) + 5
        near, first, last = foot.slice(begin, stop), first - begin, last - begin
        drift = np.arange(len(near.ball))[:, np.newaxis] / fps * ground
        points = contacts.sole_points(near, first, last)[:, :2, :2] - drift[:, np.newaxis]
        points = series.smooth(points, fps, SMOOTHING_HZ)
        speeds = geometry.lengths(series.central_velocity(points, fps))
        calm = np.zeros(len(points), dtype=np.bool_)
        slowest = speeds.min(axis=1)
        down = _stays_down(near, stance.level, first, last, height)
        still = (slowest < calm_speed[begin:stop]) | (down & (slowest < slide_speed))
        calm[first : last + 1] = still[first : last + 1]
        for start, end in series.find_runs(calm):
            start, end = start + edge, end - edge
            if end - start < max(2, round(SHORTEST_S * fps)):
                continue
            paths = points[start : end + 1]
            wander = [swings.excursion(paths[:, point]) for point in (0, 1)]
            point = int(np.argmin(wander))
            # A foot slides while heel and ball both move; what only one of them does is a pivot.
            ways = [_find_way(paths[:, one], wander[point]) for one in (0, 1)]
            low, high = max(way[0] for way in ways), min(way[1] for way in ways)
            low, high = (low, high) if low < high else ways[point]
            way = paths[-1, point] - paths[0, point]
            steady = _steady_speed(np.diff(paths[:, point], axis=0) * fps, way)
            found.append(
                Plant(
                    first=begin + start + low,
                    last=begin + start + high,
                    peak=begin + start + _find_fastest(speeds[start : end + 1, point]),
                    slide=wander[point] + 2.0 * edge / fps * steady,
                    way=way,
                )
            )
    return found


def _find_fastest(speeds: FloatArray) -> int:
    """Return where a point is fastest; of frames that only rounding tells apart the first."""
    return int(np.argmax(speeds >= (1.0 - 1e-9) * speeds.max()))


def _find_way(path: FloatArray, slide: float) -> tuple[int, int]:
    """Return the indices between which a point leaves its first place and reaches its last."""
    left = np.flatnonzero(geometry.lengths(path - path[0]) > WAY_EDGE * slide)
    coming = np.flatnonzero(geometry.lengths(path - path[-1]) > WAY_EDGE * slide)
    if len(left) == 0 or len(coming) == 0:
        return 0, len(path) - 1
    first, last = int(left[0]) - 1, int(coming[-1]) + 1
    return (first, last) if first < last else (0, len(path) - 1)


def _stays_down(
    foot: contacts.Foot, level: float, first: int, last: int, height: float
) -> NDArray[np.bool_]:
    """Say on which frames the sole lies as it does typically from `first` to `last`."""
    pitch = contacts.foot_pitch(foot)
    turned = np.abs(pitch - np.median(pitch[first : last + 1]))
    lifted = np.abs(foot.ball[:, 2] - level)
    down: NDArray[np.bool_] = (turned < DOWN_DEGREES) & (lifted < DOWN_SHARE * height)
    return down


def _steady_speed(velocity: FloatArray, way: FloatArray) -> float:
    """Return the speed along `way` that is kept at both ends and on the whole, 0 for none."""
    length = float(np.linalg.norm(way))
    if not length > 0.0:
        return 0.0
    along = velocity @ way / length
    return max(0.0, min(float(part.mean()) for part in (along[:2], along[-2:], along)))
