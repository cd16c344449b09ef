# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Where the body's weight is, and whether it stands over its feet.

Segment masses and centres are those of de Leva 1996 (J Biomech 29: 1223-1230, after Zatsiorsky and
Seluyanov), the mean of the female and the male column.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SEGMENTS: dict[str, tuple[float, float]] = {
    # mass in percent of the body, place of the centre as a share of the way to the second end
    "head": (6.81, 0.508),  # neck to crown (de Leva's C7 to vertex)
    "trunk": (43.015, 0.4046),  # mid-shoulder to mid-hip
    "upper_arm": (2.63, 0.5763),  # shoulder to elbow
    "forearm": (1.50, 0.4567),  # elbow to wrist
    "hand": (0.585, 0.7687),  # wrist to third knuckle
    "thigh": (14.47, 0.3854),  # hip to knee
    "shin": (4.57, 0.4374),  # knee to ankle
    "foot": (1.33, 0.4215),  # heel to tip of the toes
}

PENDULUM_RATE = 2.967
"""sqrt(g / l) per second for l = 1.2 x 0.53 x stature (Hof, Gazendam & Sinke 2005; leg length after
Drillis & Contini 1966, from memory) at a stature of 1.75 m. Taken the same for every size, as if a
giant were filmed as a giant."""

DIRECTIONS = 72


def combine_centers(masses: FloatArray, centers: FloatArray) -> FloatArray:
    """Return the common centre of masses, shape (S,), at centers, shape (S, ..., D)."""
    weights = masses.reshape(-1, *(1,) * (centers.ndim - 1))
    return (weights * centers).sum(axis=0) / masses.sum()


def center_of_mass(heads: Mapping[str, FloatArray], tails: Mapping[str, FloatArray]) -> FloatArray:
    """Return the body's centre of mass from its joints.

    Parameters
    ----------
    heads, tails : mapping of part to ndarray, shape (F, 3), metres
        Hips, neck (or head), head, both upper arms, forearms, hands, thighs, shins and feet.

    Returns
    -------
    ndarray, shape (F, 3), metres

    Raises
    ------
    KeyError
        Naming the part that is missing.
    """
    neck = heads["neck"] if "neck" in heads else heads["head"]
    shoulders = 0.5 * (heads["upper_arm.L"] + heads["upper_arm.R"])
    legs = 0.5 * (heads["thigh.L"] + heads["thigh.R"])
    ends: list[tuple[str, FloatArray, FloatArray]] = [
        ("head", neck, tails["head"]),
        ("trunk", shoulders, legs),
    ]
    for side in (".L", ".R"):
        toe = tails[f"toe{side}"] if f"toe{side}" in tails else tails[f"foot{side}"]
        ends += [
            ("upper_arm", heads[f"upper_arm{side}"], heads[f"forearm{side}"]),
            ("forearm", heads[f"forearm{side}"], heads[f"hand{side}"]),
            ("hand", heads[f"hand{side}"], tails[f"hand{side}"]),
            ("thigh", heads[f"thigh{side}"], heads[f"shin{side}"]),
            ("shin", heads[f"shin{side}"], heads[f"foot{side}"]),
            ("foot", heads[f"foot{side}"], toe),
        ]
    masses = np.array([SEGMENTS[name][0] for name, _, _ in ends])
    centers = np.stack([one + SEGMENTS[name][1] * (two - one) for name, one, two in ends])
    return combine_centers(masses, centers)


def extrapolate_center(center: FloatArray, velocity: FloatArray) -> FloatArray:
    """Return the extrapolated centre of mass, x + v / w0: where a slow fall would take it."""
    return center + velocity / PENDULUM_RATE


def support_margin(point: FloatArray, corners: FloatArray, used: BoolArray) -> FloatArray:
    """Return how far inside the support a point lies, negative outside.

    Parameters
    ----------
    point : ndarray, shape (F, 2), metres
    corners : ndarray, shape (F, C, 2), metres
        Points of the soles; the support is their convex hull.
    used : ndarray of bool, shape (F, C)
        Which of them are on the ground.

    Returns
    -------
    ndarray, shape (F,), metres
        Distance to the hull's edge, exact outside, to a few percent of the hull's size inside; NaN
        where nothing is on the ground.
    """
    away = corners - point[:, np.newaxis]
    # A corner off the ground stands in for one on it, and reaches no farther.
    any_used = np.argmax(used, axis=1)[:, np.newaxis, np.newaxis]
    away = np.where(used[..., np.newaxis], away, np.take_along_axis(away, any_used, axis=1))
    step = 2.0 * np.pi / DIRECTIONS
    angles = np.arange(DIRECTIONS)[np.newaxis] * step
    # Each further round looks more closely at both sides of the best direction so far.
    for _ in range(3):
        reach = _farthest(away, angles)
        place = np.argmin(reach, axis=1)[:, np.newaxis]
        best = np.take_along_axis(np.broadcast_to(angles, reach.shape), place, axis=1)
        margin = np.take_along_axis(reach, place, axis=1)[:, 0]
        angles = best + np.linspace(-step, step, 33)
        step /= 16.0
    return np.where(used.any(axis=1), margin, np.nan)


def _farthest(away: FloatArray, angles: FloatArray) -> FloatArray:
    """Return how far corners, (F, C, 2), reach in directions, (F, A) or (1, A), shape (F, A)."""
    reach = away[:, :, np.newaxis, 0] * np.cos(angles)[:, np.newaxis]
    reach += away[:, :, np.newaxis, 1] * np.sin(angles)[:, np.newaxis]
    return np.asarray(reach.max(axis=1))


def widen(points: Sequence[FloatArray], sideways: FloatArray) -> FloatArray:
    """Return each point moved to both sides, shape (F, 2 * N, 3): a line becomes a sole.

    Parameters
    ----------
    points : sequence of ndarray, shape (F, 3), metres
    sideways : ndarray, shape (F, 3), metres
        Half the width of the sole.
    """
    return np.stack([p + sign * sideways for p in points for sign in (1.0, -1.0)], axis=1)
