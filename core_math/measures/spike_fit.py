# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Templates of a jump, fitted to a path through its third differences.

Third differences are 0 for constant acceleration, so what is left of a smooth path is small and
uneven, while one frame that is off by 1 leaves 1, -3, 3, -1 (several frames in a row leave the
running sum of that). Fitting this template gives the height of a spike at every frame at once;
at the ends, where the template is cut off, the same fit is the one-sided prediction
x[n] = 3 x[n-1] - 3 x[n-2] + x[n-3].
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

BLOCK = 1 << 16
"""Numbers of a path that are worked on at a time."""

FEWEST_COLUMNS = 16
"""Paths that are worked on together however long: what lies side by side is read at once."""

ORDER = 3
"""Differences of this order; the template of one frame is their signature of a spike."""

Shape = tuple[float, ...]
"""By how much the frames of a jump are off, relative to its height: one number for each frame."""

ONE_FRAME: Shape = (1.0,)

TWO_FRAMES: Shape = (1.0, 1.0)

THREE_FRAMES: Shape = (1.0, 1.0, 1.0)

BUMP: Shape = (0.7, 1.0, 0.7)

LONG_BUMP: Shape = (0.6, 1.0, 1.0, 0.6)
"""Frames that leave and return softly: about half a sine wave."""


def make_template(shape: Shape) -> FloatArray:
    """Return the third differences of frames that are off by `shape`, shape (len + 3,)."""
    return np.convolve((1.0, -3.0, 3.0, -1.0), shape)


def find_heights(path: FloatArray, shape: Shape = ONE_FRAME) -> tuple[FloatArray, FloatArray]:
    """Fit a jump-and-return beginning at each frame.

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
        N paths in D dimensions; quaternions of continuous sign do, as long as steps are small.
    shape : tuple of float
        By how much frame t and the next ones are off, for a height of 1.

    Returns
    -------
    heights : ndarray, shape (F, N, D)
        In the unit of the path; zeros for paths of fewer than four frames and where the jump
        would reach over the end.
    weights : ndarray, shape (F,)
        Sum of squares of the template at each frame: the fit's trust in its height. It is 20 for
        one frame in the middle and 1 for the very first and last frame.
    """
    return fit_shape(match_one_frame(path), shape)


def height_at(path: FloatArray, frame: int, shape: Shape = ONE_FRAME) -> FloatArray:
    """Return how far each path, shape (F, N, D), is off at one frame, shape (N,)."""
    first = max(0, frame - ORDER)
    heights, _ = find_heights(path[first : frame + len(shape) + ORDER], shape)
    off: FloatArray = np.linalg.norm(heights[frame - first], axis=-1)
    return off


def find_peaks(energy: FloatArray, reach: int) -> BoolArray:
    """Say where `energy`, shape (F, N), is the largest within `reach` frames along axis 0."""
    best = energy.copy()
    for offset in range(1, reach + 1):
        best[offset:] = np.maximum(best[offset:], energy[:-offset])
        best[:-offset] = np.maximum(best[:-offset], energy[offset:])
    return (energy > 0.0) & (energy >= best)


def find_best_fits(
    path: FloatArray, shapes: Sequence[Shape], least: float
) -> list[tuple[IntArray, IntArray, FloatArray]]:
    """Find where one of the shapes answers best, among them and among the frames around.

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
    shapes : sequence of tuple of float
    least : float
        Smallest height that is of interest, in the unit of the path.

    Returns
    -------
    list of (frames, columns, heights), shapes (C,), (C,) and (C, D)
        For each shape, in the order of frames, then of columns.
    """
    found: list[list[tuple[IntArray, IntArray, FloatArray]]] = [[] for _ in shapes]
    # A few paths at a time stay in the processor's memory, and long ones need little of any.
    size = max(FEWEST_COLUMNS, BLOCK // max(1, path.shape[0] * path.shape[2]))
    for start in range(0, path.shape[1], size):
        answers = match_one_frame(path[:, start : start + size])
        fits = [fit_shape(answers, shape) for shape in shapes]
        energies = [
            weights[:, np.newaxis] * np.einsum("fnd,fnd->fn", heights, heights)
            for heights, weights in fits
        ]
        strongest = energies[0] if len(fits) == 1 else np.maximum.reduce(energies)
        peaks = find_peaks(strongest, ORDER)
        for number, ((heights, weights), energy) in enumerate(zip(fits, energies, strict=True)):
            enough = energy >= weights[:, np.newaxis] * least**2
            frames, columns = np.nonzero(peaks & enough & (energy == strongest))
            found[number].append((frames, columns + start, heights[frames, columns]))
    every = []
    for pieces in found:
        if not pieces:
            none = np.zeros(0, dtype=np.int64)
            every.append((none, none, np.zeros((0, path.shape[2]))))
            continue
        frames, columns, heights = (np.concatenate(part) for part in zip(*pieces, strict=True))
        order = np.lexsort((columns, frames))
        every.append((frames[order], columns[order], heights[order]))
    return every


def match_one_frame(path: FloatArray) -> FloatArray:
    """Return the third differences around each frame weighed with the template of one frame."""
    thirds = third_differences(path)
    answers = np.zeros(path.shape)
    if len(thirds) == 0:
        return answers
    count = len(thirds)
    answers[ORDER:] = thirds
    for back, weight in ((2, -3.0), (1, 3.0), (0, -1.0)):
        answers[back : back + count] += weight * thirds
    return answers


def fit_shape(answers: FloatArray, shape: Shape) -> tuple[FloatArray, FloatArray]:
    """Return heights and weights of a shape, from what each frame answers to the template."""
    count, width = len(answers), len(shape)
    weights = np.zeros(count)
    starts = count - width + 1
    if count <= ORDER or width > count - ORDER:
        return np.zeros(answers.shape), weights
    template = make_template(shape)
    for offset, weight in enumerate(template):
        # The template's rows are the differences t - 3 ... t + width - 1; those that exist count.
        rows = np.arange(starts) - ORDER + offset
        weights[:starts] += weight**2 * ((rows >= 0) & (rows < count - ORDER))
    heights = np.zeros(answers.shape)
    for later, share in enumerate(shape):
        if share == 1.0:
            heights[:starts] += answers[later : later + starts]
        else:
            heights[:starts] += share * answers[later : later + starts]
    scale = np.divide(1.0, weights, out=np.zeros(count), where=weights > 0.0)
    heights *= scale.reshape(-1, *([1] * (answers.ndim - 1)))
    return heights, weights


def third_differences(path: FloatArray) -> FloatArray:
    """Return the third differences along axis 0."""
    return path[3:] - 3.0 * path[2:-1] + 3.0 * path[1:-2] - path[:-3]
