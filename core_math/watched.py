# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Motion that notes what is read from it, so that one knows what a result rests on.

A check computes its outcome from the motion it is given and from nothing else. What it never
looked at cannot have mattered: as long as everything it did look at is the same, so is the
outcome. Nobody has to declare anything, and nothing can be forgotten.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields
from typing import Any, ClassVar, TypeVar

import numpy as np
from numpy.lib.mixins import NDArrayOperatorsMixin
from numpy.typing import NDArray

from .measures.pieces import Steps
from .motion import DRAWING_ROWS, IntArray, Motion, take_together

T = TypeVar("T")

ARRAYS = ("heads", "tails", "rotations", "local_rotations", "local_heads")
MAPPINGS = ("keys", "channels")
WHOLE = ("camera", "staging")
READ_DRAWINGS = (DRAWING_ROWS, "")

Read = tuple[str, str]
"""A field of the motion, and the part of it ("" where a field has no parts)."""


class Watch:
    """Collects what is read, for each computation that is under way."""

    def __init__(self) -> None:
        self._open: list[set[Read]] = []

    def note(self, *reads: Read) -> None:
        """Add what was read to the innermost computation."""
        if self._open:
            self._open[-1].update(reads)

    @contextmanager
    def collect(self) -> Iterator[set[Read]]:
        """Collect what is read inside; the computation around it has read it too."""
        reads: set[Read] = set()
        self._open.append(reads)
        try:
            yield reads
        finally:
            self._open.pop()
            self.note(*reads)


class WatchedArray(NDArrayOperatorsMixin):
    """An array of shape (F, P, C) that notes which parts are taken out of it.

    Whatever is done with it other than taking parts by `array[rows, parts]` counts as reading all
    of it.
    """

    def __init__(self, values: NDArray[Any], field: str, parts: tuple[str, ...], watch: Watch):
        self._values, self._watch = values, watch
        self._all = tuple((field, part) for part in parts)
        self.shape, self.ndim, self.dtype = values.shape, values.ndim, values.dtype

    def _read_all(self) -> NDArray[Any]:
        self._watch.note(*self._all)
        return self._values

    def __len__(self) -> int:
        return len(self._values)

    def __getitem__(self, key: Any) -> Any:
        if isinstance(key, tuple) and len(key) > 1 and _is_plain(key[0]) and _is_plain(key[1]):
            # A single part at a time, mostly: that has to be quick.
            taken = key[1]
            if isinstance(taken, int | np.integer):
                self._watch.note(self._all[taken])
            elif isinstance(taken, slice):
                self._watch.note(*self._all[taken])
            else:
                rows = np.arange(len(self._all))[taken]
                self._watch.note(*(self._all[row] for row in set(rows.tolist())))
            return self._values[key]
        return self._read_all()[key]

    def take_unseen(self, parts: list[int]) -> NDArray[Any]:
        """Return some parts, (F, len(parts), C), for who notes by itself that they were read."""
        return self._values[:, take_together(parts)]

    def __array__(self, dtype: Any = None, copy: Any = None) -> NDArray[Any]:
        values = self._read_all()
        return np.array(values, dtype=dtype) if copy else np.asarray(values, dtype=dtype)

    def __array_ufunc__(self, ufunc: Any, method: str, *inputs: Any, **options: Any) -> Any:
        plain = [x._read_all() if isinstance(x, WatchedArray) else x for x in inputs]
        return getattr(ufunc, method)(*plain, **options)

    def __iter__(self) -> Iterator[Any]:
        return iter(self._read_all())

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        return getattr(self._read_all(), name)


def _is_plain(key: Any) -> bool:
    """Say whether an index takes from one axis only: a number, a slice, a list of numbers."""
    if isinstance(key, int | np.integer | slice):
        return not isinstance(key, bool)
    if isinstance(key, list | np.ndarray):
        return np.ndim(key) == 1
    return False


class WatchedMapping(Mapping[str, T]):
    """A mapping by part that notes which parts are asked for."""

    def __init__(self, values: Mapping[str, T], field: str, parts: tuple[str, ...], watch: Watch):
        self._values, self._field, self._watch = values, field, watch
        self._all = tuple((field, part) for part in parts)

    def __getitem__(self, part: str) -> T:
        self._watch.note((self._field, part))
        return self._values[part]

    def __contains__(self, part: object) -> bool:
        self._watch.note((self._field, str(part)))
        return part in self._values

    def __iter__(self) -> Iterator[str]:
        self._watch.note(*self._all)
        return iter(self._values)

    def __len__(self) -> int:
        self._watch.note(*self._all)
        return len(self._values)


@dataclass(slots=True)
class Shared:
    """What checks share of a watched motion, with what it was asked for and what it rests on."""

    given: Hashable
    value: Any
    reads: frozenset[Read]

    def drop(self, changed: set[Read]) -> Shared | None:
        """Return what still holds after some changes, None for nothing."""
        return self if changed.isdisjoint(self.reads) else None


