# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""pop: does one frame jump and come back?

A stray key, a broken tangent or a solver that lost its way throws a part off for a frame or two.
A picture that shows for one frame of film is seen (pictures are recognised at 13 ms), so a pop
catches the eye even where nobody can say what it was; on the last frame before a cut it is seen
as a twitch of the cut itself.

Each part's own channels are judged, turn and place relative to its parent, so that whoever made
the jump is named and not everything it carries. A jump counts when it stands out from what the
channel does around it in that very direction, and when no path leads through it; less is asked
where the parts next to it go smoothly on, as a body that moves fast moves with several joints. At
high frame rates a turn faster than any joint turns is told as well, whether it comes back or not.

Through a shot camera what is thrown towards or away from the lens counts half, and what lies out
of the picture or is hidden is faint at most; without one the jump is judged in the world.

In blocking poses do jump; only one that flashes up for a frame or two between poses that are held,
and that the next pose undoes, is told.

Leave it when the part stays where it jumped to (a hit, a stop, a change of pose), when it is held
on twos, or when it is a fast accent of three frames and more: those lie on a path from before or
after and are left alone. Feet that meet or leave the ground are judged less strictly.

Sources: the template 1, -3, 3, -1 and the one-sided prediction are finite differences, exact for
constant acceleration. One frame is seen: Potter, Wyble, Hagmann & McCourt 2014 (Atten Percept
Psychophys 76). How far a jump must stand out: measured on open captures of jumping and boxing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import Flag, Outcome, say_part
from ..measures import arcs, causes, rotations, spikes, visibility
from ..measures.columns import join_columns, split_by_column
from ..motion import Motion, Stage, SubjectKind
from ..units import Unit, format_quantity

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

TURN = Limits(
    "turn",
    faint=2.0,
    clear=4.0,
    glaring=10.0,
    unit=Unit.DEGREES,
    minimum=0.1,
    maximum=90.0,
    description="How far a part turns off for the moment; lower it to see smaller twitches.",
    source="chosen so that a pop of 5 degrees planted into boxing and jumping is clear",
)
TRAVEL = Limits(
    "travel",
    faint=0.6,
    clear=1.2,
    glaring=3.5,
    unit=Unit.BODY_HEIGHT,
    minimum=0.05,
    maximum=50.0,
    description="How far the part, or what hangs on it, is thrown off its place.",
    source="chosen so that a pop of 1.5 % of body height planted into them is clear",
)
TURN_SPEED = Limits(
    "turn_speed",
    faint=4500.0,
    clear=6000.0,
    glaring=9000.0,
    unit=Unit.DEGREES_PER_SECOND,
    minimum=500.0,
    maximum=100000.0,
    description="A turn from one frame to the next faster than this is no movement of a body.",
    source="measured: captures reach 3000; a pitcher's shoulder about 7000 (from memory)",
)
STAND_OUT = Parameter(
    "stand_out",
    default=11.0,
    unit=Unit.RATIO,
    minimum=3.0,
    maximum=100.0,
    description="Jump over the roughness of the motion around it; raise it for noisy captures.",
    source="measured: captures of jumping and boxing show 0.2 such frames in 10 s",
)
HAND_STAND_OUT = Parameter(
    "hand_stand_out",
    default=14.0,
    unit=Unit.RATIO,
    minimum=3.0,
    maximum=100.0,
    description="The same for hands and fingers, which whip at the end of a fast arm.",
    source="measured: three in four loud frames of captures are hands, most of them below 14",
)
GROUND_STAND_OUT = Parameter(
    "ground_stand_out",
    default=22.0,
    unit=Unit.RATIO,
    minimum=3.0,
    maximum=100.0,
    description="The same for a foot near the ground, where landing and push-off are abrupt.",
    source="measured: toes that land or push off reach 15 on open captures of jumping",
)
END_STAND_OUT = Parameter(
    "end_stand_out",
    default=7.0,
    unit=Unit.RATIO,
    minimum=3.0,
    maximum=100.0,
    description="The same for the first and last frame, which are seen from one side only.",
    source="measured: of 240 pieces cut at random from open captures 49 in 50 stay below 7",
)
ALONE_STAND_OUT = Parameter(
    "alone_stand_out",
    default=8.0,
    unit=Unit.RATIO,
    minimum=3.0,
    maximum=100.0,
    description="The same where the parts it hangs on and carries go smoothly on meanwhile.",
    source="measured: on captures of jumping and boxing a joint that jumps alone stays below 7, "
    "at 360 random ends below 7.1",
)
LONGEST = Parameter(
    "longest",
    default=0.084,
    unit=Unit.SECONDS,
    minimum=0.0,
    maximum=0.2,
    description="Longest jump that is still a pop; a single frame always is.",
    source="common practice: one or two frames at 24 frames per second; longer ones are accents",
)
GAP = Parameter(
    "gap",
    default=0.25,
    unit=Unit.SECONDS,
    minimum=0.0,
    maximum=2.0,
    description="Pops of the same part closer together than this are told in one flag.",
    source="practice: a reviewer calls a flickering part once",
)

