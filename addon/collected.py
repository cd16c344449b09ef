# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What came back from the workers so far, in the order of the shots."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..core_math import (
    InputFault,
    Report,
    Review,
    Severity,
    ShotReading,
    find_worst,
    review_from_data,
    shot_from_data,
)
from .exit_status import CLEAN, FLAGGED
from .jobs import Result


@dataclass
class Collected:
    """Shots, what people added to them, and what went wrong."""

    shots: list[ShotReading] = field(default_factory=list)
    reviews: dict[int, Review] = field(default_factory=dict)
    errors: list[InputFault] = field(default_factory=list)

    def add(self, result: Result) -> list[int]:
        """Take one job's result in; return the numbers of its shots."""
        added = []
        for data in result["shots"]:
            review = review_from_data(data)
            if review != Review():
                self.reviews[len(self.shots)] = review
            added.append(len(self.shots))
            self.shots.append(shot_from_data(data))
        self.errors += [InputFault(e["source"], e["error"]) for e in result["errors"]]
        return added

    def make_report(self) -> Report:
        """Return all of it as one report."""
        return Report(tuple(self.shots), tuple(self.errors), self.reviews)

    def find_worst(self) -> Severity | None:
        """Return the worst severity of all shots."""
        return find_worst(flag for shot in self.shots for flag in shot.flags)


def decide_status(worst: Severity | None, fail_on: Severity) -> int:
    """Return the exit status for the worst flag that is not meant."""
    return FLAGGED if worst is not None and worst >= fail_on else CLEAN
