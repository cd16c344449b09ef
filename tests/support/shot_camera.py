# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Shot cameras of known behaviour, and a subject that travels across their picture."""

from __future__ import annotations

import figure
import numpy as np
from scipy.spatial.transform import Rotation

from fettle.core_math.camera import SensorFit, ShotCamera
from fettle.core_math.motion import Motion

DISTANCE = 8.0
"""Metres from the camera to the line on which the subject walks."""

WIDTH = 36.0 / 50.0 * DISTANCE
"""What the default lens (50 mm on 36 mm) sees there, in metres."""


def make_camera(
    positions: np.ndarray, rotations: np.ndarray | None = None, **fields: object
) -> ShotCamera:
    """Make a camera over the given path; it looks along +Y unless it is turned."""
    count = len(positions)
    forward = Rotation.from_euler("x", 90, degrees=True).as_quat(scalar_first=True)
    options: dict[str, object] = {
        "name": "Cam",
        "positions": np.asarray(positions, dtype=float),
        "rotations": np.tile(forward, (count, 1)) if rotations is None else rotations,
        "lens_mm": np.full(count, 50.0),
        "sensor_mm": np.tile([36.0, 24.0], (count, 1)),
        "sensor_fit": SensorFit.AUTO,
        "shift": np.zeros((count, 2)),
        "resolution": (1920.0, 1080.0),
        "pixel_aspect": (1.0, 1.0),
        "clip_m": np.tile([0.1, 1000.0], (count, 1)),
        "focus_m": np.full(count, DISTANCE),
        "f_stop": np.full(count, 2.8),
        "depth_of_field": False,
        "orthographic": False,
        "ortho_scale": np.full(count, 6.0),
        "motion_blur": False,
        "shutter_frames": 0.5,
    }
    return ShotCamera(**{**options, **fields})  # type: ignore[arg-type]


def glide(fps: float, seconds: float, start: float, length: float, metres: float) -> np.ndarray:
    """Return a way along X that eases from 0 to `metres` by the minimum-jerk profile, (F,)."""
    time = np.arange(round(seconds * fps)) / fps
    return metres * figure.minimum_jerk((time - start) / length)


def make_shot(
    subject_x: np.ndarray, camera_x: np.ndarray, fps: float = 24.0, **options: object
) -> Motion:
    """Return the figure gliding along X, seen by a camera that travels along X beside it."""
    count = len(subject_x)
    root = np.zeros((count, 3))
    root[:, 0] = subject_x
    place = np.zeros((count, 3))
    place[:, 0], place[:, 1], place[:, 2] = camera_x, -DISTANCE, 1.0
    breath = figure.turn((1, 0, 0), 2.0 * np.sin(np.arange(count) / fps))
    camera = make_camera(place)
    return figure.make_motion(
        {"chest": breath}, count, fps=fps, root_path=root, camera=camera, **options
    )
