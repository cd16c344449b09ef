# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Work that pauses between its pieces, so that a window has its turn while much is measured."""

from __future__ import annotations

from collections.abc import Generator
from typing import TypeVar

T = TypeVar("T")

Steps = Generator[None, None, T]
"""A generator that yields at every pause; what it returns in the end is the value."""


def run_steps(steps: Steps[T]) -> T:
    """Run some work to its end without a pause, and return its value."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            value: T = end.value
            return value
