# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""When the joints of a chain turn over, one after the other or all at once."""

from __future__ import annotations

from bisect import bisect_left
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
    if len(signal) < 3:
        return np.zeros(0)
    found: list[int] = []
    ends = _list_run_ends(signal)
    low = high = float(signal[0])
    highest = lowest = rising = 0
    for place, value in zip(ends.tolist(), signal[ends].tolist(), strict=True):
        if value < low:
            low, lowest = value, place
        if value > high:
            high, highest = value, place
        if rising >= 0 and high - value >= least:
            if rising > 0:
                found.append(highest)
            rising, low, lowest = -1, value, place
        elif rising <= 0 and value - low >= least:
            if rising < 0:
                found.append(lowest)
            rising, high, highest = 1, value, place
    return _refine(signal, np.array(found, dtype=np.int64))


def _list_run_ends(signal: FloatArray) -> IntArray:
    """Return where the signal stops to rise or to fall, its last change included.

    Between them it goes one way only, so whatever turns over turns over at one of them. Where it
    rests there, the first sample of the rest.
    """
    step = np.diff(signal)
    changes = np.flatnonzero(step)
    if not len(changes):
        return np.zeros(0, dtype=np.int64)
    turns = np.flatnonzero(np.diff(np.sign(step[changes])))
    return np.asarray(np.append(changes[turns], changes[-1]) + 1)


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
    lists = [own.tolist() for own in times]
    swings = []
    for turn in lists[asking]:
        near = [turn]
        for others in (lists[asking + 1 :], lists[:asking][::-1]):
            place = turn
            for own in others:
                if own:
                    closest = _find_nearest(own, place)
                    if abs(closest - place) <= nearest:
                        place = closest
                        near.append(place)
        if len(near) >= least_joints:
            swings.append(TurnOver(tuple(near)))
    return swings


def _find_nearest(times: list[float], place: float) -> float:
    """Return the entry of a rising list that lies nearest to a place, the earlier of two."""
    after = bisect_left(times, place)
    if after == 0:
        return times[0]
    if after == len(times) or place - times[after - 1] <= times[after] - place:
        return times[after - 1]
    return times[after]


def _refine(signal: FloatArray, places: IntArray) -> FloatArray:
    """Return extremes to a fraction of a sample, by the parabola through their neighbours."""
    refined = places.astype(np.float64)
    inner = (places > 0) & (places < len(signal) - 1)
    left, middle, right = (signal[places[inner] + step] for step in (-1, 0, 1))
    bend = left - 2.0 * middle + right
    shift = 0.5 * (left - right) / np.where(bend == 0.0, 1.0, bend)
    refined[inner] += np.where(bend == 0.0, 0.0, np.clip(shift, -0.5, 0.5))
    return refined
