# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Slices of a long reading: when the caller is to have its turn."""

from __future__ import annotations

import time
from collections.abc import Generator, Iterator
from typing import TypeVar

from .sampling_scene import check_era, note_era
from .source_reading import SourceReader

T = TypeVar("T")

STEP = 4e-3
"""What a step of looking at a large rig takes, seconds."""

FIRST_FRAME = 1e-2
"""What the first frame of a scene of our own takes, or its removal: it has a slice to itself."""


class Clock:
    """Counts the time worked, apart from the time the caller takes between two slices."""

    def __init__(self, budget_ms: float) -> None:
        self._budget = budget_ms / 1e3
        self._worked = 0.0
        self._era = note_era()
        self._started = time.perf_counter()

    def is_over(self, ahead: float = 0.0) -> bool:
        """Say whether the slice is used up, or would be by what takes `ahead` seconds."""
        used = time.perf_counter() - self._started
        return used >= self._budget or (used > 0.5 * self._budget and used + ahead > self._budget)

    def pause(self, progress: float) -> Iterator[float]:
        """Let the caller have its turn, and see that the file is still the same after it."""
        self._worked += time.perf_counter() - self._started
        yield progress
        check_era(self._era)
        self._started = time.perf_counter()

    def total(self) -> float:
        """Return the seconds worked so far."""
        return self._worked + time.perf_counter() - self._started


def take_turns(
    steps: Generator[None, None, T], clock: Clock, reader: SourceReader, share: float = 0.0
) -> Generator[float, None, T]:
    """Do what is done in steps, with a pause wherever one more would take too long.

    Parameters
    ----------
    share : float
        How far all is meanwhile, from 0 to 1.
    """
    while True:
        try:
            next(steps)
        except StopIteration as end:
            result: T = end.value
            return result
        if clock.is_over(ahead=STEP):
            yield from clock.pause(share)
            reader.let_go()
