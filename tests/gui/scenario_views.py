# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Every way a 3D view can be set up: shading, quad view, the camera, sizes, several windows."""

import bpy
import numpy as np
from driver import grab_screen
from shots import (
    FLAG_COLOURS,
    find_stack,
    get_kept,
    look_from_front,
    open_small_shot,
    part,
    switch_overlay,
    wait_fresh,
)

FRAME = 24


def prepare_shot(ui):
    """The small shot with the overlay on, limbs trailing."""
    yield from open_small_shot(ui)
    bpy.context.scene.frame_current = FRAME
    yield from switch_overlay(ui)
    bpy.context.window_manager.fettle.trail_parts = {"LIMBS", "FLAGGED"}


def add_camera(travel=0.0):
    """A shot camera before the figure, panning to the side when it travels."""
    data = bpy.data.cameras.new("Shot")
    camera = bpy.data.objects.new("Shot", data)
    bpy.context.scene.collection.objects.link(camera)
    camera.location, camera.rotation_euler = (0.0, -5.0, 1.1), (np.pi / 2.0, 0.0, 0.0)
    if travel:
        for frame, x in ((1, -travel), (48, travel)):
            camera.location.x = x
            camera.keyframe_insert("location", index=0, frame=frame)
    bpy.context.scene.camera = camera
    return camera


def count_flag(picture, region):
    """How many pixels have the colour of an open flag."""
    return sum(picture.count_near(colour, 16, region) for colour in FLAG_COLOURS.values())


def bounds_of(region):
    """The bounds of a region, window pixels."""
    return region.x, region.y, region.x + region.width, region.y + region.height


def scenario_all_shading_modes(ui):
    """Trails and flags are drawn over wireframe, solid and material preview alike."""
    yield from prepare_shot(ui)
    space = ui.area("VIEW_3D").spaces.active
    view = ui.clear_bounds()
    # One sample: without a graphics card every further one takes seconds.
    bpy.context.scene.eevee.taa_samples = 1
    for mode in ("WIREFRAME", "SOLID", "MATERIAL", "RENDERED"):
        space.shading.type = mode
        yield from ui.redraw()
        yield from ui.wait(0.5)
        yield from ui.redraw(times=1)
        picture = yield from ui.screenshot(f"shading-{mode.lower()}", redraw=False)
        found = count_flag(picture, view)
        assert found > 60, f"{mode}: {found} pixels have the colour of a flag"


def scenario_quad_view_shows_and_takes_clicks_in_each_view(ui):
    """All four views of the quad view show the flags; a click in any of them goes there."""
    yield from prepare_shot(ui)
    with ui.in_area():
        bpy.ops.screen.region_quadview()
    yield 0.3
    area = ui.area("VIEW_3D")
    area.spaces.active.show_region_ui = False
    picture = yield from ui.screenshot("quad")
    regions = [region for region in area.regions if region.type == "WINDOW"]
    assert len(regions) == 4
    stacks = [part("view_marks").list_stacks(region) for region in regions]
    for region, shown in zip(regions, stacks, strict=True):
        assert shown, "a view of the four shows no flag"
        found = count_flag(picture, bounds_of(region))
        assert found > 20, f"{found} pixels have the colour of a flag in one of the four views"
    for region in regions:
        bpy.context.scene.frame_current = 1
        yield from ui.redraw()
        stack = part("view_marks").list_stacks(region)[-1]  # drawn on top
        yield from ui.click(region.x + stack.x, region.y + stack.y + 13.0 * stack.size)
        peaks = {flag.peak for flag in stack.flags}
        yield from ui.wait_until(
            lambda peaks=peaks: bpy.context.scene.frame_current in peaks,
            "a click in one of the four views does not go to its flag",
            5,
        )
    with ui.in_area():
        bpy.ops.screen.region_quadview()
    yield 0.2
    yield from ui.screenshot("one-view-again")


def scenario_trails_in_the_picture_through_the_camera(ui):
    """Seen through a moving camera, the picture's trail lies where the part was in each picture."""
    yield from prepare_shot(ui)
    camera = add_camera(travel=0.6)
    yield 0.2
    yield from wait_fresh(ui)
    space = ui.area("VIEW_3D").spaces.active
    space.region_3d.view_perspective = "CAMERA"
    state = bpy.context.window_manager.fettle
    state.trail_space = "picture"
    bpy.context.scene.frame_current = FRAME
    picture = yield from ui.screenshot("trails-in-the-picture")
    scenery = part("view_scenery").get_made(bpy.context.scene.name)
    trail = scenery.trails["Rig", "head"]
    with ui.in_area():
        corners = [
            ui.to_pixel(camera.matrix_world @ corner)
            for corner in camera.data.view_frame(scene=bpy.context.scene)
        ]
    right, left = max(x for x, _ in corners), min(x for x, _ in corners)
    top, bottom = max(y for _, y in corners), min(y for _, y in corners)
    # The host's own projection of the head at other frames, through the camera as it was then.
    from bpy_extras.object_utils import world_to_camera_view

    rig, scene = bpy.data.objects["Rig"], bpy.context.scene
    wanted = []
    for frame in (14, 20, 30, 36):
        scene.frame_set(frame)
        head = rig.matrix_world @ rig.pose.bones["head"].head
        seen = world_to_camera_view(scene, camera, head)
        wanted.append((left + seen.x * (right - left), bottom + seen.y * (top - bottom)))
    scene.frame_set(FRAME)
    drawn = trail.world_points(FRAME)
    for frame, pixel in zip((14, 20, 30, 36), wanted, strict=True):
        got = ui.to_pixel(drawn[frame - int(trail.frames[0])])
        away = max(abs(got[0] - pixel[0]), abs(got[1] - pixel[1]))
        assert away < 2.5, f"frame {frame} is drawn {away:.1f} pixels off its place in the picture"
    state.trail_space = "world"
    other = yield from ui.screenshot("world-through-the-camera")
    changed = picture.differs_from(other, 24, ui.clear_bounds())
    assert changed > 100, "trails in the picture look like those in the world"


