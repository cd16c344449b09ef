# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which flags are listed and drawn, and in which order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ..core_math import Flag, NotEvaluated, Severity, State, say_part

EVERYTHING = "ALL"


@dataclass(frozen=True, slots=True)
class FlagFilter:
    """What is to be seen.

    Attributes
    ----------
    severities : frozenset of Severity
    state : State or None
        None lets every state through.
    check, part : str or None
    words : str
        All of these words must occur in the sentence, the part, the check or the reason.
    worst_first : bool
        Otherwise in order of time.
    """

    severities: frozenset[Severity] = frozenset(Severity)
    state: State | None = State.OPEN
    check: str | None = None
    part: str | None = None
    words: str = ""
    worst_first: bool = False

    def lets_through(self, flag: Flag) -> bool:
        """Say whether a flag is to be seen."""
        return (
            flag.severity in self.severities
            and self.state in (None, flag.state)
            and self.check in (None, flag.check)
            and self.part in (None, flag.part)
            and self._has_words(flag)
        )

    def select(self, flags: Iterable[Flag]) -> list[Flag]:
        """Return the flags that are to be seen, in their order."""
        chosen = [flag for flag in flags if self.lets_through(flag)]
        if self.worst_first:
            return sorted(chosen, key=lambda flag: (-flag.rank, flag.peak, flag.check, flag.part))
        return sorted(chosen, key=lambda flag: (flag.peak, -flag.rank, flag.check, flag.part))

    @property
    def narrowed(self) -> bool:
        """Say whether anything but the open flags of all kinds is asked for."""
        return self != FlagFilter(worst_first=self.worst_first)

    def _has_words(self, flag: Flag) -> bool:
        if not self.words.strip():
            return True
        texts = (flag.message, say_part(flag.part), flag.part, flag.check, flag.subject)
        text = " ".join((*texts, flag.reason or "")).casefold()
        return all(word in text for word in self.words.casefold().split())


def count_severities(flags: Iterable[Flag]) -> dict[Severity, int]:
    """Count the open flags of each severity; all severities are named."""
    counted = Counter(flag.severity for flag in flags if flag.state is State.OPEN)
    return {severity: counted[severity] for severity in Severity}


def count_checks(flags: Iterable[Flag]) -> dict[str, int]:
    """Count the open flags of each check that has any, most first."""
    return dict(Counter(flag.check for flag in flags if flag.state is State.OPEN).most_common())


@dataclass(frozen=True, slots=True)
class Unjudged:
    """One reason for which something was not evaluated, and all it holds for.

    Attributes
    ----------
    reason : str
    checks, subjects : tuple of str
    parts : tuple of str
        Empty when it holds for the subject as a whole.
    """

    reason: str
    checks: tuple[str, ...]
    subjects: tuple[str, ...]
    parts: tuple[str, ...] = ()


def group_unjudged(skipped: Sequence[NotEvaluated]) -> list[Unjudged]:
    """Tell each reason once, with all the checks, subjects and parts it holds for.

    Subjects share a line when the same checks passed them over for the same reason; what concerns
    fewer checks comes first, as it is the more telling.
    """
    by_subject: dict[tuple[str, str], dict[str, dict[str, None]]] = {}
    for entry in skipped:
        checks = by_subject.setdefault((entry.subject, entry.reason), {})
        checks.setdefault(entry.check, {}).update({entry.part: None} if entry.part else {})
    shared: dict[tuple[str, tuple[str, ...], tuple[str, ...]], list[str]] = {}
    for (subject, reason), checks in by_subject.items():
        parts = tuple(dict.fromkeys(part for found in checks.values() for part in found))
        shared.setdefault((reason, tuple(checks), parts), []).append(subject)
    groups = [
        Unjudged(reason, checks, tuple(subjects), parts)
        for (reason, checks, parts), subjects in shared.items()
    ]
    return sorted(groups, key=lambda group: len(group.checks) * len(group.subjects))


def find_neighbour(
    flags: Sequence[Flag], frame: int, forward: bool, chosen: str | None = None
) -> Flag | None:
    """Return the next or previous flag in time, starting over at the end of the shot.

    Parameters
    ----------
    flags : sequence of Flag
    frame : int
        The current frame.
    forward : bool
    chosen : str, optional
        Id of the selected flag; while it lies on the current frame the step starts from it, so
        that several flags on one frame are all visited.
    """
    if not flags:
        return None
    ordered = sorted(flags, key=lambda flag: (flag.peak, -flag.rank, flag.id))
    places = [(flag.peak, number) for number, flag in enumerate(ordered)]
    at = next((n for n, flag in enumerate(ordered) if flag.id == chosen), None)
    if at is not None and ordered[at].peak == frame:
        return ordered[(at + (1 if forward else -1)) % len(ordered)]
    if forward:
        later = [number for peak, number in places if peak > frame]
        return ordered[later[0] if later else 0]
    earlier = [number for peak, number in places if peak < frame]
    return ordered[earlier[-1] if earlier else -1]
