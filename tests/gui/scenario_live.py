# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The overlay kept true: edits, undo, playback, other files and scenes, rigs that go."""

import math
import time

import bpy
from driver import EXTENSION
from leftovers import Leftovers
from shots import (
    FASTEST_COLOUR,
    get_kept,
    is_fresh,
    open_small_shot,
    part,
    switch_overlay,
    wait_fresh,
)


def count_flags():
    """The flags of the locked hand."""
    kept = get_kept()
    return len([flag for flag in kept.reading.flags if flag.check == "ik-lock"]) if kept else None


def take_the_swing_away(rig):
    """Still the arm and the chest below it: an edit of keys, as an animator makes it."""
    for name, axis in (("upper_arm.L", 0), ("chest", 1)):
        bone = rig.pose.bones[name]
        for frame in range(1, 49, 4):
            bone.rotation_euler[axis] = 0.0
            bone.keyframe_insert("rotation_euler", index=axis, frame=frame)


def scenario_an_edit_of_keys_is_read_again(ui):
    """Flags go when their cause goes; meanwhile they are not shown as true."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    assert count_flags(), "the locked hand is not found"
    yield from ui.screenshot("before")
    take_the_swing_away(bpy.data.objects["Rig"])
    yield from ui.wait_until(lambda: not is_fresh(), "the edit is not noticed", 5.0)
    yield from wait_fresh(ui)
    assert count_flags() == 0, "the flag of a mended fault is still there"
    yield from ui.screenshot("after")


def scenario_undo_and_redo_are_read_again(ui):
    """The flags follow undo and redo."""
    yield from open_small_shot(ui)
    bpy.ops.ed.undo_push(message="built")
    yield from switch_overlay(ui)
    take_the_swing_away(bpy.data.objects["Rig"])
    bpy.ops.ed.undo_push(message="edited")
    yield 0.2
    yield from wait_fresh(ui)
    assert count_flags() == 0
    bpy.ops.ed.undo()
    yield 0.2
    yield from wait_fresh(ui)
    assert count_flags(), "the flag did not come back with undo"
    assert [scene.name for scene in bpy.data.scenes] == ["Scene"], "a scene of ours came back"
    bpy.ops.ed.redo()
    yield 0.2
    yield from wait_fresh(ui)
    assert count_flags() == 0, "the flag did not go with redo"


def scenario_reading_leaves_no_undo_step(ui):
    """A reading between two steps of the user is no step itself."""
    yield from open_small_shot(ui)
    rig = bpy.data.objects["Rig"]
    rig.location.x = 0.1
    bpy.ops.ed.undo_push(message="one")
    rig.location.x = 0.2
    bpy.ops.ed.undo_push(message="two")
    yield from switch_overlay(ui)
    yield from switch_overlay(ui, on=False)
    bpy.ops.ed.undo()
    yield 0.2
    assert abs(bpy.data.objects["Rig"].location.x - 0.1) < 1e-6, "undo took back something else"


def scenario_nothing_is_read_while_nothing_changes(ui):
    """Own readings start no further ones; neither do frames, selection and the view."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    yield 1.0
    yield from wait_fresh(ui)
    started = []
    reading_job = part("reading_job")
    start = reading_job.start
    reading_job.start = lambda *given, **named: (started.append(1), start(*given, **named))[1]
    try:
        for frame in (3, 12, 30):
            bpy.context.scene.frame_current = frame
            yield 0.2
        bpy.ops.object.select_all(action="DESELECT")
        with ui.in_area():
            bpy.ops.view3d.view_all()
        yield 2.0
        assert not started, f"{len(started)} readings without any change"
    finally:
        reading_job.start = start


def scenario_playback_reads_nothing_and_draws(ui):
    """During playback nothing is read; an edit made then is read when it ends."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    revision = get_kept().reading
    with ui.in_area():
        bpy.ops.screen.animation_play()
    yield 0.5
    take_the_swing_away(bpy.data.objects["Rig"])
    yield 1.5
    assert get_kept().reading is revision, "something was read during playback"
    picture = yield from ui.screenshot("playing", redraw=False)
    drawn = picture.count_near(FASTEST_COLOUR, 40, ui.bounds("VIEW_3D"))
    assert drawn > 20, f"{drawn} pixels of the trail during playback"
    with ui.in_area():
        bpy.ops.screen.animation_cancel(restore_frame=False)
    yield from ui.wait_until(lambda: get_kept().reading is not revision, "not read afterwards", 20)
    yield from wait_fresh(ui)
    assert count_flags() == 0


def scenario_a_pose_without_keys_bends_the_trail_and_is_kept(ui):
    """While a bone is posed its trail follows; reading takes no pose away."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    rig = bpy.data.objects["Rig"]
    bone = rig.pose.bones["upper_arm.L"]
    bone.rotation_euler = (0.2, 0.9, 0.4)
    yield from ui.wait_until(lambda: get_kept().posed, "the trail does not follow the pose", 5)
    assert ("Rig", "hand.L") in get_kept().posed
    yield from ui.screenshot("posed")
    yield 1.0
    yield from wait_fresh(ui)
    pose = [round(angle, 4) for angle in bone.rotation_euler]
    assert pose == [0.2, 0.9, 0.4], f"reading changed the pose to {pose}"
    bpy.context.scene.frame_current = 20
    yield 0.5
    assert get_kept().posed_frame != 20 or not get_kept().posed


