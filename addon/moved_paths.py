# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What curves and drivers move, so that it is not taken for settled: it follows the frame."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from .source_reading import SourceReader


@dataclass(slots=True)
class Moved:
    """What curves and drivers move on one owner: their data paths, and by what they lie in."""

    paths: set[str] = field(default_factory=set)
    inside: dict[str, set[str]] = field(default_factory=dict)

    def add(self, *paths: str) -> None:
        """Note data paths."""
        for path in set(paths) - self.paths:
            self.paths.add(path)
            cut = path.rfind(".") + 1
            self.inside.setdefault(path[:cut], set()).add(path[cut:])


UNMOVED = Moved()


def list_movers(owner: Any, reader: SourceReader) -> Iterator[tuple[str, int]]:
    """Yield path and index of what the curves of an owner move, then of what its drivers do."""
    played = reader.read_curves(owner)
    yield from zip(played.paths, played.indices, strict=True)
    yield from ((driven.path, driven.index) for driven in reader.read_drivers(owner))
