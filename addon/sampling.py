# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""From Blender's data to Motion, without touching the user's frame, selection, mode or undo.

    subjects = find_subjects(scene, view_layer)
    shot = sample_shot(scene, view_layer, subjects, (1, 120))
    shot.samples[0].motion, shot.samples[0].facts, shot.failures

    sample = sample_subject(scene, view_layer, subjects[0], (1, 120))

    steps = iterate_sampling(scene, view_layer, subjects, (1, 120), budget_ms=8.0)
    for progress in steps: ...             # 0..1, once per slice
    # the ShotSamples is the value of StopIteration; `run_sampling(steps)` gives it

All are free of context; nothing but a closed generator is needed to stop one half-way. Distances
are metres: units of the scene times its unit scale (times 1 where the unit system is "None").
Frames are the scene's; where time is remapped, frame f shows the animation's f x old / new.
"""

from __future__ import annotations

import time
from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass, fields

import bpy
import numpy as np

from ..core_math import (
    CannotEvaluateError,
    Motion,
    MotionError,
    ShotCamera,
    Stage,
    SubjectFacts,
)
from .recorders import EXACT, SubjectRecorder, iterate_making
from .sampling_camera import CameraRecorder, choose_cameras, find_cuts
from .sampling_memory import SamplingMemory
from .sampling_scene import (
    InterruptedReadingError,
    SceneItself,
    TemporaryScene,
)
from .slicing import FIRST_FRAME, Clock, take_turns
from .source_reading import SourceReader
from .subjects import SamplingError, Subject

__all__ = [
    "Failure",
    "InterruptedReadingError",
    "Sample",
    "SamplingMemory",
    "SamplingError",
    "ShotSamples",
    "iterate_sampling",
    "run_sampling",
    "sample_shot",
    "sample_subject",
]


@dataclass(frozen=True, slots=True)
class Sample:
    """One subject's motion and the facts it rests on."""

    motion: Motion
    facts: SubjectFacts


@dataclass(frozen=True, slots=True)
class Failure:
    """A subject that could not be sampled, and why, in one line."""

    subject: Subject
    message: str


@dataclass(frozen=True, slots=True)
class ShotSamples:
    """What sampling a shot brought back, in the order of the subjects."""

    samples: tuple[Sample, ...]
    failures: tuple[Failure, ...]
    camera: str | None
    sampling_s: float


def sample_subject(
    scene: bpy.types.Scene,
    view_layer: bpy.types.ViewLayer,
    subject: Subject,
    frames: tuple[int, int],
    *,
    camera: str | None = None,
    stage: Stage | None = None,
    corrections: Mapping[str, str] | None = None,
    in_scene: bool = False,
    route: str | None = None,
    memory: SamplingMemory | None = None,
) -> Sample:
    """Sample one subject over the frames first .. last, both included.

    Raises
    ------
    SamplingError
        With one line that says who, where and what to do.
    """
    shot = sample_shot(
        scene,
        view_layer,
        [subject],
        frames,
        camera=camera,
        stages={subject.name: stage} if stage is not None else None,
        corrections={subject.name: corrections} if corrections is not None else None,
        in_scene=in_scene,
        route=route,
        memory=memory,
    )
    if shot.failures:
        raise SamplingError(shot.failures[0].message)
    return shot.samples[0]


def sample_shot(
    scene: bpy.types.Scene,
    view_layer: bpy.types.ViewLayer,
    subjects: Sequence[Subject],
    frames: tuple[int, int],
    *,
    camera: str | None = None,
    stages: Mapping[str, Stage] | None = None,
    corrections: Mapping[str, Mapping[str, str]] | None = None,
    in_scene: bool = False,
    route: str | None = None,
    memory: SamplingMemory | None = None,
) -> ShotSamples:
    """Sample several subjects in one go; see `iterate_sampling`."""
    return run_sampling(
        iterate_sampling(
            scene,
            view_layer,
            subjects,
            frames,
            camera=camera,
            stages=stages,
            corrections=corrections,
            in_scene=in_scene,
            route=route,
            memory=memory,
            budget_ms=float("inf"),
        )
    )


