# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How far one chain of joints copies another, pasted as it is or mirrored.

Each joint's turning is compared with its peer's in the bones' own axes, where pasted keys are
equal whatever way the bones rest. A mirrored paste turns the sign of some axes, the same for all
joints, so the best signs are taken. A free alignment (Procrustes) would be wrong here: it turns
the delay of a circling strand into a rotation and sees copies where there are none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import rotations
from .claiming import claim
from .pieces import Steps

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


BLOCK = 1 << 10
"""Windows whose sums run on from one to the next."""


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


def compare_chains(
    turns: Sequence[FloatArray],
    pairs: Sequence[tuple[int, int]],
    window: int,
    hop: int,
    offsets: IntArray,
    *,
    near: float = np.inf,
    least: float = 0.0,
    least_spread: float = 0.0,
) -> Steps[dict[int, Copies]]:
    """Compare many chains of one subject, the joints that both of a pair have, with pauses.

    Parameters
    ----------
    turns : sequence of ndarray, shape (F, J, 3)
        Turns of each chain's joints (see `turn_vectors`); J may differ.
    pairs : sequence of two int
        Which chains to compare; the second is the one that may come later.
    window, hop : int
        Samples per window and from one window to the next.
    offsets : ndarray of int
        Offsets to try, rising, evenly spaced, 0 among them.
    near, least, least_spread : float
        What a copy must be to be of interest: at an offset below `near` samples with a likeness
        of `least` or more, and both chains turning by `least_spread` degrees. A window in which
        no pair is that is not looked into: no likeness above that of the near offsets, an
        offset of NaN.

    Returns
    -------
    dict of int to Copies
        By the pair's place among `pairs`; pairs that are never of interest are left out.
    """
    count = len(turns[0])
    starts = np.arange(0, max(0, count - window + 1), max(1, hop))
    if len(starts) and starts[-1] < count - window:
        starts = np.append(starts, count - window)
    chains = yield from _Chains.stack(turns, pairs)
    step = int(offsets[1] - offsets[0]) if len(offsets) > 1 else 1
    close = offsets[np.abs(offsets) - 0.5 * step < near]
    shape = (len(starts), len(pairs))
    likeness, offset = np.zeros(shape), np.full(shape, np.nan)
    spread, other_spread = np.zeros(shape), np.zeros(shape)
    powers = yield from chains.list_powers(window)
    for side, own in ((spread, chains.one), (other_spread, chains.other)):
        side[:] = np.sqrt(powers[starts][:, chains.joints - 1, own] / (window * chains.joints))
    moving = np.minimum(spread, other_spread) >= least_spread
    for number in np.flatnonzero(moving.any(axis=1)).tolist():
        start = int(starts[number])
        piece = chains.cut(start, window)
        curve = chains.correlate(piece, powers, start, window, close)
        yield
        likeness[number] = np.maximum(curve.max(axis=0), 0.0)
        # Rounding must not decide whether the other offsets are looked at.
        if not np.any(moving[number] & (likeness[number] >= least - 1e-6)):
            continue
        yield
        if len(close) < len(offsets):
            curve = chains.correlate(piece, powers, start, window, offsets)
        likeness[number], offset[number] = _find_peaks(curve, offsets, step)
    of_interest = np.flatnonzero((moving & (likeness >= least)).any(axis=0))
    return {
        i: Copies(starts, likeness[:, i], offset[:, i], spread[:, i], other_spread[:, i])
        for i in of_interest.tolist()
    }


def _find_peaks(curve: FloatArray, offsets: IntArray, step: int) -> tuple[FloatArray, FloatArray]:
    """Return the highest likeness of each pair and its offset, to a fraction of a step."""
    best, columns = np.argmax(curve, axis=0), np.arange(curve.shape[1])
    shift = np.zeros(curve.shape[1])
    middle = (best > 0) & (best < len(offsets) - 1)
    if middle.any():
        low, top, high = (curve[best[middle] + d, columns[middle]] for d in (-1, 0, 1))
        bend = low - 2.0 * top + high
        usable = (bend < -1e-15) & (low > -1.0) & (high > -1.0)
        shift[middle] = np.where(
            usable, np.clip(0.5 * (low - high) / np.where(usable, bend, 1.0), -0.5, 0.5), 0.0
        )
    return np.maximum(curve[best, columns], 0.0), offsets[best] + shift * step


