# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""lost-in-background: does anything separate the subject from what is behind and in front of it?

A subject reads at once when its surroundings are plain, or softer than it is. Where dozens of
things as sharp as the subject crowd around it the eye has to search, and where the focus lies
elsewhere the subject itself is the soft one.

Separate things next to the subject in the picture are counted, behind it and before it; those whose
blur disc (from lens, aperture and focus) is wide enough are separated by focus and do not count,
nor do backdrops that fill the picture or specks. The middle count over the shot decides.

Leave it for plain backdrops, for graphic looks without any blur, for separation by light or colour,
which is not looked at, and for a focus that is pulled to something else on purpose.

Sources: thin-lens blur disc and circle of confusion (35 mm film 0.025 mm, which is 0.07 % of a
36 mm sensor); clutter slows search (Rosenholtz, Li & Nakano 2007), who give no limit: the counts
are the project's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome
from ..measures import optics, series
from ..motion import Motion, ShotCamera, Stage, Staging
from ..units import Unit

FloatArray = NDArray[np.float64]

THINGS = Limits(
    "things",
    faint=12.0,
    clear=25.0,
    glaring=50.0,
    unit=Unit.COUNT,
    minimum=1.0,
    maximum=1000.0,
    description="Separate things as sharp as the subject around it; raise it for busy styles.",
    source="practice: a dozen things are taken in at a glance, fifty are a thicket",
)
SOFT = Limits(
    "soft",
    faint=0.15,
    clear=0.3,
    glaring=0.6,
    unit=Unit.FRAME_WIDTH,
    minimum=0.02,
    maximum=20.0,
    description="Blur disc of the subject itself, which should stay sharp.",
    source="practice: twice, four and eight times the circle of confusion of 35 mm film",
)
SEPARATED = Parameter(
    "separated",
    default=0.35,
    unit=Unit.FRAME_WIDTH,
    minimum=0.02,
    maximum=10.0,
    description="Things with a wider blur disc than this are separated and do not count.",
    source="practice: seven pixels of 1920, five times the circle of confusion of 35 mm film",
)
SPECK = Parameter(
    "speck",
    default=0.5,
    unit=Unit.FRAME_WIDTH,
    minimum=0.0,
    maximum=20.0,
    description="Things smaller than this in the picture do not count.",
    source="practice: ten pixels of 1920 are texture, not things",
)
BACKDROP = Parameter(
    "backdrop",
    default=25.0,
    unit=Unit.PERCENT,
    minimum=1.0,
    maximum=100.0,
    description="Things that fill more of the picture than this are backdrop (ground, sky, wall).",
    source="practice: what fills a quarter of the frame is read as ground, not as a thing",
)
LONG_ENOUGH = Parameter(
    "long_enough",
    default=0.5,
    unit=Unit.SECONDS,
    minimum=0.04,
    maximum=10.0,
    description="A subject that is soft for less than this is left alone.",
    source="practice: a focus pull takes about half a second",
)

AROUND = 0.5  # widths of the subject on each side that count as around it
WIDEST_STOP = 1.4  # a wider aperture is not offered: few lenses have it
STOPS = (1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0)
LENS_STEP_MM = 5.0


@dataclass(frozen=True)
class Soft:
    """Frames (indices) on which the subject is out of focus, and its disc in % of the width."""

    first: int
    last: int
    peak: int
    percent: float
    focus: float
    distance: float


@dataclass(frozen=True)
class Crowd:
    """Sharp things around the subject: how many behind and before, and what would separate."""

    behind: int
    before: int
    peak: int
    distance: float
    typical: float


@dataclass(frozen=True)
class Findings:
    """Both halves; `missing` says why nothing was counted."""

    soft: tuple[Soft, ...]
    crowd: Crowd | None
    missing: str


def measure(motion: Motion, values: Values) -> Findings:
    """Measure the subject's blur, and count the sharp things around it."""
    camera = motion.camera
    if camera is None:
        raise CannotEvaluateError("no shot camera")
    point = motion.head("head") if motion.has("head") else motion.heads.mean(axis=1)
    _, depth = camera.project(point)
    if not np.any(depth > 0.0):
        raise CannotEvaluateError("the subject is behind the camera")
    soft = _find_soft(camera, depth, values)
    staging = motion.staging
    if staging is None or len(staging.rows) == 0:
        missing = "what lies around the subject was not looked at in this reading"
        if not (camera.depth_of_field and not camera.orthographic):
            raise CannotEvaluateError(missing)
        return Findings(soft, None, missing)
    return Findings(soft, _count(motion, camera, staging, depth, values), "")


