# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""idle-shoulder: does the clavicle take part when the arm goes up?

Past about 60 degrees the upper arm does not rise alone: shoulder blade and clavicle turn with it,
about one degree for every two to three of the arm. An arm raised overhead out of a shoulder that
stays down looks screwed on, and the deformation tears at the armpit.

The measure is the clavicle's turn on the chest over the rise of the upper arm (its angle from
hanging, seen from the trunk) beyond 60 degrees, raising or lowering.

Leave it when the clavicle bone starts in the chest's own joint and never turns: it only connects
(said as not evaluated), as is a rig without clavicles. Clavicles that never turn in the whole shot
are one flag, never more than clear.

Sources: scapulohumeral rhythm 2.3 to 1 raising, 2.7 to 1 lowering, 0.43 and 0.37 degrees of scapula
per degree of the arm on it (Braman et al. 2009); clavicle elevation 6 to 10, retraction 14 to 29
degrees over full elevation (Ludewig et al. 2009, numbers from memory), so one bone that stands for
both gives 0.1 to 0.4. Measured on an open capture of boxing, 28 raises: 0.29 to 0.56.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, Severity
from ..measures import body, joints, series, swings
from ..motion import Motion
from ..units import Unit

SHARE = Limits(
    "share",
    faint=0.10,
    clear=0.05,
    glaring=0.02,
    unit=Unit.RATIO,
    minimum=0.0,
    maximum=0.6,
    description="Clavicle turn over arm rise beyond 60 degrees; raise it to ask for more.",
    source="a quarter of the published rhythm of 0.37 to 0.43 (Braman et al. 2009)",
)
SET_ANGLE = Parameter(
    "set_angle",
    default=60.0,
    unit=Unit.DEGREES,
    minimum=0.0,
    maximum=120.0,
    description="Elevation of the upper arm from which the clavicle is expected to follow.",
    source="the setting phase of the rhythm ends at about 60 degrees (Inman 1944, from memory)",
)
RISE = Parameter(
    "rise",
    default=20.0,
    unit=Unit.DEGREES,
    minimum=5.0,
    maximum=90.0,
    description="How far beyond that the arm must rise to be judged.",
    source="practice: 20 degrees ask for some 8 of the shoulder, enough to be missed",
)

SMOOTHING_HZ = 10.0  # keeps fast raises, drops a capture's jitter (practice)
STILL_RATE = 10.0  # deg/s: an arm that rises slower is held
TOGETHER_SECONDS = 1.5  # raises this close are one fault
CORE = 0.1  # share of a raise left out at each end
DEAD = 0.01  # degrees: a bone that turns less never turns
CONNECTOR = 0.02  # share of body height: a clavicle that starts this close to the chest's joint
WORDS = {".L": "Left", ".R": "Right"}


@dataclass(frozen=True)
class Raise:
    """One raise or fall of an arm (frame indices, both included) and what the clavicle gave.

    `share` is the clavicle's turn over the arm's rise in the middle of the raise.
    """

    side: str
    first: int
    last: int
    beyond: float
    top: float
    clavicle_degrees: float
    share: float


@dataclass(frozen=True)
class Raises:
    """All raises of each arm in order; an arm that could not be judged carries its reason.

    `dead` names the sides whose clavicle never turns in the whole shot.
    """

    raises: dict[str, list[Raise]]
    missing: dict[str, str]
    dead: tuple[str, ...]


def measure(motion: Motion, values: Values) -> Steps[Raises]:
    """Find where each arm rises past the set angle, and the clavicle's turn meanwhile."""
    found: dict[str, list[Raise]] = {}
    missing: dict[str, str] = {}
    for side in (".L", ".R"):
        try:
            found[side] = yield from motion.memo_steps(
                (CHECK.id, side), partial(_measure_arm, motion, values, side), values.key
            )
            yield
        except CannotEvaluateError as error:
            missing[side] = str(error)
    if not found:
        raise CannotEvaluateError("; ".join(dict.fromkeys(missing.values())))
    dead = [
        side
        for side in found
        if motion.memo((CHECK.id, "range", side), partial(_measure_range, motion, side)) < DEAD
    ]
    return Raises(found, missing, tuple(dead))


def judge(motion: Motion, measured: Raises, values: Values) -> Iterator[Outcome]:
    """Flag raises in a row without the clavicle as one."""
    for side, reason in measured.missing.items():
        yield NotEvaluated(CHECK.id, motion.subject, reason, part=f"shoulder{side}")
    idle: dict[str, list[list[Raise]]] = {}
    for side, raises in measured.raises.items():
        groups = idle.setdefault(side, [])
        for number, one in enumerate(raises):
            if values.grade(SHARE.name, one.share) is None:
                continue
            before = raises[number - 1] if number else None
            in_a_row = groups and groups[-1][-1] is before
            pause = (one.first - before.last) / motion.fps if before else 0.0
            if in_a_row and (pause <= TOGETHER_SECONDS or side in measured.dead):
                groups[-1].append(one)
            else:
                groups.append([one])
    dead = [side for side in idle if side in measured.dead and idle[side]]
    if len(dead) == 2:
        both = [one for side in dead for group in idle.pop(side) for one in group]
        yield _make_flag(motion, both, values, always=True)
    for side, groups in idle.items():
        for group in groups:
            yield _make_flag(motion, group, values, always=side in dead)


