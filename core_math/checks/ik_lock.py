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
natural motion: on open captures of jumping, climbing and boxing the ratio's median is 1.0 to 1.2
and its first percentile 0.47 to 0.74.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome
from ..measures import rotations, series
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
    source="measured: natural captures stay above 0.47 in 99 of 100 windows; a lock lies near 0",
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


@dataclass(frozen=True)
class Stretch:
    """A stretch of frames (indices, both included) in which the hand answers the least."""

    first: int
    last: int
    peak: int
    ratio: float
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
    faintest = max(values.limits[TURN_RATIO.name])
    for side in (".L", ".R"):
        try:
            motion.require(f"hand{side}", f"forearm{side}")
        except CannotEvaluateError as error:
            missing[side] = str(error)
            continue
        hand = rotations.step_angles(motion.rotation(f"hand{side}"))
        forearm = rotations.step_angles(motion.rotation(f"forearm{side}"))
        locked = _find_locked_frames(hand, forearm, values, faintest)
        stretches[side] = [
            _describe(motion.head(f"hand{side}"), hand, forearm, *_trim(hand, forearm, run))
            for run in series.find_runs(locked)
        ]
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
                yield NotEvaluated(CHECK.id, motion.subject, reason, part=f"hand{side}")
                continue
            graded = values.grade(TURN_RATIO.name, stretch.ratio)
            if graded is None:
                continue
            severity, limit = graded
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
                severity=severity,
                confidence=float(np.clip(stretch.forearm_degrees / 40.0, 0.4, 1.0)),
                value=stretch.ratio,
                unit=Unit.RATIO,
                limit=limit,
                message=(
                    f"{word} hand keeps its world angle for {last - first + 1} frames while the "
                    f"forearm turns {stretch.forearm_degrees:.0f} deg"
                ),
                suggestion="let it rotate with the arm, or drag 1 to 2 frames behind",
            )


def _find_locked_frames(
    hand: NDArray[np.float64], forearm: NDArray[np.float64], values: Values, faintest: float
) -> NDArray[np.bool_]:
    """Mark the frames of every stretch in which the hand turns too little for its forearm."""
    locked = np.zeros(len(hand) + 1, dtype=np.bool_)
    hand_sum = np.concatenate(([0.0], np.cumsum(hand)))
    forearm_sum = np.concatenate(([0.0], np.cumsum(forearm)))
    shortest = max(2, round(values.frames(SHORTEST.name)))
    longest = max(shortest, round(values.frames(LONGEST.name)))
    lengths = np.unique(np.linspace(shortest, longest, 4).round().astype(int))
    for length in lengths[lengths < len(locked)]:
        turned = forearm_sum[length:] - forearm_sum[:-length]
        answered = hand_sum[length:] - hand_sum[:-length]
        hit = (turned >= values[FOREARM_TURN.name]) & (answered <= faintest * turned)
        marks = np.zeros(len(locked) + 1)
        starts = np.flatnonzero(hit)
        np.add.at(marks, starts, 1.0)
        np.add.at(marks, starts + length + 1, -1.0)
        locked |= np.cumsum(marks)[:-1] > 0.5
    return locked


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


def _describe(
    place: NDArray[np.float64],
    hand: NDArray[np.float64],
    forearm: NDArray[np.float64],
    first: int,
    last: int,
) -> Stretch:
    turned = float(forearm[first:last].sum())
    path = place[first : last + 1]
    return Stretch(
        first=first,
        last=last,
        peak=first + int(np.argmax(forearm[first:last])),
        ratio=float(hand[first:last].sum()) / turned,
        forearm_degrees=turned,
        hand_travel=float(np.linalg.norm(path.max(axis=0) - path.min(axis=0))),
    )


CHECK = Check(
    id="ik-lock",
    group=Group.ARMS,
    question="Does the hand keep its world orientation while the arm moves?",
    codes={"held-in-world": "the hand keeps its world orientation while the forearm turns"},
    declarations=(TURN_RATIO, FOREARM_TURN, SHORTEST, LONGEST, PLANTED_TRAVEL),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
)
