# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What checks said before, used again where nothing they looked at has changed.

Every check is watched while it runs (see `watched`), so it is known which parts, keys and so on
its outcome rests on. When an edit left all of those the same to the last bit, the outcome is used
again; so is what checks share, such as the stances of the feet.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, fields, is_dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .check import Check, Values
from .findings import Outcome
from .motion import DRAWING_ROWS, Motion
from .watched import (
    ARRAYS,
    MAPPINGS,
    READ_DRAWINGS,
    WHOLE,
    Read,
    Shared,
    WatchedMotion,
    watch_motion,
)

Judgement = list[Outcome] | str
"""What a check brought back, or the reason why it could not evaluate the stretch."""


@dataclass(slots=True)
class _Said:
    values: Values
    judgement: Judgement
    reads: frozenset[Read]


@dataclass(slots=True, eq=False)
class _Stretch:
    motion: Motion
    watched: WatchedMotion
    said: dict[str, _Said] = field(default_factory=dict)


class JudgedMemory:
    """Outcomes by subject, stretch and check; the last motion of every subject only.

    Keep one for as long as the same scene is read again and again, and hand it to
    `iterate_checks` each time together with the whole new motion; nothing need be said of what
    was edited. What is new is found by comparing with the motion before, bit by bit. Motion that
    is handed over must not be changed in place afterwards.
    """

    def __init__(self) -> None:
        self._stretches: dict[str, list[_Stretch]] = {}

    def recognise(self, shots: Sequence[Motion]) -> list[Motion]:
        """Return the stretches, watched, with what still holds of those known by first frame.

        What was kept for stretches of this subject that are no more is dropped.
        """
        before = {s.motion.frame(0): s for s in self._stretches.get(shots[0].subject, ())}
        now = [_go_on(before.get(shot.frame(0)), shot) for shot in shots]
        self._stretches[shots[0].subject] = now
        return [stretch.watched for stretch in now]

    def find(self, check: Check, shot: Motion, values: Values) -> Judgement | None:
        """Return what a check said of this very stretch with these values, None if nothing."""
        stretch = self._find(shot)
        known = stretch.said.get(check.id) if stretch is not None else None
        return known.judgement if known is not None and known.values == values else None

    @contextmanager
    def watch(self, shot: Motion) -> Iterator[set[Read]]:
        """Collect what is read of a stretch that was recognised."""
        stretch = self._find(shot)
        if stretch is None:
            yield set()
            return
        with stretch.watched.watch.collect() as reads:
            yield reads

    def keep(
        self, check: Check, shot: Motion, values: Values, judgement: Judgement, reads: set[Read]
    ) -> None:
        """Keep what a check said of a stretch that was recognised, and what it rests on."""
        stretch = self._find(shot)
        if stretch is not None:
            stretch.said[check.id] = _Said(values, judgement, frozenset(reads))

    def _find(self, shot: Motion) -> _Stretch | None:
        kept = self._stretches.get(shot.subject, ())
        return next((stretch for stretch in kept if stretch.watched is shot), None)


def _go_on(known: _Stretch | None, shot: Motion) -> _Stretch:
    """Return a stretch with all that still holds of what was known of it."""
    changed = list_changes(known.motion, shot) if known is not None else None
    if known is None or changed is None:
        return _Stretch(shot, watch_motion(shot))
    shared = dict(known.watched.list_shared())
    drawings = shared.get(DRAWING_ROWS)
    if changed and drawings is not None:
        rows = shot.list_drawings()
        if not isinstance(drawings, Shared) or not np.array_equal(rows, drawings.value):
            changed.add(READ_DRAWINGS)
        shared[DRAWING_ROWS] = Shared(None, rows, frozenset())
    if not changed:
        return known
    held = {key: kept.drop(changed) for key, kept in shared.items()}
    shared = {key: kept for key, kept in held.items() if kept is not None}
    said = {name: one for name, one in known.said.items() if changed.isdisjoint(one.reads)}
    return _Stretch(shot, watch_motion(shot, shared), said)


def list_changes(old: Motion, new: Motion) -> set[Read] | None:
    """Return what differs between two motions; None when they are not comparable part by part."""
    apart = {*ARRAYS, *MAPPINGS, *WHOLE, "_memo"}
    for entry in fields(Motion):
        same = entry.name in apart or is_same(getattr(old, entry.name), getattr(new, entry.name))
        if not same:
            return None
    changed: set[Read] = set()
    for name in ARRAYS:
        one, other = getattr(old, name), getattr(new, name)
        if one is not other:
            # As whole numbers: 0.0 and -0.0 are not the same, a NaN is.
            differs = one.view(np.int64) ^ other.view(np.int64)
            odd = np.bitwise_or.reduce(differs, axis=0).any(axis=1)
            changed.update((name, new.parts[row]) for row in np.flatnonzero(odd).tolist())
    for name in MAPPINGS:
        one, other = getattr(old, name), getattr(new, name)
        for part in one.keys() | other.keys():
            if part not in one or part not in other or not is_same(one[part], other[part]):
                changed.add((name, part))
    for name in WHOLE:
        if not is_same(getattr(old, name), getattr(new, name)):
            changed.add((name, ""))
    return changed


def _has_same_bits(one: NDArray[Any], other: NDArray[Any]) -> bool:
    if one.dtype.itemsize == 8 and one.dtype != object:
        return bool(np.array_equal(one.view(np.int64), other.view(np.int64)))
    return one.tobytes() == other.tobytes()


@cache
def _list_fields(kind: Any) -> tuple[str, ...]:
    """Return the fields of a dataclass that tell it from others, none for any other type."""
    if not is_dataclass(kind):
        return ()
    return tuple(entry.name for entry in fields(kind) if entry.name != "_memo")


def is_same(one: Any, other: Any) -> bool:
    """Say whether two motions, or parts of them, are the same to the last bit."""
    if one is other:
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray):
        # By their bits: 0.0 and -0.0 are not the same, a NaN is.
        same = one.dtype == other.dtype and one.shape == other.shape
        return same and _has_same_bits(one, other)
    if isinstance(one, str | int | float):
        return bool(one == other)
    kind: Any = type(one)
    if names := _list_fields(kind):
        return all(is_same(getattr(one, name), getattr(other, name)) for name in names)
    if isinstance(one, Mapping):
        return one.keys() == other.keys() and all(is_same(one[k], other[k]) for k in one)
    if isinstance(one, tuple | list):
        return len(one) == len(other) and all(map(is_same, one, other))
    return bool(one == other)
