# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""One reading at work in the background: short slices from a timer, never a blocked window.

The job belongs to a scene. It ends by itself, is stopped by the user, or starts anew when the
animation changes under it. Nothing modal runs, so nothing traps the user.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import bpy

from ..core_math import Settings, ShotReading, apply_marks
from . import kept
from .readings import ReadingMemory, ReadingSteps, collect_keys, iterate_reading, read_marks
from .sampling import InterruptedReadingError, SamplingError, ShotSamples, metres_per_unit

SLICE_S = 0.0055
"""What a slice aims at: one takes 8 ms at most, and the last of its steps may be a long one."""
LONGEST_SLICE_S = 0.06
AT_ONCE_S = 0.1
PAUSE_S = 0.004
"""Between two slices the window has its turn: events, redraws, playback."""
SHARE = 0.25
"""Every slice makes the host draw its views once. Where that takes long, a slice may take this
share of it: the window is hardly slower for it, and the reading ends many times sooner."""
STEP_MS = 2.5


@dataclass(eq=False, slots=True)
class ReadingJob:
    """A reading that is under way."""

    scene: str
    view_layer: str
    settings: Settings
    source: str
    given: ShotSamples | None = None
    steps: ReadingSteps | None = None
    samples: ShotSamples | None = None
    progress: float = 0.0
    text: str = "starting"
    started: float = 0.0
    worked: float = 0.0
    left_at: float = 0.0
    at_once: bool = False
    whole: bool = True
    outdated: bool = False


_job: ReadingJob | None = None
_last_work: dict[str, float] = {}
_memory: dict[str, ReadingMemory] = {}

listeners: list[Callable[[str], None]] = []
"""Called with the scene's name whenever a job started, went on, or ended."""


def running(scene_name: str | None = None) -> ReadingJob | None:
    """Return the job at work (for a scene), None when there is none."""
    if _job is None or (scene_name is not None and _job.scene != scene_name):
        return None
    return _job


def last_work(scene_name: str) -> float | None:
    """Return the seconds of work in the scene's last reading, None when it was never read."""
    return _last_work.get(scene_name)


def start(
    scene: bpy.types.Scene,
    view_layer: bpy.types.ViewLayer,
    settings: Settings,
    source: str,
    given: ShotSamples | None = None,
    at_once: bool = False,
    whole: bool = True,
) -> ReadingJob:
    """Start reading a scene; a job that is at work is given up.

    Parameters
    ----------
    given : ShotSamples, optional
        Samples that still hold: only the judging is done again.
    at_once : bool
        Begin with one longer slice: what is known to be short is done before the next redraw.
    whole : bool
        Look at what lies around the subjects, too; that costs time.
    """
    global _job
    before = _give_up()
    if before is not None and before.scene != scene.name:
        _tell(before.scene)
    _job = ReadingJob(scene.name, view_layer.name, settings, source, given)
    _job.at_once, _job.whole = at_once, whole
    _begin(_job, scene, view_layer)
    if not bpy.app.timers.is_registered(_work):
        bpy.app.timers.register(_work, first_interval=0.0)
    _tell(_job.scene)
    return _job


def stop() -> bool:
    """Give up the job at work; say whether there was one."""
    job = _give_up()
    if job is None:
        return False
    if bpy.app.timers.is_registered(_work):
        bpy.app.timers.unregister(_work)
    _tell(job.scene)
    return True


def _give_up() -> ReadingJob | None:
    global _job
    job, _job = _job, None
    if job is not None:
        _close(job)
    return job


def note_change(scene_name: str) -> None:
    """Let a job that is still sampling a scene begin anew with its next slice.

    It holds curves and constraints that an edit may have removed, and must not look at them
    again. What it has sampled and still holds is not lost.
    """
    if _job is not None and _job.scene == scene_name and _job.samples is None:
        _job.outdated = True


def work_now() -> None:
    """Work a first slice without waiting for the timer."""
    _work()


def run_to_end() -> None:
    """Work off the job at hand without a pause."""
    while _job is not None:
        _work_slice(float("inf"))


