# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""`fettle compare OLD NEW`: what was fixed from one version to the next, and what is new."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from ..core_math import (
    Comparison,
    InputFault,
    ReportError,
    SettingsError,
    ShotReading,
    compare_readings,
    dump_comparisons,
    find_worst,
    format_comparison,
    make_retime,
    pair_shots,
    read_report,
)
from .collected import Collected, decide_status
from .exit_status import WRONG
from .jobs import JobError, run_jobs
from .options import JobMaker, add_fail_on, add_quiet, add_reading_options, parse_count
from .outputs import STANDARD_OUTPUT, find_folder_faults, write_output
from .progress import Progress, find_look
from .shot_paths import list_shots

Keys = dict[tuple[str, str], list[float]]


def add_parser(verbs: Any) -> None:
    """Declare the verb."""
    parser = verbs.add_parser(
        "compare",
        help="compare two versions: what was fixed, what is new",
        description="Compares two readings. OLD and NEW are each a findings file (.json), a shot, "
        "a folder of shots, or a take kept in a shot (SHOT.blend#NAME); shots are read first. The "
        "exit status is 1 when something new or worse is at or over --fail-on.",
        allow_abbrev=False,
    )
    parser.add_argument("old", metavar="OLD", help="the older version")
    parser.add_argument("new", metavar="NEW", help="the newer version")
    parser.add_argument("--json", metavar="F", help="write the comparison as JSON (- prints it)")
    add_fail_on(parser)
    add_reading_options(parser)
    parser.add_argument(
        "--jobs", type=parse_count, default=1, metavar="N", help="read this many shots at a time"
    )
    add_quiet(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Read what has to be read, compare, print, write."""
    unwritable = find_folder_faults(args, ("json",))
    for line in unwritable:
        _say(line)
    errors: list[InputFault] = []
    try:
        maker = JobMaker(args)
        keys: dict[int, Keys] = {}
        old = _gather(args, maker, args.old, errors, keys)
        new = _gather(args, maker, args.new, errors, keys)
    except (SettingsError, JobError, ReportError) as error:
        _say(str(error))
        return WRONG
    pairs, only_old, only_new = pair_shots(old, new)
    comparisons = [
        compare_readings(one, other, make_retime(keys.get(id(one), {}), keys.get(id(other), {})))
        for one, other in pairs
    ]
    if not args.quiet and args.json != STANDARD_OUTPUT:
        _print(comparisons, only_old, only_new)
    failed = write_output(
        args.json, lambda: dump_comparisons(comparisons, only_old, only_new, errors)
    )
    if failed is not None:
        _say(failed)
    if not comparisons:
        _say(f"{args.old} and {args.new}: no shot is in both")
    if errors or unwritable or failed is not None or not comparisons:
        return WRONG
    regressions = [flag for comparison in comparisons for flag in comparison.regressions()]
    fresh = [flag for shot in only_new for flag in shot.flags]
    return decide_status(find_worst([*regressions, *fresh]), args.fail_on)


def _gather(
    args: argparse.Namespace,
    maker: JobMaker,
    name: str,
    errors: list[InputFault],
    keys: dict[int, Keys],
) -> list[ShotReading]:
    """Return the shots behind one of the two names; what cannot be read is told at once.

    The key frames of what was read go into `keys`, by the shot's identity in memory.
    """
    if Path(name).suffix.lower() == ".json":
        report = read_report(name)
        for fault in report.errors:
            _say(f"{name}: was written without {fault.source} ({fault.error})")
        return list(report.shots)
    path, take = _split_take(name)
    shots, faults = list_shots([path])
    made = [maker.make(source, keys=True, take=take) for source in shots]
    jobs = [entry for entry in made if not isinstance(entry, InputFault)]
    collected = Collected(errors=[*faults, *(e for e in made if isinstance(e, InputFault))])
    progress = Progress(sys.stderr, len(jobs), args.quiet)
    done = {}
    for number, result in run_jobs(jobs, args.jobs, progress.tell):
        done[number] = result
        progress.finish(number, jobs[number]["source"], "read")
    progress.clear()
    for number in sorted(done):
        added = collected.add(done[number])
        for index, table in zip(added, done[number].get("keys", ()), strict=False):
            shot = collected.shots[index]
            keys[id(shot)] = {(subject, part): frames for subject, part, frames in table}
    for fault in collected.errors:
        _say(fault.error)
    errors += collected.errors
    return collected.shots


def _split_take(name: str) -> tuple[str, str | None]:
    """Split SHOT.blend#NAME; a file that really has such a name is that file."""
    path, sign, take = name.rpartition("#")
    if not sign or not path.lower().endswith(".blend") or Path(name).exists():
        return name, None
    return path, take


def _print(
    comparisons: list[Comparison], only_old: list[ShotReading], only_new: list[ShotReading]
) -> None:
    look = find_look(sys.stdout)
    for comparison in comparisons:
        print(format_comparison(comparison, look), end="\n\n")
    for words, shots in (("only in the old", only_old), ("only in the new", only_new)):
        for shot in shots:
            print(f"{shot.source} ({shot.scene}): {words}, not compared")


def _say(line: str) -> None:
    print(f"fettle compare: {line}", file=sys.stderr)
