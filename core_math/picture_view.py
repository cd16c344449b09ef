# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A fixed place from which to draw a stretch of motion: the shot camera's at one frame, or aside.

Pictures of a trail need one viewpoint for many frames, so a camera that moves is held where it is
at the frame that matters. Lengths come out in metres at the distance of what is looked at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .measures import rotations
from .motion import Motion

FloatArray = NDArray[np.float64]

SMALL_PARTS = ("thumb", "index", "middle", "ring", "pinky")
"""Parts a stick figure leaves out: too fine for a small picture."""


@dataclass(frozen=True, eq=False, slots=True)
class View:
    """A viewpoint.

    Attributes
    ----------
    origin : ndarray, shape (3,), metres
        What is at the picture's centre of projection.
    axes : ndarray, shape (3, 3)
        Rows: right, up and towards the viewer, in the world.
    distance : float, metres
        From the eye to what is looked at; infinite for a view without perspective.
    name : str
        What to call it: the camera's name, or where one looks from.
    """

    origin: FloatArray
    axes: FloatArray
    distance: float
    name: str

    def project(self, points: FloatArray) -> FloatArray:
        """Return places in the picture.

        Parameters
        ----------
        points : ndarray, shape (..., 3), metres

        Returns
        -------
        ndarray, shape (..., 2), metres
            Right and up at the distance of the origin; NaN behind the eye.
        """
        seen = (points - self.origin) @ self.axes.T
        if not np.isfinite(self.distance):
            return seen[..., :2]
        ahead = self.distance - seen[..., 2]
        shrink = self.distance / np.where(ahead > 1e-3 * self.distance, ahead, np.nan)
        places: FloatArray = seen[..., :2] * shrink[..., np.newaxis]
        return places


def choose_view(motion: Motion, index: int, look_at: FloatArray) -> View:
    """Choose where to look from: the shot camera at one frame, else square to the motion.

    Parameters
    ----------
    motion : Motion
    index : int
        Row of the frame that matters.
    look_at : ndarray, shape (N, 3), metres
        The points the picture is about.
    """
    centre = (look_at.min(axis=0) + look_at.max(axis=0)) / 2.0
    camera = motion.camera
    if camera is not None:
        axes = rotations.rotate(camera.rotations[index][np.newaxis], np.eye(3))
        depth = float(-(centre - camera.positions[index]) @ axes[2])
        name = camera.names[index] if camera.names else camera.name
        if camera.orthographic:
            return View(centre, axes, np.inf, name)
        if depth > 0.1 * motion.height:
            # The eye stays where the camera is, also when the subject is off its axis.
            eye = camera.positions[index]
            return View(eye - axes[2] * depth, axes, depth, name)
    return _look_from_aside(motion, index, look_at, centre)


def _look_from_aside(motion: Motion, index: int, look_at: FloatArray, centre: FloatArray) -> View:
    """Look horizontally, square to where the points spread most, from the front if possible."""
    flat = look_at[:, :2] - look_at[:, :2].mean(axis=0)
    spread = np.linalg.svd(flat, full_matrices=False)[2][0] if len(flat) > 2 else np.array([1.0, 0])
    if not np.isfinite(spread).all() or np.ptp(flat @ spread) < 0.05 * motion.height:
        spread = np.array([1.0, 0.0])
    right = np.array([spread[0], spread[1], 0.0])
    towards = np.array([right[1], -right[0], 0.0])
    front = np.array([0.0, -1.0, 0.0])
    if motion.has("hips"):
        front = rotations.rotate(motion.rotation("hips")[index][np.newaxis], front[np.newaxis])[0]
    if towards @ front < 0.0 or (abs(towards @ front) < 1e-6 and right[0] < 0.0):
        right, towards = -right, -towards
    axes = np.stack((right, np.array([0.0, 0.0, 1.0]), towards))
    return View(centre, axes, np.inf, "from aside")


def list_sticks(motion: Motion) -> list[tuple[str, NDArray[np.int64]]]:
    """Return which parts a stick figure is made of.

    Returns
    -------
    list of (str, ndarray)
        Name of the stick's part, and the rows of the parts whose joints it runs through, ending at
        the end of the last.
    """
    sticks = []
    for row, part in enumerate(motion.parts):
        base = part.split("/")[0].split(".")[0]
        if base in SMALL_PARTS or base == "root":
            continue
        parent = motion.parents[row]
        rows = [row]
        if parent >= 0 and motion.parts[parent] != "root":
            rows.insert(0, parent)
        sticks.append((part, np.array(rows, dtype=np.int64)))
    return sticks


def draw_sticks(motion: Motion, index: int, view: View) -> list[tuple[str, FloatArray]]:
    """Return a stick figure at one frame.

    Returns
    -------
    list of (str, ndarray, shape (N, 2))
        Part and the points of its stick in the picture: from the nearer end of the parent part to
        the part's joint and on to its end.
    """
    drawn = []
    for part, rows in list_sticks(motion):
        row = int(rows[-1])
        points = [motion.heads[index, row], motion.tails[index, row]]
        if len(rows) > 1:
            above = int(rows[0])
            ends = np.stack((motion.heads[index, above], motion.tails[index, above]))
            nearest = ends[np.argmin(np.linalg.norm(ends - points[0], axis=-1))]
            points.insert(0, nearest)
        drawn.append((part, view.project(np.stack(points))))
    return drawn


def find_trail_part(motion: Motion, part: str, other_parts: Sequence[str] = ()) -> str | None:
    """Return the part whose trail shows a flag best: its own, else the first that was sampled."""
    for candidate in (part, *other_parts):
        if motion.has(candidate):
            return candidate
    for candidate in ("hips", "root", *motion.parts):
        if motion.has(candidate):
            return candidate
    return None


def measure_spacing(path: FloatArray) -> FloatArray:
    """Return how far a point travels around each frame.

    Parameters
    ----------
    path : ndarray, shape (F, 3), metres

    Returns
    -------
    ndarray, shape (F,), metres per frame
        The mean of the steps before and after; the only one at both ends.
    """
    steps = np.linalg.norm(np.diff(path, axis=0), axis=-1)
    if len(steps) == 0:
        return np.zeros(len(path))
    spacing: FloatArray = (np.append(steps[0], steps) + np.append(steps, steps[-1])) / 2.0
    return spacing