def _begin(job: ReadingJob, scene: bpy.types.Scene, view_layer: bpy.types.ViewLayer) -> None:
    job.samples, job.outdated = None, False
    job.progress, job.text = 0.0, "starting"
    job.started = time.perf_counter()
    job.worked = job.left_at = 0.0
    job.steps = iterate_reading(
        scene,
        view_layer,
        job.settings,
        source=job.source,
        samples=job.given,
        surroundings=job.whole,
        budget_ms=STEP_MS,
        keep=lambda samples: _keep_samples(job, samples),
        memory=_recall(job.scene),
    )


def _recall(scene_name: str) -> ReadingMemory:
    """Return what is remembered of the scene; of one scene at a time, it can be large."""
    if scene_name not in _memory:
        _memory.clear()
        _memory[scene_name] = ReadingMemory()
    return _memory[scene_name]


def forget_memory() -> None:
    """Drop what is remembered of earlier readings: the next one reads everything."""
    _memory.clear()


def is_remembering() -> bool:
    """Say whether anything of earlier readings is held to make the next one short."""
    return bool(_memory)


def _keep_samples(job: ReadingJob, samples: ShotSamples) -> None:
    """Show the new trails at once; the flags of before fade until the new ones are judged."""
    job.samples = samples
    entry = kept.get(job.scene)
    if entry is not None and job.given is None:
        kept.replace_motions(entry, {one.motion.subject: one.motion for one in samples.samples})


def _close(job: ReadingJob) -> None:
    if job.steps is not None:
        job.steps.close()
        job.steps = None


def _work() -> float | None:
    job = _job
    if job is None:
        return None
    elsewhere = time.perf_counter() - job.left_at if job.left_at else 0.0
    seconds = min(max(SLICE_S, SHARE * elsewhere), LONGEST_SLICE_S)
    if job.at_once:
        seconds, job.at_once = AT_ONCE_S, False
    _work_slice(seconds)
    job.left_at = time.perf_counter()
    return PAUSE_S if _job is not None else None


def _work_slice(seconds: float) -> None:
    """Work for a while; whatever goes wrong ends the job and is told in one line."""
    global _job
    job = _job
    if job is None:
        return
    begun = time.perf_counter()
    end = begun + seconds
    try:
        scene = bpy.data.scenes.get(job.scene)
        view_layer = scene.view_layers.get(job.view_layer) if scene is not None else None
        if scene is None or view_layer is None:
            _job = None
            _close(job)
            _tell(job.scene)
            return
        if job.outdated:
            _close(job)
        if job.steps is None:
            _begin(job, scene, view_layer)
        assert job.steps is not None
        longest, at = 0.0, time.perf_counter()
        while True:
            job.progress, job.text = next(job.steps)
            before, at = at, time.perf_counter()
            # What comes next will hardly be shorter than what was just done.
            longest = max(at - before, 0.5 * longest)
            if at + longest >= end:
                break
    except StopIteration as done:
        _job = None
        _last_work[job.scene] = job.worked + time.perf_counter() - begun
        _finish(job, done.value)
    except SamplingError as error:
        _fail(job, str(error))
    except (InterruptedReadingError, ReferenceError):
        # Saved, undone, loaded, or an object is gone: the next slice begins anew, on the file as
        # it is now.
        _close(job)
    except Exception as error:
        _fail(job, f"reading failed: {type(error).__name__}: {error}")
        raise
    job.worked += time.perf_counter() - begun
    _tell(job.scene)


def _finish(job: ReadingJob, reading: ShotReading) -> None:
    scene = bpy.data.scenes[job.scene]
    marks, notes = read_marks(scene)
    assert job.samples is not None
    motions = {sample.motion.subject: sample.motion for sample in job.samples.samples}
    _, unused = apply_marks(reading.flags, marks, collect_keys(motions.values()))
    kept.keep(
        kept.Kept(
            scene=job.scene,
            reading=reading,
            motions=motions,
            samples=job.samples,
            metres_per_unit=metres_per_unit(scene),
            notes=notes,
            unused_marks=unused,
        )
    )


def _fail(job: ReadingJob, line: str) -> None:
    global _job
    _job = None
    _close(job)
    kept.forget(job.scene)
    kept.set_problem(job.scene, line)
    _tell(job.scene)


def _tell(scene_name: str) -> None:
    for listener in listeners:
        listener(scene_name)