def scenario_another_frame_range_and_camera_are_noticed(ui):
    """Facts of the shot that no curve tells about lead to a new reading."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    bpy.context.scene.frame_end = 30
    yield from ui.wait_until(
        lambda: is_fresh() and get_kept().reading.frame_range == (1, 30),
        "the new frame range is not read",
        20,
    )


def scenario_renamed_and_deleted_rigs(ui):
    """A renamed rig is read under its new name; a deleted one leaves no flag and no error."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    rig = bpy.data.objects["Rig"]
    rig.name = "Hero"
    yield from ui.wait_until(
        lambda: is_fresh() and "Hero" in get_kept().motions, "the new name is not read", 20
    )
    bpy.data.objects.remove(rig)
    yield from ui.wait_until(
        lambda: get_kept() is None, "flags of a deleted rig are still kept", 20
    )
    yield from ui.redraw()
    problem = part("kept").get_problem("Scene")
    assert problem and "nothing moves" in problem, problem


def scenario_other_scene_and_other_file(ui):
    """Each scene has its own reading; a new file has none of the old flags."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    first = bpy.context.scene
    empty = bpy.data.scenes.new("Empty")
    ui.window.scene = empty
    yield from ui.wait_until(
        lambda: part("kept").get_problem("Empty"), "the other scene is not looked at", 20
    )
    yield from ui.redraw()
    assert part("kept").get("Empty") is None
    ui.window.scene = first
    yield from wait_fresh(ui)
    assert count_flags()
    bpy.ops.wm.read_homefile(use_factory_startup=True)
    yield 0.2
    assert get_kept() is None or not get_kept().reading.flags, "flags of another file"
    assert part("window_state").overlay_is_on(), "the overlay went off with the file"
    yield 1.0


def scenario_stopped_by_esc(ui):
    """A long reading shows its progress; Esc stops it and leaves nothing behind."""
    yield from open_small_shot(ui)
    bpy.context.scene.frame_end = 60000
    scenes = len(bpy.data.scenes)
    bpy.ops.fettle.read()
    yield from ui.wait_until(
        lambda: part("reading_job").running() and part("reading_job").running().progress > 0.0,
        "no progress",
    )
    yield 0.6
    yield from ui.open_sidebar("Fettle")
    yield from ui.screenshot("reading", redraw=False)
    x0, y0, x1, y1 = ui.bounds("VIEW_3D")
    yield from ui.move((x0 + x1) / 2, (y0 + y1) / 2)
    yield from ui.key("ESC")
    yield from ui.wait_until(lambda: part("reading_job").running() is None, "Esc does not stop it")
    yield 0.3
    assert len(bpy.data.scenes) == scenes, "a scene of ours was left behind"
    assert bpy.context.scene.frame_current == 7


def scenario_switched_off_in_the_middle_leaves_nothing(ui):
    """Disabled with the overlay on and a reading under way, nothing of the extension is left."""
    leftovers = Leftovers()
    try:
        yield from open_small_shot(ui)
        yield from switch_overlay(ui)
        bpy.context.scene.frame_end = 20000
        yield from ui.wait_until(lambda: part("reading_job").running(), "nothing is being read")
        yield from ui.disable_extension()
        yield from ui.redraw()
        left = leftovers.list_left()
        assert not left, "left behind: " + "; ".join(left)
        assert [scene.name for scene in bpy.data.scenes] == ["Scene"]
        assert EXTENSION not in bpy.context.preferences.addons
    finally:
        leftovers.stop()


def scenario_an_edit_shows_soon(ui):
    """From an edited key to a fresh overlay on a light rig; printed, judged by nobody."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    yield 0.5
    rig = bpy.data.objects["Rig"]
    bone = rig.pose.bones["upper_arm.L"]
    took = []
    for number in range(5):
        reading = get_kept().reading
        bone.rotation_euler[0] = math.radians(10.0 + number)
        bone.keyframe_insert("rotation_euler", index=0, frame=9)
        begun = time.perf_counter()
        yield from ui.wait_until(
            lambda old=reading: get_kept().reading is not old and is_fresh(), "not read", 10, 0.005
        )
        took.append(time.perf_counter() - begun)
    print("edit to fresh overlay, s:", " ".join(f"{seconds:.3f}" for seconds in took))
