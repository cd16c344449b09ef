# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""flat-arc: does a limb that swings travel in a straight line?

An arm or leg turns about its root, so its end describes an arc. Interpolated between two keys of
a control in space, the hand takes the straight line instead: it dives towards the shoulder in the
middle of the swing and the move looks drawn with a ruler.

Each swing of a limb, from turning point to turning point, is measured by its sagitta: the largest
distance of the hand's or foot's path from the line between both ends, over that line's length.

Leave it for a push, a thrust or a reach, where the limb stretches or folds along the line (the
distance from shoulder to hand then changes: left alone), for a foot that slides along the ground,
and for a hand that follows an edge or a tool: mark the flag as meant. Where the body travels, a
path that is an arc as seen from the limb's root is left alone too.

Sources: sagitta over chord of a circular arc is 0.066 for 30 degrees, 0.134 for 60 and 0.207 for
90 (geometry). No limit for flatness is published; measured on open captures of jumping, climbing
and boxing at 12 to 120 frames per second: 4 swings of 588 lie below 0.03, none below 0.02. The
hands of a walk built from published gait figures, whose rise and fall flattens their arcs, swing
at 0.017 to 0.021.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, say_part
from ..measures import geometry, paths, series, swings
from ..motion import Motion, Stage
from ..units import Unit

FloatArray = NDArray[np.float64]

FLATNESS = Limits(
    "flatness",
    faint=0.016,
    clear=0.011,
    glaring=0.006,
    unit=Unit.RATIO,
    minimum=0.0,
    maximum=0.2,
    description="Sagitta over chord of a swing; raise it to ask for rounder arcs.",
    source="just under the 0.017 of a walk built from published figures; in open captures none of "
    "588 swings lies below 0.02, 4 below 0.03; a straight line at 0",
)
LEAST_TURN = Parameter(
    "least_turn",
    default=30.0,
    unit=Unit.DEGREES,
    minimum=10.0,
    maximum=180.0,
    description="How far the limb must turn before its end owes an arc.",
    source="geometry: an arc of 30 degrees has a sagitta of 0.066, four times the faint limit",
)
LEAST_WAY = Parameter(
    "least_way",
    default=0.25,
    unit=Unit.RATIO,
    minimum=0.05,
    maximum=2.0,
    description="Shortest swing that is judged, as a share of the limb's length.",
    source="practice: on a shorter way nobody sees whether it is bent",
)
STRETCH = Parameter(
    "stretch",
    default=0.25,
    unit=Unit.RATIO,
    minimum=0.0,
    maximum=1.0,
    description="A limb that gets longer or shorter by this share of itself pushes or reaches.",
    source="measured: thrusts of boxing stretch the arm by 0.3 to 0.8 of its length",
)

LIMBS = {"hand": ("upper_arm", "forearm"), "foot": ("thigh", "shin")}
"""The end of each limb, with the part it swings from and the part between."""

SMOOTH_HZ = 8.0
"""Movement of limbs lies below this frequency; what is above has turning points of its own."""

ON_GROUND = 0.05
"""A foot whose lower end is this share of body size above the ground slides rather than swings."""

CARRIED_SHARE = 0.25
"""A limb whose root goes this share of its end's way is carried by a body that travels."""

STILL_RATE = 30.0
"""Degrees per second below which a limb rests between two swings."""


@dataclass(frozen=True)
class Sweep:
    """One swing of a limb; frames are indices, both included."""

    end: str
    side: str
    first: int
    last: int
    peak: int
    degrees: float
    flatness: float


@dataclass(frozen=True)
class Sweeps:
    """Swings of all limbs that owe an arc and go nearly straight; a missing limb has its reason."""

    found: list[Sweep]
    missing: dict[str, str]


def measure(motion: Motion, values: Values) -> Steps[Sweeps]:
    """Find the swings of arms and legs and how bent the path of hand or foot is."""
    found: list[Sweep] = []
    missing: dict[str, str] = {}
    for end, (root, middle) in LIMBS.items():
        for side in (".L", ".R"):
            try:
                motion.require(f"{end}{side}", f"{middle}{side}", f"{root}{side}")
            except CannotEvaluateError as error:
                missing[f"{end}{side}"] = str(error)
                continue
            found += motion.memo(
                (CHECK.id, end, side),
                partial(_find_sweeps, motion, end, side, values),
                values.key,
            )
            yield
    if len(missing) == 2 * len(LIMBS):
        raise CannotEvaluateError("; ".join(missing.values()))
    return Sweeps(found, missing)


