# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How one part answers another: how much of the driver's movement it gives, and how late.

A follower that drags behind its driver like a first-order system with time constant tau gives
1 / sqrt(1 + (w tau)^2) of a swing of angular frequency w and lags it by atan(w tau) / w.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import series

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Answer:
    """How a reply follows its driver.

    `gain` is the reply's spread over the driver's, `lag` in samples is negative where the reply
    leads, `likeness` is the size of their correlation at that lag, and `against` says whether the
    reply turns the other way.
    """

    gain: float
    lag: float
    likeness: float
    against: bool


def principal_signal(vectors: FloatArray) -> FloatArray:
    """Project movement on the axis along which most of it happens.

    Parameters
    ----------
    vectors : ndarray, shape (N, D)
        Rates or displacements; their mean is kept.

    Returns
    -------
    ndarray, shape (N,)
        The sign of the axis is chosen so that the sum is not negative.
    """
    if len(vectors) == 0:
        return np.zeros(0)
    _, axes = np.linalg.eigh(vectors.T @ vectors)
    signal: FloatArray = vectors @ axes[:, -1]
    return -signal if signal.sum() < 0.0 else signal


def find_answer(driver: FloatArray, reply: FloatArray, longest: int) -> Answer:
    """Measure by how much and how late a reply follows its driver.

    Parameters
    ----------
    driver, reply : ndarray, shape (N,)
        One signal each, in the same unit.
    longest : int
        Largest lag to try, in samples, either way.

    Returns
    -------
    Answer
        All zero where the driver does not vary; the lag is 0 where the reply does not.
    """
    spread = float(np.std(driver)) if len(driver) else 0.0
    if spread <= 0.0 or len(driver) < 3:
        return Answer(0.0, 0.0, 0.0, False)
    longest = min(longest, len(driver) - 3)
    found = series.correlation_at_lags(driver, reply, longest)
    # Half a period later a steady swing is as like with its sign turned: rounding must not decide.
    against = bool(-found.min() > found.max() + 1e-9)
    lag, likeness = series.find_best_lag(-found if against else found)
    if likeness <= 0.0:
        lag = 0.0
    first, last = max(0, round(-lag)), len(driver) - max(0, round(lag))
    moved = round(lag)
    part, answer = driver[first:last], reply[first + moved : last + moved]
    own = float(np.std(part))
    gain = float(np.std(answer)) / own if own > 1e-12 * spread else 0.0
    return Answer(gain, lag, likeness, against)
