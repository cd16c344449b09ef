# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""curve-flip: does a channel spin the long way round?

The same pose can be written with angles a full turn apart (170 and -190 degrees), or with a
quaternion of either sign. Between two keys that are written differently the curves run the long
way: the part whirls round, or dips through a wrong pose, although both poses are right. What is
measured is the detour that shows: how much farther the part turns between the keys than it needs.

A part whose own channels are not known (a solver turns it) is judged by its pose between the keys
that move it: there and back is a swing, but more than half a turn one way is the long way round.

Where the jump lies between two neighbouring frames nothing of it shows on them, but it will with
motion blur, in slow motion, and as soon as a key is taken out: that is told as faint.

Leave it when the turn is real: keyed step by step, or typed as whole turns (a spin, a windmill, a
wheel); the body's root and single objects may also turn right round at a believable speed.

Sources: q and -q are one rotation; (a, b, c) and (a + 180, 180 - b, c + 180) are one rotation in
Euler angles. The limits are our own: 20 degrees off is seen as a dip, 120 as a spin.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, Severity, say_part
from ..measures import flips, rotations, series
from ..motion import KeyTrack, Motion, RotationChannels, Stage, SubjectKind
from ..units import Unit

FloatArray = NDArray[np.float64]

DETOUR = Limits(
    "detour",
    faint=20.0,
    clear=60.0,
    glaring=120.0,
    unit=Unit.DEGREES,
    minimum=1.0,
    maximum=720.0,
    description="How much farther a part turns between two keys than it needs to.",
    source="common practice: 20 degrees off shows as a dip, 120 as a whirl",
)
SMALL_TURN = Parameter(
    "small_turn",
    default=90.0,
    unit=Unit.DEGREES,
    minimum=1.0,
    maximum=180.0,
    description="Largest true turn at a jump of a channel; more than that is a jump of the pose.",
    source="measured: at the 29 jumps of an open capture of boxing the pose turns by 0.1 to 6",
)
TURN_RATE = Parameter(
    "turn_rate",
    default=720.0,
    unit=Unit.DEGREES_PER_SECOND,
    minimum=90.0,
    maximum=5000.0,
    description="A root or object that turns right round slower than this means to.",
    source="common practice: two turns in a second are a fast pirouette",
)
GAP = Parameter(
    "gap",
    default=0.25,
    unit=Unit.SECONDS,
    minimum=0.0,
    maximum=100.0,
    description="Jumps of one part's channels closer together than this are told in one flag.",
    source="practice: they have one cause and one cure",
)

UNMOVED = 1.0
"""Degrees that a part may turn in all before it counts as turning."""

WHOLE_TURN_SLACK = 1.0
"""Degrees by which a turn that was typed as 360, 720 ... may miss it."""


@dataclass(frozen=True)
class Flip:
    """One flip: of which part, between which frames (indices), and what shows of it."""

    part: str
    code: str
    first: int
    last: int
    peak: int
    count: int
    degrees: float


def measure(motion: Motion, values: Values) -> Steps[list[Flip]]:
    """Hold every part's channels against the rotation they stand for."""
    if not motion.channels and not motion.keys:
        raise CannotEvaluateError("neither the rotation channels nor the keys are known")
    found: list[Flip] = []
    for part in motion.parts:
        found += motion.memo(
            (CHECK.id, part), partial(_measure_part, motion, part, values), values.key
        )
        yield
    return found


def _measure_part(motion: Motion, part: str, values: Values) -> list[Flip]:
    channels = motion.channels.get(part)
    if channels is None:
        return _find_windings(motion, part, values)
    if not flips.can_flip(channels.values, channels.mode):
        return []
    local = motion.local_rotations[:, motion.index(part)]
    spins = _find_spins(motion, part, channels, local, values)
    return [*spins, *_find_jumps(part, channels, local, spins, values)]


def judge(motion: Motion, found: list[Flip], values: Values) -> Iterator[Outcome]:
    """Grade spins by their detour; a jump between neighbouring frames is faint."""
    for part in motion.parts:
        if part not in motion.channels and motion.memo(
            (CHECK.id, "alone", part), partial(_turns_by_itself, motion, part)
        ):
            reason = "neither its rotation channels nor keys that move it are known"
            yield NotEvaluated(CHECK.id, motion.subject, reason, part)
    for flip in found:
        jumps = flip.code == "channel-jump"
        faint = (Severity.FAINT, flips.HALF_TURN)
        graded = faint if jumps else values.grade(DETOUR.name, flip.degrees)
        if graded is None:
            continue
        severity, limit = graded
        first, last = motion.frame(flip.first), motion.frame(flip.last)
        words = say_part(flip.part).capitalize()
        yield Flag(
            check=CHECK.id,
            code=flip.code,
            subject=motion.subject,
            part=flip.part,
            start=first,
            end=last,
            peak=motion.frame(flip.peak),
            severity=severity,
            confidence=0.9,
            value=flip.degrees,
            unit=Unit.DEGREES,
            limit=limit,
            message=_say(words, flip, first, last),
            suggestion="make the curves continuous (discontinuity filter) or rewrite one key",
        )


def _turns_by_itself(motion: Motion, part: str) -> bool:
    """Say whether a part turns, and nothing is known that makes it."""
    row = motion.index(part)
    if _find_moving_keys(motion, row) is not None:
        return False
    return bool(rotations.step_angles(motion.local_rotations[:, row]).sum() > UNMOVED)


