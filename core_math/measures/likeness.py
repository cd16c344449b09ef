# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How alike two movements are, mirrored or not: correlation over windows, size ratio, offset."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import geometry, series
from .pieces import Steps

FloatArray = NDArray[np.float64]

MIRROR = np.array([-1.0, 1.0, 1.0])
"""Turns a vector in body axes (left, forward, up) into its mirror image."""


@dataclass(frozen=True)
class Twins:
    """How one movement copies another.

    `likeness` is their correlation at the best offset, `offset` in samples is positive where the
    other comes later, `size_ratio` is the other's spread over the first's.
    """

    likeness: float
    offset: float
    size_ratio: float


def in_body_axes(axes: FloatArray, vectors: FloatArray) -> FloatArray:
    """Return world vectors, shape (F, 3), as (left, forward, up), axes (F, 3, 3) in rows."""
    return np.asarray(np.einsum("fij,fj->fi", axes, vectors), dtype=np.float64)


@dataclass(frozen=True)
class Windows:
    """Likeness of two movements over every window of a fixed length, arrays of shape (W,).

    `likeness` is the best correlation at offsets of -1, 0 and 1 `step`, `offset` in samples is
    positive where the other comes later (NaN where the best lies beyond a step), `spread` and
    `other_spread` are the roots of the summed variances.
    """

    likeness: FloatArray
    offset: FloatArray
    spread: FloatArray
    other_spread: FloatArray


def rolling_likeness(
    one: FloatArray,
    other: FloatArray,
    window: int,
    *,
    step: int = 1,
    most_turn: float = 0.0,
    least: float = -1.0,
) -> Steps[Windows]:
    """Compare two movements over every window of a fixed length, near offset zero, with pauses.

    Parameters
    ----------
    one, other : ndarray, shape (F, B, 3)
        B vectors per frame; each window's mean is taken out.
    window : int
        Samples per window, at least 3.
    step : int
        Samples by which the other is tried earlier and later; a parabola through the three
        likenesses gives the offset to a fraction of a sample.
    most_turn : float, degrees
        Up to this much common turn is taken out first: axes read off a body are never exact.
    least : float
        Windows less alike than this before the turn are left as they are.

    Returns
    -------
    Windows
        Starting at samples 0 .. F - window; empty when there are fewer samples than one window.
    """
    count = max(0, len(one) - window + 1)
    if count == 0 or window < 3:
        return Windows(*(np.zeros(0) for _ in range(4)))
    size = float(np.max(np.abs(one), initial=0.0)), float(np.max(np.abs(other), initial=0.0))
    if min(size) <= 0.0:
        return Windows(*(np.zeros(count) for _ in range(4)))
    a, b = one / size[0], other / size[1]
    starts = np.arange(count)
    near = [np.clip(starts + shift, 0, count - 1) for shift in (-step, 0, step)]
    spread_a, spread_b = _rolling_spread(a, window), _rolling_spread(b, window)
    tried = []
    for places in near:
        yield
        tried.append(
            _turned_correlation(a, b, starts, places, window, spread_a, spread_b, most_turn, least)
        )
    early, now, late = tried
    bend = early - 2.0 * now + late
    usable = bend < -1e-15
    shift = np.where(usable, 0.5 * (early - late) / np.where(usable, bend, 1.0), np.nan)
    # At the ends of the clip one of the two neighbours is missing: no offset is told there.
    shift = np.where((starts < step) | (starts >= count - step), 0.0, shift)
    within = np.abs(shift) < 1.0
    # The best of the three, not the parabola's height: short windows would overshoot 1.
    best = np.where(within & (shift != 0.0), np.maximum(now, np.maximum(early, late)), now)
    return Windows(
        likeness=np.clip(best, -1.0, 1.0),
        offset=np.where(within, shift * step, np.nan),
        spread=spread_a * size[0],
        other_spread=spread_b * size[1],
    )


def compare(one: FloatArray, other: FloatArray, longest: int) -> Twins:
    """Compare two movements at their best offset, shapes (N, C), offset within +-`longest`."""
    if len(one) < 3:
        return Twins(0.0, 0.0, 0.0)
    spread, other_spread = (float(np.sqrt(x.var(axis=0).sum())) for x in (one, other))
    if spread <= 0.0:
        return Twins(0.0, 0.0, 0.0)
    # Correlation does not know size; unit spread keeps it clear of rounding floors.
    scaled = other / other_spread if other_spread > 0.0 else other
    offset, likeness = series.find_lag(one / spread, scaled, min(longest, len(one) - 3))
    return Twins(likeness, offset, other_spread / spread)


