# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a terminal is shown while shots are read."""

import io

import pytest

from fettle.addon import progress
from fettle.addon.progress import Progress, find_look, say_duration


class Terminal(io.StringIO):
    encoding = "utf-8"

    def isatty(self):
        return True


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.4, "0 s"),
        (59.4, "59 s"),
        (59.6, "1 min 00 s"),
        (3599, "59 min 59 s"),
        (7260, "2 h 01 min"),
    ],
)
def test_durations_are_told_in_the_units_that_matter(seconds, words):
    assert say_duration(seconds) == words


def test_colours_on_a_terminal_only_and_never_against_the_users_wish(monkeypatch):
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    assert find_look(Terminal()).colour
    assert not find_look(io.StringIO()).colour
    monkeypatch.setenv("NO_COLOR", "1")
    assert not find_look(Terminal()).colour
    monkeypatch.delenv("NO_COLOR")
    monkeypatch.setenv("TERM", "dumb")
    assert not find_look(Terminal()).colour


def test_stream_without_unicode_gets_no_signs():
    assert not find_look(io.TextIOWrapper(io.BytesIO(), encoding="ascii")).signs
    assert find_look(io.TextIOWrapper(io.BytesIO(), encoding="utf-8")).signs


def test_log_gets_one_line_a_shot_with_the_time_left(monkeypatch):
    clock = [100.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: clock[0])
    stream = io.StringIO()
    shown = Progress(stream, 4)
    shown.tell(0, 0.5, "sampling")
    clock[0] += 30.0
    shown.finish(0, "a.blend", "2 clear")
    assert stream.getvalue() == "[1/4] a.blend: 2 clear, 1 min 30 s left\n"


def test_single_shot_leaves_no_trace_in_a_log():
    stream = io.StringIO()
    shown = Progress(stream, 1)
    shown.tell(0, 0.5, "sampling")
    shown.finish(0, "a.blend", "2 clear")
    shown.clear()
    assert stream.getvalue() == ""


def test_terminal_gets_one_line_that_is_taken_away():
    stream = Terminal()
    shown = Progress(stream, 2)
    shown.tell(0, 0.5, "sampling frames 1-48")
    shown.finish(0, "a.blend", "2 clear")
    shown.clear()
    text = stream.getvalue()
    assert "1/2" in text and "25%" in text and "sampling frames 1-48" in text
    assert "\n" not in text and text.endswith("\r\x1b[K")


def test_quiet_is_quiet():
    for stream in (Terminal(), io.StringIO()):
        shown = Progress(stream, 3, quiet=True)
        shown.tell(0, 0.5, "x")
        shown.finish(0, "a", "b")
        shown.clear()
        assert stream.getvalue() == ""
