# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""soft-plant: does a fast foot settle slowly?

A foot that comes down fast slaps flat at once: heel or ball touches, and within a frame or two
the whole sole carries. Spline keys like to ease the foot into the ground instead; it then rolls
down softly over many frames, and the step has no weight.

The frames from first touch to flat are counted and weighed by the speed at which the sole came
down: a slow foot may take its time in proportion.

Leave it for tiptoe, sneaking and feet that are felt forward on purpose: those come down slowly and
are left alone, as is a foot that stays up on its ball after it has landed.

Sources: a published walk comes down at 0.35 m/s and is flat in 86 ms (from Winter's table A.1 in
BMClab/BMC); landings of open captured jumps come down at 1 to 2.7 m/s and are flat in 25 to 125
ms. One to two frames for a heavy step is common practice.
"""

from __future__ import annotations

from collections.abc import Iterator

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import Flag, NotEvaluated, Outcome, say_part
from ..measures import contacts
from ..motion import Motion, Stage
from ..units import Unit, reference_frames_to_frames

SETTLE = Limits(
    "settle",
    faint=3.0,
    clear=4.0,
    glaring=6.0,
    unit=Unit.FRAMES_AT_24,
    minimum=0.5,
    maximum=24.0,
    description="Frames from touch to flat for a fast foot; raise it for soft, gliding styles.",
    source="measured: 95 of 100 captured landings are flat within 2.6 frames; practice asks for 2",
)
FAST = Parameter(
    "fast",
    default=0.35,
    unit=Unit.RATIO,
    minimum=0.05,
    maximum=2.0,
    description="Body heights a second from which a foot counts as fast; slower ones may settle "
    "longer in proportion.",
    source="between the two published points: 0.35 m/s with 86 ms and 1.7 m/s with 25 ms",
)
LONGEST = Parameter(
    "longest",
    default=0.6,
    unit=Unit.SECONDS,
    minimum=0.2,
    maximum=3.0,
    description="A foot that takes longer than this stays up on purpose: left alone.",
    source="measured: boxers who stay on the ball of the foot do so for 1.4 s and more",
)


def measure(motion: Motion, values: Values) -> dict[str, list[contacts.Stance]]:
    """Find the stances of each foot that begin inside the shot and become flat."""
    return {
        side: [s for s in stances if s.touch > 0 and s.flat_time is not None]
        for side, stances in motion.stances().items()
    }


def judge(
    motion: Motion, measured: dict[str, list[contacts.Stance]], values: Values
) -> Iterator[Outcome]:
    """Flag stances that take too long to become flat for the speed they came down with."""
    for side in (".L", ".R"):
        part = f"foot{side}"
        if side not in measured:
            reason = f"needs {part} ({motion.dropped.get(part, 'not mapped')})"
            yield NotEvaluated(CHECK.id, motion.subject, reason, part)
            continue
        for stance in measured[side]:
            if stance.flat is None or stance.flat_time is None:
                continue
            frames = stance.flat_time - stance.touch_time
            if frames > values.frames(LONGEST.name):
                continue
            speed = stance.impact / motion.height
            weighed = frames * min(1.0, speed / values[FAST.name])
            graded = values.grade(
                SETTLE.name, weighed / reference_frames_to_frames(1.0, values.fps)
            )
            if graded is None:
                continue
            severity, limit = graded
            yield Flag(
                check=CHECK.id,
                code="settles-slowly",
                subject=motion.subject,
                part=part,
                start=motion.frame(stance.touch),
                end=motion.frame(stance.flat),
                peak=motion.frame((stance.touch + stance.flat) // 2),
                severity=severity,
                confidence=min(1.0, 0.6 + 0.4 * speed / values[FAST.name]),
                value=weighed / reference_frames_to_frames(1.0, values.fps),
                unit=Unit.FRAMES_AT_24,
                limit=limit,
                message=(
                    f"{say_part(part).capitalize()} comes down at {stance.impact:.1f} m/s and "
                    f"takes {frames:.0f} frames to lie flat"
                ),
                suggestion="let it slap flat 1 to 2 frames after the touch",
            )


CHECK = Check(
    id="soft-plant",
    group=Group.FEET,
    question="Does a fast foot settle slowly?",
    codes={"settles-slowly": "the sole takes too long from first touch to flat for its speed"},
    declarations=(SETTLE, FAST, LONGEST),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset({Stage.SPLINE, Stage.HELD}),
    minimum_frames=6,
)
