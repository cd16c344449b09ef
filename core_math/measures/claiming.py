# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Large arrays, taken from the system piece by piece.

New memory costs its time where it is first written to. Long motion needs much of it, and work in
blocks of frames writes to all of it in its very first block, which no pause can split. So it is
written to once beforehand, in order, with pauses.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .pieces import Steps

FloatArray = NDArray[np.float64]

PIECE_BYTES = 1 << 20
"""Bytes that are claimed between two pauses."""

PAGE = 1 << 12
"""Bytes that the system hands out together, at the least."""


def claim(*shape: int) -> Steps[FloatArray]:
    """Return a new array, whose values are anything, with pauses.

    Parameters
    ----------
    shape : int
    """
    array = np.empty(math.prod(shape))
    yield from claim_array(array)
    return array.reshape(shape)


def claim_array(array: NDArray[Any]) -> Steps[None]:
    """Write to a new array whose values are still anything, with pauses.

    Parameters
    ----------
    array : ndarray
        In one piece of memory. Nothing is done to a small one.
    """
    if array.nbytes < PIECE_BYTES:
        return
    memory = array.reshape(-1).view(np.uint8)
    for start in range(0, len(memory), PIECE_BYTES):
        memory[start : start + PIECE_BYTES : PAGE] = 0
        yield


def copy_in_pieces(values: NDArray[Any]) -> Steps[NDArray[Any]]:
    """Return a copy of an array, (C, P, F), with pauses."""
    copied = np.empty(values.shape, dtype=values.dtype)
    for place in list_pieces(values):
        copied[place] = values[place]
        yield
    return copied


def list_pieces(values: NDArray[Any]) -> list[tuple[int, slice]]:
    """Return places in an array, (C, P, F), in the order they lie in memory, each a piece."""
    count, parts, frames = values.shape
    size = max(1, PIECE_BYTES // max(1, frames * values.itemsize))
    return [
        (number, slice(first, min(first + size, parts)))
        for number in range(count)
        for first in range(0, parts, size)
    ]