@dataclass(frozen=True)
class _Chains:
    """All chains side by side, so that one matrix product compares every two of them.

    `by_axis` has the shape (3, F, J, S): chains with fewer joints are filled up with zeros.
    `one`, `other` and `joints` are those of each pair.
    """

    by_axis: FloatArray
    one: IntArray
    other: IntArray
    joints: IntArray

    @classmethod
    def stack(cls, turns: Sequence[FloatArray], pairs: Sequence[tuple[int, int]]) -> Steps[_Chains]:
        counts = [own.shape[1] for own in turns]
        by_axis = yield from claim(3, len(turns[0]), max(counts), len(turns))
        for number, own in enumerate(turns):
            by_axis[:, :, : counts[number], number] = np.moveaxis(own, -1, 0)
            by_axis[:, :, counts[number] :, number] = 0.0
            yield
        one, other = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
        joints = np.array([min(counts[a], counts[b]) for a, b in pairs], dtype=np.int64)
        return cls(by_axis, one, other, joints)

    def cut(self, start: int, window: int) -> FloatArray:
        """Return a window with its means taken out, shape (3, S, window * J)."""
        piece = self.by_axis[:, start : start + window]
        piece = piece - piece.mean(axis=1, keepdims=True)
        return np.ascontiguousarray(np.moveaxis(piece.reshape(3, -1, piece.shape[-1]), 1, 2))

    def list_powers(self, window: int) -> Steps[FloatArray]:
        """Return what chains vary in every window, over their first joints, shape (W, J, S)."""
        count = max(0, self.by_axis.shape[1] - window + 1)
        powers = np.zeros((count, *self.by_axis.shape[2:]))
        # Sums that run on lose digits, so they begin anew with every block.
        for start in range(0, count, BLOCK):
            rows = self.by_axis[:, start : min(start + BLOCK, count) + window - 1]
            rows = rows - rows.mean(axis=1, keepdims=True)
            sums, squares = (_sum_windows(values, window) for values in (rows, rows * rows))
            varied = np.maximum((squares - sums * sums / window).sum(axis=0), 0.0)
            powers[start : start + BLOCK] = np.cumsum(varied, axis=1)
            yield
        return powers

    def correlate(
        self,
        piece: FloatArray,
        powers: FloatArray,
        start: int,
        window: int,
        offsets: IntArray,
    ) -> FloatArray:
        """Return each pair's likeness at each offset, shape (O, pairs); -1 beyond the ends."""
        result = np.full((len(offsets), len(self.one)), -1.0)
        count = self.by_axis.shape[1]
        inside = (start + offsets >= 0) & (start + offsets + window <= count)
        places = start + offsets[inside]
        if not len(places):
            return result
        # The means of the one are out, so those of the other fall away in the product.
        flat = np.stack([self.by_axis[:, p : p + window].reshape(3, -1, piece.shape[1])
                         for p in places.tolist()])  # fmt: skip
        # The best sign of an axis is the one that makes its share of the covariance positive.
        aligned = np.abs(piece @ flat).sum(axis=1)[:, self.one, self.other]
        both = np.sqrt(
            powers[start, self.joints - 1, self.one]
            * powers[places][:, self.joints - 1, self.other]
        )
        result[inside] = np.where(both > 1e-12, aligned / np.where(both > 1e-12, both, 1.0), 0.0)
        return result


def _sum_windows(values: FloatArray, window: int) -> FloatArray:
    """Return sums over every window along axis 1, shape (3, F, J, S) to (3, W, J, S)."""
    sums = np.cumsum(values, axis=1)
    result = sums[:, window - 1 :].copy()
    result[:, 1:] -= sums[:, :-window]
    return result
