# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A take: a reading kept under a name, with what it takes to compare and draw it later.

Beside the reading a take holds the key frames of every part, so that findings can be followed
through a retime, and the paths of the parts that tell most, so that the old trail can be drawn
beside the new.
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

Place = tuple[str, str]
"""Subject and part."""


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
        World positions of the part's joint, from the reading's first frame on.
    """

    name: str
    reading: ShotReading
    keys: Mapping[Place, NDArray[np.float64]] = field(default_factory=dict)
    trails: Mapping[Place, NDArray[np.float64]] = field(default_factory=dict)


def make_take(name: str, reading: ShotReading, motions: Iterable[Motion]) -> Take:
    """Make a take of a reading and the motion it rests on; TakeError when it has no name."""
    if not name.strip():
        raise TakeError("a take needs a name")
    keys: dict[Place, NDArray[np.float64]] = {}
    trails: dict[Place, NDArray[np.float64]] = {}
    for motion in motions:
        for part, track in motion.keys.items():
            keys[motion.subject, part] = np.asarray(track.frames, dtype=np.float64)
        flagged = (flag.part for flag in reading.flags if flag.subject == motion.subject)
        for part in dict.fromkeys((*TRAIL_PARTS, *flagged)):
            if motion.has(part):
                trails[motion.subject, part] = motion.head(part)
    return Take(name.strip(), reading, keys, trails)


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
            {"subject": subject, "part": part, "points": _pack(points)}
            for (subject, part), points in take.trails.items()
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
                (str(entry["subject"]), str(entry["part"])): _unpack(entry["points"])
                for entry in document["trails"]
            },
        )
    except (KeyError, TypeError, ValueError, zlib.error, binascii.Error, ReportError) as error:
        raise TakeError(f"the kept take is damaged ({type(error).__name__}: {error})") from None


def _pack(points: NDArray[np.float64]) -> str:
    raw = np.ascontiguousarray(points, dtype="<f4").tobytes()
    return base64.b64encode(zlib.compress(raw, 6)).decode("ascii")


def _unpack(text: str) -> NDArray[np.float64]:
    raw = zlib.decompress(base64.b64decode(text, validate=True))
    return np.frombuffer(raw, dtype="<f4").reshape(-1, 3).astype(np.float64)
