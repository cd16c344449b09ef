# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a planter is given and gives back, and how it looks for a place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fettle.core_math.motion import Motion

FORMULA, WALK, POSES, ACTIVE = "formula", "walk", "poses", "active"
GESTURE, CAPTURE, RIG, CAMERA = "gesture", "capture", "rig", "camera"
EDGE_S = 0.5
"""Faults keep this far from the ends of a stretch, unless they belong there."""


@dataclass(frozen=True)
class Case:
    """A clean stretch of motion, the case's own generator, and what the clip was made with."""

    motion: Motion
    random: np.random.Generator
    options: dict | None = None

    def pick(self, mask: np.ndarray, edge_seconds: float = EDGE_S) -> int | None:
        """Draw a frame (index) on which `mask`, shape (F,), is true; None when there is none."""
        rows = np.flatnonzero(mask)
        edge = round(edge_seconds * self.motion.fps)
        rows = rows[(rows >= edge) & (rows < self.motion.frame_count - edge)]
        return int(rows[self.random.integers(len(rows))]) if len(rows) else None

    def choose(self, options):
        """Draw one of several; None when there is none."""
        options = list(options)
        return options[int(self.random.integers(len(options)))] if options else None

    def frames(self, at_24: float) -> int:
        """Return a number of frames at 24 fps in frames of this motion, at least one."""
        return max(1, round(at_24 * self.motion.fps / 24.0))


@dataclass(frozen=True)
class Fault:
    """A motion with one fault in it, and the truth about that fault.

    Attributes
    ----------
    motion : Motion
    parts : frozenset of str
        Parts that are right to name.
    first, last : int
        Frames of the scene on which it shows.
    """

    motion: Motion
    parts: frozenset[str]
    first: int
    last: int


def fault(motion: Motion, parts, first: int, last: int) -> Fault:
    """Make a Fault from rows (indices) instead of frames."""
    return Fault(motion, frozenset(parts), motion.frame(first), motion.frame(last))


def speed_of(motion: Motion, part: str, seen_from: str | None = None) -> np.ndarray:
    """Return a joint's speed, shape (F,), body heights a second, by central differences.

    Differences span a 24th of a second to either side, so that a capture's jitter stays out.
    """
    path = motion.head(part)
    if seen_from is not None:
        path = path - motion.head(seen_from)
    reach = max(1, round(motion.fps / 24.0))
    ahead = np.minimum(np.arange(len(path)) + reach, len(path) - 1)
    behind = np.maximum(np.arange(len(path)) - reach, 0)
    way = np.linalg.norm(path[ahead] - path[behind], axis=-1)
    return way * motion.fps / (ahead - behind) / motion.height


def turn_between(directions: np.ndarray, span: int) -> np.ndarray:
    """Return the angle between directions `span` frames apart, shape (F - span,), degrees."""
    unit = directions / np.linalg.norm(directions, axis=-1, keepdims=True)
    return np.degrees(np.arccos(np.clip(np.sum(unit[:-span] * unit[span:], axis=-1), -1.0, 1.0)))


def way_turned(directions: np.ndarray) -> np.ndarray:
    """Return the angle a direction has gone through up to each frame, shape (F,), degrees."""
    return np.concatenate(([0.0], np.cumsum(turn_between(directions, 1))))


def bone(motion: Motion, part: str, following: str) -> np.ndarray:
    """Return the vector from a part's joint to the next one's, shape (F, 3), metres."""
    return motion.head(following) - motion.head(part)


def list_sides(motion: Motion, *parts: str) -> list[str]:
    """Return the sides on which all these parts are there."""
    return [side for side in (".L", ".R") if motion.has(*(f"{part}{side}" for part in parts))]


def list_below(motion: Motion, part: str) -> list[str]:
    """Return a part and everything it carries."""
    found = {motion.index(part)}
    for _ in motion.parts:
        found |= {row for row, above in enumerate(motion.parents) if above in found}
    return [motion.parts[row] for row in sorted(found)]
