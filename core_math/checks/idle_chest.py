# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""idle-chest: does the chest answer the arms?

A big, fast swing of the upper arm starts in the trunk: the rib cage turns on the pelvis, a little
before the arm or dragging a little behind it. A chest that stays with the pelvis while the arm
swings reads as a mannequin with arms hinged on. The other extreme is a chest that carries the arm
like a plank: all of the swing comes from the chest, on the same frame.

Chest and upper arm are both seen from the pelvis, so turning on the spot counts for neither. The
gain is the chest's turn over the arm's swing, the lag tells by how many frames the chest follows
(negative: it leads). A lead and a lag are both human; no answer at all is the fault.

Leave it for small or slow moves, for gestures made from the elbow, and when the hand rests on
something that stands still (both are said as not evaluated). A held, braced or armoured trunk is
the animator's call: mark the flag as meant.

Sources: the trunk moves before a raised arm does (Zattara & Bouisset 1988); no limit of the gain
is published. Measured on open captures of jumping, climbing and boxing at 24, 100 and 120 fps, 72
swings of 50 degrees and more: gain 0.06 to 0.65, median 0.2 to 0.3, lag -0.25 to +0.25 s.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import (
    CannotEvaluateError,
    Flag,
    NotEvaluated,
    Outcome,
    Severity,
    merge_flags,
)
from ..measures import geometry, joints, response, rotations, series, swings
from ..motion import Motion
from ..units import Unit

IDLE_GAIN = Limits(
    "idle_gain",
    faint=0.05,
    clear=0.03,
    glaring=0.015,
    unit=Unit.RATIO,
    minimum=0.0,
    maximum=0.4,
    description="Chest turn over arm swing, both on the pelvis; raise it to ask more of the chest.",
    source="measured: no natural swing of 50 degrees and more gave under 0.06; a welded chest 0",
    broad=1.2,
    subtle=0.6,
    style_source="practice: broad acting comes from the trunk, close-up acting from arms and face",
)
PLANK_GAIN = Limits(
    "plank_gain",
    faint=0.85,
    clear=0.93,
    glaring=0.98,
    unit=Unit.RATIO,
    minimum=0.5,
    maximum=1.2,
    description="Share of the arm's swing that the chest makes, on the same frame.",
    source="measured: natural swings stay under 0.65; 1 at lag 0 is an arm welded to the chest",
)
SWING = Parameter(
    "swing",
    default=50.0,
    unit=Unit.DEGREES,
    minimum=20.0,
    maximum=180.0,
    description="Smallest swing of an upper arm the chest is expected to answer.",
    source="measured: below 50 degrees natural gains scatter down to the capture's own noise",
)
PEAK_RATE = Parameter(
    "peak_rate",
    default=100.0,
    unit=Unit.DEGREES_PER_SECOND,
    minimum=0.0,
    maximum=1000.0,
    description="How fast a swing must get before the chest is expected to answer.",
    source="measured: natural swings of 50 degrees peak at 165 to 600 deg/s; slow ones need no "
    "answer (common practice)",
)
ELBOW_SHARE = Parameter(
    "elbow_share",
    default=2.0,
    unit=Unit.RATIO,
    minimum=0.5,
    maximum=10.0,
    description="Elbow turn over arm swing from which a move counts as a gesture from the elbow.",
    source="measured: 95 of 100 natural swings of 50 degrees and more stay under 1.7",
)
PLANTED_TRAVEL = Parameter(
    "planted_travel",
    default=2.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.0,
    maximum=20.0,
    description="A hand whose place wanders less than this rests on something: left alone.",
    source="practice: a hand that leans or holds on stays within the width of a palm's give",
)
LONGEST_LAG = Parameter(
    "longest_lag",
    default=0.25,
    unit=Unit.SECONDS,
    minimum=0.05,
    maximum=1.0,
    description="Largest lead or lag of the chest that is looked for.",
    source="measured: natural leads and lags spread over 0.25 s to either side",
)

ARM_WORDS = {".L": "left", ".R": "right"}
SMOOTHING_HZ = 6.0  # keeps swings, drops a capture's jitter (practice)
STILL_RATE = 40.0  # deg/s: slower than this is the pause between two swings
AT_ONCE = 0.5  # frames: two turns this close are on the same frame
FOLLOWS = 0.9  # likeness from which the chest's turn is the arm's (1 for a block)
TELLING = 0.5  # degrees, and the likeness below, from which the chest's lag can be told
TELLING_LIKENESS = 0.6
CORE = 0.05  # share of a swing's turn left out at each end, where neighbouring moves leak in


