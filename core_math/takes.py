# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Compare two readings of one shot: what was fixed, what is still there, what is new.

Two flags are the same finding when check, code, subject and part match and their frames overlap.
A flag that fell apart into several, or several that grew into one, count as one finding with the
worst of each side. A finding that is absent only because its check could not judge this time is
not called fixed: it is listed apart, with the reason.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import PurePath

from .findings import EVERY_CHECK, Flag, NotEvaluated, State
from .reading import ShotReading
from .suppressions import identify

SAME_WITHIN = 0.05
"""Values that differ by less than this share of value or limit are the same: below it a change is
the sampling's, not the animator's (the project's own choice)."""

Retime = Callable[[str, str, float], float]
"""(subject, part, frame of the old take) -> frame of the new take."""


class Fate(StrEnum):
    """What became of a finding from one take to the next."""

    NEW = "new"
    WORSE = "worse"
    SAME = "still there"
    BETTER = "better"
    UNKNOWN = "not judged"
    FIXED = "fixed"


@dataclass(frozen=True, slots=True)
class Change:
    """One finding in both takes, or in one of them.

    Attributes
    ----------
    fate : Fate
    old, new : Flag or None
    reason : str or None
        Why it was not judged this time.
    """

    fate: Fate
    old: Flag | None
    new: Flag | None
    reason: str | None = None

    @property
    def flag(self) -> Flag:
        """The flag to show: the new one where there is one."""
        flag = self.new or self.old
        assert flag is not None
        return flag


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two readings of one shot and all that changed, new and worse first."""

    old: ShotReading
    new: ShotReading
    changes: tuple[Change, ...]

    def count(self) -> dict[Fate, int]:
        """Return how many findings met each fate; all fates are named."""
        counted = Counter(change.fate for change in self.changes)
        return {fate: counted[fate] for fate in Fate}

    def regressions(self) -> list[Flag]:
        """Return the flags that are new or worse and not meant."""
        return [
            change.flag
            for change in self.changes
            if change.fate in (Fate.NEW, Fate.WORSE) and change.flag.state is not State.MEANT
        ]


def compare_readings(
    old: ShotReading, new: ShotReading, retime: Retime | None = None
) -> Comparison:
    """Compare two readings of one shot.

    Parameters
    ----------
    old, new : ShotReading
    retime : callable, optional
        Moves a frame of the old take to the new one when keys were shifted or scaled.

    Returns
    -------
    Comparison
    """
    changes: list[Change] = []
    for kind in dict.fromkeys(identify(flag) for flag in (*old.flags, *new.flags)):
        before = [flag for flag in old.flags if identify(flag) == kind]
        after = [flag for flag in new.flags if identify(flag) == kind]
        for olds, news in _group_overlapping(before, after, retime):
            changes.append(_judge_change(olds, news, new))
    order = list(Fate)
    changes.sort(key=lambda c: (order.index(c.fate), -c.flag.rank, c.flag.start, c.flag.id))
    return Comparison(old, new, tuple(changes))


def _group_overlapping(
    before: Sequence[Flag], after: Sequence[Flag], retime: Retime | None
) -> list[tuple[list[Flag], list[Flag]]]:
    """Put flags of one kind whose spans touch over both takes into one group."""

    def move(flag: Flag, frame: int) -> int:
        return frame if retime is None else round(retime(flag.subject, flag.part, frame))

    spans = [(move(flag, flag.start), move(flag, flag.end), flag, True) for flag in before]
    spans += [(flag.start, flag.end, flag, False) for flag in after]
    spans.sort(key=lambda span: (span[0], span[1], not span[3]))
    groups: list[tuple[list[Flag], list[Flag]]] = []
    reach: float = -math.inf
    for start, end, flag, is_old in spans:
        if start > reach:
            groups.append(([], []))
        groups[-1][0 if is_old else 1].append(flag)
        reach = max(reach, end)
    return groups


def _judge_change(olds: list[Flag], news: list[Flag], reading: ShotReading) -> Change:
    old = max(olds, key=_badness) if olds else None
    new = max(news, key=_badness) if news else None
    if old is None:
        return Change(Fate.NEW, None, new)
    if new is None:
        reason = _find_reason(old, reading)
        return Change(Fate.UNKNOWN if reason else Fate.FIXED, old, None, reason)
    step = _compare_values(old, new)
    return Change(Fate.WORSE if step > 0 else Fate.BETTER if step < 0 else Fate.SAME, old, new)


def _badness(flag: Flag) -> tuple[float, float]:
    """Return what the worst of several flags is chosen by: severity, then excess over limit."""
    excess = abs(flag.value - flag.limit)
    return (float(flag.severity), excess if math.isfinite(excess) else math.inf)


def _compare_values(old: Flag, new: Flag) -> int:
    """Return 1 when the new value is worse, -1 when it is better, 0 when they are the same."""
    comparable = math.isfinite(old.value) and math.isfinite(new.value) and old.unit is new.unit
    if not comparable:
        return (new.severity > old.severity) - (new.severity < old.severity)
    scale = max(abs(old.value), abs(new.value), abs(new.limit))
    change = new.value - old.value
    if abs(change) <= SAME_WITHIN * scale:
        return 0
    # A flagged value lies beyond its limit, on the side where it is worse.
    rising = new.value >= new.limit
    return 1 if (change > 0) == rising else -1


def _find_reason(flag: Flag, reading: ShotReading) -> str | None:
    """Return why a check had no word on a flag's part in a reading, or None when it judged it."""
    for crash in reading.crashes:
        if (crash.check, crash.subject) == (flag.check, flag.subject):
            return f"the check failed: {crash.error}"
    for entry in reading.not_evaluated:
        same = entry.subject == flag.subject and entry.check in (flag.check, EVERY_CHECK)
        if same and entry.part in (None, flag.part) and _concerns(entry, flag):
            return entry.reason
    if reading.subjects and flag.subject not in {s.name for s in reading.subjects}:
        return "the subject is not in this take"
    first, last = reading.frame_range
    if flag.end < first or flag.start > last:
        return f"lies outside the frames read ({first}-{last})"
    return None


def _concerns(entry: NotEvaluated, flag: Flag) -> bool:
    """Say whether an entry holds for a flag's frames: one that names frames holds for those."""
    spans = entry.frames
    return not spans or any(first <= flag.end and flag.start <= last for first, last in spans)


def pair_shots(
    old: Sequence[ShotReading], new: Sequence[ShotReading]
) -> tuple[list[tuple[ShotReading, ShotReading]], list[ShotReading], list[ShotReading]]:
    """Find which shots of two reports belong together.

    Two shots match by file name without its version ("sling_v002" is "sling_v001") and scene;
    where each side has one shot alone, they are taken for the same one.

    Returns
    -------
    pairs, only_old, only_new
        In the order of the new report.
    """
    if len(old) == len(new) == 1:
        return [(old[0], new[0])], [], []
    waiting: dict[tuple[str, str], list[ShotReading]] = {}
    for shot in old:
        waiting.setdefault(_name_shot(shot), []).append(shot)
    pairs, only_new = [], []
    for shot in new:
        peers = waiting.get(_name_shot(shot))
        if peers:
            pairs.append((peers.pop(0), shot))
        else:
            only_new.append(shot)
    return pairs, [shot for peers in waiting.values() for shot in peers], only_new


def _name_shot(shot: ShotReading) -> tuple[str, str]:
    stem = PurePath(shot.source.replace("\\", "/")).stem
    return re.sub(r"[ ._-]*v\d+$", "", stem, flags=re.IGNORECASE).lower(), shot.scene
