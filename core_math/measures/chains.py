# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""When the joints of a chain turn over, one after the other or all at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import series, strands

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class TurnOver:
    """One swing of a chain turning over.

    `times` are the frames (with fractions) at which its joints turn over; joints that do not take
    part are left out.
    """

    times: tuple[float, ...]

    @property
    def spread(self) -> float:
        """Frames from the first joint to turn over to the last."""
        return max(self.times) - min(self.times)

    @property
    def middle(self) -> float:
        """Frame around which the chain turns over."""
        return 0.5 * (max(self.times) + min(self.times))


def swing_signals(
    local_rotations: FloatArray, fps: float, cutoff_hz: float
) -> tuple[FloatArray, FloatArray]:
    """Return each joint's swing as one signed angle, and how much of its turning that is.

    Parameters
    ----------
    local_rotations : ndarray, shape (F, J, 4)
        Relative to the parent, continuous sign.
    fps, cutoff_hz : float
        Frames per second, and the frequency above which movement is taken for noise.

    Returns
    -------
    signals : ndarray, shape (F, J), degrees
        Turn along the joint's own main axis.
    shares : ndarray, shape (J,)
        Share of the joint's whole variation that lies along that axis, 0 to 1.
    """
    turns = series.smooth(strands.turn_vectors(local_rotations), fps, cutoff_hz)
    centred = turns - turns.mean(axis=0)
    signals = np.zeros(turns.shape[:2])
    shares = np.zeros(turns.shape[1])
    for joint in range(turns.shape[1]):
        own = centred[:, joint]
        power, axes = np.linalg.eigh(own.T @ own)
        signals[:, joint] = own @ axes[:, -1]
        shares[joint] = power[-1] / power.sum() if power.sum() > 0.0 else 0.0
    return signals, shares


def find_turning_points(signal: FloatArray, least: float) -> FloatArray:
    """Return where a signal turns over, to a fraction of a sample.

    Parameters
    ----------
    signal : ndarray, shape (F,)
    least : float
        A turn counts when the signal goes at least this far on both sides of it.
    """
    found: list[int] = []
    if len(signal) < 3:
        return np.zeros(0)
    low = high = 0
    rising = 0
    for i in range(1, len(signal)):
        low = i if signal[i] < signal[low] else low
        high = i if signal[i] > signal[high] else high
        if rising >= 0 and signal[high] - signal[i] >= least:
            if rising > 0:
                found.append(high)
            rising, low = -1, i
        elif rising <= 0 and signal[i] - signal[low] >= least:
            if rising < 0:
                found.append(low)
            rising, high = 1, i
    return np.array([_refine(signal, place) for place in found])


def match_turning_points(
    times: Sequence[FloatArray], nearest: float, least_joints: int
) -> list[TurnOver]:
    """Bring the turning points of a chain's joints together, swing by swing.

    Parameters
    ----------
    times : sequence of ndarray
        Turning points of each joint from the first to the last, each rising.
    nearest : float, frames
        Farthest from its neighbour's turn that a joint's turn belongs to the same swing. Delays add
        up down a chain, so neighbours are compared, not the ends.
    least_joints : int
        Swings in which fewer joints turn over are left out.

    Returns
    -------
    list of TurnOver
    """
    if not times:
        return []
    # The joint with the most turns is asked; its neighbours answer with their nearest turn.
    asking = int(np.argmax([len(own) for own in times]))
    swings = []
    for turn in times[asking]:
        near = [float(turn)]
        for others in (times[asking + 1 :], times[:asking][::-1]):
            place = float(turn)
            for own in others:
                if len(own):
                    closest = float(own[int(np.argmin(np.abs(own - place)))])
                    if abs(closest - place) <= nearest:
                        place = closest
                        near.append(place)
        if len(near) >= least_joints:
            swings.append(TurnOver(tuple(near)))
    return swings


def _refine(signal: FloatArray, place: int) -> float:
    if not 0 < place < len(signal) - 1:
        return float(place)
    left, middle, right = signal[place - 1 : place + 2]
    bend = left - 2.0 * middle + right
    if bend == 0.0:
        return float(place)
    return place + float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5))