def judge(motion: Motion, measured: Findings, values: Values) -> Iterator[Outcome]:
    """Flag a soft subject by its disc, and a crowd by its number."""
    if measured.missing:
        yield NotEvaluated(CHECK.id, motion.subject, measured.missing)
    for soft in measured.soft:
        graded = values.grade(SOFT.name, soft.percent)
        if graded is None:
            continue
        severity, limit = graded
        yield Flag(
            check=CHECK.id,
            code="subject-soft",
            subject=motion.subject,
            part="head" if motion.has("head") else motion.parts[0],
            other_parts=("camera",),
            start=motion.frame(soft.first),
            end=motion.frame(soft.last),
            peak=motion.frame(soft.peak),
            severity=severity,
            confidence=0.8,
            value=soft.percent,
            unit=Unit.FRAME_WIDTH,
            limit=limit,
            message=(
                f"The subject itself is soft, {soft.percent:.2f} % of the frame's width: focus is "
                f"at {soft.focus:.1f} m, the subject at {soft.distance:.1f} m"
            ),
            suggestion=f"pull the focus to {soft.distance:.1f} m, or focus on the head",
        )
    crowd = measured.crowd
    if crowd is None or motion.camera is None:
        return
    graded = values.grade(THINGS.name, float(crowd.behind + crowd.before))
    if graded is None:
        return
    severity, limit = graded
    yield Flag(
        check=CHECK.id,
        code="nothing-separates",
        subject=motion.subject,
        part="camera",
        start=motion.frame(0),
        end=motion.frame(-1),
        peak=motion.frame(crowd.peak),
        severity=severity,
        confidence=0.6,
        value=float(crowd.behind + crowd.before),
        unit=Unit.COUNT,
        limit=limit,
        message=(
            f"{crowd.behind} things behind and {crowd.before} before the subject are as sharp as "
            "it is, all around it in the picture"
        ),
        suggestion=_suggest(motion.camera, crowd, values[SEPARATED.name]),
    )


def blur_percent(camera: ShotCamera, rows: NDArray[np.int64], distances: FloatArray) -> FloatArray:
    """Return blur discs at distances (S, ...) of the frames `rows`, in % of the frame's width."""
    if not camera.depth_of_field or camera.orthographic:
        return np.zeros_like(distances)
    extra = (1,) * (distances.ndim - 1)
    focal, stop, focus = (
        values[rows].reshape(-1, *extra)
        for values in (camera.lens_mm, camera.f_stop, camera.focus_m)
    )
    disc = optics.blur_disc_mm(focal, stop, focus, distances)
    return 100.0 * disc / _sensor_width(camera)[rows].reshape(-1, *extra)


def _sensor_width(camera: ShotCamera) -> FloatArray:
    """Return how wide the picture is on the sensor, shape (F,), mm."""
    width, height = camera.lens.picture
    fit = camera.sensor_fit.value
    across = fit == "horizontal" or (fit == "auto" and width >= height)
    side = camera.sensor_mm[:, 1] if fit == "vertical" else camera.sensor_mm[:, 0]
    return side if across else side * width / height


def _find_soft(camera: ShotCamera, depth: FloatArray, values: Values) -> tuple[Soft, ...]:
    rows = np.arange(len(depth))
    percent = np.where(depth > 0.0, blur_percent(camera, rows, depth), 0.0)
    found = []
    for first, last in series.find_runs(percent >= min(values.limits[SOFT.name])):
        if last - first + 1 < values.frames(LONG_ENOUGH.name):
            continue
        peak = first + int(np.argmax(percent[first : last + 1]))
        focus, far = float(camera.focus_m[peak]), float(depth[peak])
        found.append(Soft(first, last, peak, float(percent[peak]), focus, far))
    return tuple(found)


