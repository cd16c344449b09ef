# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A reading of a scene: found what is planted, changed nothing, stopped at any point."""

import bpy
import pytest
from small_rig import LAST_FRAME, build_rig, build_shot, swing

from fettle.addon import readings
from fettle.addon.sampling import SamplingError
from fettle.core_math import ALL_CHECKS, Check, Group, Mark, Note, Settings, State

IK_LOCK = tuple(check for check in ALL_CHECKS if check.id == "ik-lock")


def read(scene, **options):
    options.setdefault("checks", IK_LOCK)
    return readings.read_shot(scene, bpy.context.view_layer, Settings(), **options)


def take_stock(scene):
    """What reading must not change."""
    rig = bpy.data.objects["Rig"]
    return {
        "frame": scene.frame_current_final,
        "scenes": [other.name for other in bpy.data.scenes],
        "objects": [other.name for other in bpy.data.objects],
        "selected": [other.name for other in bpy.context.selected_objects],
        "active": bpy.context.view_layer.objects.active.name,
        "mode": rig.mode,
        "pose": [tuple(map(tuple, bone.matrix)) for bone in rig.pose.bones],
        "dirty": bpy.data.is_dirty,
        "handlers": {
            name: list(getattr(bpy.app.handlers, name))
            for name in dir(bpy.app.handlers)
            if isinstance(getattr(bpy.app.handlers, name), list)
        },
    }


def test_finds_the_locked_hand_and_no_other():
    scene, _ = build_shot()
    reading = read(scene, source="shot.blend")
    assert {(flag.check, flag.part) for flag in reading.flags} == {("ik-lock", "hand.L")}
    assert reading.source == "shot.blend"
    assert reading.scene == "Scene"
    assert reading.frame_range == (1, LAST_FRAME)
    assert reading.fps == 24.0
    assert [facts.name for facts in reading.subjects] == ["Rig"]
    assert reading.evaluated == ("ik-lock",)


def test_finds_nothing_when_the_hand_is_free():
    scene, _ = build_shot(locked=False)
    assert read(scene).flags == ()


def test_changes_nothing():
    scene, _ = build_shot()
    bpy.ops.object.mode_set(mode="POSE")
    before = take_stock(scene)
    read(scene)
    assert take_stock(scene) == before


def test_a_pose_without_keys_is_not_lost():
    scene, rig = build_shot()
    rig.pose.bones["upper_arm.L"].rotation_euler = (1.0, 0.5, 0.25)
    before = take_stock(scene)
    read(scene)
    bpy.context.view_layer.update()
    assert tuple(rig.pose.bones["upper_arm.L"].rotation_euler) == (1.0, 0.5, 0.25)
    assert take_stock(scene)["pose"] != before["pose"], "the changed pose was never evaluated"
    before = take_stock(scene)
    read(scene)
    bpy.context.view_layer.update()
    assert take_stock(scene) == before


def test_stopped_half_way_leaves_nothing_behind():
    scene, _ = build_shot()
    before = take_stock(scene)
    steps = readings.iterate_reading(
        scene, bpy.context.view_layer, Settings(), checks=IK_LOCK, budget_ms=0.0
    )
    told = [next(steps) for _ in range(5)]
    steps.close()
    assert take_stock(scene) == before
    assert all(0.0 <= progress <= 1.0 and text for progress, text in told)


@pytest.mark.parametrize("filmed", [False, True])
def test_progress_rises_to_the_end(filmed):
    scene, _ = build_shot()
    if filmed:
        scene.camera = bpy.data.objects.new("Cam", bpy.data.cameras.new("Cam"))
        scene.camera.location, scene.camera.rotation_euler = (0.0, -8.0, 1.2), (1.5708, 0.0, 0.0)
        scene.collection.objects.link(scene.camera)
        bpy.context.view_layer.update()
    steps = readings.iterate_reading(scene, bpy.context.view_layer, Settings(), budget_ms=0.0)
    told = list(steps)
    progress = [share for share, _ in told]
    assert progress == sorted(progress)
    assert progress[-1] == pytest.approx(1.0)
    assert filmed is any("looking around" in text for _, text in told)


def test_a_crashing_check_is_named_and_nothing_is_left_behind():
    def fail(motion, values):
        raise RuntimeError("broken on purpose")

    broken = Check(
        id="broken",
        group=Group.PATHS,
        question="Does it break?",
        codes={"broken": "it breaks"},
        declarations=(),
        measure=fail,
        judge=lambda motion, measured, values: (),
        description="",
    )
    scene, _ = build_shot()
    before = take_stock(scene)
    reading = read(scene, checks=(broken, *IK_LOCK))
    assert [crash.check for crash in reading.crashes] == ["broken"]
    assert [flag.part for flag in reading.flags]
    assert take_stock(scene) == before


def test_an_empty_scene_says_so_in_one_line():
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with pytest.raises(SamplingError, match="'Scene': nothing moves in it"):
        read(bpy.context.scene)


def test_a_camera_that_is_not_there_is_named():
    scene, _ = build_shot()
    with pytest.raises(SamplingError, match="Nowhere"):
        read(scene, camera="Nowhere")


def test_a_subject_that_cannot_be_sampled_is_named_and_the_others_are_read():
    scene, _ = build_shot()
    resting = build_rig("Resting")
    swing(resting, "forearm.L", 30.0)
    resting.data.pose_position = "REST"
    reading = read(scene)
    named = [entry for entry in reading.not_evaluated if entry.check == readings.EVERY_CHECK]
    assert [entry.subject for entry in named] == ["Resting"]
    assert "rest position" in named[0].reason
    assert reading.flags


def test_decisions_are_kept_with_the_scene_and_found_again(tmp_path):
    scene, _ = build_shot()
    (flag, *_) = read(scene).flags
    mark = Mark(
        flag.check,
        flag.code,
        flag.subject,
        flag.part,
        flag.start,
        flag.end,
        State.MEANT,
        "she carries a full cup",
    )
    readings.keep_marks(scene, [mark], [Note(12, "lovely weight here", part="hips")])
    path = tmp_path / "shot.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.open_mainfile(filepath=str(path))
    scene = bpy.context.scene
    again = {found.id: found for found in read(scene).flags}
    assert again[flag.id].state is State.MEANT
    assert again[flag.id].reason == "she carries a full cup"
    assert readings.read_marks(scene)[1] == (Note(12, "lovely weight here", part="hips"),)


def test_damaged_decisions_are_an_error_not_nothing():
    scene, _ = build_shot()
    scene[readings.MARKS] = "{broken"
    with pytest.raises(SamplingError, match="fettle_marks"):
        read(scene)


def test_removing_the_last_decision_leaves_no_property():
    scene, _ = build_shot()
    readings.keep_marks(scene, [], [Note(3, "x")])
    readings.keep_marks(scene, [], [])
    assert readings.MARKS not in scene


def test_two_rigs_are_read_apart():
    scene, _ = build_shot()
    other = build_rig("Other")
    other.location.x = 2.0
    other.keyframe_insert("location", frame=1)
    other.location.x = 2.5
    other.keyframe_insert("location", frame=LAST_FRAME)
    reading = read(scene)
    assert {facts.name for facts in reading.subjects} == {"Rig", "Other"}
    assert {flag.subject for flag in reading.flags} == {"Rig"}
