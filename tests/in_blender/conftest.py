# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What holds for every test inside Blender."""

import threading

import pytest


@pytest.fixture(autouse=True)
def _no_thread_goes_on():
    """Fail a test that leaves Python running in a thread: Blender crashes beside it, later."""
    before = set(threading.enumerate())
    yield
    assert set(threading.enumerate()) <= before
