# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Paths of points: steps, curvature, sagitta, distance of a sample from its neighbours' arc."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from . import geometry

FloatArray = NDArray[np.float64]


NO_CHORD = 1e-12
"""Share of a path's reach under which the way from its start to its end is rounding."""


def step_lengths(positions: FloatArray) -> FloatArray:
    """Return the distance from each frame to the next, shape (F - 1, ...), from (F, ..., D)."""
    return geometry.lengths(np.diff(positions, axis=0))


def menger_curvature(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Return 1 / R of the circle through three points, shape (..., D); 0 where two coincide."""
    one, two, three = b - a, c - b, c - a
    lengths = geometry.lengths(one) * geometry.lengths(two) * geometry.lengths(three)
    # Lagrange's identity gives twice the triangle's area in any number of dimensions.
    square = np.sum(one * one, axis=-1) * np.sum(three * three, axis=-1)
    double_area = np.sqrt(np.maximum(square - np.sum(one * three, axis=-1) ** 2, 0.0))
    return np.where(lengths > 0.0, 2.0 * double_area / np.where(lengths > 0.0, lengths, 1.0), 0.0)


def bend_halfway(
    path: FloatArray, firsts: NDArray[np.int64], lasts: NDArray[np.int64]
) -> FloatArray:
    """Return how far a path lies beside its chords halfway, over their lengths.

    At most the sagitta, and far quicker to tell.

    Parameters
    ----------
    path : ndarray, shape (F, D)
    firsts, lasts : ndarray of int, shape (S,)
        The ends of each stretch, both included.

    Returns
    -------
    ndarray, shape (S,)
        0 for no chord.
    """
    chord, off = path[lasts] - path[firsts], path[(firsts + lasts) // 2] - path[firsts]
    square = geometry.dots(chord, chord)
    safe = np.where(square > 0.0, square, 1.0)
    across = off - (geometry.dots(off, chord) / safe)[:, np.newaxis] * chord
    return np.where(square > 0.0, geometry.lengths(across) / np.sqrt(safe), 0.0)


def sagitta_ratio(points: FloatArray) -> float:
    """Return the largest distance from the chord over the chord's length; 0 for no chord.

    A chord that is nothing beside the path itself is none: only rounding keeps its ends apart.
    """
    offsets = points - points[0]
    size = float(np.abs(offsets).max(initial=0.0))
    if size == 0.0 or len(points) < 3:
        return 0.0
    offsets /= size
    chord = offsets[-1]
    square = float(chord @ chord)
    if square < NO_CHORD**2:
        return 0.0
    along = offsets @ chord
    # Pythagoras tells which point lies farthest beside the chord, though not finely how far.
    farthest = int((geometry.dots(offsets, offsets) - along**2 / square).argmax())
    across = offsets[farthest] - float(along[farthest]) / square * chord
    return math.sqrt(float(across @ across) / square)
