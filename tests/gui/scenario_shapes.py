# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The shapes of the flags and the digits of the counts, as pixels: colour alone tells too little.

The outlines are written down here once more, as polygons and circles, and filled with a rule of
this file's own: nothing of the drawing is asked for.
"""

from dataclasses import replace

import blf
import bpy
import numpy as np
from shots import FLAG_COLOURS, get_kept, open_small_shot, part, switch_overlay

SIZE = 3.0
"""How much larger than at scale 1 the flags are drawn, so that their outlines can be told."""

FINE = 4
"""Points along each side of a pixel at which the outlines are asked."""


def in_circle(x, y, middle, radius):
    """Tell which points lie in a circle."""
    return (x - middle[0]) ** 2 + (y - middle[1]) ** 2 <= radius**2


def in_polygon(x, y, corners):
    """Tell which points lie in a polygon: a ray to the right leaves it an odd number of times."""
    inside = np.zeros(x.shape, bool)
    for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True):
        if ay != by:
            crossing = (ay > y) != (by > y)
            inside ^= crossing & (x < ax + (y - ay) * (bx - ax) / (by - ay))
    return inside


def pole(x, y, height, width):
    """Tell which points lie in the pole a flag stands on, with the bead at its foot."""
    corners = [(-width, 0.0), (width, 0.0), (width, height), (-width, height)]
    return in_polygon(x, y, corners) | in_circle(x, y, (0.0, 0.0), 1.9)


def is_faint(x, y):
    """A bead on a pin."""
    return pole(x, y, 9.0, 0.75) | in_circle(x, y, (0.0, 13.0), 4.6)


def is_clear(x, y):
    """A pennant."""
    return pole(x, y, 21.0, 0.85) | in_polygon(x, y, [(0.4, 21.6), (0.4, 8.4), (15.0, 15.0)])


def is_glaring(x, y):
    """A board on its corner with a hole in it."""
    board = in_polygon(x, y, [(0.0, 7.0), (11.0, 18.0), (0.0, 29.0), (-11.0, 18.0)])
    return pole(x, y, 9.0, 0.95) | (board & ~in_circle(x, y, (0.0, 18.0), 2.3))


OUTLINES = {"faint": is_faint, "clear": is_clear, "glaring": is_glaring}


def fill(outline, anchor, size, bounds):
    """Give how much of each pixel an outline fills; rows from the top, as pictures are kept."""
    x0, y0, x1, y1 = bounds
    steps = (np.arange(FINE) + 0.5) / FINE
    across = (np.arange(x0, x1)[:, None] + steps).ravel()
    up = (np.arange(y1 - 1, y0 - 1, -1)[:, None] + steps[::-1]).ravel()
    x, y = np.meshgrid((across - anchor[0]) / size, (up - anchor[1]) / size)
    return outline(x, y).reshape(y1 - y0, FINE, x1 - x0, FINE).mean(axis=(1, 3))


def share(one, other):
    """Give the common part of two masks as a share of what either covers."""
    return np.minimum(one, other).sum() / np.maximum(one, other).sum()


def cover(with_flags, without, colour, bounds):
    """Give how much of each pixel took a colour between two pictures, 0 to 1."""
    before, after = (one.crop(bounds).astype(float) for one in (without, with_flags))
    way = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], float) - before
    return np.clip(((after - before) * way).sum(axis=2) / (way**2).sum(axis=2), 0.0, 1.0)


def show_flags(ui, wanted):
    """Show flags on an even ground: `wanted` gives the severity and how many for each part."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    entry = get_kept()
    severities = {one.word: one for one in part("filters").Severity}
    made = [
        replace(
            entry.reading.flags[0],
            check=f"planted-{number}",
            part=where,
            other_parts=(),
            start=24,
            end=24,
            peak=24,
            severity=severities[word],
        )
        for where, (word, count) in wanted.items()
        for number in range(count)
    ]
    entry.reading = replace(entry.reading, flags=tuple(made))
    part("kept").touch(entry)
    bpy.context.window_manager.fettle.trail_parts = set()
    bpy.context.scene.frame_current = 24
    overlay = ui.area().spaces.active.overlay
    overlay.show_floor = overlay.show_axis_x = overlay.show_axis_y = False
    overlay.show_bones = overlay.show_cursor = overlay.show_text = False
    yield from ui.redraw()


