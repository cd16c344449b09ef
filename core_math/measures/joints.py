# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Angles of joints, read off joint positions, so that bone axes and rolls do not matter."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from . import geometry, rotations

FloatArray = NDArray[np.float64]


def angle_between_vectors(one: FloatArray, other: FloatArray) -> FloatArray:
    """Return the angle between vectors, shapes (..., 3), 0 to 180 degrees; 0 for no vector."""
    sine = geometry.lengths(geometry.cross(one, other))
    cosine = geometry.dots(one, other)
    return np.degrees(np.arctan2(sine, cosine))


def interior_angle(upper: FloatArray, joint: FloatArray, lower: FloatArray) -> FloatArray:
    """Return the angle at a joint between its two limbs: 180 degrees when stretched straight.

    Parameters
    ----------
    upper, joint, lower : ndarray, shape (..., 3)
        Positions of the joint above, the joint itself and the joint below.

    Returns
    -------
    ndarray, shape (...), degrees
    """
    return angle_between_vectors(upper - joint, lower - joint)


def hinge_angle(
    upper: FloatArray, joint: FloatArray, lower: FloatArray, frame: FloatArray
) -> FloatArray:
    """Return a hinge's interior angle, over 180 degrees where it bends the wrong way.

    Unlike `interior_angle` it has no kink where a joint passes through straight.

    Parameters
    ----------
    upper, joint, lower : ndarray, shape (F, 3)
        Positions of the joint above, the joint itself and the joint below.
    frame : ndarray, shape (F, 4)
        World rotations of the upper limb, in whose axes the hinge stands still.

    Returns
    -------
    ndarray, shape (F,), degrees
        The way in which it bends the most counts as the right one.
    """
    angles = interior_angle(upper, joint, lower)
    hinge = geometry.cross(joint - upper, lower - joint)
    hinge = rotations.rotate(rotations.conjugate(frame), hinge)
    usual = hinge.sum(axis=0)
    return np.where(hinge @ usual < 0.0, 360.0 - angles, angles)
