# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""off-balance: would the pose fall?

A body that stands, waits or moves slowly has its weight over its feet. A held pose whose weight
lies outside the feet looks about to fall, or pasted on the ground, long before anyone could say
why.

The centre of mass is taken from the joints, and with it the place a slow fall would carry it to;
only when both lie outside the soles on the ground, in a hold or a slow move that lasts, is it a
flag. In walking and running the weight is outside most of the time, and rightly so.

Leave it for fast moves, for sitting and lying, and for a body that holds on to or leans against
something: hands that rest while the body moves are seen, a lean that is held all through is not,
so mark it as meant. Wide-stanced creatures carry their weight differently.

Sources: segment table of de Leva 1996; extrapolated centre of mass of Hof, Gazendam & Sinke 2005;
the static centre lies outside the base for about 80 % of walking (J Exp Biol 221 jeb174896). No
limit for a look of imbalance is published.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import Flag, Outcome
from ..measures import balance, contacts, geometry, series, swings
from ..motion import Motion, Stage
from ..units import Unit

FloatArray = NDArray[np.float64]

OUTSIDE = Limits(
    "outside",
    faint=1.5,
    clear=3.0,
    glaring=6.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.0,
    maximum=40.0,
    description="How far the weight may lie outside the feet; raise it for stylised bodies.",
    source="practice: 3 % of stature is a third of a foot's width past its edge",
    broad=1.5,
    subtle=0.8,
    style_source="practice: big heads and hands move the real weight of a stylised body",
)
SHORTEST = Parameter(
    "shortest",
    default=0.4,
    unit=Unit.SECONDS,
    minimum=0.1,
    maximum=3.0,
    description="How long it must last.",
    source="a body starts to topple visibly after about a pendulum's time constant, 0.34 s",
)
SLOW = Parameter(
    "slow",
    default=0.12,
    unit=Unit.RATIO,
    minimum=0.02,
    maximum=1.0,
    description="Body heights a second under which a move counts as slow.",
    source="practice: a walk moves at 0.8, swaying on the spot at 0.02 to 0.05",
)
LOWEST_HIPS = Parameter(
    "lowest_hips",
    default=30.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.0,
    maximum=60.0,
    description="Hips nearer to the ground than this sit, crawl or lie: left alone.",
    source="hips stand at 53 % of stature (Drillis & Contini 1966, from memory)",
)

FOOT_WIDTH = 0.055  # of stature: Drillis & Contini 1966, from memory
SMOOTHING_HZ = 4.0
HOLDING_TRAVEL = 0.02  # of stature: a hand that stays on its spot ...
HOLDING_MOVE = 0.06  # ... while the body under it moves this much, holds on to something
LIMBS = ("upper_arm", "forearm", "hand", "thigh", "shin", "foot")


@dataclass(frozen=True)
class Stand:
    """A slow stretch with the weight outside (frame indices, both included), in metres."""

    first: int
    last: int
    peak: int
    outside: float
    supports: tuple[str, ...]
    held_by: str | None


def measure(motion: Motion, values: Values) -> list[Stand]:
    """Find slow stretches in which the weight lies outside the soles on the ground."""
    motion.require("head", "hips", *(f"{p}{s}" for p in LIMBS for s in (".L", ".R")))
    sided = [f"{part}{side}" for part in (*LIMBS, "toe") for side in (".L", ".R")]
    named = [part for part in ("hips", "neck", "head", *sided) if motion.has(part)]
    heads = {part: motion.head(part) for part in named}
    tails = {part: motion.tail(part) for part in named}
    center = series.smooth(balance.center_of_mass(heads, tails), motion.fps, SMOOTHING_HZ)
    velocity = series.central_velocity(center, motion.fps)
    # A cycle in place moves over its ground as fast as the ground moves under it.
    velocity[:, :2] -= motion.treadmill()
    corners, used, floor = motion.memo((CHECK.id, "support"), partial(_find_support, motion))
    moving = balance.extrapolate_center(center, velocity)
    speed = geometry.lengths(velocity)
    upright = heads["hips"][:, 2] - floor > values[LOWEST_HIPS.name] / 100.0 * motion.height
    slow = (speed < values[SLOW.name] * motion.height) & upright
    gap = round(0.08 * motion.fps)
    # Only slow frames can be flagged, with those of short gaps between them.
    asked = series.close_gaps(slow, gap)
    margin = np.full(motion.frame_count, np.nan)
    margin[asked] = np.fmax(
        balance.support_margin(center[asked, :2], corners[asked], used[asked]),
        balance.support_margin(moving[asked, :2], corners[asked], used[asked]),
    )
    slow &= np.isfinite(margin)
    outside = slow & (margin < -min(values.limits[OUTSIDE.name]) / 100.0 * motion.height)
    stands = []
    for first, last in series.find_runs(series.close_gaps(outside, gap)):
        if last - first + 1 < values.frames(SHORTEST.name):
            continue
        # What holds for the whole stretch, not its one worst frame, decides.
        typical = float(np.median(-margin[first : last + 1]))
        stands.append(
            Stand(
                first=first,
                last=last,
                peak=first + int(np.argmin(margin[first : last + 1])),
                outside=typical,
                supports=tuple(
                    f"foot{side}" for side, own in _split(used) if own[first : last + 1].any()
                ),
                held_by=_find_holding_hand(motion, first, last),
            )
        )
    return stands


