# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""arc-break: does the path leave its arc for a frame or a few?

Living things move on arcs, and the eye runs ahead along them. Where a hand, a foot or a head is
off its arc for one to three frames the move stutters sideways, although every single pose may
look right. It comes of a breakdown that was posed by itself, or of a limb that was nudged on one
frame and not on its neighbours.

The path of every joint is held against a smooth path through its neighbours, the frames in
question left out; what counts is the distance across the direction of travel. Through a shot
camera only what shows in its picture counts: distance along the line of sight is left out, and so
is what lies outside the frame. In blocking the key poses alone are judged, as the path through
them will run.

Leave it at a corner that belongs there: a hit, a contact, a sudden stop (the path from before and
the path from after meet on such a frame, and it is left alone), at turning points, and for noise
in a hold: a joint that does not travel has no arc.

Sources: arcs are common practice; a change of direction of about 2 degrees is seen at best (De
Bruyn & Orban 1988, Vision Res 28). No limit for a break is published: the defaults stand above
what open captures of jumping and boxing show at 12 to 120 frames per second.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, Outcome, say_part
from ..measures import arcs, causes, spikes
from ..measures.columns import join_columns, split_by_column
from ..motion import Motion, Stage, SubjectKind
from ..units import Unit

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

OFF_ARC = Limits(
    "off_arc",
    faint=0.8,
    clear=1.5,
    glaring=3.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.1,
    maximum=50.0,
    description="Distance across the direction of travel from the path through the neighbours.",
    source="measured: with stand_out, captures stay below 1.5 but for one frame in ten seconds",
    broad=1.5,
    subtle=0.6,
    style_source="common practice: a close-up shows less movement larger",
)
SHARE_OF_STEP = Parameter(
    "share_of_step",
    default=0.2,
    unit=Unit.RATIO,
    minimum=0.0,
    maximum=2.0,
    description="Smallest distance over the way travelled per frame; lower it for fast moves.",
    source="common practice: less is lost in the blur of the move",
)
STAND_OUT = Parameter(
    "stand_out",
    default=7.5,
    unit=Unit.RATIO,
    minimum=3.0,
    maximum=100.0,
    description="Distance over the roughness of the path around it; raise it for noisy captures.",
    source="measured: captures of jumping and boxing show 0.3 such frames in 10 s, 0.7 at 6",
)
GROUND_STAND_OUT = Parameter(
    "ground_stand_out",
    default=14.0,
    unit=Unit.RATIO,
    minimum=3.0,
    maximum=100.0,
    description="The same for a foot near the ground, where landing and push-off bend the path.",
    source="measured: toes that land or push off reach 10 on open captures of jumping",
)
LONGEST = Parameter(
    "longest",
    default=0.125,
    unit=Unit.SECONDS,
    minimum=0.04,
    maximum=0.5,
    description="Longest break; what lasts longer is an arc of its own.",
    source="common practice: one to three frames at 24 frames per second",
)
LEAST_TRAVEL = Parameter(
    "least_travel",
    default=4.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.0,
    maximum=50.0,
    description="Way within a quarter of a second on both sides below which the joint is holding.",
    source="measured: hands in a quiet stance travel 1 to 3 % of body height in that time",
)

ROUGHNESS_FLOOR = 0.05
"""% of body height: capture noise and rounding below this are no motion."""

MISS_SHARE = 0.5
"""Share of the break that must be left when the best of all paths through it is taken away."""

END_SHARE = 0.4
"""A hand or foot is named when it is off by this share of what its elbow or knee is."""

MAKER_SHARE = 0.4
"""A part that adds this share of the largest contribution to a break has made it too."""

FEWEST_POSES = 9
"""Key poses from which a path through them can be told from its breaks."""

FINE_FPS, SHORT_SECONDS = 40.0, 0.0625
"""Above this rate a break shorter than a frame and a half at 24 frames a second must stand out the
more from a recording's jitter: natural ones reach 15 at 100 and 120 frames a second, planted ones
that show start at 22 (measured on open captures of jumping and boxing)."""

COARSE_FPS = 13.5
"""Below this rate one frame holds so much motion that a break must stand out the more."""

TURN_SHARE = 0.5
"""A key pose farther off than this share of the way between its neighbours is where the path turns
round: the bulge of half a circle (geometry)."""

COARSE_RATE, COARSE_SHARE = 16.0, 3.0
"""Under so many drawings a second a fast limb goes through a large part of its arc from one to the
next, and the bulge of the arc itself must not count: a break has to be larger for its steps."""

SIDE_SECONDS = 0.25
"""How far to both sides the travel of a joint is added up."""

LIMB_ENDS = ("hand.", "foot.", "head")
"""Where a broken arc of a limb is seen first, whatever joint is named by the numbers."""


@dataclass(frozen=True)
class Break:
    """One event: whose path breaks, who made or shares it, when, and how far off it is."""

    part: int
    others: tuple[int, ...]
    first: int
    last: int
    peak: int
    distance: float
    rating: float


