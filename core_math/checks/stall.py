# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""stall: does a move hitch and go on?

A part on its way stops for one to six frames and goes on in the same direction, as if the film
had been held. It comes of two keys of the same value, of handles that flatten a curve between
two keys of one move, or of a frame that was copied. The eye takes the stop for an arrival, and the
move breaks into two.

Each part's own channels are judged, its turn and place relative to its parent, so that an arm
that hitches on a walking body is seen. A complete standstill of a few frames counts whenever the
move goes on roughly the same way; a mere slowing down counts only where it is abrupt and lasts.

Leave it at turning points and anticipations (the move goes on another way), at contacts (a foot
on the ground, and its leg, are left alone), in a hold (longer than six frames), and in animation
that is held on twos or threes: the held frames are taken out first. Below 16 drawings a second
only a part that stands as if its drawing were copied is told.

Sources: in clean reaches the speed has one peak, and movements count as two from a rise of speed
between them on (scores of drinking tasks: Alt Murphy and others); the shares and losses are our
own. Measured on open captures of jumping and boxing: see each limit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import Flag, Outcome, say_part
from ..measures import causes, geometry, stalls
from ..measures.columns import join_columns, split_by_column
from ..motion import Motion, Stage, SubjectKind
from ..units import Unit

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

TRAVEL_LOST = Limits(
    "travel_lost",
    faint=0.5,
    clear=1.0,
    glaring=3.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.05,
    maximum=50.0,
    description="How far the part, or the far end of what it carries, would have gone meanwhile.",
    source="measured: captures of jumping and boxing exceed 1 less than once in twenty seconds",
)
SLOW_SHARE = Parameter(
    "slow_share",
    default=0.15,
    unit=Unit.RATIO,
    minimum=0.0,
    maximum=0.5,
    description="A move hitches below this share of its speed on both sides.",
    source="practice: what is left at this share reads as a stop",
)
STILL_SHARE = Parameter(
    "still_share",
    default=0.03,
    unit=Unit.RATIO,
    minimum=0.0,
    maximum=0.5,
    description="Below this share of the speed on both sides it stands still altogether.",
    source="measured: boxing at 24 to 60 frames per second never gets below it on its way",
)
LONGEST = Parameter(
    "longest",
    default=0.26,
    unit=Unit.SECONDS,
    minimum=0.04,
    maximum=1.0,
    description="Longest stall; what lasts longer is a hold.",
    source="common practice: six frames at 24 frames per second",
)

COPIES_SECONDS = 1.0
"""Three and more copied drawings of the whole subject within this time on each side are limited
animation without a regular beat, and no hitches."""

SHORTEST_SECONDS = 0.03
"""What stands for less than a frame of film is not seen to stand."""

SIGHTINGS_AT_A_TIME = 32
"""Sightings that are looked at between two pauses."""

LEG = frozenset({"thigh", "shin"})

COARSE_RATE, EXACTLY_STILL = 16.0, 0.003
"""Drawings a second under which a turn of a natural move may fall between two of them: only what
stands as if it were copied is told there."""

SHOWN_SHARE = 0.3
"""Share of the loss that must show in the world: what other joints make up for is no stall."""

LEAST_SHARE = 0.2
"""Share of the faint limit from which a channel is looked at."""

SIDE_SECONDS = 0.085
"""Time on each side over which the speed before and after is taken: two frames at 24."""

AROUND_SECONDS = 0.2
"""Time on each side that tells which speed is usual there."""

STILL_LIKENESS, STILL_SHARPNESS = 0.2, 0.35
"""A standstill counts when the move goes on within 78 degrees and both sides break off."""

SLOW_LIKENESS, SLOW_SHARPNESS, SLOW_SECONDS = 0.8, 0.8, 0.06
"""A slowing down counts when the move goes straight on, stops and starts within a frame, and lasts
longer than a frame at 24: knees of published walks and of captures dip for one as they give way."""


@dataclass(frozen=True)
class Hitch:
    """One event: who stalls, who else takes part, when, and how much is lost."""

    part: int
    others: tuple[int, ...]
    first: int
    last: int
    travel: float
    depth: float