@dataclass(frozen=True)
class ArmSwing:
    """One swing of an arm (frame indices, both included) and the chest's answer to it.

    `gain` is taken over the swing's core; `answer` is None where the chest turns too little to
    tell. `still` bounds the frames on which the arm moves on and the chest stays as
    it is in the swing.
    """

    side: str
    first: int
    last: int
    peak: int
    degrees: float
    peak_rate: float
    chest_degrees: float
    gain: float
    answer: response.Answer | None
    elbow_share: float
    hand_travel: float
    still: tuple[int, int]


@dataclass(frozen=True)
class ChestAnswers:
    """The swings with a gain out of the ordinary, which alone are looked at closely.

    An arm that could not be judged carries its reason, by side.
    """

    part: str
    swings: list[ArmSwing]
    missing: dict[str, str]


def measure(motion: Motion, values: Values) -> Steps[ChestAnswers]:
    """Find each arm's swings and how far the chest turns on the pelvis meanwhile."""
    motion.require("hips")
    trunk = motion.chain("chest") or motion.chain("spine")
    if not trunk:
        motion.require("chest")
    found: list[ArmSwing] = []
    missing: dict[str, str] = {}
    for side in (".L", ".R"):
        try:
            motion.require(f"upper_arm{side}", f"forearm{side}")
            found += yield from motion.memo_steps(
                (CHECK.id, side),
                partial(_measure_arm, motion, values, trunk[-1], side),
                values.key,
            )
            yield
        except CannotEvaluateError as error:
            missing[side] = str(error)
    if len(missing) == 2:
        raise CannotEvaluateError("; ".join(missing.values()))
    return ChestAnswers(trunk[0], found, missing)


def judge(motion: Motion, measured: ChestAnswers, values: Values) -> Iterator[Outcome]:
    """Flag swings the chest does not answer, and swings it makes alone."""
    for side, reason in measured.missing.items():
        yield NotEvaluated(CHECK.id, motion.subject, reason, part=f"upper_arm{side}")
    flags: list[Flag] = []
    for swing in measured.swings:
        limits = IDLE_GAIN if values.grade(IDLE_GAIN.name, swing.gain) else PLANK_GAIN
        graded = values.grade(limits.name, swing.gain)
        if graded is None or (limits is PLANK_GAIN and not _is_block(swing)):
            continue
        excuse = _find_excuse(motion, swing, values)
        if excuse:
            span = (motion.frame(swing.first), motion.frame(swing.last))
            yield NotEvaluated(CHECK.id, motion.subject, excuse, measured.part, (span,))
        else:
            flags.append(_make_flag(motion, measured.part, limits, swing, graded))
    yield from merge_flags(flags, gap=round(values.frames(LONGEST_LAG.name)))


def _see_chest(motion: Motion, trunk: str) -> NDArray[np.float64]:
    """Return the chest's rotations on the pelvis, smooth, shape (F, 4)."""
    seen = motion.relative_rotation(trunk, to="hips")
    return swings.smooth_rotations(seen, motion.fps, SMOOTHING_HZ)


def _measure_arm(motion: Motion, values: Values, trunk: str, side: str) -> Steps[list[ArmSwing]]:
    chest = motion.memo((CHECK.id, "chest"), partial(_see_chest, motion, trunk))
    yield
    answers: list[ArmSwing] = []
    shoulder, elbow = motion.head(f"upper_arm{side}"), motion.head(f"forearm{side}")
    wrist = (
        motion.head(hand) if motion.has(hand := f"hand{side}") else motion.tail(f"forearm{side}")
    )
    arm = swings.seen_from(motion.rotation("hips"), swings.unit_directions(shoulder, elbow))
    yield
    steps = swings.direction_steps(swings.smooth_directions(arm, motion.fps, SMOOTHING_HZ))
    yield
    bend: NDArray[np.float64] | None = None
    found = [
        swing
        for swing in swings.find_swings(
            steps, motion.fps, least_degrees=values[SWING.name], still_rate=STILL_RATE
        )
        if swing.peak_rate >= values[PEAK_RATE.name]
    ]
    yield
    cores = swings.find_cores(steps, found, CORE)
    spans = zip(cores.firsts.tolist(), cores.lasts.tolist(), cores.degrees.tolist(), strict=True)
    arm_rate = geometry.lengths(steps)
    moving = arm_rate * motion.fps > swings.REST_RATE
    longest = max(1, round(values.frames(LONGEST_LAG.name)))
    for swing, (first, last, degrees) in zip(found, spans, strict=True):
        chest_degrees = swings.turn_range(chest[first : last + 1])
        gain = chest_degrees / degrees
        if not any(values.grade(name, gain) for name in values.limits):
            continue
        answer = None
        if chest_degrees >= TELLING:
            around = slice(max(0, swing.first - longest), swing.last + longest)
            chest_rate = rotations.step_angles(chest[around.start : around.stop + 1])
            answer = response.find_answer(arm_rate[around], chest_rate, longest)
        if bend is None:
            bend = joints.interior_angle(shoulder, elbow, wrist)
            bend = series.smooth(bend, motion.fps, SMOOTHING_HZ)
        yield
        answers.append(
            ArmSwing(
                side=side,
                first=swing.first,
                last=swing.last,
                peak=swing.peak,
                degrees=swing.degrees,
                peak_rate=swing.peak_rate,
                chest_degrees=chest_degrees,
                gain=gain,
                answer=answer,
                elbow_share=float(np.abs(np.diff(bend[first : last + 1])).sum()) / degrees,
                hand_travel=swings.excursion(wrist[swing.first : swing.last + 1]),
                still=swings.still_span(chest, moving, swing, (first, last), motion.fps),
            )
        )
    return answers


