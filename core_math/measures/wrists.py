# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a hand makes of its forearm's swings: how far the wrist gives, and how late.

Two leads are told apart. In the world a hand leads when its pose is what the forearm's is going to
be: played later by the lead, the wrist bends far less. At the wrist it leads when its own turn is
the forearm's, only earlier.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import geometry, rotations, series, swings
from .pieces import Steps

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BLOCK = 1 << 13
"""Frames times shifts that are looked at together."""

BATCH = 1 << 9
"""Frames whose swings are asked for their leads together."""

SMOOTHING_HZ = 8.0  # keeps a wrist's drag, drops a capture's jitter (practice)
STILL_RATE = 40.0  # deg/s: slower than this is the pause between two swings
FEWEST_SAMPLES = 3  # fewer tell no range
SHORTEST = 0.12  # s: three frames at 24 fps, or a single glitch counts as a swing
CORE = 0.05  # share of a swing's turn left out at each end, where neighbouring moves leak in
AROUND = 0.25  # s on both sides of a swing that tell which turn came first
LONGEST_LEAD = 0.4  # s: leads are looked for this far
LEAST_BEND = 8.0  # degrees: a wrist that bends less shows no lead
SEEN = 0.8  # share of a stretch that must be there still when the hand is played later
CALMER = 0.8  # of the wrist's bending may be left when the hand is played later
EXPLAINED = 0.7  # of the hand's turning may be no copy of the forearm's
ALIKE = 0.9  # likeness from which the wrist's own turn is the forearm's
ONE_WAY = 0.5  # of a wrist's way goes one way when it turns with the forearm


@dataclass(frozen=True)
class WristSwing:
    """One swing of a forearm (frame indices, both included) and what the hand made of it.

    `gain` is the wrist's turn over the forearm's. Where it gives, `lead` is the seconds by which
    the hand turns ahead (NaN where it does not, or its turn does not follow the forearm's). Where
    it does not, `still_first` and `still_last` bound the frames on which the forearm moves on and
    the wrist stays as it is in the swing.
    """

    first: int
    last: int
    peak: int
    degrees: float
    wrist_degrees: float
    gain: float
    lead: float
    still_first: int
    still_last: int


def measure_swings(
    elbow: FloatArray,
    wrist: FloatArray,
    forearm: FloatArray,
    hand: FloatArray,
    fps: float,
    *,
    least_degrees: float,
    least_rate: float,
    stiff_gain: float,
) -> Steps[list[WristSwing]]:
    """Measure the wrist in every swing of a forearm, with pauses.

    Parameters
    ----------
    elbow, wrist : ndarray, shape (F, 3)
        Joints.
    forearm, hand : ndarray, shape (F, 4)
        World rotations, continuous in sign.
    fps : float
    least_degrees, least_rate : float, degrees and degrees per second
        Smaller and slower swings are left out.
    stiff_gain : float
        A wrist that gives no more is followed to where it does; of all others the lead is asked.

    Returns
    -------
    list of WristSwing
        In order.
    """
    direction = swings.smooth_directions(swings.unit_directions(elbow, wrist), fps, SMOOTHING_HZ)
    steps = swings.direction_steps(direction)
    yield
    bend = swings.smooth_rotations(
        rotations.make_continuous(rotations.relative(forearm, hand)), fps, SMOOTHING_HZ
    )
    yield
    shortest = max(FEWEST_SAMPLES, SHORTEST * fps)
    found = [
        swing
        for swing in swings.find_swings(
            steps, fps, least_degrees=least_degrees, still_rate=STILL_RATE
        )
        if swing.peak_rate >= least_rate and swing.last - swing.first >= shortest
    ]
    yield
    cores = swings.find_cores(steps, found, CORE)
    spans = list(zip(cores.firsts.tolist(), cores.lasts.tolist(), strict=True))
    turned = [swings.turn_range(bend[first : last + 1]) for first, last in spans]
    gains = [one / whole for one, whole in zip(turned, cores.degrees.tolist(), strict=True)]
    loose = [row for row, gain in enumerate(gains) if gain > stiff_gain]
    yield
    forearm = swings.smooth_rotations(forearm, fps, SMOOTHING_HZ)
    yield
    hand = swings.smooth_rotations(hand, fps, SMOOTHING_HZ)
    yield
    lead_of: dict[int, float] = {}
    asked = [(found[row].first, found[row].last) for row in loose]
    # All that a lead is told from lies around its swing.
    margin = round((AROUND + 2.0 * LONGEST_LEAD) * fps)
    for some in _list_batches(asked):
        low = max(0, asked[some][0][0] - margin)
        near = slice(low, asked[some][-1][1] + margin + 1)
        own = [(first - low, last - low) for first, last in asked[some]]
        leads = find_leads(forearm[near], hand[near], own, fps) / fps
        lead_of |= dict(zip(loose[some], leads.tolist(), strict=True))
        yield
    moving = geometry.lengths(steps) * fps > swings.REST_RATE
    measured = []
    for row, swing in enumerate(found):
        still = swing.first, swing.last
        if row not in lead_of:
            still = swings.still_span(bend, moving, swing, spans[row], fps)
        measured.append(
            WristSwing(
                first=swing.first,
                last=swing.last,
                peak=swing.peak,
                degrees=swing.degrees,
                wrist_degrees=turned[row],
                gain=gains[row],
                lead=lead_of.get(row, float("nan")),
                still_first=still[0],
                still_last=still[1],
            )
        )
    return measured


