# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""`fettle checks [ID]`: which checks there are, and all about one of them. Needs no Blender."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from ..core_math import ALL_CHECKS, SettingsError, explain_check, find_check, list_checks
from .exit_status import CLEAN, WRONG
from .progress import find_look


def add_parser(verbs: Any) -> None:
    """Declare the verb."""
    parser = verbs.add_parser(
        "checks",
        help="list the checks, or tell all about one",
        description="Lists the checks; with an ID tells what it looks for, why, and its limits.",
        allow_abbrev=False,
    )
    parser.add_argument("id", nargs="?", metavar="ID", help="a check, such as ik-lock")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the table or the page."""
    if args.id is None:
        print(list_checks(ALL_CHECKS))
        return CLEAN
    try:
        check = find_check(args.id, ALL_CHECKS)
    except SettingsError as error:
        print(f"fettle checks: {error}", file=sys.stderr)
        return WRONG
    print(explain_check(check, min(find_look(sys.stdout).width, 100)))
    return CLEAN
