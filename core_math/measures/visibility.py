# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What of a movement shows in the shot camera's picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from . import geometry

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def find_shown(places: FloatArray, depths: FloatArray, clip: FloatArray) -> BoolArray:
    """Say which points lie in the picture, shape (F, ...).

    Parameters
    ----------
    places : ndarray, shape (F, ..., 2)
        0 to 1 in the picture, NaN behind the camera.
    depths : ndarray, shape (F, ...), metres
    clip : ndarray, shape (F, 2), metres
        Near and far clipping distance.
    """
    extra = (1,) * (depths.ndim - 1)
    near, far = (clip[:, side].reshape(-1, *extra) for side in (0, 1))
    inside: BoolArray = ((places >= 0.0) & (places <= 1.0)).all(axis=-1)
    return inside & (depths >= near) & (depths <= far)


def share_seen(movement: FloatArray, sight: FloatArray, depth_share: float) -> FloatArray:
    """Return how much of movements counts when what goes along the line of sight counts less.

    Parameters
    ----------
    movement : ndarray, shape (..., 3)
    sight : ndarray, shape (..., 3)
        Unit vectors along the lines of sight.
    depth_share : float
        What one part in depth counts as, 0 to 1.

    Returns
    -------
    ndarray, shape (...)
        1 for movement across the line of sight, `depth_share` for movement along it; 1 for none.
    """
    whole = geometry.dots(movement, movement)
    along = geometry.dots(movement, sight) ** 2
    counted = np.maximum(whole - along, 0.0) + depth_share**2 * along
    share = np.divide(counted, whole, out=np.ones_like(whole), where=whole > 0.0)
    return np.asarray(np.sqrt(share))
