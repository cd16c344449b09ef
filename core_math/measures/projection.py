# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""From world positions to places in the shot camera's picture, as Blender itself projects."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import rotations

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Lens:
    """What of a camera shapes the picture, one row per frame.

    Attributes
    ----------
    focal_mm : ndarray, shape (F,)
    sensor_mm : ndarray, shape (F, 2)
        Width and height.
    fit : str
        "auto", "horizontal" or "vertical": the side that sensor and shift refer to.
    shift : ndarray, shape (F, 2)
    picture : tuple of float
        Width and height in pixels times their pixel aspect: only the ratio matters.
    orthographic : bool
    ortho_scale : ndarray, shape (F,), metres
    """

    focal_mm: FloatArray
    sensor_mm: FloatArray
    fit: str
    shift: FloatArray
    picture: tuple[float, float]
    orthographic: bool
    ortho_scale: FloatArray


def view_coordinates(
    positions: FloatArray, camera_positions: FloatArray, camera_rotations: FloatArray
) -> FloatArray:
    """Return positions in the camera's own axes: right, up, and distance along the view axis.

    Parameters
    ----------
    positions : ndarray, shape (F, ..., 3), metres
    camera_positions : ndarray, shape (F, 3), metres
    camera_rotations : ndarray, shape (F, 4)

    Returns
    -------
    ndarray, shape (F, ..., 3), metres
        The third is positive in front of the camera.
    """
    extra = (1,) * (positions.ndim - 2)
    place = camera_positions.reshape(len(camera_positions), *extra, 3)
    turn = rotations.conjugate(camera_rotations).reshape(len(camera_rotations), *extra, 4)
    seen = rotations.rotate(turn, positions - place)
    seen[..., 2] *= -1.0
    return seen


def project(
    positions: FloatArray,
    camera_positions: FloatArray,
    camera_rotations: FloatArray,
    lens: Lens,
) -> tuple[FloatArray, FloatArray]:
    """Return where positions appear in the picture, and how far away they are.

    Parameters
    ----------
    positions : ndarray, shape (F, ..., 3), metres
    camera_positions, camera_rotations : ndarray, shapes (F, 3) and (F, 4)
    lens : Lens

    Returns
    -------
    places : ndarray, shape (F, ..., 2)
        0 to 1 from the left and from the bottom edge of the picture; NaN at or behind the camera
        of a perspective lens.
    depths : ndarray, shape (F, ...), metres
        Distance along the view axis, negative behind the camera.
    """
    seen = view_coordinates(positions, camera_positions, camera_rotations)
    width, height = lens.picture
    side, sensor = _fit(lens)
    extra = (1,) * (positions.ndim - 2)

    def per_frame(values: FloatArray) -> FloatArray:
        return values.reshape(len(values), *extra)

    depths = seen[..., 2]
    if lens.orthographic:
        magnification = side / per_frame(lens.ortho_scale) * np.ones_like(depths)
    else:
        in_front = np.where(depths > 1e-9, depths, np.nan)
        magnification = side * per_frame(lens.focal_mm / sensor) / in_front
    across = seen[..., 0] * magnification - per_frame(lens.shift[:, 0]) * side
    upward = seen[..., 1] * magnification - per_frame(lens.shift[:, 1]) * side
    return np.stack((0.5 + across / width, 0.5 + upward / height), axis=-1), depths


def projected_size(size: FloatArray, depths: FloatArray, lens: Lens) -> FloatArray:
    """Return how wide a length in metres, facing the camera, appears, as a share of the width.

    Parameters
    ----------
    size : ndarray, broadcastable to `depths`, metres
    depths : ndarray, shape (F, ...), metres
    """
    width = lens.picture[0]
    side, sensor = _fit(lens)
    extra = (1,) * (depths.ndim - 1)
    if lens.orthographic:
        return size * side / lens.ortho_scale.reshape(-1, *extra) / width * np.ones_like(depths)
    focal = (lens.focal_mm / sensor).reshape(-1, *extra)
    return size * focal * side / np.where(depths > 1e-9, depths, np.nan) / width


def place_pictures(
    depths: FloatArray,
    camera_positions: FloatArray,
    camera_rotations: FloatArray,
    lens: Lens,
) -> FloatArray:
    """Return what puts places in the picture onto a plane in the world: the way back.

    Parameters
    ----------
    depths : ndarray, shape (F,), metres
        Distance of the plane along the view axis.
    camera_positions, camera_rotations : ndarray, shapes (F, 3) and (F, 4)
    lens : Lens

    Returns
    -------
    ndarray, shape (F, 3, 4)
        Times (across, up, 0, 1), both in picture widths from the lower left corner, gives the
        point in metres that appears there.
    """
    width, height = lens.picture
    side, sensor = _fit(lens)
    if lens.orthographic:
        across = lens.ortho_scale * width / side
    else:
        across = depths * sensor / lens.focal_mm * width / side
    shift = lens.shift * (side / width)
    corner = np.stack(
        (
            (shift[:, 0] - 0.5) * across,
            (shift[:, 1] - 0.5 * height / width) * across,
            -depths,
        ),
        axis=-1,
    )
    axes = np.zeros((len(depths), 3, 4))
    axes[:, 0, 0] = axes[:, 1, 1] = across
    axes[:, 2, 2] = 1.0
    axes[:, :, 3] = corner
    placed = np.stack(
        [rotations.rotate(camera_rotations, axes[..., column]) for column in range(4)], axis=-1
    )
    placed[..., 3] += camera_positions
    return placed


def _fit(lens: Lens) -> tuple[float, FloatArray]:
    """Return the picture's side that the sensor refers to, and how long that is on the sensor."""
    width, height = lens.picture
    horizontal = lens.fit == "horizontal" or (lens.fit == "auto" and width >= height)
    sensor = lens.sensor_mm[:, 1] if lens.fit == "vertical" else lens.sensor_mm[:, 0]
    return (width if horizontal else height), sensor
