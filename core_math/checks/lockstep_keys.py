# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""lockstep-keys: are all controls keyed on the same frames?

Pose-to-pose blocking keys the whole character on every pose, and rightly so. When the keys stay
on those columns in spline, every part eases in and out together, and overlap can only come from
luck: the movement arrives everywhere at once. It is a hint where to look, not a fault by itself,
so it is faint however complete it is.

Leave it in blocking, for characters keyed on every frame (baked or captured motion has no columns
to speak of), and when the parts do not move between the columns.

Sources: keys offset between parts, for overlap, are common practice; no limit is published.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, Outcome, Severity
from ..motion import Motion, Stage
from ..units import Unit

SHARED = Limits(
    "shared",
    faint=0.8,
    clear=0.9,
    glaring=0.99,
    unit=Unit.RATIO,
    minimum=0.3,
    maximum=1.0,
    description="Share of all keys that sit on frames where nearly every part is keyed.",
    source="practice: offsetting a third of the controls brings the share under 0.7",
)
COLUMN = Parameter(
    "column",
    default=0.7,
    unit=Unit.RATIO,
    minimum=0.3,
    maximum=1.0,
    description="Share of the keyed parts that makes a frame a column of keys.",
    source="practice: a pose keyed on everything but the odd finger is still one column",
)
FEWEST_PARTS = Parameter(
    "fewest_parts",
    default=4.0,
    unit=Unit.COUNT,
    minimum=2.0,
    maximum=40.0,
    description="Fewest keyed parts that can be said to move in lockstep.",
    source="practice: two or three controls keyed together are a pair, not a habit",
)
FEWEST_COLUMNS = Parameter(
    "fewest_columns",
    default=4.0,
    unit=Unit.COUNT,
    minimum=2.0,
    maximum=40.0,
    description="Fewest columns before a habit is spoken of; the shot's two ends do not count.",
    source="practice: first and last pose are keyed on everything by everybody",
)
DENSEST = Parameter(
    "densest",
    default=0.5,
    unit=Unit.RATIO,
    minimum=0.1,
    maximum=1.0,
    description="Keys per frame above which the motion counts as baked and is left alone.",
    source="practice: animators key less than every other frame, captures key them all",
)


@dataclass(frozen=True)
class Columns:
    """Frames on which nearly all parts are keyed, and how much of the keys they hold."""

    frames: list[int]
    shared: float
    parts: int


def measure(motion: Motion, values: Values) -> Columns:
    """Count on which frames the parts are keyed, the ends of the shot left out."""
    inner = {
        part: np.unique(np.round(track.frames).astype(int))
        for part, track in motion.keys.items()
        if len(track.frames)
    }
    ends = (motion.frame(0), motion.frame(-1))
    inner = {part: f[(f > ends[0]) & (f < ends[1])] for part, f in inner.items()}
    inner = {part: f for part, f in inner.items() if len(f)}
    if len(inner) < values[FEWEST_PARTS.name]:
        raise CannotEvaluateError(f"only {len(inner)} parts have keys of their own in the shot")
    density = float(np.median([len(f) for f in inner.values()])) / motion.frame_count
    if density > values[DENSEST.name]:
        raise CannotEvaluateError("baked or captured: keyed on nearly every frame")
    numbers, counts = np.unique(np.concatenate(list(inner.values())), return_counts=True)
    columns = counts >= values[COLUMN.name] * len(inner)
    return Columns(
        frames=[int(n) for n in numbers[columns]],
        shared=float(counts[columns].sum() / counts.sum()),
        parts=len(inner),
    )


def judge(motion: Motion, measured: Columns, values: Values) -> Iterator[Outcome]:
    """Give one faint hint for the whole stretch of columns."""
    graded = values.grade(SHARED.name, measured.shared)
    if graded is None or len(measured.frames) < values[FEWEST_COLUMNS.name]:
        return
    frames = measured.frames
    yield Flag(
        check=CHECK.id,
        code="keyed-in-columns",
        subject=motion.subject,
        part="hips" if motion.has("hips") else motion.parts[0],
        start=frames[0],
        end=frames[-1],
        peak=frames[len(frames) // 2],
        severity=Severity.FAINT,
        confidence=float(graded[0]) / 3.0,
        value=measured.shared,
        unit=Unit.RATIO,
        limit=values.limits[SHARED.name][0],
        message=(
            f"{100.0 * measured.shared:.0f} % of the keys of {measured.parts} parts sit on the "
            f"same {len(frames)} frames"
        ),
        suggestion="offset the keys of chest, head, arms and hands by a frame or two each",
    )


CHECK = Check(
    id="lockstep-keys",
    group=Group.BETWEEN,
    question="Are all controls keyed on the same frames?",
    codes={"keyed-in-columns": "nearly all keys sit on frames on which everything is keyed"},
    declarations=(SHARED, COLUMN, FEWEST_PARTS, FEWEST_COLUMNS, DENSEST),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset({Stage.SPLINE, Stage.HELD}),
)