def judge(motion: Motion, sweeps: Sweeps, values: Values) -> Iterator[Outcome]:
    """Grade each swing by how flat it is."""
    for part, reason in sweeps.missing.items():
        yield NotEvaluated(CHECK.id, motion.subject, reason, part=part)
    for sweep in sweeps.found:
        graded = values.grade(FLATNESS.name, sweep.flatness)
        if graded is None:
            continue
        severity, limit = graded
        part = f"{sweep.end}{sweep.side}"
        first, last = motion.frame(sweep.first), motion.frame(sweep.last)
        limb = "arm" if sweep.end == "hand" else "leg"
        yield Flag(
            check=CHECK.id,
            code="straight-swing",
            subject=motion.subject,
            part=part,
            other_parts=tuple(f"{name}{sweep.side}" for name in LIMBS[sweep.end]),
            start=first,
            end=last,
            peak=motion.frame(sweep.peak),
            severity=severity,
            confidence=float(np.clip(sweep.degrees / (2.0 * values[LEAST_TURN.name]), 0.4, 1.0)),
            value=sweep.flatness,
            unit=Unit.RATIO,
            limit=limit,
            message=(
                f"{say_part(part).capitalize()} travels in a straight line on frames "
                f"{first}-{last} while the {limb} turns {sweep.degrees:.0f} deg "
                f"(bent by {sweep.flatness:.3f} of the way)"
            ),
            suggestion=f"turn the {limb} from its root, or pull the breakdown out onto an arc",
        )


def _find_sweeps(motion: Motion, end: str, side: str, values: Values) -> list[Sweep]:
    used = np.arange(motion.frame_count)
    if motion.stage is Stage.HELD:
        used = motion.list_drawings()
    rate = motion.fps * len(used) / motion.frame_count
    root, middle = (f"{name}{side}" for name in LIMBS[end])
    tip_path = motion.head(f"{end}{side}")
    length = float(
        np.median(geometry.lengths(motion.head(middle) - motion.head(root)))
        + np.median(geometry.lengths(tip_path - motion.head(middle)))
    )
    if not length > 0.0:
        return []
    tip = series.smooth(tip_path[used], rate, SMOOTH_HZ)
    base = series.smooth(motion.head(root)[used], rate, SMOOTH_HZ)
    steps = swings.direction_steps(swings.unit_directions(base, tip))
    moves = swings.find_swings(
        steps, rate, least_degrees=values[LEAST_TURN.name], still_rate=STILL_RATE
    )
    firsts = np.array([swing.first for swing in moves], dtype=np.int64)
    lasts = np.array([swing.last for swing in moves], dtype=np.int64)
    way, carried = (geometry.lengths(path[lasts] - path[firsts]) for path in (tip, base))
    # What is bent enough halfway needs no closer look.
    bent = paths.bend_halfway(tip, firsts, lasts)
    from_root = paths.bend_halfway(tip - base, firsts, lasts)
    bent = np.maximum(bent, np.where(carried >= CARRIED_SHARE * way, from_root, 0.0))
    reach = geometry.lengths(tip - base)
    owes = (
        (bent <= max(values.limits[FLATNESS.name]))
        & (lasts - firsts >= 3)
        & (way >= values[LEAST_WAY.name] * length)
    )
    owes &= np.abs(reach[lasts] - reach[firsts]) <= values[STRETCH.name] * length
    found = []
    for row in np.flatnonzero(owes).tolist():
        swing = moves[row]
        span = slice(swing.first, swing.last + 1)
        if end == "foot" and _slides(motion, side, used[span]):
            continue
        first, last, peak = (int(used[row]) for row in (swing.first, swing.last, swing.peak))
        flatness = paths.sagitta_ratio(tip[span])
        if carried[row] >= CARRIED_SHARE * way[row]:
            # A body that travels stretches the arc its limb describes: what is seen from it counts.
            flatness = max(flatness, paths.sagitta_ratio(tip[span] - base[span]))
        found.append(Sweep(end, side, first, last, peak, swing.degrees, flatness))
    return found


def _slides(motion: Motion, side: str, frames: NDArray[np.int64]) -> bool:
    """Say whether a foot stays on the ground on all of these frames."""
    part = f"foot{side}"
    low = np.minimum(motion.head(part)[frames, 2], motion.tail(part)[frames, 2])
    return bool(np.all(low - motion.ground_height <= ON_GROUND * motion.height))


CHECK = Check(
    id="flat-arc",
    group=Group.PATHS,
    question="Does a limb that swings travel in a straight line?",
    codes={"straight-swing": "hand or foot takes the straight line while the limb turns"},
    declarations=(FLATNESS, LEAST_TURN, LEAST_WAY, STRETCH),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    weighed_by_picture=True,
    minimum_frames=6,
)
