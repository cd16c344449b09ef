# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Takes travel with their scene, and are compared from a command line."""

import bpy
import pytest
import small_rig

from fettle.addon.animation_data import list_played_curves
from fettle.addon.command_line import main
from fettle.addon.readings import iterate_reading
from fettle.addon.scene_takes import (
    TAKES,
    drop_take,
    fetch_take,
    keep_take,
    list_takes,
    read_take,
)
from fettle.core_math import ALL_CHECKS, Report, Settings, TakeError, dump_report, make_take

ONLY = Settings().select(ALL_CHECKS, only=["ik-lock"])


def read_take_of(scene, name):
    motions = []
    steps = iterate_reading(
        scene,
        scene.view_layers[0],
        ONLY,
        keep=lambda samples: motions.extend(sample.motion for sample in samples.samples),
    )
    while True:
        try:
            next(steps)
        except StopIteration as end:
            return make_take(name, end.value, motions)


def shift_all_keys(frames):
    for owner in bpy.data.objects:
        for played in list_played_curves(owner):
            for point in played.curve.keyframe_points:
                point.co.x += frames
                point.handle_left.x += frames
                point.handle_right.x += frames


@pytest.fixture
def scene():
    return small_rig.build_shot()[0]


def test_takes_are_kept_replaced_and_dropped(scene):
    assert list_takes(scene) == []
    for name in ("v1", "zweite 版", "v1"):
        keep_take(scene, read_take_of(scene, name))
    assert list_takes(scene) == ["zweite 版", "v1"]
    assert read_take(scene, "v1").reading.flags
    drop_take(scene, "zweite 版")
    drop_take(scene, "v1")
    assert scene.get(TAKES) is None
    with pytest.raises(TakeError, match=r"there is no take 'v1' \(kept: none\)"):
        drop_take(scene, "v1")


def test_takes_survive_saving_appending_and_linking(scene, tmp_path):
    keep_take(scene, read_take_of(scene, "v1"))
    path = tmp_path / "shot.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.open_mainfile(filepath=str(path))
    assert list_takes(bpy.data.scenes["Scene"]) == ["v1"]
    for link in (False, True):
        bpy.ops.wm.read_factory_settings(use_empty=True)
        bpy.data.scenes[0].name = "Here"
        with bpy.data.libraries.load(str(path), link=link) as (_, here):
            here.scenes = ["Scene"]
        take = read_take(here.scenes[0], "v1")
        assert take.reading.flags and take.trails


def test_damaged_takes_are_told_with_the_way_out(scene):
    scene[TAKES] = {"0": "nothing of ours"}
    with pytest.raises(TakeError, match="remove its custom property 'fettle_takes'"):
        list_takes(scene)


def test_kept_take_is_compared_with_the_shot_as_it_is_also_after_a_retime(scene, tmp_path, capfd):
    keep_take(scene, read_take_of(scene, "v1"))
    shift_all_keys(120)
    scene.frame_start, scene.frame_end = scene.frame_start + 120, scene.frame_end + 120
    path = tmp_path / "shot.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    capfd.readouterr()
    words = ["compare", f"{path}#v1", str(path), "--only", "ik-lock"]
    assert main(words) == 0
    out, err = capfd.readouterr()
    assert "1 still there" in out and "0 new" in out and "Traceback" not in err
    assert main(["compare", f"{path}#v2", str(path)]) == 2
    line = capfd.readouterr().err.splitlines()[0]
    assert "no take 'v2' is kept in it (kept: v1)" in line


def test_takes_of_another_file_are_fetched_by_name_or_the_newest(scene, tmp_path):
    for name in ("v1", "v2"):
        keep_take(scene, read_take_of(scene, name))
    path = tmp_path / "shot.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    assert fetch_take(path, "Scene").name == f"{path.name}#v2"
    assert fetch_take(path, "another scene", "v1").reading.flags
    assert len(bpy.data.scenes) == 1 and not bpy.data.objects
    with pytest.raises(TakeError, match=r"no take 'v3' is kept in it \(kept: v1, v2\)"):
        fetch_take(path, "Scene", "v3")


def test_findings_from_elsewhere_are_a_take_without_trails(scene, tmp_path):
    reading = read_take_of(scene, "v1").reading
    path = tmp_path / "findings.json"
    path.write_text(dump_report(Report((reading,))), encoding="utf-8")
    take = fetch_take(path, scene.name)
    assert take.name == "findings.json" and not take.trails
    assert [flag.id for flag in take.reading.flags] == [flag.id for flag in reading.flags]


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("gone.blend", None, "there is no such file"),
        ("junk.blend", b"no shot", "Blender could not open it"),
        ("notes.txt", b"words", "neither a findings file"),
        ("broken.json", b"{", "broken.json"),
    ],
)
def test_files_nothing_can_be_fetched_from_get_one_line(scene, tmp_path, name, content, words):
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(TakeError, match=words) as told:
        fetch_take(path, scene.name)
    assert "\n" not in str(told.value)


def test_a_shot_without_takes_says_what_to_do(scene, tmp_path):
    path = tmp_path / "shot.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    with pytest.raises(TakeError, match="press Keep Take"):
        fetch_take(path, scene.name)
