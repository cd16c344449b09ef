# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The extension from its archive: switched on and off in the window."""

import sys
from pathlib import Path

import bpy
from driver import EXTENSION
from leftovers import Leftovers


def scenario_window_is_drawn(ui):
    """The window has the size asked for and Blender has drawn into it."""
    picture = yield from ui.screenshot("start")
    assert picture.pixels.shape == (1000, 1600, 3)
    assert (ui.window.width, ui.window.height) == (1600, 1000)
    colours = {
        tuple(colour) for colour in picture.crop(ui.bounds("VIEW_3D"))[::10, ::10].reshape(-1, 3)
    }
    assert len(colours) > 10, f"the 3D view shows {len(colours)} colours: nothing is drawn"


def scenario_events_arrive(ui):
    """A click selects what is under the mouse and a key reaches the area: the harness works."""
    assert bpy.context.view_layer.objects.active.name == "Cube"
    bpy.ops.object.select_all(action="DESELECT")
    yield from ui.redraw()
    yield from ui.click(*ui.to_pixel((0.0, 0.0, 0.0)))
    yield from ui.wait_until(
        lambda: bpy.data.objects["Cube"].select_get(), "the click does not select the cube"
    )
    yield from ui.key("A", alt=True)
    yield from ui.wait_until(
        lambda: not bpy.data.objects["Cube"].select_get(), "Alt A does not deselect"
    )


def scenario_on_and_off_leaves_nothing(ui):
    """Switched off, nothing of the extension is left; twice in a row."""
    leftovers = Leftovers()
    try:
        for _ in range(2):
            yield from ui.enable_extension()
            yield from ui.redraw()
            assert any("FETTLE" in name.upper() for name in leftovers.list_new()), (
                "switched on, the extension has registered nothing of its own"
            )
            yield from ui.disable_extension()
            yield from ui.redraw()
            left = leftovers.list_left()
            assert not left, "left behind: " + "; ".join(left)
    finally:
        leftovers.stop()


def scenario_comes_from_the_archive(ui):
    """What runs is the installed archive, not the checkout."""
    yield from ui.enable_extension()
    module = sys.modules[EXTENSION]
    installed = Path(bpy.utils.user_resource("EXTENSIONS")) / "user_default" / "fettle"
    assert Path(module.__file__).parent == installed, f"{module.__file__} is running"
    assert not (installed / "tests").exists()
