# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""strobe: does a part jump farther than its own picture from frame to frame?

Two pictures of a hand that do not overlap are not read as one hand that moves but as two hands,
and the audience sees a row of pictures. The eye joins pictures as long as each touches the next,
or as long as the blur of the one reaches the other.

The step of a part in the shot camera's picture, less the length that motion blur draws, is put
over the part's own size there. The own size of a hand, a foot or the head is its length together
with the part that carries it: that is the shape the eye follows, and it is taken unforeshortened.
The trunk's is the way from hips to head; an object's its own size. Steps slower than the published
guide for pans never count, nor does what a limb only shares with the trunk it rides on.

Leave it where motion blur is added later in the pipeline (turn it on here as well), for smears and
multiples drawn on purpose, and for whip pans: what the camera makes faster than a zip pan is meant
to be no picture at all.

Sources: full frame width in no less than 7 s, at 24 fps and a 180 degree shutter (a camera maker's
panning guide); zip pans of 0.25 in a frame and more do not strobe (a drawn-animation manual; on
a 12 in field, which is an assumption). Captured walking and boxing at 24 fps, without blur and
square to the camera, holds at most 0.74 own sizes of a hand for 2 frames, feet 0.3, heads 0.5.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, Outcome, say_part
from ..measures import geometry, optics, picture, projection, series
from ..motion import Motion, ShotCamera, Stage, SubjectKind
from ..units import Unit

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STEP = Limits(
    "step",
    faint=1.0,
    clear=1.5,
    glaring=2.5,
    unit=Unit.RATIO,
    minimum=0.2,
    maximum=20.0,
    description="Step from picture to picture, less its blur, in sizes of the part itself.",
    source="practice: pictures that touch are joined; captured boxing stays under 0.74",
)
SHORTEST = Parameter(
    "shortest",
    default=2.0,
    unit=Unit.FRAMES,
    minimum=1.0,
    maximum=24.0,
    description="Fewer steps in a row than this are an accent and left alone.",
    source="practice: a single gap is read as a fast accent, two make a row of pictures",
)
WIDTH_TIME = Parameter(
    "width_time",
    default=7.0,
    unit=Unit.SECONDS,
    minimum=0.5,
    maximum=30.0,
    description="What takes longer than this across the frame never counts; lower it to hear less.",
    source="a camera maker's guide: pan a full width in no less than 7 s",
)
ZIP = Parameter(
    "zip",
    default=2.08,
    unit=Unit.FRAME_WIDTH,
    minimum=0.5,
    maximum=50.0,
    description="Steps the camera makes that are larger than this are a whip pan, left alone.",
    source="a drawn-animation manual: 0.25 in a frame, on a 12 in field (assumed)",
)

ENDS = ("hand.L", "hand.R", "foot.L", "foot.R", "head")
CAMERA_SHARE = 0.5  # of a step, over which the camera makes it
MARGIN = 0.02  # picture widths beyond the edges within which a part still shows


@dataclass(frozen=True)
class Row:
    """A row of separate pictures: part, frames (indices), steps in own sizes and in % of width."""

    part: str
    first: int
    last: int
    peak: int
    sizes: float
    width: float
    count: int
    by_camera: bool


def measure(motion: Motion, values: Values) -> list[Row]:
    """Find rows of steps that are larger than the part, trunk first, then what it carries."""
    camera = motion.camera
    if camera is None:
        raise CannotEvaluateError("no shot camera")
    points = _list_points(motion)
    found: list[Row] = []
    seen_at_all = False
    carried: FloatArray | None = None
    for part, point, size in points:
        picture_steps = _measure_steps(motion, camera, point, size, carried, values)
        sizes, widths, by_camera, shows, steps = picture_steps
        seen_at_all = seen_at_all or bool(shows.any())
        found += _find_rows(part, sizes, widths, by_camera, values)
        if carried is None and part == "hips":
            carried = steps
    if not seen_at_all:
        raise CannotEvaluateError("the subject is out of frame")
    return found


def judge(motion: Motion, measured: list[Row], values: Values) -> Iterator[Outcome]:
    """Flag rows by their largest step."""
    camera = motion.camera
    guide = 100.0 / (values[WIDTH_TIME.name] * motion.fps)
    blurred = camera is not None and camera.motion_blur
    for row in measured:
        graded = values.grade(STEP.name, row.sizes)
        if graded is None:
            continue
        severity, limit = graded
        words = "whole subject" if row.part in ("hips", "root") else say_part(row.part)
        blur = "even with its motion blur, " if blurred else ""
        fix = "spread the move over more frames or draw a smear"
        if not blurred:
            fix = "turn motion blur on, " + fix
        if row.by_camera:
            seconds = 100.0 / (row.width * motion.fps)
            fix = f"pan slower than a full width in {seconds:.1f} s, or hide it in a whip"
            if camera is not None and not camera.orthographic:
                lens = float(camera.lens_mm[row.peak])
                angle = optics.field_of_view(lens, camera.width_on_sensor_mm[row.peak])
                speed = float(angle) / values[WIDTH_TIME.name]
                fix += f" (at most {speed:.1f} deg/s is advised for {lens:.0f} mm)"
        yield Flag(
            check=CHECK.id,
            code="separate-pictures",
            subject=motion.subject,
            part=row.part,
            other_parts=("camera",) if row.by_camera else (),
            start=motion.frame(row.first),
            end=motion.frame(row.last),
            peak=motion.frame(row.peak),
            severity=severity,
            confidence=0.8,
            value=row.sizes,
            unit=Unit.RATIO,
            limit=limit,
            message=(
                f"The {words} jumps {row.sizes:.1f} of its own size a frame for {row.count} "
                f"frames, {blur}{row.width:.0f} % of the frame's width: it may strobe"
            ),
            suggestion=(
                f"{fix}; the guide for pans is {values[WIDTH_TIME.name]:.0f} s for a full width, "
                f"{guide:.2f} % of it a frame at this rate"
            ),
        )


