# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a terminal shows: one line that follows long work, and whether it takes colours."""

from __future__ import annotations

import os
import shutil
import threading
import time
from typing import TextIO

from ..core_math import Look

REDRAW_S = 0.1


def find_look(stream: TextIO) -> Look:
    """Find out what a stream shows: colours on a terminal only, signs where it can write them."""
    terminal = stream.isatty()
    colour = terminal and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"
    try:
        "►◆●".encode(stream.encoding or "ascii")
        signs = True
    except (UnicodeEncodeError, LookupError):
        signs = False
    width = shutil.get_terminal_size((100, 24)).columns if terminal else 100
    return Look(width=max(60, min(width, 140)), colour=colour, signs=signs)


class Progress:
    """Follows several shots that are read at once.

    On a terminal it is one line that is written over; elsewhere each finished shot gets a line of
    its own, and only when there are several.
    """

    def __init__(self, stream: TextIO, total: int, quiet: bool = False) -> None:
        self._stream = stream
        self._total = total
        self._line = not quiet and stream.isatty()
        self._log = not quiet and not stream.isatty() and total > 1
        self._shares: dict[int, float] = {}
        self._done = 0
        self._started = time.monotonic()
        self._drawn = 0.0
        self._lock = threading.Lock()

    def tell(self, number: int, share: float, text: str) -> None:
        """Note how far one shot is; may be called from any thread."""
        with self._lock:
            self._shares[number] = share
            now = time.monotonic()
            if self._line and now - self._drawn >= REDRAW_S:
                self._drawn = now
                self._draw(text)

    def finish(self, number: int, source: str, words: str) -> None:
        """Note that a shot is done, with a few words on its outcome."""
        with self._lock:
            self._shares.pop(number, None)
            self._done += 1
            if self._log:
                left = self._say_left()
                self._write(f"[{self._done}/{self._total}] {source}: {words}{left}\n")

    def clear(self) -> None:
        """Take the line away, before anything else is printed."""
        if self._line:
            with self._lock:
                self._write("\r\x1b[K")

    def _draw(self, text: str) -> None:
        share = (self._done + sum(self._shares.values())) / max(1, self._total)
        head = f"{self._done + 1}/{self._total}  " if self._total > 1 else ""
        line = f"{head}{share:4.0%}  {text}{self._say_left()}"
        width = shutil.get_terminal_size((80, 24)).columns - 1
        self._write(f"\r\x1b[K{line[:width]}")

    def _say_left(self) -> str:
        share = (self._done + sum(self._shares.values())) / max(1, self._total)
        spent = time.monotonic() - self._started
        if share <= 0.02 or share >= 1.0 or spent < 2.0:
            return ""
        return f", {say_duration(spent * (1.0 - share) / share)} left"

    def _write(self, text: str) -> None:
        self._stream.write(text)
        self._stream.flush()


def say_duration(seconds: float) -> str:
    """Write a duration in the two units that matter."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes} min {rest:02d} s"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min"