def _count(
    motion: Motion, camera: ShotCamera, staging: Staging, depth: FloatArray, values: Values
) -> Crowd | None:
    rows = staging.rows
    points = np.concatenate((motion.heads[rows], motion.tails[rows]), axis=1)
    places, depths = camera.slice(int(rows[0]), int(rows[-1]) + 1, staging.step).project(points)
    left, right = np.nanmin(places[..., 0], axis=1), np.nanmax(places[..., 0], axis=1)
    low, high = np.nanmin(places[..., 1], axis=1), np.nanmax(places[..., 1], axis=1)
    room = AROUND * (right - left)
    box = staging.boxes
    clipped = np.clip(box, 0.0, 1.0)
    wide, tall = clipped[..., 2] - clipped[..., 0], clipped[..., 3] - clipped[..., 1]
    beside = (
        (box[..., 2] > (left - room)[:, np.newaxis])
        & (box[..., 0] < (right + room)[:, np.newaxis])
        & (box[..., 3] > low[:, np.newaxis])
        & (box[..., 1] < high[:, np.newaxis])
    )
    counted = beside & (wide > 0.0) & (tall > 0.0)
    counted &= 100.0 * np.maximum(wide, tall) >= values[SPECK.name]
    counted &= 100.0 * wide * tall <= values[BACKDROP.name]
    near, far = np.min(depths, axis=1)[:, np.newaxis], np.max(depths, axis=1)[:, np.newaxis]
    behind = counted & (staging.depths[..., 0] >= far)
    before = counted & (staging.depths[..., 1] <= near)
    nearest = np.where(behind, staging.depths[..., 0], staging.depths[..., 1])
    sharp = blur_percent(camera, rows, nearest) < values[SEPARATED.name]
    behind, before = behind & sharp, before & sharp
    total = (behind | before).sum(axis=1)
    if not total.any():
        return None
    # The look with the middle count stands for the shot.
    middle = int(np.argsort(total, kind="stable")[len(total) // 2])
    there = nearest[middle][behind[middle] | before[middle]]
    return Crowd(
        behind=int(behind[middle].sum()),
        before=int(before[middle].sum()),
        peak=int(rows[middle]),
        distance=float(depth[rows[middle]]),
        typical=float(np.median(there)) if len(there) else np.inf,
    )


def _suggest(camera: ShotCamera, crowd: Crowd, needed: float) -> str:
    """Say which aperture, or else which lens, would draw the typical thing wide enough."""
    if camera.orthographic:
        return "give the subject a plainer place, or light it apart: this lens has no blur"
    focal, distance = float(camera.lens_mm[crowd.peak]), crowd.distance
    width = float(_sensor_width(camera)[crowd.peak])
    wanted = needed / 100.0 * width
    at_one = float(optics.blur_disc_mm(focal, 1.0, distance, crowd.typical))
    stop = at_one / wanted
    if stop >= WIDEST_STOP:
        offered = max(s for s in STOPS if s <= stop)
        return (
            f"depth of field on, focus at {distance:.1f} m and f/{offered:g} with this "
            f"{focal:.0f} mm lens would separate it; or a plainer place"
        )
    # The disc grows nearly with the square of the focal length.
    longer = focal
    offset = abs(1.0 - distance / crowd.typical) * 1000.0
    if offset > 0.0:
        # f^2 / (s - f) * offset / N = wanted, solved for f in metres
        share = wanted * WIDEST_STOP / (offset * 1.0)
        longer = 1000.0 * 0.5 * (-share + (share**2 + 4.0 * share * distance) ** 0.5)
    longer = LENS_STEP_MM * np.ceil(longer / LENS_STEP_MM)
    if offset > 0.0 and longer < 100.0 * distance:
        return (
            f"a longer lens, about {longer:.0f} mm at f/{WIDEST_STOP:g} focused at "
            f"{distance:.1f} m, would separate it; or a plainer place"
        )
    return "move the subject away from what is around it: no lens would separate them there"


CHECK = Check(
    id="lost-in-background",
    group=Group.CAMERA,
    question="Does anything separate the subject from what is behind and in front of it?",
    codes={
        "subject-soft": "the subject is out of focus",
        "nothing-separates": "many things around the subject are as sharp as it is",
    },
    declarations=(THINGS, SOFT, SEPARATED, SPECK, BACKDROP, LONG_ENOUGH),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset(Stage),
    needs_camera=True,
    minimum_frames=2,
)
