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
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from . import geometry
from .series import rolling_maximum

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

BLOCK = 1 << 15
"""Numbers of a path that are worked on at a time: they stay in the processor's own memory."""

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


@cache
def make_template(shape: Shape) -> FloatArray:
    """Return the third differences of frames that are off by `shape`, shape (len + 3,)."""
    template: FloatArray = np.convolve((1.0, -3.0, 3.0, -1.0), shape)
    template.flags.writeable = False
    return template


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
    heights, weights = np.zeros(path.shape), weigh_shape(shape, len(path))
    fitted = weights > 0.0
    if fitted.any():
        answers = add_up_shape(match_one_frame(np.moveaxis(path, 0, -1)), shape)
        heights[: answers.shape[-1]] = np.moveaxis(answers, -1, 0)
        heights[fitted] /= weights[fitted].reshape(-1, *([1] * (path.ndim - 1)))
    return heights, weights


def height_at(
    path: FloatArray, frame: int, shape: Shape = ONE_FRAME, used: IntArray | None = None
) -> FloatArray:
    """Return how far each path is off at one frame, shape (N,).

    Parameters
    ----------
    path : ndarray, shape (F, N, D)
    frame : int
    shape : tuple of float
    used : ndarray of int, shape (U,), optional
        The frames of the path that count, among which `frame` is then counted.
    """
    first = max(0, frame - ORDER)
    around = slice(first, frame + len(shape) + ORDER)
    heights, _ = find_heights(path[around] if used is None else path[used[around]], shape)
    off: FloatArray = geometry.lengths(heights[frame - first])
    return off


def find_peaks(energy: FloatArray, reach: int) -> BoolArray:
    """Say where `energy`, shape (N, F), is the largest within `reach` frames, shape (N, F)."""
    count = energy.shape[-1]
    padded = np.zeros((*energy.shape[:-1], count + 2 * reach))
    padded[..., reach : reach + count] = energy
    best = rolling_maximum(padded.T, 2 * reach + 1).T
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
    count, number, dimensions = path.shape
    weights = [weigh_shape(shape, count) for shape in shapes]
    found: list[list[tuple[IntArray, IntArray, FloatArray]]] = [[] for _ in shapes]
    size = max(1, BLOCK // max(1, count * dimensions))
    for start in range(0, number, size):
        # Dimensions first and frames last: what is added up lies side by side.
        answers = match_one_frame(path[:, start : start + size].transpose(2, 1, 0))
        energies = [
            _find_energy(answers, shape, weight)
            for shape, weight in zip(shapes, weights, strict=True)
        ]
        strongest = energies[0] if len(energies) == 1 else np.maximum.reduce(energies)
        columns, frames = np.nonzero(find_peaks(strongest, ORDER))
        peaks = strongest[columns, frames]
        for shape, weight, energy, pieces in zip(shapes, weights, energies, found, strict=True):
            own = (energy[columns, frames] == peaks) & (peaks >= weight[frames] * least**2)
            at, of = frames[own], columns[own]
            height = sum(share * answers[:, of, at + later] for later, share in enumerate(shape))
            pieces.append((at, of + start, (height / weight[at]).T))
    every = []
    for pieces in found:
        if not pieces:
            none = np.zeros(0, dtype=np.int64)
            every.append((none, none, np.zeros((0, dimensions))))
            continue
        frames, columns, heights = (np.concatenate(part) for part in zip(*pieces, strict=True))
        order = np.lexsort((columns, frames))
        every.append((frames[order], columns[order], heights[order]))
    return every


def match_one_frame(path: FloatArray) -> FloatArray:
    """Return the third differences around each frame weighed with the template of one frame.

    Parameters
    ----------
    path : ndarray, shape (..., F)
        Frames along the last axis.

    Returns
    -------
    ndarray, shape (..., F)
    """
    count = path.shape[-1]
    thirds = np.zeros((*path.shape[:-1], count + ORDER))
    if count > ORDER:
        # Beyond the ends there are none.
        thirds[..., ORDER:count] = third_differences(path)
    return -third_differences(thirds)


@lru_cache(maxsize=32)
def weigh_shape(shape: Shape, count: int) -> FloatArray:
    """Return the sum of squares of a shape's template at each of `count` frames, cut off at ends.

    0 where the shape would reach over the end, and everywhere on too few frames.
    """
    weights, width = np.zeros(count), len(shape)
    if count > ORDER and width <= count - ORDER:
        starts = np.arange(count - width + 1)
        for offset, weight in enumerate(make_template(shape)):
            # The template's rows are the differences t - 3 ... t + width - 1; those that exist.
            rows = starts - ORDER + offset
            weights[: len(starts)] += weight**2 * ((rows >= 0) & (rows < count - ORDER))
    weights.flags.writeable = False
    return weights


def add_up_shape(answers: FloatArray, shape: Shape) -> FloatArray:
    """Return what frames that are off by `shape` answer together.

    Parameters
    ----------
    answers : ndarray, shape (..., F)
        Those of single frames, see `match_one_frame`; at least as many as the shape is wide.

    Returns
    -------
    ndarray, shape (..., F - W + 1)
    """
    width, starts = len(shape), answers.shape[-1] - len(shape) + 1
    by_share: dict[float, FloatArray] = {}
    for later, share in enumerate(shape):
        answer = answers[..., later : later + starts]
        by_share[share] = by_share[share] + answer if share in by_share else answer
    total = None
    for share, answer in by_share.items():
        scaled = answer if share == 1.0 else share * answer
        total = scaled if total is None else total + scaled
    assert total is not None, f"a shape of {width} frames is none"
    return total


def _find_energy(answers: FloatArray, shape: Shape, weights: FloatArray) -> FloatArray:
    """Return height squared times weight at each frame, shape (N, F), from answers (D, N, F)."""
    energy = np.zeros(answers.shape[1:])
    starts = answers.shape[-1] - len(shape) + 1
    if not weights.any():
        return energy
    together = add_up_shape(answers, shape)
    squares = np.einsum("dnf,dnf->nf", together, together)
    np.divide(squares, weights[:starts], out=energy[:, :starts], where=weights[:starts] > 0.0)
    return energy


def third_differences(path: FloatArray) -> FloatArray:
    """Return the third differences along the last axis, three fewer."""
    thirds = path[..., 1:-2] - path[..., 2:-1]
    thirds *= 3.0
    thirds += path[..., 3:]
    thirds -= path[..., :-3]
    return thirds
