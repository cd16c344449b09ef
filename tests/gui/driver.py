# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Drives a real Blender window: moves the mouse, clicks, types, looks at the pixels.

How to write a test
-------------------
Make a file ``tests/gui/scenario_<topic>.py``. Each function in it whose name starts with
``scenario_`` is one test; it is a generator that takes the `Window`::

    import bpy
    from driver import Skip


    def scenario_click_goes_to_the_frame(ui):
        "A click on a flag goes to its frame."
        yield from ui.enable_extension()
        bpy.ops.mesh.primitive_cube_add()
        yield from ui.redraw()
        x, y = ui.to_pixel((0.0, 0.0, 1.0))  # a place of the world, in window pixels
        yield from ui.click(x, y)
        assert bpy.context.scene.frame_current == 12, "the click did not go to frame 12"
        picture = yield from ui.screenshot("after-the-click")
        found = picture.count_near("#D55E00", region=ui.clear_bounds())
        assert found > 50, f"{found} pixels have the colour of a glaring flag"

``yield`` gives Blender one turn of its event loop; ``yield 0.5`` waits half a second;
whatever of `Window` takes time is a generator itself and wants ``yield from``. Between
yields the code is ordinary Blender Python, run from a timer: ``bpy.context`` has the
window but no area, so operators that need one go into ``with ui.in_area("VIEW_3D"):``.

Everything runs inside Blender (its Python, its NumPy, no pytest): use plain ``assert``
with a message; raise `Skip` with a reason where a version cannot be tested. Every test
starts from the factory file with the extension switched off. Modules of the extension are
``bl_ext.user_default.fettle...`` after `Window.enable_extension`; `Window.open_demo` opens
a take of the demo shot. What Python prints as a traceback while the scenarios run, from a
draw handler say, fails the run as well.

A function may take ``function.time_limit`` seconds (set after its definition; default
60); a run that stands still is ended from outside. Pictures go to
``screenshots/<Blender>/``, with one of the moment of failure.

Pixels
------
All pixel coordinates here are Blender's: whole window, origin at the lower left.
A place in a 3D view becomes a pixel in two steps, `Window.to_pixel` does both:
``bpy_extras.view3d_utils.location_3d_to_region_2d(region, space.region_3d, place)`` gives
the pixel within the region, and adding ``region.x`` and ``region.y`` gives the pixel of
the window. The picture knows colours as the screen shows them (sRGB, 0 to 255); what is
drawn smoothed has its full colour only in the middle of wide lines, so give a tolerance.
The sidebar lies over the 3D view: look and click within `Window.clear_bounds`.