def measure(motion: Motion, values: Values) -> Steps[list[Break]]:
    """Find breaks in the paths of all joints and ends and gather those of one cause."""
    used = _list_frames(motion)
    leaves = arcs.list_leaves(motion.parents)
    parts = np.concatenate((np.arange(len(motion.parts)), leaves))
    search = partial(_search_columns, motion, values)
    by_point = yield from motion.iterate_by_part(
        (CHECK.id, "heads"), "heads", range(len(motion.parts)), search, values.key
    )
    by_end = yield from motion.iterate_by_part(
        (CHECK.id, "tails"), "tails", leaves.tolist(), search, values.key
    )
    places = {int(row): len(motion.parts) + number for number, row in enumerate(leaves)}
    by_point |= {places[row]: own for row, own in by_end.items()}
    found = join_columns(by_point, spikes.Spikes.none(3))
    if not len(found.firsts):
        return []
    found = spikes.place_on_frames(found, used, motion.frame_count)
    # Few points are left: only theirs are looked up.
    rows, columns = np.unique(found.columns, return_inverse=True)
    points = np.stack([_follow(motion, row, leaves) for row in rows.tolist()], axis=1)
    path, parts = points * (100.0 / motion.height), parts[rows]
    found = replace(found, columns=columns)
    found = found.select(_belongs_to_a_move(motion, path, parts, found, values))
    groups = causes.group_sightings(
        parts[found.columns], found.firsts, found.lasts, motion.parents, round(motion.fps / 8.0)
    )
    return [_describe(motion, points, parts, used, found, group) for group in groups]


def _follow(motion: Motion, point: int, leaves: IntArray) -> FloatArray:
    """Return the path of a joint, or after all joints of what carries nothing its end, (F, 3)."""
    if point < len(motion.parts):
        return motion.heads[:, point]
    return motion.tails[:, int(leaves[point - len(motion.parts)])]


def _search_columns(
    motion: Motion, values: Values, given: FloatArray, parts: Sequence[int]
) -> dict[int, spikes.Spikes]:
    """Find breaks in the paths of some points that stand out from what is around them."""
    rows, used = np.array(parts), _list_frames(motion)
    longest = values.frames(LONGEST.name)
    if motion.stage is Stage.BLOCKING:
        longest = 1.0
    elif len(used) < motion.frame_count:
        longest /= motion.cadence
    sight = None
    if motion.camera is not None:
        camera = motion.camera
        sight = arcs.find_sight_lines(
            given, camera.positions, camera.rotations, camera.orthographic
        )[used]
    path = given * (100.0 / motion.height)
    worth = None
    if motion.stage is Stage.SPLINE:
        worth = partial(_is_large, motion, values, path, arcs.add_up_way(path))
    found = arcs.find_breaks(
        path if len(used) == len(path) else path[used],
        longest,
        least=min(values.limits[OFF_ARC.name]),
        floor=ROUGHNESS_FLOOR,
        rays=sight,
        miss_share=MISS_SHARE,
        worth=worth,
    )
    coarse = max(1.0, COARSE_FPS * motion.cadence / motion.fps)
    short = (found.lasts - found.firsts + 1) / motion.fps < SHORT_SECONDS
    fine = np.where(short, max(1.0, motion.fps / FINE_FPS), 1.0)
    found = found.select(
        (found.ratings >= coarse * fine * values[STAND_OUT.name])
        & (found.firsts > 0)
        & (found.lasts < len(used) - 1)
    )
    return {int(rows[column]): own for column, own in split_by_column(found).items()}


def judge(motion: Motion, breaks: list[Break], values: Values) -> Iterator[Outcome]:
    """Grade each break by its distance from the arc."""
    where = "in the picture" if motion.camera else "in the world"
    for event in breaks:
        graded = values.grade(OFF_ARC.name, event.distance)
        if graded is None:
            continue
        severity, limit = graded
        name = motion.parts[event.part]
        words = say_part(name).capitalize()
        first, last = motion.frame(event.first), motion.frame(event.last)
        span = f"frame {first}" if first == last else f"frames {first}-{last}"
        yield Flag(
            check=CHECK.id,
            code="off-arc",
            subject=motion.subject,
            part=name,
            other_parts=tuple(motion.parts[row] for row in event.others),
            start=first,
            end=last,
            peak=motion.frame(event.peak),
            severity=severity,
            confidence=float(np.clip(event.rating / (2.0 * values[STAND_OUT.name]), 0.4, 1.0)),
            value=event.distance,
            unit=Unit.BODY_HEIGHT,
            limit=limit,
            message=(
                f"{words} leaves its arc by {event.distance:.1f} % of body height {where} on {span}"
            ),
            suggestion="move that pose onto the arc of its neighbours, or remove the stray key",
        )


def _list_frames(motion: Motion) -> IntArray:
    """Return the frames that show something new: all of them, or the first of each drawing."""
    if motion.stage is Stage.SPLINE:
        return np.arange(motion.frame_count)
    if motion.stage is Stage.HELD:
        return motion.require_drawings(CHECK.minimum_frames)
    used = motion.list_drawings()
    if len(used) < FEWEST_POSES:
        raise CannotEvaluateError(
            f"{len(used)} key poses are too few for an arc, it needs {FEWEST_POSES}"
        )
    return used


