# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a reading brings back: flags, what was not evaluated and why, and crashes, kept apart.

The vocabulary is closed on purpose: a flag is one finding at one part over a span of frames; what
could not be judged is never mistaken for clean; a fault in Fettle's own code never looks like a
fault of the animation.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum, StrEnum

from .units import Unit

ID_FRAME_STEP = 4
"""Frames are rounded to this step before they enter a flag's id, so a nudge keeps the id."""

EVERY_CHECK = "every-check"
"""Stands in place of a check's id where a subject could not be sampled at all."""


class Severity(IntEnum):
    """How much a finding disturbs, in rising order."""

    FAINT = 1
    CLEAR = 2
    GLARING = 3

    @property
    def word(self) -> str:
        """The severity as it is written for people and in the JSON."""
        return self.name.lower()

    @classmethod
    def from_word(cls, word: str) -> Severity:
        """Read a severity back from its word; raises ValueError for any other text."""
        try:
            return cls[word.upper()]
        except KeyError:
            raise ValueError(
                f"unknown severity {word!r}: expected faint, clear or glaring"
            ) from None


class State(StrEnum):
    """What the animator decided about a flag."""

    OPEN = "open"
    MEANT = "meant"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Flag:
    """One finding: where, when, how much, and what to try.

    Attributes
    ----------
    check, code : str
        The check's id and which of its patterns was seen.
    subject, part : str
        The rig or object and its canonical part.
    other_parts : tuple of str
        The part that made it, and parts that are merely carried along.
    start, end, peak : int
        Frames of the scene, both ends included; `peak` is where it shows most.
    value, unit, limit : float, Unit, float
        The number behind the flag and the limit it crossed (in the same unit).
    confidence : float
        0 to 1: how sure the measurement is, apart from how bad it looks.
    """

    check: str
    code: str
    subject: str
    part: str
    start: int
    end: int
    peak: int
    severity: Severity
    confidence: float
    value: float
    unit: Unit
    limit: float
    message: str
    suggestion: str
    other_parts: tuple[str, ...] = ()
    state: State = State.OPEN
    reason: str | None = None

    @property
    def id(self) -> str:
        """Stable name of this finding: check, code, subject, part and rounded peak frame."""
        place = f"{self.check}|{self.code}|{self.subject}|{self.part}|"
        place += str(round(self.peak / ID_FRAME_STEP))
        return hashlib.blake2s(place.encode(), digest_size=4).hexdigest()

    @property
    def rank(self) -> float:
        """Severity times confidence: the order in which a reviewer should meet the flags."""
        return float(self.severity) * self.confidence

    def overlaps(self, other: Flag, gap: int = 0) -> bool:
        """Say whether two spans share a frame or lie within `gap` frames of each other."""
        return self.start <= other.end + gap and other.start <= self.end + gap


@dataclass(frozen=True, slots=True)
class NotEvaluated:
    """A check that could not judge a subject (or one part of it), with its reason.

    Attributes
    ----------
    check, subject, reason : str
    part : str or None
        The part it holds for; None for the whole subject.
    frames : tuple of (int, int)
        The spans it holds for, both ends included; empty for all that was read.
    """

    check: str
    subject: str
    reason: str
    part: str | None = None
    frames: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Crash:
    """A check that failed through a fault of its own; the other checks went on."""

    check: str
    subject: str
    error: str


Outcome = Flag | NotEvaluated


class CannotEvaluateError(Exception):
    """Raised while measuring when the motion lacks what a check needs; carries the reason."""


def merge_flags(flags: Iterable[Flag], gap: int = 0) -> list[Flag]:
    """Join flags of one check, code, subject and part whose spans touch.

    The worst one gives the sentence, value and peak; the span covers all of them; parts named by
    any of them stay named.

    Parameters
    ----------
    flags : iterable of Flag
    gap : int
        Frames that may lie between two spans that still count as one.

    Returns
    -------
    list of Flag
        In order of their first frame.
    """
    merged: list[Flag] = []
    groups: dict[tuple[str, str, str, str], list[Flag]] = {}
    for flag in flags:
        groups.setdefault((flag.check, flag.code, flag.subject, flag.part), []).append(flag)
    for group in groups.values():
        group.sort(key=lambda flag: (flag.start, flag.end))
        current = group[0]
        for flag in group[1:]:
            if current.overlaps(flag, gap + 1):
                current = _join(current, flag)
            else:
                merged.append(current)
                current = flag
        merged.append(current)
    return sorted(merged, key=lambda flag: (flag.start, flag.peak, flag.check, flag.part))


def merge_parts(flags: Iterable[Flag], part_groups: Sequence[Sequence[str]]) -> list[Flag]:
    """Join flags of one check and code that say the same of several parts of one group.

    Parameters
    ----------
    flags : iterable of Flag
    part_groups : sequence of sequence of str
        Parts that belong together (a finger's joints, a strand), the preferred name first.

    Returns
    -------
    list of Flag
        One flag for each group and touching span; the worst part keeps its name, the others are
        listed in `other_parts`.
    """
    group_of = {part: number for number, group in enumerate(part_groups) for part in group}
    kept: list[Flag] = []
    for flag in sorted(flags, key=lambda flag: (-flag.severity, -abs(flag.value), flag.start)):
        group = group_of.get(flag.part)
        twin = next(
            (
                number
                for number, other in enumerate(kept)
                if group is not None
                and group_of.get(other.part) == group
                and (other.check, other.code, other.subject)
                == (flag.check, flag.code, flag.subject)
                and other.overlaps(flag)
            ),
            None,
        )
        if twin is None:
            kept.append(flag)
        else:
            kept[twin] = _join(kept[twin], flag)
    return sorted(kept, key=lambda flag: (flag.start, flag.peak, flag.check, flag.part))


def sort_for_review(flags: Iterable[Flag]) -> list[Flag]:
    """Order flags as a reviewer should meet them: worst and surest first, then by frame."""
    return sorted(flags, key=lambda flag: (-flag.rank, flag.start, flag.check, flag.part))


def say_part(part: str) -> str:
    """Name a part the way people do: "hand.L" is the left hand, "index.R/2" its second joint."""
    base, _, joint = part.partition("/")
    if base.startswith("strand:"):
        words = base.removeprefix("strand:")
    else:
        side = {".L": "left ", ".R": "right "}.get(base[-2:], "")
        words = side + (base[:-2] if side else base).replace("_", " ")
    return f"{words} {joint}" if joint else words


def _join(one: Flag, other: Flag) -> Flag:
    worst, lesser = (one, other) if one.severity >= other.severity else (other, one)
    others = dict.fromkeys((*worst.other_parts, lesser.part, *lesser.other_parts))
    others.pop(worst.part, None)
    return replace(
        worst,
        start=min(one.start, other.start),
        end=max(one.end, other.end),
        confidence=max(one.confidence, other.confidence),
        other_parts=tuple(others),
    )
