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
CALMER = 0.7  # of the wrist's bending may be left when the hand is played later
EXPLAINED = 0.7  # of the hand's turning may be no copy of the forearm's
ALIKE = 0.9  # likeness from which the wrist's own turn is the forearm's
ONE_WAY = 0.5  # of a wrist's way goes one way when it turns with the forearm
LONGEST_STILL = 0.75  # s: a still wrist is followed this far beyond the swing
STILL_BEND = 0.5  # degrees, and twice the wrist's turn in the swing: still
REST_RATE = 8.0  # deg/s: a forearm that turns slower rests, and shows no stiffness


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
    moving = np.linalg.norm(steps, axis=-1) * fps > REST_RATE
    found = []
    for swing in swings.find_swings(steps, fps, least_degrees=least_degrees, still_rate=STILL_RATE):
        shortest = max(FEWEST_SAMPLES, SHORTEST * fps)
        if swing.peak_rate < least_rate or swing.last - swing.first < shortest:
            continue
        first, last = swings.core(steps, swing, CORE)
        turned = swings.turn_range(bend[first : last + 1])
        still = swings.grow_still(
            bend, first, last, STILL_BEND + 2.0 * turned, round(LONGEST_STILL * fps)
        )
        seen = still[0] + np.flatnonzero(moving[still[0] : still[1]])
        found.append(
            WristSwing(
                first=swing.first,
                last=swing.last,
                peak=swing.peak,
                degrees=swing.degrees,
                wrist_degrees=turned,
                gain=turned / swings.turned_degrees(steps, first, last),
                lead=find_lead(forearm, hand, swing.first, swing.last, fps) / fps,
                still_first=min(int(seen[0]), swing.first),
                still_last=max(int(seen[-1]) + 1, swing.last),
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
    reach, longest = max(2, round(AROUND * fps)), max(2, round(LONGEST_LEAD * fps))
    low, high = max(0, first - reach), min(len(hand) - 1, last + reach)
    bend = rotations.make_continuous(
        rotations.relative(forearm[low : high + 1], hand[low : high + 1])
    )
    if swings.turn_range(bend) < LEAST_BEND:
        return float("nan")
    in_world = _lead_in_world(forearm, hand, low, high, longest)
    turns = rotations.step_vectors(forearm[low : high + 1])
    own = rotations.rotate(forearm[low + 1 : high + 1], rotations.step_vectors(bend))
    at_wrist = _lead_at_wrist(turns, own, first - low, last - low, longest)
    return float(np.fmax(in_world, at_wrist))


def _lead_in_world(
    forearm: FloatArray, hand: FloatArray, first: int, last: int, longest: int
) -> float:
    """Return the shift of the forearm's pose that leaves the least bend at the wrist."""
    rows = np.arange(first, last + 1)
    shifts = np.arange(-1, longest + 1)
    places = rows + shifts[:, np.newaxis]
    inside = (places >= 0) & (places < len(forearm))
    usable = inside.mean(axis=1) >= 0.8
    bend = rotations.relative(forearm[np.clip(places, 0, len(forearm) - 1)], hand[rows])
    left = _spread(bend, inside)
    left[~usable] = np.inf
    best = int(np.argmin(left))
    turned = _spread(hand[rows][np.newaxis], np.ones((1, len(rows)), dtype=np.bool_))[0]
    if best in (0, len(shifts) - 1):
        return float("nan")
    if left[best] > CALMER * left[1] or left[best] > EXPLAINED * turned:
        return float("nan")
    before, least, after = left[best - 1 : best + 2] ** 2
    bow = before - 2.0 * least + after
    refined = 0.5 * (before - after) / bow if np.isfinite(bow) and bow > 0.0 else 0.0
    return float(shifts[best] + np.clip(refined, -0.5, 0.5))


def _spread(q: FloatArray, inside: NDArray[np.bool_]) -> FloatArray:
    """Return the rms angle of rotations (K, N, 4) from their mean in each row, degrees."""
    middle = q[:, q.shape[1] // 2, np.newaxis]
    signed = q * np.where(np.sum(q * middle, axis=-1, keepdims=True) < 0.0, -1.0, 1.0)
    mean = np.sum(signed * inside[..., np.newaxis], axis=1, keepdims=True)
    mean /= np.maximum(np.linalg.norm(mean, axis=-1, keepdims=True), 1e-12)
    sine = np.maximum(1.0 - np.sum(signed * mean, axis=-1) ** 2, 0.0)
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
