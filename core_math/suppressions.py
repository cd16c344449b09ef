# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What people decided about flags, and the notes they pinned themselves: it outlives readings.

A mark says that a flag is meant (with a reason) or done. It finds its flag again in a later reading
by check, code, subject and part, and by frames that overlap. Each mark remembers the keys around
its frames: when the same keys stand elsewhere after a retime, the frames move with them. A mark
whose flag is gone is handed back, so that nobody carries excuses for faults long mended.

A flag marked as done that is found again was not mended: it keeps counting until it is gone. Only
what is meant stops counting.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .findings import Flag, State

SCHEMA = "fettle.marks/1"

KeyFrames = Mapping[tuple[str, str], ArrayLike]
"""Rising key frames of each (subject, part)."""


class MarksError(ValueError):
    """Kept marks that cannot be read: what, where, what to do, in one line."""


@dataclass(frozen=True, slots=True)
class KeyAnchor:
    """A span of frames, held by the keys around it.

    Attributes
    ----------
    count : int
        How many keys the part had.
    first, last : int
        Numbers of the keys at or before the span's start and at or after its end.
    first_frame, last_frame : float
        Where those keys stood.
    """

    count: int
    first: int
    last: int
    first_frame: float
    last_frame: float

    def follow(self, frame: float, keys: ArrayLike) -> float:
        """Return where a frame of the span lies among the keys as they stand now.

        The frame stays where it is when keys came or went: then nothing says which is which.
        """
        now = np.asarray(keys, dtype=np.float64)
        if len(now) != self.count:
            return frame
        low, high = float(now[self.first]), float(now[self.last])
        if self.last_frame == self.first_frame:
            return frame + low - self.first_frame
        share = (frame - self.first_frame) / (self.last_frame - self.first_frame)
        return low + share * (high - low)


def anchor_span(start: float, end: float, keys: ArrayLike | None) -> KeyAnchor | None:
    """Hold a span by the keys around it.

    Parameters
    ----------
    start, end : float
        Frames of the scene.
    keys : array_like, shape (K,), or None
        Rising key frames of the part.

    Returns
    -------
    KeyAnchor or None
        None for a part without keys.
    """
    frames = np.asarray([] if keys is None else keys, dtype=np.float64)
    if len(frames) == 0:
        return None
    first = max(int(np.searchsorted(frames, start, side="right")) - 1, 0)
    last = min(int(np.searchsorted(frames, end, side="left")), len(frames) - 1)
    last = max(first, last)
    return KeyAnchor(len(frames), first, last, float(frames[first]), float(frames[last]))


def find_keys(keys: KeyFrames, subject: str, part: str) -> NDArray[np.float64] | None:
    """Return the key frames that move a part: its own, else those of its whole subject.

    A hand that a constraint holds, or that is merely carried, has no keys; a retime moved those of
    the arm that carries it.
    """
    own = keys.get((subject, part))
    if own is not None and np.size(own):
        return np.asarray(own, dtype=np.float64)
    others = [
        np.asarray(frames, dtype=float) for (who, _), frames in keys.items() if who == subject
    ]
    return np.unique(np.concatenate(others)) if others else None


@dataclass(frozen=True, slots=True)
class Mark:
    """A decision about one flag.

    Attributes
    ----------
    check, code, subject, part : str
    start, end : int
        Frames of the flag when it was decided.
    state : State
        Meant or done.
    reason : str or None
        Why it is meant; a mark as meant always has one.
    anchor : KeyAnchor or None
        The keys around those frames.
    message : str
        The flag's sentence then, shown when the flag is gone.
    """

    check: str
    code: str
    subject: str
    part: str
    start: int
    end: int
    state: State
    reason: str | None = None
    anchor: KeyAnchor | None = None
    message: str = ""

    def __post_init__(self) -> None:
        if self.state is State.OPEN:
            raise MarksError("a mark is either meant or done; remove it to open the flag again")
        if self.state is State.MEANT and not (self.reason or "").strip():
            raise MarksError("say why it is meant: a mark as meant needs a reason")

    def covers(self, flag: Flag, keys: KeyFrames | None = None) -> int:
        """Return how many frames this mark shares with a flag; 0 when it is another flag."""
        same = (self.check, self.code, self.subject, self.part) == identify(flag)
        if not same:
            return 0
        start, end = float(self.start), float(self.end)
        now = find_keys(keys, self.subject, self.part) if keys and self.anchor else None
        if self.anchor is not None and now is not None:
            start, end = self.anchor.follow(start, now), self.anchor.follow(end, now)
        return max(0, min(round(end), flag.end) - max(round(start), flag.start) + 1)


@dataclass(frozen=True, slots=True)
class Note:
    """A remark of the reviewer's own, at a frame and perhaps at a part."""

    frame: int
    text: str
    subject: str | None = None
    part: str | None = None
    author: str | None = None

    def to_data(self) -> dict[str, Any]:
        """Return the note as plain data, ready for JSON."""
        data: dict[str, Any] = {"frame": self.frame, "text": self.text}
        optional = {"subject": self.subject, "part": self.part, "author": self.author}
        return data | {key: value for key, value in optional.items() if value is not None}


@dataclass(frozen=True, slots=True)
class Review:
    """What people added to a shot: their notes, and their marks whose flag is gone."""

    notes: tuple[Note, ...] = ()
    unused: tuple[Mark, ...] = ()


def identify(flag: Flag) -> tuple[str, str, str, str]:
    """Return what makes two flags the same kind of finding: check, code, subject and part."""
    return (flag.check, flag.code, flag.subject, flag.part)