DEGREES_PER_UNIT = 360.0 / np.pi
"""Two unit quaternions that differ by x lie 2 x radians apart, for small x."""

ROUGHNESS_FLOOR = 0.05
"""Degrees, or % of body height: capture noise and rounding below this are no motion."""

SMALLEST_SHARE = 0.4
"""Share of the faint limit from which a channel's jump is looked at: what hangs far out on a part
shows more than the part itself."""

MISS_SHARE = 0.4
"""Share of the jump that must be left when the best of all paths through it is taken away."""

LONG_SECONDS, LONG_FACTOR = 0.05, 1.2
"""Longer than a frame at 24 a jump must stand out this much more: the fastest accents of boxing
take two frames there and reach 12."""

BACK_SHARE = 0.15
"""In blocking a pose is undone when the next one is this near to the one before, as a share of
the jump."""

NEIGHBOUR_SHARE = 0.4
"""A part jumps alone when what it hangs on and carries stands out by less than this share of it."""

HANDS = ("hand.", "thumb.", "index.", "middle.", "ring.", "pinky.")

FINE_FPS = 30.0
"""Above this rate a frame holds less motion than a recording's jitter, and a jump must stand out
the more, by the root of the rate: natural jumps reach 15 at 60 and 20 at 100 and 120 frames a
second, planted ones that show start at 23 (measured on open captures of jumping and boxing)."""

LIMB_PARTS = frozenset({"upper_arm", "forearm", "hand", "thigh", "shin", "foot"})
"""When several of these jump at once, it is the end of the limb that was pulled."""

DEPTH_SHARE = 0.5
"""What is thrown along the shot camera's line of sight counts half: it changes size, not place."""

TURN_PER_TRAVEL = 3.0
"""Degrees that weigh as much as 1 % of body height when the worst frame is picked."""


@dataclass(frozen=True)
class Jump:
    """One event: who jumps, who else takes part, the worst frame, and how far it shows."""

    part: int
    others: tuple[int, ...]
    first: int
    last: int
    peak: int
    until: int
    degrees: float
    travel: float
    speed: float
    rating: float


def measure(motion: Motion, values: Values) -> Steps[list[Jump]]:
    """Find jumps in every part's own channels and gather those of one cause."""
    if motion.stage is Stage.BLOCKING:
        return _find_flashes(motion, values)
    used, _ = _list_used(motion)
    turned = yield from _find_jumps(motion, "local_rotations", TURN, values)
    moved = yield from _find_jumps(motion, "local_heads", TRAVEL, values)
    jumps = _gather(motion, used, turned, moved, values)
    return jumps + _find_snaps(motion, jumps, values)


def _list_used(motion: Motion) -> tuple[IntArray, slice | IntArray]:
    """Return the frames that are compared, and how they are taken out of an array."""
    if motion.stage is Stage.HELD:
        drawn = motion.require_drawings(CHECK.minimum_frames)
        return drawn, drawn
    return np.arange(motion.frame_count), slice(None)


def _gather(
    motion: Motion, used: IntArray, turned: spikes.Spikes, moved: spikes.Spikes, values: Values
) -> list[Jump]:
    """Gather turns and moves of one cause."""
    both = spikes.join_spikes((turned, moved))
    is_turn = np.arange(len(both.firsts)) < len(turned.firsts)
    groups = causes.group_sightings(
        both.columns, both.firsts, both.lasts, motion.parents, round(values.frames(GAP.name))
    )
    return [_describe(motion, used, both, is_turn, group) for group in groups]


def _find_flashes(motion: Motion, values: Values) -> list[Jump]:
    """Find key poses that flash up between two that are held longer, and are undone by the next."""
    poses, longest = motion.list_drawings(), max(1.0, values.frames(LONGEST.name))
    channels = (
        (motion.local_rotations * DEGREES_PER_UNIT, TURN),
        (motion.local_heads * (100.0 / motion.height), TRAVEL),
    )
    turned, moved = (
        spikes.find_flashes(
            path,
            poses,
            longest=longest,
            least=SMALLEST_SHARE * min(values.limits[limits.name]),
            back_share=BACK_SHARE,
            rating=2.0 * values[STAND_OUT.name],
        )
        for path, limits in channels
    )
    turned = replace(turned, heights=turned.heights[:, :3])
    return _gather(motion, np.arange(motion.frame_count), turned, moved, values)


