# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""stiff-wrist: does the hand drag behind the forearm?

A relaxed hand is the last link of the arm: when the forearm swings, the wrist gives a little, drags
a frame or two behind and settles after it. A wrist that does not give makes forearm and hand one
stick; a hand that runs well ahead of its forearm looks pulled by a string.

The gain is the wrist's turn (hand against forearm) over the forearm's swing. The lead is the time
by which the hand must be played later for the wrist to bend the least, or by which the wrist's own
turn comes before the forearm's like turn.

Leave it when both hands hold one thing, when the hand rests on something, and for a fist that
strikes: it is braced and stops dead at the contact. All three are said as not evaluated. A gesture
led by the hand on purpose (pointing, reaching) is the animator's call: mark the flag as meant.

Sources: elbow and wrist are moved partly by what the upper arm throws into them (Galloway &
Koshland 2002); no limit of the gain is published. Measured on open captures of jumping, climbing
and boxing at 24, 100 and 120 fps, 220 swings of 25 degrees and more: gain 0.023 and up, median
0.13 to 0.40, lag within 2.2 frames at 24 fps in 98 of 100 swings.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, Severity, merge_flags
from ..measures import geometry, hands, series, swings, wrists
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
    clear=2.5,
    glaring=4.0,
    unit=Unit.FRAMES_AT_24,
    minimum=0.5,
    maximum=8.0,
    description="Frames by which the hand turns ahead of its forearm.",
    source="measured: of 1000 natural swings none leads by more than 2.1 frames at 24 fps; hands "
    "that drag by the 1 to 2 frames of practice and are moved 4 earlier lead by 2 to 3",
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

TOGETHER_SECONDS = 1.0  # stiff swings this close are one stiff stretch
DEAD = 0.01  # degrees: a wrist that turns less never turns
ONE_THING = 0.24  # share of body height: hands farther apart hold no one thing
KEPT_SHARE = 0.25  # of the hands' way: small moves change no distance much
STRIKE_HZ = 15.0  # keeps a blow's stop, drops a marker's jump
STRIKE_SPEED = 1.5  # body heights per second a striking hand reaches (practice)
WORDS = {".L": "Left", ".R": "Right"}


@dataclass(frozen=True)
class WristSwings:
    """All swings of each arm in order; a missing arm carries its reason, by side.

    `dead` names the sides whose wrist never gives in the whole shot.
    """

    swings: dict[str, list[wrists.WristSwing]]
    missing: dict[str, str]
    dead: tuple[str, ...]


def measure(motion: Motion, values: Values) -> Steps[WristSwings]:
    """Find each forearm's swings, the wrist's turn in them and the hand's lead."""
    found: dict[str, list[wrists.WristSwing]] = {}
    missing: dict[str, str] = {}
    dead: list[str] = []
    for side in (".L", ".R"):
        hand, forearm = f"hand{side}", f"forearm{side}"
        try:
            motion.require(hand, forearm)
        except CannotEvaluateError as error:
            missing[side] = str(error)
            continue
        found[side], never_gives = yield from motion.memo_steps(
            (CHECK.id, side), partial(_measure_arm, motion, values, side), values.key
        )
        dead += [side] if never_gives else []
    if not found:
        raise CannotEvaluateError("; ".join(missing.values()))
    return WristSwings(found, missing, tuple(dead))


def _measure_arm(
    motion: Motion, values: Values, side: str
) -> Steps[tuple[list[wrists.WristSwing], bool]]:
    """Return one arm's swings, and whether its wrist never gives."""
    hand, forearm = f"hand{side}", f"forearm{side}"
    found = yield from wrists.measure_swings(
        motion.head(forearm),
        motion.head(hand),
        motion.rotation(forearm),
        motion.rotation(hand),
        motion.fps,
        least_degrees=values[SWING.name],
        least_rate=values[PEAK_RATE.name],
        stiff_gain=max(values.limits[WRIST_GAIN.name]),
    )
    return found, swings.turn_range(motion.relative_rotation(hand, to=forearm)) < DEAD