def _belongs_to_a_move(
    motion: Motion, path: FloatArray, parts: IntArray, found: spikes.Spikes, values: Values
) -> BoolArray:
    """Keep what travels, is large for its steps, and is no foot that lands or pushes off."""
    gone, where = arcs.add_up_way(path), (found.firsts, found.lasts, found.columns)
    _, step = arcs.find_way_around(path, gone, *where, 1)
    keep = _is_large(motion, values, path, gone, *where, found.sizes)
    if motion.stage is Stage.BLOCKING:
        keep &= found.sizes <= TURN_SHARE * step * (found.lasts - found.firsts + 2)
    for row in np.flatnonzero(keep):
        part, first = int(parts[found.columns[row]]), int(found.firsts[row])
        keep[row] = _is_seen(motion, path[first, found.columns[row]], first)
        if found.ratings[row] < values[GROUND_STAND_OUT.name]:
            keep[row] &= not motion.is_foot_near_ground(part, first)
    return keep


def _is_large(
    motion: Motion,
    values: Values,
    path: FloatArray,
    gone: FloatArray,
    firsts: IntArray,
    lasts: IntArray,
    columns: IntArray,
    sizes: FloatArray,
) -> BoolArray:
    """Say which breaks lie on the way of something that travels, and are large for its steps."""
    side = max(1, round(SIDE_SECONDS * motion.fps))
    way, step = arcs.find_way_around(path, gone, firsts, lasts, columns, side)
    drawn = motion.fps / motion.cadence
    share = values[SHARE_OF_STEP.name] * (COARSE_SHARE if drawn < COARSE_RATE else 1.0)
    large: BoolArray = (way >= values[LEAST_TRAVEL.name]) & (sizes >= share * step)
    return large


def _is_seen(motion: Motion, point: FloatArray, frame: int) -> bool:
    """Say whether a point, in % of body height, lies in the picture; always without a camera."""
    if motion.camera is None:
        return True
    place = point[np.newaxis] * (motion.height / 100.0)
    picture, depth = motion.camera.slice(frame, frame + 1).project(place)
    return bool(depth[0] > 0.0 and np.all((picture >= 0.0) & (picture <= 1.0)))


def _describe(
    motion: Motion,
    points: FloatArray,
    parts: IntArray,
    used: IntArray,
    found: spikes.Spikes,
    group: IntArray,
) -> Break:
    """Name the limb's end where the break is seen, and the parts whose channels made it."""
    worst = group[np.argmax(found.sizes[group])]
    first, last = int(found.firsts[worst]), int(found.lasts[worst])
    now = group[(found.firsts[group] <= last + 1) & (found.lasts[group] >= first - 1)]
    ends = [row for row in now if motion.parts[parts[found.columns[row]]].startswith(LIMB_ENDS)]
    seen = max(ends or now, key=lambda row: found.sizes[row])
    part = int(parts[found.columns[seen]])
    if not ends:
        part = _follow_to_the_end(motion, part, used, first, last, float(found.sizes[seen]))
    makers = causes.find_makers(
        motion.local_rotations,
        motion.local_heads,
        motion.heads,
        motion.parents,
        part,
        points[first, found.columns[seen]],
        first,
        last,
        MAKER_SHARE,
    )
    if len({int(parts[found.columns[row]]) for row in ends}) > 1 and makers:
        # Several limbs at once: not the limbs, but what carries them.
        part = makers[0]
    every = dict.fromkeys([*makers, *np.unique(parts[found.columns[group]]).tolist()])
    every.pop(part, None)
    return Break(
        part=part,
        others=tuple(every),
        first=int(found.firsts[group].min()),
        last=int(found.lasts[group].max()),
        peak=(first + last) // 2,
        distance=float(found.sizes[worst]),
        rating=float(found.ratings[now].max()),
    )


def _follow_to_the_end(
    motion: Motion, part: int, used: IntArray, first: int, last: int, size: float
) -> int:
    """Return the hand of a forearm, the foot of a shin, when it is thrown off as well."""
    if not motion.parts[part].startswith(("forearm", "shin")):
        return part
    below = [row for row in causes.list_descendants(motion.parents, [part]) if row != part]
    ends = [int(row) for row in below if motion.parts[row].startswith(LIMB_ENDS)]
    row, stop = np.searchsorted(used, (first, last + 1))
    shape = (1.0,) * int(stop - row)
    off = spikes.height_at(motion.heads, int(row), shape, used) * (100.0 / motion.height)
    end = max(ends, key=lambda row: off[row], default=part)
    return end if off[end] >= END_SHARE * size else part


CHECK = Check(
    id="arc-break",
    group=Group.PATHS,
    question="Does the path leave its arc for a frame or a few?",
    codes={"off-arc": "a joint lies beside the path through its neighbouring frames"},
    declarations=(OFF_ARC, SHARE_OF_STEP, STAND_OUT, GROUND_STAND_OUT, LONGEST, LEAST_TRAVEL),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset(Stage),
    kinds=frozenset({SubjectKind.ARMATURE, SubjectKind.OBJECT}),
    minimum_frames=8,
)
