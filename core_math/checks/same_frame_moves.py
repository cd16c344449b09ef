# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""same-frame-moves: do limbs start and stop together?

Animation that goes from pose to pose moves everything at once: arms, legs and head start on one
frame and stop on one frame, again and again. Each move by itself may be fine; together they read
as a slide show. In life one thing leads, and the others start and settle a few frames apart.

Moves are taken between rests, each limb as seen from the body part it hangs on, so nobody is
blamed for being carried: hands and feet by how they travel, head and chest by how they turn. Two
limbs share a move when both its start and its end lie within a frame; it takes several shared moves
in a row to be flagged.

Leave it for a clap, for machines and marches. What is done while both legs move, a jump or a squat,
is left out, and the two hands, and the two feet, are not held against each other: that is
twinning's question. Blocking waits: there poses do change all at once.

Sources: onset at a share of the peak speed is the rule of movement research (Botzer & Karniel 2009;
2 % of peak hand speed in upper-limb scoring). That no two limbs start or stop on the same frame is
common practice; no limit is published.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from itertools import combinations

import numpy as np

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, Outcome, say_part
from ..measures import moves, series
from ..motion import Motion, Stage
from ..units import Unit

IN_A_ROW = Limits(
    "in_a_row",
    faint=2.0,
    clear=3.0,
    glaring=4.0,
    unit=Unit.COUNT,
    minimum=1.0,
    maximum=20.0,
    description="Shared moves in a row; raise it to allow more moves that begin and end together.",
    source="measured: limbs of open captures share one move by chance, seldom two, never three",
)
TOLERANCE = Parameter(
    "tolerance",
    default=1.0,
    unit=Unit.FRAMES_AT_24,
    minimum=0.2,
    maximum=4.0,
    description="How near two starts, or two ends, must lie to count as the same frame.",
    source="common practice: an offset of one to three frames is what separates two limbs",
)
LEAST_SPEED = Parameter(
    "least_speed",
    default=0.25,
    unit=Unit.RATIO,
    minimum=0.02,
    maximum=3.0,
    description="Body heights a second a hand or foot must reach for a move to count.",
    source="practice: a slow reach peaks at 0.5, adjustments and breathing stay below 0.2",
)
LEAST_TURN = Parameter(
    "least_turn",
    default=20.0,
    unit=Unit.DEGREES_PER_SECOND,
    minimum=2.0,
    maximum=200.0,
    description="How fast head or chest must turn for a move to count.",
    source="practice: a nod of 5 deg in 0.4 s peaks at 23 (minimum jerk), breathing and sway at 5",
)
REST = Parameter(
    "rest",
    default=0.15,
    unit=Unit.SECONDS,
    minimum=0.05,
    maximum=1.0,
    description="Shortest rest that makes a start a start: swinging on through a turn is none.",
    source="the speed of a harmonic swing of 1 Hz stays under a fifth of its peak for 0.06 s",
)

AROUND_S = 1.0
SMOOTHING_HZ = 8.0
LIMBS = (  # the part that shows the move, and the part it is seen from
    ("hand.L", "chest"),
    ("hand.R", "chest"),
    ("foot.L", "hips"),
    ("foot.R", "hips"),
    ("head", "chest"),
    ("chest", "hips"),
)
TURNING = ("head", "chest")  # they hardly travel: what is seen of them is their turn


@dataclass(frozen=True)
class Shared:
    """Moves two limbs share in a row; frames are indices."""

    one: str
    other: str
    count: int
    first: int
    last: int
    peak: int


def measure(motion: Motion, values: Values) -> Steps[list[Shared]]:
    """Find, for every two limbs, the moves in a row that start and end together."""
    own = {}
    for limb, seen_from in LIMBS:
        if motion.has(limb, seen_from):
            compute = partial(_find_limb_moves, motion, limb, seen_from, values)
            own[limb] = motion.memo((CHECK.id, limb), compute, values.key)
            yield
    hops = _find_hops(own.get("foot.L", []), own.get("foot.R", []))
    own = {limb: [move for move in found if not _is_in(move, hops)] for limb, found in own.items()}
    if len(own) < 2:
        raise CannotEvaluateError("needs two of hands, feet, head and chest")
    rows = []
    for one, other in combinations(sorted(own, key=lambda limb: (-len(own[limb]), limb)), 2):
        if one[:-2] == other[:-2]:
            continue  # both hands or both feet: twinning judges whether that is one too many
        if {"chest", "foot"} == {limb.split(".")[0] for limb in (one, other)}:
            continue  # hips that turn under both make both seem to move
        rows += _find_rows(one, own[one], other, own[other], values.frames(TOLERANCE.name))
    return rows


