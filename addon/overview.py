# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The page over several review sheets: every shot in one table, what could not be read above it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..core_math import (
    InputFault,
    Severity,
    ShotReading,
    State,
    count_severities,
    say_frame_rate,
)
from .markup import Markup, tag
from .sheet import make_icon, make_page


@dataclass(frozen=True, slots=True)
class OverviewRow:
    """One shot in the overview.

    Attributes
    ----------
    shot : ShotReading
    address : str or None
        Of its sheet, relative to the overview; None when it could not be written.
    changes : str or None
        What became of the findings since the last take, in a few words.
    """

    shot: ShotReading
    address: str | None
    changes: str | None = None


def make_overview(
    rows: Sequence[OverviewRow], errors: Sequence[InputFault], finished: bool = True
) -> str:
    """Write the overview as a whole HTML document.

    Parameters
    ----------
    rows : sequence of OverviewRow
        In the order of the shots.
    errors : sequence of InputFault
    finished : bool
        False when the run was interrupted: the page says so.
    """
    flags = [flag for row in rows for flag in row.shot.flags]
    totals = [
        tag("li", make_icon(severity), tag("b", str(number)), f" {severity.word}")
        for severity, number in count_severities(flags).items()
    ]
    body = [
        tag("a", "Skip to the shots", class_="skip", href="#shots"),
        tag(
            "header",
            tag(
                "div",
                tag("h1", f"{_count(len(rows), 'shot')} read"),
                tag("button", "Dark", id="theme", type="button", class_="screen-only"),
                class_="top",
            ),
            None if finished else tag("p", "Interrupted: what was done until then is here."),
        ),
        tag("ul", totals, class_="counts"),
        _make_errors(errors),
        tag("h2", "Shots", id="shots"),
        _make_table(rows),
    ]
    return make_page("Shots read by Fettle", body)


def _make_errors(errors: Sequence[InputFault]) -> Markup | None:
    if not errors:
        return None
    return tag(
        "section",
        tag("h2", "Could not be read, or only in part"),
        tag("ul", [tag("li", fault.error) for fault in errors]),
    )


def _make_table(rows: Sequence[OverviewRow]) -> Markup:
    severities = sorted(Severity, reverse=True)
    changes = any(row.changes for row in rows)
    titles = ["Shot", "Scene", "Frames", *(s.word for s in severities), "meant", "not evaluated"]
    titles += ["Since the last take"] if changes else []
    head = tag("tr", [tag("th", title, scope="col") for title in titles])
    return tag(
        "div",
        tag(
            "table",
            tag("thead", head),
            tag("tbody", [_make_row(row, severities, changes) for row in rows]),
        ),
        class_="wide",
    )


def _make_row(row: OverviewRow, severities: Sequence[Severity], changes: bool) -> Markup:
    shot = row.shot
    first, last = shot.frame_range
    counts = count_severities(shot.flags)
    meant = sum(flag.state is State.MEANT for flag in shot.flags)
    skipped = len({entry.check for entry in shot.not_evaluated})
    name: Markup | str = shot.source
    if row.address is not None:
        name = tag("a", shot.source, href=row.address)
    numbers = [counts[severity] for severity in severities] + [meant, skipped]
    cells = [
        tag("th", name, scope="row"),
        tag("td", shot.scene),
        tag("td", f"{first}-{last} at {say_frame_rate(shot.fps)}"),
        *(tag("td", str(number) if number else "", class_="number") for number in numbers),
    ]
    if changes:
        cells.append(tag("td", row.changes or ""))
    return tag("tr", cells)


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
