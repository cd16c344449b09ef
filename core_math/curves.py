# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Key frames to values: all curves of a subject over all frames at once.

Follows the host: a Bezier span is solved for the frame and then evaluated in value, each handle
that is longer than the span is shortened to it along its own direction; before the first key and
after the last one a curve stays, or goes on straight, or goes round in cycles.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .easings import BACK, SINE, ease
from .measures.pieces import Steps, run_steps

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.signedinteger[Any]]
BoolArray = NDArray[np.bool_]

CONSTANT, LINEAR, BEZIER = 0, 1, 2
"""The numbers under which the host keeps the interpolation with a key; further ones are easings."""

BLOCK = 1 << 13
"""Curves times frames that are worked on at a time: such rows stay in the processor's memory."""

ON_KEY = 1e-4
"""A frame this near to a key shows the key's own value, as in the host."""

_SOLVED = 1e-11
_FLAT = 1e-9
_FREE_STEPS = 4
_MOST_STEPS = 80


class CycleMode(IntEnum):
    """What a curve does on one side of its keys."""

    NONE = 0
    REPEAT = 1
    REPEAT_OFFSET = 2
    MIRROR = 3


@dataclass(frozen=True, slots=True)
class Cycles:
    """How a curve goes round; a count of 0 means for ever."""

    before: CycleMode = CycleMode.REPEAT
    after: CycleMode = CycleMode.REPEAT
    count_before: int = 0
    count_after: int = 0


@dataclass(frozen=True, eq=False, slots=True)
class Curve:
    """The keys of one channel.

    Attributes
    ----------
    times, values : ndarray, shape (K,)
        Rising times, in frames.
    left, right : ndarray, shape (K, 2)
        Handles as time and value.
    interpolation : ndarray of int, shape (K,)
        How each key goes on to the next.
    easing : ndarray of int, shape (K,), optional
    extras : ndarray, shape (K, 3), optional
        Strength of BACK, amplitude and period of ELASTIC.
    straight : bool
        Goes on straight beyond its keys.
    cycles : Cycles, optional
    """

    times: FloatArray
    values: FloatArray
    left: FloatArray
    right: FloatArray
    interpolation: IntArray
    easing: IntArray | None = None
    extras: FloatArray | None = None
    straight: bool = False
    cycles: Cycles | None = None


def evaluate_curves(curves: Sequence[Curve], frames: ArrayLike) -> FloatArray:
    """Return the values of curves, each with at least one key, at rising frames, shape (C, F)."""
    return join_curves(curves).evaluate(frames)


def join_curves(curves: Sequence[Curve]) -> CurveBatch:
    """Put curves together, so that they can be evaluated at once."""
    easing = extras = None
    if any(curve.easing is not None or curve.extras is not None for curve in curves):
        counts = [len(curve.times) for curve in curves]
        easing = np.concatenate(
            [np.zeros(n, int) if c.easing is None else c.easing
             for c, n in zip(curves, counts, strict=True)]
        )  # fmt: skip
        extras = np.concatenate(
            [np.zeros((n, 3)) if c.extras is None else c.extras
             for c, n in zip(curves, counts, strict=True)]
        )  # fmt: skip
    none = np.zeros((0, 2))
    return CurveBatch(
        counts=np.array([len(curve.times) for curve in curves], dtype=np.int64),
        keys=np.concatenate([none, *(np.stack((c.times, c.values), axis=-1) for c in curves)]),
        left=np.concatenate([none, *(curve.left for curve in curves)]),
        right=np.concatenate([none, *(curve.right for curve in curves)]),
        interpolation=np.concatenate(
            [np.zeros(0, dtype=np.int64), *(curve.interpolation for curve in curves)]
        ),
        easing=easing,
        extras=extras,
        straight=np.array([curve.straight for curve in curves], dtype=np.bool_),
        cycles={row: curve.cycles for row, curve in enumerate(curves) if curve.cycles},
    )


