# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Run the checks it is handed over one subject, one after the other, and keep outcomes apart.

Each stretch between two cuts is read by itself. A check that crashes becomes a named entry and
the others go on. `iterate_pieces` stops between any two checks and in the midst of long ones, so
a caller can show progress, spread the work over many short slices, or stop.
"""

from __future__ import annotations

import time
import traceback
from collections.abc import Generator, Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from .check import Check, Values
from .findings import (
    CannotEvaluateError,
    Crash,
    Flag,
    NotEvaluated,
    Outcome,
    merge_flags,
    sort_for_review,
)
from .judged import JudgedMemory
from .measures.pieces import Steps, run_steps
from .motion import Motion, Stage
from .one_cause import merge_causes
from .reading import SubjectReading
from .seen import weigh_by_picture
from .settings import Settings
from .watched import Read

STAGE_WORDS = {
    Stage.BLOCKING: "blocking",
    Stage.SPLINE: "spline",
    Stage.HELD: "animation on twos or threes",
}


def run_checks(
    motion: Motion, checks: Sequence[Check], settings: Settings | None = None
) -> SubjectReading:
    """Run all enabled checks over one subject.

    Parameters
    ----------
    motion : Motion
    checks : sequence of Check
        In the order in which they are to run.
    settings : Settings, optional

    Returns
    -------
    SubjectReading
        Flags in the order of review; nothing is dropped silently.
    """
    flags: list[Flag] = []
    not_evaluated: list[NotEvaluated] = []
    crashes: list[Crash] = []
    evaluated: list[str] = []
    seconds: dict[str, float] = {}
    for check, outcome in iterate_checks(motion, checks, settings or Settings()):
        flags += outcome.flags
        not_evaluated += outcome.not_evaluated
        crashes += outcome.crashes
        evaluated += outcome.evaluated
        seconds[check.id] = outcome.check_seconds[check.id]
    return SubjectReading(
        flags=tuple(sort_for_review(merge_causes(flags, checks, motion))),
        not_evaluated=tuple(not_evaluated),
        crashes=tuple(crashes),
        evaluated=tuple(evaluated),
        check_seconds=seconds,
    )


def iterate_checks(
    motion: Motion,
    checks: Sequence[Check],
    settings: Settings,
    memory: JudgedMemory | None = None,
) -> Iterator[tuple[Check, SubjectReading]]:
    """Run the checks one by one, yielding each with its outcome as soon as it is there.

    With a memory, kept by the caller from one reading of a subject to the next, only those run
    that looked at something which has changed since, or whose limits have; the outcome is that of
    a full run. Hand over the whole motion each time.
    """
    for check, outcome in iterate_pieces(motion, checks, settings, memory):
        if outcome is not None:
            yield check, outcome


def iterate_pieces(
    motion: Motion,
    checks: Sequence[Check],
    settings: Settings,
    memory: JudgedMemory | None = None,
) -> Iterator[tuple[Check, SubjectReading | None]]:
    """Run the checks as `iterate_checks` does, pausing inside them as well.

    Yields
    ------
    Check, SubjectReading or None
        None at a pause in the midst of the check.
    """
    shots = [_leave_panorama(shot) for shot in motion.shots()]
    if memory is not None:
        shots = memory.recognise(shots)
    for check in checks:
        if not settings.enabled(check):
            continue
        steps = _iterate_check(check, shots, settings, memory)
        try:
            while True:
                next(steps)
                yield check, None
        except StopIteration as end:
            outcome: SubjectReading = end.value
        finally:
            steps.close()
        yield check, outcome


def run_check(
    check: Check,
    shots: Sequence[Motion],
    settings: Settings,
    memory: JudgedMemory | None = None,
) -> SubjectReading:
    """Run one check over the stretches of one subject (see `Motion.shots`)."""
    return run_steps(_iterate_check(check, shots, settings, memory))


def _iterate_check(
    check: Check,
    shots: Sequence[Motion],
    settings: Settings,
    memory: JudgedMemory | None,
) -> Steps[SubjectReading]:
    started, spent = time.perf_counter(), 0.0
    subject = shots[0].subject
    flags: list[Flag] = []
    skipped: list[tuple[Motion, NotEvaluated]] = []
    crashes: list[Crash] = []
    judged = 0
    values = settings.values(check, shots[0].fps)
    for shot in map(_leave_panorama, shots):
        try:
            judging = _judge(check, shot, values, memory)
            while True:
                try:
                    next(judging)
                except StopIteration as end:
                    outcomes: list[Outcome] = end.value
                    break
                spent += time.perf_counter() - started
                yield
                started = time.perf_counter()
        except CannotEvaluateError as error:
            skipped.append((shot, NotEvaluated(check.id, subject, str(error))))
            continue
        except Exception as error:
            crashes.append(Crash(check.id, subject, _describe_crash(error, shot)))
            continue
        finally:
            judging.close()
        partial = [outcome for outcome in outcomes if isinstance(outcome, NotEvaluated)]
        skipped += [(shot, outcome) for outcome in partial]
        flags += [outcome for outcome in outcomes if isinstance(outcome, Flag)]
        judged += 1
    return SubjectReading(
        flags=tuple(sort_for_review(merge_flags(flags))),
        not_evaluated=tuple(_summarize_skipped(skipped, len(shots))),
        crashes=tuple(crashes),
        evaluated=(check.id,) if judged else (),
        check_seconds={check.id: spent + time.perf_counter() - started},
    )


def _leave_panorama(shot: Motion) -> Motion:
    """Return a stretch without the picture of a panoramic camera, which says so.

    Done before anything is judged: which camera looks is nothing that every check asks for.
    """
    if vars(shot)["camera"] is None or not vars(shot)["camera"].panoramic:
        return shot
    reason = "the shot camera is panoramic, its picture is no plane"
    return replace(shot, camera=None, dropped={**shot.dropped, "camera": reason}, _memo={})


def _judge(
    check: Check, shot: Motion, values: Values, memory: JudgedMemory | None
) -> Steps[list[Outcome]]:
    """Run a check on one stretch, unless the memory knows the outcome; crashes are not kept."""
    known = memory.find(check, shot, values) if memory is not None else None
    if known is None:
        watching: AbstractContextManager[set[Read]] = (
            memory.watch(shot) if memory is not None else nullcontext(set())
        )
        with watching as reads:
            try:
                known = yield from _run_on_shot(check, shot, values)
            except CannotEvaluateError as error:
                known = str(error)
        if memory is not None:
            memory.keep(check, shot, values, known, reads)
    if isinstance(known, str):
        raise CannotEvaluateError(known)
    return known


def _run_on_shot(check: Check, shot: Motion, values: Values) -> Steps[list[Outcome]]:
    if shot.kind not in check.kinds:
        kinds = " or ".join("a character" if k == "armature" else "an object" for k in check.kinds)
        raise CannotEvaluateError(f"judges {kinds} only")
    if shot.stage not in check.stages:
        raise CannotEvaluateError(
            f"waits for a later stage: this is {STAGE_WORDS[shot.stage]} "
            f"(judged in {', '.join(sorted(STAGE_WORDS[s] for s in check.stages))})"
        )
    if check.needs_camera and shot.camera is None:
        raise CannotEvaluateError(shot.dropped.get("camera", "no shot camera"))
    # What the camera sees is known of frames, not of drawings.
    seen = shot
    if check.on_drawings:
        shot = shot.drawings()
        values = replace(values, fps=shot.fps)
    if shot.frame_count < check.minimum_frames:
        raise CannotEvaluateError(
            f"{shot.frame_count} frames are too few, it needs {check.minimum_frames}"
        )
    if not shot.height > 0.0:
        raise CannotEvaluateError("the subject has no size (scale 0, or bones without length)")
    measured = yield from _measure(check, shot, values)
    with np.errstate(all="ignore"):
        outcomes = list(check.judge(shot, measured, values))
        if not check.weighed_by_picture:
            return outcomes
        return [weigh_by_picture(o, seen) if isinstance(o, Flag) else o for o in outcomes]


def _measure(check: Check, shot: Motion, values: Values) -> Steps[Any]:
    # Arithmetic on degenerate motion must not print warnings over a user's console, and what is
    # silenced here must not be so for whoever has a turn in between.
    with np.errstate(all="ignore"):
        steps = check.measure(shot, values)
    if not isinstance(steps, Generator):
        return steps
    while True:
        with np.errstate(all="ignore"):
            try:
                next(steps)
            except StopIteration as end:
                return end.value
        yield


def _describe_crash(error: Exception, shot: Motion) -> str:
    place = traceback.extract_tb(error.__traceback__)[-1]
    where = f"{Path(place.filename).name}:{place.lineno}"
    span = f"frames {shot.frame(0)}-{shot.frame(-1)}"
    return f"{type(error).__name__}: {error} ({where}, {span})"


def _summarize_skipped(
    skipped: Sequence[tuple[Motion, NotEvaluated]], shot_count: int
) -> Iterator[NotEvaluated]:
    """Yield each reason once; where only some of the shots were skipped, name their frames."""
    spans: dict[NotEvaluated, list[tuple[int, int]]] = {}
    for shot, entry in skipped:
        spans.setdefault(entry, []).append((shot.frame(0), shot.frame(-1)))
    for entry, frames in spans.items():
        if entry.frames or len(frames) == shot_count:
            yield entry
        else:
            words = ", ".join(f"{first}-{last}" for first, last in frames)
            yield replace(entry, reason=f"{entry.reason} (frames {words})", frames=tuple(frames))
