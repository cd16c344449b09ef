# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How long a reading in the background keeps the window from its turn, and whose fault it is."""

from __future__ import annotations

import gc
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import bpy
import numpy as np

from bench import shots
from bench.measure import Report
from fettle.addon import reading_job
from fettle.addon.sampling_scene import TemporaryScene
from fettle.addon.sight_lines import Caster
from fettle.core_math import Settings

FRAMES = 300


def measure_slices(report: Report) -> None:
    """Measure how long a reading in the background keeps the window from its turn."""
    print("\nSlices of a reading in the background")
    for name, bones, frames, things in (
        ("80 bones x 300 frames", 80, FRAMES, 0),
        ("80 bones x 2,500 frames", 80, 2500, 0),
        ("the generated rig x 300 frames", 706, FRAMES, 0),
        ("80 bones x 300 frames among 40 things", 80, FRAMES, 40),
    ):
        scene = shots.start_empty(frames)
        if bones == 706:
            shots.make_generated_rig(frames)
        else:
            shots.key_rig(shots.make_rig(bones), frames)
        if things:
            shots.put_things_around(things)
        bpy.context.view_layer.update()
        reading_job.forget_memory()
        # What making the rig left behind is not for the reading to clear away.
        gc.collect()
        reading_job.start(scene, bpy.context.view_layer, Settings(), "", whole=things > 0)
        taken: list[tuple[float, float, str]] = []
        own: list[float] = []
        with watch_host() as host:
            while (job := reading_job.running()) is not None:
                host.clear()
                started, spent = time.perf_counter(), time.thread_time()
                reading_job.work_now()
                length = 1e3 * (time.perf_counter() - started)
                taken.append((length, 1e3 * max(host, default=0.0), job.text))
                own.append(1e3 * (time.thread_time() - spent))
        lengths = np.array([length for length, _, _ in taken])
        detail = f"{len(taken)} slices, {np.mean(lengths > 8.0):.0%} over 8 ms; without what else "
        detail += f"the machine does {np.median(own):.1f}, {np.mean(np.array(own) > 8.0):.0%} over"
        report.add(f"slices, {name}: median", float(np.median(lengths)), "ms", 8, detail)
        worst = "; ".join(f"{text} {length:.0f}" for length, _, text in sorted(taken)[:-4:-1])
        report.add("  the longest", float(lengths.max()), "ms", 8, worst)
        # Without the longest of Blender's own steps in it, which nobody can split.
        rest = sorted((length - step, text) for length, step, text in taken)
        long = [step for length, step, _ in taken if length > 8.0 and length - step <= 8.0]
        detail = f"{len(long)} over 8 ms by one step of Blender's own"
        detail += f" (the longest {max(long):.0f} ms)" if long else ""
        worst = "; ".join(f"{text} {length:.0f}" for length, text in rest[:-4:-1])
        report.add("  the longest of ours", rest[-1][0], "ms", 8, f"{detail}; {worst}")
    report.note("with things around, and a camera, their hiding the rig is looked for as well")
    report.note("one step: making or removing an evaluation, one frame of it, or one sight line")
    report.note("checks pause limb by limb and after every few parts")


@contextmanager
def watch_host() -> Iterator[list[float]]:
    """Collect how long each step takes that is one call of Blender's own, in seconds."""
    took: list[float] = []
    calls = ((TemporaryScene, "step"), (TemporaryScene, "remove"), (Caster, "cast"))
    kept = [(owner, name, getattr(owner, name)) for owner, name in calls]

    def watch(run: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*given: Any) -> Any:
            started = time.perf_counter()
            try:
                return run(*given)
            finally:
                took.append(time.perf_counter() - started)

        return timed

    try:
        for owner, name, run in kept:
            setattr(owner, name, watch(run))
        yield took
    finally:
        for owner, name, run in kept:
            setattr(owner, name, run)