@dataclass(slots=True)
class SharedByPart:
    """The same, part by part: for each part its value, if there is one, and what that rests on."""

    given: Hashable
    entries: dict[str, tuple[Any, frozenset[Read]]]

    def drop(self, changed: set[Read]) -> SharedByPart | None:
        """Return what still holds after some changes."""
        left = {part: entry for part, entry in self.entries.items() if changed.isdisjoint(entry[1])}
        return SharedByPart(self.given, left)


class _Kept(dict[Any, Shared | SharedByPart]):
    """What checks share of a watched motion."""


class _NotedWhole:
    """A field without parts that notes when it is asked for; it lies where fields always lie."""

    def __init__(self, name: str) -> None:
        self._name, self._read = name, (name, "")

    def __get__(self, motion: Motion, kind: type[Motion] | None = None) -> Any:
        watch = motion.__dict__.get("_watch")
        if watch is not None:
            watch.note(self._read)
        return motion.__dict__[self._name]

    def __set__(self, motion: Motion, value: Any) -> None:
        motion.__dict__[self._name] = value


class WatchedMotion(Motion):
    """A motion whose parts, keys, channels, camera and staging note that they are read.

    Everything else (frames, rate, names, height, stage ...) is not watched: where that differs,
    nothing is used again.
    """

    piece: ClassVar[int] = 1 << 13
    """Watched motion is read beside a window that waits: pauses come sooner."""

    camera = _NotedWhole("camera")
    staging = _NotedWhole("staging")

    @property
    def watch(self) -> Watch:
        """What notes the reads."""
        watch: Watch = self.__dict__["_watch"]
        return watch

    def list_shared(self) -> dict[Any, Shared | SharedByPart]:
        """Return what checks share so far, each with what it rests on."""
        return self._memo

    def memo(self, key: Any, compute: Callable[[], T], given: Hashable = None) -> T:
        """Return what several checks share; all of them have read what it rests on."""
        watch = self.__dict__.get("_watch")
        if watch is None:
            # Made from a watched motion: what `slice` and `drawings` make shares nothing with it,
            # any other copy must not keep what it alone has seen being read.
            kept = isinstance(self._memo, _Kept)
            return compute() if kept else super().memo(key, compute, given)
        known = self._memo.get(key)
        if known is None or known.given != given:
            with watch.collect() as reads:
                value = compute()
            known = self._memo[key] = Shared(given, value, frozenset(reads))
        watch.note(*known.reads)
        result: T = known.value
        return result

    def memo_steps(
        self, key: Any, compute: Callable[[], Steps[T]], given: Hashable = None
    ) -> Steps[T]:
        """Do what `memo` does for work that pauses between its pieces."""
        watch = self.__dict__.get("_watch")
        if watch is None:
            if isinstance(self._memo, _Kept):
                return (yield from compute())
            return (yield from super().memo_steps(key, compute, given))
        known = self._memo.get(key)
        if known is None or known.given != given:
            with watch.collect() as reads:
                value = yield from compute()
            known = self._memo[key] = Shared(given, value, frozenset(reads))
        watch.note(*known.reads)
        result: T = known.value
        return result

    def memo_by_part(
        self,
        key: Any,
        field: str,
        parts: Sequence[int],
        compute: Callable[[NDArray[Any], list[int]], dict[int, T]],
        given: Hashable = None,
    ) -> dict[int, T]:
        """Return what is worked out for each part by itself; only for those that are not known."""
        watch = self.__dict__.get("_watch")
        if watch is None:
            return super().memo_by_part(key, field, parts, compute, given)
        known = self._memo.get(key)
        if known is None or known.given != given:
            known = self._memo[key] = SharedByPart(given, {})
        missing = [row for row in parts if self.parts[row] not in known.entries]
        if missing:
            with watch.collect() as reads:
                found = compute(getattr(self, field).take_unseen(missing), missing)
            for row in missing:
                rests_on = frozenset({*reads, (field, self.parts[row])})
                known.entries[self.parts[row]] = (found.get(row), rests_on)
        result: dict[int, T] = {}
        for row in parts:
            value, rests_on = known.entries[self.parts[row]]
            watch.note(*rests_on)
            if value is not None:
                result[row] = value
        return result

    def list_drawings(self) -> IntArray:
        """Return the frames with something new; it is their numbers that matter, not all motion."""
        watch = self.__dict__.get("_watch")
        if watch is None:
            return super().list_drawings()
        with watch.collect() as reads:
            rows = super().list_drawings()
            reads.clear()
        watch.note(READ_DRAWINGS)
        return rows


def watch_motion(motion: Motion, shared: dict[Any, Any] | None = None) -> WatchedMotion:
    """Return the same motion, watched, with the shared results that still hold."""
    watch = Watch()
    own = {entry.name: getattr(motion, entry.name) for entry in fields(Motion)}
    for field in ARRAYS:
        own[field] = WatchedArray(own[field], field, motion.parts, watch)
    for field in MAPPINGS:
        own[field] = WatchedMapping(own[field], field, motion.parts, watch)
    kept = _Kept(shared or {})
    if DRAWING_ROWS in motion._memo:
        # Found when the motion was made; who reads them notes that by itself.
        kept.setdefault(DRAWING_ROWS, Shared(None, motion.list_drawings(), frozenset()))
    watched = WatchedMotion(**{**own, "_memo": kept})
    watched.__dict__["_watch"] = watch
    return watched
