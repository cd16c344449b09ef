# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""joint-snap: does an elbow or knee snap at full stretch?

A limb driven by a target that runs out of its reach pulls its joint straight: the last degrees open
in a frame or two, then the joint is locked and stops dead; on the way back it drops open as
suddenly. Muscles brake a joint before it locks.

The step into (or out of) the straight pose is held against how much the joint's steps change
anyway near there: the spike. An elbow that then stays dead at full stretch counts twice; a knee
that carries locks in life too.

Leave it for kicks, throws and punches that pass through the straight pose and come back: a joint
that is straight for no longer than one frame at 24 fps is not judged. A joint that brakes about as
long as it gathered speed eases into straight, however fast the move.

Sources: two links of l1 and l2 reach d^2 = l1^2 + l2^2 + 2 l1 l2 cos(flex), so near full stretch a
millimetre of reach opens 4.6 degrees at 5 degrees of flexion and 0.3 at 90 (law of cosines, links
of 0.30 and 0.27 m); no limit is published. Measured: elbows and knees on open captures stay under
7.4 (a climber's locked knees; most others never get straight), an arm whose target runs 5 mm and
more past its reach in 0.8 s lies at 5.8 to 17.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, Severity, merge_flags
from ..measures import joints, snaps
from ..motion import Motion
from ..units import REFERENCE_FPS, Unit

SPIKE = Limits(
    "spike",
    faint=4.0,
    clear=6.5,
    glaring=11.0,
    unit=Unit.RATIO,
    minimum=1.0,
    maximum=100.0,
    description="Step into the straight pose over the local change of steps.",
    source="measured: natural knees lock with up to 4 as a rule, targets out of reach with 6 to 17",
)
LOCKED = Parameter(
    "locked",
    default=2.0,
    unit=Unit.RATIO,
    minimum=1.0,
    maximum=10.0,
    description="How much more a spike weighs when an elbow stops dead; 1 weighs all alike.",
    source="measured: no natural elbow stays within half a degree at full stretch, all that were "
    "pulled out of reach do; knees that carry lock in life too",
)
STRAIGHT = Parameter(
    "straight",
    default=172.0,
    unit=Unit.DEGREES,
    minimum=150.0,
    maximum=179.5,
    description="Interior angle from which a joint counts as fully stretched.",
    source="practice: 8 degrees short of 180 a limb reads as straight",
)
STEP = Parameter(
    "step",
    default=6.0,
    unit=Unit.DEGREES,
    minimum=1.0,
    maximum=60.0,
    description="Smallest step beside the straight pose, degrees per frame at 24 fps.",
    source="practice: smaller steps do not read as a snap",
)
BRAKES = Parameter(
    "brakes",
    default=0.5,
    unit=Unit.RATIO,
    minimum=0.0,
    maximum=2.0,
    description="Braking over gathering speed, in frames, from which a joint eases into straight.",
    source="a minimum-jerk move (Flash & Hogan 1985) brakes as long as it gathers speed: 1",
)

FLOOR = 2.0  # degrees per frame and frame at 24 fps: a calm limb changes its steps by as much
SHORTEST_STAY = 2  # samples, at about 24 a second, that a joint that snaps stays straight
LOCKED_SECONDS = 0.1  # s that a joint pulled out of reach stays dead: three poses at 24 fps
NEIGHBOURHOOD = 0.4  # s to either side that give the local level
JOINTS = {"elbow": ("upper_arm", "forearm", "hand"), "knee": ("thigh", "shin", "foot")}
WORDS = {".L": "Left", ".R": "Right"}


@dataclass(frozen=True)
class JointSnap:
    """A stop or start of an elbow or knee at full stretch; frame indices, both included."""

    joint: str
    side: str
    first: int
    last: int
    peak: int
    step: float
    spike: float
    dead: bool
    passes: bool
    brakes: float


@dataclass(frozen=True)
class JointSnaps:
    """What was seen at each joint; a joint that could not be judged carries its reason."""

    snaps: list[JointSnap]
    missing: dict[str, str]


def measure(motion: Motion, values: Values) -> Steps[JointSnaps]:
    """Measure how hard each elbow and knee stops or starts at full stretch."""
    found: list[JointSnap] = []
    missing: dict[str, str] = {}
    for joint, (upper, lower, end) in JOINTS.items():
        for side in (".L", ".R"):
            try:
                motion.require(f"{upper}{side}", f"{lower}{side}")
            except CannotEvaluateError as error:
                missing[f"{lower}{side}"] = str(error)
                continue
            names = (f"{upper}{side}", f"{lower}{side}", f"{end}{side}")
            found += motion.memo(
                (CHECK.id, joint, side),
                partial(_measure_joint, motion, joint, side, names, values),
                values.key,
            )
            yield
    if len(missing) == 2 * len(JOINTS):
        raise CannotEvaluateError("; ".join(missing.values()))
    return JointSnaps(found, missing)


def _measure_joint(
    motion: Motion, joint: str, side: str, names: tuple[str, str, str], values: Values
) -> list[JointSnap]:
    # About 24 samples a second, whatever the rate: a snap is a matter of a frame or two there.
    stride = max(1, int(motion.fps // REFERENCE_FPS))
    rate = motion.fps / stride
    upper, lower, tip = names
    angles = joints.hinge_angle(
        motion.head(upper),
        motion.head(lower),
        motion.head(tip) if motion.has(tip) else motion.tail(lower),
        motion.rotation(upper),
    )
    found = snaps.find_snaps(
        angles[::stride],
        straight=values[STRAIGHT.name],
        pace=rate / REFERENCE_FPS,
        neighbourhood=max(4, round(NEIGHBOURHOOD * rate)),
        floor=FLOOR,
    )
    return [
        JointSnap(
            joint=joint,
            side=side,
            first=snap.first * stride,
            last=min(snap.last * stride, motion.frame_count - 1),
            peak=snap.corner * stride,
            step=snap.step,
            spike=snap.spike,
            dead=snap.locked >= max(2.0, LOCKED_SECONDS * rate),
            passes=snap.stays < SHORTEST_STAY,
            brakes=snap.brakes,
        )
        for snap in found
        if snap.step >= values[STEP.name]
    ]


def judge(motion: Motion, measured: JointSnaps, values: Values) -> Iterator[Outcome]:
    """Flag joints that snap; in and out of the same straight pose is one flag."""
    for part, reason in measured.missing.items():
        yield NotEvaluated(CHECK.id, motion.subject, reason, part=part)
    flags = []
    for snap in measured.snaps:
        weight = values[LOCKED.name] if snap.dead and snap.joint == "elbow" else 1.0
        graded = values.grade(SPIKE.name, weight * snap.spike)
        if graded is not None and not snap.passes and snap.brakes <= values[BRAKES.name]:
            flags.append(_make_flag(motion, snap, weight, *graded))
    yield from merge_flags(flags, gap=round(NEIGHBOURHOOD * motion.fps))


def _make_flag(
    motion: Motion, snap: JointSnap, weight: float, severity: Severity, limit: float
) -> Flag:
    _, lower, end = JOINTS[snap.joint]
    tip = f"{end}{snap.side}"
    return Flag(
        check=CHECK.id,
        code="full-stretch",
        subject=motion.subject,
        part=f"{lower}{snap.side}",
        other_parts=(tip,) if motion.has(tip) else (),
        start=motion.frame(snap.first),
        end=motion.frame(snap.last),
        peak=motion.frame(snap.peak),
        severity=severity,
        confidence=float(np.clip(snap.step / 15.0, 0.4, 1.0)),
        value=weight * snap.spike,
        unit=Unit.RATIO,
        limit=limit,
        message=(
            f"{WORDS[snap.side]} {snap.joint} snaps at full stretch: {snap.step:.0f} deg in a "
            f"frame, {snap.spike:.0f} times the change around it"
            + (", and it locks dead" if weight > 1.0 else "")
        ),
        suggestion="keep the target inside the limb's reach, 1 to 2 % short of straight",
    )


CHECK = Check(
    id="joint-snap",
    group=Group.ARMS,
    question="Does an elbow or knee snap at full stretch?",
    codes={"full-stretch": "the joint races through its last degrees and locks, or drops open"},
    declarations=(SPIKE, LOCKED, STRAIGHT, STEP, BRAKES),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    weighed_by_picture=True,
    on_drawings=True,
)
