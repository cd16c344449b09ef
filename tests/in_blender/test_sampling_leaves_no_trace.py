# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Reading changes nothing in the user's file, however it ends."""

import bpy
import pytest
import rigs

from fettle.addon import recorders, sampling_scene
from fettle.addon.sampling import (
    InterruptedReadingError,
    iterate_sampling,
    run_sampling,
    sample_shot,
)
from fettle.addon.subjects import find_subjects

LAST = 60
LISTENED = ("frame_change_pre", "frame_change_post", "depsgraph_update_pre")
HEARD = []


@pytest.fixture
def scene(tmp_path):
    """A saved file with a posed rig, a hidden one, a prop, a camera, markers and handlers."""
    scene = rigs.start_empty()
    rig = rigs.make_armature()
    rigs.swing_body(rig, LAST)
    other = rigs.make_armature("Hidden")
    rigs.swing_body(other, LAST)
    other.hide_viewport = True
    bpy.ops.mesh.primitive_cube_add()
    rigs.key(bpy.context.object, "location", {1: (0, 0, 0), LAST: (1, 0, 0)})
    camera = bpy.data.objects.new("Cam", bpy.data.cameras.new("Cam"))
    scene.collection.objects.link(camera)
    scene.camera = camera
    scene.timeline_markers.new("here", frame=12)
    bpy.context.view_layer.objects.active = rig
    rig.select_set(True)
    scene.frame_set(17, subframe=0.25)
    bpy.ops.object.mode_set(mode="POSE")
    # Posed, but not keyed: on a bone without animation and on one with.
    rig.pose.bones["hand.R"].rotation_euler = (0.4, 0.5, 0.6)
    rig.pose.bones["forearm.L"].rotation_euler = (0.4, 0.5, 0.6)
    bpy.data.objects["Cube"].location = (9.0, 9.0, 9.0)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shot.blend"))
    sampling_scene.register()
    for name in LISTENED:
        getattr(bpy.app.handlers, name).append(listen)
    bpy.context.view_layer.update()
    yield scene
    sampling_scene.unregister()


def listen(*arguments):
    HEARD.append(arguments)


def start(scene, budget_ms=8.0, route="exact"):
    layer = bpy.context.view_layer
    return iterate_sampling(
        scene, layer, find_subjects(scene, layer), (1, LAST), budget_ms=budget_ms, route=route
    )


def leave_no_step_undone(scene, action):
    before = rigs.snapshot()
    assert before["frame"] == [("Scene", 17, 0.25)]
    HEARD.clear()
    action(scene)
    assert not HEARD  # nobody else's handlers were troubled
    assert rigs.snapshot() == before


@pytest.mark.parametrize("route", ["exact", "direct"])
def test_whole_reading(scene, route):
    def read(scene):
        shot = run_sampling(start(scene, float("inf"), route))
        assert {s.facts.route for s in shot.samples} == {route}
        assert [s.motion.subject for s in shot.samples] == ["Hidden", "Rig", "Cube"]
        assert not shot.failures

    leave_no_step_undone(scene, read)


@pytest.mark.parametrize("route", ["exact", "direct"])
def test_reading_in_slices(scene, route):
    def read(scene):
        progress = []
        steps = start(scene, 0.0, route)
        while True:
            try:
                progress.append(next(steps))
            except StopIteration as end:
                assert len(end.value.samples) == 3
                break
            assert (scene.frame_current, scene.frame_subframe) == (17, 0.25)
        assert len(progress) >= (LAST if route == "exact" else 6)
        assert progress == sorted(progress) and progress[0] == 0.0 and progress[-1] == 1.0

    leave_no_step_undone(scene, read)


def test_reading_that_is_stopped(scene):
    def read(scene):
        steps = start(scene, 0.0)
        skip_to_the_frames(steps)
        steps.close()

    leave_no_step_undone(scene, read)


def skip_to_the_frames(steps):
    before = len(bpy.data.scenes)
    while next(steps) < 0.2:
        pass
    assert len(bpy.data.scenes) == before + 1


def test_reading_that_is_forgotten(scene):
    def read(scene):
        steps = start(scene, 0.0)
        skip_to_the_frames(steps)
        del steps

    leave_no_step_undone(scene, read)


