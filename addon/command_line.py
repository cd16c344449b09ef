# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The command `fettle`: what a shell calls, and what Blender calls for it.

`main` is the shell's; `run_in_blender` is the same under `blender -b SHOT.blend --command fettle
check ...`. Each verb has a file of its own.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
import traceback
from collections.abc import Sequence
from typing import Any, NoReturn

from ..core_math import find_version
from . import verb_bake, verb_check, verb_checks, verb_compare, verb_completion, verb_demo
from .exit_status import CLEAN, INTERRUPTED, WRONG

VERBS = (verb_check, verb_compare, verb_bake, verb_checks, verb_demo, verb_completion)


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one line instead of printing the whole usage."""

    def error(self, message: str) -> NoReturn:
        line = " ".join(message.split())
        self.exit(WRONG, f"{self.prog}: {line}; {self.prog} --help tells more\n")


def make_parser() -> argparse.ArgumentParser:
    """Declare all verbs and options."""
    parser = _Parser(
        prog="fettle",
        description="Reads character animation frame by frame and flags what reads wrong.",
        epilog="Exit status: 0 nothing at or over --fail-on, 1 something is, 2 a wrong call or an "
        "input that cannot be read (the others are still done).",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"fettle {find_version()}")
    verbs = parser.add_subparsers(title="verbs", metavar="VERB", required=True)
    for verb in VERBS:
        verb.add_parser(verbs)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command.

    Parameters
    ----------
    argv : sequence of str, optional
        The words after the command's name; those of this process when left out.

    Returns
    -------
    int
        Exit status.
    """
    for stream in (sys.stdout, sys.stderr):
        _never_fail_on_a_letter(stream)
    try:
        args = make_parser().parse_args(argv)
        return int(args.run(args))
    except SystemExit as end:  # argparse's own way out: help, version, a wrong call
        return int(end.code or 0)
    except KeyboardInterrupt:
        print("fettle: interrupted", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        # The reader of our output went away, as `| head` does: there is nobody left to tell.
        with contextlib.suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return CLEAN
    except Exception as error:
        if "FETTLE_TRACEBACK" in os.environ:
            raise
        place = traceback.extract_tb(error.__traceback__)[-1]
        where = f"{os.path.basename(place.filename)}:{place.lineno}"
        words = " ".join(f"{type(error).__name__}: {error}".split())
        print(
            f"fettle: stopped by a fault in Fettle ({words} at {where}); "
            "set FETTLE_TRACEBACK=1 to see all of it when you report it",
            file=sys.stderr,
        )
        return WRONG


def run_in_blender(argv: Sequence[str]) -> int:
    """Run the command inside a Blender that was started for it.

    Without a path, `check` and `bake` mean the shot that Blender has open.
    """
    return main(list(argv))


def _never_fail_on_a_letter(stream: Any) -> None:
    """Let a terminal that cannot write a letter show its number instead of ending the work."""
    if hasattr(stream, "reconfigure"):
        stream.reconfigure(errors="backslashreplace")
