# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How far one chain of joints copies another, pasted as it is or mirrored.

Each joint's turning is compared with its peer's in the bones' own axes, where pasted keys are
equal whatever way the bones rest. A mirrored paste turns the sign of some axes, the same for all
joints, so the best signs are taken. A free alignment (Procrustes) would be wrong here: it turns
the delay of a circling strand into a rotation and sees copies where there are none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import rotations

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Copies:
    """Likeness of two chains in windows that start at `starts`, arrays of shape (W,).

    `likeness` is the best correlation over all offsets tried, `offset` the one it is found at in
    samples (positive: the other chain comes later), `spread` and `other_spread` the root mean
    square turn in degrees of the two chains' joints.
    """

    starts: IntArray
    likeness: FloatArray
    offset: FloatArray
    spread: FloatArray
    other_spread: FloatArray


def turn_vectors(local_rotations: FloatArray) -> FloatArray:
    """Return each joint's turn away from its own average, in its own axes, degrees.

    Parameters
    ----------
    local_rotations : ndarray, shape (F, J, 4)
        Rotations relative to the parent, continuous sign. How a bone rests drops out.

    Returns
    -------
    ndarray, shape (F, J, 3)
    """
    typical = rotations.normalize(local_rotations.mean(axis=0))
    return rotations.rotation_vector(rotations.relative(typical[np.newaxis], local_rotations))


def find_copies(
    one: FloatArray, other: FloatArray, window: int, hop: int, offsets: IntArray
) -> Copies:
    """Compare two chains window by window at several offsets.

    Parameters
    ----------
    one, other : ndarray, shape (F, J, 3)
        Turns of joints that stand for each other (see `turn_vectors`).
    window, hop : int
        Samples per window and from one window to the next.
    offsets : ndarray of int
        Offsets to try, rising, evenly spaced, 0 among them.

    Returns
    -------
    Copies
        No windows when there are fewer samples than one window.
    """
    starts = np.arange(0, max(0, len(one) - window + 1), max(1, hop))
    if len(starts) and starts[-1] < len(one) - window:
        starts = np.append(starts, len(one) - window)
    spread, other_spread = _spreads(one, starts, window), _spreads(other, starts, window)
    curve = np.full((len(offsets), len(starts)), -1.0)
    for row, offset in enumerate(offsets.tolist()):
        inside = (starts + offset >= 0) & (starts + offset + window <= len(one))
        if inside.any():
            curve[row, inside] = _aligned_correlation(
                one, other, starts[inside], starts[inside] + offset, window
            )
    best = np.argmax(curve, axis=0) if len(starts) else np.zeros(0, dtype=np.int64)
    columns = np.arange(len(starts))
    step = int(offsets[1] - offsets[0]) if len(offsets) > 1 else 1
    shift = np.zeros(len(starts))
    middle = (best > 0) & (best < len(offsets) - 1)
    if middle.any():
        low, top, high = (curve[best[middle] + d, columns[middle]] for d in (-1, 0, 1))
        bend = low - 2.0 * top + high
        usable = (bend < -1e-15) & (low > -1.0) & (high > -1.0)
        shift[middle] = np.where(
            usable, np.clip(0.5 * (low - high) / np.where(usable, bend, 1.0), -0.5, 0.5), 0.0
        )
    return Copies(
        starts=starts,
        likeness=np.maximum(curve[best, columns], 0.0) if len(starts) else np.zeros(0),
        offset=offsets[best] + shift * step if len(starts) else np.zeros(0),
        spread=spread,
        other_spread=other_spread,
    )


def _windows(vectors: FloatArray, starts: IntArray, window: int) -> FloatArray:
    """Return windows with their mean taken out, shape (W, window, J, 3)."""
    rows = starts[:, np.newaxis] + np.arange(window)
    pieces = vectors[rows]
    return pieces - pieces.mean(axis=1, keepdims=True)


def _spreads(vectors: FloatArray, starts: IntArray, window: int) -> FloatArray:
    pieces = _windows(vectors, starts, window)
    return np.sqrt(np.mean(np.sum(pieces * pieces, axis=-1), axis=(1, 2)))


def _aligned_correlation(
    one: FloatArray, other: FloatArray, starts: IntArray, places: IntArray, window: int
) -> FloatArray:
    a, b = _windows(one, starts, window), _windows(other, places, window)
    # The best sign of an axis is the one that makes its share of the covariance positive.
    aligned = np.abs(np.einsum("wnji,wnji->wi", a, b)).sum(axis=-1)
    power = np.sqrt(np.sum(a * a, axis=(1, 2, 3)) * np.sum(b * b, axis=(1, 2, 3)))
    return np.where(power > 1e-12, aligned / np.where(power > 1e-12, power, 1.0), 0.0)
