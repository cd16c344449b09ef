# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The list of flags: filters, decisions, notes, markers; each decision one undo step."""

import bpy
from shots import get_kept, open_demo, open_small_shot, part, switch_overlay, wait_fresh


def list_rows():
    """The ids in the list, in its order."""
    rows = part("window_state").get_list(bpy.context.scene.name)
    return [row.flag_id for row in rows.rows]


def get_window():
    """The window's own state."""
    return part("window_state").get_window_properties()


def scenario_reading_fills_the_list(ui):
    """Read, with the overlay off: the list shows the open flags by time."""
    yield from open_small_shot(ui)
    yield from ui.open_sidebar("Fettle")
    yield from ui.screenshot("before-reading")
    bpy.ops.fettle.read()
    yield from wait_fresh(ui)
    flags = sorted(get_kept().open_flags(), key=lambda flag: flag.peak)
    assert flags, "nothing was found"
    assert sorted(list_rows()) == sorted(flag.id for flag in flags)
    peaks = [get_kept().flag(row).peak for row in list_rows()]
    assert peaks == sorted(peaks), "the list is not in order of time"
    yield from ui.screenshot("read")


def scenario_a_row_goes_to_its_flag(ui):
    """Picking a row goes to the flag's frame."""
    yield from open_demo(ui)
    yield from ui.open_sidebar("Fettle")
    yield from switch_overlay(ui)
    rows = part("window_state").get_list(bpy.context.scene.name)
    rows.active = len(rows.rows) - 1
    yield 0.3
    flag = get_kept().flag(rows.rows[rows.active].flag_id)
    assert bpy.context.scene.frame_current == flag.peak
    assert get_kept().chosen == flag.id
    yield from ui.screenshot("picked")


def scenario_filters(ui):
    """Severity, check, part, words and state decide what is listed, drawn and stepped through."""
    yield from open_demo(ui)
    yield from switch_overlay(ui)
    window, kept = get_window(), get_kept()
    everything = list_rows()
    bpy.ops.fettle.show_severity(word="glaring")
    severities = {kept.flag(row).severity.word for row in list_rows()}
    assert severities == {"glaring"}, severities
    bpy.ops.fettle.show_severity(word="glaring")
    assert list_rows() == everything
    some = kept.flag(everything[0])
    window.check = some.check
    assert {kept.flag(row).check for row in list_rows()} == {some.check}
    window.check = "ALL"
    window.part = some.part
    assert {kept.flag(row).part for row in list_rows()} == {some.part}
    bpy.ops.fettle.clear_filters()
    window.search = some.message.split()[-1]
    assert some.id in list_rows()
    window.search = "no flag says this"
    assert list_rows() == []
    yield from ui.redraw()
    stacks = part("view_marks").list_stacks(ui.region("VIEW_3D"))
    assert not stacks, "flags that are filtered out are still drawn"
    assert not bpy.ops.fettle.next_flag.poll()
    bpy.ops.fettle.clear_filters()
    assert list_rows() == everything
    window.order = "WORST"
    ranks = [kept.flag(row).rank for row in list_rows()]
    assert ranks == sorted(ranks, reverse=True)
    window.order = "TIME"


def scenario_meant_done_and_open_again(ui):
    """A decision is kept with the scene, counts no longer when meant, and can be undone."""
    yield from open_small_shot(ui)
    bpy.ops.ed.undo_push(message="built")
    yield from switch_overlay(ui)
    flag = get_kept().open_flags()[0]
    try:
        bpy.ops.fettle.mark_meant("EXEC_DEFAULT", True, flag_id=flag.id, reason=" ")
        raise AssertionError("meant without a reason")
    except RuntimeError as error:
        assert "reason" in str(error)
    bpy.ops.fettle.mark_meant("EXEC_DEFAULT", True, flag_id=flag.id, reason="a full cup")
    assert flag.id not in list_rows()
    meant = get_kept().flag(flag.id)
    assert (meant.state.value, meant.reason) == ("meant", "a full cup")
    get_window().state = "MEANT"
    assert list_rows() == [flag.id]
    yield from ui.open_sidebar("Fettle")
    yield from ui.screenshot("meant")
    get_window().state = "OPEN"
    bpy.ops.ed.undo()
    yield 0.2
    yield from wait_fresh(ui)
    assert get_kept().flag(flag.id).state.value == "open", "undo did not open it again"
    bpy.ops.fettle.mark_done("EXEC_DEFAULT", True, flag_id=flag.id)
    assert get_kept().flag(flag.id).state.value == "done"
    bpy.ops.fettle.open_again("EXEC_DEFAULT", True, flag_id=flag.id)
    assert get_kept().flag(flag.id).state.value == "open"


