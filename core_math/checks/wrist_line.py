# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""wrist-line: is hand and forearm one ruler line, or bent past what a wrist does?

A wrist at work is nearly always a little bent; hand and forearm in one straight line for long make
a paddle of the arm, and a straight line is the first thing the eye finds in a silhouette. The other
end is a wrist bent farther than bones and ligaments allow.

The bend is the angle between forearm and hand (towards the knuckles where there are fingers), in
3D. With a shot camera the same angle is taken in its picture, where a bent wrist can look straight
as well; that weighs less and is asked for longer. Time counts while the hand moves.

Leave it when the hand leans on something: then it is planted, bends far and is meant to (said as
not evaluated).

Sources: wrist flexion 80, extension 70, sideways 20 to the thumb and 30 to the little finger (AAOS;
Boone & Azen 1979: 76, 75, 22, 36); 5 degrees are granted because bones of a rig are no anatomical
axes. No limit of straightness is published. Measured on open captures of jumping, climbing and
boxing: longest time within 4 degrees of straight 0.38 s, in the picture of a camera from the front,
both sides and behind under 1.5 s; bends over 85 degrees only once, in a guard (91).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, Severity
from ..measures import geometry, hands, joints, projection, series, swings
from ..motion import Motion
from ..units import Unit

STRAIGHT_TIME = Limits(
    "straight_time",
    faint=0.5,
    clear=1.0,
    glaring=2.0,
    unit=Unit.SECONDS,
    minimum=0.1,
    maximum=20.0,
    description="How long hand and forearm are one line while the hand moves.",
    source="measured: natural wrists pass through straight within 0.38 s",
)
PICTURE_TIME = Limits(
    "picture_time",
    faint=1.5,
    clear=3.0,
    glaring=6.0,
    unit=Unit.SECONDS,
    minimum=0.1,
    maximum=60.0,
    description="How long a bent wrist looks straight in the shot camera while the hand moves.",
    source="practice: three times what is asked of a truly straight wrist",
)
BEYOND = Limits(
    "beyond",
    faint=0.0,
    clear=10.0,
    glaring=25.0,
    unit=Unit.DEGREES,
    minimum=0.0,
    maximum=90.0,
    description="Bend beyond the range of a wrist.",
    source="practice: ten degrees over look strained, 25 look broken",
)
STRAIGHT = Parameter(
    "straight",
    default=4.0,
    unit=Unit.DEGREES,
    minimum=0.5,
    maximum=15.0,
    description="Bends under this read as one straight line.",
    source="practice: less than a finger's width over the length of a hand",
)
BEND_RANGE = Parameter(
    "bend_range",
    default=85.0,
    unit=Unit.DEGREES,
    minimum=40.0,
    maximum=120.0,
    description="Farthest a wrist bends to the palm or to the back of the hand.",
    source="wrist flexion 80 degrees (AAOS), and 5 because a rig's bones are no anatomical axes",
)
SIDEWAYS_RANGE = Parameter(
    "sideways_range",
    default=41.0,
    unit=Unit.DEGREES,
    minimum=20.0,
    maximum=90.0,
    description="Farthest a wrist bends to the side of thumb or little finger.",
    source="ulnar deviation 36 degrees (Boone & Azen 1979), and 5 as above",
)
PLANTED_TRAVEL = Parameter(
    "planted_travel",
    default=2.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.0,
    maximum=20.0,
    description="A hand whose place wanders less than this leans on something: left alone.",
    source="practice: a hand that leans or holds on stays within the width of a palm's give",
)

SMOOTHING_HZ = 8.0  # keeps a wrist's accents, drops a capture's jitter (practice)
MOVING_SPEED = 0.1  # body heights per second at which a hand moves (practice)
LONGEST_PAUSE = 0.25  # s of stillness that count as movement
LEAST_BEYOND = 0.08  # s: shorter overbends are jumps, not poses
LEAST_LENGTH = 0.01  # share of body height: shorter hands tell no direction
SEEN_LENGTH = 0.6  # forearm and hand must show this share of their length in the picture
WORDS = {".L": "Left", ".R": "Right"}


@dataclass(frozen=True)
class Stretch:
    """A stretch (frame indices, both included): seconds straight, or degrees beyond the range.

    `way` is the word for the way of an overbend, empty for bends to palm or back of the hand.
    """

    code: str
    side: str
    first: int
    last: int
    peak: int
    value: float
    way: str
    hand_travel: float
    throughout: bool


@dataclass(frozen=True)
class WristLines:
    """Stretches of both wrists; a hand that could not be judged carries its reason, by side.

    `always` names the sides whose wrist is straight throughout the shot: one cause, one flag.
    """

    stretches: list[Stretch]
    missing: dict[str, str]
    always: tuple[str, ...]


