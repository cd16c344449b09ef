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
from ..measures import clutter, optics, series
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
        missing = "what lies around the subject was not looked at: live reading leaves that to Read"
        if not (camera.depth_of_field and not camera.orthographic):
            raise CannotEvaluateError(missing)
        return Findings(soft, None, missing)
    if not staging.tried.any():
        return Findings(soft, None, "the subject is out of frame")
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
            suggestion=_suggest_focus(motion, soft, min(values.limits[SOFT.name])),
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


def _suggest_focus(motion: Motion, soft: Soft, acceptable: float) -> str:
    """Say where to focus, and which aperture would hold the subject as the focus is."""
    fix = f"pull the focus to {soft.distance:.1f} m, or focus on the head"
    camera = motion.camera
    if camera is None:
        return fix
    disc = acceptable / 100.0 * float(camera.width_on_sensor_mm[soft.peak])
    focal = float(camera.lens_mm[soft.peak])
    stop = float(optics.stop_for_blur(focal, soft.focus, soft.distance, disc))
    closed = next((s for s in STOPS if s >= stop), None)
    return fix if closed is None else f"{fix}; f/{closed:g} would hold it as the focus is"


def _find_soft(camera: ShotCamera, depth: FloatArray, values: Values) -> tuple[Soft, ...]:
    percent = np.where(depth > 0.0, 100.0 * camera.measure_blur(depth), 0.0)
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
    # Looks at which the subject is out of the picture say nothing of what is around it there.
    seen = staging.tried > 0
    rows = staging.rows[seen]
    points = np.concatenate((motion.heads[rows], motion.tails[rows]), axis=1)
    looking = camera.pick(rows)
    there = clutter.find_clutter(
        *looking.project(points),
        staging.boxes[seen],
        staging.depths[seen],
        around=AROUND,
        smallest=values[SPECK.name] / 100.0,
        largest=values[BACKDROP.name] / 100.0,
    )
    sharp = 100.0 * looking.measure_blur(there.nearest) < values[SEPARATED.name]
    behind, before = there.behind & sharp, there.before & sharp
    total = (behind | before).sum(axis=1)
    if not total.any():
        return None
    # The look with the middle count stands for the shot; each counts for the frames it stands for.
    weights = np.diff(np.append(staging.rows, motion.frame_count))[seen].astype(np.float64)
    middle = clutter.find_middle(total, weights)
    distances = there.nearest[middle][behind[middle] | before[middle]]
    return Crowd(
        behind=int(behind[middle].sum()),
        before=int(before[middle].sum()),
        peak=int(rows[middle]),
        distance=float(depth[rows[middle]]),
        typical=float(np.median(distances)) if len(distances) else np.inf,
    )


def _suggest(camera: ShotCamera, crowd: Crowd, needed: float) -> str:
    """Say which aperture, or else which lens, would draw the typical thing wide enough."""
    if camera.orthographic:
        return "give the subject a plainer place, or light it apart: this lens has no blur"
    focal, distance = float(camera.lens_mm[crowd.peak]), crowd.distance
    wanted = needed / 100.0 * float(camera.width_on_sensor_mm[crowd.peak])
    stop = float(optics.stop_for_blur(focal, distance, crowd.typical, wanted))
    if stop >= WIDEST_STOP:
        offered = max(s for s in STOPS if s <= stop)
        return (
            f"depth of field on, focus at {distance:.1f} m and f/{offered:g} with this "
            f"{focal:.0f} mm lens would separate it; or a plainer place"
        )
    longer = float(optics.lens_for_blur(WIDEST_STOP, distance, crowd.typical, wanted))
    if longer < 100.0 * distance:
        longer = LENS_STEP_MM * np.ceil(longer / LENS_STEP_MM)
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