def _find_spins(
    motion: Motion, part: str, channels: RotationChannels, local: FloatArray, values: Values
) -> list[Flip]:
    """Find keys between which the channels go the long way and frames show it."""
    track = motion.keys.get(part)
    if track is None:
        return []
    rows = _list_key_rows(motion, track)
    steps = flips.step_channels(channels.values[rows], channels.mode)
    rootlike = _turns_freely(motion, part)
    found = []
    for first, last, step in zip(
        rows[:-1].tolist(), rows[1:].tolist(), steps.tolist(), strict=True
    ):
        if last - first < 2 or abs(step) <= flips.HALF_TURN:
            continue
        if not flips.is_quaternion(channels.mode):
            whole = abs(step) - 360.0 * round(abs(step) / 360.0)
            rate = abs(step) / (last - first) * motion.fps
            if abs(whole) <= WHOLE_TURN_SLACK or (rootlike and rate < values[TURN_RATE.name]):
                continue
        detour = flips.measure_detour(local, first, last)
        if detour < min(values.limits[DETOUR.name]):
            continue
        turns = rotations.step_angles(local[first : last + 1])
        code = "opposite-keys" if flips.is_quaternion(channels.mode) else "long-way-round"
        found.append(Flip(part, code, first, last, first + int(np.argmax(turns)), 1, detour))
    return found


def _find_windings(motion: Motion, part: str, values: Values) -> list[Flip]:
    """Find keys between which a part without channels goes more than half a turn one way."""
    row = motion.index(part)
    track = _find_moving_keys(motion, row)
    if track is None or _turns_freely(motion, part):
        return []
    local = motion.local_rotations[:, row]
    rows = _list_key_rows(motion, track)
    wound = flips.measure_windings(local, rows) > flips.HALF_TURN
    found = []
    for row in np.flatnonzero(wound & (np.diff(rows) >= 2)).tolist():
        first, last = int(rows[row]), int(rows[row + 1])
        detour = flips.measure_detour(local, first, last)
        turns = rotations.step_angles(local[first : last + 1])
        peak = first + int(np.argmax(turns))
        found.append(Flip(part, "long-way-round", first, last, peak, 1, detour))
    return found


def _find_moving_keys(motion: Motion, row: int) -> KeyTrack | None:
    """Return the keys that move a part: its own, else those of what hangs on it or carries it."""
    below = [i for i, above in enumerate(motion.parents) if above == row]
    tried = [row, *below]
    while motion.parents[row] >= 0:
        row = motion.parents[row]
        tried.append(row)
    return next(
        (motion.keys[p] for p in (motion.parts[i] for i in tried) if p in motion.keys), None
    )


def _turns_freely(motion: Motion, part: str) -> bool:
    """Say whether a part may turn right round by itself: an object, the root, the hips."""
    single = motion.kind is SubjectKind.OBJECT or motion.parents[motion.index(part)] < 0
    return single or part == "hips"


def _find_jumps(
    part: str, channels: RotationChannels, local: FloatArray, spins: list[Flip], values: Values
) -> list[Flip]:
    """Find jumps of channels between neighbouring frames, those near each other together."""
    turns = rotations.step_angles(local)
    jumps = flips.find_jumps(channels.values, channels.mode, turns, values[SMALL_TURN.name])
    for spin in spins:
        jumps[spin.first : spin.last] = False
    steps = np.abs(flips.step_channels(channels.values, channels.mode))
    found = []
    for first, last in series.find_runs(series.close_gaps(jumps, round(values.frames(GAP.name)))):
        inside = first + np.flatnonzero(jumps[first : last + 1])
        peak = int(inside[np.argmax(steps[inside])])
        degrees = float(steps[peak])
        found.append(Flip(part, "channel-jump", first, last + 1, peak + 1, len(inside), degrees))
    return found


def _list_key_rows(motion: Motion, track: KeyTrack) -> NDArray[np.int64]:
    """Return the frames (indices) nearest to the keys inside the shot, each once."""
    rows = np.round(track.frames - motion.frames[0]).astype(np.int64)
    return np.unique(rows[(rows >= 0) & (rows < motion.frame_count)])


def _say(words: str, flip: Flip, first: int, last: int) -> str:
    if flip.code == "channel-jump":
        times = f" ({flip.count} times up to frame {last})" if flip.count > 1 else ""
        return (
            f"{words}: a rotation curve jumps by {flip.degrees:.0f} deg at frame {first + 1}"
            f"{times} though the pose does not; it shows with motion blur"
        )
    return (
        f"{words} turns {flip.degrees:.0f} deg farther than it needs between the keys "
        f"at frames {first} and {last}"
    )


CHECK = Check(
    id="curve-flip",
    group=Group.PATHS,
    question="Does a channel spin the long way round?",
    codes={
        "long-way-round": "an angle runs more than half a turn between two keys",
        "opposite-keys": "two neighbouring quaternion keys have opposite signs",
        "channel-jump": "a channel jumps by a turn from one frame to the next, the pose does not",
    },
    declarations=(DETOUR, SMALL_TURN, TURN_RATE, GAP),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset(Stage),
    kinds=frozenset({SubjectKind.ARMATURE, SubjectKind.OBJECT}),
    minimum_frames=2,
)
