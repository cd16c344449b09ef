# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""stiff-wrist: does the hand drag behind the forearm?

A relaxed hand is the last link of the arm: when the forearm swings, the wrist gives a little, drags
a frame or two behind and settles after it. A wrist that does not give makes forearm and hand one
stick; a hand that runs well ahead of its forearm looks pulled by a string.

The gain is the wrist's turn (hand against forearm) over the forearm's swing. The lag compares the
turns of hand and forearm in the world: positive drags, negative leads.

Leave it when both hands hold one thing, when the hand rests on something, and for a fist that
strikes: it is braced and stops dead at the contact. All three are said as not evaluated.

Sources: elbow and wrist are moved partly by what the upper arm throws into them (Galloway &
Koshland 2002); no limit of the gain is published. Measured on open captures of jumping, climbing
and boxing at 24, 100 and 120 fps, 220 swings of 25 degrees and more: gain 0.023 and up, median
0.13 to 0.40, lag within 2.2 frames at 24 fps in 98 of 100 swings.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, Severity
from ..measures import hands, rotations, series, swings
from ..motion import Motion
from ..units import REFERENCE_FPS, Unit

WRIST_GAIN = Limits(
    "wrist_gain",
    faint=0.02,
    clear=0.012,
    glaring=0.005,
    unit=Unit.RATIO,
    minimum=0.0,
    maximum=0.3,
    description="Wrist turn over forearm swing; raise it to ask more of the wrist.",
    source="measured: natural swings of 25 degrees and more give 0.023 and up; a rigid wrist 0",
)
LEAD = Limits(
    "lead",
    faint=2.0,
    clear=3.0,
    glaring=4.0,
    unit=Unit.FRAMES_AT_24,
    minimum=0.5,
    maximum=8.0,
    description="Frames by which the hand turns ahead of its forearm.",
    source="measured: 99 of 100 natural hands lead by less than 2.2 frames at 24 fps",
)
SWING = Parameter(
    "swing",
    default=25.0,
    unit=Unit.DEGREES,
    minimum=10.0,
    maximum=180.0,
    description="Smallest swing of a forearm that the wrist is expected to answer.",
    source="measured: on smaller swings capture noise dominates the gain",
)
PEAK_RATE = Parameter(
    "peak_rate",
    default=90.0,
    unit=Unit.DEGREES_PER_SECOND,
    minimum=0.0,
    maximum=1000.0,
    description="How fast a swing must get before the wrist is expected to answer.",
    source="practice: a slow move drags nothing",
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
KEPT_DISTANCE = Parameter(
    "kept_distance",
    default=3.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.0,
    maximum=20.0,
    description="Hands close together whose distance changes less than this hold one thing.",
    source="practice: the give of two palms on one thing",
)
CONTACT = Parameter(
    "contact",
    default=0.05,
    unit=Unit.SECONDS,
    minimum=0.0,
    maximum=0.3,
    description="A fast hand that stops within this time has struck something: left alone.",
    source="practice: a blow stops within a frame; the captures' shadow boxing brakes for longer",
)

SMOOTHING_HZ = 8.0  # keeps a wrist's drag, drops a capture's jitter (practice)
STILL_RATE = 40.0  # deg/s: slower than this is the pause between two swings
FEWEST_SAMPLES = 3  # fewer tell no range
SHORTEST = 0.12  # s: three frames at 24 fps, or a single glitch counts as a swing
CORE = 0.05  # share of a swing's turn left out at each end, where neighbouring moves leak in
TOGETHER_SECONDS = 1.0  # stiff swings this close are one stiff stretch
LONGEST_LAG = 0.25  # s: lags are looked for this far
DEAD = 0.01  # degrees: a wrist that turns less never turns
ONE_THING = 0.24  # share of body height: hands farther apart hold no one thing
KEPT_SHARE = 0.25  # of the hands' way: small moves change no distance much
STRIKE_HZ = 15.0  # keeps a blow's stop, drops a marker's jump
STRIKE_SPEED = 1.5  # body heights per second a striking hand reaches (practice)
WORDS = {".L": "Left", ".R": "Right"}


@dataclass(frozen=True)
class WristSwing:
    """One swing of a forearm (frame indices, both included) and what the hand made of it.

    `lead` is in frames at 24 fps, NaN where the hand's turn does not follow the forearm's.
    """

    side: str
    first: int
    last: int
    peak: int
    degrees: float
    wrist_degrees: float
    gain: float
    lead: float


@dataclass(frozen=True)
class WristSwings:
    """All swings of each arm in order; a missing arm carries its reason, by side.

    `dead` names the sides whose wrist never gives in the whole shot.
    """

    swings: dict[str, list[WristSwing]]
    missing: dict[str, str]
    dead: tuple[str, ...]


def measure(motion: Motion, values: Values) -> WristSwings:
    """Find each forearm's swings, the wrist's turn in them and the hand's lag."""
    found: dict[str, list[WristSwing]] = {}
    missing: dict[str, str] = {}
    for side in (".L", ".R"):
        try:
            motion.require(f"hand{side}", f"forearm{side}")
            found[side] = list(_measure_arm(motion, values, side))
        except CannotEvaluateError as error:
            missing[side] = str(error)
    if not found:
        raise CannotEvaluateError("; ".join(missing.values()))
    dead = [
        side
        for side in found
        if swings.turn_range(motion.relative_rotation(f"hand{side}", to=f"forearm{side}")) < DEAD
    ]
    return WristSwings(found, missing, tuple(dead))


def judge(motion: Motion, measured: WristSwings, values: Values) -> Iterator[Outcome]:
    """Flag stretches of stiff swings, and hands that run ahead."""
    for side, reason in measured.missing.items():
        yield NotEvaluated(CHECK.id, motion.subject, reason, part=f"hand{side}")
    stretches: list[list[WristSwing]] = []
    for side, found in measured.swings.items():
        stiff: list[WristSwing] = []
        before = None
        for swing in found:
            if values.grade(WRIST_GAIN.name, swing.gain) is None:
                if graded := values.grade(LEAD.name, swing.lead):
                    yield _flag_lead(motion, swing, graded)
            elif excuse := _find_excuse(motion, swing, values):
                frames = ((motion.frame(swing.first), motion.frame(swing.last)),)
                yield NotEvaluated(CHECK.id, motion.subject, excuse, f"hand{side}", frames)
            else:
                pause = (swing.first - stiff[-1].last) / motion.fps if stiff else 0.0
                together = pause <= TOGETHER_SECONDS or side in measured.dead
                if not stiff or stiff[-1] is not before or not together:
                    stiff = []
                    stretches.append(stiff)
                stiff.append(swing)
            before = swing
    both = [stretch for stretch in stretches if stretch[0].side in measured.dead]
    if len({stretch[0].side for stretch in both}) == 2:
        stretches = [stretch for stretch in stretches if stretch not in both]
        stretches.append([swing for stretch in both for swing in stretch])
    for stretch in stretches:
        yield _flag_stiff(motion, stretch, measured.dead, values)


def _measure_arm(motion: Motion, values: Values, side: str) -> Iterator[WristSwing]:
    fps = motion.fps
    arm = swings.unit_directions(motion.head(f"forearm{side}"), motion.head(f"hand{side}"))
    steps = swings.direction_steps(swings.smooth_directions(arm, fps, SMOOTHING_HZ))
    seen = motion.relative_rotation(f"hand{side}", to=f"forearm{side}")
    wrist = swings.smooth_rotations(seen, fps, SMOOTHING_HZ)
    forearm_turn, hand_turn = (
        rotations.step_vectors(
            swings.smooth_rotations(motion.rotation(f"{part}{side}"), fps, SMOOTHING_HZ)
        )
        for part in ("forearm", "hand")
    )
    longest = max(2, round(LONGEST_LAG * fps))
    for swing in swings.find_swings(
        steps, fps, least_degrees=values[SWING.name], still_rate=STILL_RATE
    ):
        shortest = max(FEWEST_SAMPLES, SHORTEST * fps)
        if swing.peak_rate < values[PEAK_RATE.name] or swing.last - swing.first < shortest:
            continue
        first, last = swings.core(steps, swing, CORE)
        wrist_degrees = swings.turn_range(wrist[first : last + 1])
        around = slice(max(0, swing.first - longest), swing.last + longest)
        lead = _find_lead(forearm_turn[around], hand_turn[around], longest)
        yield WristSwing(
            side=side,
            first=swing.first,
            last=swing.last,
            peak=swing.peak,
            degrees=swing.degrees,
            wrist_degrees=wrist_degrees,
            gain=wrist_degrees / swings.turned_degrees(steps, first, last),
            lead=lead * REFERENCE_FPS / fps,
        )


def _find_lead(forearm: NDArray[np.float64], hand: NDArray[np.float64], longest: int) -> float:
    """Return by how many samples the hand leads, NaN where it does not clearly."""
    ahead = max(1, round(longest / 6))
    if len(forearm) < 2 * longest:
        return float("nan")
    at_once = float(np.sum(forearm * hand))
    if float(np.sum(forearm[ahead:] * hand[:-ahead])) <= at_once:
        return float("nan")
    lag, likeness = series.find_lag(forearm, hand, longest)
    return -lag if likeness >= 0.9 and abs(lag) < longest else float("nan")


def _find_excuse(motion: Motion, swing: WristSwing, values: Values) -> str | None:
    """Say why a stiff swing is left alone, or None."""
    frames = f"on frames {motion.frame(swing.first)}-{motion.frame(swing.last)}"
    place = motion.head(f"hand{swing.side}")
    span = slice(swing.first, swing.last + 1)
    if swings.excursion(place[span]) <= values[PLANTED_TRAVEL.name] / 100.0 * motion.height:
        return f"the hand is planted in the world {frames}"
    pair = ("hand.L", "hand.R")
    if motion.has(*pair):
        both = hands.compare_hands(*(motion.head(hand)[span] for hand in pair))
        give = min(values[KEPT_DISTANCE.name] / 100.0 * motion.height, KEPT_SHARE * both.travel)
        if both.change <= give and both.widest <= ONE_THING * motion.height:
            return f"both hands keep to one thing {frames}"
    after = series.smooth(
        place[swing.first : swing.last + 1 + round(0.2 * motion.fps)], motion.fps, STRIKE_HZ
    )
    speed = np.linalg.norm(np.diff(after, axis=0), axis=-1).max() * motion.fps / motion.height
    if speed > STRIKE_SPEED and hands.stopping_seconds(after, motion.fps) <= values[CONTACT.name]:
        return f"the hand strikes something {frames}"
    return None


def _flag_stiff(
    motion: Motion, stretch: list[WristSwing], dead: tuple[str, ...], values: Values
) -> Flag:
    worst = min(stretch, key=lambda swing: (swing.gain, -swing.degrees))
    graded = values.grade(WRIST_GAIN.name, worst.gain)
    assert graded is not None, "only stiff swings come here"
    sides = {swing.side for swing in stretch}
    who = f"{WORDS[worst.side]} wrist stays" if len(sides) == 1 else "Both wrists stay"
    message = f"{who} rigid ({worst.wrist_degrees:.1f} deg) while the forearm swings "
    message += f"{worst.degrees:.0f} deg"
    if len(stretch) > 1:
        message += f", {len(stretch)} swings in a row"
    if worst.side in dead:
        message += "; never anything else in this shot"
    low, high = 0.1 * worst.degrees, 0.3 * worst.degrees
    flag = _make_flag(
        motion,
        worst,
        graded,
        code="rigid-wrist",
        span=(min(s.first for s in stretch), max(s.last for s in stretch)),
        value=worst.gain,
        unit=Unit.RATIO,
        message=message,
        suggestion=f"let the hand drag 1 to 2 frames behind by {low:.0f} to {high:.0f} deg",
    )
    others = [f"hand{side}" for side in sorted(sides - {worst.side})]
    return replace(flag, other_parts=(*flag.other_parts, *others))


def _flag_lead(motion: Motion, swing: WristSwing, graded: tuple[Severity, float]) -> Flag:
    frames = swing.lead * motion.fps * motion.frame_step / REFERENCE_FPS
    return _make_flag(
        motion,
        swing,
        graded,
        code="hand-leads",
        span=(swing.first, swing.last),
        value=swing.lead,
        unit=Unit.FRAMES_AT_24,
        message=(
            f"{WORDS[swing.side]} hand turns {frames:.1f} frames ahead of the forearm in a swing "
            f"of {swing.degrees:.0f} deg"
        ),
        suggestion="move the wrist's keys later, so that the hand drags 1 to 2 frames behind",
    )


def _make_flag(
    motion: Motion,
    swing: WristSwing,
    graded: tuple[Severity, float],
    *,
    code: str,
    span: tuple[int, int],
    value: float,
    unit: Unit,
    message: str,
    suggestion: str,
) -> Flag:
    return Flag(
        check=CHECK.id,
        code=code,
        subject=motion.subject,
        part=f"hand{swing.side}",
        other_parts=(f"forearm{swing.side}",),
        start=motion.frame(span[0]),
        end=motion.frame(span[1]),
        peak=motion.frame(swing.peak),
        severity=graded[0],
        confidence=float(np.clip(swing.degrees / 60.0, 0.5, 1.0)),
        value=value,
        unit=unit,
        limit=graded[1],
        message=message,
        suggestion=suggestion,
    )


CHECK = Check(
    id="stiff-wrist",
    group=Group.ARMS,
    question="Does the hand drag behind the forearm?",
    codes={
        "rigid-wrist": "the wrist does not give while the forearm swings",
        "hand-leads": "the hand turns ahead of the forearm",
    },
    declarations=(
        WRIST_GAIN,
        LEAD,
        SWING,
        PEAK_RATE,
        PLANTED_TRAVEL,
        KEPT_DISTANCE,
        CONTACT,
    ),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    on_drawings=True,
)