def measure(motion: Motion, values: Values) -> Steps[list[Hitch]]:
    """Find stalls in every part's own channels and gather those of one cause."""
    used, _, rate = _list_used(motion)
    side = max(1, round(SIDE_SECONDS * rate))
    least = LEAST_SHARE * min(values.limits[TRAVEL_LOST.name])
    every, search = range(len(motion.parts)), partial(_search_columns, motion, values)
    by_field = {}
    for field in ("local_rotations", "local_heads"):
        by_field[field] = yield from motion.iterate_by_part(
            (CHECK.id, field), field, every, search, values.key
        )
    turned, moved = (join_columns(own, stalls.Stalls.none()) for own in by_field.values())
    parts = np.concatenate((turned.columns, moved.columns))
    found = []
    for of_kind, is_turn in ((turned, True), (moved, False)):
        yield
        found.append(_see(motion, used, of_kind, side, is_turn))
    yield
    lost, shown = (np.concatenate(numbers) for numbers in zip(*found, strict=True))
    firsts = np.concatenate((turned.firsts, moved.firsts))
    lasts = np.concatenate((turned.lasts, moved.lasts))
    depths = np.concatenate((turned.depths, moved.depths))
    shown_until = np.append(used[1:], motion.frame_count) - 1
    keep = (lost >= least) & (shown >= SHOWN_SHARE * lost)
    for number, row in enumerate(np.flatnonzero(keep)):
        if not number % SIGHTINGS_AT_A_TIME:
            yield
        part, frame = int(parts[row]), int(used[firsts[row]])
        keep[row] = not motion.is_foot_near_ground(part, frame) and not _stands(motion, part, frame)
    keep &= ~stalls.mark_cadence(parts, firsts, lasts, keep)
    if motion.stage is Stage.SPLINE:
        drawn = motion.list_drawings()
        keep &= ~stalls.mark_copies(drawn, firsts, lasts, round(COPIES_SECONDS * motion.fps))
    rows = np.flatnonzero(keep)
    firsts, lasts = used[firsts], shown_until[lasts]
    groups = causes.group_sightings(
        parts[rows], firsts[rows], lasts[rows], motion.parents, round(motion.fps / 8.0)
    )
    hitches = []
    for number, group in enumerate(groups):
        if not number % SIGHTINGS_AT_A_TIME:
            yield
        group = group[np.argsort(-lost[rows[group]], kind="stable")]
        members, worst = dict.fromkeys(parts[rows[group]].tolist()), rows[group[0]]
        part = causes.find_topmost(members, motion.parents)
        others = tuple(row for row in members if row != part)
        now = group[(firsts[rows[group]] <= lasts[worst]) & (lasts[rows[group]] >= firsts[worst])]
        # Joints of one limb lose the way together, and no more is lost than shows.
        travel = min(float(lost[rows[now]].sum()), float(shown[rows[now]].max()))
        depth = float(depths[worst])
        hitches.append(Hitch(part, others, int(firsts[worst]), int(lasts[worst]), travel, depth))
    return hitches


def _list_used(motion: Motion) -> tuple[IntArray, slice | IntArray, float]:
    """Return the frames that are compared, how they are taken out of an array, and their rate."""
    if motion.stage is Stage.HELD:
        drawn = motion.require_drawings(CHECK.minimum_frames)
        return drawn, drawn, motion.fps * len(drawn) / motion.frame_count
    return np.arange(motion.frame_count), slice(None), motion.fps


def _search_columns(
    motion: Motion, values: Values, given: FloatArray, parts: Sequence[int]
) -> dict[int, stalls.Stalls]:
    """Find stalls in columns of turns or places."""
    rows, (_, shown, rate) = np.array(parts), _list_used(motion)
    side = max(1, round(SIDE_SECONDS * rate))
    if given.shape[-1] == 4:
        path = given[shown] * 2.0
    else:
        path = given[shown] * (100.0 / motion.height)
        least = LEAST_SHARE * min(values.limits[TRAVEL_LOST.name])
        sliding = np.flatnonzero(np.ptp(path, axis=0).max(axis=-1) > least)
        path, rows = path[:, sliding], rows[sliding]
    found = _find_in(path, rate, side, values)
    return {int(rows[column]): own for column, own in split_by_column(found).items()}


