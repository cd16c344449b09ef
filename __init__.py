# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Fettle: a linter for character animation.

This one file is both the Blender extension's entry point and the top of the
Python package ``fettle``. Nothing here imports Blender until Blender itself
calls `register`, so the judging half works in plain Python as well.
"""


def register() -> None:
    """Switch the extension on: called by Blender, never by ourselves."""
    from .addon import registration

    registration.register()


def unregister() -> None:
    """Switch the extension off and leave nothing behind."""
    from .addon import registration

    registration.unregister()
