# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Easing between two keys: sine, powers, exponential, circle, overshoot, bounce, elastic.

Every family is a curve from (0, 0) to (1, 1) that eases in; easing out is the same curve turned
about its middle, easing in and out is one half of each. That much is common to all programs
(R. Penner's equations); where the host differs (an exponential that truly starts at 0, and the
elastic's amplitude in units of the channel) the host is followed.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.signedinteger[Any]]

BACK, BOUNCE, CIRC, CUBIC, ELASTIC, EXPO, QUAD, QUART, QUINT, SINE = range(3, 13)
"""The numbers under which the host keeps the families with a key."""

AUTO, EASE_IN, EASE_OUT, EASE_IN_OUT = range(4)

_STRONGEST = 2.0**-10
_SNAPPY = (BACK, BOUNCE, ELASTIC)
"""Families whose automatic mode eases out: they show at the end of a move."""


def ease(
    family: int,
    mode: IntArray,
    u: FloatArray,
    span: FloatArray,
    change: FloatArray,
    back: FloatArray,
    amplitude: FloatArray,
    period: FloatArray,
) -> FloatArray:
    """Return how much of the change is done, for many places on many segments.

    Parameters
    ----------
    family : int
        One of the families above.
    mode : ndarray of int, shape (N,)
        AUTO, EASE_IN, EASE_OUT or EASE_IN_OUT.
    u : ndarray, shape (N,)
        Share of the time between the two keys that has passed, 0 to 1.
    span : ndarray, shape (N,), frames
    change : ndarray, shape (N,)
        Difference of the two keys' values.
    back : ndarray, shape (N,)
        Strength of the overshoot of BACK.
    amplitude, period : ndarray, shape (N,)
        Size (in the channel's unit) and length (frames) of the swings of ELASTIC.

    Returns
    -------
    ndarray, shape (N,)
        In the channel's unit, over the value of the first key.
    """
    chosen = np.where(mode == AUTO, EASE_OUT if family in _SNAPPY else EASE_IN, mode)
    both = chosen == EASE_IN_OUT
    out = (chosen == EASE_OUT) | (both & (u >= 0.5))
    # Seen from the end that eases: the first half of "in and out" is an easing in of half size.
    inner = np.where(both, 2.0 * np.minimum(u, 1.0 - u), np.where(out, 1.0 - u, u))
    if family == ELASTIC:
        done = _swing(inner, both, span, change, amplitude, period)
    elif family == BACK:
        strength = np.where(both, 1.525 * back, back)
        done = change * inner * inner * ((strength + 1.0) * inner - strength)
    else:
        done = change * _SIMPLE[family](inner)
    done = np.where(both, 0.5 * done, done)
    return np.where(out, change - done, done)


def _swing(
    u: FloatArray,
    both: NDArray[np.bool_],
    span: FloatArray,
    change: FloatArray,
    amplitude: FloatArray,
    period: FloatArray,
) -> FloatArray:
    """Swings that grow towards the end, their size given in the channel's own unit."""
    before_end = u - 1.0
    usual = span * np.where(both, 0.45, 0.3)
    length = np.where(period == 0.0, usual, period)
    length = np.where(length == 0.0, 1.0, length)
    # Swings smaller than the change start as large as the change and are blended in.
    small = (amplitude == 0.0) | (amplitude < np.abs(change))
    wide = np.where(small, 1.0, amplitude)
    share = np.clip(np.where(small, 0.0, change / wide), -1.0, 1.0)
    shift = np.where(small, length / 4.0, length / (2.0 * np.pi) * np.arcsin(share))
    reach = np.where(shift == 0.0, 1.0, np.abs(shift))
    near = np.clip(np.abs(before_end * span) / reach, 0.0, 1.0)
    size = np.where(change == 0.0, 1.0, np.abs(change))
    blend = np.where(small, amplitude / size * near + (1.0 - near), 1.0)
    wave = np.sin((before_end * span - shift) * (2.0 * np.pi) / length)
    done = -blend * np.where(small, change, amplitude) * np.exp2(10.0 * before_end) * wave
    return np.where(u <= 0.0, 0.0, np.where(u >= 1.0, change, done))


def _bounce(u: FloatArray) -> FloatArray:
    """Four parabolas that touch the ground, seen from the end."""
    left = 1.0 - u
    arcs = (
        (1.0 / 2.75, 0.0, 0.0),
        (2.0 / 2.75, 1.5 / 2.75, 0.75),
        (2.5 / 2.75, 2.25 / 2.75, 0.9375),
        (np.inf, 2.625 / 2.75, 0.984375),
    )
    height = np.select(
        [left < end for end, _, _ in arcs],
        [7.5625 * (left - middle) ** 2 + base for _, middle, base in arcs],
    )
    return 1.0 - height


_SIMPLE: dict[int, Callable[[FloatArray], FloatArray]] = {
    SINE: lambda u: 1.0 - np.cos(u * (np.pi / 2.0)),
    QUAD: lambda u: u**2,
    CUBIC: lambda u: u**3,
    QUART: lambda u: u**4,
    QUINT: lambda u: u**5,
    EXPO: lambda u: (np.exp2(10.0 * (u - 1.0)) - _STRONGEST) / (1.0 - _STRONGEST),
    CIRC: lambda u: 1.0 - np.sqrt(np.maximum(1.0 - u * u, 0.0)),
    BOUNCE: _bounce,
}
