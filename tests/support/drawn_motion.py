# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Motion, flags and a camera of known numbers, for the tests of what is drawn."""

from dataclasses import replace

import bpy
import numpy as np
from bpy_extras.object_utils import world_to_camera_view
from mathutils import Vector
from scipy.spatial.transform import Rotation

from fettle.core_math import (
    Flag,
    KeyTrack,
    SensorFit,
    Severity,
    ShotCamera,
    ShotReading,
    Unit,
    build_motion,
)

FRAMES = np.arange(11, 41)
TURNS = Rotation.from_euler("xyz", np.c_[FRAMES * 2.0, FRAMES * -3.0, FRAMES * 7.0], degrees=True)


def to_wxyz(rotation):
    return np.roll(rotation.as_quat(), 1, axis=-1)


def make_motion(camera=None):
    """Hips that travel and turn, a hand held rigidly by them, a head on its own."""
    count = len(FRAMES)
    hips = np.c_[FRAMES * 0.1, np.sin(FRAMES), np.full(count, 1.0)]
    hand = hips + TURNS.apply([0.5, 0.0, 0.2])
    head = np.c_[np.linspace(0.0, 1.0, count), np.zeros(count), np.full(count, 2.0)]
    heads = np.stack((hips, hand, head), axis=1)
    still = Rotation.identity(count)
    turned = np.stack([to_wxyz(r) for r in (TURNS, TURNS, still)], axis=1)
    return build_motion(
        subject="Rig",
        frames=FRAMES,
        fps=24.0,
        parts=("hips", "hand.L", "head"),
        parents=(-1, 0, 0),
        heads=heads,
        tails=heads + 0.1,
        rotations_wxyz=turned,
        keys={"hand.L": KeyTrack(np.array([11.0, 20.4, 99.0]), np.zeros(3, bool), ("ctrl",))},
        camera=camera,
    )


def make_flag(part="hand.L", start=20, end=24, peak=22, severity=Severity.CLEAR, **changes):
    flag = Flag(
        "ik-lock",
        "seen",
        "Rig",
        part,
        start,
        end,
        peak,
        severity,
        1.0,
        1.0,
        Unit.RATIO,
        0.5,
        "",
        "",
    )
    return replace(flag, **changes)


def make_camera():
    """A camera that flies and turns, as arrays and as Blender's own object for each frame."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    owner = bpy.data.objects.new("Cam", bpy.data.cameras.new("Cam"))
    scene.collection.objects.link(owner)
    owner.rotation_mode = "QUATERNION"
    count = len(FRAMES)
    places = np.c_[np.linspace(-1.0, 2.0, count), np.full(count, -9.0), np.full(count, 1.5)]
    angles = Rotation.from_euler(
        "xyz", np.c_[np.full(count, 88.0), FRAMES * 0, FRAMES * 0.4 - 8], degrees=True
    )
    one = np.ones(count)
    camera = ShotCamera(
        name="Cam",
        positions=places,
        rotations=to_wxyz(angles),
        lens_mm=50.0 * one,
        sensor_mm=np.c_[36.0 * one, 24.0 * one],
        sensor_fit=SensorFit.AUTO,
        shift=np.zeros((count, 2)),
        resolution=(1920.0, 1080.0),
        pixel_aspect=(1.0, 1.0),
        clip_m=np.c_[0.1 * one, 100.0 * one],
        focus_m=9.0 * one,
        f_stop=2.8 * one,
        depth_of_field=False,
        orthographic=False,
        ortho_scale=6.0 * one,
        motion_blur=False,
        shutter_frames=0.5,
    )

    def look(row, place):
        owner.location, owner.rotation_quaternion = places[row], camera.rotations[row]
        bpy.context.view_layer.update()
        return np.array(world_to_camera_view(scene, owner, Vector(place)))

    return camera, look


def make_reading():
    return ShotReading(
        source="",
        scene="Scene",
        fps=24.0,
        frame_range=(int(FRAMES[0]), int(FRAMES[-1])),
        camera=None,
        subjects=(),
        flags=(),
        not_evaluated=(),
        crashes=(),
        evaluated=(),
        sampling_s=0.0,
        checks_s=0.0,
    )