def _find_excuse(motion: Motion, swing: ArmSwing, values: Values) -> str | None:
    """Say why a swing is left alone, or None."""
    span = f"on frames {motion.frame(swing.first)}-{motion.frame(swing.last)}"
    if swing.hand_travel <= values[PLANTED_TRAVEL.name] / 100.0 * motion.height:
        return f"the {ARM_WORDS[swing.side]} hand is planted in the world {span}"
    if swing.elbow_share >= values[ELBOW_SHARE.name]:
        return f"the {ARM_WORDS[swing.side]} arm gestures from the elbow {span}"
    return None


def _make_flag(
    motion: Motion, part: str, limits: Limits, swing: ArmSwing, graded: tuple[Severity, float]
) -> Flag:
    arm = ARM_WORDS[swing.side]
    frames = motion.frame(swing.last) - motion.frame(swing.first)
    if limits is PLANK_GAIN:
        code = "carries-the-arm"
        message = (
            f"Chest makes {100.0 * swing.gain:.0f} % of the {arm} arm's {swing.degrees:.0f} deg "
            "swing on the same frames (lag 0): arm and chest are one block"
        )
        suggestion = "let the arm swing on the chest, and start the two 1 to 3 frames apart"
    else:
        code = "stays-with-pelvis"
        message = (
            f"Chest stays with the pelvis ({swing.chest_degrees:.1f} deg) while the {arm} arm "
            f"swings {swing.degrees:.0f} deg in {frames} frames" + _tell_lag(swing, motion)
        )
        suggestion = (
            f"turn the chest {0.1 * swing.degrees:.0f} to {0.3 * swing.degrees:.0f} deg on the "
            "pelvis, 1 to 3 frames before the arm or dragging as much behind"
        )
    return Flag(
        check=CHECK.id,
        code=code,
        subject=motion.subject,
        part=part,
        other_parts=(f"upper_arm{swing.side}",),
        start=motion.frame(swing.first if limits is PLANK_GAIN else swing.still[0]),
        end=motion.frame(swing.last if limits is PLANK_GAIN else swing.still[1]),
        peak=motion.frame(swing.peak),
        severity=graded[0],
        confidence=float(np.clip(swing.peak_rate / 250.0, 0.5, 1.0)),
        value=swing.gain,
        unit=Unit.RATIO,
        limit=graded[1],
        message=message,
        suggestion=suggestion,
    )


def _is_block(swing: ArmSwing) -> bool:
    """Say whether the chest's turn and the arm's swing are one, on the same frames."""
    answer = swing.answer
    return answer is not None and abs(answer.lag) < AT_ONCE and answer.likeness >= FOLLOWS


def _tell_lag(swing: ArmSwing, motion: Motion) -> str:
    """Say when the little that the chest gives comes, where that can be told."""
    answer = swing.answer
    if answer is None or answer.likeness < TELLING_LIKENESS:
        return ""
    if abs(answer.lag) < AT_ONCE:
        return "; the little it gives comes on the same frames"
    way = "after" if answer.lag > 0.0 else "before"
    late, seconds = abs(answer.lag) * motion.frame_step, abs(answer.lag) / motion.fps
    return f"; the little it gives comes {late:.1f} frames ({seconds:.2f} s) {way} the arm"


CHECK = Check(
    id="idle-chest",
    group=Group.ARMS,
    question="Does the chest answer the arms?",
    codes={
        "stays-with-pelvis": "the chest does not turn on the pelvis while an arm swings",
        "carries-the-arm": "the chest alone makes an arm's swing, on the same frame",
    },
    declarations=(
        IDLE_GAIN,
        PLANK_GAIN,
        SWING,
        PEAK_RATE,
        ELBOW_SHARE,
        PLANTED_TRAVEL,
        LONGEST_LAG,
    ),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    on_drawings=True,
)
