# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The shot camera over frames at which different cameras look."""

from dataclasses import replace

import figure
import numpy as np
import pytest
import shot_camera

from fettle.core_math import (
    ALL_CHECKS,
    CameraKind,
    SensorFit,
    run_checks,
    trace_framing,
)

WIDE = CameraKind(SensorFit.AUTO, depth_of_field=False, orthographic=False)
FLAT = CameraKind(SensorFit.VERTICAL, depth_of_field=True, orthographic=True)
ROUND = CameraKind(SensorFit.AUTO, False, False, panoramic=True)


def mix(*kinds):
    count = 2 * len(kinds)
    places = np.zeros((count, 3))
    places[:, 1] = -8.0
    names = tuple(f"Cam {number}" for number in range(len(kinds)) for _ in range(2))
    return shot_camera.make_camera(
        places, names=names, kinds=tuple(kind for kind in kinds for _ in range(2))
    )


def test_each_stretch_is_projected_by_its_own_camera():
    camera = mix(WIDE, FLAT, WIDE)
    points = np.tile([1.0, 0.0, 0.5], (6, 1))
    places, depths = camera.project(points)
    # 50 mm on 36 mm sees 5.76 m at 8 m; the other 6 m upward and 10.667 m across at any distance.
    wide, flat = 0.5 + 1.0 / 5.76, 0.5 + 1.0 / (6.0 * 1920 / 1080)
    assert places[:, 0] == pytest.approx([wide, wide, flat, flat, wide, wide])
    assert depths == pytest.approx(8.0)
    flatly = np.stack((places[:, 0], places[:, 1] * 1080 / 1920, 0 * depths, 1 + 0 * depths), -1)
    back = np.einsum("fij,fj->fi", camera.place_pictures(depths), flatly)
    assert back == pytest.approx(points)


def test_a_stretch_is_what_its_camera_is():
    camera = mix(WIDE, FLAT)
    piece = camera.slice(2, 4)
    assert (piece.name, piece.sensor_fit) == ("Cam 1", SensorFit.VERTICAL)
    assert (piece.orthographic, piece.depth_of_field) == (True, True)
    assert camera.slice(0, 2).orthographic is False
    assert camera.pick(np.array([0, 3])).names == ("Cam 0", "Cam 1")


def test_panoramic_stretch_says_so_and_the_rest_is_judged():
    way = shot_camera.glide(24.0, 6.0, 1.0, 1.5, 3.0)
    motion = shot_camera.make_shot(way, way)
    count = motion.frame_count // 2
    camera = replace(
        motion.camera,
        names=("One",) * count + ("All round",) * (motion.frame_count - count),
        kinds=(WIDE,) * count + (ROUND,) * (motion.frame_count - count),
    )
    motion = replace(motion, camera=camera, cuts=(motion.frame(count),))
    reading = run_checks(motion, ALL_CHECKS)
    assert reading.crashes == ()
    told = {n.check: n for n in reading.not_evaluated if "panoramic" in n.reason}
    assert {"late-camera", "camera-hitch", "strobe", "framing-drift"} <= told.keys()
    assert {"late-camera", "camera-hitch", "arc-break"} <= set(reading.evaluated)
    first, last = trace_framing(motion)
    assert first.reason == "" and "panoramic" in last.reason and np.isnan(last.places).all()


def test_without_a_plane_picture_other_checks_judge_the_world():
    turn = figure.turn((0, 0, 1), 40.0 * np.sin(np.arange(72) / 6.0))
    motion = figure.make_motion({"upper_arm.R": turn}, 72)
    camera = shot_camera.make_camera(np.tile([0.0, -8.0, 1.0], (72, 1)), panoramic=True)
    assert "arc-break" in run_checks(replace(motion, camera=camera), ALL_CHECKS).evaluated
