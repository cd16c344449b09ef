# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Exchange formats come in at the rate and over the frames they were made at."""

import base64
import json

import bpy
import numpy as np
import pytest
import small_rig

from fettle.addon.readings import read_shot
from fettle.addon.shot_faults import ShotFileError
from fettle.addon.shot_files import open_shot
from fettle.core_math import ALL_CHECKS, Settings


def export(path, fps):
    """Write the small figure's shot in the format of the path's ending."""
    scene, _ = small_rig.build_shot()
    scene.render.fps = fps
    suffix = path.suffix
    if suffix == ".fbx":
        bpy.ops.preferences.addon_enable(module="io_scene_fbx")
        bpy.ops.export_scene.fbx(filepath=str(path), bake_anim=True, add_leaf_bones=False)
    elif suffix == ".bvh":
        bpy.ops.preferences.addon_enable(module="io_anim_bvh")
        rig = next(entry for entry in scene.objects if entry.type == "ARMATURE")
        bpy.context.view_layer.objects.active = rig
        bpy.ops.export_anim.bvh(filepath=str(path), frame_start=1, frame_end=45)
    else:
        bpy.ops.preferences.addon_enable(module="io_scene_gltf2")
        kind = {".glb": "GLB", ".gltf": "GLTF_SEPARATE"}[suffix]
        bpy.ops.export_scene.gltf(
            filepath=str(path), export_format=kind, export_force_sampling=True
        )
    return path


def read_ik_lock():
    scene = bpy.context.scene
    only = Settings().select(ALL_CHECKS, only=["ik-lock"])
    reading = read_shot(scene, bpy.context.view_layer, only)
    return reading, [flag for flag in reading.flags if flag.check == "ik-lock"]


@pytest.mark.filterwarnings("ignore:.*FileIO.*")  # Blender's importer leaves the file open
@pytest.mark.parametrize("suffix", [".fbx", ".glb", ".gltf", ".bvh"])
@pytest.mark.parametrize("fps", [24, 30])
def test_format_comes_in_at_its_own_rate_with_its_fault(suffix, fps, tmp_path):
    path = export(tmp_path / f"Kran 港{suffix}", fps)
    open_shot(path)
    reading, flags = read_ik_lock()
    assert reading.fps == pytest.approx(fps)
    first, last = reading.frame_range
    assert (first, last) == (1, 45)  # a key on every fourth frame from 1 to 45
    # 1.74 m; these formats carry joints alone, so importers make up how long the last bones are.
    assert reading.subjects[0].height_m == pytest.approx(1.74, abs=0.2)
    assert {flag.part for flag in flags} == {"hand.L"}
    rig = next(entry for entry in bpy.context.scene.objects if entry.type == "ARMATURE")
    corners = np.array([rig.matrix_world @ bone.head_local for bone in rig.data.bones])
    assert np.argmax(np.ptp(corners[:, 1:], axis=0)) == 1  # it stands


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("a.glb", b"glTF" + bytes(30), "is no glTF file"),
        ("a.gltf", b"{}", "is no glTF file"),
        ("a.gltf", b'{"asset": {"version": "2.0"}, "animations": [{"samplers": [{}]}]}', "damaged"),
        ("a.fbx", b"; no FBX at all", "cannot be imported"),
        ("a.abc", b"x", "of no kind that can be read"),
    ],
)
def test_file_of_another_kind_is_refused(tmp_path, name, content, words):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(ShotFileError) as caught:
        open_shot(path)
    assert words in str(caught.value) and "\n" not in str(caught.value)


def test_gltf_without_its_other_half_names_it(tmp_path):
    path = export(tmp_path / "walk.gltf", 24)
    (tmp_path / "walk.bin").unlink()
    with pytest.raises(ShotFileError, match=r"needs .*walk\.bin \(No such file"):
        open_shot(path)


def test_key_times_tell_the_rate(tmp_path):
    # A .gltf that holds nothing but two key times, 1/50 s apart.
    times = np.array([0.0, 0.02], dtype="<f4").tobytes()
    document = {
        "asset": {"version": "2.0"},
        "buffers": [
            {
                "byteLength": len(times),
                "uri": "data:application/octet-stream;base64," + base64.b64encode(times).decode(),
            }
        ],
        "bufferViews": [{"buffer": 0, "byteLength": len(times)}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 2, "type": "SCALAR"},
        ],
        "animations": [{"channels": [], "samplers": [{"input": 0, "output": 0}]}],
        "scenes": [{"nodes": []}],
    }
    path = tmp_path / "times.gltf"
    path.write_text(json.dumps(document))
    from fettle.addon.shot_files import _find_gltf_rate

    assert _find_gltf_rate(path) == 50.0


def save_driven_shot(path, expression):
    _, rig = small_rig.build_shot()
    driver = rig.pose.bones["head"].driver_add("rotation_euler", 0).driver
    driver.type = "SCRIPTED"
    driver.expression = expression
    text = bpy.data.texts.new("rig_ui.py")
    text.use_module = True
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


def test_drivers_that_need_python_are_told_unless_the_file_is_trusted(tmp_path):
    path = save_driven_shot(tmp_path / "driven.blend", "__import__('math').sin(frame)")
    (line,) = open_shot(path).warnings
    assert "1 of its drivers need Python" in line and "Rig: " in line
    assert open_shot(path, run_scripts=True).warnings == ()


def test_simple_drivers_and_a_rigs_panels_need_no_trust(tmp_path):
    path = save_driven_shot(tmp_path / "driven.blend", "sin(frame / 7.0) * 0.2")
    assert open_shot(path).warnings == ()
