# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Sampled signals: robust spread, differences, runs, one-sided prediction, smoothing, lag."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import geometry

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MAD_TO_SIGMA = 1.482602218505602
"""1 / Phi^-1(3/4): makes the median absolute deviation a standard deviation for normal noise."""


RUNNING = 1e-12
"""Share of a running sum that its rounding may be, with much to spare."""

SHORT_SIGNAL = 1 << 9
"""Samples of a signal that is compared at all lags at once."""


def median_absolute_deviation(values: ArrayLike, axis: int = 0) -> FloatArray:
    """Return the scaled median absolute deviation, NaN left out; 0 for no values."""
    data = np.asarray(values, dtype=np.float64)
    if data.shape[axis] == 0:
        return np.zeros(np.delete(data.shape, axis))
    spread = np.median(np.abs(data - np.median(data, axis=axis, keepdims=True)), axis=axis)
    return np.asarray(MAD_TO_SIGMA * spread, dtype=np.float64)


def find_median(values: FloatArray) -> float:
    """Return the median of numbers, shape (N,) with N above 0; many times as quick as NumPy's."""
    middle = len(values) // 2
    if len(values) % 2:
        return float(np.partition(values, middle)[middle])
    low, high = np.partition(values, (middle - 1, middle))[middle - 1 : middle + 1].tolist()
    return float(0.5 * (low + high))


def find_runs(mask: ArrayLike) -> list[tuple[int, int]]:
    """List the runs of True as (first, last) indices, both included."""
    flat = np.asarray(mask, dtype=np.bool_).astype(np.int8)
    edges = np.diff(np.concatenate(([0], flat, [0])))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def close_gaps(mask: ArrayLike, longest: int) -> BoolArray:
    """Fill runs of False of at most `longest` samples that lie between two True ones."""
    closed = np.array(mask, dtype=np.bool_)
    for first, last in find_runs(~closed):
        if first > 0 and last < len(closed) - 1 and last - first + 1 <= longest:
            closed[first : last + 1] = True
    return closed


def rolling_maximum(values: FloatArray, window: int) -> FloatArray:
    """Return the largest value over every window along axis 0, (F, ...) to (F - window + 1, ...).

    Parameters
    ----------
    values : ndarray, shape (F, ...)
        At least `window` samples.
    window : int
        Samples per window, at least 1.
    """
    span = 1
    while 2 * span <= window:
        values = np.maximum(values[:-span], values[span:])
        span *= 2
    rest = window - span
    return np.asarray(np.maximum(values[: len(values) - rest], values[rest:]))


def rolling_minimum(values: FloatArray, window: int) -> FloatArray:
    """Return the smallest value over every window, as `rolling_maximum`."""
    return -rolling_maximum(-values, window)


def predict_next(samples: FloatArray) -> FloatArray:
    """Predict the sample after the last three, exact for constant acceleration.

    x[n] = 3 x[n-1] - 3 x[n-2] + x[n-3], along axis 0 of an array of three or more samples.
    """
    return 3.0 * samples[-1] - 3.0 * samples[-2] + samples[-3]


def smooth(values: FloatArray, fps: float, cutoff_hz: float) -> FloatArray:
    """Low-pass along axis 0, zero phase, by frequency, so that it does the same at every rate.

    A Gaussian whose response falls to one half of its power at `cutoff_hz`; ends are continued by
    point reflection, which keeps straight lines straight. Where the rate is too low for the
    cutoff to lie inside the band the values come back unchanged.

    Parameters
    ----------
    values : ndarray, shape (F, ...)
    fps, cutoff_hz : float
        Frames per second and half-power frequency in hertz.
    """
    sigma = np.sqrt(np.log(2.0)) / (2.0 * np.pi * cutoff_hz) * fps
    if len(values) < 3 or sigma < 0.3:
        return values.astype(np.float64, copy=True)
    count = len(values)
    radius = min(int(np.ceil(4.0 * sigma)), count - 1)
    middle, *weights = _make_kernel(sigma, radius)
    padded = np.empty((count + 2 * radius, *values.shape[1:]))
    np.subtract(2.0 * values[:1], values[radius:0:-1], out=padded[:radius])
    padded[radius : radius + count] = values
    np.subtract(2.0 * values[-1:], values[-2 : -radius - 2 : -1], out=padded[radius + count :])
    result: FloatArray = middle * values
    for away, weight in enumerate(weights, 1):
        low, high = radius - away, radius + away
        both = padded[low : low + count] + padded[high : high + count]
        both *= weight
        result += both
    return result


