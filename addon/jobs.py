# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Read shots in worker processes, each in one of its own.

A shot that takes Blender down, hangs or eats the memory costs its own result and nobody else's.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from functools import partial
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]

# The worker imports the very package this process runs, under whatever name that was installed.
_START = """
import importlib.util, sys
spec = importlib.util.spec_from_file_location(
    "fettle", {root!r} + "/__init__.py", submodule_search_locations=[{root!r}])
package = importlib.util.module_from_spec(spec)
sys.modules["fettle"] = package
spec.loader.exec_module(package)
sys.argv = {argv!r}
importlib.import_module({module!r}).main()
"""

# The arrays of one shot are too small to be worth several threads, which would only get into the
# way of the other workers.
_ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}

_COMPLAINT = re.compile(r"\b(\w*error|\w*exception|fatal|cannot|failed)\b", re.IGNORECASE)
_CLOCK = re.compile(r"^\d+:\d+(\.\d+)?\s+(\S+\s+\|\s*)?")

STOPPED = "was stopped before it was read"

Job = dict[str, Any]
Result = dict[str, Any]
Tell = Callable[[int, float, str], None]


class JobError(RuntimeError):
    """A worker that brought no result back; the message says why."""


class Stop:
    """Tells all running jobs to end at once."""

    def __init__(self) -> None:
        self._event = threading.Event()

    def __call__(self) -> bool:
        """Say whether to stop."""
        return self._event.is_set()

    def now(self) -> None:
        """Stop."""
        self._event.set()


def make_job(
    source: str,
    *,
    settings: str,
    frames: tuple[int, int] | None = None,
    camera: str | None = None,
    left_out: dict[str, str] | None = None,
    run_scripts: bool = False,
    bake: dict[str, str] | None = None,
    trail_picture: str | None = None,
    pictures: bool = False,
    keys: bool = False,
    take: str | None = None,
    time_limit_s: float | None = None,
    memory_mb: int | None = None,
) -> Job:
    """Describe the reading of one shot in plain data that can travel to any process.

    Parameters
    ----------
    source : str
        The file as it was named.
    settings : str
        The text of a settings file.
    frames : (int, int), optional
    camera : str, optional
    left_out : mapping of check id to reason, optional
        Checks the caller switched off.
    run_scripts : bool
        Let Python in the file run.
    bake : dict, optional
        `out` (path of the copy with markers) and `at_least` (a severity).
    trail_picture : str, optional
        Path of a picture of a hand's trail to draw.
    pictures : bool
        Draw the pictures of the review sheet.
    keys : bool
        Bring the key frames of every part back too.
    take : str, optional
        Bring the take that is kept under this name back instead of reading.
    time_limit_s, memory_mb
        What the worker may take.
    """
    return {
        "source": source,
        "path": os.path.abspath(source),
        "settings": settings,
        "frames": list(frames) if frames else None,
        "camera": camera,
        "left_out": left_out or {},
        "run_scripts": run_scripts,
        "bake": bake,
        "trail_picture": trail_picture,
        "pictures": pictures,
        "keys": keys,
        "take": take,
        "time_limit_s": time_limit_s,
        "memory_mb": memory_mb,
    }


def start_command(module: str, *argv: str) -> list[str]:
    """Return the command of a process that runs a module's `main` with Blender at hand.

    Raises
    ------
    JobError
        When this Python has no Blender.
    """
    name = f"fettle.{module}"
    code = _START.format(root=str(ROOT), argv=[name, *argv], module=name)
    return [*find_python(), code]


def find_python() -> list[str]:
    """Return how a process with Blender in it is started, up to the code it is to run.

    Raises
    ------
    JobError
        When this Python has no Blender; says which would.
    """
    blender = sys.modules.get("bpy")
    binary = getattr(getattr(blender, "app", None), "binary_path", "")
    if binary:
        return [binary, "-b", "--factory-startup", "-noaudio", "--python-expr"]
    import importlib.util

    if importlib.util.find_spec("bpy") is None:
        have = f"{sys.version_info.major}.{sys.version_info.minor}"
        raise JobError(
            f"Blender's module bpy is not installed for this Python {have}; install Fettle with "
            "Python 3.11 or 3.13, or call it through Blender: blender -b --command fettle"
        )
    return [sys.executable, "-c"]


