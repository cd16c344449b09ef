# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Run the headless tests inside this Python's ``bpy`` and leave at once.

Some Blender modules spend minutes taking a large rig apart at exit, or print lists of
what they did not free. The verdict is in by then, so the process ends without that.
Words on the command line go to pytest.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def main() -> None:
    """Run pytest on tests/in_blender and end with its exit status."""
    os.chdir(ROOT)
    status = int(pytest.main(["tests/in_blender", *sys.argv[1:]]))
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(status)


if __name__ == "__main__":
    main()
