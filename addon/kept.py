# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The readings kept while Blender runs, one for each scene, and what is known about their age.

Panels and drawing read this and nothing else. Everything is kept under the scene's name and holds
no data of Blender's. `revision` rises with every change, so that whoever derives something from a
reading (rows of a list, arrays to draw) knows when to derive it anew.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..core_math import Comparison, Flag, Mark, Motion, Note, ShotReading, State, Take

_numbers = itertools.count(1)


@dataclass(eq=False, slots=True)
class Kept:
    """One scene's reading and what belongs to it.

    Attributes
    ----------
    scene : str
    reading : ShotReading
        Its flags carry the states people gave them.
    motions : mapping of subject to Motion
    samples : ShotSamples or None
        What was sampled, to be judged again when only the limits changed.
    metres_per_unit : float
    notes : tuple of Note
    unused_marks : tuple of Mark
        Decisions whose flag is gone.
    stale : str or None
        Why it no longer tells the truth about the scene; None while it does.
    posed : mapping of (subject, part) to ndarray, shape (3,), metres
        Where parts are now that someone poses without keys, for the current frame only.
    posed_frame : int
    chosen : str or None
        Id of the flag that is selected in the list.
    base : Take or None
        The older take it is compared with.
    comparison : Comparison or None
        The last one that was made of the two.
    revision : int
    """

    scene: str
    reading: ShotReading
    motions: Mapping[str, Motion]
    samples: Any = None
    metres_per_unit: float = 1.0
    notes: tuple[Note, ...] = ()
    unused_marks: tuple[Mark, ...] = ()
    stale: str | None = None
    posed: dict[tuple[str, str], NDArray[np.float64]] = field(default_factory=dict)
    posed_frame: int = 0
    chosen: str | None = None
    base: Take | None = None
    comparison: Comparison | None = None
    revision: int = 0
    _by_id: dict[str, Flag] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._by_id = {flag.id: flag for flag in self.reading.flags}

    def flag(self, flag_id: str | None) -> Flag | None:
        """Return a flag by its id, None when there is none of that id."""
        return self._by_id.get(flag_id or "")

    def open_flags(self) -> list[Flag]:
        """Return the flags nobody has decided about, in the order of review."""
        return [flag for flag in self.reading.flags if flag.state is State.OPEN]

    def place(self, flag: Flag, frame: int | None = None) -> NDArray[np.float64] | None:
        """Return where a flag's part is at its peak, or at another frame; in metres.

        A flag on something that has no place of its own (a camera, the staging) stands at its
        subject's hips, or at whatever the subject's first part is.
        """
        motion = self.motions.get(flag.subject)
        if motion is None:
            return None
        for part in (flag.part, *flag.other_parts, "hips", "chest", motion.parts[0]):
            if motion.has(part):
                row = (flag.peak if frame is None else frame) - int(motion.frames[0])
                row = min(max(row, 0), motion.frame_count - 1)
                place: NDArray[np.float64] = motion.head(part)[row]
                return place
        return None


_kept: dict[str, Kept] = {}
_problems: dict[str, str] = {}


def get(scene_name: str) -> Kept | None:
    """Return the reading of a scene, None when it was not read."""
    return _kept.get(scene_name)


def keep(entry: Kept) -> Kept:
    """Keep a reading in place of the scene's former one."""
    former = _kept.get(entry.scene)
    if former is not None and entry.chosen is None and entry.flag(former.chosen) is not None:
        entry.chosen = former.chosen
    if former is not None and entry.base is None:
        entry.base = former.base
    if former is not None and not entry.posed:
        # A part that is posed without keys stays where it is, whatever its curves say.
        entry.posed, entry.posed_frame = former.posed, former.posed_frame
    _kept[entry.scene] = entry
    _problems.pop(entry.scene, None)
    touch(entry)
    return entry


def touch(entry: Kept) -> None:
    """Say that something about a reading changed."""
    entry.revision = next(_numbers)


def replace_motions(entry: Kept, motions: Mapping[str, Motion]) -> None:
    """Draw newer motion under the flags of before."""
    if dict(motions) != dict(entry.motions):
        entry.motions = motions
        touch(entry)


def choose(entry: Kept, flag_id: str | None) -> None:
    """Select a flag."""
    if entry.chosen != flag_id:
        entry.chosen = flag_id
        touch(entry)


def mark_stale(scene_name: str, why: str) -> None:
    """Say that a scene's reading is no longer true."""
    entry = _kept.get(scene_name)
    if entry is not None and entry.stale is None:
        entry.stale = why
        touch(entry)


def set_problem(scene_name: str, line: str | None) -> None:
    """Keep the line that says why a scene could not be read; None when there is none."""
    if line is None:
        _problems.pop(scene_name, None)
    else:
        _problems[scene_name] = line


def get_problem(scene_name: str) -> str | None:
    """Return why a scene could not be read, None when nothing went wrong."""
    return _problems.get(scene_name)


def forget(scene_name: str) -> None:
    """Drop what is kept of a scene."""
    _kept.pop(scene_name, None)
    _problems.pop(scene_name, None)


def forget_all() -> None:
    """Drop everything: another file was opened, or the extension is switched off."""
    _kept.clear()
    _problems.clear()


def list_scenes() -> list[str]:
    """Return the names of the scenes that were read."""
    return list(_kept)