def mark_flag(
    flag: Flag, state: State, reason: str | None = None, keys: KeyFrames | None = None
) -> Mark:
    """Decide about a flag; MarksError when it is to be meant without a reason."""
    around = find_keys(keys, flag.subject, flag.part) if keys else None
    return Mark(
        check=flag.check,
        code=flag.code,
        subject=flag.subject,
        part=flag.part,
        start=flag.start,
        end=flag.end,
        state=state,
        reason=reason,
        anchor=anchor_span(flag.start, flag.end, around),
        message=flag.message,
    )


def set_mark(marks: Sequence[Mark], new: Mark, flag: Flag) -> tuple[Mark, ...]:
    """Return the marks with a new decision about a flag in place of earlier ones about it."""
    return (*clear_mark(marks, flag), new)


def clear_mark(
    marks: Sequence[Mark], flag: Flag, keys: KeyFrames | None = None
) -> tuple[Mark, ...]:
    """Return the marks without those about a flag: it is open again."""
    return tuple(mark for mark in marks if not mark.covers(flag, keys))


def apply_marks(
    flags: Iterable[Flag], marks: Sequence[Mark], keys: KeyFrames | None = None
) -> tuple[tuple[Flag, ...], tuple[Mark, ...]]:
    """Give flags the states people decided.

    Parameters
    ----------
    flags : iterable of Flag
    marks : sequence of Mark
        Of two that cover one flag the one that shares more frames counts, then the later one.
    keys : mapping of (subject, part) to key frames, optional
        Where the keys stand now; lets marks follow a retime.

    Returns
    -------
    tuple of Flag, tuple of Mark
        The flags in their order, and the marks whose flag is gone.
    """
    used: set[int] = set()
    decided = []
    for flag in flags:
        covering = [(mark.covers(flag, keys), number) for number, mark in enumerate(marks)]
        found = [entry for entry in covering if entry[0]]
        used.update(number for _, number in found)
        if found:
            mark = marks[max(found)[1]]
            flag = replace(flag, state=mark.state, reason=mark.reason)
        decided.append(flag)
    return tuple(decided), tuple(m for number, m in enumerate(marks) if number not in used)


def describe_unused(mark: Mark) -> str:
    """Say in one sentence that a mark has no flag any more."""
    place = f"{mark.check} at {mark.part}, frames {mark.start}-{mark.end}"
    if mark.state is State.DONE:
        return f"{place}: marked as done, and no longer found"
    return f"{place}: marked as meant ({mark.reason}), but nothing is found there any more"


def dump_marks(marks: Iterable[Mark], notes: Iterable[Note] = ()) -> str:
    """Write marks and notes as one line of text to keep with the scene."""
    document = {
        "schema": SCHEMA,
        "marks": [mark_to_data(mark) for mark in marks],
        "notes": [note.to_data() for note in notes],
    }
    return json.dumps(document, ensure_ascii=False, allow_nan=False)


def parse_marks(text: str) -> tuple[tuple[Mark, ...], tuple[Note, ...]]:
    """Read marks and notes back from their text.

    Raises
    ------
    MarksError
        The text is no such list, or of another version. Nothing is dropped silently.
    """
    try:
        document = json.loads(text)
    except ValueError as error:
        raise MarksError(f"kept marks are no JSON ({error})") from None
    schema = document.get("schema") if isinstance(document, dict) else None
    if schema != SCHEMA:
        raise MarksError(f"kept marks are of another form ({schema!r}, expected {SCHEMA!r})")
    try:
        marks = tuple(mark_from_data(data) for data in document["marks"])
        notes = tuple(note_from_data(data) for data in document["notes"])
    except (KeyError, TypeError, ValueError) as error:
        raise MarksError(f"kept marks are damaged ({type(error).__name__}: {error})") from None
    return marks, notes


def mark_to_data(mark: Mark) -> dict[str, Any]:
    """Return a mark as plain data, ready for JSON."""
    data: dict[str, Any] = {
        "check": mark.check,
        "code": mark.code,
        "subject": mark.subject,
        "part": mark.part,
        "start": mark.start,
        "end": mark.end,
        "state": mark.state.value,
        "reason": mark.reason,
        "message": mark.message,
    }
    if mark.anchor is not None:
        anchor = mark.anchor
        data["keys"] = [
            anchor.count,
            anchor.first,
            anchor.last,
            anchor.first_frame,
            anchor.last_frame,
        ]
    return data


def mark_from_data(data: Mapping[str, Any]) -> Mark:
    """Read a mark back; KeyError, TypeError or ValueError when it is damaged."""
    keys = data.get("keys")
    return Mark(
        check=str(data["check"]),
        code=str(data["code"]),
        subject=str(data["subject"]),
        part=str(data["part"]),
        start=int(data["start"]),
        end=int(data["end"]),
        state=State(data["state"]),
        reason=data["reason"],
        anchor=None
        if keys is None
        else KeyAnchor(int(keys[0]), int(keys[1]), int(keys[2]), float(keys[3]), float(keys[4])),
        message=str(data.get("message", "")),
    )


def note_from_data(data: Mapping[str, Any]) -> Note:
    """Read a note back; KeyError, TypeError or ValueError when it is damaged."""
    return Note(
        frame=int(data["frame"]),
        text=str(data["text"]),
        subject=data.get("subject"),
        part=data.get("part"),
        author=data.get("author"),
    )
