# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""weightless-hips: do the hips take the weight of the step?

When a foot comes down the body falls onto it: the hips sink or rise by some centimetres with every
step, and by a hand's breadth or more after a jump. Hips that travel on a rail while the feet step
below them make the character hang from a string.

The vertical play of the hips is measured over the quarter of a second after the touch. In blocking
the key poses are judged: the pose with the new step, the one before and the one after.

Leave it for gliding on purpose, wheels and skates, and for crawling (hips near the ground are not
judged). A smooth, floating style is the director's call: raise the limits or mark it as meant.

Sources: the hips of a published walk rise and fall by 4.8 cm, 2.7 % of body height (from Winter's
table A.1 in BMClab/BMC); captured jumps land with 12 to 18 cm. Steps and landings of open captures
show 0.56 to 12 % of body height, none less.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, merge_flags, say_part
from ..measures import weight
from ..motion import Motion, Stage
from ..units import Unit

PLAY = Limits(
    "play",
    faint=0.4,
    clear=0.2,
    glaring=0.1,
    unit=Unit.BODY_HEIGHT,
    minimum=0.0,
    maximum=5.0,
    description="Vertical play of the hips around a step; raise it to ask for more weight.",
    source="measured: no step of an open capture shows less than 0.56 %, a published walk 2.7 %",
    broad=2.0,
    subtle=0.7,
    style_source="practice: exaggerated walks double the up and down, restrained ones lose a third",
)
STEP = Parameter(
    "step",
    default=35.0,
    unit=Unit.BODY_HEIGHT,
    minimum=5.0,
    maximum=80.0,
    description="Shortest step the hips are expected to answer.",
    source="practice: shorter steps shift the feet without passing the weight on",
)
LANDING = Parameter(
    "landing",
    default=0.5,
    unit=Unit.RATIO,
    minimum=0.1,
    maximum=3.0,
    description="Body heights a second from which coming down with both feet off is a landing.",
    source="measured: captured jumps land at 0.7 to 1.5, boxers' hops on the spot at 0.3",
)
LOWEST_HIPS = Parameter(
    "lowest_hips",
    default=30.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.0,
    maximum=60.0,
    description="Hips nearer to the ground than this crawl or sit: left alone.",
    source="hips stand at 53 % of stature (Drillis & Contini 1966, from memory)",
)
TOGETHER = Parameter(
    "together",
    default=0.8,
    unit=Unit.SECONDS,
    minimum=0.0,
    maximum=3.0,
    description="Steps this near to each other make one flag.",
    source="the next step of a published walk follows after 0.49 s; slower ones take longer",
)

NEAR_GROUND = 0.025


def measure(motion: Motion, values: Values) -> dict[str, list[weight.Step]]:
    """Find steps and landings of each foot and the play of the hips around them."""
    motion.require("hips")
    hips = motion.head("hips")
    if motion.stage is Stage.BLOCKING:
        sides = [side for side in (".L", ".R") if motion.has(f"foot{side}")]
        if not sides:
            motion.require("foot.L", "foot.R")
        feet = [motion.foot(side) for side in sides]
        near = NEAR_GROUND * motion.height
        steps = weight.find_pose_steps(feet, hips, motion.list_drawings(), near)
    else:
        stances = motion.stances()
        sides = list(stances)
        feet = [motion.foot(side) for side in sides]
        steps = weight.find_steps(feet, list(stances.values()), hips, motion.fps)
    floor = min(float(np.quantile(foot.ball[:, 2], 0.05)) for foot in feet)
    lowest = values[LOWEST_HIPS.name] / 100.0 * motion.height
    found = {
        side: [step for step in own if hips[step.frame, 2] - floor >= lowest]
        for side, own in zip(sides, steps, strict=True)
    }
    if any(steps) and not any(found.values()):
        raise CannotEvaluateError("the hips are near the ground throughout (crawling, sitting)")
    return found


def judge(
    motion: Motion, measured: dict[str, list[weight.Step]], values: Values
) -> Iterator[Outcome]:
    """Flag steps whose hips stay level; a row of such steps is one flag."""
    for side in (".L", ".R"):
        if reason := motion.say_missing(f"foot{side}"):
            yield NotEvaluated(CHECK.id, motion.subject, reason, f"foot{side}")
    flags = []
    for side, steps in measured.items():
        for step in steps:
            reach = 100.0 * step.reach / motion.height
            landing = step.landing and step.impact / motion.height >= values[LANDING.name]
            if not landing and reach < values[STEP.name]:
                continue
            play = 100.0 * step.play / motion.height
            # What has to be caught grows with the fall: at the speed from which it is a landing the
            # play of a step is enough, at twice that speed it takes twice as much.
            hard = step.impact / motion.height / values[LANDING.name] if landing else 1.0
            graded = values.grade(PLAY.name, play / max(1.0, hard))
            if graded is None:
                continue
            severity, limit = graded
            foot = f"foot{side}"
            move = "lands" if landing else "comes down"
            shifted = step.shift > step.play
            flags.append(
                Flag(
                    check=CHECK.id,
                    code="hips-stay-level",
                    subject=motion.subject,
                    part="hips",
                    other_parts=(foot,),
                    start=motion.frame(step.frame),
                    end=motion.frame(step.last),
                    peak=motion.frame(step.frame),
                    severity=severity,
                    # Hips that at least move over the foot show some of the weight.
                    confidence=0.8 if shifted else 1.0,
                    value=play,
                    unit=Unit.BODY_HEIGHT,
                    limit=limit * max(1.0, hard),
                    message=(
                        f"Hips stay level ({play:.2f} % of body height) when the "
                        f"{say_part(foot)} {move}"
                    ),
                    suggestion="let the hips sink onto the foot for 2 to 4 frames, then rise",
                )
            )
    yield from merge_flags(flags, gap=round(values.frames(TOGETHER.name)))


CHECK = Check(
    id="weightless-hips",
    group=Group.FEET,
    question="Do the hips take the weight of the step?",
    codes={"hips-stay-level": "the hips keep their height while a foot takes the weight"},
    declarations=(PLAY, STEP, LANDING, LOWEST_HIPS, TOGETHER),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset(Stage),
    minimum_frames=6,
)
