# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Shot cameras for the tests: one that stands still, with a plain lens."""

from __future__ import annotations

import numpy as np

from fettle.core_math.camera import SensorFit, ShotCamera


def stand_still(
    frames: int, place: np.ndarray, turn_wxyz: np.ndarray, *, orthographic: bool = False
) -> ShotCamera:
    """Set up a camera (it looks along its own -Z) that does not move; 50 mm on 36 x 24 mm."""
    ones = np.ones(frames)
    return ShotCamera(
        name="Camera",
        positions=np.tile(place, (frames, 1)).astype(float),
        rotations=np.tile(turn_wxyz, (frames, 1)).astype(float),
        lens_mm=50.0 * ones,
        sensor_mm=np.tile((36.0, 24.0), (frames, 1)),
        sensor_fit=SensorFit.AUTO,
        shift=np.zeros((frames, 2)),
        resolution=(1920.0, 1080.0),
        pixel_aspect=(1.0, 1.0),
        clip_m=np.tile((0.1, 100.0), (frames, 1)),
        focus_m=5.0 * ones,
        f_stop=2.8 * ones,
        depth_of_field=False,
        orthographic=orthographic,
        ortho_scale=5.0 * ones,
        motion_blur=False,
        shutter_frames=0.5,
    )
