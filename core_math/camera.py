# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The shot camera as it was sampled: one value per frame for everything that can be animated."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from .measures import optics, projection

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class SensorFit(StrEnum):
    """Which side of the picture the sensor's size and the lens refer to."""

    AUTO = "auto"
    HORIZONTAL = "horizontal"
    VERTICAL = "vertical"


@dataclass(frozen=True, slots=True)
class CameraKind:
    """What a camera is by its settings: fit, lens type and whether it blurs by distance."""

    sensor_fit: SensorFit
    depth_of_field: bool
    orthographic: bool
    panoramic: bool = False


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
    panoramic : bool
        Its picture is no plane: nothing can be told of places in it.
    kinds : tuple of CameraKind
        What the camera at each frame is, shape (F,), where `names` has several; what stands for
        all of them above is that of the first frame.
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
    panoramic: bool = False
    kinds: tuple[CameraKind, ...] = ()

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

    @property
    def width_on_sensor_mm(self) -> FloatArray:
        """How wide the picture is on the sensor, shape (F,), mm."""
        width, height = self.lens.picture
        fit = self.sensor_fit
        across = fit is SensorFit.HORIZONTAL or (fit is SensorFit.AUTO and width >= height)
        side = self.sensor_mm[:, 1 if fit is SensorFit.VERTICAL else 0]
        return side if across else side * width / height

    def measure_blur(self, distances: FloatArray) -> FloatArray:
        """Return blur discs at distances, shape (F, ...), metres, in picture widths.

        Zero without depth of field, and for orthographic lenses, which have none.
        """
        if not self.depth_of_field or self.orthographic:
            return np.zeros_like(distances)
        extra = (1,) * (distances.ndim - 1)
        focal, stop, focus, width = (
            values.reshape(-1, *extra)
            for values in (self.lens_mm, self.f_stop, self.focus_m, self.width_on_sensor_mm)
        )
        return optics.blur_disc_mm(focal, stop, focus, distances) / width

    def project(self, positions: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return places in the picture (0 to 1) and distances of positions, shape (F, ..., 3)."""
        if not self._is_mixed:
            return projection.project(positions, self.positions, self.rotations, self.lens)
        pieces = [self.slice(a, b).project(positions[a:b]) for a, b in self._list_stretches()]
        places, depths = zip(*pieces, strict=True)
        return np.concatenate(places), np.concatenate(depths)

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
        if not self._is_mixed:
            return projection.place_pictures(depths, self.positions, self.rotations, self.lens)
        return np.concatenate(
            [self.slice(a, b).place_pictures(depths[a:b]) for a, b in self._list_stretches()]
        )

    def slice(self, start: int, stop: int | None, step: int = 1) -> ShotCamera:
        """Return the camera over the frame indices start .. stop - 1, every `step`-th of them."""
        return self.pick(np.arange(len(self.positions))[start:stop:step])

    def pick(self, rows: NDArray[np.int64]) -> ShotCamera:
        """Return the camera at the frame indices `rows`, shape (N,)."""
        parts: dict[str, object] = {
            field.name: getattr(self, field.name)[rows]
            for field in fields(self)
            if isinstance(getattr(self, field.name), np.ndarray)
        }
        for name in ("names", "kinds"):
            value = getattr(self, name)
            parts[name] = tuple(value[row] for row in rows.tolist()) if value else ()
        piece = replace(self, **parts)  # type: ignore[arg-type]
        if piece.names:
            piece = replace(piece, name=piece.names[0])
        if piece.kinds:
            first = piece.kinds[0]
            piece = replace(
                piece,
                sensor_fit=first.sensor_fit,
                depth_of_field=first.depth_of_field,
                orthographic=first.orthographic,
                panoramic=first.panoramic,
            )
        return piece

    @property
    def _is_mixed(self) -> bool:
        """Whether cameras of several kinds look, so that each has its own projection."""
        return len(set(self.kinds)) > 1

    def _list_stretches(self) -> list[tuple[int, int]]:
        """Return first and past-the-last index of each stretch with cameras of one kind."""
        kinds = self.kinds
        edges = [n for n in range(1, len(kinds)) if kinds[n] != kinds[n - 1]]
        return list(zip((0, *edges), (*edges, len(kinds)), strict=True))
