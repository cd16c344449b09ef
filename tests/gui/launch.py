# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Starts Blender on a display of its own; runs in the same system as that Blender.

``python3 launch.py install BLENDER ARCHIVE USER_FOLDER``
    validates the extension's archive and installs it into a throw-away user folder.
``python3 launch.py play BLENDER SCENARIO_FILE USER_FOLDER REPORT.json PICTURE_FOLDER LIMIT_S``
    plays the scenarios of one file and writes the results.
``python3 launch.py command BLENDER USER_FOLDER WORD...``
    runs Blender in the background with these words and hands its exit status on.

Standard library only: the system may hold nothing but Blender. What Blender prints goes
to stdout. Exit status: 0 done (failed scenarios are in the report), 1 not done.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

SCREEN = "1600x1000x24"
INSTALL_LIMIT_S = 180


def make_environment(user_folder: str) -> dict[str, str]:
    """Give the environment of a Blender that neither sees nor changes the user's own files."""
    environment = {key: value for key, value in os.environ.items() if "BLENDER" not in key}
    environment["BLENDER_USER_RESOURCES"] = user_folder
    # No graphics card is asked for: the same pixels everywhere.
    environment["LIBGL_ALWAYS_SOFTWARE"] = "1"
    environment.pop("WAYLAND_DISPLAY", None)
    return environment


def run(command: list[str], environment: dict[str, str], limit_s: float) -> int | None:
    """Run a command with all it starts; give its exit status, None when time was up."""
    process = subprocess.Popen(command, env=environment, stdin=subprocess.DEVNULL, process_group=0)
    try:
        return process.wait(limit_s)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        return None


@contextmanager
def open_display() -> Iterator[str]:
    """Start an X server without a screen on a free display; give its name."""
    if not shutil.which("Xvfb") or not shutil.which("import"):
        raise SystemExit("launch.py: the window needs Xvfb and ImageMagick: install them")
    reading, writing = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(writing), "-screen", "0", SCREEN, "-nolisten", "tcp"],
        pass_fds=[writing],
        stdin=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(writing)
    try:
        with os.fdopen(reading) as pipe:
            number = pipe.readline().strip()  # empty when the server died
        if not number:
            raise SystemExit(f"launch.py: Xvfb ended with {server.wait()}")
        yield f":{number}"
    finally:
        server.terminate()
        server.wait()


def install(blender: str, archive: str, user_folder: str) -> str | None:
    """Validate and install the archive; give what went wrong, or None."""
    environment = make_environment(user_folder)
    start = [blender, "--factory-startup", "--command", "extension"]
    for words in (
        ["validate", archive],
        ["install-file", "-r", "user_default", "-e", archive],
    ):
        status = run([*start, *words], environment, INSTALL_LIMIT_S)
        if status != 0:
            return f"blender --command extension {words[0]} ended with {status}"
    return None


def play(
    blender: str, scenarios: str, user_folder: str, report: str, pictures: str, limit_s: float
) -> str | None:
    """Play one scenario file; give why the run did not come to its end, or None."""
    script = Path(__file__).with_name("run_inside.py")
    with tempfile.TemporaryDirectory() as scratch, open_display() as display:
        # A copy: no scenario file finds what another one left in the preferences.
        own_user_folder = shutil.copytree(user_folder, Path(scratch) / "user")
        environment = make_environment(str(own_user_folder))
        environment["DISPLAY"] = display
        command = [blender, "--factory-startup", "--enable-event-simulate"]
        command += ["--window-geometry", "0", "0", *SCREEN.split("x")[:2]]
        command += ["--python-exit-code", "3", "--python", str(script)]
        status = run([*command, "--", scenarios, report, pictures], environment, limit_s)
    if status is None:
        return f"Blender stood still and was ended after {limit_s:g} s"
    return f"Blender ended with {status}" if status else None


def main() -> None:
    """Read the command line."""
    match sys.argv[1:]:
        case ["install", blender, archive, user_folder]:
            problem = install(blender, archive, user_folder)
        case ["play", blender, scenarios, user_folder, report, pictures, limit_s]:
            problem = play(blender, scenarios, user_folder, report, pictures, float(limit_s))
        case ["command", blender, user_folder, *words]:
            environment = make_environment(user_folder)
            raise SystemExit(run([blender, "-b", *words], environment, INSTALL_LIMIT_S))
        case _:
            problem = "wrong call, see the docstring"
    if problem:
        raise SystemExit(f"launch.py: {problem}")


if __name__ == "__main__":
    main()
