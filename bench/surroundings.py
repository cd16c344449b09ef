# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How long it takes to look around a subject: 300 frames, 200 objects, 1,000,000 triangles.

python -m bench.surroundings
"""

from __future__ import annotations

import time
from typing import Any

import bpy
import numpy as np

from fettle.addon.sampling import run_sampling, sample_shot
from fettle.addon.sampling_staging import look_around
from fettle.addon.subjects import find_subjects

from .shots import make_rig, start_empty

FRAMES, OBJECTS, SIDE = 300, 200, 50
"""Each object is a bumpy sheet of SIDE x SIDE quads: 5,000 triangles."""

BUDGET_S = 3.0


def build_set() -> bpy.types.Scene:
    """Make a body that travels through a set of sheets, every tenth of which moves."""
    scene: Any = start_empty(FRAMES)
    rig = make_rig(80)
    for frame, place in ((1, (-3.0, 0.0, 0.0)), (FRAMES, (3.0, 0.5, 0.0))):
        rig.location = place
        rig.keyframe_insert("location", frame=frame)
    generator = np.random.default_rng(11)
    for number in range(OBJECTS):
        sheet = bpy.data.objects.new(f"Sheet {number}", _make_sheet(number, generator))
        sheet.location = generator.uniform((-7.0, -6.0, 0.0), (7.0, 12.0, 2.5))
        sheet.rotation_euler = generator.uniform(-3.0, 3.0, 3)
        scene.collection.objects.link(sheet)
        if number % 10 == 0:
            sheet.keyframe_insert("location", frame=1)
            sheet.location.x += 1.0
            sheet.keyframe_insert("location", frame=FRAMES)
    camera = bpy.data.objects.new("Cam", bpy.data.cameras.new("Cam"))
    camera.location, camera.rotation_euler = (0.0, -9.0, 1.4), (np.pi / 2, 0.0, 0.0)
    scene.collection.objects.link(camera)
    scene.camera = camera
    return scene


def _make_sheet(number: int, generator: np.random.Generator) -> bpy.types.Mesh:
    mesh = bpy.data.meshes.new(f"Sheet {number}")
    steps = np.linspace(-0.3, 0.3, SIDE + 1)
    across, upward = np.meshgrid(steps, steps)
    bumps = generator.uniform(-0.01, 0.01, across.shape)
    points = np.stack((across, bumps, upward), axis=-1).reshape(-1, 3)
    corner = np.arange(SIDE)[:, np.newaxis] * (SIDE + 1) + np.arange(SIDE)
    quads = np.stack((corner, corner + 1, corner + SIDE + 2, corner + SIDE + 1), axis=-1)
    mesh.from_pydata(points.tolist(), [], quads.reshape(-1, 4).tolist())
    return mesh


def main() -> None:
    """Build the set, look around once, print the time against the budget."""
    scene = build_set()
    layer: Any = bpy.context.view_layer
    layer.update()
    triangles = sum(2 * len(mesh.polygons) for mesh in bpy.data.meshes)
    subjects = [s for s in find_subjects(scene, layer) if s.name == "Rig"]
    shot = sample_shot(scene, layer, subjects, (1, FRAMES))
    started = time.perf_counter()
    shot = run_sampling(look_around(scene, layer, subjects, shot))
    spent = time.perf_counter() - started
    staging = shot.samples[0].motion.staging
    assert staging is not None
    print(
        f"{FRAMES} frames, {OBJECTS} objects, {triangles} triangles: {spent:.2f} s "
        f"(budget {BUDGET_S:.1f} s), {len(staging.rows)} looks, {staging.tried.sum()} points, "
        f"{staging.hidden.sum(axis=1).mean():.0%} hidden on average"
    )


if __name__ == "__main__":
    main()
