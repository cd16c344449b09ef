# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""copied-strands: is a strand, tail or cloth chain a copy of another?

Braids, ears, straps and skirts are quickly animated by pasting one chain's keys on the next. Two
strands that turn by the same amount on the same frame read as one object; in life each has its own
length, weight and contact with the body, so each comes a little later and swings a little wider.

Leave it for rigid ornaments that do not move against the body, and for strands that are tied
together. Strands that hang from one head do share its movement: only near copies on the same
frame are flagged.

Sources: repeated identical cycles are noticed (Bodenheimer, Shleyfman & Hodgins 1999); no limit is
published. Likeness is the correlation of the joints' turns, which size leaves alone. Offsets of 1
to 3 frames are common practice.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, Outcome, merge_flags
from ..measures import strands
from ..motion import Motion
from ..units import Unit

LIKENESS = Limits(
    "likeness",
    faint=0.97,
    clear=0.985,
    glaring=0.995,
    unit=Unit.RATIO,
    minimum=0.8,
    maximum=1.0,
    description="How alike two strands turn; lower it to ask for more variety between them.",
    source="practice: pasted keys give 1.0, keys that were reworked by hand fall below 0.97",
)
OFFSET = Parameter(
    "offset",
    default=1.0,
    unit=Unit.FRAMES_AT_24,
    minimum=0.25,
    maximum=6.0,
    description="A strand that comes at least this much later is offset enough.",
    source="common practice: strands are offset by 1 to 3 frames at 24 fps",
)
STRETCH = Parameter(
    "stretch",
    default=1.5,
    unit=Unit.SECONDS,
    minimum=0.25,
    maximum=4.0,
    description="Length of the stretches that are compared.",
    source="measured: harmonic strands of different rhythm agree by chance for up to a second",
)
MOVING = Parameter(
    "moving",
    default=1.5,
    unit=Unit.DEGREES,
    minimum=0.1,
    maximum=30.0,
    description="Strands whose joints turn less than this (root mean square) are left alone.",
    source="practice: below it a strand reads as rigid",
)

LARGEST_OFFSET_S = 0.25
OFFSETS_PER_SIDE = 6


@dataclass(frozen=True)
class Pair:
    """Two strands, the one that swings wider first, and their likeness over time."""

    one: str
    other: str
    window: int
    copies: strands.Copies


def measure(motion: Motion, values: Values) -> Steps[list[Pair]]:
    """Find strands of the subject that are alike anywhere, joint by joint, stretch by stretch."""
    names = sorted(part for part in motion.parts if part.startswith("strand:") and "/" not in part)
    if len(names) < 2:
        raise CannotEvaluateError("needs two strands (hair, tail, cloth or strap chains)")
    turns = []
    for name in names:
        turns.append(motion.turns(motion.chain(name)))
        yield
    window = max(4, min(round(values.frames(STRETCH.name)), motion.frame_count))
    step = max(1, round(LARGEST_OFFSET_S * motion.fps / OFFSETS_PER_SIDE))
    swings = [float(np.std(own)) for own in turns]
    pairs = [
        (two, one) if swings[two] > swings[one] else (one, two)
        for one, two in combinations(range(len(names)), 2)
    ]
    found = yield from strands.compare_chains(
        turns,
        pairs,
        window,
        window // 4,
        step * np.arange(-OFFSETS_PER_SIDE, OFFSETS_PER_SIDE + 1),
        near=values.frames(OFFSET.name),
        least=values.limits[LIKENESS.name][0],
        least_spread=values[MOVING.name],
    )
    return [
        Pair(names[pairs[row][0]], names[pairs[row][1]], window, copies)
        for row, copies in found.items()
    ]


def judge(motion: Motion, measured: list[Pair], values: Values) -> Iterator[Outcome]:
    """Flag pairs that are alike on the same frame; several copies of one strand are one flag."""
    flags = []
    most = values.frames(OFFSET.name)
    for pair in measured:
        copies = pair.copies
        for number, start in enumerate(copies.starts.tolist()):
            moving = min(copies.spread[number], copies.other_spread[number])
            graded = values.grade(LIKENESS.name, float(copies.likeness[number]))
            if graded is None or moving < values[MOVING.name]:
                continue
            if abs(copies.offset[number]) >= most:
                continue
            severity, limit = graded
            likeness = float(copies.likeness[number])
            ratio = copies.other_spread[number] / copies.spread[number]
            names = [part.removeprefix("strand:") for part in (pair.one, pair.other)]
            flags.append(
                Flag(
                    check=CHECK.id,
                    code="same-on-the-same-frame",
                    subject=motion.subject,
                    part=pair.one,
                    other_parts=(pair.other,),
                    start=motion.frame(start),
                    end=motion.frame(start + pair.window - 1),
                    peak=motion.frame(start + pair.window // 2),
                    severity=severity,
                    # A copy of clearly different size is less sure to be seen as one.
                    confidence=float(np.clip(ratio, 0.5, 1.0)),
                    value=likeness,
                    unit=Unit.RATIO,
                    limit=limit,
                    message=(
                        f"{names[0]} and {names[1]} swing alike ({likeness:.3f}) on the same "
                        f"frame, at {100.0 * ratio:.0f} % of each other's size"
                    ),
                    suggestion="offset one by 1 to 3 frames and vary its height by a fifth or so",
                )
            )
    yield from merge_flags(flags)


CHECK = Check(
    id="copied-strands",
    group=Group.BETWEEN,
    question="Is a strand, tail or cloth chain a copy of another?",
    codes={"same-on-the-same-frame": "two strands turn alike on the same frame"},
    declarations=(LIKENESS, OFFSET, STRETCH, MOVING),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
)
