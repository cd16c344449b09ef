# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a call's results are written, and what to say when that fails."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path

from ..core_math import OutputError, write_whole

STANDARD_OUTPUT = "-"


def find_folder_faults(args: argparse.Namespace, options: tuple[str, ...]) -> list[str]:
    """Say which outputs are folders before long work starts, and leave those outputs out."""
    faults = []
    for option in options:
        target = getattr(args, option)
        if target and target != STANDARD_OUTPUT and Path(target).is_dir():
            faults.append(f"{target}: is a folder; name the file that --{option} is to write")
            setattr(args, option, None)
    return faults


def write_output(target: str | None, make: Callable[[], str]) -> str | None:
    """Write one output, whole or not at all; return the line that says why it failed.

    Parameters
    ----------
    target : str or None
        A path, "-" for standard output, None for nothing.
    make : callable
        Makes the text when it is wanted.
    """
    if not target:
        return None
    if target == STANDARD_OUTPUT:
        sys.stdout.write(make())
        return None
    try:
        write_whole(target, make())
    except OutputError as error:
        return str(error)
    return None
