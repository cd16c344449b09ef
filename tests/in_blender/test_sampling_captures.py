# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Real captures through Blender's own importer, against positions computed from the files.

The positions were computed from the BVH files with SciPy's rotations (file units, Y up); a second
reader agrees to 1e-4. The importer turns Y up into Z up: x, y, z of the file become x, -z, y.
"""

import bpy
import numpy as np
import pytest
import rigs

from fettle.addon.sampling import sample_shot
from fettle.addon.subjects import find_subjects

pytestmark = [
    pytest.mark.captures,
    pytest.mark.slow,
    # Blender's importer leaves its file open.
    pytest.mark.filterwarnings(
        "ignore:unclosed file", "ignore::pytest.PytestUnraisableExceptionWarning"
    ),
]


def read_capture(path, end):
    scene = rigs.start_empty()
    bpy.ops.preferences.addon_enable(module="io_anim_bvh")
    bpy.ops.import_anim.bvh(filepath=str(path))
    bpy.context.view_layer.update()
    shot = sample_shot(
        scene, bpy.context.view_layer, find_subjects(scene, bpy.context.view_layer), (1, end)
    )
    assert not shot.failures
    return shot.samples[0].motion


def to_z_up(x, y, z):
    return np.array((x, -z, y))


def test_jumps(capture):
    motion = read_capture(capture("01_01.bvh"), 1000)
    # clip, row (from 0): file units, tolerance 1e-3
    for row, place in (
        (0, (21.2539, 22.4167, -17.8671)),
        (99, (13.9548, 18.8477, -14.7377)),
        (999, (13.5239, 15.8239, 45.6109)),
    ):
        np.testing.assert_allclose(motion.head("hand.L")[row], to_z_up(*place), atol=1e-3)
    head = to_z_up(9.2966, 25.5615, 45.8278)
    np.testing.assert_allclose(motion.head("head")[999], head, atol=1e-3)


def test_boxing(capture):
    motion = read_capture(capture("Boxing_Toes.bvh"), 1000)
    for row, place in (
        (0, (18.7634, 94.2399, 46.9051)),
        (99, (60.2065, 146.7853, 52.1110)),
        (999, (42.1429, 162.8514, -40.9546)),
    ):
        np.testing.assert_allclose(motion.head("hand.R")[row], to_z_up(*place), atol=1e-3)
    # The hips turn by 0.0698 degrees between these rows, where the file's own channel flips by
    # -359.949: computed with SciPy. The importer has unrolled the channel already.
    assert motion.channels["hips"].mode == "ZXY"
    one, other = motion.rotation("hips")[121:123]
    turn = np.degrees(2 * np.arctan2(np.linalg.norm(one - other) / 2, 1.0) * 2)
    assert turn == pytest.approx(0.0698, abs=2e-3)
    assert motion.height == pytest.approx(173.5, abs=10.0)  # a grown man, in the file's centimetres
