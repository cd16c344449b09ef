# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Looking at a path from something that moves and turns: a part of the body, the shot camera."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..core_math import CAMERA, Motion, Take

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Viewpoint:
    """Where something is and how it is turned, frame by frame.

    Attributes
    ----------
    places : ndarray, shape (F, 3, 4)
        Moves points of its own space into the world.
    """

    places: FloatArray

    def look(self, points: FloatArray) -> FloatArray:
        """Return points of the world, one for each frame, in its own space; shape (F, 3)."""
        axes, origins = self.places[:, :, :3], self.places[:, :, 3]
        return np.einsum("fji,fj->fi", axes, points - origins)


def find_viewpoint(motion: Motion, reference: str) -> Viewpoint | None:
    """Return a part, or the shot camera, to look from; None when it was not sampled."""
    if reference == CAMERA:
        camera = motion.camera
        return _make_viewpoint(camera.positions, camera.rotations) if camera is not None else None
    if not motion.has(reference):
        return None
    return _make_viewpoint(motion.head(reference), motion.rotation(reference))


def find_old_viewpoint(take: Take, subject: str, reference: str) -> Viewpoint | None:
    """Return what a take keeps of a part, or the shot camera, to look from; None without it."""
    place = (subject, reference)
    if place not in take.turns or place not in take.trails:
        return None
    return _make_viewpoint(take.trails[place], take.turns[place])


def _make_viewpoint(positions: FloatArray, rotations: FloatArray) -> Viewpoint:
    return Viewpoint(np.concatenate((_to_axes(rotations), positions[:, :, None]), axis=2))


def _to_axes(wxyz: FloatArray) -> FloatArray:
    """Return rotation matrices of unit quaternions, shape (F, 3, 3), columns are the axes."""
    w, x, y, z = np.moveaxis(wxyz, -1, 0)
    rows = (
        (1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)),
        (2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)),
        (2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)),
    )
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
