# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""`fettle demo`: build the demo shot, read it, show what was found and what to open next."""

from __future__ import annotations

import argparse
import hashlib
import subprocess
import sys
from functools import partial
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from ..core_math import (
    Fate,
    InputFault,
    Report,
    Settings,
    compare_readings,
    dump_report,
    format_shot,
    say_counts,
    shot_from_data,
    write_settings,
)
from .exit_status import CLEAN, WRONG
from .jobs import ROOT, JobError, Result, make_job, run_job, start_command
from .outputs import write_output
from .progress import Progress, find_look

SCRIPTS = ROOT / "demo_blend_scripts"
TAKES = ("crane_hand_take1.blend", "crane_hand_take2.blend")
MARKED = "crane_hand_take1_with_markers.blend"
PICTURE = "hand_trail.png"
FINDINGS = "findings.json"


def add_parser(verbs: Any) -> None:
    """Declare the verb."""
    parser = verbs.add_parser(
        "demo",
        help="build a demo shot, read it, show what was found",
        description="Builds two takes of a shot (a crane hand slings crates onto a cart), reads "
        "them, bakes the markers into a copy and draws a hand's trail.",
        allow_abbrev=False,
    )
    parser.add_argument(
        "--out", type=Path, default=Path("demo_out"), metavar="FOLDER", help="default: demo_out"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Build, read, bake, draw, tell."""
    if not SCRIPTS.is_dir():
        return _refuse(
            "the scripts that build the demo shot are not part of the extension; "
            "install Fettle as a Python package (pip install .) and call fettle demo there"
        )
    try:
        fault = _build(args.out)
        if fault is not None:
            return _refuse(fault)
        results = _read(args.out)
    except JobError as error:
        return _refuse(str(error))
    shots = [shot_from_data(data) for result in results for data in result["shots"]]
    errors = [InputFault(e["source"], e["error"]) for r in results for e in r["errors"]]
    report = Report(tuple(shots), tuple(errors))
    unwritten = write_output(str(args.out / FINDINGS), lambda: dump_report(report))
    for line in [error.error for error in errors] + ([unwritten] if unwritten else []):
        _refuse(line)
    if errors or unwritten or len(shots) != len(TAKES):
        return WRONG
    look = find_look(sys.stdout)
    first, second = shots
    print(format_shot(first, look))
    fixed = compare_readings(first, second).count()[Fate.FIXED]
    print(f"\n{look.bold(second.source)}: {say_counts(second.flags)}, {fixed} of the above fixed")
    print(f"\n{look.bold('Open next')}")
    for name, words in (
        (PICTURE, "a hand's trail: spacing by colour, a tick a frame, its flags"),
        (MARKED, "the shot with its flags as markers, in Blender"),
        (TAKES[0], "the shot itself, to read in Blender: sidebar (N), tab Fettle, Read"),
        (FINDINGS, "all of it for a pipeline"),
    ):
        print(f"  {args.out / name}  {look.dim(words)}")
    return CLEAN


def _build(folder: Path) -> str | None:
    """Build the takes unless the same scripts built them before; return what went wrong."""
    stamp = folder / ".built-by"
    mark = _fingerprint()
    whole = all((folder / name).is_file() for name in TAKES)
    if whole and stamp.is_file() and stamp.read_text(encoding="utf-8") == mark:
        return None
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        return f"{folder}: cannot be made ({error.strerror}); name another place with --out"
    print("building the demo shot ...", file=sys.stderr, flush=True)
    done = subprocess.run(
        start_command("demo_blend_scripts.__main__", "--out", str(folder.resolve())),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        errors="replace",
    )
    if done.returncode != 0 or not all((folder / name).is_file() for name in TAKES):
        said = (done.stderr or done.stdout).strip().splitlines() or ["no reason given"]
        return f"{folder}: the demo shot could not be built ({said[-1][:200]})"
    return write_output(str(stamp), lambda: mark)


def _fingerprint() -> str:
    """Return what changes whenever the scripts that build the takes, or their Blender, do."""
    try:
        blender = version("bpy")
    except PackageNotFoundError:
        blender = "application"
    digest = hashlib.blake2s(blender.encode())
    for path in sorted(SCRIPTS.rglob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _read(folder: Path) -> list[Result]:
    """Read both takes, the first with markers and picture."""
    settings = write_settings(Settings())
    first = make_job(
        str(folder / TAKES[0]),
        settings=settings,
        bake={"out": str((folder / MARKED).resolve()), "at_least": "faint"},
        trail_picture=str((folder / PICTURE).resolve()),
    )
    jobs = [first, make_job(str(folder / TAKES[1]), settings=settings)]
    progress = Progress(sys.stderr, len(jobs))
    results = []
    for number, job in enumerate(jobs):
        results.append(run_job(job, partial(progress.tell, number)))
        progress.clear()
    return results


def _refuse(line: str) -> int:
    print(f"fettle demo: {line}", file=sys.stderr)
    return WRONG