def measure(motion: Motion, values: Values) -> Steps[WristLines]:
    """Measure each wrist's bend in space and in the shot camera's picture."""
    stretches: list[Stretch] = []
    missing: dict[str, str] = {}
    for side in (".L", ".R"):
        try:
            motion.require(f"hand{side}", f"forearm{side}")
            stretches += motion.memo(
                (CHECK.id, side),
                partial(_measure_wrist, motion, side, values),
                values.key,
            )
            yield
        except CannotEvaluateError as error:
            missing[side] = str(error)
    if len(missing) == 2:
        raise CannotEvaluateError("; ".join(missing.values()))
    always = {one.side for one in stretches if one.code == "ruler-line" and one.throughout}
    return WristLines(stretches, missing, tuple(sorted(always)))


def judge(motion: Motion, measured: WristLines, values: Values) -> Iterator[Outcome]:
    """Flag wrists that stay straight and wrists bent too far, unless the hand leans."""
    limits = {
        "ruler-line": STRAIGHT_TIME.name,
        "ruler-line-in-camera": PICTURE_TIME.name,
        "overbent": BEYOND.name,
    }
    for side, reason in measured.missing.items():
        yield NotEvaluated(CHECK.id, motion.subject, reason, part=f"hand{side}")
    lines: dict[str, Flag] = {}
    for stretch in measured.stretches:
        graded = values.grade(limits[stretch.code], stretch.value)
        if graded is None:
            continue
        leans = stretch.hand_travel <= values[PLANTED_TRAVEL.name] / 100.0 * motion.height
        if stretch.code == "overbent" and leans:
            span = (motion.frame(stretch.first), motion.frame(stretch.last))
            reason = f"the hand leans on something on frames {span[0]}-{span[1]}"
            yield NotEvaluated(CHECK.id, motion.subject, reason, f"hand{stretch.side}", (span,))
            continue
        flag = _make_flag(motion, stretch, *graded)
        if stretch.code == "ruler-line" and stretch.side in measured.always:
            lines[stretch.side] = flag
        else:
            yield flag
    if len(lines) == 2:
        others = (*lines[".L"].other_parts, lines[".R"].part)
        yield replace(lines[".L"], other_parts=others)
    else:
        yield from lines.values()