@lru_cache(maxsize=64)
def _make_kernel(sigma: float, radius: int) -> tuple[float, ...]:
    """Return the weights of the sample itself and of those to either side."""
    kernel = np.exp(-0.5 * (np.arange(radius + 1) / sigma) ** 2)
    return tuple((kernel / (2.0 * kernel.sum() - 1.0)).tolist())


def central_velocity(values: FloatArray, fps: float) -> FloatArray:
    """Return the rate of change per second along axis 0, shape (F, ...), one-sided at the ends."""
    if len(values) < 2:
        return np.zeros(values.shape)
    return np.gradient(values, axis=0) * fps


def correlation_at_lags(signal: FloatArray, reply: FloatArray, longest: int) -> FloatArray:
    """Pearson correlation of `reply` against `signal` delayed by -longest .. +longest samples.

    Each is taken on the overlap only, which leaves the peak unbiased (a zero-padded sum is not).

    Parameters
    ----------
    signal, reply : ndarray, shape (N,) or (N, C)
        With C components the correlation is that of all components together.
    longest : int
        Largest lag in samples; at least three samples must overlap.

    Returns
    -------
    ndarray, shape (2 * longest + 1,)
        0 where one of the two does not vary.
    """
    one = signal.reshape(len(signal), -1)
    two = reply.reshape(len(reply), -1)
    lags = np.arange(-longest, longest + 1)
    if one.size <= SHORT_SIGNAL:
        return _correlate_lagged(one, two, lags)
    result = np.zeros(len(lags))
    for number, lag in enumerate(lags.tolist()):
        if len(one) - abs(lag) < 3:
            continue
        a = one[: len(one) - lag] if lag >= 0 else one[-lag:]
        b = two[lag:] if lag >= 0 else two[: len(one) + lag]
        result[number] = _correlate_lagged(a, b, np.zeros(1, dtype=np.int64))[0]
    return result


def _correlate_lagged(one: FloatArray, two: FloatArray, lags: NDArray[np.int64]) -> FloatArray:
    """Correlate (N, C) with (N, C) at these lags, each over the samples both have."""
    count = len(one)
    if len(lags) == 1 and lags[0] == 0:
        a, b = (one - one.mean(axis=0))[np.newaxis], (two - two.mean(axis=0))[np.newaxis]
        overlap = np.array([count])
    else:
        places = np.arange(count) + lags[:, np.newaxis]
        inside = (places >= 0) & (places < count)
        overlap = inside.sum(axis=1)
        both, share = inside[:, :, np.newaxis], 1.0 / np.maximum(overlap, 1)[:, np.newaxis]
        a, b = one * both, two[np.clip(places, 0, count - 1)] * both
        a = (a - (a.sum(axis=1) * share)[:, np.newaxis]) * both
        b = (b - (b.sum(axis=1) * share)[:, np.newaxis]) * both
    shared, power_a, power_b = (np.einsum("lnc,lnc->l", x, y) for x, y in ((a, b), (a, a), (b, b)))
    power = np.sqrt(power_a * power_b)
    told = (power > 1e-12) & (overlap >= 3)
    return np.asarray(np.where(told, shared / np.where(told, power, 1.0), 0.0))


def find_lag(signal: FloatArray, reply: FloatArray, longest: int) -> tuple[float, float]:
    """Find by how many samples `reply` follows `signal`, to a fraction of a sample.

    Parameters
    ----------
    signal, reply : ndarray, shape (N,) or (N, C)
    longest : int
        Largest lag to try, in samples.

    Returns
    -------
    tuple of float and float
        Lag (negative when the reply leads) and the correlation there; the peak is refined by a
        parabola through its neighbours.
    """
    return find_best_lag(correlation_at_lags(signal, reply, longest))


