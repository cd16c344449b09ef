# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A take: a reading kept under a name, with what it takes to compare and draw it later.

Beside the reading a take holds the key frames of every part, so that findings can be followed
through a retime, and the paths of the parts that tell most, so that the old trail can be drawn
beside the new; how hips, chest and camera turned, so that it can be drawn as seen from them.
"""

from __future__ import annotations

import base64
import binascii
import json
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .motion import Motion
from .reading import ShotReading
from .report import ReportError, shot_from_data, shot_to_data
from .suppressions import find_keys
from .takes import Retime

SCHEMA = "fettle.take/1"
TRAIL_PARTS = ("hand.L", "hand.R", "foot.L", "foot.R", "head", "chest", "hips", "root")

CAMERA = "camera"
"""Stands for the shot camera where a part is asked for."""
REFERENCES = ("hips", "chest", CAMERA)
"""What trails can be seen from: these keep their turns, too."""

Place = tuple[str, str]
"""Subject and part."""

TURN_STEPS = 32767
"""Turns are kept as shares of this, 16 bit each: finer than a hundredth of a degree."""


class TakeError(ValueError):
    """A kept take that cannot be read: what, where, what to do, in one line."""


@dataclass(frozen=True, eq=False, slots=True)
class Take:
    """A kept reading.

    Attributes
    ----------
    name : str
    reading : ShotReading
    keys : mapping of (subject, part) to ndarray, shape (K,)
        Rising key frames.
    trails : mapping of (subject, part) to ndarray, shape (F, 3), metres
        World positions of the part's joint, from its subject's first frame on.
    firsts : mapping of subject to int
        The first frame of its trails: who is hidden at the start comes in later. Empty in takes of
        before this was kept.
    turns : mapping of (subject, part) to ndarray, shape (F, 4)
        World rotations, unit quaternions w, x, y, z, of what trails can be seen from.
    """

    name: str
    reading: ShotReading
    keys: Mapping[Place, NDArray[np.float64]] = field(default_factory=dict)
    trails: Mapping[Place, NDArray[np.float64]] = field(default_factory=dict)
    firsts: Mapping[str, int] = field(default_factory=dict)
    turns: Mapping[Place, NDArray[np.float64]] = field(default_factory=dict)

    def find_first(self, subject: str) -> int | None:
        """Return the first frame of a subject's trails, None where that cannot be known."""
        if subject in self.firsts:
            return self.firsts[subject]
        first, last = self.reading.frame_range
        lengths = {len(points) for (who, _), points in self.trails.items() if who == subject}
        # Older takes did not keep it: who is there on every frame is there from the first on.
        return first if lengths == {last - first + 1} else None


def make_take(name: str, reading: ShotReading, motions: Iterable[Motion]) -> Take:
    """Make a take of a reading and the motion it rests on; TakeError when it has no name."""
    if not name.strip():
        raise TakeError("a take needs a name")
    keys: dict[Place, NDArray[np.float64]] = {}
    trails: dict[Place, NDArray[np.float64]] = {}
    turns: dict[Place, NDArray[np.float64]] = {}
    firsts: dict[str, int] = {}
    for motion in motions:
        firsts[motion.subject] = int(motion.frames[0])
        for part, track in motion.keys.items():
            keys[motion.subject, part] = np.asarray(track.frames, dtype=np.float64)
        flagged = (flag.part for flag in reading.flags if flag.subject == motion.subject)
        for part in dict.fromkeys((*TRAIL_PARTS, *flagged)):
            if motion.has(part):
                trails[motion.subject, part] = motion.head(part)
        for part in REFERENCES:
            if motion.has(part):
                turns[motion.subject, part] = motion.rotation(part)
        if motion.camera is not None:
            trails[motion.subject, CAMERA] = motion.camera.positions
            turns[motion.subject, CAMERA] = motion.camera.rotations
    return Take(name.strip(), reading, keys, trails, firsts, turns)


