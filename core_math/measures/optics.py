# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Thin-lens optics: what is in focus, and how wide a point out of focus is drawn.

Lengths of the lens and on the sensor are millimetres, distances in the scene metres.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def field_of_view(focal_mm: ArrayLike, width_mm: ArrayLike) -> FloatArray:
    """Return the angle (degrees) across a picture that is so wide on the sensor, 2 atan(w / 2f)."""
    half = np.asarray(width_mm, dtype=np.float64) / (2.0 * np.asarray(focal_mm, dtype=np.float64))
    return np.degrees(2.0 * np.arctan(half))


def hyperfocal_m(focal_mm: ArrayLike, f_stop: ArrayLike, circle_mm: ArrayLike) -> FloatArray:
    """Return the focus distance beyond which everything is acceptably sharp, f^2 / (N c) + f."""
    focal = np.asarray(focal_mm, dtype=np.float64)
    return (focal**2 / (np.asarray(f_stop) * np.asarray(circle_mm)) + focal) / 1000.0


def depth_of_field_m(
    focal_mm: ArrayLike, f_stop: ArrayLike, circle_mm: ArrayLike, focus_m: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return the near and far distance of acceptable sharpness; far is infinite past hyperfocal.

    near = s (H - f) / (H + s - 2 f), far = s (H - f) / (H - s), with H the hyperfocal distance.
    """
    focal = np.asarray(focal_mm, dtype=np.float64) / 1000.0
    focus = np.asarray(focus_m, dtype=np.float64)
    hyperfocal = hyperfocal_m(focal_mm, f_stop, circle_mm)
    near = focus * (hyperfocal - focal) / (hyperfocal + focus - 2.0 * focal)
    room = hyperfocal - focus
    far = np.where(
        room > 0.0, focus * (hyperfocal - focal) / np.where(room > 0.0, room, 1.0), np.inf
    )
    return near, far


def blur_disc_mm(
    focal_mm: ArrayLike, f_stop: ArrayLike, focus_m: ArrayLike, distance_m: ArrayLike
) -> FloatArray:
    """Return the width on the sensor of a point at a distance, b = (f m / N) |D - s| / D.

    m = f / (s - f) is the magnification of the plane in focus. An infinite distance is allowed.
    """
    focal = np.asarray(focal_mm, dtype=np.float64) / 1000.0
    focus = np.asarray(focus_m, dtype=np.float64)
    distance = np.asarray(distance_m, dtype=np.float64)
    magnification = focal / (focus - focal)
    # |D - s| / D written so that D may be infinite
    offset = np.abs(1.0 - focus / distance)
    return 1000.0 * focal * magnification / np.asarray(f_stop) * offset


def stop_for_blur(
    focal_mm: ArrayLike, focus_m: ArrayLike, distance_m: ArrayLike, disc_mm: ArrayLike
) -> FloatArray:
    """Return the f-stop at which a point at a distance is drawn as wide as `disc_mm`."""
    return blur_disc_mm(focal_mm, 1.0, focus_m, distance_m) / np.asarray(disc_mm)


def lens_for_blur(
    f_stop: ArrayLike, focus_m: ArrayLike, distance_m: ArrayLike, disc_mm: ArrayLike
) -> FloatArray:
    """Return the focal length (mm) that draws a point at a distance as wide as `disc_mm`.

    f^2 / (s - f) |1 - s / D| / N = b, solved for f; infinite for a point in the plane of focus.
    """
    focus = np.asarray(focus_m, dtype=np.float64)
    offset = np.abs(1.0 - focus / np.asarray(distance_m, dtype=np.float64))
    wanted = np.asarray(disc_mm) * np.asarray(f_stop) / 1000.0
    share = wanted / np.where(offset > 0.0, offset, np.nan)
    focal = 0.5 * (np.sqrt(share**2 + 4.0 * share * focus) - share)
    return np.where(offset > 0.0, 1000.0 * focal, np.inf)
