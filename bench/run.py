# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Measure Fettle against Blender's own frame stepping: ``python -m bench.run [--quick]``.

Ratios have their baseline in the same run. A figure over its budget is reported as missed; the
exit status stays 0, as speed depends on the machine (``--strict`` makes it 1).
"""

from __future__ import annotations

import argparse
import gc
import os
import platform
import resource
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from bench import shots
from bench.measure import Report, take_turns
from bench.slices import measure_slices
from bench.window import measure_redraw
from fettle.addon import readings, rig_mapping, sampling, subjects
from fettle.core_math import ALL_CHECKS, Motion, Settings, iterate_checks

ROOT = Path(__file__).resolve().parents[1]
FRAMES = 300
VERTICES = 100_000


def find_rig(rig: bpy.types.Object) -> Any:
    """Return the subject of a rig."""
    scene, layer = bpy.context.scene, bpy.context.view_layer
    layer.update()
    return next(s for s in subjects.find_subjects(scene, layer) if s.object_name == rig.name)


def sample(subject: Any, last: int, **options: Any) -> sampling.Sample:
    """Sample one subject over frames 1 .. last."""
    scene, layer = bpy.context.scene, bpy.context.view_layer
    return sampling.sample_subject(scene, layer, subject, (1, last), **options)


def sample_unmapped(subject: Any) -> sampling.Sample:
    """Sample a rig by the direct route as if it was never seen: its bones are to be mapped too."""
    rig_mapping.forget_maps()
    return sample(subject, FRAMES, route="direct")


def step_scene(last: int) -> None:
    """Do what the baseline does: step the user's scene."""
    scene = bpy.context.scene
    for frame in range(1, last + 1):
        scene.frame_set(frame)


def run_all_checks(motion: Motion) -> dict[str, float]:
    """Run every check on a motion that nothing was worked out for yet; seconds by check."""
    motion = motion.slice(0, motion.frame_count)
    return {
        check.id: sum(outcome.check_seconds.values())
        for check, outcome in iterate_checks(motion, ALL_CHECKS, Settings())
    }


def measure_routes(report: Report, rounds: int) -> None:
    """Measure both routes on 80 bones that deform a heavy mesh, against stepping that scene."""
    print("\nRoutes: 80 bones, 300 frames, a mesh of 100,000 vertices")
    shots.start_empty(FRAMES)
    rig = shots.make_rig(80)
    shots.key_rig(rig, FRAMES)
    shots.add_skin(rig, VERTICES)
    subject = find_rig(rig)
    took = take_turns(
        {
            "scene": lambda: step_scene(FRAMES),
            "direct": lambda: sample(subject, FRAMES, route="direct"),
            "direct, with the body map guessed": lambda: sample_unmapped(subject),
            "exact": lambda: sample(subject, FRAMES, route="exact"),
        },
        rounds,
    )
    report.add("stepping the user's scene", 1e3 * took["scene"], "ms")
    for name, share in (
        ("direct", 50), ("direct, with the body map guessed", 50), ("exact", 7),
    ):  # fmt: skip
        detail = f"{1e3 * took[name]:.1f} ms, 1/{took['scene'] / took[name]:.0f}"
        route, _, more = name.partition(",")
        ratio = took[name] / took["scene"]
        report.add(f"{route} route, of stepping the scene{more}", ratio, "", 1 / share, detail)
    report.note("nothing of an earlier reading is used but, where not guessed, the body map")
    motion = sample(subject, FRAMES).motion
    runs = [run_all_checks(motion) for _ in range(rounds + 1)][1:]
    total = float(np.median([sum(run.values()) for run in runs]))
    slowest = sorted(runs[-1].items(), key=lambda entry: -entry[1])[:5]
    detail = ", ".join(f"{name} {1e3 * seconds:.0f}" for name, seconds in slowest)
    count = len(motion.parts)
    report.add(f"all checks, {count} parts x 300 frames", 1e3 * total, "ms", 60, detail)


