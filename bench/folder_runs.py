# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How a folder of shots is got through: one worker against two, memory, sizes, a long sheet.

``python bench/folder_runs.py [SHOT...]`` reads the named shots, or the two takes of the demo, again
and again. The figures of docs/pipeline.md come from here. Run it on a machine that does nothing
else: two workers need two free cores.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import tempfile
import time
from pathlib import Path

from fettle.addon.command_line import main as run_command
from fettle.addon.jobs import make_job, run_job, run_jobs

ROUNDS = 3
SHOTS = 8


def measure_scaling(shots: list[str]) -> dict[int, float]:
    """Return seconds for all shots with one and with two workers, the median of some rounds.

    The two are measured in turn, so that what else the machine does falls on both.
    """
    times: dict[int, list[float]] = {1: [], 2: []}
    for _ in range(ROUNDS):
        for workers in times:
            started = time.perf_counter()
            for _, result in run_jobs([make_job(shot, settings="") for shot in shots], workers):
                assert not result["errors"], result["errors"]
            times[workers].append(time.perf_counter() - started)
    return {workers: statistics.median(taken) for workers, taken in times.items()}


def measure_shot(shot: str) -> dict[str, float]:
    """Return what one shot costs: seconds of a core, megabytes of memory, kilobytes written."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    result = run_job(make_job(shot, settings=""))
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    with tempfile.TemporaryDirectory() as folder:
        files = {name: Path(folder, f"x.{name}") for name in ("json", "csv", "html")}
        words = [word for name, path in files.items() for word in (f"--{name}", str(path))]
        run_command(["check", shot, "--quiet", *words])
        sizes = {name: path.stat().st_size / 1024.0 for name, path in files.items()}
    return {
        "wall_s": result["seconds"],
        "core_s": cpu,
        "peak_mb": after.ru_maxrss / 1024.0,  # the largest worker so far
        "flags": float(sum(len(entry["findings"]) for entry in result["shots"])),
        **{f"{name}_kb": size for name, size in sizes.items()},
    }


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Measure how a folder of shots is got through.")
    parser.add_argument("shots", nargs="*", help="shots to read (default: the demo's two takes)")
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        shots = wanted.shots
        if not shots:
            run_command(["demo", "--out", folder])
            shots = [str(Path(folder, f"crane_hand_take{take}.blend")) for take in (1, 2)]
        for shot in shots:
            costs = measure_shot(shot)
            words = ", ".join(f"{name} {value:.1f}" for name, value in costs.items())
            print(f"{Path(shot).name}: {words}")
        many = [shots[number % len(shots)] for number in range(SHOTS)]
        times = measure_scaling(many)
        print(
            f"{SHOTS} shots: one worker {times[1]:.2f} s, two {times[2]:.2f} s, "
            f"{times[1] / times[2]:.2f} times as fast"
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
