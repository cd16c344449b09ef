# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints that hit full stretch: how hard their turn stops or starts there.

Near full stretch the law of cosines lets a joint open by more and more degrees for the same gain in
reach (d flex / d reach = -d / (l1 l2 sin flex)), so a limb pulled to its length races through the
last degrees and stops dead.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

import numpy as np
from numpy.typing import NDArray

from . import series

FloatArray = NDArray[np.float64]

DEAD = 0.5  # degrees: a joint that moves less is locked


@dataclass(frozen=True)
class Snap:
    """A stop or start of a joint at full stretch.

    `first` and `last` are the samples around the fast step, `corner` the sample at full stretch,
    `step` the faster of the two steps beside it in degrees per unit of time, `spike` that step
    (which all but vanishes at the corner) over the local change of steps, `stays` the samples the
    joint stays straight. `brakes` is how long the joint brakes before it locks over how long it
    took to gather speed (in reverse where it starts): 1 for a move that eases in as it eased out,
    near 0 for one that runs into a wall. `locked` counts the samples around the corner on which
    the joint is dead: it stays within a fraction of a degree.
    """

    first: int
    last: int
    corner: int
    step: float
    spike: float
    stays: int
    brakes: float
    locked: int


def flexion_per_reach(upper: float, lower: float, flexion: float) -> float:
    """Return how many degrees a joint opens per unit of reach, links of these lengths.

    Parameters
    ----------
    upper, lower : float
        Lengths of the two links.
    flexion : float, degrees
        0 when stretched straight.

    Returns
    -------
    float
        Degrees per unit of length; infinite at full stretch.
    """
    turn = np.radians(flexion)
    sine = float(np.sin(turn))
    if sine <= 0.0:
        return float("inf")
    reach = np.sqrt(upper**2 + lower**2 + 2.0 * upper * lower * np.cos(turn))
    return float(np.degrees(reach / (upper * lower * sine)))


def find_snaps(
    angles: FloatArray, *, straight: float, pace: float, neighbourhood: int, floor: float
) -> list[Snap]:
    """Find where a joint's turn stops or starts at full stretch.

    Parameters
    ----------
    angles : ndarray, shape (N,), degrees
        Interior angle, 180 when stretched, more where the joint bends the wrong way.
    straight : float, degrees
        From this angle on, either side of 180, the joint counts as straight.
    pace : float
        Samples per unit of time in which steps, levels and the floor are given.
    neighbourhood : int
        Samples to either side that give the local level: the median change of the step.
    floor : float, degrees per unit of time squared
        Added to the local level, so that rounding in a hold is no level.

    Returns
    -------
    list of Snap
        One for the start and one for the end of every straight stretch inside the samples.
    """
    steps = np.diff(angles) * pace
    # A joint snaps many times, and each time only a few numbers are asked for: as a list.
    changes: list[float] = (np.abs(np.diff(steps)) * pace).tolist()
    sizes: list[float] = np.abs(steps).tolist()
    found: list[Snap] = []
    for first, last in series.find_runs(np.abs(180.0 - angles) < 180.0 - straight):
        for corner, ways, towards in ((first, (-2, -1), 1), (last, (0, 1), -1)):
            beside = [corner + way for way in ways if 0 <= corner + way < len(steps)]
            if len(beside) < 2:
                continue
            step = max(sizes[place] for place in beside)
            low = max(0, corner - neighbourhood)
            around = changes[low : max(low, corner - 3)]
            around += changes[corner + 2 : corner + neighbourhood]
            level = median(around) if around else 0.0
            found.append(
                Snap(
                    first=beside[0],
                    last=beside[-1] + 1,
                    corner=corner,
                    step=step,
                    spike=step / (level + floor),
                    stays=last - first + 1,
                    brakes=_braking_share(sizes, beside, neighbourhood, towards),
                    locked=_count_locked(angles[first : last + 1], from_end=corner != first),
                )
            )
    return found


def _count_locked(angles: FloatArray, *, from_end: bool) -> int:
    """Return the longest run of samples within DEAD of one angle that begins beside the corner."""
    inward = angles[::-1] if from_end else angles
    longest = 0
    for start in range(min(2, len(inward))):
        away = np.flatnonzero(np.abs(inward[start:] - inward[start]) > DEAD)
        longest = max(longest, int(away[0]) if len(away) else len(inward) - start)
    return longest


def _braking_share(
    sizes: list[float], beside: list[int], neighbourhood: int, towards: int
) -> float:
    """Return samples of braking over samples of gathering speed, read towards the corner.

    Braking is from 80 % of the fastest step down to 20 %, gathering the same upwards.
    """
    fastest = max(beside, key=lambda place: sizes[place])
    top = sizes[fastest]

    def count(way: int) -> int:
        """Count the samples between 20 and 80 % of the fastest step, walking one way."""
        place, between = fastest + way, 0
        for _ in range(neighbourhood):
            if not 0 <= place < len(sizes) or sizes[place] < 0.2 * top:
                break
            between += int(sizes[place] < 0.8 * top)
            place += way
        return between

    gathering, braking = count(-towards), count(towards)
    return braking / gathering if gathering else float(braking)
