# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a redraw costs: played inside a Blender with a window, by ``bench.window``.

Twenty trails over 300 frames and 200 flags are shown; the processor time that the main thread
spends in Fettle's own draw functions is taken for every redraw, and in the gizmo that is asked at
each one. How long the graphics driver takes inside the drawing of a batch is not ours: without a
graphics card it does the card's work. All else counts, what the driver takes to bind a shader, to
be handed a number or to write a word included.
"""

from __future__ import annotations

import importlib
import sys
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import bpy
from mathutils import Quaternion

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent / "tests" / "gui")]

import shots as gui  # noqa: E402
from driver import EXTENSION  # noqa: E402

FRAMES, TRAILS, FLAGS, REDRAWS = 300, 20, 200, 9

spent: list[float] = []
"""Seconds of every call of a draw function since the last redraw; what the driver took is
entered with a minus."""


class WatchedBatch:
    """A batch that tells how long the driver drew it: without a graphics card it takes long."""

    def __init__(self, batch: Any) -> None:
        self._batch = batch

    def draw(self, shader: Any) -> None:
        """Draw."""
        started = time.thread_time()
        self._batch.draw(shader)
        spent.append(started - time.thread_time())


def watch_batches() -> None:
    """Have every batch that is made from now on watched."""
    drawing = gui.part("drawing")
    make = drawing.make_batch

    def make_watched(*words: Any) -> WatchedBatch:
        return WatchedBatch(make(*words))

    for name in ("drawing", "viewport_draw", "timeline_draw", "framing_draw"):
        gui.part(name).make_batch = make_watched


def watch_draw_functions() -> None:
    """Have every draw function that is added from now on tell how long it took, and the gizmo."""
    # A gizmo that is registered cannot be changed any more: what it asks is watched instead.
    gizmo, marks, drawing = (gui.part(n) for n in ("flag_gizmo", "view_marks", "viewport_draw"))
    gizmo.viewport_draw = SimpleNamespace(is_drawn=_watch(drawing.is_drawn))
    gizmo.view_marks = SimpleNamespace(hover=marks.hover, leave_flag=_watch(marks.leave_flag))
    for space in (
        bpy.types.SpaceView3D,
        bpy.types.SpaceDopeSheetEditor,
        bpy.types.SpaceGraphEditor,
    ):
        _watch_space(space)


def _watch_space(space: Any) -> None:
    add = space.draw_handler_add

    def add_watched(function: Any, *words: Any) -> Any:
        return add(_watch(function), *words)

    space.draw_handler_add = add_watched


def _watch(function: Any) -> Any:
    def run(*given: Any) -> Any:
        started = time.thread_time()
        try:
            return function(*given)
        finally:
            spent.append(time.thread_time() - started)

    return run


def measure(ui: Any, change: Any = None, drawn: bool = True) -> Any:
    """Redraw the window again and again; give milliseconds of ours for each redraw, sorted."""
    times = []
    for number in range(REDRAWS):
        if change is not None:
            change(number)
        spent.clear()
        with bpy.context.temp_override(window=ui.window):
            bpy.ops.wm.redraw_timer(type="DRAW_WIN_SWAP", iterations=1)
        assert bool(spent) is drawn, "Fettle's draw functions did not run as they should"
        times.append(1e3 * sum(spent))
        yield
    return sorted(times)


def fill_flags(entry: Any) -> None:
    """Repeat the flags of a reading on other frames until there are as many as wanted."""
    from dataclasses import replace

    flags = list(entry.reading.flags)
    assert flags, "the shot has no flag to repeat"
    made = []
    for number in range(FLAGS):
        flag = flags[number % len(flags)]
        shift = 1 + (number * 7) % (FRAMES - 10)
        made.append(replace(flag, start=shift, end=shift + 3, peak=shift + 1))
    entry.reading = replace(entry.reading, flags=tuple(made))
    entry.revision += 1


def show_parts(entry: Any) -> None:
    """Pin the parts whose trails are drawn."""
    state = gui.part("window_state").get_window_properties()
    state.trail_parts = {"PINNED"}
    state.pinned.clear()
    (subject, motion), *_ = entry.motions.items()
    for part in motion.parts[:TRAILS]:
        pin = state.pinned.add()
        pin.subject, pin.name = subject, part
    state.frames_before = state.frames_after = FRAMES


def scenario_redraw(ui: Any) -> Any:
    """Measure a redraw with the overlay on, from frame to frame, and with it off."""
    yield from gui.prepare(ui)
    # The shots of the bench are made by the package's name; here it is the installed extension.
    sys.modules["fettle"] = importlib.import_module(EXTENSION)
    from bench import shots

    for other in list(bpy.data.objects):
        bpy.data.objects.remove(other)
    scene = bpy.context.scene
    scene.frame_start, scene.frame_end = 1, FRAMES
    rig = shots.make_rig(80)
    shots.key_rig(rig, FRAMES)
    gui.look_from_front(ui, (0.0, 0.0, 1.0), 3.2)
    watch_batches()
    watch_draw_functions()
    yield from gui.switch_overlay(ui)
    entry = gui.get_kept()
    fill_flags(entry)
    show_parts(entry)
    yield from ui.redraw()
    cases = {"still": None, "turning": turn, "frames": lambda n: scene.frame_set(100 + n)}
    for name, change in cases.items():
        tell(name, (yield from measure(ui, change)))
    bpy.ops.fettle.toggle_overlay()
    yield from ui.redraw()
    tell("off", (yield from measure(ui, drawn=False)))


def turn(number: int) -> None:
    """Turn the 3D view a little."""
    for area in bpy.context.window_manager.windows[0].screen.areas:
        if area.type == "VIEW_3D":
            view = area.spaces.active.region_3d
            view.view_rotation = Quaternion((0, 0, 1), 0.02) @ view.view_rotation


def tell(name: str, times: list[float]) -> None:
    """Print the median and the longest for the process that waits for it."""
    print(f"redraw {name} {times[len(times) // 2]:.4f} {times[-1]:.4f}", flush=True)


scenario_redraw.time_limit = 240