def judge(motion: Motion, jumps: list[Jump], values: Values) -> Iterator[Outcome]:
    """Grade each jump by how far it turns or how far it shows, whichever is worse."""
    for jump in jumps:
        grades = [
            (*graded, value, unit)
            for graded, value, unit in (
                (values.grade(TURN.name, jump.degrees), jump.degrees, Unit.DEGREES),
                (values.grade(TRAVEL.name, jump.travel), jump.travel, Unit.BODY_HEIGHT),
                (values.grade(TURN_SPEED.name, jump.speed), jump.speed, Unit.DEGREES_PER_SECOND),
            )
            if graded is not None
        ]
        if not grades:
            continue
        severity, limit, value, unit = max(grades, key=lambda grade: grade[0])
        name = motion.parts[jump.part]
        words = say_part(name).capitalize()
        yield Flag(
            check=CHECK.id,
            code=_name_code(motion, jump),
            subject=motion.subject,
            part=name,
            other_parts=tuple(motion.parts[row] for row in jump.others),
            start=motion.frame(jump.first),
            end=motion.frame(jump.last),
            peak=motion.frame(jump.peak),
            severity=severity,
            confidence=float(np.clip(jump.rating / (2.0 * values[STAND_OUT.name]), 0.4, 1.0)),
            value=value,
            unit=unit,
            limit=limit,
            message=f"{words} {_say_what(motion, jump, value, unit)} {_say_when(motion, jump)}",
            suggestion="look for a stray key or a broken tangent on that frame",
        )


def _find_jumps(motion: Motion, field: str, limits: Limits, values: Values) -> Steps[spikes.Spikes]:
    """Find jumps that stand out and lie on no path, in turns or in places; columns are parts."""
    every = range(len(motion.parts))
    search = partial(_search_columns, motion, limits, values)
    by_part = yield from motion.iterate_by_part((CHECK.id, field), field, every, search, values.key)
    found = join_columns(by_part, spikes.Spikes.none(4 if field == "local_rotations" else 3))
    used, rows = _list_used(motion)
    shown = spikes.place_on_frames(found, used, motion.frame_count)
    needed, less = _list_needed(motion, found.columns, shown, values)
    keep = found.ratings >= needed
    for row in np.flatnonzero(~keep & (found.ratings >= less)).tolist():
        near = _list_neighbours(motion, int(found.columns[row]))
        around = getattr(motion, field)[:, near][rows] * _scale(motion, field)
        rated = _rate_around(around, int(found.firsts[row]), int(found.lasts[row]), values)
        keep[row] = rated <= NEIGHBOUR_SHARE * found.ratings[row]
    shown = replace(shown, heights=found.heights[:, :3])
    return shown.select(keep)


def _scale(motion: Motion, field: str) -> float:
    """Return what turns a field into degrees, or into % of body height."""
    return DEGREES_PER_UNIT if field == "local_rotations" else 100.0 / motion.height


def _search_columns(
    motion: Motion, limits: Limits, values: Values, given: FloatArray, parts: Sequence[int]
) -> dict[int, spikes.Spikes]:
    """Find jumps in columns of turns or places that might stand out far enough."""
    on_sphere, rows = given.shape[-1] == 4, np.array(parts)
    used, shown = _list_used(motion)
    least = SMALLEST_SHARE * min(values.limits[limits.name])
    given, scale = given[shown], _scale(motion, "local_rotations" if on_sphere else "local_heads")
    if not on_sphere:
        # Most joints stay where they are in what carries them.
        sliding = np.flatnonzero(scale * np.ptp(given, axis=0).max(axis=-1) > least)
        given, rows = given[:, sliding], rows[sliding]
    enough, at_ends = _list_enough(values)
    found = spikes.find_jumps(
        given * scale,
        least=least,
        floor=ROUGHNESS_FLOOR,
        longest=values.frames(LONGEST.name) * len(used) / motion.frame_count,
        enough=enough,
        enough_at_ends=at_ends * enough,
        miss_share=MISS_SHARE,
        on_sphere=on_sphere,
    )
    return {int(rows[column]): own for column, own in split_by_column(found).items()}


