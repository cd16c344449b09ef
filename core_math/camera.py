# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The shot camera as it was sampled: one value per frame for everything that can be animated."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from .measures import projection

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class SensorFit(StrEnum):
    """Which side of the picture the sensor's size and the lens refer to."""

    AUTO = "auto"
    HORIZONTAL = "horizontal"
    VERTICAL = "vertical"


@dataclass(frozen=True, eq=False, slots=True)
class ShotCamera:
    """Camera of a shot.

    Attributes
    ----------
    name : str
    positions : ndarray, shape (F, 3), metres
    rotations : ndarray, shape (F, 4)
        Unit quaternions w, x, y, z with continuous sign; the camera looks along its own -Z with
        +Y up.
    lens_mm : ndarray, shape (F,)
        Focal length in millimetres.
    sensor_mm : ndarray, shape (F, 2)
        Width and height of the sensor in millimetres.
    sensor_fit : SensorFit
    shift : ndarray, shape (F, 2)
        Lens shift as a share of the larger picture side.
    resolution : tuple of float
        Width and height of the picture in pixels.
    pixel_aspect : tuple of float
    clip_m : ndarray, shape (F, 2), metres
        Near and far clipping distance.
    focus_m : ndarray, shape (F,), metres
        Distance of the plane in focus along the view axis.
    f_stop : ndarray, shape (F,)
    depth_of_field : bool
    orthographic : bool
    ortho_scale : ndarray, shape (F,), metres
        Width (larger side) of an orthographic picture.
    motion_blur : bool
    shutter_frames : float
        How long the shutter is open, in frames.
    names : tuple of str
        Name of the camera at each frame, shape (F,), where bound markers cut between cameras;
        empty when it is the same one throughout.
    """

    name: str
    positions: FloatArray
    rotations: FloatArray
    lens_mm: FloatArray
    sensor_mm: FloatArray
    sensor_fit: SensorFit
    shift: FloatArray
    resolution: tuple[float, float]
    pixel_aspect: tuple[float, float]
    clip_m: FloatArray
    focus_m: FloatArray
    f_stop: FloatArray
    depth_of_field: bool
    orthographic: bool
    ortho_scale: FloatArray
    motion_blur: bool
    shutter_frames: float
    names: tuple[str, ...] = ()

    @property
    def lens(self) -> projection.Lens:
        """What of this camera shapes the picture."""
        width, height = (r * a for r, a in zip(self.resolution, self.pixel_aspect, strict=True))
        return projection.Lens(
            focal_mm=self.lens_mm,
            sensor_mm=self.sensor_mm,
            fit=self.sensor_fit.value,
            shift=self.shift,
            picture=(width, height),
            orthographic=self.orthographic,
            ortho_scale=self.ortho_scale,
        )

    def project(self, positions: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return places in the picture (0 to 1) and distances of positions, shape (F, ..., 3)."""
        return projection.project(positions, self.positions, self.rotations, self.lens)

    def place_pictures(self, depths: FloatArray) -> FloatArray:
        """Return what puts a place in the picture back into the world, shape (F, 3, 4).

        Parameters
        ----------
        depths : ndarray, shape (F,), metres
            How far from the camera, along its view axis, the plane of the picture is to lie.

        Returns
        -------
        ndarray, shape (F, 3, 4)
            Times (across, up, 0, 1), both in picture widths from the lower left corner, gives the
            point in metres that appears there: lens, shift and sensor of that frame included.
        """
        return projection.place_pictures(depths, self.positions, self.rotations, self.lens)

    def slice(self, start: int, stop: int | None, step: int = 1) -> ShotCamera:
        """Return the camera over the frame indices start .. stop - 1, every `step`-th of them."""
        count = len(self.positions)
        parts: dict[str, object] = {}
        for field in fields(self):
            value = getattr(self, field.name)
            if (isinstance(value, np.ndarray) and len(value) == count) or (
                field.name == "names" and value
            ):
                parts[field.name] = value[start:stop:step]
        piece = replace(self, **parts)  # type: ignore[arg-type]
        return replace(piece, name=piece.names[0]) if piece.names else piece
