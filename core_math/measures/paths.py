# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Paths of points: steps, curvature, sagitta, distance of a sample from its neighbours' arc."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def step_lengths(positions: FloatArray) -> FloatArray:
    """Return the distance from each frame to the next, shape (F - 1, ...), from (F, ..., D)."""
    return np.linalg.norm(np.diff(positions, axis=0), axis=-1)


def menger_curvature(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Return 1 / R of the circle through three points, shape (..., D); 0 where two coincide."""
    one, two, three = b - a, c - b, c - a
    lengths = (
        np.linalg.norm(one, axis=-1) * np.linalg.norm(two, axis=-1) * np.linalg.norm(three, axis=-1)
    )
    # Lagrange's identity gives twice the triangle's area in any number of dimensions.
    square = np.sum(one * one, axis=-1) * np.sum(three * three, axis=-1)
    double_area = np.sqrt(np.maximum(square - np.sum(one * three, axis=-1) ** 2, 0.0))
    return np.where(lengths > 0.0, 2.0 * double_area / np.where(lengths > 0.0, lengths, 1.0), 0.0)


def distance_from_chord(points: FloatArray) -> FloatArray:
    """Return each point's distance from the line through the first and last, shape (N,)."""
    chord = points[-1] - points[0]
    length = float(np.linalg.norm(chord))
    offsets = points - points[0]
    if length == 0.0:
        straight: FloatArray = np.linalg.norm(offsets, axis=-1)
        return straight
    direction = chord / length
    across = offsets - (offsets @ direction)[:, np.newaxis] * direction
    return np.linalg.norm(across, axis=-1)


def sagitta_ratio(points: FloatArray) -> float:
    """Return the largest distance from the chord over the chord's length; 0 for no chord."""
    chord = float(np.linalg.norm(points[-1] - points[0]))
    if chord == 0.0 or len(points) < 3:
        return 0.0
    return float(distance_from_chord(points).max()) / chord