Run it
------
``make window-test`` on the Blenders it fetches, ``BLENDER=path make window-test`` on your
own, ``make window-test PYTEST_ARGS="-k topic"`` for one topic.
"""

from __future__ import annotations

import inspect
import json
import struct
import subprocess
import time
import traceback
import zlib
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d

EXTENSION = "bl_ext.user_default.fettle"
CHECKOUT = Path(__file__).resolve().parents[2]
TURN_S = 0.04
TIME_LIMIT_S = 60.0
MOST_REDRAWS = 12

Steps = Generator[float | None, None, Any]


class Skip(Exception):  # noqa: N818 (it is no error)
    """Raised by a scenario that cannot be tested here; the message is the reason."""


class Picture:
    """A picture of the window.

    Parameters
    ----------
    pixels : ndarray, shape (H, W, 3), uint8
        Rows from the top, as pictures are kept.
    """

    def __init__(self, pixels: np.ndarray) -> None:
        self.pixels = pixels

    def crop(self, region: tuple[int, int, int, int] | None) -> np.ndarray:
        """Cut out a region (x0, y0, x1, y1), window pixels, lower left origin; rows from the top.

        The right and upper bounds are left out, as in slices; None is the whole window.
        """
        if region is None:
            return self.pixels
        height = self.pixels.shape[0]
        x0, y0, x1, y1 = (max(0, round(value)) for value in region)
        return self.pixels[max(0, height - y1) : max(0, height - y0), x0:x1]

    def near(
        self,
        colour: str | tuple[int, int, int],
        tolerance: int = 24,
        region: tuple[int, int, int, int] | None = None,
    ) -> np.ndarray:
        """Mark the pixels of a region near a colour.

        Parameters
        ----------
        colour : str or tuple of int
            ``"#D55E00"`` or (213, 94, 0).
        tolerance : int
            The largest difference in any of red, green and blue.
        region : tuple of int, optional
            x0, y0, x1, y1 in window pixels.

        Returns
        -------
        ndarray, shape (h, w), bool
            Rows from the top.
        """
        if isinstance(colour, str):
            digits = colour.lstrip("#")
            colour = tuple(int(digits[i : i + 2], 16) for i in (0, 2, 4))
        difference = np.abs(self.crop(region).astype(np.int16) - np.array(colour, np.int16))
        return difference.max(axis=2) <= tolerance

    def count_near(
        self,
        colour: str | tuple[int, int, int],
        tolerance: int = 24,
        region: tuple[int, int, int, int] | None = None,
    ) -> int:
        """Count the pixels of a region near a colour; see `near`."""
        return int(self.near(colour, tolerance, region).sum())

    def colour_at(self, x: float, y: float) -> tuple[int, int, int]:
        """Give the colour of one window pixel as red, green, blue."""
        red, green, blue = self.pixels[self.pixels.shape[0] - 1 - round(y), round(x)]
        return int(red), int(green), int(blue)

    def differs_from(
        self, other: Picture, tolerance: int = 8, region: tuple[int, int, int, int] | None = None
    ) -> int:
        """Count the pixels of a region that differ by more than a tolerance in any channel."""
        one = self.crop(region).astype(np.int16)
        two = other.crop(region).astype(np.int16)
        return int((np.abs(one - two).max(axis=2) > tolerance).sum())

    def save(self, path: Path) -> None:
        """Write the picture as a PNG file."""
        height, width, _ = self.pixels.shape
        # Every row of a PNG starts with the number of its filter; 0 is none.
        rows = np.zeros((height, 1 + width * 3), np.uint8)
        rows[:, 1:] = self.pixels.reshape(height, width * 3)

        def chunk(kind: bytes, data: bytes) -> bytes:
            body = kind + data
            return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

        header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
        path.write_bytes(
            b"\x89PNG\r\n\x1a\n"
            + chunk(b"IHDR", header)
            + chunk(b"IDAT", zlib.compress(rows.tobytes(), 6))
            + chunk(b"IEND", b"")
        )


def grab_screen() -> Picture:
    """Take a picture of the whole display as it is now."""
    # Blender's own screenshot comes out black on a display without a graphics card.
    raw = subprocess.run(
        ["import", "-silent", "-window", "root", "-depth", "8", "ppm:-"],
        check=True,
        stdout=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
    ).stdout
    kind, width, height, largest, pixels = raw.split(maxsplit=4)[:4] + [raw]
    if kind != b"P6" or largest != b"255":
        raise RuntimeError(f"import gave no 8 bit colour picture but {raw[:20]!r}")
    count = int(width) * int(height) * 3
    array = np.frombuffer(pixels, np.uint8, count=count, offset=len(raw) - count)
    return Picture(array.reshape(int(height), int(width), 3))


class Window:
    """What a scenario can do with Blender's window.

    Parameters
    ----------
    pictures : Path
        Where the pictures go.
    """

    def __init__(self, pictures: Path) -> None:
        self.pictures = pictures
        self.title = ""
        self.mouse = (0, 0)
        self._built: set[Path] = set()

    # Finding things.

    @property
    def window(self) -> bpy.types.Window:
        """The one window."""
        return bpy.context.window_manager.windows[0]

    def area(self, kind: str = "VIEW_3D") -> bpy.types.Area:
        """Give the largest area of a kind, such as VIEW_3D, DOPESHEET_EDITOR, PROPERTIES."""
        areas = [area for area in self.window.screen.areas if area.type == kind]
        assert areas, f"the window shows no {kind}"
        return max(areas, key=lambda area: area.width * area.height)

    def region(self, kind: str = "VIEW_3D", part: str = "WINDOW") -> bpy.types.Region:
        """Give a region of the area of a kind: WINDOW, UI (the sidebar), HEADER, TOOLS."""
        regions = [region for region in self.area(kind).regions if region.type == part]
        assert regions, f"the {kind} has no region {part}"
        return regions[0]

    def bounds(self, kind: str = "VIEW_3D", part: str = "WINDOW") -> tuple[int, int, int, int]:
        """Give the bounds x0, y0, x1, y1 of a region, window pixels."""
        region = self.region(kind, part)
        return region.x, region.y, region.x + region.width, region.y + region.height

    def clear_bounds(self, kind: str = "VIEW_3D") -> tuple[int, int, int, int]:
        """Give the bounds of what can be seen and clicked: without sidebar, tools and header."""
        x0, y0, x1, y1 = self.bounds(kind)
        for region in self.area(kind).regions:
            if region.width <= 1 or region.height <= 1:  # hidden
                continue
            if region.type == "TOOLS":
                x0 = max(x0, region.x + region.width)
            elif region.type == "UI":
                x1 = min(x1, region.x)
            elif region.type in {"HEADER", "TOOL_HEADER"} and region.y > (y0 + y1) / 2:
                y1 = min(y1, region.y)
        return x0, y0, x1, y1

    def to_pixel(self, place: Any, kind: str = "VIEW_3D") -> tuple[int, int]:
        """Give the window pixel at which a 3D view shows a place of the world (metres)."""
        region = self.region(kind)
        space = self.area(kind).spaces.active
        within = location_3d_to_region_2d(region, space.region_3d, place)
        assert within is not None, f"{tuple(place)} lies behind the view"
        return round(region.x + within.x), round(region.y + within.y)

    @contextmanager
    def in_area(self, kind: str = "VIEW_3D", part: str = "WINDOW") -> Iterator[None]:
        """Give operators the context of an area, as if the mouse were in it."""
        with bpy.context.temp_override(
            window=self.window, area=self.area(kind), region=self.region(kind, part)
        ):
            yield

    # Events. One event per turn of the event loop: more at once get lost.

    def move(self, x: float, y: float) -> Steps:
        """Move the mouse to a window pixel, arriving from beside it."""
        for px, py in ((x - 3, y - 2), (x, y)):
            self.mouse = (round(px), round(py))
            self._send("MOUSEMOVE", "NOTHING")
            yield

    def press(self, button: str = "LEFTMOUSE", **modifiers: bool) -> Steps:
        """Press a mouse button or a key where the mouse is, and keep it down."""
        self._send(button, "PRESS", **modifiers)
        yield

    def release(self, button: str = "LEFTMOUSE", **modifiers: bool) -> Steps:
        """Let a mouse button or a key go."""
        self._send(button, "RELEASE", **modifiers)
        yield

    def click(self, x: float, y: float, button: str = "LEFTMOUSE", **modifiers: bool) -> Steps:
        """Move to a window pixel and click there; modifiers are shift, ctrl, alt, oskey."""
        yield from self.move(x, y)
        yield from self.key(button, **modifiers)

    def drag(self, start: tuple[float, float], end: tuple[float, float], steps: int = 8) -> Steps:
        """Drag with the left mouse button from one window pixel to another."""
        yield from self.move(*start)
        yield from self.press()
        for part in np.linspace(0.0, 1.0, steps + 1)[1:]:
            x = start[0] + (end[0] - start[0]) * part
            y = start[1] + (end[1] - start[1]) * part
            self.mouse = (round(x), round(y))
            self._send("MOUSEMOVE", "NOTHING")
            yield
        yield from self.release()

    def key(self, name: str, **modifiers: bool) -> Steps:
        """Press and release a key (``"A"``, ``"SPACE"``, ``"ESC"``) where the mouse is."""
        yield from self.press(name, **modifiers)
        yield from self.release(name, **modifiers)
        yield

    def type_text(self, text: str) -> Steps:
        """Type plain words into the text field that has the focus."""
        for sign in text:
            kind = "SPACE" if sign == " " else sign.upper() if sign.isalpha() else "ZERO"
            x, y = self.mouse
            self.window.event_simulate(type=kind, value="PRESS", unicode=sign, x=x, y=y)
            yield
            self.window.event_simulate(type=kind, value="RELEASE", x=x, y=y)
            yield

    def _send(self, kind: str, value: str, **modifiers: bool) -> None:
        x, y = self.mouse
        self.window.event_simulate(type=kind, value=value, x=x, y=y, **modifiers)

    # Waiting.

    def wait(self, seconds: float) -> Steps:
        """Let Blender go on for a while."""
        yield seconds

    def wait_until(
        self, true: Callable[[], Any], what: str, seconds: float = 10.0, each: float = TURN_S
    ) -> Steps:
        """Wait until something holds; fail with its description when it takes too long."""
        end = time.monotonic() + seconds
        while not true():
            assert time.monotonic() < end, f"waited {seconds:g} s in vain: {what}"
            yield each

    def redraw(self, times: int = 2) -> Steps:
        """Have the whole window drawn anew, so that the screen shows the present state."""
        yield
        for _ in range(times):
            with bpy.context.temp_override(window=self.window):
                bpy.ops.wm.redraw_timer(type="DRAW_WIN_SWAP", iterations=1)
            yield

    # Looking.

    def screenshot(self, name: str = "", redraw: bool = True) -> Steps:
        """Take a picture of the window; with a name it is kept.

        Parameters
        ----------
        name : str
            What the picture shows, in a few words joined by hyphens; empty keeps no file.
        redraw : bool
            Draw anew first, until the picture stands still: a view sharpens over several
            redraws. False shows what the user would see: what Blender has drawn without being
            asked.

        Returns
        -------
        Picture
        """
        if redraw:
            yield from self.redraw()
        picture = grab_screen()
        for _ in range(MOST_REDRAWS if redraw else 0):
            yield from self.redraw(times=1)
            earlier, picture = picture, grab_screen()
            if not picture.differs_from(earlier, tolerance=0):
                break
        if name:
            picture.save(self.pictures / f"{self.title}--{name}.png")
        return picture

    # Setting the stage.

    def enable_extension(self) -> Steps:
        """Switch the installed extension on, as the check box in the preferences does."""
        if EXTENSION not in bpy.context.preferences.addons:
            bpy.ops.preferences.addon_enable(module=EXTENSION)
        assert EXTENSION in bpy.context.preferences.addons, f"{EXTENSION} does not register"
        yield

    def disable_extension(self) -> Steps:
        """Switch the extension off."""
        if EXTENSION in bpy.context.preferences.addons:
            bpy.ops.preferences.addon_disable(module=EXTENSION)
        yield

    def open_sidebar(self, tab: str, kind: str = "VIEW_3D") -> Steps:
        """Open the sidebar of an area at a tab."""
        self.area(kind).spaces.active.show_region_ui = True
        yield from self.redraw()
        self.region(kind, "UI").active_panel_category = tab
        yield from self.redraw()

    def open_demo(self, take: int = 1) -> Steps:
        """Open a take of the demo shot, built by this very Blender, in the window's own layout.

        Built once for each run, in a process of its own: building starts from the factory
        settings and would switch the extension off.
        """
        path = self.pictures / "demo" / f"take{take}.blend"
        if path not in self._built:
            code = (
                f"import sys; sys.path.insert(0, {str(CHECKOUT)!r})\n"
                "sys.dont_write_bytecode = True\n"
                "from pathlib import Path\n"
                "from demo_blend_scripts.build_demo import build_take\n"
                f"build_take({take}, Path({str(path)!r}))\n"
            )
            command = [bpy.app.binary_path, "--background", "--factory-startup"]
            command += ["--python-exit-code", "3", "--python-expr", code]
            done = subprocess.run(
                command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
            )
            assert done.returncode == 0, f"the demo was not built:\n{done.stdout[-2000:]}"
            self._built.add(path)
        bpy.ops.wm.open_mainfile(filepath=str(path), load_ui=False)
        yield 0.2

    def open_factory_file(self) -> Steps:
        """Open Blender's own start-up file; preferences and extensions stay as they are."""
        bpy.ops.wm.read_homefile(use_factory_startup=True)
        yield 0.1