def scenario_notes(ui):
    """A note is pinned to the frame and to the part of the selected bone."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    rig = bpy.data.objects["Rig"]
    with ui.in_area():
        bpy.ops.object.mode_set(mode="POSE")
    part("selection")._select_bone(rig, "hand.R", True)
    bpy.context.scene.frame_current = 13
    yield 0.2
    bpy.ops.fettle.add_note("EXEC_DEFAULT", True, text="more drag here")
    (note,) = get_kept().notes
    assert (note.frame, note.text, note.part) == (13, "more drag here", "hand.R")
    yield from ui.screenshot("note")
    bpy.ops.fettle.remove_note("EXEC_DEFAULT", True, number=0)
    assert get_kept().notes == ()


def scenario_bake_and_undo(ui):
    """Baking is one undo step, doubles nothing, and leaves other markers alone."""
    yield from open_small_shot(ui)
    scene = bpy.context.scene
    scene.timeline_markers.new("mine", frame=20)
    bpy.ops.ed.undo_push(message="built")
    yield from switch_overlay(ui)
    count = len(list_rows())
    bpy.ops.fettle.bake_markers("EXEC_DEFAULT", True)
    assert len(scene.timeline_markers) == 1 + count
    bpy.ops.fettle.bake_markers("EXEC_DEFAULT", True)
    assert len(scene.timeline_markers) == 1 + count, "baking twice doubles markers"
    yield from ui.screenshot("baked")
    bpy.ops.ed.undo()
    bpy.ops.ed.undo()
    yield 0.2
    names = [marker.name for marker in bpy.context.scene.timeline_markers]
    assert names == ["mine"], f"after undo there is {names}"
    yield from wait_fresh(ui)
    bpy.ops.fettle.bake_markers("EXEC_DEFAULT", True)
    bpy.ops.fettle.remove_baked("EXEC_DEFAULT", True)
    names = [marker.name for marker in bpy.context.scene.timeline_markers]
    assert names == ["mine"], f"after removing there is {names}"


def scenario_limits_and_switches(ui):
    """A check switched off, or another limit, is judged again at once; the scene keeps it."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    settings = bpy.context.scene.fettle
    flag = next(one for one in get_kept().open_flags() if one.check == "ik-lock")
    settings.ik_lock.enabled = False
    yield from ui.wait_until(lambda: get_kept().flag(flag.id) is None, "still judged", 10)
    settings.ik_lock.enabled = True
    yield from ui.wait_until(lambda: get_kept().flag(flag.id), "not judged again", 10)
    settings.ik_lock.turn_ratio_faint = 0.4
    assert abs(settings.ik_lock.turn_ratio_faint - 0.4) < 1e-6
    assert "turn_ratio" in bpy.context.scene["fettle_settings"]
    bpy.ops.fettle.reset_limits("EXEC_DEFAULT", True, check="ik-lock")
    assert abs(settings.ik_lock.turn_ratio_faint - 0.25) < 1e-6
    yield from wait_fresh(ui)


def scenario_body_map(ui):
    """A part can be given another bone, mirrored, left out and guessed again."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    rig = bpy.data.objects["Rig"]

    def mapped(part_name):
        parts = get_kept().reading.subjects[0].parts
        return parts[part_name].bone if part_name in parts else None

    rig.data.bones.active = rig.data.bones["forearm.L"]
    bpy.ops.fettle.pick_bone("EXEC_DEFAULT", True, part="hand.L")
    yield from ui.wait_until(lambda: is_mapped("hand.L", "forearm.L"), "not taken", 10)
    bpy.ops.fettle.mirror_part("EXEC_DEFAULT", True, part="hand.L")
    yield from ui.wait_until(lambda: is_mapped("hand.R", "forearm.R"), "not mirrored", 10)
    bpy.ops.fettle.reset_part("EXEC_DEFAULT", True, part="")
    yield from ui.wait_until(lambda: is_mapped("hand.R", "hand.R"), "not guessed again", 10)
    bpy.ops.fettle.leave_out_part("EXEC_DEFAULT", True, part="head")
    yield from wait_fresh(ui)
    assert mapped("head") is None, "a part that was left out is still mapped"


def is_mapped(part_name, bone):
    """Say whether a part is read from a bone by now."""
    kept = get_kept()
    if kept is None or kept.stale:
        return False
    parts = kept.reading.subjects[0].parts
    return part_name in parts and parts[part_name].bone == bone


for scenario in list(globals().values()):
    if getattr(scenario, "__name__", "").startswith("scenario_"):
        scenario.time_limit = 120
