# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""soft-plant: does a fast foot settle slowly?

A foot that comes down fast slaps flat at once: heel or ball touches, and within a frame or two
the whole sole carries. Spline keys like to ease the foot into the ground instead; it then rolls
down softly over many frames, and the step has no weight.

The frames from first touch to flat are counted and weighed by what comes down with the foot: a body
that walks on or lands, or a foot that stamps, has no time; a foot that is put down ahead of a body
at rest may take its time.

Leave it for tiptoe, sneaking and feet that are felt forward on purpose: those come down slowly and
are left alone, as is a foot that stays up on its ball after it has landed.

Sources: a published walk goes at 1.42 m/s and its foot is flat in 86 ms (from Winter's table A.1 in
BMClab/BMC); landings of open captured jumps come down at 1 to 2.7 m/s and are flat in 25 to 125
ms. One to two frames for a heavy step is common practice.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import Flag, NotEvaluated, Outcome, say_part
from ..measures import geometry, series
from ..motion import Motion, Stage
from ..units import REFERENCE_FPS, Unit

SETTLE = Limits(
    "settle",
    faint=4.0,
    clear=5.0,
    glaring=7.5,
    unit=Unit.FRAMES_AT_24,
    minimum=0.5,
    maximum=24.0,
    description="Frames from touch to flat for a fast foot; raise it for soft, gliding styles.",
    source="measured: 95 of 100 captured landings are flat within 2.6 frames, a walk built from "
    "published figures within 1.6 to 3.5 of its true 2.1",
)
PACE = Parameter(
    "pace",
    default=0.8,
    unit=Unit.RATIO,
    minimum=0.05,
    maximum=3.0,
    description="Body heights a second from which the body comes on fast; under it a foot may "
    "settle longer in proportion.",
    source="a published walk: 1.42 m/s, 0.83 body heights a second",
)
STAMP = Parameter(
    "stamp",
    default=0.5,
    unit=Unit.RATIO,
    minimum=0.05,
    maximum=3.0,
    description="Body heights a second at which a foot stamps, body or not; half of it is soft.",
    source="between the published 0.35 m/s of a walk's foot (0.2) and captured landings (1.0)",
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

SMOOTHING_HZ = 6.0  # keeps a body's fall, drops a capture's jitter (practice)
JUST_BEFORE = 0.05  # s before the touch, when the ground has not yet braked the body


@dataclass(frozen=True)
class Settling:
    """A stance that begins inside the shot and becomes flat (frame indices, times in frames).

    `pace` is the speed of the hips over the ground just before the touch and `impact` that of the
    sole, both in body heights a second.
    """

    touch: int
    flat: int
    seconds: float
    pace: float
    impact: float


def measure(motion: Motion, values: Values) -> Steps[dict[str, list[Settling]]]:
    """Find each foot's touches, how long they take to lie flat, and what comes with them."""
    motion.require("hips")
    stances = yield from motion.iterate_stances()
    ground = motion.treadmill()
    hips = series.smooth(motion.head("hips"), motion.fps, SMOOTHING_HZ)
    velocity = series.central_velocity(hips, motion.fps)
    velocity[:, :2] -= ground
    pace = geometry.lengths(velocity) / motion.height
    before = round(JUST_BEFORE * motion.fps)
    return {
        side: [
            Settling(
                touch=stance.touch,
                flat=stance.flat,
                seconds=(stance.flat_time - stance.touch_time) / motion.fps,
                pace=float(pace[max(0, stance.touch - before)]),
                impact=stance.impact / motion.height,
            )
            for stance in own
            if stance.touch > 0 and stance.flat is not None and stance.flat_time is not None
        ]
        for side, own in stances.items()
    }


def judge(motion: Motion, measured: dict[str, list[Settling]], values: Values) -> Iterator[Outcome]:
    """Flag stances that take too long to become flat for what comes down with them."""
    for side in (".L", ".R"):
        part = f"foot{side}"
        if reason := motion.say_missing(part):
            yield NotEvaluated(CHECK.id, motion.subject, reason, part)
            continue
        for settling in measured[side]:
            if settling.seconds > values[LONGEST.name]:
                continue
            haste = _rate_haste(settling, values)
            weighed = haste * settling.seconds * REFERENCE_FPS
            graded = values.grade(SETTLE.name, weighed)
            if graded is None:
                continue
            severity, limit = graded
            frames = settling.seconds * motion.fps
            speed = max(settling.pace, settling.impact) * motion.height
            yield Flag(
                check=CHECK.id,
                code="settles-slowly",
                subject=motion.subject,
                part=part,
                start=motion.frame(settling.touch),
                end=motion.frame(settling.flat),
                peak=motion.frame((settling.touch + settling.flat) // 2),
                severity=severity,
                confidence=min(1.0, 0.5 + 0.5 * haste),
                value=weighed,
                unit=Unit.FRAMES_AT_24,
                limit=limit,
                message=(
                    f"{say_part(part).capitalize()} takes {frames:.0f} frames to lie flat in a "
                    f"step at {speed:.1f} m/s"
                ),
                suggestion="let it slap flat 1 to 2 frames after the touch",
            )


def _rate_haste(settling: Settling, values: Values) -> float:
    """Return 1 for a step that leaves no time, down to 0 for a foot that is put down at rest."""
    stamp = 2.0 * settling.impact / values[STAMP.name] - 1.0
    return float(np.clip(max(settling.pace / values[PACE.name], stamp), 0.0, 1.0))


CHECK = Check(
    id="soft-plant",
    group=Group.FEET,
    question="Does a fast foot settle slowly?",
    codes={"settles-slowly": "the sole takes too long from first touch to flat for its speed"},
    declarations=(SETTLE, PACE, STAMP, LONGEST),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    weighed_by_picture=True,
    stages=frozenset({Stage.SPLINE, Stage.HELD}),
    minimum_frames=6,
)