def scenario_place_in_the_picture_over_time(ui):
    """The card is drawn on demand, with its curve; without a camera it says so."""
    yield from prepare_shot(ui)
    state = bpy.context.window_manager.fettle
    before = yield from ui.screenshot()
    state.place_in_frame = True
    empty = yield from ui.screenshot("no-camera")
    with ui.in_area():
        bounds = part("framing_draw").find_bounds(bpy.context)
    region = ui.region("VIEW_3D")
    x0, y0, x1, y1 = (round(v) for v in bounds)
    card = (region.x + x0, region.y + y0, region.x + x1, region.y + y1)
    assert empty.differs_from(before, 16, card) > 5000, "no card is drawn"
    plot = (card[0] + 60, card[1] + 26, card[2] - 12, card[3] - 30)
    assert empty.count_near("#FFFFFF", 40, plot) < 400
    add_camera(travel=0.6)
    yield 0.2
    yield from wait_fresh(ui)
    shown = yield from ui.screenshot("place-in-the-picture")
    curve = shown.count_near("#FFFFFF", 40, plot) - empty.count_near("#FFFFFF", 40, plot)
    assert curve > 200, f"the curve is drawn with {curve} pixels"
    state.place_in_frame = False
    after = yield from ui.screenshot()
    left = after.differs_from(before, 16, card)
    assert left < 600, f"{left} pixels of the card are left"


def scenario_twice_the_size(ui):
    """At twice the interface's size flags, lines and words are twice as large, and can be hit."""
    yield from prepare_shot(ui)
    view = bpy.context.preferences.view
    small = yield from ui.screenshot()
    size = find_stack(ui, "stiff-wrist").size
    found = count_flag(small, ui.clear_bounds())
    view.ui_scale = 2.0
    try:
        yield 0.3
        yield from ui.open_sidebar("Fettle")
        large = yield from ui.screenshot("twice-the-size")
        stack = find_stack(ui, "stiff-wrist")
        assert abs(stack.size / size - 2.0) < 0.05, f"flags grew by {stack.size / size:.2f}"
        more = count_flag(large, ui.clear_bounds())
        assert more > 2.2 * found, f"{found} pixels of flags became {more}"
        region = ui.region("VIEW_3D")
        bpy.context.scene.frame_current = 1
        yield from ui.redraw()
        stack = find_stack(ui, "stiff-wrist")
        yield from ui.move(region.x + stack.x, region.y + stack.y + 13.0 * stack.size)
        yield 0.4
        yield from ui.screenshot("twice-the-size-hover", redraw=False)
        yield from ui.click(region.x + stack.x, region.y + stack.y + 13.0 * stack.size)
        peak = stack.flags[0].peak
        yield from ui.wait_until(
            lambda: bpy.context.scene.frame_current == peak, "the large flag takes no click", 5
        )
    finally:
        view.ui_scale = 1.0


def scenario_two_windows_with_two_scenes(ui):
    """Each window shows the flags of its own scene, and none of the other's."""
    yield from prepare_shot(ui)
    with bpy.context.temp_override(window=ui.window):
        bpy.ops.wm.window_new_main()
    yield 0.5
    windows = list(bpy.context.window_manager.windows)
    assert len(windows) == 2, "the second window did not open"
    other = windows[1]
    empty = bpy.data.scenes.new("Empty")
    other.scene = empty
    yield 1.5
    assert part("kept").get("Empty") is None and get_kept() is not None
    areas = [[area for area in window.screen.areas if area.type == "VIEW_3D"] for window in windows]
    regions = [
        next(r for r in max(found, key=lambda a: a.width * a.height).regions if r.type == "WINDOW")
        for found in areas
    ]
    yield from ui.redraw()
    grab_screen().save(ui.pictures / "two-windows.png")
    marks = part("view_marks")
    assert marks.list_stacks(regions[0]), "the first window shows no flags any more"
    assert not marks.list_stacks(regions[1]), "the other scene's window shows flags"
    other.scene = windows[0].scene
    yield from ui.wait_until(
        lambda: marks.list_stacks(regions[1]), "the second window does not show the scene's flags"
    )
    with bpy.context.temp_override(window=other):
        bpy.ops.wm.window_close()
    yield 0.3
    look_from_front(ui, (0.0, 0.0, 1.0), 3.2)
    yield from ui.screenshot("one-window-again")
    assert marks.list_stacks(ui.region("VIEW_3D"))


for scenario in list(globals().values()):
    if getattr(scenario, "__name__", "").startswith("scenario_"):
        scenario.time_limit = 150