def _list_batches(spans: Sequence[tuple[int, int]]) -> list[slice]:
    """Return which of some spans, in order of time, to look at together."""
    batches, start = [], 0
    for row in range(len(spans)):
        if row + 1 == len(spans) or spans[row + 1][1] - spans[start][0] > BATCH:
            batches.append(slice(start, row + 1))
            start = row + 1
    return batches


def find_leads(
    forearm: FloatArray, hand: FloatArray, spans: Sequence[tuple[int, int]], fps: float
) -> FloatArray:
    """Return by how many samples a hand turns ahead of its forearm in swings.

    Parameters
    ----------
    forearm, hand : ndarray, shape (F, 4)
        World rotations, continuous in sign.
    spans : sequence of (int, int), length S
        First and last frame of each swing, both included.
    fps : float

    Returns
    -------
    ndarray, shape (S,)
        The larger of the lead in the world and the lead at the wrist, 0 or less where the hand
        drags; NaN where the hand's turn does not follow the forearm's.
    """
    leads = np.full(len(spans), np.nan)
    count, reach = len(hand), max(2, round(AROUND * fps))
    longest = max(2, round(LONGEST_LEAD * fps))
    bend = rotations.make_continuous(rotations.relative(forearm, hand))
    around = [(max(0, first - reach), min(count - 1, last + reach)) for first, last in spans]
    told = [
        row
        for row, (low, high) in enumerate(around)
        if swings.turn_range(bend[low : high + 1]) >= LEAST_BEND
    ]
    if not told:
        return leads
    lows, highs = np.array([around[row] for row in told]).T
    leads[told] = _lead_in_world(forearm, hand, lows, highs, longest)
    starts, stops = (np.array([spans[row][end] for row in told]) for end in (0, 1))
    at_wrist = _lead_at_wrist(forearm, bend, (lows, highs), (starts, stops), longest)
    leads[told] = np.fmax(leads[told], at_wrist)
    return leads


def _lead_in_world(
    forearm: FloatArray, hand: FloatArray, lows: IntArray, highs: IntArray, longest: int
) -> FloatArray:
    """Return the shifts of the forearm's pose that leave the least bend at the wrist, shape (S,).

    NaN where none leaves much less than no shift does, and where the hand turns by itself.
    """
    shifts, count = np.arange(-1, longest + 1), len(hand)
    left = np.empty((len(shifts), len(lows)))
    size = max(1, BLOCK // count)
    for row in range(0, len(shifts), size):
        some = shifts[row : row + size, np.newaxis]
        # The hand played later by the shift: its forearm is then that much farther on.
        places = np.arange(count) + some
        bends = rotations.relative(forearm[np.clip(places, 0, count - 1)], hand)
        bends[(places < 0) | (places >= count)] = 0.0
        seen = np.minimum(highs + 1, count - some) - np.maximum(lows, -some)
        spread = rotations.spread_in_stretches(bends, lows, highs + 1, seen)
        left[row : row + size] = np.where(seen < SEEN * (highs + 1 - lows), np.inf, spread)
    best = left.argmin(axis=0)
    inner = np.clip(best, 1, len(shifts) - 2)
    before, least, after = (
        np.take_along_axis(left, (inner + step)[np.newaxis], axis=0)[0] for step in (-1, 0, 1)
    )
    turned = rotations.spread_in_stretches(hand, lows, highs + 1, highs + 1 - lows)
    calmer = (best == inner) & (least <= CALMER * left[1]) & (least <= EXPLAINED * turned)
    bow = before**2 - 2.0 * least**2 + after**2
    curved = calmer & np.isfinite(bow) & (bow > 0.0)
    shift = np.zeros(len(lows))
    shift[curved] = 0.5 * (before[curved] ** 2 - after[curved] ** 2) / bow[curved]
    return np.where(calmer, shifts[inner] + np.clip(shift, -0.5, 0.5), np.nan)


def _lead_at_wrist(
    forearm: FloatArray,
    bend: FloatArray,
    around: tuple[IntArray, IntArray],
    spans: tuple[IntArray, IntArray],
    longest: int,
) -> FloatArray:
    """Return by how many samples the wrist's own turn runs ahead of the forearm's like turn."""
    turns = rotations.step_vectors(forearm)
    own = rotations.rotate(forearm[1:], rotations.step_vectors(bend))
    lows, highs = around
    most = np.minimum(longest, (highs - lows) // 2)
    lags, likeness = series.find_lags_in_stretches(turns, own, lows, highs, most)
    leads = np.where((likeness >= ALIKE) & (-lags < 0.75 * most), -lags, np.nan)
    ahead = max(1, longest // 6)
    for row in np.flatnonzero(np.isfinite(leads)).tolist():
        low, high, lag = int(lows[row]), int(highs[row]), float(lags[row])
        one, other = turns[low:high], own[low:high]
        # A wrist that bends and is back when the swing ends has no turn of its own to be early.
        stroke = own[max(low, int(spans[0][row]) + round(lag)) : int(spans[1][row])]
        way = float(geometry.lengths(stroke).sum())
        one_way = np.linalg.norm(stroke.sum(axis=0)) >= ONE_WAY * way > 0.0
        likelier = most[row] > ahead and np.vdot(one[ahead:], other[:-ahead]) > np.vdot(one, other)
        if not (one_way and likelier):
            leads[row] = np.nan
    return leads
