# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""blocked-view: is the subject hidden behind things?

Acting that nobody sees is lost: a post, a crate or another character between the camera and the
subject takes its place in the picture, and the eye goes to what is in front.

Joints and the middles of limbs are looked at from the shot camera, on every few frames and on each
around changes; what cuts the sight line first is named, with the share of the points in the
picture that it hides and for how long. What counts is what renders, hidden in the viewport or not.

Leave it for reveals, for subjects that pass behind something on their way, and for peeking through
things on purpose: mark it as meant. The subject's own body and hair, what it carries and what can
be seen through hide nothing.

Sources: no limit is published; the shares are practice (a fifth is a limb, three fifths leave no
readable silhouette).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, Outcome
from ..measures import series
from ..motion import Motion, Stage, Staging
from ..units import Unit

HIDDEN = Limits(
    "hidden",
    faint=20.0,
    clear=40.0,
    glaring=60.0,
    unit=Unit.PERCENT,
    minimum=1.0,
    maximum=100.0,
    description="Share of the body in the picture that is hidden; raise it for busy sets.",
    source="practice: a fifth is a limb, three fifths leave no silhouette to read",
)
SHORTEST = Parameter(
    "shortest",
    default=4.0,
    unit=Unit.FRAMES_AT_24,
    minimum=1.0,
    maximum=240.0,
    description="Being hidden for less than this is passing by; raise it for long takes.",
    source="practice: four frames is a sixth of a second, about what it takes to look",
)

FEWEST_POINTS = 3


@dataclass(frozen=True)
class Stretch:
    """Frames (indices) on which enough is hidden, the share (%) at its worst, and by what."""

    first: int
    last: int
    peak: int
    percent: float
    by: tuple[str, ...]


def measure(motion: Motion, values: Values) -> list[Stretch]:
    """Find the stretches in which a share of the body is hidden."""
    staging = _require(motion)
    if not np.any(staging.tried >= FEWEST_POINTS):
        raise CannotEvaluateError("the subject is out of frame")
    total = 100.0 * staging.hidden.sum(axis=1)
    total = np.where(staging.tried >= FEWEST_POINTS, total, 0.0)
    # Between two looks it is as the former saw it: they lie close wherever something changes.
    total = staging.hold(total, motion.frame_count)
    shares = staging.hold(staging.hidden, motion.frame_count)
    shortest = max(1, round(values.frames(SHORTEST.name)))
    found = []
    for first, last in series.find_runs(total >= min(values.limits[HIDDEN.name])):
        if last - first + 1 < shortest:
            continue
        within = total[first : last + 1]
        by_thing = shares[first : last + 1].sum(axis=0)
        order = [int(row) for row in np.argsort(-by_thing, kind="stable") if by_thing[row] > 0.0]
        # The worst share that is kept for as long as it takes to matter.
        percent = float(np.sort(within)[-shortest])
        by = tuple(staging.things[row] for row in order[:3])
        found.append(Stretch(first, last, first + int(np.argmax(within)), percent, by))
    return found


def judge(motion: Motion, measured: list[Stretch], values: Values) -> Iterator[Outcome]:
    """Flag the stretches by the share that is hidden."""
    staging = _require(motion)
    looked = ""
    if staging.step > 1:
        looked = f" (looked at every {staging.step} frames, at each around changes)"
    for stretch in measured:
        graded = values.grade(HIDDEN.name, stretch.percent)
        if graded is None:
            continue
        severity, limit = graded
        others = f", with {' and '.join(stretch.by[1:])}" if len(stretch.by) > 1 else ""
        yield Flag(
            check=CHECK.id,
            code="behind-things",
            subject=motion.subject,
            part="hips" if motion.has("hips") else motion.parts[0],
            other_parts=("camera",),
            start=motion.frame(stretch.first),
            end=motion.frame(stretch.last),
            peak=motion.frame(stretch.peak),
            severity=severity,
            confidence=0.8,
            value=stretch.percent,
            unit=Unit.PERCENT,
            limit=limit,
            message=(
                f"{stretch.by[0]}{others} hides {stretch.percent:.0f} % of the subject for "
                f"{stretch.last - stretch.first + 1} frames{looked}"
            ),
            suggestion=f"move {stretch.by[0]} aside, or the camera past it",
        )


def _require(motion: Motion) -> Staging:
    if motion.camera is None:
        raise CannotEvaluateError("no shot camera")
    staging = motion.staging
    if staging is None:
        raise CannotEvaluateError(
            "what lies around the subject was not looked at: live reading leaves that to Read"
        )
    if len(staging.rows) == 0:
        raise CannotEvaluateError("the shot is too short: none of its frames was looked at")
    return staging


CHECK = Check(
    id="blocked-view",
    group=Group.CAMERA,
    question="Is the subject hidden behind things?",
    codes={"behind-things": "something else is between the camera and the subject"},
    declarations=(HIDDEN, SHORTEST),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset(Stage),
    needs_camera=True,
    minimum_frames=2,
)
