# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a camera does to the picture, on moves whose effect a pinhole camera gives by formula."""

from dataclasses import replace

import numpy as np
import pytest
import shot_camera
from scipy.spatial.transform import Rotation

from fettle.core_math.measures import camera_work

POINT = np.zeros((2, 3))
PLACE = np.array([[0.0, -8.0, 0.0], [0.0, -8.0, 0.0]])


def work(camera):
    return camera_work.measure_work(POINT, camera.positions, camera.rotations, camera.lens)[0]


def test_track_and_pan_move_the_picture_across():
    # 50 mm on 36 mm sees 0.72 of the distance: 5.76 m at 8 m.
    track = shot_camera.make_camera(PLACE + [[0, 0, 0], [0.0576, 0, 0]])
    assert work(track) == pytest.approx([-0.01, 0, 0, 0], abs=1e-9)
    turned = Rotation.from_euler("ZX", [[0, 90], [1.0, 90]], degrees=True)
    pan = shot_camera.make_camera(PLACE, turned.as_quat(scalar_first=True))
    across = np.tan(np.radians(1.0)) * 50.0 / 36.0
    assert work(pan)[0] == pytest.approx(across, abs=1e-9)


def test_zoom_and_roll_move_it_a_quarter_of_the_width_from_there():
    still = shot_camera.make_camera(PLACE)
    zoom = replace(still, lens_mm=np.array([50.0, 52.0]))
    assert work(zoom) == pytest.approx([0, 0, 0.25 * 0.04, 0], abs=1e-9)
    turned = Rotation.from_euler("XZ", [[90, 0], [90, -2.0]], degrees=True)
    rolled = shot_camera.make_camera(PLACE, turned.as_quat(scalar_first=True))
    angle = np.radians(2.0)
    expected = [0, 0, 0.25 * (np.cos(angle) - 1.0), 0.25 * np.sin(angle)]
    assert work(rolled) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("size", [0.3, 1.0, 4.0])
def test_a_frame_off_its_path_is_told_from_a_change_of_speed(size):
    steady = np.outer(np.arange(30.0), [1.0, 0.4])
    off = steady.copy()
    off[12] += [size, 0.0]
    rows = np.array([12])
    assert camera_work.is_spike(off, rows, 0.5)
    bent = steady.copy()
    bent[12:, 0] += size * np.arange(18.0)
    assert not camera_work.is_spike(bent, rows, 0.5)
    stopped = steady[np.minimum(np.arange(30), 12)]
    assert not camera_work.is_spike(stopped, rows, 0.5)