def _list_points(motion: Motion) -> list[tuple[str, FloatArray, float]]:
    """Return part, place (F, 3) and own size in metres; what carries the others comes first."""
    if motion.kind is SubjectKind.OBJECT:
        middle = 0.5 * (motion.heads[:, 0] + motion.tails[:, 0])
        return [(motion.parts[0], middle, motion.height)]
    found = []
    if motion.has("hips", "head"):
        middle = 0.5 * (motion.head("hips") + motion.head("head"))
        trunk = geometry.lengths(motion.head("head") - motion.head("hips"))
        found.append(("hips", middle, float(np.median(trunk))))
    for part in ENDS:
        if not motion.has(part):
            continue
        parent = motion.parent_of(part)
        size = _length(motion, part) + (_length(motion, parent) if parent is not None else 0.0)
        found.append((part, 0.5 * (motion.head(part) + motion.tail(part)), size))
    if not found:
        motion.require("hips", "head")
    return found


def _length(motion: Motion, part: str) -> float:
    return float(np.median(geometry.lengths(motion.tail(part) - motion.head(part))))


def _measure_steps(
    motion: Motion,
    camera: ShotCamera,
    point: FloatArray,
    size: float,
    carried: FloatArray | None,
    values: Values,
) -> tuple[FloatArray, FloatArray, BoolArray, BoolArray, FloatArray]:
    """Return steps in own sizes (0 where they do not count) and % of width, maker, visibility.

    Of a limb only what it does beyond the trunk's own steps counts; the fifth are the steps
    themselves, shape (F - 1, 2), picture widths.
    """
    seen = picture.divide_motion(point, camera.positions, camera.rotations, camera.lens)
    steps = np.diff(seen.places, axis=0)
    lengths = whole = geometry.lengths(steps)
    if carried is not None:
        # What rides along with the trunk is the trunk's: the eye follows the larger shape.
        lengths = np.fmin(lengths, geometry.lengths(steps - carried))
    _, depths = camera.project(point)
    own = projection.projected_size(np.array(size), depths, camera.lens)
    own = 0.5 * (own[1:] + own[:-1])
    across, upward = seen.places[:, 0], seen.places[:, 1]
    aspect = camera.lens.picture[1] / camera.lens.picture[0]
    room = own.max(initial=0.0, where=np.isfinite(own)) + MARGIN
    inside = (across > -room) & (across < 1.0 + room) & (upward > -room) & (upward < aspect + room)
    shows = inside[1:] & inside[:-1] & np.isfinite(lengths)
    made = np.sum(seen.by_camera * steps, axis=-1) / np.maximum(whole**2, 1e-18)
    by_camera = made > CAMERA_SHARE
    blur = min(camera.shutter_frames / motion.frame_step, 1.0) if camera.motion_blur else 0.0
    slow = 1.0 / (values[WIDTH_TIME.name] * motion.fps)
    counts = shows & (lengths >= slow) & ~(by_camera & (100.0 * lengths >= values[ZIP.name]))
    sizes = np.where(counts, lengths * (1.0 - blur) / np.where(own > 0.0, own, np.nan), 0.0)
    return np.nan_to_num(sizes), 100.0 * np.nan_to_num(lengths), by_camera, shows, steps


def _find_rows(
    part: str, sizes: FloatArray, widths: FloatArray, by_camera: BoolArray, values: Values
) -> list[Row]:
    found = []
    shortest = max(1, round(values.frames(SHORTEST.name)))
    for first, last in series.find_runs(sizes >= min(values.limits[STEP.name])):
        count = last - first + 1
        if count < shortest:
            continue
        # The size that is kept for as many steps as it takes to be a row.
        kept = np.sort(sizes[first : last + 1])[-shortest]
        peak = first + int(np.argmax(sizes[first : last + 1]))
        camera_made = bool(by_camera[first : last + 1].mean() > CAMERA_SHARE)
        width = float(widths[peak])
        found.append(Row(part, first, last + 1, peak, float(kept), width, count, camera_made))
    return found


CHECK = Check(
    id="strobe",
    group=Group.PATHS,
    question="Does a part jump farther than its own picture from frame to frame?",
    codes={"separate-pictures": "steps larger than the part itself, several in a row"},
    declarations=(STEP, SHORTEST, WIDTH_TIME, ZIP),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset({Stage.SPLINE, Stage.HELD}),
    kinds=frozenset({SubjectKind.ARMATURE, SubjectKind.OBJECT}),
    needs_camera=True,
    on_drawings=True,
)
