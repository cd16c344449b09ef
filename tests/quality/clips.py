# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The clean motion the checks are scored on: what it is, how long, and which half it belongs to.

Limits may be tuned on the clips of the split "tuned". Those of "held-out" are looked at in the
score only; they differ in seed, speed, rate and (the climbing) in what is done.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache

import captures
import formula_motions
import gait
import gestures
import numpy as np

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion

TUNED, HELD_OUT = "tuned", "held-out"
SPLITS = (TUNED, HELD_OUT)
FASTEST_CHANGE = 7000.0 / 0.03
"""Degrees per second and second."""


@dataclass(frozen=True)
class Clip:
    """One clean clip.

    Attributes
    ----------
    name : str
    split : str
        "tuned" or "held-out".
    family : str
        "formula", "walk", "poses", "gesture", "capture" or "rig".
    make : callable
        Returns the Motion.
    options : mapping, optional
        What a walk or a row of poses was made with, so that a fault can be made in the making.
    """

    name: str
    split: str
    family: str
    make: Callable[[], Motion] = field(compare=False)
    options: dict | None = field(default=None, compare=False)

    @property
    def number(self) -> int:
        """A number of the clip's own, the same in every run."""
        return zlib.crc32(self.name.encode())


def load(clip: Clip) -> Motion:
    """Return a clip's motion; made once per process."""
    return _load(clip)


@cache
def _load(clip: Clip) -> Motion:
    return clip.make()


def list_clips() -> tuple[list[Clip], list[str]]:
    """Return the clips that can be had here, and those that cannot, each with its reason."""
    found = [*_list_formulas(), *_list_walks(), *_list_gestures()]
    missing: list[str] = []
    folder = captures.find_folder()
    for clip, name in _list_captures():
        if folder is None or not (folder / f"{name}.bvh").is_file():
            missing.append(f"{clip.name}: {name}.bvh is not here (tools/fetch_captures.sh)")
        else:
            found.append(clip)
    return found, missing


def _list_formulas() -> list[Clip]:
    makers = {
        "reaches": formula_motions.make_reaches,
        "swings": formula_motions.make_swings,
        "throws": formula_motions.make_throws,
    }
    rates = {TUNED: (24.0, 25.0, 30.0), HELD_OUT: (24.0, 30.0, 60.0)}
    clips = []
    for split, first in ((TUNED, 1), (HELD_OUT, 101)):
        for kind, maker in makers.items():
            for number, fps in enumerate(rates[split]):
                seed = first + number
                name = f"{kind} {seed} at {fps:.0f}"
                clips.append(Clip(name, split, "formula", _Bound(maker, seed, fps)))
        for number, fps in enumerate(rates[split]):
            full = {"seed": first + 50 + number, "fps": fps}
            name = f"pose to pose {full['seed']} at {fps:.0f}"
            maker = _Options(formula_motions.make_pose_changes, full)
            clips.append(Clip(name, split, "poses", maker, options=full))
    return clips


def _list_walks() -> list[Clip]:
    table = {
        TUNED: (
            {"fps": 24.0, "speed": 1.0},
            {"fps": 25.0, "speed": 0.7},
            {"fps": 24.0, "speed": 1.3},
            {"fps": 30.0, "speed": 1.0, "in_place": True},
        ),
        HELD_OUT: (
            {"fps": 30.0, "speed": 0.85},
            {"fps": 24.0, "speed": 1.15},
            {"fps": 60.0, "speed": 1.0},
            {"fps": 24.0, "speed": 0.9, "in_place": True},
        ),
    }
    clips = []
    for split, rows in table.items():
        for options in rows:
            place = " in place" if options.get("in_place") else ""
            name = f"walk {options['speed']:.2f}{place} at {options['fps']:.0f}"
            full = {"seconds": 8.0, **options}
            clips.append(Clip(name, split, "walk", _Options(_walk, full), options=full))
    return clips


def _list_gestures() -> list[Clip]:
    clips = []
    for number, (kind, maker) in enumerate(gestures.MAKERS.items()):
        for split, first in ((TUNED, 11), (HELD_OUT, 111)):
            seed, fps = first + number, (24.0, 30.0)[number % 2]
            name = f"{kind} {seed} at {fps:.0f}"
            clips.append(Clip(name, split, "gesture", _Bound(maker, seed, fps)))
    return clips


def _list_captures() -> list[tuple[Clip, str]]:
    clips = []
    for name, split in (("01_01", TUNED), ("Boxing_Toes", TUNED), ("01_03", HELD_OUT)):
        for fps in (None, 24, 25, 30):
            rate = f"at {fps}" if fps else "as recorded"
            clip = Clip(f"{name} {rate}", split, "capture", _Bound(captures.load, name, fps))
            clips.append((clip, name))
    return clips


class _Bound:
    """A maker with its arguments, so that a clip can be sent to another process."""

    def __init__(self, maker: Callable[..., Motion], *arguments: object) -> None:
        self.maker, self.arguments = maker, arguments

    def __call__(self) -> Motion:
        return self.maker(*self.arguments)


class _Options:
    """The same for a maker that is called by name of its options."""

    def __init__(self, maker: Callable[..., Motion], options: dict) -> None:
        self.maker, self.options = maker, options

    def __call__(self) -> Motion:
        return self.maker(**self.options)


def _walk(**options: object) -> Motion:
    return gait.make_walk(**options)[0]


def list_recorded_jumps(clip: Clip) -> list[tuple[str, float]]:
    """Return part and time (s) of jumps that are in the recording itself: no fault of a check.

    A joint that changes its turning by more than a body can is a marker that was lost or taken for
    another. A pitcher's shoulder, the fastest joint there is, reaches 7000 degrees a second in
    about 30 ms (from memory); what is beyond that at the recorded rate is no movement.
    """
    if clip.family != "capture":
        return []
    return _list_jumps(clip.name.split(" ")[0])


@cache
def _list_jumps(name: str) -> list[tuple[str, float]]:
    motion = captures.load(name)
    steps = rotations.step_vectors(motion.local_rotations)
    change = np.linalg.norm(np.diff(steps, axis=0), axis=-1) * motion.fps**2
    rows, parts = np.nonzero(change > FASTEST_CHANGE)
    pairs = zip(rows.tolist(), parts.tolist(), strict=True)
    return [(motion.parts[part], (row + 1) / motion.fps) for row, part in pairs]


def draw_stretch(motion: Motion, seconds: float, random: np.random.Generator) -> Motion:
    """Return a stretch of a clip at a random place, or all of a clip that is no longer."""
    count = round(seconds * motion.fps)
    if motion.frame_count <= count:
        return motion
    start = int(random.integers(motion.frame_count - count + 1))
    return motion.slice(start, start + count)