def _measure_range(motion: Motion, side: str) -> float:
    return swings.turn_range(_see_clavicle(motion, side))


def _measure_arm(motion: Motion, values: Values, side: str) -> Steps[list[Raise]]:
    """Return one arm's raises in order of time."""
    motion.require(f"shoulder{side}", f"upper_arm{side}", f"forearm{side}")
    seen = _see_clavicle(motion, side)
    yield
    _refuse_connectors(motion, side, seen)
    yield
    axes = motion.body_axes()
    yield
    arm = swings.unit_directions(motion.head(f"upper_arm{side}"), motion.head(f"forearm{side}"))
    elevation = joints.angle_between_vectors(arm, -axes[:, 2])
    elevation = series.smooth(elevation, motion.fps, SMOOTHING_HZ)
    yield
    clavicle = swings.smooth_rotations(seen, motion.fps, SMOOTHING_HZ)
    yield
    rate = np.diff(elevation) * motion.fps
    high = np.maximum(elevation[1:], elevation[:-1]) > values[SET_ANGLE.name]
    found = []
    for moving in (rate > STILL_RATE, rate < -STILL_RATE):
        for first, last in series.find_runs(moving & high):
            span = slice(first, last + 2)
            top, low = float(elevation[span].max()), float(elevation[span].min())
            beyond = top - max(low, values[SET_ANGLE.name])
            if beyond >= values[RISE.name]:
                core = _find_core(elevation, first, last + 1, top - beyond, top)
                turned = swings.turn_range(clavicle[core])
                share = turned / max(float(np.ptp(elevation[core])), 1.0)
                found.append(Raise(side, first, last + 1, beyond, top, turned, share))
        yield
    return sorted(found, key=lambda one: one.first)


def _find_core(
    elevation: NDArray[np.float64], first: int, last: int, low: float, top: float
) -> slice:
    """Return the middle of a raise: at its ends neighbouring moves leak in."""
    edge = CORE * (top - low)
    span = elevation[first : last + 1]
    inside = np.flatnonzero((span > low + edge) & (span < top - edge))
    if len(inside) == 0:
        return slice(first, last + 1)
    return slice(first + max(0, int(inside[0]) - 1), first + int(inside[-1]) + 2)


def _list_trunk(motion: Motion) -> tuple[str, ...]:
    return motion.chain("chest") or motion.chain("spine") or ("chest",)


def _see_clavicle(motion: Motion, side: str) -> NDArray[np.float64]:
    """Return a clavicle's rotations on the chest, shape (F, 4)."""
    return motion.relative_rotation(f"shoulder{side}", to=_list_trunk(motion)[-1])


def _refuse_connectors(motion: Motion, side: str, seen: NDArray[np.float64]) -> None:
    """Refuse clavicles that are no more than the link between two joints."""
    root = motion.head(f"shoulder{side}")
    gaps = [body.typical_distance(root, motion.head(part)) for part in _list_trunk(motion)]
    if swings.turn_range(seen) < DEAD and min(gaps) < CONNECTOR * motion.height:
        raise CannotEvaluateError(
            f"shoulder{side} starts in the chest's own joint and never turns: it only connects"
        )


def _make_flag(motion: Motion, stretch: list[Raise], values: Values, always: bool) -> Flag:
    worst = min(stretch, key=lambda one: (one.share, -one.beyond))
    graded = values.grade(SHARE.name, worst.share)
    assert graded is not None, "only idle raises come here"
    side = worst.side
    message = (
        f"{WORDS[side]} clavicle gives {worst.clavicle_degrees:.1f} deg while the arm goes "
        f"through {worst.beyond:.0f} deg above {values[SET_ANGLE.name]:.0f} (to {worst.top:.0f})"
    )
    if len(stretch) > 1:
        message += f", {len(stretch)} times"
    if always:
        message += "; it never turns in this shot"
    sides = [side, *sorted({one.side for one in stretch} - {side})]
    low, high = 0.2 * worst.beyond, 0.4 * worst.beyond
    return Flag(
        check=CHECK.id,
        code="arm-without-clavicle",
        subject=motion.subject,
        part=f"shoulder{side}",
        other_parts=tuple(f"{part}{s}" for s in sides for part in ("shoulder", "upper_arm"))[1:],
        start=motion.frame(min(one.first for one in stretch)),
        end=motion.frame(max(one.last for one in stretch)),
        peak=motion.frame((worst.first + worst.last) // 2),
        severity=min(graded[0], Severity.CLEAR) if always else graded[0],
        confidence=float(np.clip(worst.beyond / 50.0, 0.5, 1.0)),
        value=worst.share,
        unit=Unit.RATIO,
        limit=graded[1],
        message=message,
        suggestion=f"raise the clavicle {low:.0f} to {high:.0f} deg with the arm, a frame behind",
    )


CHECK = Check(
    id="idle-shoulder",
    group=Group.ARMS,
    question="Does the clavicle take part when the arm goes up?",
    codes={"arm-without-clavicle": "the arm rises past 60 degrees and the clavicle stays down"},
    declarations=(SHARE, SET_ANGLE, RISE),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    on_drawings=True,
)