def symmetry_index(right: ArrayLike, left: ArrayLike) -> FloatArray:
    """Return (R - L) / (0.5 (R + L)) in percent (Robinson, Herzog & Nigg 1987); 0 for 0 and 0."""
    r, s = np.asarray(right, dtype=np.float64), np.asarray(left, dtype=np.float64)
    total = r + s
    return 200.0 * (r - s) / np.where(total == 0.0, 1.0, total)


def _rolling_mean(values: FloatArray, window: int) -> FloatArray:
    sums = np.concatenate((np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)))
    return np.asarray((sums[window:] - sums[:-window]) / window)


def _rolling_spread(vectors: FloatArray, window: int) -> FloatArray:
    """Return the root of the summed variances over every window, vectors of size about 1."""
    centred = vectors - vectors.mean(axis=0)
    mean = _rolling_mean(centred, window)
    power = _rolling_mean(np.sum(centred * centred, axis=(1, 2)), window)
    variance = power - np.sum(mean * mean, axis=(1, 2))
    # What cancels out to less than this is rounding, not movement.
    return np.sqrt(np.where(variance > 1e-12, variance, 0.0))


def _turned_correlation(
    a: FloatArray,
    b: FloatArray,
    starts: NDArray[np.int64],
    places: NDArray[np.int64],
    window: int,
    spread_a: FloatArray,
    spread_b: FloatArray,
    most_turn: float,
    least: float,
) -> FloatArray:
    """Correlate windows of `a` with those of `b` at other places, all by one shift.

    The common turn w of `b` is found to second order from the cross-covariance C, as M w = v with
    v the skew part of C and M = tr(C) - sym(C); what it gains is then exact (Rodrigues).
    """
    inside = places - starts
    shift = int(inside[np.argmax(np.abs(inside))])
    moved = b[np.clip(np.arange(len(b)) + shift, 0, len(b) - 1)]
    centre_a, centre_b = a - a.mean(axis=0), moved - moved.mean(axis=0)
    products = np.einsum("fbi,fbj->fij", centre_a, centre_b)
    mean_a, mean_b = _rolling_mean(centre_a, window), _rolling_mean(centre_b, window)
    cross = _rolling_mean(products, window) - np.einsum("fbi,fbj->fij", mean_a, mean_b)
    trace = np.trace(cross, axis1=1, axis2=2)
    both = spread_a * spread_b[places]
    usable = both > 0.0
    plain = np.where(usable, trace / np.where(usable, both, 1.0), 0.0)
    close = np.flatnonzero(usable & (plain >= least))
    if most_turn > 0.0 and len(close):
        plain[close] += _gain_by_turning(cross[close], most_turn) / both[close]
    return plain


def _gain_by_turning(cross: FloatArray, most_turn: float) -> FloatArray:
    """Return what the best common turn adds to the traces of cross-covariances, (W, 3, 3)."""
    trace = np.trace(cross, axis1=1, axis2=2)
    skew = np.stack(
        (
            cross[:, 2, 1] - cross[:, 1, 2],
            cross[:, 0, 2] - cross[:, 2, 0],
            cross[:, 1, 0] - cross[:, 0, 1],
        ),
        axis=-1,
    )
    bend = trace[:, None, None] * np.eye(3) - 0.5 * (cross + np.swapaxes(cross, 1, 2))
    bend = bend + (1e-9 + 1e-6 * np.abs(trace))[:, None, None] * np.eye(3)
    turn = np.linalg.solve(bend, skew[..., np.newaxis])[..., 0]
    angle = geometry.lengths(turn)
    shrink = np.minimum(1.0, np.radians(most_turn) / np.where(angle > 0.0, angle, 1.0))
    turn, angle = turn * shrink[:, np.newaxis], np.maximum(angle * shrink, 1e-9)
    along, across = np.sum(turn * skew, -1), np.einsum("fi,fij,fj->f", turn, bend, turn)
    gained = np.sin(angle) / angle * along - (1.0 - np.cos(angle)) / angle**2 * across
    return np.maximum(gained, 0.0)
