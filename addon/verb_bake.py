# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""`fettle bake SHOT --out COPY.blend`: a copy of the shot with its flags as markers."""

from __future__ import annotations

import argparse
import os
import sys
from functools import partial
from pathlib import Path
from typing import Any

from ..core_math import InputFault, SettingsError, Severity, say_counts, shot_from_data
from .exit_status import CLEAN, WRONG
from .jobs import JobError, run_job
from .options import (
    JobMaker,
    add_quiet,
    add_reading_options,
    find_open_shot,
    parse_severity,
)
from .progress import Progress
from .shot_paths import list_shots


def add_parser(verbs: Any) -> None:
    """Declare the verb."""
    parser = verbs.add_parser(
        "bake",
        help="save a copy of a shot with its flags as markers",
        description="Reads a shot and saves a copy with one marker for each flag. Markers of your "
        "own stay as they are; flags that are meant get none.",
        allow_abbrev=False,
    )
    parser.add_argument("shot", nargs="?", metavar="SHOT", help="a shot")
    parser.add_argument("--out", required=True, metavar="COPY.blend", help="the copy to write")
    parser.add_argument(
        "--at-least",
        type=parse_severity,
        default=Severity.FAINT,
        metavar="{faint,clear,glaring}",
        help="markers for these flags and worse ones alone (default: faint)",
    )
    add_reading_options(parser)
    add_quiet(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Read the shot and save the copy."""
    named = [args.shot] if args.shot else find_open_shot()
    fault = _find_fault(named, args.out)
    if fault is not None:
        return _refuse(fault)
    bake = {"out": os.path.abspath(args.out), "at_least": args.at_least.word}
    try:
        job = JobMaker(args).make(named[0], bake=bake)
        if isinstance(job, InputFault):
            return _refuse(job.error)
        progress = Progress(sys.stderr, 1, args.quiet)
        result = run_job(job, partial(progress.tell, 0))
        progress.clear()
    except (SettingsError, JobError) as error:
        return _refuse(str(error))
    for error_entry in result["errors"]:
        _refuse(error_entry["error"])
    if result["errors"] or not result["shots"]:
        return WRONG
    if not args.quiet:
        flags = [flag for data in result["shots"] for flag in shot_from_data(data).flags]
        print(f"{args.out}: {say_counts(flags)}, as markers from {args.at_least.word} on")
    return CLEAN


def _find_fault(named: list[str], out: str) -> str | None:
    if not named:
        return "name the shot to bake"
    if Path(named[0]).is_dir():
        return f"{named[0]}: is a folder; name one shot"
    shots, faults = list_shots(named)
    if faults:
        return faults[0].error
    if Path(out).suffix.lower() != ".blend":
        return f"{out}: is no .blend; the copy is saved as one"
    if Path(out).is_dir():
        return f"{out}: is a folder; name the file to write in it"
    if os.path.realpath(out) == os.path.realpath(shots[0]):
        return f"{out}: is the shot itself; name another file for the copy"
    return None


def _refuse(line: str) -> int:
    print(f"fettle bake: {line}", file=sys.stderr)
    return WRONG
