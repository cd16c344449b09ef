# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The clean motion the checks are scored on: what it is, how long, and which half it belongs to.

Limits may be tuned on the clips of the split "tuned". Those of "held-out" are looked at in the
score only: other seeds of what is made from formulas, a capture of its own, of a fencer, and a
keyed production rig. All of it at 12 to 120 frames a second, the rig at no more than it was keyed.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache

import captures
import filming
import formula_motions
import gait
import gestures
import marker_capture
import natural_motions
import numpy as np
import reposing
import rig_clip

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion

TUNED, HELD_OUT = "tuned", "held-out"
SPLITS = (TUNED, HELD_OUT)
RATES = (12.0, 24.0, 25.0, 30.0, 60.0, 120.0)
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
        "formula", "walk", "poses", "gesture", "camera", "capture" or "rig".
    make : callable
        Returns the Motion.
    options : mapping, optional
        What a walk or a row of poses was made with, so that a fault can be made in the making.
    """

    name: str
    split: str
    family: str
    kind: str
    fps: float
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
    found = [*_list_made(), *_list_walks(), *_list_filmed()]
    missing: list[str] = []
    folder = captures.find_folder()
    for name in ("01_01", "Boxing_Toes", "01_03"):
        if folder is None or not (folder / f"{name}.bvh").is_file():
            missing.append(f"{name}: {name}.bvh is not here (tools/fetch_captures.sh)")
        else:
            found += _list_rates(name, TUNED, captures.load, (name,), RECORDED_FPS[name])
    if marker_capture.is_here():
        found += _list_rates("fencing", HELD_OUT, _fence, (), marker_capture.FPS)
    else:
        missing.append(f"fencing: {marker_capture.FILE} is not here (tools/fetch_captures.sh)")
    found += [
        Clip(
            f"generated rig at {fps:.0f}", HELD_OUT, "rig", "generated rig", fps, _Bound(_rig, fps)
        )
        for fps in RATES
        if fps <= rig_clip.FPS
    ]
    return found, missing


def _list_made() -> list[Clip]:
    """List what is made from formulas: every kind at every rate, each with a seed of its own."""
    makers = {
        **{("formula", kind): maker for kind, maker in formula_motions.MAKERS.items()},
        **{("gesture", kind): maker for kind, maker in gestures.MAKERS.items()},
        **{("active", kind): maker for kind, maker in natural_motions.MAKERS.items()},
    }
    clips = []
    for split, first in ((TUNED, 1), (HELD_OUT, 101)):
        for number, fps in enumerate(RATES):
            for (family, kind), maker in makers.items():
                if fps < gestures.SLOWEST.get(kind, 0.0):
                    continue
                name = f"{kind} {first + number} at {fps:.0f}"
                make = _Bound(maker, first + number, fps)
                clips.append(Clip(name, split, family, kind, fps, make))
            options = {"seed": first + 50 + number, "fps": fps}
            name = f"pose to pose {options['seed']} at {fps:.0f}"
            make = _Options(formula_motions.make_pose_changes, options)
            clips.append(Clip(name, split, "poses", "pose to pose", fps, make, options))
    return clips


def _list_walks() -> list[Clip]:
    """List walks of many speeds; those in place are a cycle under a body that stays."""
    speeds = {TUNED: (1.0, 0.7, 1.3, 0.8, 1.2), HELD_OUT: (0.85, 1.15, 0.9, 1.1, 0.75)}
    clips = []
    for split, own in speeds.items():
        for number, fps in enumerate(RATES):
            for in_place in (False, True):
                speed = own[(number + 2 * in_place) % len(own)]
                place = " in place" if in_place else ""
                options = {"seconds": 8.0, "fps": fps, "speed": speed, "in_place": in_place}
                name = f"walk {speed:.2f}{place} at {fps:.0f}"
                make = _Options(_walk, options)
                clips.append(Clip(name, split, "walk", f"walk{place}", fps, make, options))
    return clips


def _list_filmed() -> list[Clip]:
    """List what good operators film, each kind at two rates in either split."""
    clips = []
    for split, first in ((TUNED, 201), (HELD_OUT, 301)):
        for number, kind in enumerate(filming.OPERATORS):
            for step in (0, 3):
                seed, fps = first + number, RATES[(number + step) % len(RATES)]
                make = _Bound(filming.make_operated, kind, seed, fps)
                name = f"{kind} {seed} at {fps:.0f}"
                clips.append(Clip(name, split, "camera", kind, fps, make))
    return clips


RECORDED_FPS = {"01_01": 120.0, "01_03": 120.0, "Boxing_Toes": 100.0}


def _list_rates(
    kind: str, split: str, maker: Callable[..., Motion], arguments: tuple, recorded: float
) -> list[Clip]:
    """List a capture as it was recorded and at every slower rate."""
    clips = []
    for fps in (*(rate for rate in RATES if rate < recorded), None):
        name = f"{kind} at {fps:.0f}" if fps else f"{kind} as recorded"
        make = _Bound(maker, *arguments, fps)
        clips.append(Clip(name, split, "capture", kind, fps or recorded, make))
    return clips


def _rig(fps: float) -> Motion:
    motion = rig_clip.load()
    return motion if fps == rig_clip.FPS else reposing.resample(motion, fps)


def _fence(fps: float | None) -> Motion:
    motion = marker_capture.load()
    return motion if fps is None else reposing.resample(motion, fps)


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
    return _list_jumps(clip.kind)


@cache
def _list_jumps(kind: str) -> list[tuple[str, float]]:
    motion = marker_capture.load() if kind == "fencing" else captures.load(kind)
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
