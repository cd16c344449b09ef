# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What is written into the views about flags."""

from __future__ import annotations

from ..core_math import Flag, format_quantity
from .drawing import TextLine
from .translation import say
from .wording import name_severity, say_measure, say_part_name


def describe_flags(flags: tuple[Flag, ...], most: int = 3) -> list[TextLine]:
    """Return the lines that tell about flags: sentence, number, what to try."""
    lines: list[TextLine] = []
    for flag in flags[:most]:
        lines.append(TextLine(flag.message))
        facts = say(
            "{frame}  {part}  {severity}: {value} (limit {limit})",
            frame=flag.peak,
            part=say_part_name(flag.part),
            severity=name_severity(flag.severity).lower(),
            value=format_quantity(flag.value, flag.unit),
            limit=format_quantity(flag.limit, flag.unit),
        )
        lines.append(TextLine(facts, quiet=True))
        measure = say_measure(flag)
        if len(flags) == 1 and measure:
            lines.append(TextLine(measure, quiet=True))
        if len(flags) == 1 and flag.suggestion:
            lines.append(TextLine(say("Try: {what}", what=flag.suggestion), quiet=True))
        if flag.reason:
            lines.append(TextLine(say("Meant: {reason}", reason=flag.reason), quiet=True))
    if len(flags) > most:
        lines.append(TextLine(say("and {count} more", count=len(flags) - most), quiet=True))
    return lines
