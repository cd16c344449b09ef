# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a hand makes of its forearm's swings: how far the wrist gives, and how late.

Two leads are told apart. In the world a hand leads when its pose is what the forearm's is going to
be: played later by the lead, the wrist bends far less. At the wrist it leads when its own turn is
the forearm's, only earlier.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import rotations, series, swings

FloatArray = NDArray[np.float64]

SMOOTHING_HZ = 8.0  # keeps a wrist's drag, drops a capture's jitter (practice)
STILL_RATE = 40.0  # deg/s: slower than this is the pause between two swings
FEWEST_SAMPLES = 3  # fewer tell no range
SHORTEST = 0.12  # s: three frames at 24 fps, or a single glitch counts as a swing
CORE = 0.05  # share of a swing's turn left out at each end, where neighbouring moves leak in
AROUND = 0.25  # s on both sides of a swing that tell which turn came first
LONGEST_LEAD = 0.4  # s: leads are looked for this far
LEAST_BEND = 8.0  # degrees: a wrist that bends less shows no lead
CALMER = 0.8  # of the wrist's bending may be left when the hand is played later
EXPLAINED = 0.7  # of the hand's turning may be no copy of the forearm's
ALIKE = 0.9  # likeness from which the wrist's own turn is the forearm's
ONE_WAY = 0.5  # of a wrist's way goes one way when it turns with the forearm


@dataclass(frozen=True)
class WristSwing:
    """One swing of a forearm (frame indices, both included) and what the hand made of it.

    `gain` is the wrist's turn over the forearm's, `lead` the seconds by which the hand turns ahead
    (NaN where it does not, or its turn does not follow the forearm's). `still_first` and
    `still_last` bound the frames on which the forearm moves on and the wrist stays as it is in the
    swing.
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
) -> list[WristSwing]:
    """Measure the wrist in every swing of a forearm.

    Parameters
    ----------
    elbow, wrist : ndarray, shape (F, 3)
        Joints.
    forearm, hand : ndarray, shape (F, 4)
        World rotations, continuous in sign.
    fps : float
    least_degrees, least_rate : float, degrees and degrees per second
        Smaller and slower swings are left out.

    Returns
    -------
    list of WristSwing
        In order.
    """
    direction = swings.smooth_directions(swings.unit_directions(elbow, wrist), fps, SMOOTHING_HZ)
    steps = swings.direction_steps(direction)
    bend = swings.smooth_rotations(
        rotations.make_continuous(rotations.relative(forearm, hand)), fps, SMOOTHING_HZ
    )
    forearm, hand = (swings.smooth_rotations(q, fps, SMOOTHING_HZ) for q in (forearm, hand))
    moving = np.linalg.norm(steps, axis=-1) * fps > swings.REST_RATE
    pair = _Pair.watch(forearm, hand, fps)
    found = []
    for swing in swings.find_swings(steps, fps, least_degrees=least_degrees, still_rate=STILL_RATE):
        shortest = max(FEWEST_SAMPLES, SHORTEST * fps)
        if swing.peak_rate < least_rate or swing.last - swing.first < shortest:
            continue
        first, last = swings.core(steps, swing, CORE)
        turned = swings.turn_range(bend[first : last + 1])
        still = swings.still_span(bend, moving, swing, (first, last), fps)
        found.append(
            WristSwing(
                first=swing.first,
                last=swing.last,
                peak=swing.peak,
                degrees=swing.degrees,
                wrist_degrees=turned,
                gain=turned / swings.turned_degrees(steps, first, last),
                lead=pair.find_lead(swing.first, swing.last) / fps,
                still_first=still[0],
                still_last=still[1],
            )
        )
    return found


def find_lead(forearm: FloatArray, hand: FloatArray, first: int, last: int, fps: float) -> float:
    """Return by how many samples a hand turns ahead of its forearm in a swing.

    Parameters
    ----------
    forearm, hand : ndarray, shape (F, 4)
        World rotations, continuous in sign.
    first, last : int
        The swing, both frames included.
    fps : float

    Returns
    -------
    float
        The larger of the lead in the world and the lead at the wrist, 0 or less where the hand
        drags; NaN where the hand's turn does not follow the forearm's.
    """
    return _Pair.watch(forearm, hand, fps).find_lead(first, last)


@dataclass(frozen=True)
class _Pair:
    """A forearm and its hand, with what all swings of theirs are asked for worked out once.

    `bends` holds the wrist's rotation had the hand played later by each of `shifts`, shape
    (K, F, 4); `inside` where there is such a frame; `turns` and `own` the turns of the forearm and
    of the wrist from frame to frame, shape (F - 1, 3).
    """

    hand: FloatArray
    bend: FloatArray
    bends: FloatArray
    inside: NDArray[np.bool_]
    shifts: NDArray[np.int64]
    turns: FloatArray
    own: FloatArray
    reach: int

    @classmethod
    def watch(cls, forearm: FloatArray, hand: FloatArray, fps: float) -> _Pair:
        """Prepare world rotations, shape (F, 4), continuous in sign."""
        longest = max(2, round(LONGEST_LEAD * fps))
        bend = rotations.make_continuous(rotations.relative(forearm, hand))
        shifts = np.arange(-1, longest + 1)
        places = np.arange(len(hand)) + shifts[:, np.newaxis]
        own = rotations.rotate(forearm[1:], rotations.step_vectors(bend))
        return cls(
            hand=hand,
            bend=bend,
            bends=rotations.relative(forearm[np.clip(places, 0, len(hand) - 1)], hand),
            inside=(places >= 0) & (places < len(hand)),
            shifts=shifts,
            turns=rotations.step_vectors(forearm),
            own=own,
            reach=max(2, round(AROUND * fps)),
        )

    def find_lead(self, first: int, last: int) -> float:
        """Return by how many samples the hand turns ahead in a swing; see `find_lead`."""
        low, high = max(0, first - self.reach), min(len(self.hand) - 1, last + self.reach)
        if swings.turn_range(self.bend[low : high + 1]) < LEAST_BEND:
            return float("nan")
        longest = int(self.shifts[-1])
        at_wrist = _lead_at_wrist(
            self.turns[low:high], self.own[low:high], first - low, last - low, longest
        )
        return float(np.fmax(self._lead_in_world(low, high), at_wrist))

    def _lead_in_world(self, first: int, last: int) -> float:
        """Return the shift of the forearm's pose that leaves the least bend at the wrist."""
        inside = self.inside[:, first : last + 1]
        left = _spread(self.bends[:, first : last + 1], inside)
        left[inside.mean(axis=1) < 0.8] = np.inf
        best = int(np.argmin(left))
        if best in (0, len(left) - 1) or left[best] > CALMER * left[1]:
            return float("nan")
        turned = _spread(self.hand[np.newaxis, first : last + 1], inside[1:2])[0]
        if left[best] > EXPLAINED * turned:
            return float("nan")
        before, least, after = left[best - 1 : best + 2] ** 2
        bow = before - 2.0 * least + after
        refined = 0.5 * (before - after) / bow if np.isfinite(bow) and bow > 0.0 else 0.0
        return float(self.shifts[best] + np.clip(refined, -0.5, 0.5))


