# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""framing-drift: does the subject wander in the frame?

A camera that follows holds its subject where the framing was chosen. When it lags, leads or
overshoots, the subject swims in the frame and the background jerks instead of the character; and a
head or foot that was in the picture gets cut off by its edge.

The framing is settled where the subject keeps its place in the picture. Between two settled
stretches the place is expected on the way from the one to the other; what goes beyond that and
beyond the settled spread is drift.

Leave it for a locked-off camera, where the subject's way through the frame is the shot, and for a
subject that nobody follows. A new framing is no drift once it has settled.

Sources: no limit is published; 4 % of the width is about what the action-safe margin of older
practice leaves at each side (90 % of the frame, from a colourists' list of 1999).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, Outcome, say_part
from ..measures import geometry, picture, series
from ..motion import Motion, Stage
from ..units import Unit

FloatArray = NDArray[np.float64]

DRIFT = Limits(
    "drift",
    faint=4.0,
    clear=8.0,
    glaring=14.0,
    unit=Unit.FRAME_WIDTH,
    minimum=0.5,
    maximum=100.0,
    description="How far beyond its settled framing a followed subject may wander.",
    source="practice: under 4 % of the width reads as breathing, a seventh as lost framing",
)
CUT_OFF = Limits(
    "cut_off",
    faint=0.5,
    clear=1.5,
    glaring=4.0,
    unit=Unit.FRAME_WIDTH,
    minimum=0.0,
    maximum=50.0,
    description="How far a head or foot that belongs in the picture may stick out of it.",
    source="practice: half a percent is a few pixels of hair, four are half a face",
)
SETTLED_SPEED = Parameter(
    "settled_speed",
    default=0.06,
    unit=Unit.RATIO,
    minimum=0.005,
    maximum=0.5,
    description="Picture widths a second under which the subject keeps its place in the frame.",
    source="practice: a settled follow stays within a few percent a second",
)
SHORTEST = Parameter(
    "shortest",
    default=0.2,
    unit=Unit.SECONDS,
    minimum=0.04,
    maximum=2.0,
    description="Shorter excursions are left to other checks.",
    source="practice: the eye follows a subject that comes back within five frames",
)
BELONGS = Parameter(
    "belongs",
    default=0.75,
    unit=Unit.RATIO,
    minimum=0.3,
    maximum=1.0,
    description="Share of the shot a head or foot must be in the picture to belong there.",
    source="practice: what is out of frame a quarter of the time was framed out on purpose",
)

SMOOTHING_HZ = 1.2
SETTLED_S = 0.3
CAMERA_TRAVEL = 0.05  # picture widths: a camera that moves the picture less is locked off
FOLLOWS = -0.3  # correlation of the two shares under which the camera goes with the subject
ENDS = (("head", True), ("foot.L", False), ("foot.R", False), ("toe.L", True), ("toe.R", True))


@dataclass(frozen=True)
class Stretch:
    """A stretch of frames (indices) out of the framing, and by how much, in % of the width.

    `across` and `upward` say where the subject is from its framing at the peak, in picture widths.
    """

    part: str
    code: str
    first: int
    last: int
    peak: int
    percent: float
    across: float = 0.0
    upward: float = 0.0


@dataclass(frozen=True, eq=False)
class Framing:
    """Where a followed subject is in the picture and where its framing would have it.

    Attributes
    ----------
    places, expected : ndarray, shape (F, 2), picture widths
    beyond : ndarray, shape (F,), % of the frame's width
        How far it is off, beyond its settled spread.
    """

    places: FloatArray
    expected: FloatArray
    beyond: FloatArray


def measure(motion: Motion, values: Values) -> list[Stretch]:
    """Find excursions of a followed subject, and ends of the body that the frame cuts off."""
    framing = measure_framing(motion, values)
    part = "hips" if motion.has("hips") else motion.parts[0]
    least = min(values.limits[DRIFT.name])
    found = _find_stretches(motion, values, part, "wanders", framing.beyond, least)
    off = framing.places - framing.expected
    found = [replace(s, across=float(off[s.peak, 0]), upward=float(off[s.peak, 1])) for s in found]
    return found + _find_cut_off(motion, values)


def measure_framing(motion: Motion, values: Values) -> Framing:
    """Measure how a followed subject keeps its framing.

    Raises
    ------
    CannotEvaluateError
        When nobody follows it, or the framing never settles.
    """
    camera = motion.camera
    if camera is None:
        raise CannotEvaluateError("no shot camera")
    # The hips, slowly: what a body acts with its arms and trunk is no matter of the framing.
    point = motion.head("hips") if motion.has("hips") else motion.heads.mean(axis=1)
    center = series.smooth(point, motion.fps, SMOOTHING_HZ)
    seen = picture.divide_motion(center, camera.positions, camera.rotations, camera.lens)
    if not np.isfinite(seen.places).all():
        raise CannotEvaluateError("the subject is behind the camera for a while")
    lens_way = float(geometry.lengths(seen.by_camera).sum())
    if lens_way < CAMERA_TRAVEL:
        raise CannotEvaluateError("the camera is locked off")
    power = np.sqrt(np.sum(seen.by_camera**2) * np.sum(seen.by_subject**2))
    along = np.sum(seen.by_camera * seen.by_subject) / power if power > 0.0 else 0.0
    if along > FOLLOWS:
        raise CannotEvaluateError("the camera does not follow this subject")
    speed = picture.frame_speeds(np.diff(seen.places, axis=0), motion.fps)
    settled = np.zeros(motion.frame_count, dtype=np.bool_)
    for first, last in series.find_runs(speed < values[SETTLED_SPEED.name]):
        if last - first + 1 >= SETTLED_S * motion.fps:
            settled[first : last + 1] = True
    if not settled.any():
        raise CannotEvaluateError("the framing never settles, so there is nothing to drift from")
    wander = picture.find_wander(seen.places, settled)
    beyond = 100.0 * np.maximum(wander.away - 2.0 * wander.spread, 0.0)
    return Framing(seen.places, wander.expected, beyond)


def judge(motion: Motion, measured: list[Stretch], values: Values) -> Iterator[Outcome]:
    """Flag what leaves the framing far enough."""
    for stretch in measured:
        wanders = stretch.code == "wanders"
        limits = DRIFT if wanders else CUT_OFF
        graded = values.grade(limits.name, stretch.percent)
        if graded is None:
            continue
        severity, limit = graded
        words = say_part(stretch.part)
        yield Flag(
            check=CHECK.id,
            code=stretch.code,
            subject=motion.subject,
            part="camera" if wanders else stretch.part,
            other_parts=(stretch.part,) if wanders else ("camera",),
            start=motion.frame(stretch.first),
            end=motion.frame(stretch.last),
            peak=motion.frame(stretch.peak),
            severity=severity,
            confidence=0.8,
            value=stretch.percent,
            unit=Unit.FRAME_WIDTH,
            limit=limit,
            message=(
                f"The subject wanders {stretch.percent:.0f} % of the frame's width off its framing"
                if wanders
                else f"The frame cuts off the {words}, {stretch.percent:.1f} % of its width outside"
            ),
            suggestion=(
                _suggest_turn(motion, stretch)
                if wanders
                else "give the framing a little more room there"
            ),
        )


def _suggest_turn(motion: Motion, stretch: Stretch) -> str:
    """Say which way, and how far, the camera would have to turn to hold the framing."""
    rule = "key the camera to the same breakdowns as the body"
    camera = motion.camera
    if camera is None or camera.orthographic:
        return rule
    # Half of a picture width is half the sensor's width over the focal length.
    per_width = float(camera.width_on_sensor_mm[stretch.peak] / camera.lens_mm[stretch.peak])
    sideways = abs(stretch.across) >= abs(stretch.upward)
    amount = stretch.across if sideways else stretch.upward
    degrees = float(np.degrees(np.arctan(abs(amount) * per_width)))
    words = ("pan right", "pan left") if sideways else ("tilt up", "tilt down")
    way = words[0] if amount > 0.0 else words[1]
    return f"{way} about {degrees:.1f} deg more by frame {motion.frame(stretch.peak)}, or {rule}"


def _find_cut_off(motion: Motion, values: Values) -> list[Stretch]:
    camera = motion.camera
    found: list[Stretch] = []
    if camera is None:
        return found
    width, height = camera.lens.picture
    for part, tail in ENDS:
        if not motion.has(part):
            continue
        point = motion.tail(part) if tail else motion.head(part)
        places, depths = camera.project(point)
        beyond = np.maximum(np.maximum(-places, places - 1.0), 0.0) * [1.0, height / width]
        outside = np.where(depths > 0.0, np.nan_to_num(beyond).max(axis=-1), 0.0)
        if np.mean(outside <= 0.0) < values[BELONGS.name]:
            continue
        least = min(values.limits[CUT_OFF.name])
        found += _find_stretches(motion, values, part, "cut-off", 100.0 * outside, least)
    return found


def _find_stretches(
    motion: Motion, values: Values, part: str, code: str, percent: FloatArray, least: float
) -> list[Stretch]:
    shortest = max(2, round(values.frames(SHORTEST.name)))
    runs = series.find_runs(series.close_gaps(percent >= least, shortest))
    return [
        Stretch(
            part=part,
            code=code,
            first=first,
            last=last,
            peak=first + int(np.argmax(percent[first : last + 1])),
            percent=float(percent[first : last + 1].max()),
        )
        for first, last in runs
        if last - first + 1 >= shortest
    ]


CHECK = Check(
    id="framing-drift",
    group=Group.CAMERA,
    question="Does the subject wander in the frame?",
    codes={
        "wanders": "a followed subject leaves its settled place in the picture",
        "cut-off": "a head or foot that belongs in the picture sticks out of it",
    },
    declarations=(DRIFT, CUT_OFF, SETTLED_SPEED, SHORTEST, BELONGS),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset({Stage.SPLINE, Stage.HELD}),
    needs_camera=True,
    minimum_frames=12,
    explained_by=("late-camera",),
)
