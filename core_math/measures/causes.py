# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which of many sightings are one event: parts that hang together, at the same time.

A hand that is pulled aside bends the whole arm, and everything above is carried along; a stray
key on all controls moves them all. Each is one event, whatever number of parts shows it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from . import geometry, spikes

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def group_sightings(
    parts: IntArray, firsts: IntArray, lasts: IntArray, parents: Sequence[int], gap: int = 0
) -> list[IntArray]:
    """Sort sightings into events.

    Two sightings belong together when they are of the same part at most `gap` frames apart, or at
    the same time of a part and one that carries it or of two parts carried by the same one; and
    so on from each to the next. Three and more events of exactly the same frames are one: a pose
    that was copied or keyed by mistake.

    Parameters
    ----------
    parts, firsts, lasts : ndarray of int, shape (S,)
        Row of the part, first and last frame of each sighting.
    parents : sequence of int, length P
        Row of each part's parent, -1 for none.
    gap : int
        Frames that may lie between two spans of the same part; different parts must share one.

    Returns
    -------
    list of ndarray of int
        Indices of the sightings of each event, in order of the event's first frame.
    """
    order = np.lexsort((parts, firsts))
    label = np.arange(len(parts))
    above = {part: _list_above(part, parents) for part in np.unique(parts).tolist()}

    def root(number: int) -> int:
        while label[number] != number:
            label[number] = label[label[number]]
            number = int(label[number])
        return number

    # What is still open at the current frame: last frame, number and part.
    open_ends: list[tuple[int, int, int]] = []
    for number in order.tolist():
        first, part = int(firsts[number]), int(parts[number])
        open_ends = [entry for entry in open_ends if entry[0] + gap >= first]
        for last, other, row in open_ends:
            related = row in above[part] or part in above[row] or parents[row] == parents[part] >= 0
            if row == part or (last >= first and related):
                label[root(number)] = root(other)
        open_ends.append((int(lasts[number]), number, part))
    groups: dict[int, list[int]] = {}
    for number in order.tolist():
        groups.setdefault(root(number), []).append(number)
    return _join_simultaneous([np.array(group) for group in groups.values()], firsts, lasts)


def _list_above(part: int, parents: Sequence[int]) -> frozenset[int]:
    """Return the rows of everything that carries a part."""
    found = []
    while parents[part] >= 0:
        part = parents[part]
        found.append(part)
    return frozenset(found)


def _join_simultaneous(groups: list[IntArray], firsts: IntArray, lasts: IntArray) -> list[IntArray]:
    """Join three and more groups that span exactly the same frames."""
    spans: dict[tuple[int, int], list[IntArray]] = {}
    for group in groups:
        spans.setdefault((int(firsts[group].min()), int(lasts[group].max())), []).append(group)
    joined = []
    for same in spans.values():
        joined += [np.concatenate(same)] if len(same) >= 3 else same
    return sorted(joined, key=lambda group: int(firsts[group].min()))


def find_topmost(parts: Iterable[int], parents: Sequence[int]) -> int:
    """Return the row, of some parts, that the fewest parts carry; of several the first given."""

    def depth(row: int) -> int:
        count = 0
        while parents[row] >= 0:
            row, count = parents[row], count + 1
        return count

    return int(min(parts, key=lambda row: depth(int(row))))


def list_descendants(parents: Sequence[int], parts: Iterable[int]) -> IntArray:
    """Return the rows of some parts and of everything that hangs on them, in rising order."""
    carried = {int(part) for part in parts}
    waiting = True
    while waiting:
        more = {i for i, parent in enumerate(parents) if parent in carried} - carried
        carried |= more
        waiting = bool(more)
    return np.array(sorted(carried))


def find_makers(
    local_rotations: FloatArray,
    local_heads: FloatArray,
    heads: FloatArray,
    parents: Sequence[int],
    part: int,
    point: FloatArray,
    first: int,
    last: int,
    share: float,
) -> list[int]:
    """Find whose own channels throw a point off its path for some frames.

    Parameters
    ----------
    local_rotations, local_heads : ndarray, shapes (F, P, 4) and (F, P, 3)
        Turn and place of every part relative to its parent.
    heads : ndarray, shape (F, P, 3)
    parents : sequence of int, length P
    part : int
        Row of the part the point belongs to; it and what carries it may have made the jump.
    point : ndarray, shape (3,)
        Where the point is at `first`.
    first, last : int
        The frames that are off.
    share : float
        A part counts when it adds at least this share of what the strongest one adds.

    Returns
    -------
    list of int
        Rows, the strongest first; empty when no channel jumps.
    """
    shape = (1.0,) * (last - first + 1)
    # Two unit quaternions that differ by x lie 2 x radians apart, for small x.
    turns = 2.0 * spikes.height_at(local_rotations, first, shape)
    moves = spikes.height_at(local_heads, first, shape)
    added: dict[int, float] = {}
    row = part
    while row >= 0:
        lever = float(np.linalg.norm(point - heads[first, row]))
        turned = 2.0 * lever * float(np.sin(min(float(turns[row]), np.pi) / 2.0))
        added[row] = float(moves[row]) + turned
        row = parents[row]
    most = max(added.values())
    makers = [row for row, way in added.items() if way > 0.0 and way >= share * most]
    return sorted(makers, key=lambda row: -added[row])


def limit_throw(
    turned: Mapping[int, float],
    moved: float,
    heads: FloatArray,
    tails: FloatArray,
    carried: IntArray,
) -> float:
    """Return the farthest that jumps of some parts can throw what hangs on them.

    Parameters
    ----------
    turned : mapping of row to float, degrees
        How far each part turns off.
    moved : float
        How far parts are moved off, all together.
    heads, tails : ndarray, shape (P, 3)
        Joints and ends on the frame of the jump, in the unit of `moved`.
    carried : ndarray of int
        Rows of the parts and of everything that hangs on them.
    """
    farthest = moved
    for row, degrees in turned.items():
        lever = float(geometry.lengths(tails[carried] - heads[row]).max())
        farthest += 2.0 * lever * float(np.sin(np.radians(min(degrees, 180.0)) / 2.0))
    return farthest
