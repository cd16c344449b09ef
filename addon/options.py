# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Options that several verbs share, and what they mean for one shot."""

from __future__ import annotations

import argparse
import os
import re
import sys
from dataclasses import dataclass, replace
from pathlib import Path

from ..core_math import (
    ALL_CHECKS,
    InputFault,
    Settings,
    SettingsError,
    Severity,
    Stage,
    find_check,
    find_settings_file,
    read_settings,
    write_settings,
)
from .jobs import Job, make_job


def add_reading_options(parser: argparse.ArgumentParser) -> None:
    """Declare what is read of a shot, and how."""
    read = parser.add_argument_group("what is read")
    read.add_argument(
        "--frames", type=parse_frames, metavar="A-B", help="these frames instead of the scene's own"
    )
    read.add_argument("--camera", metavar="NAME", help="this camera instead of the scene's own")
    read.add_argument(
        "--stage",
        choices=("auto", *(stage.value for stage in Stage)),
        help="how far the animation is (default: found from keys and motion)",
    )
    read.add_argument(
        "--settings",
        type=Path,
        metavar="F.toml",
        help="limits and checks (default: fettle.toml beside the shot or in a folder above it)",
    )
    read.add_argument("--only", type=parse_ids, metavar="ID,..", default=[], help="these checks")
    read.add_argument(
        "--skip", type=parse_ids, metavar="ID,..", default=[], help="all but these checks"
    )
    read.add_argument(
        "--run-scripts",
        action="store_true",
        help="let Python in the shot run (drivers, scripts); off because a file can hold anything",
    )
    worker = parser.add_argument_group("what it may take")
    worker.add_argument(
        "--time-limit",
        type=parse_positive,
        metavar="SECONDS",
        default=1800.0,
        help="give a shot up after this long (default: 1800)",
    )
    worker.add_argument(
        "--memory-limit",
        type=parse_positive,
        metavar="GB",
        help="give a shot up when it needs more address space than this (default: no limit)",
    )


def add_fail_on(parser: argparse.ArgumentParser) -> None:
    """Declare from which severity on the exit status is 1."""
    parser.add_argument(
        "--fail-on",
        type=parse_severity,
        default=Severity.GLARING,
        metavar="{faint,clear,glaring}",
        help="exit with 1 when something is at or over this (default: glaring)",
    )


def add_quiet(parser: argparse.ArgumentParser) -> None:
    """Declare the option that leaves only what went wrong."""
    parser.add_argument(
        "-q", "--quiet", action="store_true", help="print nothing but what went wrong"
    )


def parse_severity(text: str) -> Severity:
    """Read a severity."""
    try:
        return Severity.from_word(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def parse_frames(text: str) -> tuple[int, int]:
    """Read a range of frames such as 1-120; frames before 0 are written --frames=-20-100."""
    found = re.fullmatch(r"\s*(-?\d+)\s*-\s*(-?\d+)\s*", text)
    if found is None:
        raise argparse.ArgumentTypeError(f"{text!r} is no range of frames; write it like 1-120")
    first, last = int(found.group(1)), int(found.group(2))
    if last < first:
        raise argparse.ArgumentTypeError(f"frames {text} run backwards; write {last}-{first}")
    if max(abs(first), abs(last)) > 1_048_574:
        raise argparse.ArgumentTypeError(f"frames {text} are more than Blender counts")
    return first, last


def parse_ids(text: str) -> list[str]:
    """Read ids of checks, separated by commas."""
    return [word.strip() for word in text.split(",") if word.strip()]


def parse_positive(text: str) -> float:
    """Read a number above 0."""
    try:
        number = float(text)
    except ValueError:
        number = -1.0
    if not 0.0 < number < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} is no number above 0")
    return number


def parse_count(text: str) -> int:
    """Read a whole number above 0."""
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number above 0")
    return int(text)


def find_open_shot() -> list[str]:
    """Return the shot that Blender has open when the command runs inside one."""
    blender = sys.modules.get("bpy")
    if blender is None or not getattr(blender.app, "binary_path", ""):
        return []
    return [blender.data.filepath] if blender.data.filepath else []


@dataclass(frozen=True, slots=True)
class _Chosen:
    settings: str
    left_out: dict[str, str]


class JobMaker:
    """Turns shots into jobs, each with the settings that hold where it lies."""

    def __init__(self, args: argparse.Namespace) -> None:
        """Take the options; SettingsError when they name a check or file that is not there."""
        self._args = args
        self._known: dict[Path | None, _Chosen] = {}
        Settings().select(ALL_CHECKS, args.only, args.skip)
        if args.settings is not None:
            self._choose(args.settings)

    def make(self, source: str, **more: object) -> Job | InputFault:
        """Return the job of one shot, or the line that says why its settings are no use."""
        args = self._args
        try:
            chosen = self._choose(args.settings or find_settings_file(Path(source).absolute()))
        except SettingsError as error:
            return InputFault(source, f"{source}: {error}")
        memory = args.memory_limit
        return make_job(
            source,
            settings=chosen.settings,
            left_out=chosen.left_out,
            frames=args.frames,
            camera=args.camera,
            run_scripts=args.run_scripts,
            time_limit_s=args.time_limit,
            memory_mb=None if memory is None else round(memory * 1024),
            **more,  # type: ignore[arg-type]
        )

    def _choose(self, path: Path | None) -> _Chosen:
        if path not in self._known:
            args = self._args
            base = Settings() if path is None else read_settings(path, ALL_CHECKS)
            if args.stage is not None:
                base = replace(base, stage=None if args.stage == "auto" else Stage(args.stage))
            settings = base.select(ALL_CHECKS, args.only, args.skip)
            reasons = {}
            for check in ALL_CHECKS:
                if not settings.enabled(check):
                    reasons[check.id] = self._say_why(check.id, base, path)
            self._known[path] = _Chosen(write_settings(settings), reasons)
        return self._known[path]

    def _say_why(self, check_id: str, base: Settings, path: Path | None) -> str:
        if check_id in base.disabled and not self._args.only:
            return f"switched off in {path.name if path else 'the settings'}"
        named = {find_check(name, ALL_CHECKS).id for name in self._args.skip}
        return "left out by --skip" if check_id in named else "left out by --only"


def count_cores() -> int:
    """Return how many cores this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1