def make_retime(old: Mapping[Place, Any], new: Mapping[Place, Any]) -> Retime:
    """Return how frames moved from one take to another, told by the keys.

    Parameters
    ----------
    old, new : mapping of (subject, part) to array_like, shape (K,)
        Rising key frames.

    Returns
    -------
    callable
        (subject, part, frame) to frame. Between keys it is proportional, before the first and after
        the last it is a shift; a part whose keys came or went stays where it is. A part without
        keys goes with those of its subject.
    """

    def retime(subject: str, part: str, frame: float) -> float:
        before, after = find_keys(old, subject, part), find_keys(new, subject, part)
        if before is None or after is None or not 0 < len(before) == len(after):
            return frame
        if frame <= before[0]:
            return float(frame + after[0] - before[0])
        if frame >= before[-1]:
            return float(frame + after[-1] - before[-1])
        return float(np.interp(frame, before, after))

    return retime


def dump_take(take: Take) -> str:
    """Write a take as one line of text; trails keep single precision."""
    document = {
        "schema": SCHEMA,
        "name": take.name,
        "shot": shot_to_data(take.reading),
        "keys": [
            {"subject": subject, "part": part, "frames": [float(frame) for frame in frames]}
            for (subject, part), frames in take.keys.items()
        ],
        "trails": [
            {"subject": subject, "part": part, "points": _pack(points, "<f4")}
            for (subject, part), points in take.trails.items()
        ],
        "firsts": dict(take.firsts),
        "turns": [
            {"subject": subject, "part": part, "turns": _pack(turned * TURN_STEPS, "<i2")}
            for (subject, part), turned in take.turns.items()
        ],
    }
    return json.dumps(document, ensure_ascii=False, allow_nan=False)


def parse_take(text: str) -> Take:
    """Read a take back; TakeError says what is wrong with it."""
    try:
        document = json.loads(text)
    except ValueError as error:
        raise TakeError(f"the kept take is no JSON ({error})") from None
    schema = document.get("schema") if isinstance(document, dict) else None
    if schema != SCHEMA:
        raise TakeError(f"the kept take is of another form ({schema!r}, expected {SCHEMA!r})")
    try:
        return Take(
            name=str(document["name"]),
            reading=shot_from_data(document["shot"]),
            keys={
                (str(entry["subject"]), str(entry["part"])): np.array(entry["frames"], dtype=float)
                for entry in document["keys"]
            },
            trails={
                (str(entry["subject"]), str(entry["part"])): _unpack(entry["points"], "<f4", 3)
                for entry in document["trails"]
            },
            # Takes of before these were kept have neither.
            firsts={str(name): int(frame) for name, frame in document.get("firsts", {}).items()},
            turns={
                (str(entry["subject"]), str(entry["part"])): _unpack_turns(entry["turns"])
                for entry in document.get("turns", ())
            },
        )
    except (
        AttributeError,
        KeyError,
        TypeError,
        ValueError,
        zlib.error,
        binascii.Error,
        ReportError,
    ) as error:
        raise TakeError(f"the kept take is damaged ({type(error).__name__}: {error})") from None


def _pack(numbers: NDArray[np.float64], kind: str) -> str:
    whole = np.rint(numbers) if np.dtype(kind).kind == "i" else numbers
    raw = np.ascontiguousarray(whole, dtype=kind).tobytes()
    return base64.b64encode(zlib.compress(raw, 6)).decode("ascii")


def _unpack(text: str, kind: str, width: int) -> NDArray[np.float64]:
    raw = zlib.decompress(base64.b64decode(text, validate=True))
    return np.frombuffer(raw, dtype=kind).reshape(-1, width).astype(np.float64)


def _unpack_turns(text: str) -> NDArray[np.float64]:
    turned = _unpack(text, "<i2", 4)
    lengths = np.linalg.norm(turned, axis=1, keepdims=True)
    if not (lengths > 0.0).all():
        raise ValueError("a turn of no length")
    return np.asarray(turned / lengths)
