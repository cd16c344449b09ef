# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""When the joints of a chain turn over, one after the other or all at once."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import series

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


def swing_signals(turns: FloatArray, fps: float, cutoff_hz: float) -> tuple[FloatArray, FloatArray]:
    """Return each joint's swing as one signed angle, and how much of its turning that is.

    Parameters
    ----------
    turns : ndarray, shape (F, J, 3)
        Turns away from the joints' own averages, see `strands.turn_vectors`.
    fps, cutoff_hz : float
        Frames per second, and the frequency above which movement is taken for noise.

    Returns
    -------
    signals : ndarray, shape (F, J), degrees
        Turn along the joint's own main axis.
    shares : ndarray, shape (J,)
        Share of the joint's whole variation that lies along that axis, 0 to 1.
    """
    smoothed = series.smooth(turns, fps, cutoff_hz)
    joints = np.ascontiguousarray(np.swapaxes(smoothed - smoothed.mean(axis=0), 0, 1))
    power, axes = np.linalg.eigh(np.swapaxes(joints, 1, 2) @ joints)
    whole = power.sum(axis=1)
    shares = np.where(whole > 0.0, power[:, -1] / np.where(whole > 0.0, whole, 1.0), 0.0)
    return (joints @ axes[:, :, -1:])[..., 0].T, shares


def find_turning_points(signals: FloatArray, least: float) -> list[FloatArray]:
    """Return where signals turn over, to a fraction of a sample.

    Parameters
    ----------
    signals : ndarray, shape (F, J)
    least : float
        A turn counts when the signal goes at least this far on both sides of it.

    Returns
    -------
    list of ndarray
        One for each signal, rising.
    """
    count, number = signals.shape
    if count < 3:
        return [np.zeros(0) for _ in range(number)]
    ends = _list_run_ends(signals)
    found = [_find_turns(signals[:, one], ends[one], least) for one in range(number)]
    places = np.array([place for own in found for place in own], dtype=np.int64)
    columns = np.repeat(np.arange(number), [len(own) for own in found])
    refined = _refine(signals, places, columns)
    return np.split(refined, np.cumsum([len(own) for own in found])[:-1])


def _find_turns(signal: FloatArray, ends: IntArray, least: float) -> list[int]:
    found: list[int] = []
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
    return found


def _list_run_ends(signals: FloatArray) -> list[IntArray]:
    """Return where each signal stops to rise or to fall, its last change included.

    Between them it goes one way only, so whatever turns over turns over at one of them. Where it
    rests there, the first sample of the rest.
    """
    ways = np.sign(np.diff(signals, axis=0))
    turns, rests = ways[1:] != ways[:-1], (ways == 0.0).any(axis=0)
    ends = []
    for column, rest in enumerate(rests.tolist()):
        if rest:
            own = ways[:, column]
            changes = np.flatnonzero(own)
            last = changes[-1:]
            changed = changes[np.flatnonzero(np.diff(own[changes]))]
        else:
            changed, last = np.flatnonzero(turns[:, column]), np.array([len(ways) - 1])
        ends.append(np.concatenate((changed, last)) + 1)
    return ends


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


def _refine(signals: FloatArray, places: IntArray, columns: IntArray) -> FloatArray:
    """Return extremes to a fraction of a sample, by the parabola through their neighbours."""
    refined = places.astype(np.float64)
    inner = (places > 0) & (places < len(signals) - 1)
    rows, own = places[inner], columns[inner]
    left, middle, right = (signals[rows + step, own] for step in (-1, 0, 1))
    bend = left - 2.0 * middle + right
    shift = 0.5 * (left - right) / np.where(bend == 0.0, 1.0, bend)
    refined[inner] += np.where(bend == 0.0, 0.0, np.clip(shift, -0.5, 0.5))
    return refined
