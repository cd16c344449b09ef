# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""ik-lock: does the hand keep its world orientation while the arm moves?

An arm driven by a control in world space carries the hand along without turning it, so the wrist
bends to undo whatever the forearm does. In life the hand turns with the forearm, or drags a little
behind it; a hand that looks nailed to the air while its arm swings reads as a puppet's.

Leave it when the hand rests on or holds something that stands still (leaning, a railing, a lever):
the hand's place then stands still too, and those frames are reported as planted, not as a fault. A
load carried level on purpose is the animator's call: mark the flag as meant.

Sources: the measure is an identity (a forearm that turns by 30 degrees under a hand of constant
orientation turns the wrist by -30). No published limit is known; the defaults stand apart from
natural motion: on open captures of jumping, climbing and boxing at 24, 100 and 120 fps, over every
stretch of 0.2 to 0.75 s, the ratio's median is 1.0 to 1.2, its first percentile 0.43 and its lowest
value 0.22.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, Severity
from ..measures import rotations, series, swings
from ..motion import Motion
from ..units import Unit

TURN_RATIO = Limits(
    "turn_ratio",
    faint=0.25,
    clear=0.12,
    glaring=0.05,
    unit=Unit.RATIO,
    minimum=0.0,
    maximum=0.6,
    description="Hand turn over forearm turn, both in the world; raise it to flag looser locks.",
    source="measured: natural stretches stay over 0.43 in 99 of 100, over 0.22 in all; a lock at 0",
)
FOREARM_TURN = Parameter(
    "forearm_turn",
    default=15.0,
    unit=Unit.DEGREES,
    minimum=5.0,
    maximum=90.0,
    description="How far the forearm must turn before the hand is expected to answer.",
    source="measured: below 15 degrees capture noise dominates the ratio",
)
SHORTEST = Parameter(
    "shortest",
    default=0.2,
    unit=Unit.SECONDS,
    minimum=0.08,
    maximum=1.0,
    description="Shortest stretch that is judged.",
    source="measured: stretches of 5 to 18 frames at 24 fps separate natural motion from locks",
)
LONGEST = Parameter(
    "longest",
    default=0.75,
    unit=Unit.SECONDS,
    minimum=0.2,
    maximum=3.0,
    description="Longest stretch over which a slow arm may gather its turn.",
    source="measured: stretches of 5 to 18 frames at 24 fps separate natural motion from locks",
)
PLANTED_TRAVEL = Parameter(
    "planted_travel",
    default=2.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.0,
    maximum=20.0,
    description="A hand whose place wanders less than this is planted on something: left alone.",
    source="practice: a hand that leans or holds on stays within the width of a palm's give",
)


SMOOTHING_HZ = 10.0  # keeps a wrist's movement, drops a capture's jitter (practice)


@dataclass(frozen=True)
class Stretch:
    """A stretch of frames (indices, both included) in which the hand answers the least.

    `severity` is the worst limit that any part of it crosses for the shortest time that is judged;
    `ratio` is the lowest there, and the stretch covers all that crosses that limit.
    """

    first: int
    last: int
    peak: int
    ratio: float
    severity: Severity
    limit: float
    forearm_degrees: float
    hand_travel: float


@dataclass(frozen=True)
class ArmTurns:
    """Locked stretches of each arm, by side; a missing arm carries its reason."""

    stretches: dict[str, list[Stretch]]
    missing: dict[str, str]


def measure(motion: Motion, values: Values) -> ArmTurns:
    """Compare the hand's turn with the forearm's over stretches of every length judged."""
    stretches: dict[str, list[Stretch]] = {}
    missing: dict[str, str] = {}
    for side in (".L", ".R"):
        try:
            motion.require(f"hand{side}", f"forearm{side}")
        except CannotEvaluateError as error:
            missing[side] = str(error)
            continue
        hand, forearm = (
            rotations.step_angles(
                swings.smooth_rotations(motion.rotation(f"{part}{side}"), motion.fps, SMOOTHING_HZ)
            )
            for part in ("hand", "forearm")
        )
        stretches[side] = list(_find_stretches(motion.head(f"hand{side}"), hand, forearm, values))
    if not stretches:
        raise CannotEvaluateError("; ".join(missing.values()))
    return ArmTurns(stretches, missing)


