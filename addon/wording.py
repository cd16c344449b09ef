# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Words of the interface that are made of others; each piece goes through the translations."""

from __future__ import annotations

from ..core_math import (
    ALL_CHECKS,
    Fate,
    Flag,
    Limits,
    Severity,
    Unit,
    format_quantity,
    say_frames,
    say_part,
)
from .translation import OWN, say


def name_part(part: str) -> str:
    """Return a part's name as it begins a line: "Left hand"."""
    words = say_part_name(part)
    return words[:1].upper() + words[1:]


def say_part_name(part: str) -> str:
    """Return a part's name as it stands within a line: "left hand"."""
    return say(say_part(part), OWN)


def name_severity(severity: Severity) -> str:
    """Return a severity as a word of its own: "Glaring"."""
    return say(severity.word.capitalize(), OWN)


def say_severity(flag: Flag) -> str:
    """Return a flag's severity as a word of its own: "Glaring"."""
    return name_severity(flag.severity)


def name_fate(fate: Fate) -> str:
    """Return what became of a finding as a word of its own: "Fixed"."""
    return say(fate.value.capitalize(), OWN)


def say_span(flag: Flag) -> str:
    """Write where a flag lies in time: "Frames 12-20"."""
    if flag.start == flag.end:
        return say("Frame {number}", number=say_frames(flag))
    return say("Frames {numbers}", numbers=say_frames(flag))


def say_value(flag: Flag) -> str:
    """Write the number behind a flag, and the limit it crossed."""
    value, limit = format_quantity(flag.value, flag.unit), format_quantity(flag.limit, flag.unit)
    return say("{value}   (limit {limit})", value=value, limit=limit)


def say_measure(flag: Flag) -> str:
    """Say what a bare number is a ratio of, as its check declares it; empty for other units.

    A description tells that first, then how to set the limits. Where a check has limits of both
    kinds, those count that are crossed the way the flag's are.
    """
    if flag.unit is not Unit.RATIO:
        return ""
    over = flag.value >= flag.limit
    for check in ALL_CHECKS:
        for declared in check.declarations if check.id == flag.check else ():
            if isinstance(declared, Limits) and declared.unit is flag.unit:
                if declared.rising is over:
                    return say(declared.description.partition(";")[0].rstrip("."))
    return ""


def say_where_and_what(flag: Flag) -> str:
    """Write part and sentence; most sentences name the part themselves."""
    # "Right wrist bends ..." needs no "Right hand:" before it, in whatever language that is.
    named = flag.message.casefold().split(" ")[0] == say_part(flag.part).casefold().split(" ")[0]
    return flag.message if named else f"{name_part(flag.part)}: {flag.message}"
