# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""`fettle check PATH...`: read shots, print what was found, write it down."""

from __future__ import annotations

import argparse
import signal
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

from ..core_math import (
    InputFault,
    OutputError,
    ReportError,
    Review,
    SettingsError,
    dump_csv,
    dump_report,
    format_shot,
    read_report,
    say_counts,
)
from . import cluster, timeline_export
from .collected import Collected, decide_status
from .exit_status import INTERRUPTED, WRONG
from .jobs import Job, JobError, Result, find_python, run_jobs
from .journal import Journal
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
from .sheet_files import SheetFiles
from .sheet_pictures import FlagPictures
from .shot_paths import list_shots

OUTPUTS = ("json", "csv", "html", "otio")


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
    written = parser.add_argument_group("what is written")
    written.add_argument("--json", metavar="F", help="all findings as JSON (- prints it)")
    written.add_argument("--csv", metavar="F", help="the flags as rows for a spreadsheet")
    written.add_argument(
        "--html",
        metavar="F",
        help="a review sheet to open in a browser; of several shots an overview and their sheets",
    )
    written.add_argument(
        "--otio", metavar="F", help="an OpenTimelineIO timeline with the flags as markers"
    )
    written.add_argument(
        "--against",
        metavar="OLD.json",
        help="findings of the last take: the sheets tell what became of them",
    )
    add_fail_on(parser)
    add_reading_options(parser)
    parser.add_argument(
        "--jobs",
        type=parse_count,
        default=1,
        metavar="N",
        help="read this many shots at a time (default: 1)",
    )
    parser.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="read on the workers of a Dask scheduler, such as tcp://host:8786",
    )
    parser.add_argument(
        "--resume",
        action="store_true",
        help="go on with an interrupted run of the same call (needs --json)",
    )
    add_quiet(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Read, print, write; return the exit status."""
    paths = args.paths or find_open_shot()
    fault = _find_wrong_call(args, paths)
    if fault is not None:
        return _say(fault)
    try:
        if not args.cluster:
            find_python()
        maker = JobMaker(args)
        against = list(read_report(args.against).shots) if args.against else []
    except (SettingsError, JobError, ReportError) as error:
        return _say(str(error))
    shots, faults = list_shots(paths)
    unwritable = find_folder_faults(args, OUTPUTS)
    for line in (*(fault.error for fault in faults), *unwritable):
        _say(line)
    collected = Collected(errors=list(faults))
    jobs = _make_jobs(args, maker, shots, collected)
    sheets = SheetFiles(Path(args.html), len(jobs), against) if args.html else None
    call = _Call(args, jobs, collected, sheets)
    finished = call.read()
    failed = call.write(finished)
    if not finished:
        return INTERRUPTED
    if collected.errors or unwritable or failed:
        return WRONG
    return decide_status(collected.find_worst(), args.fail_on)


def _find_wrong_call(args: argparse.Namespace, paths: list[str]) -> str | None:
    if not paths:
        return "name at least one shot or a folder of shots"
    if args.cluster and cluster.find_engine() is None:
        return cluster.MISSING
    if args.otio and timeline_export.find_library() is None:
        return timeline_export.MISSING
    if args.resume and args.json in (None, STANDARD_OUTPUT):
        return "--resume needs --json F: what was done is kept beside it"
    for option in ("csv", "html", "otio"):
        if getattr(args, option) == STANDARD_OUTPUT:
            return f"--{option} needs the name of a file; only --json can be printed"
    return None


def _say(line: str) -> int:
    print(f"fettle check: {line}", file=sys.stderr)
    return WRONG


def _make_jobs(
    args: argparse.Namespace, maker: JobMaker, shots: list[str], collected: Collected
) -> list[Job]:
    jobs = []
    for source in shots:
        job = maker.make(source, pictures=bool(args.html))
        if isinstance(job, InputFault):
            collected.errors.append(job)
            _say(job.error)
        else:
            jobs.append(job)
    return jobs


class _Call:
    """One call at work: results come in any order and leave in that of the shots."""

    def __init__(
        self,
        args: argparse.Namespace,
        jobs: list[Job],
        collected: Collected,
        sheets: SheetFiles | None,
    ) -> None:
        self._args = args
        self._jobs = jobs
        self._collected = collected
        self._sheets = sheets
        self._waiting: dict[int, Result] = {}
        self._next = 0
        self._journal: Journal | None = None
        self._failed = False
        self._printing = not args.quiet and args.json != STANDARD_OUTPUT
        self._look = find_look(sys.stdout)
        self._progress = Progress(sys.stderr, len(jobs), args.quiet)

    def read(self) -> bool:
        """Read all shots, each printed when those before it are; False when interrupted."""
        args, finished = self._args, True
        with ExitStack() as stack:
            if args.json not in (None, STANDARD_OUTPUT) and len(self._jobs) > 1:
                self._open_journal(stack)
            left = self._take_from_journal()
            results = self._start(left)
            try:
                with _stop_on_terminate():
                    for number, result in results:
                        self._take(left[number], result)
            except KeyboardInterrupt:
                finished = False
            except cluster.ClusterError as error:
                _say(str(error))
                self._failed = True
            finally:
                results.close()  # type: ignore[attr-defined]
                self._progress.clear()
        for number in sorted(self._waiting):
            self._pass_on(number, self._waiting[number])
        if not finished:
            done = len(self._collected.shots)
            again = " (--resume goes on)" if self._journal is not None else ""
            _say(f"interrupted, {done} of {len(self._jobs)} shots are kept{again}")
        return finished

    def _start(self, left: list[int]) -> Iterator[tuple[int, Result]]:
        """Set the workers to work on the jobs that are left, here or on a cluster."""
        jobs = [self._jobs[number] for number in left]
        if self._args.cluster:
            return cluster.run_on_cluster(jobs, self._args.cluster)
        return run_jobs(
            jobs,
            self._args.jobs,
            lambda number, share, text: self._progress.tell(left[number], share, text),
        )

    def _open_journal(self, stack: ExitStack) -> None:
        try:
            journal = Journal(Path(self._args.json), self._args.resume)
            self._journal = stack.enter_context(journal)
        except OutputError as error:
            # The same disk or folder will refuse the JSON itself; that is told at the end.
            if self._args.resume:
                _say(str(error))
                self._failed = True

    def _take_from_journal(self) -> list[int]:
        """Pass on what was done before; return the numbers of the jobs that are left."""
        left = []
        for number, job in enumerate(self._jobs):
            result = self._journal.find(job) if self._journal is not None else None
            if result is None:
                left.append(number)
            else:
                self._progress.finish(number, job["source"], "done before")
                self._hold(number, result)
        return left

    def _take(self, number: int, result: Result) -> None:
        if self._journal is not None:
            try:
                self._journal.add(self._jobs[number], result)
            except OutputError as error:
                _say(str(error))
                self._failed, self._journal = True, None
        self._hold(number, result)

    def _hold(self, number: int, result: Result) -> None:
        self._waiting[number] = result
        while self._next in self._waiting:
            self._pass_on(self._next, self._waiting.pop(self._next))
            self._next += 1

    def _pass_on(self, number: int, result: Result) -> None:
        """Print one file's result and write its sheets."""
        collected = self._collected
        added = collected.add(result)
        flags = [flag for index in added for flag in collected.shots[index].flags]
        words = say_counts(flags) if added else "not read"
        self._progress.finish(number, self._jobs[number]["source"], words)
        self._progress.clear()
        for error in result["errors"]:
            _say(error["error"])
        for index in added if self._printing else ():
            shot, review = collected.shots[index], collected.reviews.get(index)
            print(format_shot(shot, self._look, review), end="\n\n", flush=True)
        if self._sheets is not None and added:
            drawn = result.get("pictures") or [[] for _ in added]
            self._sheets.add(
                [
                    (
                        collected.shots[index],
                        collected.reviews.get(index, Review()),
                        {n: FlagPictures(**p) for n, p in enumerate(pictures) if p},
                    )
                    for index, pictures in zip(added, drawn, strict=True)
                ]
            )

    def write(self, finished: bool) -> bool:
        """Write what was asked for; True when something could not be written."""
        args, report = self._args, self._collected.make_report()
        faults = [
            write_output(args.json, lambda: dump_report(report)),
            write_output(args.csv, lambda: dump_csv(report)),
        ]
        if args.otio:
            try:
                timeline_export.write_timeline(args.otio, report)
            except OutputError as error:
                faults.append(str(error))
        if self._sheets is not None:
            self._sheets.finish(self._collected.errors, finished)
            faults += self._sheets.faults
        for fault in faults:
            if fault is not None:
                _say(fault)
        if self._journal is not None and finished and faults[0] is None:
            self._journal.remove()
        return self._failed or any(faults)


@contextmanager
def _stop_on_terminate() -> Iterator[None]:
    """Take a polite request to end, as a scheduler sends it, for the keyboard's interrupt."""

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    try:
        before = signal.signal(signal.SIGTERM, interrupt)
    except ValueError:  # not the main thread: whoever called us minds its signals itself
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
