# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The command inside Blender: `blender -b SHOT.blend --command fettle check ...`."""

from __future__ import annotations

from typing import Any

import bpy

_handles: list[Any] = []


def register() -> None:
    """Make the command known to Blender."""
    _handles.append(bpy.utils.register_cli_command("fettle", _run))


def unregister() -> None:
    """Take the command away."""
    while _handles:
        bpy.utils.unregister_cli_command(_handles.pop())


def _run(argv: list[str]) -> int:
    # Imported when it is called for: a Blender with a window never needs it.
    from .command_line import run_in_blender

    return run_in_blender(argv)
