# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Look a .bvh file over before Blender imports it: is it whole, how fast, in what unit?

Blender's importer takes what it can get of a broken file; a reading must not rest on half a
capture. The format has no unit and no upward axis either: both are guessed from the figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from .shot_faults import ShotFileError

UNITS = {
    "metres": 1.0,
    "centimetres": 0.01,
    "millimetres": 0.001,
    "inches": 0.0254,
    "inches over 0.45": 0.0254 / 0.45,
    "feet": 0.3048,
    "decimetres": 0.1,
}
"""Units in use, the commonest first, in metres; one large public collection counts in inches
divided by 0.45."""

FIGURE_REACH_M = (0.7, 1.6)
"""From the hips to the farthest end of its bones (a leg, an arm, a head) on a grown figure, in
metres: about the height of its hips, more for a long tail (the project's own choice)."""

UPRIGHT_RATIO = 2.5
"""A figure that reaches this much farther along Z than along Y stands along Z, as Blender itself
writes it; a grown person is four to seven times as tall as deep (from memory)."""

COMMON_RATES = (12, 15, 24, 25, 30, 48, 50, 60, 72, 75, 90, 100, 120, 144, 180, 200, 240)


@dataclass(frozen=True, slots=True)
class BvhFacts:
    """What the text of a .bvh file says.

    Attributes
    ----------
    frame_count : int
        Rows of motion.
    fps : float
    reach : float
        Length of the longest chain of bones from the hips, in the file's unit.
    up : str
        The axis along which the figure stands at rest, Y or Z.
    """

    frame_count: int
    fps: float
    reach: float
    up: str = "Y"

    def guess_unit(self) -> tuple[str, float]:
        """Return the unit's name and its length in metres."""
        low, high = FIGURE_REACH_M
        for name, metres in UNITS.items():
            if low <= self.reach * metres <= high:
                return name, metres
        return ("an unknown unit", 1.0 / self.reach) if self.reach > 0.0 else ("metres", 1.0)


def inspect_bvh(path: Path) -> BvhFacts:
    """Read a .bvh file's frame time, size and number of frames.

    Raises
    ------
    ShotFileError
        When it is no such file, or is cut off: what, in which line, what to do.
    """
    try:
        lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError as error:
        raise ShotFileError(f"cannot be read ({error.strerror})") from None
    first = next((line.strip() for line in lines if line.strip()), "")
    if first.upper() != "HIERARCHY":
        raise ShotFileError("is no .bvh file (it does not begin with HIERARCHY); export it again")
    motion = next((i for i, line in enumerate(lines) if line.strip().upper() == "MOTION"), None)
    if motion is None:
        raise ShotFileError(f"is cut off after line {len(lines)}: no MOTION; export it again")
    channels, reach, up = _read_hierarchy(lines[1:motion])
    declared = _read_number(lines, motion + 1, "Frames:")
    frame_time = _read_number(lines, motion + 2, "Frame Time:")
    if not 0.0 < frame_time < 10.0:
        raise ShotFileError(f"has a frame time of {frame_time:g} s (line {motion + 3})")
    rows = _count_rows(lines, motion + 3, channels)
    if rows < declared:
        raise ShotFileError(
            f"is cut off: it promises {declared:.0f} frames and holds {rows}; export it again"
        )
    return BvhFacts(rows, _name_rate(frame_time), reach, up)


def _read_hierarchy(lines: list[str]) -> tuple[int, float, str]:
    """Return the number of channels, the length of the longest chain from the hips, and what's up.

    The hips are where the figure first branches: a joint on the floor may carry them.
    """
    channels, longest = 0, 0.0
    depths = [0.0]
    levels: list[list[float]] = [[0.0]]
    places = [(0.0, 0.0)]
    ys, zs = [0.0], [0.0]
    for number, line in enumerate(lines, start=2):
        words = line.split()
        try:
            if not words:
                continue
            if words[0] == "{":
                depths.append(depths[-1])
                places.append(places[-1])
            elif words[0] == "}":
                depths.pop()
                places.pop()
            elif words[0].upper() == "OFFSET" and len(depths) > 2:
                x, y, z = (float(word) for word in words[1:4])
                depths[-1] += (x * x + y * y + z * z) ** 0.5
                longest = max(longest, depths[-1])
                places[-1] = (places[-1][0] + y, places[-1][1] + z)
                ys.append(places[-1][0])
                zs.append(places[-1][1])
                levels += [[] for _ in range(len(depths) - 1 - len(levels))]
                levels[len(depths) - 2].append(depths[-1])
            elif words[0].upper() == "CHANNELS":
                channels += int(words[1])
        except (ValueError, IndexError):
            raise ShotFileError(f"is damaged in line {number} ({line.strip()[:40]!r})") from None
    if len(depths) != 1:
        raise ShotFileError("has joints without an end (braces do not match); export it again")
    if channels == 0:
        raise ShotFileError("has no channels, so nothing moves")
    fork = next((level for level, found in enumerate(levels) if len(found) > 1), 1)
    tall = max(zs) - min(zs) > UPRIGHT_RATIO * (max(ys) - min(ys))
    return channels, longest - levels[fork - 1][0], "Z" if tall else "Y"


def _read_number(lines: list[str], index: int, title: str) -> float:
    text = lines[index].strip() if index < len(lines) else ""
    try:
        if not text.lower().startswith(title.lower()):
            raise ValueError
        return float(text[len(title) :])
    except ValueError:
        where = f"line {index + 1}"
        raise ShotFileError(f"is damaged or cut off: expected {title!r} in {where}") from None


def _count_rows(lines: list[str], start: int, channels: int) -> int:
    rows = 0
    for number, line in enumerate(lines[start:], start=start + 1):
        count = len(line.split())
        if count == 0:
            continue
        if count != channels:
            raise ShotFileError(
                f"is cut off or damaged in line {number}: {count} values for {channels} channels; "
                "export it again"
            )
        rows += 1
    return rows


def _name_rate(frame_time: float) -> float:
    """Return frames per second; a file's 0.0083333 stands for 1/120, so for 120."""
    fps = 1.0 / frame_time
    for rate in COMMON_RATES:
        for exact in (float(rate), rate * 1000.0 / 1001.0):
            if abs(fps - exact) < 4e-4 * exact:  # the two kinds lie 1e-3 apart
                return exact
    return fps
