# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Measuring: medians of runs that take turns, figures with a budget, the table and the JSON."""

from __future__ import annotations

import gc
import json
import statistics
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any


@dataclass
class Figure:
    """One measured number.

    Attributes
    ----------
    name : str
    value : float
    unit : str
    budget : float or None
        What it must not exceed; None where the number only informs.
    detail : str
    """

    name: str
    value: float
    unit: str
    budget: float | None = None
    detail: str = ""

    @property
    def verdict(self) -> str:
        """Whether the budget was kept, missed, or there is none."""
        if self.budget is None:
            return ""
        return "kept" if self.value <= self.budget else "MISSED"


@dataclass
class Report:
    """All figures, in the order in which they were measured."""

    facts: dict[str, Any]
    figures: list[Figure] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def add(self, *args: Any, **named: Any) -> None:
        """Add a figure and show it at once."""
        figure = Figure(*args, **named)
        self.figures.append(figure)
        print(format_row(figure), flush=True)

    def note(self, words: str) -> None:
        """Add a sentence, such as what could not be measured here."""
        self.notes.append(words)
        print(f"  {words}", flush=True)

    def write(self, path: Path) -> None:
        """Write everything as JSON."""
        rows = [{**asdict(figure), "verdict": figure.verdict} for figure in self.figures]
        data = {"facts": self.facts, "figures": rows, "notes": self.notes}
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(data, indent=1), encoding="utf-8")

    def list_missed(self) -> list[Figure]:
        """Return the figures over their budget."""
        return [figure for figure in self.figures if figure.verdict == "MISSED"]


def format_row(figure: Figure) -> str:
    """Return one line of the table."""
    budget = "" if figure.budget is None else f"{figure.budget:>10.4g}"
    value = f"{figure.value:>10.4g} {figure.unit:<6}"
    return f"  {figure.name:<58}{value}{budget:>10}  {figure.verdict:<6} {figure.detail}".rstrip()


def take_turns(runs: Mapping[str, Callable[[], Any]], rounds: int) -> dict[str, float]:
    """Run everything once each round, after one round to warm up; medians in seconds.

    Taking turns lets a busy moment of the machine hit all of them alike.
    """
    seconds: dict[str, list[float]] = {name: [] for name in runs}
    for number in range(rounds + 1):
        for name, run in runs.items():
            gc.collect()
            started = time.perf_counter()
            run()
            if number:
                seconds[name].append(time.perf_counter() - started)
    return {name: statistics.median(values) for name, values in seconds.items()}
