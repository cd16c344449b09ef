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
    (1, -1.620, -5.66, 1.220, 1.5, -2.9),
    (12, -1.600, -5.65, 1.218, 1.3, -2.9),
    (20, -1.520, -5.63, 1.210, 0.4, -2.9),
    (30, -1.020, -5.58, 1.190, -2.0, -2.8),
    (40, -0.380, -5.54, 1.170, -3.4, -2.7),
    (52, 0.140, -5.52, 1.160, -3.2, -2.7),
    (64, 0.210, -5.54, 1.150, -2.2, -3.0),
    (78, 0.120, -5.56, 1.110, -1.4, -3.3),
    (90, 0.200, -5.58, 1.120, -1.6, -3.0),
    (102, 0.520, -5.56, 1.170, -2.4, -2.7),
    (114, 0.840, -5.54, 1.210, -2.6, -2.7),
    (130, 0.960, -5.50, 1.235, -2.2, -2.8),
    (LAST_FRAME, 0.990, -5.44, 1.245, -1.9, -2.9),
)


def build_camera(collection: bpy.types.Collection) -> bpy.types.Object:
    """Make the camera, focused on her chest."""
    data = bpy.data.cameras.new(CAMERA)
    data.lens = 48.0
    data.clip_end = 400.0
    data.dof.use_dof = True
    data.dof.aperture_fstop = 2.0
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