def run_sampling(steps: Generator[float, None, ShotSamples]) -> ShotSamples:
    """Run the sampling to its end without a pause."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            return end.value


def iterate_sampling(
    scene: bpy.types.Scene,
    view_layer: bpy.types.ViewLayer,
    subjects: Sequence[Subject],
    frames: tuple[int, int],
    *,
    camera: str | None = None,
    stages: Mapping[str, Stage] | None = None,
    corrections: Mapping[str, Mapping[str, str]] | None = None,
    in_scene: bool = False,
    route: str | None = None,
    memory: SamplingMemory | None = None,
    budget_ms: float = 8.0,
) -> Generator[float, None, ShotSamples]:
    """Sample subjects in slices; close the generator to stop.

    Parameters
    ----------
    scene, view_layer
        What the user looks at; only read.
    subjects : sequence of Subject
    frames : (int, int)
        First and last frame of the scene, both included.
    camera : str, optional
        The shot camera by name; the scene's camera and its bound markers when left out.
    stages : mapping of subject name to Stage, optional
        The user's word on the stage.
    corrections : mapping of subject name to corrections of its body map, optional
        In place of those kept in the file.
    in_scene : bool
        Step the user's own scene and go back, in place of a temporary one: shows what follows a
        simulation or the scene's own clock, and loses poses that were not keyed. Left off, such
        parts are left out with the reason.
    route : str, optional
        "exact" or "direct" for all subjects; chosen for each of them when left out.
    memory : SamplingMemory, optional
        Of earlier samplings of this scene: only what has changed since is sampled again. A
        subject with nothing changed comes back as the very same Sample.
    budget_ms : float
        How long a slice may take before the caller has its turn.

    Yields
    ------
    float
        Progress from 0 to 1.

    Returns
    -------
    ShotSamples
        A subject that cannot be sampled is named in `failures`; the others are still done.

    Raises
    ------
    SamplingError
        When the frames or the camera make no sense for any subject.
    InterruptedReadingError
        When the file was saved, undone or loaded between two slices: start again.
    """
    clock = Clock(budget_ms)
    start, end = _check_frames(frames)
    looking = choose_cameras(scene, start, end, camera)
    cuts = find_cuts(scene, start, end)
    reader = SourceReader()
    camera_recorder = CameraRecorder(scene, looking, start, reader)
    if not in_scene and route != EXACT:
        camera_recorder.try_direct()
    recorders: list[SubjectRecorder] = []
    failures: list[Failure] = []
    for subject in subjects:
        said = (corrections or {}).get(subject.name)
        making = iterate_making(scene, subject, start, end, reader, said, in_scene, route)
        try:
            recorders.append((yield from take_turns(making, clock, reader)))
        except SamplingError as error:
            failures.append(Failure(subject, str(error)))

    if memory is not None and not in_scene:
        yield from take_turns(camera_recorder.recall(memory), clock, reader)
        for recorder in recorders:
            yield from take_turns(recorder.recall(memory, scene), clock, reader)
    for recorder in recorders:
        yield from take_turns(recorder.claim(), clock, reader)

    stepped = [recorder for recorder in recorders if recorder.steps]
    missing = [set(recorder.list_missing().tolist()) for recorder in stepped]
    rows = sorted(set().union(camera_recorder.list_missing().tolist(), *missing))
    if rows and recorders:
        needed = camera_recorder.list_objects()
        for recorder in stepped:
            needed += recorder.list_objects()
        stage_set = SceneItself(scene, view_layer) if in_scene else TemporaryScene(scene, needed)
        longest = FIRST_FRAME
        try:
            for number, row in enumerate(rows):
                if clock.is_over(ahead=longest):
                    yield from clock.pause(number / len(rows))
                begun = time.perf_counter()
                depsgraph = stage_set.step(start + row)
                camera_recorder.record(row, depsgraph)
                for recorder, wanted in zip(stepped, missing, strict=True):
                    if row in wanted:
                        recorder.record(row, depsgraph)
                # The first frame builds the relations: no measure of those that follow.
                took = time.perf_counter() - begun if number else 0.0
                longest = max(took, 0.95 * longest if number > 1 else 0.0)
            for recorder in stepped:
                recorder.settle()
            if clock.is_over(ahead=FIRST_FRAME):
                yield from clock.pause(1.0)
        finally:
            stage_set.remove()
            for recorder in stepped:
                recorder.settle()

    for number, recorder in enumerate(recorders):
        todo = np.zeros(0, dtype=np.int64) if recorder.steps else recorder.list_missing()
        block, done = recorder.block(hurried=budget_ms < float("inf")), 0
        if len(todo):
            share = number / len(recorders) if not rows else 1.0
            yield from take_turns(recorder.prepare(todo), clock, reader, share)
        for stretch in recorder.list_stretches(todo):
            share = (number + done / len(todo)) / len(recorders) if not rows else 1.0
            yield from take_turns(recorder.evaluate(stretch, block), clock, reader, share)
            done += len(stretch)

    shot_camera = camera_recorder.finish(metres_per_unit(scene)) if recorders else None
    samples: list[Sample] = []
    for recorder in recorders:
        if clock.is_over():
            yield from clock.pause(1.0)
        try:
            stage = (stages or {}).get(recorder.subject.name)
            sample = yield from _finish(recorder, shot_camera, cuts, stage, clock, reader)
            samples.append(sample)
        except (SamplingError, MotionError, CannotEvaluateError) as error:
            failures.append(Failure(recorder.subject, str(error)))
    return ShotSamples(
        samples=tuple(samples),
        failures=tuple(failures),
        camera=shot_camera.name if shot_camera is not None else None,
        sampling_s=clock.total(),
    )


def _finish(
    recorder: SubjectRecorder,
    camera: ShotCamera | None,
    cuts: tuple[int, ...],
    stage: Stage | None,
    clock: Clock,
    reader: SourceReader,
) -> Generator[float, None, Sample]:
    """Make the sample, or hand out the last one when nothing it rests on has changed."""
    kept = recorder.kept
    if kept is not None and kept.result is not None:
        before, rested_on = kept.result
        if rested_on == (cuts, stage) and _is_same_camera(before.motion.camera, camera):
            return before
    motion = yield from take_turns(recorder.finish(camera, cuts, stage), clock, reader, 1.0)
    sample = Sample(motion, recorder.describe(motion))
    if kept is not None:
        kept.keep((sample, (cuts, stage)), motion)
    return sample


def _is_same_camera(one: ShotCamera | None, other: ShotCamera | None) -> bool:
    if one is None or other is None:
        return one is other
    return all(
        np.array_equal(getattr(one, field.name), getattr(other, field.name))
        for field in fields(ShotCamera)
    )


def metres_per_unit(scene: bpy.types.Scene) -> float:
    """Return how many metres one unit of the scene stands for."""
    units = scene.unit_settings
    return 1.0 if units.system == "NONE" else float(units.scale_length)


def _check_frames(frames: tuple[int, int]) -> tuple[int, int]:
    start, end = int(frames[0]), int(frames[1])
    if end < start:
        raise SamplingError(
            f"frames {start}-{end} run backwards; set the end frame after the start frame"
        )
    if end == start:
        raise SamplingError(
            f"frame {start} alone is no motion; set the end frame after the start frame"
        )
    return start, end
