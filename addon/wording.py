# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Words of the interface that are made of others; each piece goes through the translations."""

from __future__ import annotations

from bpy.app.translations import pgettext_iface as iface

from ..core_math import Flag, format_quantity, say_frames, say_part


def name_part(part: str) -> str:
    """Return a part's name as it begins a line: "Left hand"."""
    words = iface(say_part(part))
    return words[:1].upper() + words[1:]


def say_severity(flag: Flag) -> str:
    """Return the severity as a word: "Glaring"."""
    return iface(flag.severity.word.capitalize())


def say_span(flag: Flag) -> str:
    """Write where a flag lies in time: "Frames 12-20"."""
    word = iface("Frame") if flag.start == flag.end else iface("Frames")
    return f"{word} {say_frames(flag)}"


def say_value(flag: Flag) -> str:
    """Write the number behind a flag, and the limit it crossed."""
    value, limit = format_quantity(flag.value, flag.unit), format_quantity(flag.limit, flag.unit)
    return f"{value}   ({iface('limit')} {limit})"


def say_where_and_what(flag: Flag) -> str:
    """Write part and sentence; most sentences name the part themselves."""
    part = name_part(flag.part)
    # "Right wrist bends ..." needs no "Right hand:" before it.
    named = flag.message.casefold().split(" ")[0] == part.casefold().split(" ")[0]
    return flag.message if named else f"{part}: {flag.message}"