def judge(motion: Motion, measured: WristSwings, values: Values) -> Iterator[Outcome]:
    """Flag stretches of stiff swings, and hands that run ahead."""
    for side, reason in measured.missing.items():
        yield NotEvaluated(CHECK.id, motion.subject, reason, part=f"hand{side}")
    stretches: list[tuple[str, list[wrists.WristSwing]]] = []
    leads: list[Flag] = []
    for side, found in measured.swings.items():
        stiff: list[wrists.WristSwing] = []
        before = None
        for swing in found:
            if values.grade(WRIST_GAIN.name, swing.gain) is None:
                lead = swing.lead * REFERENCE_FPS
                if graded := values.grade(LEAD.name, lead):
                    leads.append(_flag_lead(motion, side, swing, lead, graded))
            elif excuse := _find_excuse(motion, side, swing, values):
                frames = ((motion.frame(swing.first), motion.frame(swing.last)),)
                yield NotEvaluated(CHECK.id, motion.subject, excuse, f"hand{side}", frames)
            else:
                pause = (swing.first - stiff[-1].last) / motion.fps if stiff else 0.0
                together = pause <= TOGETHER_SECONDS or side in measured.dead
                if not stiff or stiff[-1] is not before or not together:
                    stiff = []
                    stretches.append((side, stiff))
                stiff.append(swing)
            before = swing
    yield from merge_flags(leads, gap=round(0.5 * TOGETHER_SECONDS * motion.fps))
    both = [(side, stretch) for side, stretch in stretches if side in measured.dead]
    if len({side for side, _ in both}) == 2:
        stretches = [one for one in stretches if one not in both]
        yield _flag_stiff(motion, both, measured.dead, values)
    yield from (_flag_stiff(motion, [one], measured.dead, values) for one in stretches)


def _find_excuse(motion: Motion, side: str, swing: wrists.WristSwing, values: Values) -> str | None:
    """Say why a stiff swing is left alone, or None."""
    frames = f"on frames {motion.frame(swing.first)}-{motion.frame(swing.last)}"
    place = motion.head(f"hand{side}")
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
    speed = geometry.lengths(np.diff(after, axis=0)).max() * motion.fps / motion.height
    if speed > STRIKE_SPEED and hands.stopping_seconds(after, motion.fps) <= values[CONTACT.name]:
        return f"the hand strikes something {frames}"
    return None


def _flag_stiff(
    motion: Motion,
    stretches: list[tuple[str, list[wrists.WristSwing]]],
    dead: tuple[str, ...],
    values: Values,
) -> Flag:
    stiff = [(side, swing) for side, stretch in stretches for swing in stretch]
    side, worst = min(stiff, key=lambda one: (one[1].gain, -one[1].degrees))
    graded = values.grade(WRIST_GAIN.name, worst.gain)
    assert graded is not None, "only stiff swings come here"
    others = sorted({one for one, _ in stiff} - {side})
    who = "Both wrists stay" if others else f"{WORDS[side]} wrist stays"
    message = f"{who} rigid ({worst.wrist_degrees:.1f} deg) while the forearm swings "
    message += f"{worst.degrees:.0f} deg"
    if len(stiff) > 1:
        message += f", {len(stiff)} swings in a row"
    if side in dead:
        message += "; never anything else in this shot"
    low, high = 0.1 * worst.degrees, 0.3 * worst.degrees
    return Flag(
        check=CHECK.id,
        code="rigid-wrist",
        subject=motion.subject,
        part=f"hand{side}",
        other_parts=(f"forearm{side}", *(f"hand{other}" for other in others)),
        start=motion.frame(min(swing.still_first for _, swing in stiff)),
        end=motion.frame(max(swing.still_last for _, swing in stiff)),
        peak=motion.frame(worst.peak),
        severity=graded[0],
        confidence=float(np.clip(worst.degrees / 60.0, 0.5, 1.0)),
        value=worst.gain,
        unit=Unit.RATIO,
        limit=graded[1],
        message=message,
        suggestion=f"let the hand drag 1 to 2 frames behind by {low:.0f} to {high:.0f} deg",
    )


def _flag_lead(
    motion: Motion,
    side: str,
    swing: wrists.WristSwing,
    lead: float,
    graded: tuple[Severity, float],
) -> Flag:
    frames = swing.lead * motion.fps * motion.frame_step
    return Flag(
        check=CHECK.id,
        code="hand-leads",
        subject=motion.subject,
        part=f"hand{side}",
        other_parts=(f"forearm{side}",),
        start=motion.frame(max(0, swing.first - round(swing.lead * motion.fps))),
        end=motion.frame(swing.last),
        peak=motion.frame(swing.peak),
        severity=graded[0],
        confidence=float(np.clip(swing.degrees / 60.0, 0.5, 1.0)),
        value=lead,
        unit=Unit.FRAMES_AT_24,
        limit=graded[1],
        message=(
            f"{WORDS[side]} hand turns {frames:.1f} frames ahead of the forearm in a swing of "
            f"{swing.degrees:.0f} deg"
        ),
        suggestion="move the wrist's keys later, so that the hand drags 1 to 2 frames behind",
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
    weighed_by_picture=True,
    on_drawings=True,
)