def judge(motion: Motion, measured: ArmTurns, values: Values) -> Iterator[Outcome]:
    """Flag locked stretches unless the hand is planted in the world."""
    for side, reason in measured.missing.items():
        yield NotEvaluated(CHECK.id, motion.subject, reason, part=f"hand{side}")
    for side, stretches in measured.stretches.items():
        for stretch in stretches:
            first, last = motion.frame(stretch.first), motion.frame(stretch.last)
            if stretch.hand_travel <= values[PLANTED_TRAVEL.name] / 100.0 * motion.height:
                reason = f"the hand is planted in the world on frames {first}-{last}"
                span = ((first, last),)
                yield NotEvaluated(CHECK.id, motion.subject, reason, f"hand{side}", span)
                continue
            word = "Left" if side == ".L" else "Right"
            yield Flag(
                check=CHECK.id,
                code="held-in-world",
                subject=motion.subject,
                part=f"hand{side}",
                other_parts=(f"forearm{side}",),
                start=first,
                end=last,
                peak=motion.frame(stretch.peak),
                severity=stretch.severity,
                confidence=float(np.clip(stretch.forearm_degrees / 40.0, 0.4, 1.0)),
                value=stretch.ratio,
                unit=Unit.RATIO,
                limit=stretch.limit,
                message=(
                    f"{word} hand keeps its world angle for {last - first + 1} frames while the "
                    f"forearm turns {stretch.forearm_degrees:.0f} deg"
                ),
                suggestion="let it rotate with the arm, or drag 1 to 2 frames behind",
            )


def _find_stretches(
    place: NDArray[np.float64],
    hand: NDArray[np.float64],
    forearm: NDArray[np.float64],
    values: Values,
) -> Iterator[Stretch]:
    """Yield each locked stretch once, at the worst limit that some part of it crosses."""
    lowest = _find_lowest_ratios(hand, forearm, values)
    levels = list(zip(Severity, values.limits[TURN_RATIO.name], strict=True))
    for first, last in series.find_runs(lowest <= levels[0][1]):
        least = float(lowest[first : last + 1].min())
        severity, limit = [level for level in levels if least <= level[1]][-1]
        for low, high in series.find_runs(lowest[first : last + 1] <= limit):
            run = _trim(hand, forearm, (first + low, first + high))
            yield Stretch(
                first=run[0],
                last=run[1],
                peak=run[0] + int(np.argmax(forearm[run[0] : run[1]])),
                ratio=float(lowest[first + low : first + high + 1].min()),
                severity=severity,
                limit=limit,
                forearm_degrees=float(forearm[run[0] : run[1]].sum()),
                hand_travel=swings.excursion(place[run[0] : run[1] + 1]),
            )


def _find_lowest_ratios(
    hand: NDArray[np.float64], forearm: NDArray[np.float64], values: Values
) -> NDArray[np.float64]:
    """Return for each frame the lowest ratio of any judged stretch it lies in, infinite for none.

    Stretches are tried at four lengths; those in which the forearm turns too little do not count.
    """
    lowest = np.full(len(hand) + 1, np.inf)
    hand_sum = np.concatenate(([0.0], np.cumsum(hand)))
    forearm_sum = np.concatenate(([0.0], np.cumsum(forearm)))
    shortest = max(2, round(values.frames(SHORTEST.name)))
    longest = max(shortest, round(values.frames(LONGEST.name)))
    lengths = np.unique(np.linspace(shortest, longest, 4).round().astype(int))
    for length in lengths[lengths < len(lowest)]:
        turned = forearm_sum[length:] - forearm_sum[:-length]
        answered = hand_sum[length:] - hand_sum[:-length]
        enough = turned >= values[FOREARM_TURN.name]
        ratios = np.where(enough, answered / np.where(enough, turned, 1.0), np.inf)
        # A frame lies in the stretches that start up to `length` frames before it.
        padded = np.concatenate((np.full(length, np.inf), ratios, np.full(length, np.inf)))
        covering = series.rolling_minimum(padded, length + 1)
        lowest = np.minimum(lowest, covering)
    return lowest


def _trim(
    hand: NDArray[np.float64], forearm: NDArray[np.float64], run: tuple[int, int]
) -> tuple[int, int]:
    """Drop the quiet frames at both ends, before the forearm starts and after it stops."""
    first, last = run
    gathered = np.cumsum(forearm[first:last])
    inside = np.flatnonzero((gathered > 0.02 * gathered[-1]) & (gathered < 0.98 * gathered[-1]))
    if len(inside) == 0:
        return first, last
    return first + int(inside[0]), first + int(inside[-1]) + 1


CHECK = Check(
    id="ik-lock",
    group=Group.ARMS,
    question="Does the hand keep its world orientation while the arm moves?",
    codes={"held-in-world": "the hand keeps its world orientation while the forearm turns"},
    declarations=(TURN_RATIO, FOREARM_TURN, SHORTEST, LONGEST, PLANTED_TRAVEL),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    weighed_by_picture=True,
    on_drawings=True,
)