class CurveBatch:
    """Many curves, their keys one after the other, evaluated at once.

    Parameters
    ----------
    counts : ndarray of int, shape (C,)
        How many keys each curve has, at least one.
    keys, left, right : ndarray, shape (K, 2)
        Time and value of all keys and of their handles.
    interpolation : ndarray of int, shape (K,)
    easing : ndarray of int, shape (K,), optional
    extras : ndarray, shape (K, 3), optional
        See `Curve`.
    straight : ndarray of bool, shape (C,)
    cycles : mapping of the curve's row to Cycles
    """

    def __init__(
        self,
        counts: IntArray,
        keys: FloatArray,
        left: FloatArray,
        right: FloatArray,
        interpolation: IntArray,
        straight: BoolArray,
        easing: IntArray | None = None,
        extras: FloatArray | None = None,
        cycles: Mapping[int, Cycles] | None = None,
    ) -> None:
        count = len(keys)
        self.counts = counts
        self.first: IntArray = np.cumsum(counts) - counts
        self.time, self.value = keys[:, 0].copy(), keys[:, 1].copy()
        self.left, self.right = left, right
        self.kind = interpolation
        self.easing = np.zeros(count, dtype=np.int64) if easing is None else easing
        self.extras = np.zeros((count, 3)) if extras is None else extras
        self.is_eased = bool(np.any(interpolation > BEZIER))
        self.straight = straight
        self.cycles = {row: c for row, c in (cycles or {}).items() if counts[row] > 1}
        self._shape_segments()
        self._find_leaders()
        self._counted: tuple[int, IntArray] = (0, np.zeros(len(self.leaders), dtype=np.int64))

    def evaluate(self, frames: ArrayLike) -> FloatArray:
        """Return the values at rising frames of the curves' own time, shape (C, F)."""
        return run_steps(self.iterate_values(frames))

    def iterate_values(self, frames: ArrayLike) -> Steps[FloatArray]:
        """Return what `evaluate` returns, with pauses."""
        at = np.asarray(frames, dtype=np.float64)
        if not len(self.counts):
            return np.zeros((0, len(at)))
        place = self._find_segments(at)
        if not self.cycles:
            return (yield from _iterate_values(self, at[np.newaxis], place))
        shown, lift = _go_round(self, at)
        for row in self.cycles:
            leader = self.leader_of[row]
            place[leader] = np.searchsorted(self.times_of(row), shown[row], side="right") - 1
        return (yield from _iterate_values(self, shown[self.leaders], place)) + lift

    def _find_leaders(self) -> None:
        """Find the curves that run through time alike: it is enough to follow one of them.

        The channels of one bone mostly have their keys on the same frames. What is asked is
        whether a curve runs as the one before it does, to the last bit.
        """
        keys, counts = np.arange(len(self.time)), np.repeat(self.counts, self.counts)
        before = np.maximum(keys - counts, 0)
        same = self.kind == self.kind[before]
        for values in (self.time, self.time_1, self.time_2, self.time_3):
            same &= values == values[before]
        follows = np.zeros(len(self.counts), dtype=np.bool_)
        if len(self.counts) > 1:
            follows[1:] = np.logical_and.reduceat(same, self.first)[1:]
            follows[1:] &= self.counts[1:] == self.counts[:-1]
        for row in self.cycles:
            follows[row : row + 2] = False
        self.leaders: IntArray = np.flatnonzero(~follows)
        self.leader_of: IntArray = np.cumsum(~follows) - 1
        leads = np.repeat(~follows, self.counts)
        times = self.time[leads]
        in_time = np.argsort(times, kind="stable")
        self._rising = times[in_time]
        self._time_of = np.repeat(self.leader_of, self.counts)[leads][in_time]

    def _find_segments(self, frames: FloatArray) -> IntArray:
        """Return for each leader and frame the number of its keys passed, less one, (L, F).

        Only the keys among the frames are looked at, and those passed before are counted on from
        the last time, so that long motion in many blocks costs no more than in one.
        """
        count, width = len(self.leaders), len(frames)
        first, last = np.searchsorted(self._rising, frames[[0, -1]], side="right")
        seen, passed = self._counted
        if first < seen:
            seen, passed = 0, np.zeros(count, dtype=np.int64)
        passed = passed + np.bincount(self._time_of[seen:first], minlength=count)
        self._counted = (int(first), passed)
        # Each key counts from the first frame on that is not before it.
        since = np.searchsorted(frames, self._rising[first:last], side="left")
        more = np.bincount(self._time_of[first:last] * width + since, minlength=count * width)
        place = np.cumsum(more.reshape(count, width), axis=1)
        place += passed[:, np.newaxis] - 1
        return place

    def times_of(self, row: int) -> FloatArray:
        """Return the times of one curve's keys."""
        first = int(self.first[row])
        return self.time[first : first + int(self.counts[row])]

    def _shape_segments(self) -> None:
        """Make two polynomials of each segment: its share of time, and its change of value.

        Handles are shortened to the span. A line is a Bezier segment of even pace, and what is
        held one that changes nothing; easings run through time as a line does.
        """
        self.span = np.append(np.diff(self.time), 0.0)
        span = np.where(self.span > 0.0, self.span, 1.0)
        self.change = np.append(np.diff(self.value), 0.0)
        a_time, a_value = _shorten(
            self.right[:, 0] - self.time, self.right[:, 1] - self.value, span
        )
        back_time, back_value = np.zeros(len(span)), np.zeros(len(span))
        np.subtract(self.left[1:, 0], self.time[1:], out=back_time[:-1])
        np.subtract(self.left[1:, 1], self.value[1:], out=back_value[:-1])
        b_time, b_value = _shorten(back_time, back_value, span)
        # Time: 0, a, 1 + b, 1 as a share of the span; value: relative to the first key.
        a_time, b_time = a_time / span, 1.0 + b_time / span
        b_value = self.change + b_value
        self.time_1 = 3.0 * a_time
        self.time_2 = 3.0 * (b_time - 2.0 * a_time)
        self.time_3 = 1.0 + 3.0 * (a_time - b_time)
        self.value_1 = 3.0 * a_value
        self.value_2 = 3.0 * (b_value - 2.0 * a_value)
        self.value_3 = self.change + 3.0 * (a_value - b_value)
        # Nothing goes on from a curve's last key, least of all to the first of the next curve.
        self.change[self.first + self.counts - 1] = 0.0
        ends = np.zeros(len(self.time), dtype=np.bool_)
        ends[self.first + self.counts - 1] = True
        plain = np.flatnonzero((self.kind != BEZIER) | ends)
        self.time_1[plain], self.time_2[plain], self.time_3[plain] = 1.0, 0.0, 0.0
        self.value_1[plain] = np.where(self.kind[plain] == LINEAR, self.change[plain], 0.0)
        self.value_2[plain], self.value_3[plain] = 0.0, 0.0


