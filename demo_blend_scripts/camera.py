# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The shot camera: it leaves with her, a little before her weight does, and eases in after."""

from __future__ import annotations

import math

import bpy

from .keys import FLOWING, Tracks
from .performance import LAST_FRAME
from .rig import ARMATURE

CAMERA = "Shot Camera"

# frame, x, y, height, pan (+: to screen left), tilt (+: up)
MOVE = (
    (1, -1.620, -5.60, 1.200, 1.5, -1.6),
    (12, -1.600, -5.59, 1.198, 1.3, -1.6),
    (20, -1.520, -5.57, 1.190, 0.4, -1.7),
    (30, -1.020, -5.50, 1.170, -2.0, -1.7),
    (40, -0.380, -5.44, 1.150, -3.4, -1.6),
    (52, 0.160, -5.42, 1.140, -3.2, -1.6),
    (64, 0.240, -5.44, 1.130, -2.2, -1.9),
    (78, 0.180, -5.48, 1.090, -1.4, -2.3),
    (90, 0.260, -5.50, 1.100, -1.6, -2.0),
    (102, 0.560, -5.46, 1.150, -2.4, -1.6),
    (114, 0.800, -5.40, 1.190, -2.6, -1.6),
    (130, 0.880, -5.34, 1.215, -2.2, -1.7),
    (LAST_FRAME, 0.900, -5.28, 1.225, -1.9, -1.8),
)


def build_camera(collection: bpy.types.Collection) -> bpy.types.Object:
    """Make the camera, focused on her chest."""
    data = bpy.data.cameras.new(CAMERA)
    data.lens = 42.0
    data.clip_end = 400.0
    data.dof.use_dof = True
    data.dof.aperture_fstop = 2.8
    data.dof.focus_object = bpy.data.objects[ARMATURE]
    data.dof.focus_subtarget = "chest"
    camera = bpy.data.objects.new(CAMERA, data)
    camera.rotation_mode = "XYZ"
    collection.objects.link(camera)
    bpy.context.scene.camera = camera
    return camera


def key_camera() -> Tracks:
    """Return the camera's keys."""
    tracks = Tracks()
    for frame, x, y, height, pan, tilt in MOVE:
        tracks.key_vector("", "location", frame, (x, y, height), FLOWING)
        turn = (math.radians(90.0 + tilt), 0.0, math.radians(pan))
        tracks.key_vector("", "rotation_euler", frame, turn, FLOWING)
    return tracks