@pytest.mark.parametrize("where", ["record", "finish"])
def test_reading_that_fails(scene, monkeypatch, where):
    done = []

    def fail(self, *args):
        done.append(args)
        if where == "finish" or len(done) == 5:
            raise RuntimeError("planted")

    monkeypatch.setattr(recorders.ArmatureRecorder, where, fail)

    def read(scene):
        with pytest.raises(RuntimeError, match="planted"):
            run_sampling(start(scene))

    leave_no_step_undone(scene, read)


def test_making_the_scene_fails(scene, monkeypatch):
    def fail(*_):
        raise RuntimeError("planted")

    monkeypatch.setattr(sampling_scene, "_copy_properties", fail)

    def read(scene):
        with pytest.raises(RuntimeError, match="planted"):
            run_sampling(start(scene))

    leave_no_step_undone(scene, read)


def test_saving_in_the_middle_saves_no_scene_of_ours(scene, tmp_path):
    steps = start(scene, 0.0)
    skip_to_the_frames(steps)
    path = str(tmp_path / "copy.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path, copy=True)
    with pytest.raises(InterruptedReadingError):
        next(steps)
    with bpy.data.libraries.load(path) as (saved, _):
        assert saved.scenes == ["Scene"]
        assert sorted(saved.objects) == ["Cam", "Cube", "Hidden", "Rig"]
    assert [s.name for s in bpy.data.scenes] == ["Scene"]


def test_loading_in_the_middle(scene, tmp_path):
    steps = start(scene, 0.0)
    skip_to_the_frames(steps)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "shot.blend"))
    with pytest.raises(InterruptedReadingError):
        next(steps)
    assert [s.name for s in bpy.data.scenes] == ["Scene"]
    assert bpy.context.scene.frame_current == 17


def test_leftovers_of_a_crash_are_known_by_their_property_not_their_name(scene, tmp_path):
    bpy.data.scenes.new("Fettle reading")  # the user's own, by chance of that name
    steps = start(scene, 0.0)
    skip_to_the_frames(steps)
    bpy.app.handlers.save_pre.clear()  # as a crash would
    path = str(tmp_path / "crashed.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path)
    assert sorted(s.name for s in bpy.data.scenes) == ["Fettle reading", "Scene"]
    assert not [m for m in bpy.data.meshes if sampling_scene.MARK in m]
    assert not [o for o in bpy.data.objects if sampling_scene.MARK in o]


def test_undo_in_the_middle(scene):
    bpy.ops.ed.undo_push(message="before")
    bpy.data.objects["Cube"].location.z = 3.0
    bpy.ops.ed.undo_push(message="moved")
    steps = start(bpy.context.scene, 0.0)
    skip_to_the_frames(steps)
    bpy.ops.ed.undo()
    with pytest.raises(InterruptedReadingError):
        next(steps)
    assert [s.name for s in bpy.data.scenes] == ["Scene"]


def test_an_undo_step_made_in_the_middle_brings_no_scene_back(scene):
    bpy.ops.ed.undo_push(message="before")
    steps = start(bpy.context.scene, 0.0)
    skip_to_the_frames(steps)
    bpy.ops.ed.undo_push(message="in the middle")
    run_sampling(steps)
    bpy.data.objects["Cube"].location.z = 3.0
    bpy.ops.ed.undo_push(message="after")
    bpy.ops.ed.undo()
    assert [s.name for s in bpy.data.scenes] == ["Scene"]
    assert not [o for o in bpy.data.objects if sampling_scene.MARK in o]


def test_a_handler_that_is_added_during_the_reading_stays(scene):
    def late(*_):
        pass

    before = list(bpy.app.handlers.frame_change_post)
    with sampling_scene.silence_handlers():
        assert not bpy.app.handlers.frame_change_post
        bpy.app.handlers.frame_change_post.append(late)
    assert bpy.app.handlers.frame_change_post[:] == [*before, late]


def test_in_the_scene_itself_the_frame_comes_back(scene):
    layer = bpy.context.view_layer
    shot = sample_shot(scene, layer, find_subjects(scene, layer), (1, 5), in_scene=True)
    assert [s.motion.subject for s in shot.samples if s.motion.subject == "Rig"]
    assert (scene.frame_current, scene.frame_subframe) == (17, 0.25)
