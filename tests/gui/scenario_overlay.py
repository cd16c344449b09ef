# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The overlay on the demo shot: trails, flags, hovering, a click, the next flag."""

import bpy
from shots import (
    FASTEST_COLOUR,
    FLAG_COLOURS,
    find_stack,
    get_kept,
    open_demo,
    part,
    point_of,
    switch_overlay,
)


def scenario_trails_and_flags_are_drawn(ui):
    """Toggled on, trails and flags have their colours; off, nothing is left of them."""
    yield from open_demo(ui)
    bpy.context.scene.frame_current = 52
    view = ui.bounds("VIEW_3D")
    before = yield from ui.screenshot("before")
    yield from switch_overlay(ui)
    shown = yield from ui.screenshot("overlay")
    trail = shown.count_near(FASTEST_COLOUR, 16, view)
    assert trail > 150, f"{trail} pixels have the colour of a fast trail"
    drawn = {flag.severity.word for flag in get_kept().open_flags()}
    assert drawn >= {"clear", "glaring"}, f"the demo has only {drawn} flags"
    for word in drawn:
        flag = next(one for one in get_kept().open_flags() if one.severity.word == word)
        bpy.context.scene.frame_current = flag.peak
        bpy.ops.fettle.show_severity(word=word)
        shown = yield from ui.screenshot(f"near-a-{word}-flag")
        bpy.ops.fettle.clear_filters()
        more = shown.count_near(FLAG_COLOURS[word], 16, view)
        more -= before.count_near(FLAG_COLOURS[word], 16, view)
        assert more > 20, f"{more} more pixels have the colour of a {word} flag"
    yield from switch_overlay(ui, on=False)
    bpy.context.scene.frame_current = 52
    after = yield from ui.screenshot("off-again")
    left = after.differs_from(before, 8, view)
    assert left == 0, f"{left} pixels differ after the overlay was switched off"


def scenario_hover_tells_and_a_click_goes_there(ui):
    """The sentence appears under the pointer; a click sets frame, bone and list."""
    yield from open_demo(ui)
    bpy.context.scene.frame_current = 52
    rig = bpy.data.objects["CraneHand"]
    bpy.context.view_layer.objects.active = rig
    with ui.in_area():
        bpy.ops.object.mode_set(mode="POSE")
    yield from ui.open_sidebar("Fettle")
    yield from switch_overlay(ui)
    stack = find_stack(ui, "ik-lock")
    flag = stack.flags[0]
    without = yield from ui.screenshot()
    yield from ui.move(*point_of(ui, stack))
    yield 0.4
    hovered = yield from ui.screenshot("hover", redraw=False)
    changed = hovered.differs_from(without, 8, ui.bounds("VIEW_3D"))
    assert changed > 4000, f"pointing at a flag changed {changed} pixels: no sentence"
    yield from ui.click(*point_of(ui, stack))
    yield from ui.wait_until(
        lambda: bpy.context.scene.frame_current == flag.peak,
        f"the click does not go to frame {flag.peak}",
    )
    assert bpy.context.mode == "POSE", "the click left pose mode"
    selected = [bone.name for bone in bpy.context.selected_pose_bones]
    facts = next(one for one in get_kept().reading.subjects if one.name == flag.subject)
    motion = get_kept().motions[flag.subject]
    expected = {facts.parts[flag.part].bone, *motion.keys[flag.part].controls}
    assert len(selected) == 1, f"{selected} are selected"
    assert selected[0] in expected, f"{selected[0]} has nothing to do with {flag.part}"
    rows = part("window_state").get_list(bpy.context.scene.name)
    assert rows.rows[rows.active].flag_id == flag.id, "the list does not show the flag"
    yield from ui.screenshot("clicked")


def scenario_a_click_elsewhere_still_selects(ui):
    """Clicks beside the flags go where they always went."""
    yield from open_demo(ui)
    yield from switch_overlay(ui)
    bpy.ops.object.select_all(action="DESELECT")
    crate = bpy.data.objects["Crate B"]
    yield from ui.click(*ui.to_pixel(crate.matrix_world.translation))
    yield 0.3
    assert bpy.context.selected_objects, "a click on a thing selects nothing any more"


def scenario_next_and_previous_go_through_all(ui):
    """Next visits every open flag in time and starts over; previous goes the same way back."""
    yield from open_demo(ui)
    yield from switch_overlay(ui)
    bpy.context.scene.frame_current = 1
    peaks = sorted(flag.peak for flag in get_kept().open_flags())
    there, back = [], []
    for _ in peaks:
        bpy.ops.fettle.next_flag()
        there.append((bpy.context.scene.frame_current, get_kept().chosen))
    assert [frame for frame, _ in there] == peaks
    assert len({chosen for _, chosen in there}) == len(peaks), "a flag was passed over"
    for _ in peaks:
        bpy.ops.fettle.previous_flag()
        back.append((bpy.context.scene.frame_current, get_kept().chosen))
    assert back[:-1] == there[-2::-1], "previous does not go the way back"
    yield


for scenario in list(globals().values()):
    if getattr(scenario, "__name__", "").startswith("scenario_"):
        scenario.time_limit = 150