def _spread(q: FloatArray, inside: NDArray[np.bool_]) -> FloatArray:
    """Return the rms angle of rotations (K, N, 4) from their mean in each row, degrees."""
    middle = q[:, q.shape[1] // 2, np.newaxis]
    sign = np.where(np.einsum("knc,kmc->kn", q, middle) < 0.0, -1.0, 1.0)
    signed = q * sign[..., np.newaxis]
    mean = np.einsum("knc,kn->kc", signed, inside.astype(np.float64))[:, np.newaxis]
    mean /= np.maximum(np.linalg.norm(mean, axis=-1, keepdims=True), 1e-12)
    sine = np.maximum(1.0 - np.einsum("knc,kmc->kn", signed, mean) ** 2, 0.0)
    count = np.maximum(inside.sum(axis=1), 1)
    return np.asarray(np.degrees(2.0 * np.sqrt(np.sum(sine * inside, axis=1) / count)))


def _lead_at_wrist(
    forearm: FloatArray, own: FloatArray, first: int, last: int, longest: int
) -> float:
    """Return by how many samples the wrist's own turn runs ahead of the forearm's like turn."""
    ahead, longest = max(1, longest // 6), min(longest, len(own) // 2)
    if longest <= ahead or np.sum(forearm[ahead:] * own[:-ahead]) <= np.sum(forearm * own):
        return float("nan")
    lag, likeness = series.find_lag(forearm, own, longest)
    # A wrist that bends and is back when the swing ends has no turn of its own to be early.
    stroke = own[max(0, first + round(lag)) : last]
    way = float(np.linalg.norm(stroke, axis=-1).sum())
    one_way = np.linalg.norm(stroke.sum(axis=0)) >= ONE_WAY * way > 0.0
    return -lag if likeness >= ALIKE and one_way and -lag < 0.75 * longest else float("nan")