def measure_generated_rig(report: Report, rounds: int) -> None:
    """Measure the exact route on the generated rig, against stepping the scene it is in."""
    print("\nThe generated rig: 706 bones, constraints and drivers, 300 frames")
    shots.start_empty(FRAMES)
    subject = find_rig(shots.make_generated_rig(FRAMES))
    took = take_turns(
        {
            "scene": lambda: step_scene(FRAMES),
            "exact": lambda: sample(subject, FRAMES, route="exact"),
        },
        rounds,
    )
    report.add("stepping the user's scene", 1e3 * took["scene"], "ms")
    detail = f"{1e3 * took['exact'] / FRAMES:.2f} ms a frame; no mesh to spare"
    report.add(
        "exact route, of stepping the scene", took["exact"] / took["scene"], "", None, detail
    )


def measure_capture(report: Report, rounds: int) -> None:
    """Measure a capture of 4,511 frames, against stepping a share of it."""
    print("\nA capture: 4,511 frames")
    sys.path.insert(0, str(ROOT / "tests" / "support"))
    import captures

    path = captures.find_captures()
    if path is None or not (path / "01_03.bvh").is_file():
        report.note("not measured: the captures are not here (tools/fetch_captures.sh)")
        return
    shots.start_empty(FRAMES)
    rig, last = shots.import_capture(path / "01_03.bvh")
    subject = find_rig(rig)
    took = take_turns(
        {
            "scene": lambda: step_scene(FRAMES),
            "direct": lambda: sample(subject, last, route="direct"),
            "exact": lambda: sample(subject, last, route="exact"),
        },
        max(1, rounds // 2),
    )
    whole = took["scene"] * last / FRAMES
    report.add(f"stepping the user's scene, {last} frames", whole, "s", None, "from 300 of them")
    for route in ("direct", "exact"):
        report.add(f"{route} route, of stepping the scene", took[route] / whole, "", None,
                   f"{took[route]:.2f} s")  # fmt: skip


def measure_growth(report: Report, quick: bool) -> None:
    """Measure time and memory over frames and bones, each case in a process of its own."""
    print("\nGrowth: ten times the frames")
    lengths = (250, 2500) if quick else (250, 2500, 10_000)
    for bones in (20, 80) if quick else (20, 80, 200):
        before: dict[str, float] = {}
        for frames in lengths:
            case = measure_apart(frames, bones)
            if case is None:
                report.note(f"not measured: {bones} bones x {frames} frames failed")
                continue
            for what in ("sampling", "checks"):
                seconds = case[what]
                name = f"{what}, {bones} bones x {frames} frames"
                report.add(name, seconds, "s", None, case["slowest"] if what == "checks" else "")
                if what in before:
                    more = frames / before["frames"]
                    report.add(f"  growth for {more:g} times the frames", seconds / before[what],
                               "x", 1.1 * more)  # fmt: skip
            if (frames, bones) == (10_000, 200):
                report.add("memory over the opened file", case["mib"], "MiB", 1024)
            before = {"frames": frames, **{w: case[w] for w in ("sampling", "checks")}}


def measure_apart(frames: int, bones: int) -> dict[str, Any] | None:
    """Measure one case in a fresh process; None when it fails."""
    command = [sys.executable, "-m", "bench.run", "--case", str(frames), str(bones)]
    done = subprocess.run(
        command, cwd=ROOT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True
    )
    lines = [line for line in done.stdout.splitlines() if line.startswith("case ")]
    if done.returncode or not lines:
        return None
    sampling_s, checks_s, mib, slowest = lines[-1].removeprefix("case ").split(" ", 3)
    return {
        "sampling": float(sampling_s),
        "checks": float(checks_s),
        "mib": float(mib),
        "slowest": slowest,
    }


def run_case(frames: int, bones: int) -> None:
    """Sample and judge one rig, and print seconds and peak memory."""
    shots.start_empty(frames)
    rig = shots.make_rig(bones)
    shots.key_rig(rig, frames)
    subject = find_rig(rig)
    sample(subject, 30)
    opened = read_memory()
    seconds = []
    motion: Any = None
    # However long it is, the first time is not counted: the process asks for its memory then.
    for _ in range(4):
        motion = None
        gc.collect()
        started = time.perf_counter()
        motion = sample(subject, frames, memory=sampling.SamplingMemory()).motion
        seconds.append(time.perf_counter() - started)
    spent = run_all_checks(motion)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    worst = sorted(spent.items(), key=lambda entry: -entry[1])[:3]
    slowest = ", ".join(f"{name} {value:.2f}" for name, value in worst)
    median = float(np.median(seconds[1:]))
    print(f"case {median} {sum(spent.values())} {peak - opened} slowest: {slowest}", flush=True)
    # Taking a large rig apart at exit can take minutes in some Blenders.
    sys.stdout.flush()
    os._exit(0)


def read_memory() -> float:
    """Return the memory this process holds now, MiB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 2**20


def measure_edit(report: Report, rounds: int) -> None:
    """Measure the way from one edited key to fresh samples and fresh flags, on both rigs."""
    for name, bone in (("80-bone rig", "forearm.L"), ("706-bone rig", "hand_ik.L")):
        print(f"\nOne edited key: {name}, 300 frames")
        scene = shots.start_empty(FRAMES)
        if bone == "hand_ik.L":
            rig = shots.make_generated_rig(FRAMES)
        else:
            rig = shots.make_rig(80)
            shots.key_rig(rig, FRAMES)
        subject = find_rig(rig)
        memory = readings.ReadingMemory()
        read_shot(scene, subject, memory)
        curve = shots.list_curves(rig, bone)[-1]
        sampled, judged = [], []
        for number in range(2 * rounds):
            curve.keyframe_points[15].co.y += 0.05 * (-1) ** number
            curve.update()
            bpy.context.view_layer.update()
            first, last = read_shot(scene, subject, memory)
            sampled.append(first)
            judged.append(last)
        report.add("to fresh trails", 1e3 * float(np.median(sampled)), "ms")
        report.add("to fresh flags", 1e3 * float(np.median(judged)), "ms", 100)


def read_shot(scene: Any, subject: Any, memory: Any) -> tuple[float, float]:
    """Read the shot with a memory; seconds until the samples and until the flags are there."""
    started, at = time.perf_counter(), []
    steps = readings.iterate_reading(
        scene,
        bpy.context.view_layer,
        Settings(),
        subjects=[subject],
        budget_ms=float("inf"),
        memory=memory,
        keep=lambda _: at.append(time.perf_counter() - started),
    )
    for _ in steps:
        continue
    return at[0], time.perf_counter() - started


def main() -> None:
    """Measure everything, show the table, write the JSON."""
    parser = argparse.ArgumentParser(prog="bench", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer rounds, no long motion")
    parser.add_argument("--strict", action="store_true", help="exit with 1 if a budget is missed")
    parser.add_argument("--json", type=Path, default=ROOT / "build" / "bench.json")
    parser.add_argument("--case", nargs=2, type=int, help=argparse.SUPPRESS)
    words = parser.parse_args()
    if words.case:
        run_case(*words.case)
    rounds = 2 if words.quick else 5
    load = os.getloadavg()[0]
    report = Report(
        {
            "blender": bpy.app.version_string,
            "numpy": np.__version__,
            "python": platform.python_version(),
            "processors": os.cpu_count(),
            "load_at_start": load,
        }
    )
    print(f"Blender {bpy.app.version_string}, NumPy {np.__version__}, load {load:.1f}")
    print(f"  {'':<58}{'measured':>10}{'':8}{'budget':>9}")
    if load > 0.5 * (os.cpu_count() or 1):
        report.note("the machine is busy with other work: times are long, ratios are rough")
    measure_routes(report, rounds)
    measure_generated_rig(report, rounds)
    measure_capture(report, rounds)
    measure_edit(report, rounds)
    measure_slices(report)
    measure_growth(report, words.quick)
    measure_redraw(report)
    report.write(words.json)
    missed = report.list_missed()
    print(f"\n{len(missed)} budgets missed" if missed else "\nall budgets kept")
    for figure in missed:
        print(
            f"  MISSED {figure.name}: {figure.value:.4g} {figure.unit}, budget {figure.budget:.4g}"
        )
    sys.stdout.flush()
    os._exit(bool(missed) and words.strict)


if __name__ == "__main__":
    main()
