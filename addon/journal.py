# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a long run has done so far, on disk, so that `--resume` goes on instead of starting anew.

The journal stands beside the JSON the run is to write and goes when that is written. A line counts
only for the very same job: same file, size and time of change, same settings and version.
"""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path
from types import TracebackType
from typing import IO

from ..core_math import OutputError, find_version
from .jobs import Job, Result

SUFFIX = ".part"
_NO_MATTER = ("time_limit_s", "memory_mb")


class Journal:
    """Lines of finished jobs, written as they finish."""

    def __init__(self, target: Path, resume: bool) -> None:
        """Open the journal of an output, going on with what is there or starting anew.

        Raises
        ------
        OutputError
            When it cannot be written.
        """
        self.path = target.with_name(target.name + SUFFIX)
        self._done: dict[str, Result] = _read_lines(self.path) if resume else {}
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._stream: IO[str] = self.path.open("a" if resume else "w", encoding="utf-8")
            if resume:
                self._stream.write("\n")  # an interrupted line must not swallow the next
        except OSError as error:
            raise OutputError(f"{self.path}: cannot be written ({error.strerror})") from None

    def __enter__(self) -> Journal:
        """Return itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the file; what was done stays in it."""
        self._stream.close()

    def find(self, job: Job) -> Result | None:
        """Return the result of a job that was done before."""
        return self._done.get(identify_job(job))

    def add(self, job: Job, result: Result) -> None:
        """Note a finished job. One that brought nothing back is tried again the next time."""
        if not result["shots"]:
            return
        try:
            line = {"job": identify_job(job), "result": result}
            self._stream.write(json.dumps(line, allow_nan=False) + "\n")
            self._stream.flush()
        except OSError as error:
            raise OutputError(f"{self.path}: cannot be written ({error.strerror})") from None

    def remove(self) -> None:
        """Take the journal away: the run is complete."""
        self._stream.close()
        self.path.unlink(missing_ok=True)


def identify_job(job: Job) -> str:
    """Return a name that changes with whatever changes a job's result."""
    parts = {key: value for key, value in job.items() if key not in _NO_MATTER}
    try:
        status = os.stat(job["path"])
        parts["file"] = [status.st_size, status.st_mtime_ns]
    except OSError:
        parts["file"] = None
    parts["tool"] = find_version()
    text = json.dumps(parts, sort_keys=True, default=str)
    return hashlib.blake2s(text.encode("utf-8", "surrogatepass"), digest_size=16).hexdigest()


def _read_lines(path: Path) -> dict[str, Result]:
    """Return the finished jobs of a journal; a line that was cut off counts as not done."""
    done: dict[str, Result] = {}
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return done
    for line in text.split("\n"):
        try:
            entry = json.loads(line)
            done[entry["job"]] = entry["result"]
        except (ValueError, KeyError, TypeError):
            continue
    return done