def _measure_wrist(motion: Motion, side: str, values: Values) -> list[Stretch]:
    found: list[Stretch] = []
    elbow, wrist = motion.head(f"forearm{side}"), motion.head(f"hand{side}")
    tip, is_fingertip = _find_hand_end(motion, side)
    fps = motion.fps
    bend = series.smooth(joints.interior_angle(elbow, wrist, tip), fps, SMOOTHING_HZ)
    bend = np.maximum(180.0 - bend, 0.0)
    place = series.smooth(wrist, fps, SMOOTHING_HZ) / motion.height
    speed = geometry.lengths(series.central_velocity(place, fps))
    moving = series.close_gaps(speed > MOVING_SPEED, round(LONGEST_PAUSE * fps))
    straight = bend < values[STRAIGHT.name]

    def describe(
        code: str, run: tuple[int, int], peak: int, value: float, way: str = ""
    ) -> Stretch:
        travel = swings.excursion(wrist[run[0] : run[1] + 1])
        throughout = bool(straight.all())
        return Stretch(code, side, run[0], run[1], peak, value, way, travel, throughout)

    lines = {"ruler-line": straight}
    if motion.camera is not None:
        seen = _find_straight_in_picture(motion, elbow, wrist, tip, values[STRAIGHT.name])
        lines["ruler-line-in-camera"] = seen & ~straight
    for code, line in lines.items():
        for first, last in series.find_runs(line):
            # Only the time in which the hand moves counts, pauses end no line.
            inside = first + np.flatnonzero(moving[first : last + 1])
            if len(inside):
                run = int(inside[0]), int(inside[-1])
                found.append(describe(code, run, (run[0] + run[1]) // 2, len(inside) / fps))
    if is_fingertip:
        return found  # A finger closing on the palm is no bent wrist.
    beyond = bend - values[BEND_RANGE.name]
    sideways = np.full(len(bend), -np.inf)
    across = _measure_sideways(motion, side, elbow, wrist, tip)
    if across is not None:
        sideways = across - values[SIDEWAYS_RANGE.name]
    worse = np.maximum(beyond, sideways)
    for run in series.find_runs(worse > 0.0):
        if (run[1] - run[0] + 1) / fps >= LEAST_BEYOND:
            peak = run[0] + int(np.argmax(worse[run[0] : run[1] + 1]))
            way = " sideways" if sideways[peak] > beyond[peak] else ""
            found.append(describe("overbent", run, peak, float(worse[peak]), way))
    return found


def _find_hand_end(motion: Motion, side: str) -> tuple[NDArray[np.float64], bool]:
    """Return the point the hand points at, and whether it is no better than a fingertip.

    The knuckles' middle, the bone's end, or where both lie in the wrist itself a fingertip.
    """
    fingers = [f"{finger}{side}" for finger in ("index", "middle", "ring", "pinky")]
    fingers = [finger for finger in fingers if motion.has(finger)]
    wrist, least = motion.head(f"hand{side}"), LEAST_LENGTH * motion.height
    ends = [np.mean([motion.head(finger) for finger in fingers], axis=0)] if fingers else []
    direction = hands.pointing_directions(wrist, [*ends, motion.tail(f"hand{side}")], least)
    if direction is not None:
        return wrist + direction * least, False
    tips = [motion.tail(motion.chain(finger)[-1]) for finger in fingers]
    direction = hands.pointing_directions(wrist, tips, least)
    if direction is None:
        raise CannotEvaluateError(f"hand{side} has no length and no fingers to point with")
    return wrist + direction * least, True


def _measure_sideways(
    motion: Motion,
    side: str,
    elbow: NDArray[np.float64],
    wrist: NDArray[np.float64],
    tip: NDArray[np.float64],
) -> NDArray[np.float64] | None:
    """Return the bend in the palm's plane, degrees, where two knuckles show that plane."""
    if not motion.has(f"index{side}", f"pinky{side}"):
        return None
    hand = swings.unit_directions(wrist, tip)
    across = motion.head(f"index{side}") - motion.head(f"pinky{side}")
    across = across - np.sum(across * hand, axis=-1, keepdims=True) * hand
    if np.median(geometry.lengths(across)) < 0.1 * LEAST_LENGTH * motion.height:
        return None
    across = swings.unit_directions(np.zeros_like(across), across)
    sine = np.sum(swings.unit_directions(elbow, wrist) * across, axis=-1)
    angle = np.degrees(np.arcsin(np.clip(np.abs(sine), 0.0, 1.0)))
    return series.smooth(angle, motion.fps, SMOOTHING_HZ)


def _find_straight_in_picture(
    motion: Motion,
    elbow: NDArray[np.float64],
    wrist: NDArray[np.float64],
    tip: NDArray[np.float64],
    limit: float,
) -> NDArray[np.bool_]:
    """Say where hand and forearm lie on one line in the picture, neither foreshortened much."""
    assert motion.camera is not None, "asked only with a shot camera"
    # Both bones start in the wrist and have one length: what shows of it is foreshortening.
    length = LEAST_LENGTH * motion.height
    back = wrist + swings.unit_directions(wrist, elbow) * length
    points = np.stack((back, wrist, tip), axis=1)
    places, depths = motion.camera.project(points)
    width, height = motion.camera.lens.picture
    flat = places * np.array([width, height])
    bones = np.concatenate((flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 1]), axis=-1)
    bones = np.where(np.isfinite(bones), bones, 0.0).reshape(-1, 2, 2)
    shown = geometry.lengths(bones)
    cosine = np.sum(bones[:, 0] * bones[:, 1], axis=-1)
    sine = bones[:, 0, 0] * bones[:, 1, 1] - bones[:, 0, 1] * bones[:, 1, 0]
    angle = np.degrees(np.abs(np.arctan2(sine, cosine)))
    size = projection.projected_size(np.array(length), depths[:, 1], motion.camera.lens) * width
    facing = shown.min(axis=-1) >= SEEN_LENGTH * np.where(np.isfinite(size), size, np.inf)
    return np.asarray((angle < limit) & facing)


def _make_flag(motion: Motion, stretch: Stretch, severity: Severity, limit: float) -> Flag:
    hand = f"{WORDS[stretch.side]} hand"
    if stretch.code == "overbent":
        message = f"{WORDS[stretch.side]} wrist bends {stretch.value:.0f} deg past its range"
        message += stretch.way
        suggestion = "bend it less, and let forearm and elbow make up for it"
    else:
        picture = " in the picture" if stretch.code == "ruler-line-in-camera" else ""
        message = f"{hand} and forearm are one straight line{picture} for {stretch.value:.1f} s"
        suggestion = "break the line: bend the wrist 10 to 20 deg against the move"
    return Flag(
        check=CHECK.id,
        code=stretch.code,
        subject=motion.subject,
        part=f"hand{stretch.side}",
        other_parts=(f"forearm{stretch.side}",),
        start=motion.frame(stretch.first),
        end=motion.frame(stretch.last),
        peak=motion.frame(stretch.peak),
        severity=severity,
        confidence=0.6 if stretch.code == "ruler-line-in-camera" else 0.8,
        value=stretch.value,
        unit=Unit.DEGREES if stretch.code == "overbent" else Unit.SECONDS,
        limit=limit,
        message=message,
        suggestion=suggestion,
    )


CHECK = Check(
    id="wrist-line",
    group=Group.ARMS,
    question="Is hand and forearm one ruler line, or bent past what a wrist does?",
    codes={
        "ruler-line": "hand and forearm stay one straight line while the hand moves",
        "ruler-line-in-camera": "they stay one straight line in the shot camera's picture",
        "overbent": "the wrist bends farther than a wrist can",
    },
    declarations=(
        STRAIGHT_TIME,
        PICTURE_TIME,
        BEYOND,
        STRAIGHT,
        BEND_RANGE,
        SIDEWAYS_RANGE,
        PLANTED_TRAVEL,
    ),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    weighed_by_picture=True,
    on_drawings=True,
    explained_by=("ik-lock", "stiff-wrist"),
)
