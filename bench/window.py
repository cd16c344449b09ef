# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Measure what a redraw costs, in a real window: BLENDER=path, or what ``make window-test`` uses.

The window is drawn without a graphics card, on a display of its own. Only the time spent in
Fettle's own draw functions counts.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from bench.measure import Report

ROOT = Path(__file__).resolve().parents[1]
LIMIT_S = 400
WORDS = {
    "still": ("redraw, 20 trails x 300 frames and 200 flags", 2.0),
    "turning": ("redraw, the view turned", 2.0),
    "frames": ("redraw, on another frame", 2.0),
    "off": ("redraw, overlay off", 0.001),
}


def measure_redraw(report: Report) -> None:
    """Measure the Python time of a redraw in every Blender with a window that is there."""
    print("\nRedraw, in a window")
    sys.path.insert(0, str(ROOT / "tools"))
    import window_test

    given = os.environ.get("BLENDER")
    cache = Path(os.environ.get("FETTLE_CACHE") or Path.home() / ".cache" / "fettle")
    blenders: list[dict[str, Any]] = []
    if given:
        blenders.append(window_test.describe_given(given))
    else:
        for label, suite in window_test.SUITES.items():
            if (cache / "blender" / f"{suite}.ready").exists():
                blenders.append(window_test.provision(label))
            else:
                report.note(f"redraw not measured in Blender {label}: run make window-test once")
    work = ROOT / "build" / "bench-window"
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    archive = _build_archive(work)
    for blender in blenders:
        printed = _play(blender, archive, work) if not blender["missing"] else ""
        lines = [line.split() for line in printed.splitlines() if line.startswith("redraw ")]
        if not lines:
            (work / f"{blender['label']}.log").write_text(printed, encoding="utf-8")
            report.note(f"redraw not measured in Blender {blender['label']}: see build/{work.name}")
        for _, name, middle, high in lines:
            words, budget = WORDS[name]
            detail = f"Blender {blender['label']}, the longest {float(high):.2f} ms"
            report.add(words, float(middle), "ms", budget, detail)


def _build_archive(work: Path) -> Path:
    command = [sys.executable, ROOT / "tools" / "build_zip.py", "--blender=", "--output-dir", work]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True)
    return Path(done.stdout.splitlines()[-1])


def _play(blender: dict[str, Any], archive: Path, work: Path) -> str:
    """Install the extension into a throw-away folder and play the measurement; what it printed."""

    def show(path: Path) -> str:
        return f"{blender['checkout']}/{path.relative_to(ROOT)}"

    user, pictures = work / blender["label"] / "user", work / blender["label"] / "pictures"
    for folder in (user, pictures):
        folder.mkdir(parents=True)
    start = [*blender["prefix"], blender["python"], show(ROOT / "tests" / "gui" / "launch.py")]
    calls = (
        ["install", blender["program"], show(archive), show(user)],
        ["play", blender["program"], show(ROOT / "bench" / "redraw.py"), show(user),
         show(user.parent / "report.json"), show(pictures), str(LIMIT_S)],
    )  # fmt: skip
    printed = ""
    for words in calls:
        done = subprocess.run(
            [*start, *words],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
        )
        printed += done.stdout
    return printed


if __name__ == "__main__":
    measure_redraw(Report({}))