def judge(motion: Motion, hitches: list[Hitch], values: Values) -> Iterator[Outcome]:
    """Grade each stall by the way it costs."""
    for hitch in hitches:
        graded = values.grade(TRAVEL_LOST.name, hitch.travel)
        if graded is None:
            continue
        severity, limit = graded
        name = motion.parts[hitch.part]
        first, last = motion.frame(hitch.first), motion.frame(hitch.last)
        count = last - first + 1
        yield Flag(
            check=CHECK.id,
            code="hitch",
            subject=motion.subject,
            part=name,
            other_parts=tuple(motion.parts[row] for row in hitch.others),
            start=first,
            end=last,
            peak=first,
            severity=severity,
            confidence=float(np.clip(1.0 - 3.0 * hitch.depth, 0.4, 1.0)),
            value=hitch.travel,
            unit=Unit.BODY_HEIGHT,
            limit=limit,
            message=(
                f"{say_part(name).capitalize()} stalls for {count} "
                f"frame{'s' if count > 1 else ''} at frame {first} in the middle of a move, "
                f"{hitch.travel:.1f} % of body height short"
            ),
            suggestion="let the curve run through: delete the doubled key or open its handles",
        )


def _find_in(path: FloatArray, rate: float, side: int, values: Values) -> stalls.Stalls:
    """Find stops, and abrupt slowings, of a move that goes on the same way."""
    found = stalls.find_stalls(
        path,
        longest=max(1, round(values[LONGEST.name] * rate)),
        side=side,
        around=max(2, round(AROUND_SECONDS * rate)),
        share=values[SLOW_SHARE.name],
    )
    still = (found.likeness >= STILL_LIKENESS) & (found.sharpness >= STILL_SHARPNESS)
    still &= found.depths <= values[STILL_SHARE.name]
    slow = (found.likeness >= SLOW_LIKENESS) & (found.sharpness >= SLOW_SHARPNESS)
    slow &= (found.lasts - found.firsts + 1) / rate >= SLOW_SECONDS
    longer = (found.lasts - found.firsts + 1) / rate >= SHORTEST_SECONDS
    still, slow = still & longer, slow & longer
    if rate < COARSE_RATE:
        still, slow = still & (found.depths <= EXACTLY_STILL), slow & False
    return found.select(still | slow)


def _stands(motion: Motion, part: int, frame: int) -> bool:
    """Say whether a part belongs to a leg whose foot is on the ground then, or right beside it.

    Between hips that move and a foot that holds, hip and knee answer both and may pause.
    """
    base, _, side = motion.parts[part].partition(".")
    if base not in LEG or not motion.has(f"foot.{side}"):
        return False
    near = round(motion.fps / 12.0)
    return any(s.touch - near <= frame <= s.off + near for s in motion.stances()[f".{side}"])


def _see(
    motion: Motion, used: IntArray, found: stalls.Stalls, side: int, is_turn: bool
) -> tuple[FloatArray, FloatArray]:
    """Return the way lost at the far end of what each part carries, and how much of it shows."""
    scale = 100.0 / motion.height
    far = np.zeros(len(motion.parts), dtype=np.int64)
    for part in np.unique(found.columns).tolist():
        carried = causes.list_descendants(motion.parents, [part])
        reach = motion.tails[used[0], carried] - motion.heads[used[0], part]
        far[part] = carried[np.argmax(geometry.lengths(reach))]
    ends, start, stop = far[found.columns], found.firsts - 1, found.lasts
    tips = motion.tails[used[start], ends] - motion.heads[used[start], found.columns]
    levers = geometry.lengths(tips) * scale if is_turn else 1.0
    path = motion.tails if len(used) == motion.frame_count else motion.tails[used]
    inside = stalls.mean_steps(path, start, stop, ends)
    around = stalls.mean_steps(path, start - side, start, ends)
    around = 0.5 * (around + stalls.mean_steps(path, stop, stop + side, ends))
    shown = geometry.lengths(around - inside) * (stop - start) * scale
    return found.losses * levers, shown


CHECK = Check(
    id="stall",
    group=Group.PATHS,
    question="Does a move hitch and go on?",
    codes={"hitch": "a part stops for a few frames on its way and goes on"},
    declarations=(TRAVEL_LOST, SLOW_SHARE, STILL_SHARE, LONGEST),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    weighed_by_picture=True,
    kinds=frozenset({SubjectKind.ARMATURE, SubjectKind.OBJECT}),
    minimum_frames=8,
)
