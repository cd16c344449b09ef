# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""dead-hold: is the whole subject frozen?

A body that lives never stops altogether: it breathes, shifts its weight, lets hair and hands
settle. Where every part stands still for a third of a second and more, the character turns into
a puppet until the next key. A moving hold (a pose that keeps drifting a little) keeps it alive.

Every joint, every end and every part's own turn has to be under the still speed at once; one
finger that moves is enough to keep the hold alive.

Leave it when the subject is out of the shot camera's picture meanwhile, in stepped blocking, and
when nothing moves in the whole shot (said as not evaluated). A frozen moment that tells something
(a statue, a stopped machine, a stylised pose) is the animator's call: mark the flag as meant.

Sources: moving holds are common practice. The still speed lies far below life: on open captures
of jumping, boxing and climbing the fastest joint never gets below 10 % of body height per second
over a third of a second.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, Outcome
from ..measures import geometry, rotations, series
from ..motion import Motion
from ..units import Unit

FROZEN = Limits(
    "frozen",
    faint=0.35,
    clear=0.6,
    glaring=1.0,
    unit=Unit.SECONDS,
    minimum=0.1,
    maximum=10.0,
    description="How long everything stands still; raise it for limited animation.",
    source="common practice: a hold dies within 8 to 16 frames at 24 frames per second",
    broad=1.4,
    subtle=0.8,
    style_source="common practice: broad styles hold strong poses longer",
)
STILL_TRAVEL = Parameter(
    "still_travel",
    default=0.5,
    unit=Unit.BODY_HEIGHT,
    minimum=0.0,
    maximum=20.0,
    description="Way per second below which a joint stands still; raise it to forget noise.",
    source="measured: the fastest joint of living captures is 20 times faster at its slowest",
)
STILL_TURN = Parameter(
    "still_turn",
    default=1.5,
    unit=Unit.DEGREES_PER_SECOND,
    minimum=0.0,
    maximum=90.0,
    description="Turn per second below which a part stands still.",
    source="measured: the fastest part of living captures is 20 times faster at its slowest",
)


BLOCK = 1 << 14  # parts times frames that are looked at together


@dataclass(frozen=True)
class Hold:
    """A stretch of frames (indices, both included) in which nothing moves."""

    first: int
    last: int
    seconds: float
    seen: bool


def measure(motion: Motion, values: Values) -> Steps[list[Hold]]:
    """Find the stretches in which all joints, ends and parts stand still."""
    scale = 100.0 / motion.height * motion.fps
    heads, tails, turned = (np.asarray(a) for a in (motion.heads, motion.tails, motion.rotations))
    still = np.empty(motion.frame_count - 1, dtype=np.bool_)
    size = max(1, BLOCK // len(motion.parts))
    for start in range(0, len(still), size):
        rows, both = slice(start, start + size), slice(start, start + size + 1)
        fastest = np.zeros(len(still[rows]))
        for points in (heads[both], tails[both]):
            steps = geometry.lengths(np.diff(points, axis=0)).max(axis=-1)
            fastest = np.maximum(fastest, steps * scale)
        turns = rotations.step_angles(turned[both]).max(axis=-1) * motion.fps
        still[rows] = (fastest <= values[STILL_TRAVEL.name]) & (turns <= values[STILL_TURN.name])
        yield
    if still.all():
        raise CannotEvaluateError("nothing moves in the whole shot")
    return [
        Hold(first, last + 1, (last + 1 - first) / motion.fps, _is_seen(motion, first, last + 2))
        for first, last in series.find_runs(still)
    ]


def judge(motion: Motion, holds: list[Hold], values: Values) -> Iterator[Outcome]:
    """Grade holds by how long they last."""
    for hold in holds:
        graded = values.grade(FROZEN.name, hold.seconds)
        if graded is None or not hold.seen:
            continue
        severity, limit = graded
        first, last = motion.frame(hold.first), motion.frame(hold.last)
        yield Flag(
            check=CHECK.id,
            code="frozen",
            subject=motion.subject,
            part=motion.parts[motion.parents.index(-1)],
            start=first,
            end=last,
            peak=first,
            severity=severity,
            confidence=0.9,
            value=hold.seconds,
            unit=Unit.SECONDS,
            limit=limit,
            message=f"Nothing moves for {last - first} frames from frame {first} on",
            suggestion="keep it alive: let it settle, breathe or drift into the next pose",
        )


def _is_seen(motion: Motion, start: int, stop: int) -> bool:
    """Say whether anything of the subject is in the picture on any frame of a stretch."""
    if motion.camera is None:
        return True
    points = np.concatenate((motion.heads, motion.tails), axis=1)[start:stop]
    places, depths = motion.camera.slice(start, stop).project(points)
    inside = (places >= 0.0) & (places <= 1.0)
    return bool(np.any(inside.all(axis=-1) & (depths > 0.0)))


CHECK = Check(
    id="dead-hold",
    group=Group.PATHS,
    question="Is the whole subject frozen?",
    codes={"frozen": "no part of the subject moves"},
    declarations=(FROZEN, STILL_TRAVEL, STILL_TURN),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
)