def judge(motion: Motion, measured: list[Shared], values: Values) -> Iterator[Outcome]:
    """Give one flag for all limbs that share the same moves."""
    waiting = sorted(measured, key=lambda row: (-row.count, row.first, row.one, row.other))
    while waiting:
        worst = waiting[0]
        together = [r for r in waiting if r.first <= worst.last and worst.first <= r.last]
        waiting = [row for row in waiting if row not in together]
        graded = values.grade(IN_A_ROW.name, float(worst.count))
        if graded is None:
            continue
        severity, limit = graded
        limbs = dict.fromkeys(limb for row in together for limb in (row.one, row.other))
        limbs.pop(worst.one)
        yield Flag(
            check=CHECK.id,
            code="start-and-stop-together",
            subject=motion.subject,
            part=worst.one,
            other_parts=tuple(limbs),
            start=motion.frame(worst.first),
            end=motion.frame(worst.last),
            peak=motion.frame(worst.peak),
            severity=severity,
            confidence=min(1.0, 0.5 + 0.1 * worst.count + 0.1 * len(limbs)),
            value=float(worst.count),
            unit=Unit.COUNT,
            limit=limit,
            message=(
                f"{say_part(worst.one).capitalize()} and "
                f"{' and '.join(say_part(limb) for limb in limbs)} start and stop on the same "
                f"frames {worst.count} times in a row"
            ),
            suggestion="let one lead: start and settle the others 1 to 3 frames apart",
        )


def _find_limb_moves(motion: Motion, limb: str, seen_from: str, values: Values) -> list[moves.Move]:
    if limb in TURNING:
        turned = series.smooth(motion.rotation(limb), motion.fps, SMOOTHING_HZ)
        speed = moves.turn_speed(turned, motion.rotation(seen_from), motion.fps)
        least = values[LEAST_TURN.name]
    else:
        point = series.smooth(motion.head(limb), motion.fps, SMOOTHING_HZ)
        around = motion.head(seen_from), motion.rotation(seen_from)
        speed = moves.travel_speed(point, *around, motion.fps) / motion.height
        least = values[LEAST_SPEED.name]
    rest = max(2, round(values.frames(REST.name)))
    found = moves.find_moves(
        speed,
        least_peak=least,
        rest=rest,
        around=max(1, round(AROUND_S * motion.fps)),
    )
    return [
        move for move in found if min(move.rest_before, move.rest_after) >= rest and move.first > 0
    ]


def _find_hops(left: list[moves.Move], right: list[moves.Move]) -> list[tuple[int, int]]:
    """Return the stretches in which both legs bend or push together: a jump, a squat."""
    both = [(max(a.first, b.first), min(a.last, b.last)) for a in left for b in right]
    return [(first, last) for first, last in both if first < last]


def _is_in(move: moves.Move, stretches: list[tuple[int, int]]) -> bool:
    return any(first <= move.last and move.first <= last for first, last in stretches)


def _find_rows(
    one: str, first: list[moves.Move], other: str, second: list[moves.Move], tolerance: float
) -> list[Shared]:
    """Return the rows of consecutive moves of both limbs that begin and end together."""
    if not first or not second:
        return []
    onsets = np.array([[a.onset - b.onset for b in second] for a in first])
    ends = np.array([[a.end - b.end for b in second] for a in first])
    shared = (np.abs(onsets) <= tolerance) & (np.abs(ends) <= tolerance)
    rows: list[Shared] = []
    for i, j in zip(*np.nonzero(shared), strict=True):
        if i and j and shared[i - 1, j - 1]:
            continue
        count = 1
        while i + count < len(first) and j + count < len(second) and shared[i + count, j + count]:
            count += 1
        last = first[i + count - 1]
        rows.append(Shared(one, other, count, first[i].first, last.last, last.peak))
    return rows


CHECK = Check(
    id="same-frame-moves",
    group=Group.BETWEEN,
    question="Do limbs start and stop together?",
    codes={"start-and-stop-together": "limbs share starts and ends of several moves in a row"},
    declarations=(IN_A_ROW, TOLERANCE, LEAST_SPEED, LEAST_TURN, REST),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset({Stage.SPLINE}),
    minimum_frames=12,
)
