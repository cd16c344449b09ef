# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Builds both takes: ``python -m fettle.demo_blend_scripts --out FOLDER``."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path


def main() -> int:
    """Build the takes that were asked for and say where they are."""
    parser = argparse.ArgumentParser(
        prog="python -m fettle.demo_blend_scripts", description="Build the demo shot's two takes."
    )
    parser.add_argument("--out", type=Path, required=True, help="folder for the .blend files")
    parser.add_argument(
        "--take", type=int, choices=(1, 2), action="append", help="only this take (default: both)"
    )
    wanted = parser.parse_args()
    from .build_demo import PLANTED_FAULTS, build_take, take_path

    for take in wanted.take or (1, 2):
        path = take_path(wanted.out, take)
        try:
            build_take(take, path)
        except (OSError, RuntimeError) as problem:
            print(f"{path}: could not be written: {problem}", file=sys.stderr)
            return 2
        print(f"{path}: take {take} built")
    if 1 in (wanted.take or (1, 2)):
        print("Planted in take 1:")
        for fault in PLANTED_FAULTS:
            print(f"  {fault.first:4d}-{fault.last:<4d} {fault.part:20s} {fault.name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
