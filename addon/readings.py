# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""From a scene to a reading, and the readings that are kept while Blender runs.

    reading = read_shot(scene, view_layer, settings, source="shot.blend")

    steps = iterate_reading(scene, view_layer, settings, source="shot.blend")
    for progress, text in steps: ...       # 0..1 and what is going on, once per slice
    # the ShotReading is the value of StopIteration; closing the generator stops the reading

Nothing here needs a context. What is kept is kept by name of the scene and holds no data of
Blender's, so that it survives an undo and never outlives a file.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Sequence
from dataclasses import dataclass, field

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core_math import (
    ALL_CHECKS,
    EVERY_CHECK,
    Check,
    Crash,
    Flag,
    JudgedMemory,
    Mark,
    MarksError,
    Motion,
    Note,
    NotEvaluated,
    Settings,
    ShotReading,
    apply_marks,
    dump_marks,
    iterate_pieces,
    merge_causes,
    merge_subjects,
    parse_marks,
    sort_for_review,
)
from .sampling import SamplingError, SamplingMemory, ShotSamples, iterate_sampling
from .sampling_staging import look_around
from .subjects import Subject, find_subjects
from .translation import tell

MARKS = "fettle_marks"
"""Custom property of a scene: what people decided about its flags, and their notes."""

SAMPLING_SHARE = 0.6
"""Part of the progress that belongs to sampling; the rest is the checks'."""

LOOKING_SHARE = 0.2
"""Part of the sampling's progress that belongs to looking around, where that is done."""

SLICE_MS = 8.0


@dataclass(slots=True)
class ReadingMemory:
    """What was sampled and judged in earlier readings of a scene."""

    sampled: SamplingMemory = field(default_factory=SamplingMemory)
    judged: JudgedMemory = field(default_factory=JudgedMemory)


ReadingSteps = Generator[tuple[float, str], None, ShotReading]


def read_shot(
    scene: bpy.types.Scene,
    view_layer: bpy.types.ViewLayer,
    settings: Settings,
    *,
    frames: tuple[int, int] | None = None,
    camera: str | None = None,
    source: str = "",
    checks: Sequence[Check] = ALL_CHECKS,
    report: Callable[[float, str], None] | None = None,
) -> ShotReading:
    """Read a shot without a pause; see `iterate_reading`.

    Parameters
    ----------
    report : callable, optional
        Told progress from 0 to 1 and what is going on, now and then.
    """
    steps = iterate_reading(
        scene,
        view_layer,
        settings,
        frames=frames,
        camera=camera,
        source=source,
        checks=checks,
        budget_ms=200.0 if report else float("inf"),
    )
    while True:
        try:
            progress, text = next(steps)
        except StopIteration as end:
            return end.value
        if report is not None:
            report(progress, text)


def iterate_reading(
    scene: bpy.types.Scene,
    view_layer: bpy.types.ViewLayer,
    settings: Settings,
    *,
    frames: tuple[int, int] | None = None,
    camera: str | None = None,
    source: str = "",
    checks: Sequence[Check] = ALL_CHECKS,
    subjects: Sequence[Subject] | None = None,
    samples: ShotSamples | None = None,
    budget_ms: float = SLICE_MS,
    keep: Callable[[ShotSamples], None] | None = None,
    memory: ReadingMemory | None = None,
    surroundings: bool | None = None,
) -> ReadingSteps:
    """Read a shot in slices; close the generator to stop.

    Parameters
    ----------
    scene, view_layer
        Only read: frame, selection, mode and undo history stay as they are.
    settings : Settings
    frames : (int, int), optional
        First and last frame, both included; the scene's own range when left out.
    camera : str, optional
        The shot camera by name; the scene's camera and its bound markers when left out.
    source : str
        The file as it is to be named in the reading.
    checks : sequence of Check
    subjects : sequence of Subject, optional
        Whom to read; everybody who acts when left out.
    samples : ShotSamples, optional
        Judge these instead of sampling: only the limits changed.
    budget_ms : float
        How long a slice may take before the caller has its turn.
    keep : callable, optional
        Handed the samples as soon as they are there, for those who draw them.
    memory : ReadingMemory, optional
        Of earlier readings of this scene: only what has changed is sampled and judged again.
    surroundings : bool, optional
        Whether to look at what lies around the subjects in the shot camera's picture, which costs
        time; left out, that is done whenever there is no memory to keep up with edits by.

    Yields
    ------
    float, str
        Progress from 0 to 1, and what is going on.

    Returns
    -------
    ShotReading
        A subject that cannot be sampled is named under "not evaluated"; the others are read.

    Raises
    ------
    SamplingError
        One line that says what, where and what to do: nothing moves, the frames run backwards,
        the camera is not there, or no subject can be sampled.
    InterruptedReadingError
        The file was saved, undone or loaded between two slices: start again.
    """
    first, last = frames or (int(scene.frame_start), int(scene.frame_end))
    name, fps = scene.name, float(scene.render.fps) / float(scene.render.fps_base)
    marks, _ = read_marks(scene)
    if samples is None:
        samples = yield from _sample(
            scene,
            view_layer,
            settings,
            (first, last),
            camera,
            subjects,
            budget_ms,
            memory,
            memory is None if surroundings is None else surroundings,
        )
    if keep is not None:
        keep(samples)
    outcomes = _Outcomes(
        not_evaluated=[
            NotEvaluated(EVERY_CHECK, failure.subject.name, failure.message)
            for failure in samples.failures
        ]
    )
    yield from _run_checks(
        [sample.motion for sample in samples.samples], checks, settings, outcomes, memory
    )
    keys = collect_keys(sample.motion for sample in samples.samples)
    flags, _ = apply_marks(sort_for_review(merge_subjects(outcomes.flags)), marks, keys)
    return ShotReading(
        source=source,
        scene=name,
        fps=fps,
        frame_range=(first, last),
        camera=samples.camera,
        subjects=tuple(sample.facts for sample in samples.samples),
        flags=flags,
        not_evaluated=tuple(outcomes.not_evaluated),
        crashes=tuple(outcomes.crashes),
        evaluated=tuple(dict.fromkeys(outcomes.evaluated)),
        sampling_s=samples.sampling_s,
        checks_s=outcomes.seconds,
    )