def scenario_each_severity_has_its_own_outline(ui):
    """What is drawn fits the outline of its own severity, and that of no other one."""
    marks = part("view_marks")
    usual = marks.get_flag_size
    marks.get_flag_size = lambda: SIZE * usual()
    try:
        wanted = {"foot.R": ("faint", 1), "hips": ("clear", 1), "hand.L": ("glaring", 1)}
        yield from show_flags(ui, wanted)
        stacks = marks.list_stacks(ui.region())
        shown = {stack.flags[0].severity.word: stack for stack in stacks}
        assert set(shown) == set(OUTLINES), f"the view shows {sorted(shown)}"
        with_flags = yield from ui.screenshot("outlines")
        part("window_state").switch_overlay(False)
        without = yield from ui.screenshot()
    finally:
        marks.get_flag_size = usual
    region = ui.region()
    for word, stack in shown.items():
        anchor = (region.x + stack.x, region.y + stack.y)
        reach = round(34 * stack.size)
        x, y = (round(value) for value in anchor)
        bounds = (x - reach, y - reach, x + reach, y + reach)
        drawn = cover(with_flags, without, FLAG_COLOURS[word], bounds)
        fits = {
            name: float(share(drawn, fill(outline, anchor, stack.size, bounds)))
            for name, outline in OUTLINES.items()
        }
        # The outlines themselves have less than half in common.
        others = max(fit for name, fit in fits.items() if name != word)
        assert fits[word] > 0.85 and others < 0.5, f"a {word} flag is drawn as {fits}"


WRITTEN = {"hand.L": 18, "hand.R": 27, "foot.L": 39, "foot.R": 46, "head": 50}
"""Counts in which every digit occurs once."""

FONTS = (0, 1)
"""Blender's own font, whose 3 has a flat top, and the one for code, whose 1 has a foot."""

GRID = 16
"""Digits are compared over this many squares across and up."""


def grid_of(lit):
    """Give how much is lit over a grid around what is lit at all, as high as it is wide."""
    rows, columns = np.flatnonzero(lit.any(axis=1)), np.flatnonzero(lit.any(axis=0))
    middle, half = (columns[0] + columns[-1]) / 2.0, (rows[-1] - rows[0]) / 2.0
    up = np.linspace(rows[0], rows[-1], 4 * GRID).round().astype(int)
    across = np.linspace(middle - half, middle + half, 4 * GRID).round().astype(int)
    known = (across >= 0) & (across < lit.shape[1])
    taken = np.zeros((len(up), len(across)))
    taken[:, known] = lit[np.ix_(up, across[known])]
    squares = taken.reshape(GRID, 4, GRID, 4).mean(axis=(1, 3))
    # Pens differ in width and letters in slant: what is near counts, too.
    wide = np.pad(squares, 1)
    return sum(wide[r : r + GRID, c : c + GRID] for r in range(3) for c in range(3)) / 9.0


def resemble(one, other):
    """Give the correlation of two grids, moved sideways to where they fit best."""
    moved = (np.roll(one, step, axis=1) for step in range(-3, 4))
    return max(float(np.corrcoef(grid.ravel(), other.ravel())[0, 1]) for grid in moved)


def scenario_counts_read_as_the_digits_they_are(ui):
    """Each digit beside the flags resembles that digit of one of Blender's own fonts most."""
    marks = part("view_marks")
    usual = marks.get_text_size
    marks.get_text_size = lambda context: 5.0 * usual(context)
    try:
        yield from show_flags(ui, {name: ("clear", count) for name, count in WRITTEN.items()})
        stacks = marks._get_region(ui.region()).stacks
        rows = part("flag_stacks").mark_counts(stacks, 0.9 * marks.get_text_size(bpy.context))
        picture = yield from ui.screenshot("counts")
        part("window_state").switch_overlay(False)
        without = yield from ui.screenshot()
    finally:
        marks.get_text_size = usual
    region, height = ui.region(), float(rows[0, 2])

    def write() -> None:
        for font in FONTS:
            blf.size(font, 60.0)
            blf.color(font, 1.0, 1.0, 1.0, 1.0)
            for digit in range(10):
                blf.position(font, 120.0 + 50.0 * digit, 300.0 + 100.0 * font, 0.0)
                blf.draw(font, str(digit))

    handle = bpy.types.SpaceView3D.draw_handler_add(write, (), "WINDOW", "POST_PIXEL")
    try:
        font = yield from ui.screenshot("digits-of-the-font")
    finally:
        bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
    known: dict[int, list] = {digit: [] for digit in range(10)}
    for number in FONTS:
        for digit, grids in known.items():
            x, y = region.x + 116 + 50 * digit, region.y + 290 + 100 * number
            grids.append(grid_of(cover(font, without, "#FFFFFF", (x, y, x + 48, y + 70)) > 0.5))
    found = {}
    for x, y, *_, number in rows.tolist():
        for place, digit in enumerate(str(round(number))):
            left = round(region.x + x + (0.74 * place - 0.37) * height)
            foot = round(region.y + y)
            bounds = (left, foot - 4, left + round(0.74 * height), foot + round(height) + 4)
            drawn = grid_of(cover(picture, without, "#FFFFFF", bounds) > 0.5)
            like = [max(resemble(drawn, one) for one in grids) for grids in known.values()]
            found[digit] = str(np.argmax(like))
    assert found == {digit: digit for digit in "0123456789"}, f"digits read as {found}"


for scenario in list(globals().values()):
    if getattr(scenario, "__name__", "").startswith("scenario_"):
        scenario.time_limit = 150
