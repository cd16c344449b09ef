# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The trails of an older take, to be drawn beside those of now, and why one is not."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from ..core_math import CAMERA, Motion, Take
from . import kept, window_takes
from .trails import Trail, TrailSpace, make_old_trail
from .translation import say
from .viewpoints import Viewpoint, find_old_viewpoint
from .wording import say_part_name

SAME_WAY = 0.003
"""Share of body size, or of the picture, by which an older path must differ to be drawn."""

Place = tuple[str, str]


def lay_out_old(
    entry: kept.Kept,
    trails: Mapping[Place, Trail],
    space: TrailSpace,
    reference: str,
    viewpoints: Mapping[str, Viewpoint | None],
) -> dict[Place, Trail]:
    """Return the older take's trails beside those of now.

    Parameters
    ----------
    trails : mapping of (subject, part) to Trail
        Those of now.
    space : TrailSpace
    reference : str
        What they are seen from, where `space` is PART.
    viewpoints : mapping of subject to Viewpoint or None
        The same as it moves now.
    """
    take = entry.base
    if take is None:
        return {}
    move = window_takes.retime(entry)
    before = {subject: find_old_viewpoint(take, subject, reference) for subject in viewpoints}
    old = {}
    for (subject, part), trail in trails.items():
        points, first = take.trails.get((subject, part)), take.find_first(subject)
        viewpoint = before.get(subject) if space is TrailSpace.PART else None
        if points is None or not len(points) or first is None:
            continue
        if space is TrailSpace.PART and viewpoint is None:
            continue
        frames = np.array([move(subject, part, first + row) for row in range(len(points))])
        motion = entry.motions[subject]
        path = make_old_trail(trail, motion, points, frames, viewpoint)
        size = 1.0 if space is TrailSpace.PICTURE else motion.height
        if not _is_same_way(path, trail, frames, motion, SAME_WAY * size):
            old[subject, part] = path
    return old


def _is_same_way(
    old: Trail, new: Trail, frames: NDArray[np.float64], motion: Motion, most: float
) -> bool:
    """Say whether a part still goes where it went, frame by frame: then one line is enough."""
    if old.points.shape != new.points.shape or not np.array_equal(np.rint(frames), motion.frames):
        return False
    return bool(np.abs(old.points - new.points).max() <= most)


def explain_missing(take: Take, space: str) -> str:
    """Say why trails of a take are not drawn, in one line; empty when all there are can be.

    Parameters
    ----------
    take : Take
    space : str
        What trails are drawn relative to, as the window names it.
    """
    if not take.trails:
        return say("A findings file holds no trails")
    subjects = sorted({subject for subject, _ in take.trails})
    if space not in ("world", "picture"):
        lacking = [name for name in subjects if find_old_viewpoint(take, name, space) is None]
        if lacking and not take.firsts:
            return say(
                "Kept by an older version, this take does not tell how hips, chest and camera "
                "turned: its trails show in World and Picture"
            )
        if len(lacking) == len(subjects):
            if space == CAMERA:
                return say("This take had no shot camera to look from")
            return say("This take had no {part} to look from", part=say_part_name(space))
    unknown = [name for name in subjects if take.find_first(name) is None]
    if unknown:
        return say(
            "Kept by an older version, this take does not tell from which frame on {subject} was "
            "there: no old trails of it",
            subject=", ".join(unknown),
        )
    return ""