def _list_enough(values: Values) -> tuple[float, float]:
    """Return how far any jump must stand out at least, and the share of it at the ends."""
    enough = values[STAND_OUT.name]
    at_ends = values[END_STAND_OUT.name] / enough
    return min(enough, values[ALONE_STAND_OUT.name]), at_ends


def _rate_around(near: FloatArray, first: int, last: int, values: Values) -> float:
    """Return how far the paths next to a jump, shape (F, N, D), stand out at the same time."""
    on_sphere, every = near.shape[-1] == 4, range(near.shape[1])
    if first in (0, len(near) - 1):
        path = near if first else near[::-1]
        rated = spikes.rate_ends(path, every, floor=ROUGHNESS_FLOOR, on_sphere=on_sphere)
        return rated / _list_enough(values)[1]
    shape = (1.0,) * (last - first + 1)
    return spikes.rate_near(near, first, shape, every, floor=ROUGHNESS_FLOOR, on_sphere=on_sphere)


def _list_needed(
    motion: Motion, parts: IntArray, shown: spikes.Spikes, values: Values
) -> tuple[FloatArray, FloatArray]:
    """Return how far each jump must stand out, and how far when its part jumps alone."""
    needed = np.full(len(parts), values[STAND_OUT.name])
    alone = np.full(len(parts), values[ALONE_STAND_OUT.name])
    for row, part in enumerate(parts.tolist()):
        if motion.parts[part].startswith(HANDS):
            needed[row] = alone[row] = values[HAND_STAND_OUT.name]
        elif motion.is_foot_near_ground(part, int(shown.firsts[row])):
            needed[row] = alone[row] = values[GROUND_STAND_OUT.name]
    long = (shown.lasts - shown.firsts + 1) / motion.fps > LONG_SECONDS * motion.cadence
    factor = max(1.0, motion.fps / FINE_FPS) ** 0.5 * np.where(long, LONG_FACTOR, 1.0)
    return needed * factor, alone * factor


def _list_neighbours(motion: Motion, part: int) -> list[int]:
    """Return the rows of the part that carries one, and of those it carries."""
    above = motion.parents[part]
    below = [row for row, up in enumerate(motion.parents) if up == part]
    return [above, *below] if above >= 0 else below


def _describe(
    motion: Motion,
    used: IntArray,
    found: spikes.Spikes,
    is_turn: NDArray[np.bool_],
    group: IntArray,
) -> Jump:
    """Name the event's part, worst frame and size, as it shows in the world."""
    sizes = np.where(is_turn[group], found.sizes[group], TURN_PER_TRAVEL * found.sizes[group])
    worst = group[np.argmax(sizes)]
    first, last = int(found.firsts[worst]), int(found.lasts[worst])
    now = group[(found.firsts[group] <= last + 1) & (found.lasts[group] >= first - 1)]
    members = np.unique(found.columns[now])
    scale, row = 100.0 / motion.height, int(np.searchsorted(used, first))
    shape = (1.0,) * int(np.searchsorted(used, last, side="right") - row)
    shown = spikes.height_at(motion.tails, row, shape, used) * scale
    joints = spikes.height_at(motion.heads, row, shape, used) * scale
    carried = causes.list_descendants(motion.parents, members)
    turns = {int(found.columns[i]): float(found.sizes[i]) for i in now[is_turn[now]]}
    moves = float(found.sizes[now[~is_turn[now]]].sum())
    heads, tails = motion.heads[first] * scale, motion.tails[first] * scale
    throw = causes.limit_throw(turns, moves, heads, tails, carried)
    part = _name_part(motion, members, carried, shown, joints)
    share = _share_seen(motion, int(carried[np.argmax(shown[carried])]), first, last)
    return Jump(
        part=part,
        others=tuple(int(i) for i in np.unique(found.columns[group]) if i != part),
        first=int(found.firsts[group].min()),
        last=int(found.lasts[group].max()),
        peak=first,
        until=int(found.lasts[now[found.columns[now] == found.columns[worst]]].max()),
        degrees=share * max(turns.values(), default=0.0),
        travel=share * min(throw, float(shown[carried].max())),
        speed=0.0,
        rating=float(found.ratings[now].max()),
    )


def _share_seen(motion: Motion, part: int, first: int, last: int) -> float:
    """Return how much of a jump counts in the picture: 1 without a shot camera."""
    camera = motion.camera
    if camera is None:
        return 1.0
    ends = motion.tails[:, part]
    around = ends[max(0, first - 1)] + ends[min(last + 1, len(ends) - 1)]
    looking = camera.pick(np.array([first]))
    sight = arcs.find_sight_lines(
        ends[first][np.newaxis, np.newaxis],
        looking.positions,
        looking.rotations,
        looking.orthographic,
    )
    thrown = ends[first] - 0.5 * around
    return float(visibility.share_seen(thrown, sight[0, 0], DEPTH_SHARE))