def run_job(
    job: Job,
    tell: Callable[[float, str], None] | None = None,
    stop: Callable[[], bool] | None = None,
) -> Result:
    """Do one job in a process of its own and wait for it.

    Parameters
    ----------
    job : dict
        Made by `make_job`.
    tell : callable, optional
        Told progress from 0 to 1 and what is going on, from another thread.
    stop : callable, optional
        Asked ten times a second whether to end at once.

    Returns
    -------
    dict
        `shots`, `errors` and `seconds`. A worker that died, hung or was stopped has one line in
        `errors` instead.
    """
    started = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="fettle-") as folder:
        result_path = Path(folder, "result.json")
        log_path = Path(folder, "log.txt")
        with log_path.open("wb") as log:
            process = subprocess.Popen(
                start_command("addon.worker"),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                env={**os.environ, **_ONE_THREAD},
                start_new_session=os.name == "posix",
            )
        try:
            why = _attend(process, {**job, "result": str(result_path)}, tell, stop, started)
        finally:
            _kill(process)
        try:
            result = json.loads(result_path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            text = why or _say_exit(process.returncode, job)
            result = make_failure(job, text + _quote_log(log_path, why))
        return {**result, "seconds": time.monotonic() - started}


def run_jobs(
    jobs: Sequence[Job], workers: int, tell: Tell | None = None
) -> Iterator[tuple[int, Result]]:
    """Do jobs, several at a time, and yield each with its number as soon as it is done.

    Closing the generator, or an interrupt, ends the workers that still run.
    """
    stop = Stop()

    def do(number: int) -> Result:
        if stop():
            return make_failure(jobs[number], STOPPED)
        return run_job(jobs[number], partial(tell, number) if tell else None, stop)

    pool = ThreadPoolExecutor(max_workers=max(1, workers))
    try:
        running = {pool.submit(do, number): number for number in range(len(jobs))}
        for future in as_completed(running):
            yield running[future], future.result()
    finally:
        stop.now()
        pool.shutdown(wait=True, cancel_futures=True)


def make_failure(job: Job, text: str, seconds: float = 0.0) -> Result:
    """Return the result of a job that brought back nothing but one line."""
    error = {"source": job["source"], "error": f"{job['source']}: {text}"}
    return {"shots": [], "errors": [error], "seconds": seconds}


def _attend(
    process: subprocess.Popen[bytes],
    job: Job,
    tell: Callable[[float, str], None] | None,
    stop: Callable[[], bool] | None,
    started: float,
) -> str | None:
    """Wait for the worker's end; return why it was ended before, None when it ended itself."""
    assert process.stdin is not None
    listener = threading.Thread(target=_listen, args=(process, tell), daemon=True)
    listener.start()
    with contextlib.suppress(OSError):
        process.stdin.write(json.dumps(job).encode() + b"\n")
        process.stdin.close()
    limit = job["time_limit_s"]
    while listener.is_alive():
        listener.join(timeout=0.1)
        if stop is not None and stop():
            return STOPPED
        if limit is not None and time.monotonic() - started > limit:
            memory = f" or run out of its {job['memory_mb']} MB" if job["memory_mb"] else ""
            return f"took longer than {limit:g} s; raise --time-limit: it may hang{memory}"
    # Its output is closed: it is ending, or hangs on the way out with its result written.
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(timeout=10.0)
    return None


def _listen(process: subprocess.Popen[bytes], tell: Callable[[float, str], None] | None) -> None:
    assert process.stdout is not None
    for line in process.stdout:
        # A Blender with a window greets on the same channel before the worker takes over.
        with contextlib.suppress(ValueError, KeyError, TypeError):
            message = json.loads(line)
            if tell is not None:
                tell(float(message["progress"]), str(message["text"]))


def _kill(process: subprocess.Popen[bytes]) -> None:
    """End the worker and whatever it started."""
    if os.name == "posix":
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
    elif process.poll() is None:
        process.kill()
    process.wait()
    for stream in (process.stdin, process.stdout):
        if stream is not None:
            with contextlib.suppress(OSError):
                stream.close()


def _say_exit(code: int, job: Job) -> str:
    if code >= 0:
        return f"Blender ended with status {code} before the shot was read"
    if -code == signal.SIGKILL:
        return "its worker was killed from outside, probably because memory ran out"
    memory = "raise --memory-limit, or " if job["memory_mb"] else ""
    name = signal.Signals(-code).name
    return f"Blender crashed on it ({name}); {memory}try opening it in Blender"


def _quote_log(path: Path, why: str | None) -> str:
    """Return what a worker that died by itself complained of last."""
    if why is not None:
        return ""
    try:
        lines = path.read_text(encoding="utf-8", errors="replace").split("\n")
    except OSError:
        return ""
    said = [line.strip() for line in lines if _COMPLAINT.search(line)]
    return f"; it said: {_CLOCK.sub('', said[-1])[:160]}" if said else ""
