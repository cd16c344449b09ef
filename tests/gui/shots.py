# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Shots for the scenarios: the demo, and a small figure that is drawn quickly; ways to watch them.

Both are animated with known faults. `part` gives the modules of the installed extension.
"""

from __future__ import annotations

import functools
import importlib
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import bpy
from driver import EXTENSION, Steps, Window

ROOT = Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "tests" / "support"))

BUILD = """
import sys
sys.path[:0] = [{root!r}]
from pathlib import Path
from demo_blend_scripts.build_demo import build_take
build_take({take}, Path({path!r}))
"""

FLAG_COLOURS = {"faint": "#56B4E9", "clear": "#E69F00", "glaring": "#D55E00"}
FASTEST_COLOUR = "#FEE838"
"""The colour of the fastest steps of a trail: the upper end of cividis."""


def part(name: str) -> Any:
    """Give a module of the installed extension by its name."""
    return importlib.import_module(f"{EXTENSION}.addon.{name}")


@functools.cache
def build_demo(take: int) -> Path:
    """Build a take of the demo in a Blender of its own; give its file."""
    path = Path(tempfile.mkdtemp()) / f"take{take}.blend"
    script = BUILD.format(root=str(ROOT), take=take, path=str(path))
    done = subprocess.run(
        [bpy.app.binary_path, "-b", "--factory-startup", "--python-expr", script],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert path.is_file(), f"the demo was not built:\n{done.stdout[-2000:]}"
    return path


def prepare(ui: Window) -> Steps:
    """Switch the extension on, and off what makes a window without a graphics card slow."""
    # Otherwise every change is drawn a dozen times, each time a little smoother.
    bpy.context.preferences.system.viewport_aa = "OFF"
    yield from ui.enable_extension()


def open_demo(ui: Window, take: int = 1) -> Steps:
    """Open a take of the demo, seen from the side."""
    yield from prepare(ui)
    bpy.ops.wm.open_mainfile(filepath=str(build_demo(take)), load_ui=False)
    yield 0.2
    look_from_front(ui, (-0.6, 0.0, 0.9), 5.5)
    yield from ui.redraw()


def open_small_shot(ui: Window, locked: bool = True) -> Steps:
    """Animate a small figure whose left hand is locked in the world; in object mode."""
    from small_rig import build_shot_here

    yield from prepare(ui)
    for other in list(bpy.data.objects):
        bpy.data.objects.remove(other)
    build_shot_here(locked)
    look_from_front(ui, (0.0, 0.0, 1.0), 3.2)
    yield from ui.redraw()


def look_from_front(ui: Window, place: tuple[float, float, float], distance: float) -> None:
    """Point the 3D view along +Y at a place."""
    view = ui.area("VIEW_3D").spaces.active.region_3d
    view.view_perspective = "PERSP"
    view.view_location, view.view_distance = place, distance
    view.view_rotation = (0.70710678, 0.70710678, 0.0, 0.0)


def get_kept() -> Any:
    """Give what is kept of the scene in the window."""
    return part("kept").get(bpy.context.scene.name)


def is_fresh() -> bool:
    """Say whether the reading is there, true and nothing is under way."""
    kept = get_kept()
    waiting = part("live")._Watch.due or part("reading_job").running()
    return kept is not None and kept.stale is None and not waiting


def wait_fresh(ui: Window, seconds: float = 30.0) -> Steps:
    """Wait until the scene's reading is there and true."""
    yield from ui.wait_until(is_fresh, "the shot is not read", seconds)


def switch_overlay(ui: Window, on: bool = True) -> Steps:
    """Switch the overlay, as the button does, and wait for the reading."""
    if part("window_state").overlay_is_on() != on:
        bpy.ops.fettle.toggle_overlay()
    if on:
        yield from wait_fresh(ui)
    yield from ui.redraw()


def find_stack(ui: Window, check: str) -> Any:
    """Give the flags of a check as the 3D view shows them."""
    stacks = part("view_marks").list_stacks(ui.region("VIEW_3D"))
    found = [stack for stack in stacks if check in {flag.check for flag in stack.flags}]
    shown = [flag.check for stack in stacks for flag in stack.flags]
    assert found, f"the view shows no flag of {check}, only {shown}"
    return found[0]


def point_of(ui: Window, stack: Any) -> tuple[float, float]:
    """Give a pixel of the window that lies on a flag."""
    region = ui.region("VIEW_3D")
    return region.x + stack.x, region.y + stack.y + 13.0 * stack.size
