# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Prepare real Blender windows and drive them: what ``make window-test`` runs.

With BLENDER=/path/to/blender that one is used, without root, on a display of its own
(Xvfb and ImageMagick must be installed). Otherwise Blender 4.3 and 5.2 are fetched into
the cache. 4.3 must be had; where 5.2 cannot be had it is skipped, loudly. Words after
``--`` go to pytest. Exit status: pytest's, or 1 when the main Blender cannot be had.
"""

from __future__ import annotations

import fcntl
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any, TextIO

ROOT = Path(__file__).resolve().parents[1]
TOOLS = ROOT / "tools"
WORK = ROOT / "build" / "window-test"
PICTURES = ROOT / "screenshots"
INSIDE = "/mnt/fettle"
SUITES = {"4.3": "trixie", "5.2": "sid"}
MAIN = "4.3"


def say_loudly(words: str) -> None:
    """Print a line nobody overlooks."""
    print(f"\n{'!' * 79}\n!! {words}\n{'!' * 79}\n", flush=True)


def describe_given(program: str) -> dict[str, Any]:
    """Describe a Blender that is there already."""
    path = shutil.which(program)
    if not path:
        raise SystemExit(f"window_test.py: BLENDER={program} is no program: give its full path")
    return {
        "label": "given",
        "prefix": [],
        "python": sys.executable,
        "program": str(Path(path).resolve()),
        "checkout": str(ROOT),
        "missing": None,
    }


def provision(label: str) -> dict[str, Any]:
    """Fetch a Blender unless it is there, and describe it."""
    done = subprocess.run(
        [TOOLS / "provision_blender.sh", SUITES[label]],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
    )
    lines = done.stdout.split("\n")
    missing = None
    prefix: list[str] = []
    if done.returncode:
        missing = f"it could not be fetched (exit status {done.returncode}), see above"
    else:
        prefix = [str(TOOLS / "in_folder_system.sh"), lines[0], "--bind", str(ROOT), INSIDE, "--"]
    return {
        "label": label,
        "prefix": prefix,
        "python": "/usr/bin/python3",
        "program": "/usr/bin/blender",
        "checkout": INSIDE,
        "missing": missing,
    }


def build_archive() -> Path:
    """Build the archive; give its path."""
    # The packager of the bpy module: the archive is the same for every Blender tested.
    done = subprocess.run(
        [sys.executable, TOOLS / "build_zip.py", "--blender=", "--output-dir", WORK],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
    )
    if done.returncode:
        raise SystemExit(done.returncode)
    return Path(done.stdout.splitlines()[-1])


def take_turn() -> TextIO:
    """Wait until no other window test runs in this checkout; close the file to end the turn."""
    WORK.parent.mkdir(exist_ok=True)
    lock = open(WORK.with_suffix(".lock"), "w")
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        print("another window test runs in this checkout: waiting for its end", flush=True)
        fcntl.flock(lock, fcntl.LOCK_EX)
    return lock


def main() -> None:
    """Prepare, then hand over to pytest."""
    words = sys.argv[1:]
    pytest_arguments = words[words.index("--") + 1 :] if "--" in words else words
    lock = take_turn()
    shutil.rmtree(WORK, ignore_errors=True)
    WORK.mkdir(parents=True)
    if not pytest_arguments:  # a run of a few scenarios keeps the pictures of the others
        shutil.rmtree(PICTURES, ignore_errors=True)
    given = os.environ.get("BLENDER")
    blenders = [describe_given(given)] if given else [provision(label) for label in SUITES]
    for blender in blenders:
        if blender["missing"]:
            say_loudly(f"NOT TESTED on Blender {blender['label']}: {blender['missing']}")
            if blender["label"] == MAIN:
                raise SystemExit(1)
    plan = {
        "checkout": str(ROOT),
        "archive": str(build_archive()),
        "work": str(WORK),
        "pictures": str(PICTURES),
        "blenders": blenders,
    }
    plan_file = WORK / "plan.json"
    plan_file.write_text(json.dumps(plan, indent=1), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "tests/gui", *pytest_arguments],
        cwd=ROOT,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "FETTLE_WINDOW_TEST": str(plan_file)},
    )
    print(f"pictures of the windows: {PICTURES.relative_to(ROOT)}/", flush=True)
    lock.close()
    raise SystemExit(done.returncode)


if __name__ == "__main__":
    main()
