# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How the command ends."""

CLEAN = 0
"""Nothing at or over --fail-on."""

FLAGGED = 1
"""Something is at or over --fail-on."""

WRONG = 2
"""A wrong call, or something that could not be read or written; the others were still done."""

INTERRUPTED = 130
"""Stopped from the keyboard; what was done is kept."""
