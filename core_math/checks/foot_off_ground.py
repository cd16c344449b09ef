# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""foot-off-ground: is the planted foot over or through the ground?

Ground is what the feet agree on. A foot that plants a finger's breadth above the level of the
plants before and after it hovers; one below them sinks in. Both undo the contact, and a shadow
shows it at once.

The level of each stance is held against the plants next to it in time, of both feet, and the
nearest level counts, so a flight of stairs is no fault. A foot that leaves its own level while it
stands, flat as it is, is told too.

Leave it for stairs, kerbs and ledges (a difference larger than a ledge is left alone), for snow
and mud, and for tiptoe, whose ball has no level of its own: only whole soles are judged.

Sources: the plants of open captures of jumping, climbing and boxing lie within 0.1 to 0.2 % of
body height (median) of a neighbour's level, 95 of 100 within 1.1 %. No limit is published.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, say_part
from ..measures import ground
from ..motion import Motion, Stage
from ..units import Unit

OFFSET = Limits(
    "offset",
    faint=1.0,
    clear=2.0,
    glaring=3.5,
    unit=Unit.BODY_HEIGHT,
    minimum=0.2,
    maximum=10.0,
    description="Height of a plant over or under the plants around it; raise it for soft ground.",
    source="measured: 95 of 100 natural plants lie within 1.1 % of a neighbour's level",
)
LEDGE = Parameter(
    "ledge",
    default=5.0,
    unit=Unit.BODY_HEIGHT,
    minimum=2.0,
    maximum=30.0,
    description="A larger difference is another level (a kerb, a stair), not a fault.",
    source="practice: the lowest kerbs and steps are about 10 cm high, 6 % of stature",
)

# A foot that sinks for less than this is a pop; one that rises for less takes a small step (a
# boxer's lasts 0.2 s).
LONG_ENOUGH_S = {False: 0.15, True: 0.5}
NEIGHBOURS = 2  # plants before and after that are held against each other


@dataclass(frozen=True)
class Level:
    """A plant and how far it lies from the nearest level around it, in metres (up positive).

    `moved` says that the level is its own: the foot stood there before or after.
    """

    side: str
    first: int
    last: int
    offset: float
    moved: bool = False


def measure(motion: Motion, values: Values) -> list[Level]:
    """Hold the level of each whole-soled plant against its neighbours in time."""
    plants = sorted(
        (
            (stance.touch, side, stance)
            for side, stances in motion.stances().items()
            for stance in stances
            if stance.flat is not None
        ),
        key=lambda plant: plant[:2],
    )
    if len(plants) < 2:
        raise CannotEvaluateError("needs two plants of whole soles to compare")
    ledge = values[LEDGE.name] / 100.0 * motion.height
    levels = _find_moved(motion, values)
    for number, (_, side, stance) in enumerate(plants):
        first = max(0, number - NEIGHBOURS)
        around = plants[first:number] + plants[number + 1 : number + 1 + NEIGHBOURS]
        offsets = np.array([stance.level - other.level for _, _, other in around])
        nearest = float(offsets[np.argmin(np.abs(offsets))])
        # Of two plants alone the longer one is right; of two as long the higher one hovers.
        if len(plants) == 2:
            own, other = (s.off - s.touch for s in (stance, around[0][2]))
            if own > 2 * other or (2 * own >= other and nearest <= 0.0):
                continue
        if abs(nearest) <= ledge:
            levels.append(Level(side, stance.touch, stance.off, nearest))
    return levels


def _find_moved(motion: Motion, values: Values) -> list[Level]:
    """Find where a foot that stands leaves its own level for a while, flat as it is."""
    least = min(values.limits[OFFSET.name]) / 100.0 * motion.height
    ledge = values[LEDGE.name] / 100.0 * motion.height
    long_enough = {up: max(2, round(time * motion.fps)) for up, time in LONG_ENOUGH_S.items()}
    found = []
    for side, stances in motion.stances().items():
        foot = motion.foot(side)
        heights = np.stack((foot.ankle[:, 2], foot.ball[:, 2]), axis=1)
        for stance in stances:
            if stance.flat is None or stance.heel_off is None:
                continue
            start = stance.flat
            shifts = ground.find_shifts(
                heights[start : stance.heel_off + 1], least, long_enough[False]
            )
            found += [
                Level(side, start + first, start + last, offset, moved=True)
                for first, last, offset in shifts
                if abs(offset) <= ledge and last - first + 1 >= long_enough[offset > 0.0]
            ]
    return found


def judge(motion: Motion, measured: list[Level], values: Values) -> Iterator[Outcome]:
    """Flag plants that lie off the level of those around them."""
    for side in (".L", ".R"):
        if reason := motion.say_missing(f"foot{side}"):
            yield NotEvaluated(CHECK.id, motion.subject, reason, f"foot{side}")
    for level in measured:
        percent = 100.0 * abs(level.offset) / motion.height
        graded = values.grade(OFFSET.name, percent)
        if graded is None:
            continue
        severity, limit = graded
        over = level.offset > 0.0
        part = f"foot{level.side}"
        yield Flag(
            check=CHECK.id,
            code="over-the-ground" if over else "through-the-ground",
            subject=motion.subject,
            part=part,
            start=motion.frame(level.first),
            end=motion.frame(level.last),
            peak=motion.frame((level.first + level.last) // 2),
            severity=severity,
            confidence=0.9,
            value=percent,
            unit=Unit.BODY_HEIGHT,
            limit=limit,
            message=_say(level, part, percent),
            suggestion=(
                "hold the foot at the height it stands at: look for a stray key or loose handles"
                if level.moved
                else "bring the contact back to the ground of the neighbouring steps"
            ),
        )


def _say(level: Level, part: str, percent: float) -> str:
    who, size = say_part(part).capitalize(), f"{percent:.1f} % of body height"
    if level.moved:
        return f"{who} {'rises' if level.offset > 0.0 else 'sinks'} {size} while it stands"
    return f"{who} plants {size} {'above' if level.offset > 0.0 else 'below'} the plants around it"


CHECK = Check(
    id="foot-off-ground",
    group=Group.FEET,
    question="Is the planted foot over or through the ground?",
    codes={
        "over-the-ground": "the plant lies above the level of the plants around it",
        "through-the-ground": "the plant lies below the level of the plants around it",
    },
    declarations=(OFFSET, LEDGE),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    weighed_by_picture=True,
    stages=frozenset({Stage.SPLINE, Stage.HELD}),
    minimum_frames=6,
)