def _sample(
    scene: bpy.types.Scene,
    view_layer: bpy.types.ViewLayer,
    settings: Settings,
    frames: tuple[int, int],
    camera: str | None,
    subjects: Sequence[Subject] | None,
    budget_ms: float,
    memory: ReadingMemory | None,
    surroundings: bool,
) -> Generator[tuple[float, str], None, ShotSamples]:
    """Sample everybody who acts; SamplingError when nobody does or nobody can be sampled."""
    found = find_subjects(scene, view_layer) if subjects is None else list(subjects)
    if not found:
        raise SamplingError(
            f"scene {scene.name!r}: nothing moves in it; it needs an animated armature or object"
        )
    stages = {who.name: settings.stage for who in found if settings.stage is not None}
    sampling = iterate_sampling(
        scene,
        view_layer,
        found,
        frames,
        camera=camera,
        stages=stages,
        memory=memory.sampled if memory is not None else None,
        budget_ms=budget_ms,
    )
    text = tell("sampling frames {first}-{last}", first=frames[0], last=frames[1])
    sampled = SAMPLING_SHARE - (LOOKING_SHARE if surroundings else 0.0)
    samples: ShotSamples = yield from _tell(sampling, text, 0.0, sampled)
    if not samples.samples:
        raise SamplingError("; ".join(failure.message for failure in samples.failures))
    if surroundings:
        looking = look_around(scene, view_layer, found, samples, budget_ms)
        text = tell("looking around the subjects")
        samples = yield from _tell(looking, text, sampled, SAMPLING_SHARE)
    return samples


def _tell(
    sampling: Generator[float, None, ShotSamples], text: str, low: float, high: float
) -> Generator[tuple[float, str], None, ShotSamples]:
    """Pass on how far sampling is, between two marks of the whole; end it when the caller stops."""
    try:
        while True:
            try:
                share = next(sampling)
            except StopIteration as end:
                samples: ShotSamples = end.value
                return samples
            yield low + (high - low) * share, text
    finally:
        sampling.close()


@dataclass
class _Outcomes:
    flags: list[Flag] = field(default_factory=list)
    not_evaluated: list[NotEvaluated] = field(default_factory=list)
    crashes: list[Crash] = field(default_factory=list)
    evaluated: list[str] = field(default_factory=list)
    seconds: float = 0.0


def _run_checks(
    motions: Sequence[Motion],
    checks: Sequence[Check],
    settings: Settings,
    outcomes: _Outcomes,
    memory: ReadingMemory | None = None,
) -> Generator[tuple[float, str], None, None]:
    """Run the checks over all subjects; the caller has its turn in between, and in long ones."""
    total = max(1, len(motions) * sum(settings.enabled(check) for check in checks))
    done = 0
    for motion in motions:
        flags: list[Flag] = []
        judged = memory.judged if memory is not None else None
        for check, outcome in iterate_pieces(motion, checks, settings, judged):
            share = SAMPLING_SHARE + (1.0 - SAMPLING_SHARE) * done / total
            if outcome is None:
                yield share, f"{motion.subject}: {check.id}"
                continue
            flags += outcome.flags
            outcomes.not_evaluated += outcome.not_evaluated
            outcomes.crashes += outcome.crashes
            outcomes.evaluated += outcome.evaluated
            outcomes.seconds += sum(outcome.check_seconds.values())
            done += 1
            share = SAMPLING_SHARE + (1.0 - SAMPLING_SHARE) * done / total
            yield share, f"{motion.subject}: {check.id}"
        outcomes.flags += merge_causes(flags, checks, motion)


def collect_keys(motions: Iterable[Motion]) -> dict[tuple[str, str], NDArray[np.float64]]:
    """Return the key frames of every part of every subject, by (subject, part)."""
    return {
        (motion.subject, part): track.frames
        for motion in motions
        for part, track in motion.keys.items()
    }


def read_marks(scene: bpy.types.Scene) -> tuple[tuple[Mark, ...], tuple[Note, ...]]:
    """Return what people decided about the scene's flags, and their notes.

    Raises
    ------
    SamplingError
        When what is kept there cannot be read: nothing is dropped silently.
    """
    text = scene.get(MARKS, "")
    if not text:
        return (), ()
    try:
        return parse_marks(str(text))
    except MarksError as error:
        raise SamplingError(
            f"scene {scene.name!r}: {error}; remove its custom property {MARKS!r} to start anew"
        ) from None


def keep_marks(scene: bpy.types.Scene, marks: Iterable[Mark], notes: Iterable[Note]) -> None:
    """Keep decisions and notes with the scene."""
    marks, notes = tuple(marks), tuple(notes)
    if marks or notes:
        scene[MARKS] = dump_marks(marks, notes)
    elif scene.get(MARKS) is not None:
        del scene[MARKS]
