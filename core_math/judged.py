# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What checks said before, used again where neither the motion nor the limits have changed.

A stretch of motion counts as unchanged when every number in it is the same, so the outcome of a
check that sees nothing else is the same too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

import numpy as np

from .check import Check, Values
from .findings import Outcome
from .motion import Motion

Judgement = list[Outcome] | str
"""What a check brought back, or the reason why it could not evaluate the stretch."""


@dataclass(slots=True, eq=False)
class _Stretch:
    motion: Motion
    said: dict[str, tuple[Values, Judgement]] = field(default_factory=dict)


class JudgedMemory:
    """Outcomes by subject, stretch and check; the last motion of every subject only."""

    def __init__(self) -> None:
        self._stretches: dict[str, list[_Stretch]] = {}

    def recognise(self, shots: Sequence[Motion]) -> list[Motion]:
        """Return the stretches, each as the earlier object where it is unchanged.

        What was kept for stretches of this subject that are no more is dropped.
        """
        before = {s.motion.frame(0): s for s in self._stretches.get(shots[0].subject, ())}
        now = []
        for shot in shots:
            known = before.get(shot.frame(0))
            same = known is not None and is_same(known.motion, shot)
            now.append(known if known is not None and same else _Stretch(shot))
        self._stretches[shots[0].subject] = now
        return [stretch.motion for stretch in now]

    def find(self, check: Check, shot: Motion, values: Values) -> Judgement | None:
        """Return what a check said of this very stretch with these values, None if nothing."""
        stretch = self._find(shot)
        known = stretch.said.get(check.id) if stretch is not None else None
        return known[1] if known is not None and known[0] == values else None

    def keep(self, check: Check, shot: Motion, values: Values, judgement: Judgement) -> None:
        """Keep what a check said of a stretch that was recognised."""
        stretch = self._find(shot)
        if stretch is not None:
            stretch.said[check.id] = (values, judgement)

    def _find(self, shot: Motion) -> _Stretch | None:
        kept = self._stretches.get(shot.subject, ())
        return next((stretch for stretch in kept if stretch.motion is shot), None)


def is_same(one: Any, other: Any) -> bool:
    """Say whether two motions, or parts of them, are the same to the last bit."""
    if one is other:
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray):
        return one.shape == other.shape and bool(np.array_equal(one, other))
    if is_dataclass(one):
        return all(
            is_same(getattr(one, entry.name), getattr(other, entry.name))
            for entry in fields(one)
            if entry.name != "_memo"
        )
    if isinstance(one, Mapping):
        return one.keys() == other.keys() and all(is_same(one[k], other[k]) for k in one)
    if isinstance(one, tuple | list):
        return len(one) == len(other) and all(map(is_same, one, other))
    return bool(one == other)