def find_best_lag(likeness: FloatArray) -> tuple[float, float]:
    """Return the lag of the highest correlation, see `find_lag`, and the correlation there.

    Parameters
    ----------
    likeness : ndarray, shape (2 * longest + 1,)
        As `correlation_at_lags` gives it.
    """
    longest = len(likeness) // 2
    best = int(np.argmax(likeness))
    shift = 0.0
    if 0 < best < len(likeness) - 1:
        left, middle, right = likeness[best - 1 : best + 2]
        bend = left - 2.0 * middle + right
        if bend < -1e-15:
            shift = float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5))
    return best - longest + shift, float(likeness[best])


def find_lags_in_stretches(
    signal: FloatArray,
    reply: FloatArray,
    starts: NDArray[np.int64],
    stops: NDArray[np.int64],
    longest: NDArray[np.int64],
) -> tuple[FloatArray, FloatArray]:
    """Find by how many samples `reply` follows `signal` in each of many stretches.

    The same as `find_lag` for every stretch by itself; running sums serve all of them at once.

    Parameters
    ----------
    signal, reply : ndarray, shape (N, C)
    starts, stops : ndarray of int, shape (S,)
        Stops are not included.
    longest : ndarray of int, shape (S,)
        Largest lag to try in each stretch, in samples.

    Returns
    -------
    lags, likeness : ndarray, shape (S,)
    """
    most, count = int(longest.max(initial=0)), len(signal)
    lags = np.arange(-most, most + 1)
    padded = np.zeros((count + 2 * most, reply.shape[1]))
    padded[most : most + count] = reply
    # What each sample has in common with the reply at every lag, 0 beyond the ends.
    delayed = np.lib.stride_tricks.sliding_window_view(padded, 2 * most + 1, axis=0)
    shared = _run_sums((signal[:, np.newaxis] @ delayed)[:, 0])
    rows = np.arange(len(lags))[:, np.newaxis]
    # Of the signal all but the last samples have a reply, of the reply all but the first.
    first = starts + np.maximum(-lags, 0)[:, np.newaxis]
    stop = stops - np.maximum(lags, 0)[:, np.newaxis]
    overlap = stop - first
    first, stop = np.where(overlap >= 3, (first, stop), 0)
    late = np.where(overlap >= 3, lags[:, np.newaxis], 0)
    sums, own = _run_sums(signal), _run_sums(geometry.dots(signal, signal))
    later_sums, other = _run_sums(reply), _run_sums(geometry.dots(reply, reply))
    means = 1.0 / np.maximum(overlap, 1)
    a, b = sums[stop] - sums[first], later_sums[stop + late] - later_sums[first + late]
    common = shared[stop, rows] - shared[first, rows] - geometry.dots(a, b) * means
    power_a = own[stop] - own[first] - geometry.dots(a, a) * means
    power_b = other[stop + late] - other[first + late] - geometry.dots(b, b) * means
    # What the rounding of the running sums may leave of a signal at rest is no signal.
    told = (power_a > RUNNING * own[stop]) & (power_b > RUNNING * other[stop + late])
    power = np.sqrt(np.where(told, power_a * power_b, 1.0))
    told &= (power > 1e-12) & (overlap >= 3)
    likeness = np.where(told, common / np.where(told, power, 1.0), 0.0)
    likeness[np.abs(lags)[:, np.newaxis] > longest] = -np.inf
    best = likeness.argmax(axis=0)
    inner = np.clip(best, 1, max(1, 2 * most - 1))
    shift = np.zeros(len(starts))
    if most > 0:
        left, middle, right = (
            np.take_along_axis(likeness, (inner + step)[np.newaxis], axis=0)[0]
            for step in (-1, 0, 1)
        )
        bent = (best == inner) & np.isfinite(left) & np.isfinite(right)
        bend = np.where(bent, left, 0.0) - 2.0 * middle + np.where(bent, right, 0.0)
        bent &= bend < -1e-15
        shift[bent] = np.clip(0.5 * (left[bent] - right[bent]) / bend[bent], -0.5, 0.5)
    return best - most + shift, np.take_along_axis(likeness, best[np.newaxis], axis=0)[0]


def _run_sums(values: FloatArray) -> FloatArray:
    """Return the sums of all samples before each one and in the end, (N + 1, ...) from (N, ...)."""
    sums = np.zeros((len(values) + 1, *values.shape[1:]))
    np.cumsum(values, axis=0, out=sums[1:])
    return sums
