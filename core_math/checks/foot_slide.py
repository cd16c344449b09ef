# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""foot-slide: does a planted foot move?

A foot that carries weight holds the ground. When hips and foot controls disagree, the foot drifts
while it stands, and the character skates: the contact is gone, and with it the weight.

How far the sole gets from its place while it is planted is measured, not how fast it moves: even
captured feet that stand still show speeds of 0.4 m/s. A foot that turns on its ball or heel is no
slide, nor is one that shuffles on at speed beside the other foot, which in life lifts or turns it a
little. A foot that stands alone cannot shuffle, so there faster slides count too. In cycles made in
place the ground's own speed is taken out first.

Leave it for ice, sand, sliding on purpose and moon-walks: mark those flags as meant.

Sources: planted feet of open captures of jumping, climbing and boxing wander by 0.5 to 1.2 % of
body height (median), 95 of 100 by less than 2.6 %; raw digitised walks by 8 to 13 mm (from Winter's
table A.1 in BMClab/BMC). The smallest slide people notice is put at about 21 mm (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import Flag, NotEvaluated, Outcome, say_part
from ..measures import plants
from ..motion import Motion, Stage
from ..units import Unit

SLIDE = Limits(
    "slide",
    faint=1.5,
    clear=3.5,
    glaring=7.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.2,
    maximum=40.0,
    description="How far a planted foot may get from its place; raise it for noisy captures.",
    source="measured: natural plants wander by 0.5 to 1.2 %, 95 of 100 by less than 2.6 %",
)
CALM_SPEED = Parameter(
    "calm_speed",
    default=0.15,
    unit=Unit.RATIO,
    minimum=0.03,
    maximum=1.0,
    description="Body heights a second above which a foot beside a standing one is stepping on.",
    source="measured: shuffling boxers' feet glide at 0.3 to 0.8, drifting plants under 0.15",
)
ALONE_SPEED = Parameter(
    "alone_speed",
    default=0.45,
    unit=Unit.RATIO,
    minimum=0.03,
    maximum=1.0,
    description="The same for a foot that stands alone, or whose sole stays flat on the ground.",
    source="measured: half the speed of a captured walk's slowest swing",
)


def measure(motion: Motion, values: Values) -> Steps[dict[str, list[plants.Plant]]]:
    """Find the plants of each foot and how far the foot wanders in each."""
    stances = yield from motion.iterate_stances()
    feet = {side: motion.foot(side) for side in stances}
    ground = motion.treadmill()
    found: dict[str, list[plants.Plant]] = {}
    for side, foot in feet.items():
        alone = np.ones(motion.frame_count, dtype=np.bool_)
        for other in (stance for name in feet if name != side for stance in stances[name]):
            alone[other.touch : other.off + 1] = False
        share = np.where(alone, values[ALONE_SPEED.name], values[CALM_SPEED.name])
        calm = share * motion.height
        fastest = values[ALONE_SPEED.name] * motion.height
        found[side] = []
        for stance in stances[side]:
            found[side] += plants.find_plants(
                foot, [stance], motion.fps, motion.height, calm, fastest, ground
            )
            yield
    return found


def judge(
    motion: Motion, measured: dict[str, list[plants.Plant]], values: Values
) -> Iterator[Outcome]:
    """Flag each plant whose foot gets too far from its place."""
    for side in (".L", ".R"):
        part = f"foot{side}"
        if reason := motion.say_missing(part):
            yield NotEvaluated(CHECK.id, motion.subject, reason, part)
            continue
        for plant in measured[side]:
            percent = 100.0 * plant.slide / motion.height
            graded = values.grade(SLIDE.name, percent)
            if graded is None:
                continue
            severity, limit = graded
            count = plant.last - plant.first + 1
            yield Flag(
                check=CHECK.id,
                code="slides-while-planted",
                subject=motion.subject,
                part=part,
                other_parts=("hips",) if motion.has("hips") else (),
                start=motion.frame(plant.first),
                end=motion.frame(plant.last),
                peak=motion.frame(plant.peak),
                severity=severity,
                confidence=min(1.0, 0.5 + 0.5 * count / values.fps / 0.3),
                value=percent,
                unit=Unit.BODY_HEIGHT,
                limit=limit,
                message=(
                    f"{say_part(part).capitalize()} slides {percent:.1f} % of body height over "
                    f"{count} frames while it is planted"
                ),
                suggestion="pin the foot, or let the hips come after it",
            )


CHECK = Check(
    id="foot-slide",
    group=Group.FEET,
    question="Does a planted foot move?",
    codes={"slides-while-planted": "the foot gets away from its place while it stands"},
    declarations=(SLIDE, CALM_SPEED, ALONE_SPEED),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    weighed_by_picture=True,
    stages=frozenset({Stage.SPLINE, Stage.HELD}),
    minimum_frames=6,
)
