# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""`fettle check PATH...`: read shots, print what was found, write it down."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from ..core_math import (
    InputFault,
    SettingsError,
    dump_csv,
    dump_report,
    format_shot,
    say_counts,
)
from .collected import Collected, decide_status
from .exit_status import INTERRUPTED, WRONG
from .jobs import Job, JobError, find_python, run_jobs
from .options import (
    JobMaker,
    add_fail_on,
    add_quiet,
    add_reading_options,
    find_open_shot,
    parse_count,
)
from .outputs import STANDARD_OUTPUT, find_folder_faults, write_output
from .progress import Progress, find_look
from .shot_paths import list_shots


def add_parser(verbs: Any) -> None:
    """Declare the verb."""
    parser = verbs.add_parser(
        "check",
        help="read shots and flag what reads wrong",
        description="Reads shots (.blend, .bvh, .fbx, .glb, .gltf) or folders of them, prints what "
        "reads wrong, and writes it down as asked.",
        allow_abbrev=False,
    )
    parser.add_argument("paths", nargs="*", metavar="PATH", help="a shot, or a folder of shots")
    parser.add_argument("--json", metavar="F", help="write all findings as JSON (- prints it)")
    parser.add_argument("--csv", metavar="F", help="write the flags as rows for a spreadsheet")
    add_fail_on(parser)
    add_reading_options(parser)
    parser.add_argument(
        "--jobs",
        type=parse_count,
        default=1,
        metavar="N",
        help="read this many shots at a time (default: 1)",
    )
    add_quiet(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Read, print, write; return the exit status."""
    paths = args.paths or find_open_shot()
    if not paths:
        return _refuse("name at least one shot or a folder of shots")
    try:
        find_python()
        maker = JobMaker(args)
    except (SettingsError, JobError) as error:
        return _refuse(str(error))
    shots, faults = list_shots(paths)
    unwritable = find_folder_faults(args, ("json", "csv"))
    for line in (*(fault.error for fault in faults), *unwritable):
        print(f"fettle check: {line}", file=sys.stderr)
    collected = Collected(errors=list(faults))
    jobs = _make_jobs(maker, shots, collected)
    interrupted = _read(args, jobs, collected)
    failed = _write(args, collected)
    if interrupted:
        return INTERRUPTED
    if collected.errors or unwritable or failed:
        return WRONG
    return decide_status(collected.find_worst(), args.fail_on)


def _refuse(line: str) -> int:
    print(f"fettle check: {line}", file=sys.stderr)
    return WRONG


def _make_jobs(maker: JobMaker, shots: list[str], collected: Collected) -> list[Job]:
    jobs = []
    for source in shots:
        job = maker.make(source)
        if isinstance(job, InputFault):
            collected.errors.append(job)
            print(f"fettle check: {job.error}", file=sys.stderr)
        else:
            jobs.append(job)
    return jobs


def _read(args: argparse.Namespace, jobs: list[Job], collected: Collected) -> bool:
    """Read all shots, printing each when those before it are printed; True when interrupted."""
    printing = not args.quiet and args.json != STANDARD_OUTPUT
    look = find_look(sys.stdout)
    progress = Progress(sys.stderr, len(jobs), args.quiet)
    results = run_jobs(jobs, args.jobs, progress.tell)
    try:
        for number, result in results:
            added = collected.add(result)
            flags = [flag for index in added for flag in collected.shots[index].flags]
            words = say_counts(flags) if added else "not read"
            progress.finish(number, jobs[number]["source"], words)
            progress.clear()
            for error in result["errors"]:
                print(f"fettle check: {error['error']}", file=sys.stderr)
            for index in added if printing else ():
                shot, review = collected.shots[index], collected.reviews.get(index)
                print(format_shot(shot, look, review), end="\n\n", flush=True)
    except KeyboardInterrupt:
        progress.clear()
        done = len(collected.shots)
        print(f"fettle check: interrupted, {done} shots are kept", file=sys.stderr)
        return True
    finally:
        results.close()
        progress.clear()
    return False


def _write(args: argparse.Namespace, collected: Collected) -> bool:
    """Write what was asked for; True when something could not be written."""
    report = collected.make_report()
    faults = [
        write_output(args.json, lambda: dump_report(report)),
        write_output(args.csv, lambda: dump_csv(report)),
    ]
    for fault in faults:
        if fault is not None:
            print(f"fettle check: {fault}", file=sys.stderr)
    return any(faults)
