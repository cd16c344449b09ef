# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The closed list of units, and the only place where one time unit becomes another.

No quantity in Fettle goes without one of these units: parameters, flag values and limits all name
theirs, and an unknown unit is refused when a check is imported.
"""

from __future__ import annotations

from enum import StrEnum

REFERENCE_FPS = 24.0
"""The rate at which the trade counts frames when it says "two frames" without naming a rate."""


class Unit(StrEnum):
    """A unit as it is written in the panel, on the command line and in the JSON."""

    METRES = "m"
    METRES_PER_SECOND = "m/s"
    DEGREES = "deg"
    DEGREES_PER_SECOND = "deg/s"
    FRAMES = "frames"
    FRAMES_AT_24 = "frames at 24 fps"
    SECONDS = "s"
    RATIO = "ratio"
    BODY_HEIGHT = "% H"
    FRAME_WIDTH = "% frame width"
    PERCENT = "%"
    COUNT = "count"


def seconds_to_frames(seconds: float, fps: float) -> float:
    """Convert a duration to frames of the scene.

    Parameters
    ----------
    seconds : float
        Duration in seconds.
    fps : float
        Frames per second of the scene.

    Returns
    -------
    float
        Duration in frames, not rounded.
    """
    return seconds * fps


def reference_frames_to_frames(frames_at_24: float, fps: float) -> float:
    """Convert frames counted at 24 fps to frames of the scene (same duration)."""
    return frames_at_24 * fps / REFERENCE_FPS


_FORMATS: dict[Unit, str] = {
    Unit.METRES: "{:.3f} m",
    Unit.METRES_PER_SECOND: "{:.2f} m/s",
    Unit.DEGREES: "{:.1f} deg",
    Unit.DEGREES_PER_SECOND: "{:.0f} deg/s",
    Unit.FRAMES: "{:.1f} frames",
    Unit.FRAMES_AT_24: "{:.1f} frames at 24 fps",
    Unit.SECONDS: "{:.2f} s",
    Unit.RATIO: "{:.2f}",
    Unit.BODY_HEIGHT: "{:.1f} % of body height",
    Unit.FRAME_WIDTH: "{:.1f} % of frame width",
    Unit.PERCENT: "{:.0f} %",
    Unit.COUNT: "{:.0f}",
}


def format_quantity(value: float, unit: Unit) -> str:
    """Write a value with its unit the way a person reads it."""
    return _FORMATS[Unit(unit)].format(value)