def set_preferences() -> None:
    """Keep off what would swallow events or move on its own."""
    preferences = bpy.context.preferences
    preferences.view.show_splash = False
    preferences.view.smooth_view = 0
    preferences.use_preferences_save = False


def describe(error: BaseException) -> str:
    """Say what failed and in which line of a scenario."""
    frames = traceback.extract_tb(error.__traceback__)
    places = [frame for frame in frames if Path(frame.filename).name.startswith("scenario_")]
    place = (places or frames)[-1]
    words = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
    where = f"{Path(place.filename).name}:{place.lineno}: {place.line}"
    if isinstance(error, AssertionError):
        return f"{words}\n  {where}"
    return f"{words}\n  {where}\n" + "".join(traceback.format_exception(error))


class Run:
    """Takes the scenarios of one file through a window, one after the other.

    Parameters
    ----------
    scenarios : dict
        Generator functions by name, in order.
    report : Path
        The JSON file that is written after every scenario.
    pictures : Path
        Where the pictures go.
    """

    def __init__(self, scenarios: dict[str, Callable], report: Path, pictures: Path) -> None:
        self.waiting = list(scenarios.items())
        self.report = report
        self.results: list[dict[str, Any]] = []
        self.ui = Window(pictures)
        self.steps: Steps | None = None
        self.started = 0.0
        self.limit_s = TIME_LIMIT_S

    def turn(self) -> float | None:
        """Go one step; the number is the pause until the next, None ends the run."""
        if self.steps is None:
            if not self.waiting:
                self.write(finished=True)
                return None
            name, function = self.waiting.pop(0)
            self.ui.title = name.removeprefix("scenario_").replace("_", "-")
            self.limit_s = getattr(function, "time_limit", TIME_LIMIT_S)
            self.results.append({"name": name, "outcome": "running", "message": "", "seconds": 0})
            self.write()
            self.steps = self.play(function)
            self.started = time.monotonic()
        error: BaseException | None = None
        try:
            pause = next(self.steps)
            if time.monotonic() - self.started <= self.limit_s:
                return TURN_S if pause is None else pause
            raise TimeoutError(f"took longer than {self.limit_s:g} s")
        except StopIteration:
            pass
        # Whatever a scenario raises is its result; the next one gets its turn.
        except Exception as caught:
            error = caught
        self.conclude(error)
        return TURN_S

    def play(self, function: Callable) -> Steps:
        """Set the stage as every scenario finds it, then play it."""
        yield from self.ui.disable_extension()
        yield from self.ui.open_factory_file()
        yield from function(self.ui)

    def conclude(self, error: BaseException | None) -> None:
        """Note how a scenario ended."""
        result = self.results[-1]
        result["seconds"] = round(time.monotonic() - self.started, 2)
        if error is None:
            result["outcome"] = "passed"
        elif isinstance(error, Skip):
            result.update(outcome="skipped", message=str(error))
        else:
            result.update(outcome="failed", message=describe(error))
            grab_screen().save(self.ui.pictures / f"{self.ui.title}--failure.png")
        if self.steps is not None:
            self.steps.close()
        self.steps = None
        self.write()

    def write(self, finished: bool = False) -> None:
        """Write the results so far: a Blender that dies leaves them behind."""
        told = {
            "blender": bpy.app.version_string,
            "finished": finished,
            "results": self.results,
        }
        self.report.write_text(json.dumps(told, indent=1), encoding="utf-8")


def find_scenarios(module: Any) -> dict[str, Callable]:
    """Give the generator functions of a module whose names start with ``scenario_``."""
    found = {
        name: function
        for name, function in vars(module).items()
        if name.startswith("scenario_") and inspect.isgeneratorfunction(function)
    }
    plain = [
        name
        for name, function in vars(module).items()
        if name.startswith("scenario_") and callable(function) and name not in found
    ]
    if plain or not found:
        raise SystemExit(
            f"{module.__name__}: "
            + (f"without a yield in them: {', '.join(plain)}" if plain else "no scenario_ function")
        )
    return found
