# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""From world samples to what Motion holds: signs that go on, and each part seen from its parent.

Worked out number by number: all frames of a part's x lie together in memory, then its y, and so on,
shape (3, P, F) or (4, P, F). NumPy has long rows to work on, and what is looked at part by part
lies close together. Motion shows the same memory as (F, P, 3) or (F, P, 4).

Nothing here depends on how many parts or frames are worked on at a time, to the last bit: an edit
may settle a few parts anew and take the rest over.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .measures.pieces import Steps, run_steps

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BLOCK = 1 << 13
"""Parts times frames that are worked on at a time: a few such rows stay in the processor."""


def take_numbers(samples: ArrayLike, owned: bool = False) -> FloatArray:
    """Return samples, (F, P, C), number by number, (C, P, F); a copy unless they are `owned`."""
    turned = np.asarray(samples, dtype=np.float64).transpose(2, 1, 0)
    return np.ascontiguousarray(turned) if owned else np.array(turned, order="C")


def show_samples(numbers: FloatArray) -> FloatArray:
    """Return what lies number by number, (C, P, F), as samples, (F, P, C), in the same memory."""
    return numbers.transpose(2, 1, 0)


def list_blocks(frames: int, parts: int) -> Iterator[slice]:
    """Yield rows in blocks that stay in the processor's memory, however long the motion is."""
    size = max(16, BLOCK // max(1, parts))
    for start in range(0, frames, size):
        yield slice(start, min(start + size, frames))


def settle_rotations(turned: FloatArray, into: FloatArray, parts: IntArray) -> Steps[None]:
    """Bring some parts' rotations to unit length and continuous sign, pausing after each block.

    Parameters
    ----------
    turned : ndarray, shape (4, P, F)
        Any length, any sign; without length is no rotation. May be `into` itself.
    into : ndarray, shape (4, P, F)
        Takes the result.
    parts : ndarray of int
    """
    some = _find_rows(parts, turned.shape[1])
    for rows in list_blocks(turned.shape[2], len(parts)):
        _go_on(into, some, rows, _normalize(turned[:, some, rows]))
        yield


def settle_on_parents(
    heads: FloatArray,
    world: FloatArray,
    parents: Sequence[int],
    local: FloatArray,
    local_heads: FloatArray,
    parts: IntArray,
) -> Steps[None]:
    """Put some parts' rotations and joints as their parents see them into arrays.

    Parameters
    ----------
    heads : ndarray, shape (3, P, F), metres
    world : ndarray, shape (4, P, F)
        Unit quaternions w, x, y, z.
    parents : sequence of int, length P
        -1 for none: such a part is seen from the world.
    local, local_heads : ndarray, shapes (4, P, F) and (3, P, F)
        Take the result.
    parts : ndarray of int
    """
    above = np.asarray(parents, dtype=np.int64)[parts]
    free, children = parts[above < 0], parts[above >= 0]
    above = above[above >= 0]
    for rows in list_blocks(world.shape[2], len(parts)):
        if len(free):
            local_heads[:, free, rows] = heads[:, free, rows]
            _go_on(local, free, rows, world[:, free, rows])
        if len(children):
            carried = world[:, above, rows]
            _go_on(local, children, rows, _see_turned(carried, world[:, children, rows]))
            offset = heads[:, children, rows] - heads[:, above, rows]
            local_heads[:, children, rows] = _see_placed(carried, offset)
        yield


def measure_change(places: FloatArray, local: FloatArray, height: float) -> FloatArray:
    """Return how much a subject changes per step; see `iterate_change`."""
    return run_steps(iterate_change(places, local, height))


def iterate_change(places: FloatArray, local: FloatArray, height: float) -> Steps[FloatArray]:
    """Return how much a subject changes per step: degrees and % of its height, over all parts.

    With pauses.

    Parameters
    ----------
    places : ndarray, shape (F, P, 3), metres
    local : ndarray, shape (F, P, 4)
        Unit quaternions of continuous sign.
    height : float, metres
        Where it is 0, movement counts in metres.

    Returns
    -------
    ndarray, shape (F - 1,)
    """
    at, turned = places.transpose(2, 1, 0), local.transpose(2, 1, 0)
    change = np.empty(max(0, len(local) - 1))
    for rows in list_blocks(len(change), local.shape[1]):
        after = slice(rows.start + 1, rows.stop + 1)
        # Signs go on from frame to frame, so the chord is the turn's.
        chord = _square(turned[..., rows] - turned[..., after])
        turns = np.degrees(4.0 * np.arcsin(np.minimum(0.5 * np.sqrt(chord), 1.0)))
        travel = np.sqrt(_square(at[..., after] - at[..., rows])).sum(axis=0)
        change[rows] = turns.sum(axis=0) + (100.0 * travel / height if height > 0.0 else travel)
        yield
    return change


def _find_rows(parts: IntArray, count: int) -> IntArray | slice:
    """Return parts as a slice where they are all: nothing needs to be picked out."""
    return slice(None) if len(parts) == count else parts


def _square(v: FloatArray) -> FloatArray:
    total = v[0] * v[0]
    for number in v[1:]:
        total += number * number
    return total


def _normalize(q: FloatArray) -> FloatArray:
    """Return quaternions, (4, ...), of unit length; an all-zero one becomes no rotation."""
    length = np.sqrt(_square(q))
    empty = length == 0.0
    if np.any(empty):
        q, length = q.copy(), np.where(empty, 1.0, length)
        q[0][empty] = 1.0
    unit: FloatArray = q / length
    return unit


def _go_on(into: FloatArray, parts: IntArray | slice, rows: slice, turned: FloatArray) -> None:
    """Put quaternions, (4, P, F), into their rows, with signs that go on from the row before."""
    before = turned[..., :-1]
    if rows.start:
        last = into[:, parts, rows.start - 1]
        before = np.concatenate((last[..., np.newaxis], before), axis=-1)
    now = turned[..., turned.shape[-1] - before.shape[-1] :]
    away = now[0] * before[0]
    for one, other in zip(now[1:], before[1:], strict=True):
        away += one * other
    flips = away < 0.0
    turning = np.flatnonzero(flips.any(axis=-1))
    if len(turning):
        turned = turned.copy()
        signs = np.where(np.logical_xor.accumulate(flips[turning], axis=-1), -1.0, 1.0)
        turned[:, turning, turned.shape[-1] - before.shape[-1] :] *= signs
    into[:, parts, rows] = turned


def _see_turned(parent: FloatArray, child: FloatArray) -> FloatArray:
    """Return children's rotations seen from their parents, (4, P, F)."""
    (aw, ax, ay, az), (bw, bx, by, bz) = parent, child
    seen = np.empty_like(child)
    seen[0] = aw * bw + ax * bx + ay * by + az * bz
    seen[1] = aw * bx - ax * bw - ay * bz + az * by
    seen[2] = aw * by + ax * bz - ay * bw - az * bx
    seen[3] = aw * bz - ax * by + ay * bx - az * bw
    return seen


def _see_placed(parent: FloatArray, offset: FloatArray) -> FloatArray:
    """Return offsets in the world's axes, (3, P, F), in their parents' axes."""
    (w, x, y, z), (vx, vy, vz) = parent, offset
    tx, ty, tz = 2.0 * (z * vy - y * vz), 2.0 * (x * vz - z * vx), 2.0 * (y * vx - x * vy)
    seen = np.empty_like(offset)
    seen[0] = vx + w * tx - y * tz + z * ty
    seen[1] = vy + w * ty - z * tx + x * tz
    seen[2] = vz + w * tz - x * ty + y * tx
    return seen
