# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What moves in the picture: the subject itself, or the camera that looks at it.

Both are told in shares of the picture's width at the place of the subject, so a pan, a track and a
zoom are one thing, and it is the thing the audience sees.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from . import geometry, projection

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class PictureMotion:
    """How a point's place in the picture changes, and who does it.

    Attributes
    ----------
    places : ndarray, shape (F, 2), picture widths
        Place of the point; NaN behind the camera.
    by_subject, by_camera : ndarray, shape (F - 1, 2), picture widths per frame
        The part of each step that the point makes under a camera that stands still, and the part
        that the camera makes over a point that stands still.
    """

    places: FloatArray
    by_subject: FloatArray
    by_camera: FloatArray


def divide_motion(
    point: FloatArray,
    camera_positions: FloatArray,
    camera_rotations: FloatArray,
    lens: projection.Lens,
) -> PictureMotion:
    """Divide what happens to a point in the picture between subject and camera.

    Parameters
    ----------
    point : ndarray, shape (F, 3), metres
    camera_positions, camera_rotations : ndarray, shapes (F, 3) and (F, 4)
    lens : Lens
    """
    aspect = lens.picture[1] / lens.picture[0]

    def place(where: FloatArray, start: int, stop: int) -> FloatArray:
        seen, _ = projection.project(
            where,
            camera_positions[start:stop],
            camera_rotations[start:stop],
            cut(lens, start, stop),
        )
        return seen * [1.0, aspect]

    count = len(point)
    places = place(point, 0, count)
    return PictureMotion(
        places=places,
        by_subject=place(point[1:], 0, count - 1) - places[:-1],
        by_camera=place(point[:-1], 1, count) - places[:-1],
    )


def cut(lens: projection.Lens, start: int, stop: int) -> projection.Lens:
    """Return the lens over the frames start .. stop - 1."""
    return replace(
        lens,
        focal_mm=lens.focal_mm[start:stop],
        sensor_mm=lens.sensor_mm[start:stop],
        shift=lens.shift[start:stop],
        ortho_scale=lens.ortho_scale[start:stop],
    )


def frame_speeds(steps: FloatArray, fps: float) -> FloatArray:
    """Return the speed at each frame, shape (F,), from steps (F - 1, 2); per second."""
    lengths = geometry.lengths(np.nan_to_num(steps)) * fps
    if len(lengths) == 0:
        return np.zeros(1)
    return np.concatenate((lengths[:1], 0.5 * (lengths[1:] + lengths[:-1]), lengths[-1:]))


@dataclass(frozen=True, eq=False)
class Wander:
    """How far a point is from its settled place in the picture.

    Attributes
    ----------
    expected : ndarray, shape (F, 2), picture widths
        Where the framing would have it; NaN when it is never settled.
    away : ndarray, shape (F,), picture widths
        Distance from there.
    spread : float, picture widths
        Typical distance (median) while it is settled.
    """

    expected: FloatArray
    away: FloatArray
    spread: float


def find_wander(places: FloatArray, settled: BoolArray) -> Wander:
    """Return how far a point is from its settled place in the picture.

    Where the framing is settled before and after, the place expected in between lies on the line
    from the one to the other, in time.

    Parameters
    ----------
    places : ndarray, shape (F, 2)
    settled : ndarray of bool, shape (F,)
    """
    frames = np.arange(len(places))
    good = settled & np.isfinite(places).all(axis=-1)
    if not good.any():
        unknown = np.full(places.shape, np.nan)
        return Wander(unknown, unknown[:, 0], 0.0)
    rows = frames[good]
    expected = np.stack([np.interp(frames, rows, places[good, axis]) for axis in (0, 1)], axis=-1)
    # A settled stretch has one place: its own median, not each of its frames.
    edges = np.flatnonzero(np.diff(rows) > 1) + 1
    spread = []
    for piece in np.split(rows, edges):
        middle = np.median(places[piece], axis=0)
        expected[piece] = middle
        spread.append(geometry.lengths(places[piece] - middle))
    away = geometry.lengths(places - expected)
    return Wander(expected, away, float(np.median(np.concatenate(spread))))
