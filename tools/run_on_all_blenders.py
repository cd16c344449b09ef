# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Run the headless tests on one ``bpy`` after the other.

``python tools/run_on_all_blenders.py 4.2 4.5 5.0 [-- PYTEST_ARGUMENT...]``

Each line of Blender has a virtual environment in the cache folder, named after what is
installed in it, so that a change of requirements makes a new one and an unfinished one
is made again.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import shutil
import subprocess
import sys
import threading
import tomllib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
# Linters and the libraries only core_math is compared with are not needed inside Blender.
NOT_NEEDED = (
    "bezier",
    "circle-fit",
    "fake-bpy-module",
    "mypy",
    "ruff",
    "similaritymeasures",
    "selenium",
)
FINISHED = "finished"
# Installing writes into the checkout for a moment.
ONE_INSTALLS = threading.Lock()


def find_cache() -> Path:
    """Give the folder that outlives checkouts, the same that the shell scripts use."""
    home = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(os.environ.get("FETTLE_CACHE") or Path(home) / "fettle")


def list_requirements(line: str) -> list[str]:
    """Give what the environment of one line of Blender holds, besides Fettle itself."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    tests = [
        wanted
        for wanted in project["optional-dependencies"]["test"]
        if not wanted.startswith(NOT_NEEDED)
    ]
    return [f"bpy=={line}.*", "setuptools>=70.1", *project["dependencies"], *tests]


def run(command: list[str | Path]) -> int:
    """Run one command that asks nothing and hand back its exit status."""
    return subprocess.run([str(word) for word in command], stdin=subprocess.DEVNULL).returncode


def prepare(line: str, folder: Path) -> str | None:
    """Make the environment if it is not whole and put this checkout's Fettle into it.

    Parameters
    ----------
    line : str
        Such as ``4.2``.
    folder : Path
        Where the environment is or goes.

    Returns
    -------
    str or None
        What went wrong, or None.
    """
    python = folder / "bin" / "python"
    requirements = list_requirements(line)
    whole = (folder / FINISHED).is_file() and run([python, "-c", "import pytest, numpy"]) == 0
    if not whole:
        print(f"installing Blender {line} as a module into {folder}", flush=True)
        shutil.rmtree(folder, ignore_errors=True)
        if run([sys.executable, "-m", "venv", folder]):
            return "the virtual environment could not be made"
        pip = [python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
        if run([*pip, *requirements]):
            return f"pip could not install {' '.join(requirements)}"
        if run([ROOT / "tools" / "install_libraries.sh", python]):
            return "the module cannot be imported"
        (folder / FINISHED).touch()
    fettle = [python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    fettle += ["--no-deps", "--no-build-isolation", "--editable", ROOT]
    return "Fettle could not be installed" if run(fettle) else None


def run_tests_on(line: str, pytest_arguments: list[str]) -> tuple[str | None, str]:
    """Run the headless tests on one line of Blender.

    Returns
    -------
    tuple
        What went wrong, or None; and what pytest printed.
    """
    key = hashlib.sha256("\n".join(list_requirements(line)).encode()).hexdigest()[:10]
    folder = find_cache() / "bpy" / f"{line}-{key}"
    folder.parent.mkdir(parents=True, exist_ok=True)
    # Two checkouts would put their Fettle into one environment: one at a time.
    with open(folder.with_suffix(folder.suffix + ".lock"), "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        with ONE_INSTALLS:
            problem = prepare(line, folder)
        if problem:
            return problem, ""
        script = ROOT / "tools" / "run_in_blender_tests.py"
        done = subprocess.run(
            [folder / "bin" / "python", script, *pytest_arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
        )
    return (f"pytest ended with {done.returncode}" if done.returncode else None), done.stdout


def main() -> None:
    """Test on every line named on the command line; exit 1 if one of them fails."""
    words = sys.argv[1:]
    cut = words.index("--") if "--" in words else len(words)
    lines, pytest_arguments = words[:cut], words[cut + 1 :]
    if not lines:
        raise SystemExit("run_on_all_blenders.py: name the lines of Blender, such as 4.2 4.5 5.0")
    problems = {}
    # Two at a time: each of them keeps one core busy.
    with ThreadPoolExecutor(max_workers=2) as pool:
        running = {line: pool.submit(run_tests_on, line, pytest_arguments) for line in lines}
        for line, result in running.items():
            problems[line], printed = result.result()
            print(f"\n==== Blender {line} (bpy) ====\n{printed}", flush=True)
    print()
    for line, problem in problems.items():
        print(f"Blender {line}: {problem or 'passed'}")
    raise SystemExit(any(problems.values()))


if __name__ == "__main__":
    main()
