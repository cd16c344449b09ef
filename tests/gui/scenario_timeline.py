# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The strip of flags in timeline, dope sheet and graph editor."""

import bpy
from shots import FLAG_COLOURS, get_kept, open_small_shot, part, switch_overlay


def find_strip_point(ui, kind, entry):
    """Give a pixel of the window on an entry of the strip."""
    area, region = ui.area(kind), ui.region(kind)
    with bpy.context.temp_override(window=ui.window, area=area, region=region):
        foot = part("timeline_draw").find_foot(bpy.context)
    return region.x + entry.x, region.y + foot + 5.0


def show_editor(ui, kind):
    """Turn the largest area below the 3D view into another editor."""
    area = ui.area("DOPESHEET_EDITOR")
    area.ui_type = kind


def check_strip(ui, kind):
    """Colours on the strip, a click that goes there, a sentence under the pointer."""
    with ui.in_area(kind):
        if kind == "GRAPH_EDITOR":
            bpy.ops.graph.view_all()
        else:
            bpy.ops.action.view_all()
    yield from ui.redraw()
    entries = part("timeline_draw").list_entries(ui.region(kind))
    assert entries, f"the {kind} has no strip"
    picture = yield from ui.screenshot(f"strip-{kind.lower().replace('_', '-')}")
    entry = entries[-1]
    colour = FLAG_COLOURS[entry.flags[0].severity.word]
    x, y = find_strip_point(ui, kind, entry)
    found = picture.count_near(colour, 24, (x - 10, y - 8, x + 10, y + 14))
    assert found > 8, f"{found} pixels of the strip have the colour {colour}"
    bpy.context.scene.frame_current = 3
    yield from ui.move(x, y)
    yield 0.3
    yield from ui.screenshot(f"hover-{kind.lower().replace('_', '-')}", redraw=False)
    yield from ui.click(x, y)
    peaks = {flag.peak for flag in entry.flags}
    yield from ui.wait_until(
        lambda: bpy.context.scene.frame_current in peaks,
        f"a click in the {kind} does not go to {peaks}",
        5,
    )
    assert get_kept().chosen in {flag.id for flag in entry.flags}


def scenario_strip_in_the_timeline(ui):
    """The timeline of a new window carries the flags."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    yield from check_strip(ui, "DOPESHEET_EDITOR")


def scenario_strip_in_dope_sheet_and_graph_editor(ui):
    """So do dope sheet and graph editor, in an area of some height."""
    yield from open_small_shot(ui)
    with ui.in_area():
        bpy.ops.object.mode_set(mode="POSE")
        bpy.ops.pose.select_all(action="SELECT")
    yield from switch_overlay(ui)
    ui.window.workspace = bpy.data.workspaces["Animation"]
    yield 0.5
    yield from ui.redraw()
    yield from check_strip(ui, "DOPESHEET_EDITOR")
    sheet = ui.area("DOPESHEET_EDITOR")
    sheet.ui_type = "FCURVES"
    yield 0.3
    yield from check_strip(ui, "GRAPH_EDITOR")


def scenario_no_strip_without_overlay(ui):
    """Switched off, the strip is gone and clicks pass."""
    yield from open_small_shot(ui)
    before = yield from ui.screenshot()
    yield from switch_overlay(ui)
    yield from switch_overlay(ui, on=False)
    after = yield from ui.screenshot()
    left = after.differs_from(before, 8, ui.bounds("DOPESHEET_EDITOR"))
    assert left == 0, f"{left} pixels of the timeline differ"
    assert not bpy.ops.fettle.pick_in_strip.poll()


for scenario in list(globals().values()):
    if getattr(scenario, "__name__", "").startswith("scenario_"):
        scenario.time_limit = 120