def _shorten(
    time: FloatArray, value: FloatArray, span: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return handles that reach no farther in time than their span."""
    length = np.abs(time)
    long = np.flatnonzero(length > span)
    if len(long):
        factor = span[long] / length[long]
        time[long] *= factor
        value[long] *= factor
    return time, value


def _iterate_values(keys: CurveBatch, frames: FloatArray, place: IntArray) -> Steps[FloatArray]:
    """Return the values of all curves, (C, F), at the leaders' frames, (L, F) or (1, F)."""
    passed, t = np.empty_like(place), np.empty(place.shape)
    many = max(1, BLOCK // max(1, place.shape[1]))
    # A few curves at a time: what is worked out on the way stays in the processor.
    for start in range(0, len(place), many):
        rows = slice(start, start + many)
        at = frames if len(frames) == 1 else frames[rows]
        _find_shares(keys, keys.leaders[rows], at, place[rows], passed[rows], t[rows])
        yield
    values = np.empty((len(keys.counts), place.shape[1]))
    for start in range(0, len(values), many):
        rows = slice(start, start + many)
        _run_along(keys, rows, passed, t, values[rows])
        yield
    if np.any(keys.straight):
        _go_on_straight(keys, frames, place, values)
    return values


def _find_shares(
    keys: CurveBatch,
    leaders: IntArray,
    frames: FloatArray,
    place: IntArray,
    passed: IntArray,
    t: FloatArray,
) -> None:
    """Put in place by which key some leaders have passed, and by what share of the way on."""
    last = (keys.counts[leaders] - 1)[:, np.newaxis]
    np.minimum(np.maximum(place, 0), last, out=passed)
    key = keys.first[leaders][:, np.newaxis] + passed
    since = frames - keys.time[key]
    left = keys.span[key] - since
    on_key = (place < 0) | (place >= last) | (since < ON_KEY)
    share = np.where(on_key, 0.0, since / (since + left + on_key))
    curved = (v[key.ravel()] for v in (keys.time_1, keys.time_2, keys.time_3))
    t[:] = _solve(share.ravel(), *curved).reshape(key.shape)
    # A hair before the next key that one shows already, also where a value was held until it.
    near = ~on_key & (left < ON_KEY)
    if np.any(near):
        passed[near] += 1
        t[near] = 0.0


def _run_along(
    keys: CurveBatch, rows: slice, passed: IntArray, t: FloatArray, values: FloatArray
) -> None:
    """Put the values of some curves in place, at their leaders' shares of time."""
    leaders = keys.leader_of[rows]
    index: IntArray = passed[leaders] + keys.first[rows, np.newaxis]
    share = t[leaders]
    np.multiply(keys.value_3[index], share, out=values)
    for step in (keys.value_2, keys.value_1):
        values += step[index]
        values *= share
    values += keys.value[index]
    if keys.is_eased:
        _ease(keys, index, share, values)


def _ease(keys: CurveBatch, index: IntArray, t: FloatArray, values: FloatArray) -> None:
    """Put the values of eased segments in place."""
    kind = keys.kind[index]
    for family in range(BACK, SINE + 1):
        those = np.nonzero((kind == family) & (t > 0.0))
        if len(those[0]):
            k = index[those]
            values[those] = keys.value[k] + ease(
                family, keys.easing[k], t[those], keys.span[k], keys.change[k],
                keys.extras[k, 0], keys.extras[k, 1], keys.extras[k, 2],
            )  # fmt: skip


def _solve(u: FloatArray, c1: FloatArray, c2: FloatArray, c3: FloatArray) -> FloatArray:
    """Solve c1 t + c2 t^2 + c3 t^3 = u for t in 0..1, where there is exactly one solution.

    A few of Newton's steps do for nearly all; the rest is taken between guards.
    """
    t = u
    for _ in range(_FREE_STEPS):
        error = ((c3 * t + c2) * t + c1) * t - u
        if np.all(np.abs(error) <= _SOLVED):
            return t
        slope = (3.0 * c3 * t + 2.0 * c2) * t + c1
        t = np.clip(t - error / np.where(slope > _FLAT, slope, 1.0), 0.0, 1.0)
    error = ((c3 * t + c2) * t + c1) * t - u
    hard = np.flatnonzero(np.abs(error) > _SOLVED)
    if len(hard):
        t[hard] = _solve_guarded(u[hard], c1[hard], c2[hard], c3[hard])
    return t


def _solve_guarded(u: FloatArray, c1: FloatArray, c2: FloatArray, c3: FloatArray) -> FloatArray:
    """Take Newton's steps, halving the bracket wherever a step would leave it."""
    now = u.copy()
    low, high = np.zeros(len(now)), np.ones(len(now))
    for _ in range(_MOST_STEPS):
        error = ((c3 * now + c2) * now + c1) * now - u
        over = error > 0.0
        high, low = np.where(over, now, high), np.where(over, low, now)
        if np.all((np.abs(error) <= _SOLVED) | (high - low < 1e-15)):
            break
        slope = (3.0 * c3 * now + 2.0 * c2) * now + c1
        step = now - error / np.where(slope > _FLAT, slope, 1.0)
        good = (slope > _FLAT) & (step > low) & (step < high)
        now = np.where(good, step, 0.5 * (low + high))
    return now


def _go_on_straight(
    keys: CurveBatch, frames: FloatArray, place: IntArray, values: FloatArray
) -> None:
    """Extrapolate along the outer handles, or along the outer two keys of straight segments."""
    counts = keys.counts
    for row in np.flatnonzero(keys.straight):
        first = int(keys.first[row])
        last = first + int(counts[row]) - 1
        leader = keys.leader_of[row]
        at = frames[leader if len(frames) > 1 else 0]
        for key, neighbour, handle, beyond in (
            (first, first + 1, keys.left, place[leader] < 0),
            (last, last - 1, keys.right, place[leader] >= counts[row] - 1),
        ):
            if keys.kind[key] == CONSTANT or not np.any(beyond):
                continue
            time, value = keys.time[key], keys.value[key]
            if keys.kind[key] == LINEAR:
                if counts[row] == 1:
                    continue
                run, rise = keys.time[neighbour] - time, keys.value[neighbour] - value
            else:
                run, rise = handle[key, 0] - time, handle[key, 1] - value
            if run != 0.0:
                values[row, beyond] = value + (at[beyond] - time) * (rise / run)


def _go_round(keys: CurveBatch, frames: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the times at which cyclic curves are to be read, and what is added, (C, F) each.

    In single precision, as the host does it: where a round ends and the next begins the curve
    may jump, and rounding decides on which side a frame lies.
    """
    single = frames.astype(np.float32)
    shown = np.tile(frames, (len(keys.counts), 1))
    lift = np.zeros_like(shown)
    for row, cycles in keys.cycles.items():
        first = int(keys.first[row])
        last = first + int(keys.counts[row]) - 1
        start, end = np.float32(keys.time[first]), np.float32(keys.time[last])
        length = end - start
        rise = np.float32(keys.value[last]) - np.float32(keys.value[first])
        if not length > 0.0:
            continue
        for mode, count, beyond, after in (
            (cycles.before, cycles.count_before, single < start, False),
            (cycles.after, cycles.count_after, single > end, True),
        ):
            away = single - (end if after else start)
            passed = np.abs(away) / length
            rounds = beyond & ((count == 0) | (passed <= count))
            if mode is CycleMode.NONE or not np.any(rounds):
                continue
            turns = np.trunc(passed[rounds])
            rest = np.fmod(away[rounds].astype(np.float64), float(length)).astype(np.float32)
            backwards = (mode is CycleMode.MIRROR) & (turns % 2 == 0)
            within = np.where(backwards, (end if after else start) - rest, start + rest)
            within = np.where(within < start, within + length, within)
            # Exactly at the end of a round its own end shows, not the next one's start.
            ends_far = (mode is CycleMode.MIRROR) & (turns % 2 == 1)
            edge = np.where(ends_far != after, end, start)
            shown[row, rounds] = np.where(rest == 0.0, edge, within)
            if mode is CycleMode.REPEAT_OFFSET:
                along = away[rounds] / length
                lift[row, rounds] = (np.ceil(along) if after else np.floor(along)) * rise
    return shown, lift
