# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The panel that hands a reading over: its buttons work where they can, and are grey elsewhere."""

import tempfile
from pathlib import Path

import bpy
from shots import get_kept, open_small_shot, prepare, switch_overlay


def show_panel(ui):
    """Open the panel beside the pointer, and take its picture."""
    x0, y0, x1, y1 = ui.clear_bounds()
    yield from ui.move((x0 + x1) / 2, (y0 + 3 * y1) / 4)
    with ui.in_area():
        bpy.ops.wm.call_panel(name="FETTLE_PT_hand_over", keep_open=True)
    yield 0.3


def scenario_hand_over_panel(ui):
    """Grey before a reading, live after it; a sheet is written whole."""
    yield from prepare(ui)
    assert not bpy.ops.fettle.hand_over.poll(), "offered with nothing read"
    yield from show_panel(ui)
    grey = yield from ui.screenshot("nothing-to-hand-over")
    yield from ui.key("ESC")
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    assert get_kept().reading.flags
    assert bpy.ops.fettle.hand_over.poll()
    yield from show_panel(ui)
    live = yield from ui.screenshot("ready-to-hand-over")
    assert live.differs_from(grey, 24) > 200
    yield from ui.key("ESC")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.html"
        bpy.ops.fettle.hand_over(kind="SHEET", filepath=str(path))
        assert path.read_text(encoding="utf-8").rstrip().endswith("</html>")