def judge(motion: Motion, measured: list[Stand], values: Values) -> Iterator[Outcome]:
    """Flag lasting imbalance unless a hand holds on."""
    for stand in measured:
        percent = 100.0 * stand.outside / motion.height
        graded = values.grade(OUTSIDE.name, percent)
        if graded is None or stand.held_by:
            continue
        severity, limit = graded
        seconds = (stand.last - stand.first + 1) / motion.fps
        feet = "both feet" if len(stand.supports) > 1 else "the standing foot"
        yield Flag(
            check=CHECK.id,
            code="weight-outside-the-feet",
            subject=motion.subject,
            part="hips",
            other_parts=stand.supports,
            start=motion.frame(stand.first),
            end=motion.frame(stand.last),
            peak=motion.frame(stand.peak),
            severity=severity,
            confidence=0.8,
            value=percent,
            unit=Unit.BODY_HEIGHT,
            limit=limit,
            message=(
                f"The weight lies {percent:.1f} % of body height outside {feet} for {seconds:.1f} s"
            ),
            suggestion="bring the hips over the feet, or a foot under the weight",
        )


def _find_support(motion: Motion) -> tuple[FloatArray, NDArray[np.bool_], float]:
    """Return corners of the soles (F, 12, 2), which are on the ground, and the floor's height."""
    count = motion.frame_count
    corners = np.zeros((count, 12, 2))
    used = np.zeros((count, 12), dtype=np.bool_)
    floor = np.inf
    for number, (side, stances) in enumerate(motion.stances().items()):
        foot = motion.foot(side)
        ahead = (foot.ball - foot.ankle) * [1.0, 1.0, 0.0]
        length = np.maximum(geometry.lengths(ahead)[..., np.newaxis], 1e-12)
        sideways = np.stack((-ahead[:, 1], ahead[:, 0], 0.0 * ahead[:, 0]), axis=-1) / length
        half = 0.5 * FOOT_WIDTH * motion.height * sideways
        rows = slice(6 * number, 6 * number + 6)
        for stance in stances:
            whole = stance.flat is not None and stance.heel_off is not None
            first = stance.flat if whole and stance.flat is not None else stance.touch
            last = stance.heel_off if whole and stance.heel_off is not None else stance.off
            span, begin = slice(stance.touch, stance.off + 1), stance.touch
            near = foot.slice(span.start, span.stop)
            points = contacts.sole_points(near, first - begin, last - begin)
            sole = balance.widen([points[:, i] for i in range(3)], half[span])
            corners[span, rows] = sole[..., :2]
            used[span, rows] = True
            if not whole:
                used[span, rows.start : rows.start + 2] = False
            floor = min(floor, stance.level)
    return corners, used, float(floor)


def _split(used: NDArray[np.bool_]) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    yield ".L", used[:, :6].any(axis=1)
    yield ".R", used[:, 6:].any(axis=1)


def _find_holding_hand(motion: Motion, first: int, last: int) -> str | None:
    """Return the hand that keeps its place in the world while the hips move, if there is one."""
    around = round(0.5 * motion.fps)
    span = slice(max(0, first - around), last + around + 1)
    moved = swings.excursion(motion.head("hips")[span]) / motion.height
    for side in (".L", ".R"):
        travel = swings.excursion(motion.head(f"hand{side}")[span]) / motion.height
        if travel < HOLDING_TRAVEL and moved > HOLDING_MOVE:
            return f"hand{side}"
    return None


CHECK = Check(
    id="off-balance",
    group=Group.FEET,
    question="Would the pose fall?",
    codes={"weight-outside-the-feet": "the weight lies outside the soles for a while"},
    declarations=(OUTSIDE, SHORTEST, SLOW, LOWEST_HIPS),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset({Stage.SPLINE, Stage.HELD, Stage.BLOCKING}),
    minimum_frames=6,
)