def _name_part(
    motion: Motion, members: IntArray, carried: IntArray, shown: FloatArray, joints: FloatArray
) -> int:
    """Name who jumps: the maker, or the end of a limb whose joints jump together."""
    bases = {motion.parts[row].split("/")[0].split(".")[0] for row in members}
    if len(members) > 1 and bases <= LIMB_PARTS:
        ends = [row for row in carried if motion.parts[row].startswith(("hand.", "foot."))]
        end = max(ends, key=lambda row: joints[row], default=None)
        if end is not None and joints[end] >= 0.5 * joints[carried].max():
            return int(end)
    return int(members[np.argmax(shown[members])])


def _find_snaps(motion: Motion, jumps: list[Jump], values: Values) -> list[Jump]:
    """Find turns too fast for a body that no jump explains."""
    least = min(values.limits[TURN_SPEED.name])
    if least > 180.0 * motion.fps:
        # From one frame to the next nothing can be seen to turn by more than half a turn.
        return []
    speeds = rotations.step_angles(motion.local_rotations) * motion.fps
    for jump in jumps:
        speeds[max(0, jump.first - 1) : jump.last + 1, [jump.part, *jump.others]] = 0.0
    frames, parts = np.nonzero(speeds >= least)
    gap = round(values.frames(GAP.name))
    snaps = []
    for group in causes.group_sightings(parts, frames, frames + 1, motion.parents, gap):
        worst = group[np.argmax(speeds[frames[group], parts[group]])]
        first, last = int(frames[group].min()), int(frames[group].max()) + 1
        members = set(parts[group].tolist())
        snaps.append(
            Jump(
                part=int(parts[worst]),
                others=tuple(sorted(members - {int(parts[worst])})),
                first=first,
                last=last,
                peak=int(frames[worst]) + 1,
                until=int(frames[worst]) + 1,
                degrees=0.0,
                travel=0.0,
                speed=float(speeds[frames[worst], parts[worst]]),
                rating=values[STAND_OUT.name],
            )
        )
    return snaps


def _name_code(motion: Motion, jump: Jump) -> str:
    if jump.speed > 0.0:
        return "too-fast"
    if jump.first == 0:
        return "first-frame"
    if jump.last == motion.frame_count - 1:
        return "last-frame"
    return "one-frame" if jump.until == jump.peak else "few-frames"


def _say_what(motion: Motion, jump: Jump, value: float, unit: Unit) -> str:
    if jump.speed > 0.0:
        return f"turns at {format_quantity(value, unit)}, faster than a joint can,"
    where = " as the camera sees it" if motion.camera is not None else ""
    moves = "turns" if unit is Unit.DEGREES else "is thrown"
    return f"{moves} {format_quantity(value, unit)} off{where}"


def _say_when(motion: Motion, jump: Jump) -> str:
    frame = motion.frame(jump.peak)
    if jump.peak == 0:
        return f"on frame {frame}, the first of the shot"
    if jump.peak == motion.frame_count - 1:
        return f"on frame {frame}, the last of the shot"
    if jump.speed > 0.0:
        return f"at frame {frame}"
    if jump.until > jump.peak:
        return f"on frames {frame}-{motion.frame(jump.until)} and comes back"
    return f"at frame {frame} and comes back"


CHECK = Check(
    id="pop",
    group=Group.PATHS,
    question="Does a frame or two jump and come back?",
    codes={
        "one-frame": "a part jumps off for a frame and comes back",
        "few-frames": "a part jumps off, stays for two frames at 24 per second and comes back",
        "first-frame": "the first frame of the shot does not fit what follows",
        "last-frame": "the last frame of the shot does not fit what came before",
        "too-fast": "a part turns faster from one frame to the next than any joint does",
    },
    declarations=(
        TURN,
        TRAVEL,
        TURN_SPEED,
        STAND_OUT,
        HAND_STAND_OUT,
        GROUND_STAND_OUT,
        END_STAND_OUT,
        ALONE_STAND_OUT,
        LONGEST,
        GAP,
    ),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    weighed_by_picture=True,
    stages=frozenset(Stage),
    kinds=frozenset({SubjectKind.ARMATURE, SubjectKind.OBJECT}),
    minimum_frames=8,
    explained_by=("arc-break",),
)
