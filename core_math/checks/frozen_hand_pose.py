# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""frozen-hand-pose: is it always the same hand?

Fingers answer everything the arm does: they open on a reach, close a little on a swing, spread on
a stop. A hand that keeps one pose while it travels is a mitten; so is a finger that stays locked
straight while its neighbours play.

The pose is judged by the finger joint that moves most: all of them must stay within the spread.
The time counts while the hand travels; pauses of up to a second do not end it. In blocking the key
poses are judged: the same hand on key after key while the hand is somewhere else.

Leave it for a closed hand (a fist, a grip) and when both hands hold one thing: said as not
evaluated. Fingers that never move (or one that never bends) in the whole shot are one flag, never
more than clear; never more than faint where they have a single joint each, or none ever bends: such
hands may not have been captured, or not be made to bend.

Sources: two synergies explain most hand postures (Santello 1998, from memory), but no dwell time is
published. Measured on open captures of jumping and climbing: the widest-moving finger joint spreads
by 4 degrees and more in every stretch of 1.5 s in which the hand travels, by 12 in all of 3 s.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, Severity
from ..measures import geometry, hands, series
from ..motion import Motion, Stage
from ..units import Unit

FROZEN = Limits(
    "frozen",
    faint=1.5,
    clear=3.0,
    glaring=5.0,
    unit=Unit.SECONDS,
    minimum=0.3,
    maximum=30.0,
    description="How long a travelling hand keeps one pose, or a finger stays straight.",
    source="measured: natural hands move their fingers within 2 s, however little the arm does",
    broad=1.3,
    subtle=0.8,
    style_source="practice: a mitten passes in broad action, in a close shot hands are looked at",
)
REPEATED = Limits(
    "repeated",
    faint=3.0,
    clear=4.0,
    glaring=6.0,
    unit=Unit.COUNT,
    minimum=2.0,
    maximum=50.0,
    description="Key poses in a row with the same hand (blocking).",
    source="practice: twice may be a choice, three times is a copy",
)
SPREAD = Parameter(
    "spread",
    default=4.0,
    unit=Unit.DEGREES,
    minimum=0.1,
    maximum=30.0,
    description="The joint that moves most must move less than this for the hand to be one pose.",
    source="measured: travelling natural hands spread by 4 degrees and more in any 1.5 s",
)
STRAIGHT = Parameter(
    "straight",
    default=3.0,
    unit=Unit.DEGREES,
    minimum=0.1,
    maximum=15.0,
    description="A finger whose joints all bend less than this is at its straight limit.",
    source="practice: a relaxed finger bends 20 degrees and more at each joint",
)
TRAVEL = Parameter(
    "travel",
    default=10.0,
    unit=Unit.BODY_HEIGHT,
    minimum=1.0,
    maximum=100.0,
    description="How far the hand must travel from the shoulder's point of view.",
    source="practice: a hand that stays within its own length of a place is at rest",
)
CLOSED = Parameter(
    "closed",
    default=110.0,
    unit=Unit.DEGREES,
    minimum=40.0,
    maximum=250.0,
    description="Curl from palm to fingertips from which a hand counts as closed: left alone.",
    source="practice: a fist curls 180 degrees and more, a relaxed hand 60 to 90",
)

SMOOTHING_HZ = 4.0  # keeps what fingers do, drops a capture's jitter (practice)
JOINTS_AT_A_TIME = 6  # that are smoothed between two pauses
SAMPLES_PER_SECOND = 24.0  # a pose is smooth: looking more often finds nothing more
MOVING_SPEED = 0.08  # body heights per second at which a hand travels (practice)
LONGEST_PAUSE = 1.0  # s without travel that do not end a stretch
ONE_THING = 0.24  # share of body height: hands farther apart hold no one thing
KEPT = 0.03  # share of body height: hands that hold one thing change their distance by less
SAME_SPAN = 0.8  # parts frozen over so much of the same frames are one cause
DEAD = 0.01  # degrees: fingers that move less never move
FINGERS = ("thumb", "index", "middle", "ring", "pinky")
WORDS = {".L": "Left", ".R": "Right"}


@dataclass(frozen=True)
class Frozen:
    """A stretch (sample indices, both included) in which a hand or a finger keeps its pose.

    `value` is in seconds, or the number of key poses in blocking; `others` are parts that freeze
    with this one; `always` says that it never does anything else in the whole shot, `unmade` that
    these fingers may not be there to be animated.
    """

    code: str
    part: str
    side: str
    first: int
    last: int
    value: float
    spread: float = 0.0
    curl: float = 0.0
    always: bool = False
    unmade: bool = False
    others: tuple[str, ...] = ()


@dataclass(frozen=True)
class FrozenHands:
    """Frozen stretches before any excuse; a hand that could not be judged has its reason."""

    found: list[Frozen]
    missing: dict[str, str]


def measure(motion: Motion, values: Values) -> Steps[FrozenHands]:
    """Find where each hand keeps one pose while it travels, and fingers that stay straight."""
    found: list[Frozen] = []
    missing: dict[str, str] = {}
    for side in (".L", ".R"):
        try:
            motion.require(f"hand{side}")
            chains = {finger: motion.chain(f"{finger}{side}") for finger in FINGERS}
            chains = {finger: chain for finger, chain in chains.items() if chain}
            if not chains:
                raise CannotEvaluateError(f"no finger bones on hand{side}")
            judge_hand = _measure_keys if motion.stage is Stage.BLOCKING else _measure_hand
            found += yield from motion.memo_steps(
                (CHECK.id, side),
                partial(judge_hand, motion, values, side, chains),
                values.key,
            )
        except CannotEvaluateError as error:
            missing[side] = str(error)
    if len(missing) == 2:
        raise CannotEvaluateError("; ".join(missing.values()))
    return FrozenHands(_join(found), missing)


def judge(motion: Motion, measured: FrozenHands, values: Values) -> Iterator[Outcome]:
    """Flag frozen stretches unless the hand is closed or holds something with the other."""
    for side, reason in measured.missing.items():
        yield NotEvaluated(CHECK.id, motion.subject, reason, part=f"hand{side}")
    for stretch in measured.found:
        limits = REPEATED if stretch.code == "repeated-pose" else FROZEN
        graded = values.grade(limits.name, stretch.value)
        if graded is None:
            continue
        excuse = _find_excuse(stretch, motion, values)
        if excuse:
            span = (motion.frame(stretch.first), motion.frame(stretch.last))
            yield NotEvaluated(CHECK.id, motion.subject, excuse, stretch.part, (span,))
        else:
            most = Severity.FAINT if stretch.unmade else Severity.CLEAR
            severity = min(graded[0], most) if stretch.always else graded[0]
            yield _make_flag(motion, stretch, limits.unit, severity, graded[1])


def _see_fingers(
    motion: Motion, chains: dict[str, tuple[str, ...]], step: int
) -> Steps[NDArray[np.float64]]:
    """Return the pose of all finger joints at every `step`-th frame, smooth."""
    rows = [motion.index(part) for chain in chains.values() for part in chain]
    pieces = []
    for first in range(0, len(rows), JOINTS_AT_A_TIME):
        some = rows[first : first + JOINTS_AT_A_TIME]
        local = series.smooth(motion.local_rotations[:, some], motion.fps, SMOOTHING_HZ)
        pieces.append(local[::step])
        yield
    vectors = hands.pose_vectors(np.concatenate(pieces, axis=1))
    yield
    return vectors


def _measure_hand(
    motion: Motion, values: Values, side: str, chains: dict[str, tuple[str, ...]]
) -> Steps[list[Frozen]]:
    found: list[Frozen] = []
    step = max(1, int(motion.fps // SAMPLES_PER_SECOND))
    fps, end = motion.fps / step, motion.frame_count - 1
    # The fingers' own poses hold where only the arm was edited.
    vectors = yield from motion.memo_steps(
        (CHECK.id, side, "fingers"), partial(_see_fingers, motion, chains, step)
    )
    place = series.smooth(_see_hand(motion, side), motion.fps, SMOOTHING_HZ)
    yield
    moving = hands.find_travel(
        place[::step],
        fps,
        least_speed=MOVING_SPEED,
        least_way=values[TRAVEL.name] / 100.0,
        longest_pause=LONGEST_PAUSE,
    )
    yield
    shortest = max(3, round(min(values.limits[FROZEN.name]) * fps))
    dead = float(geometry.lengths(np.ptp(vectors, axis=0)).max(initial=0.0)) < DEAD
    alive = np.ones(len(vectors), dtype=np.bool_)
    for first, last in hands.find_still_runs(vectors, moving, shortest, values[SPREAD.name]):
        alive[first : last + 1] = False
        box = np.ptp(vectors[first : last + 1], axis=0)
        found.append(
            Frozen(
                code="one-pose",
                part=f"hand{side}",
                side=side,
                first=first * step,
                last=min(last * step, end),
                value=(last - first + 1) / fps,
                spread=float(geometry.lengths(box).max()),
                curl=_measure_curl(motion, side, chains, (first + last) // 2 * step),
                always=dead,
                unmade=max(map(len, chains.values())) == 1,
            )
        )
        yield
    yield
    found += _find_straight(motion, values, side, chains, moving & alive, step)
    return found


def _find_straight(
    motion: Motion,
    values: Values,
    side: str,
    chains: dict[str, tuple[str, ...]],
    judged: NDArray[np.bool_],
    step: int,
) -> Iterator[Frozen]:
    """Find fingers at their straight limit on the samples that are judged."""
    straight: dict[str, NDArray[np.bool_]] = {}
    for finger, chain in chains.items():
        if len(chain) == 1 or finger == "thumb":
            continue
        points = [*(motion.head(part)[::step] for part in chain), motion.tail(chain[-1])[::step]]
        straight[finger] = hands.chain_bends(points).max(axis=0) < values[STRAIGHT.name]
    fps, end = motion.fps / step, motion.frame_count - 1
    always = {finger for finger, line in straight.items() if line.all()}
    for finger, line in straight.items():
        for first, last in series.find_runs(line & judged):
            yield Frozen(
                code="straight-finger",
                part=f"{finger}{side}",
                side=side,
                first=first * step,
                last=min(last * step, end),
                value=(last - first + 1) / fps,
                always=finger in always,
                unmade=len(always) == len(straight),
            )


def _measure_keys(
    motion: Motion, values: Values, side: str, chains: dict[str, tuple[str, ...]]
) -> Steps[list[Frozen]]:
    """Find the same hand on key pose after key pose while the hand is somewhere else."""
    found: list[Frozen] = []
    fingers = [part for chain in chains.values() for part in chain]
    parts = [f"upper_arm{side}", f"forearm{side}", f"hand{side}", *fingers]
    keyed = [motion.keys[part].frames for part in parts if part in motion.keys]
    if not keyed:
        raise CannotEvaluateError(f"no key frames on the arm or fingers of hand{side}")
    frames = motion.list_rows(np.concatenate(keyed))
    local = motion.local_rotations[:, [motion.index(part) for part in fingers]]
    vectors = hands.pose_vectors(local[frames]) if len(frames) else np.zeros((0, 1, 3))
    yield
    place = _see_hand(motion, side)[frames]
    start = 0
    while start < len(frames):
        end = hands.grow_still_run(vectors, start, values[SPREAD.name])
        way = geometry.lengths(np.diff(place[start : end + 1], axis=0))
        after = frames[end + 1] if end + 1 < len(frames) else motion.frame_count
        found.append(
            Frozen(
                code="repeated-pose",
                part=f"hand{side}",
                side=side,
                first=int(frames[start]),
                last=int(after) - 1,
                value=1.0 + float(np.count_nonzero(way > values[TRAVEL.name] / 100.0)),
                curl=_measure_curl(motion, side, chains, int(frames[start])),
            )
        )
        start = end + 1
    return found


def _see_hand(motion: Motion, side: str) -> NDArray[np.float64]:
    """Return a hand's places from the shoulder's point of view, in body heights, (F, 3)."""
    root = next((p for p in (f"upper_arm{side}", "chest", "hips") if motion.has(p)), None)
    place = motion.head(f"hand{side}")
    return (place - motion.head(root) if root else place) / motion.height


def _measure_curl(
    motion: Motion, side: str, chains: dict[str, tuple[str, ...]], frame: int
) -> float:
    """Return the mean turn from the palm to the fingertips, thumb left out, degrees."""
    turns = [
        hands.chain_bends(
            [motion.head(part)[frame] for part in (f"hand{side}", *chain)]
            + [motion.tail(chain[-1])[frame]]
        ).sum()
        for finger, chain in chains.items()
        if finger != "thumb"
    ]
    return float(np.mean(turns)) if turns else 0.0


def _join(found: list[Frozen]) -> list[Frozen]:
    """Make one of fingers, or of two hands, that freeze over the same frames."""
    kept: list[Frozen] = []
    for stretch in sorted(found, key=lambda one: (-one.value, one.part)):
        for number, other in enumerate(kept):
            shared = min(stretch.last, other.last) - max(stretch.first, other.first) + 1
            parts = (other.part, *other.others)
            same = stretch.code == other.code and stretch.part not in parts
            if same and shared >= SAME_SPAN * (other.last - other.first + 1):
                kept[number] = replace(other, others=(*other.others, stretch.part))
                break
        else:
            kept.append(stretch)
    return sorted(kept, key=lambda one: (one.first, one.part))


def _find_excuse(stretch: Frozen, motion: Motion, values: Values) -> str | None:
    """Say why a frozen hand is left alone, or None."""
    frames = f"on frames {motion.frame(stretch.first)}-{motion.frame(stretch.last)}"
    if stretch.curl >= values[CLOSED.name]:
        return f"the hand is closed {frames}: a fist or a grip"
    if stretch.code == "one-pose" and motion.has("hand.L", "hand.R"):
        span = slice(stretch.first, stretch.last + 1)
        pair = hands.compare_hands(motion.head("hand.L")[span], motion.head("hand.R")[span])
        if max(pair.change / KEPT, pair.widest / ONE_THING) <= motion.height:
            return f"both hands keep to one thing {frames}"
    return None


def _make_flag(
    motion: Motion, stretch: Frozen, unit: Unit, severity: Severity, limit: float
) -> Flag:
    word = WORDS[stretch.side]
    who = "Both hands keep" if stretch.others else f"{word} hand keeps"
    suggestion = "open the hand on the reach, close it a little on the swing, one finger leading"
    if stretch.code == "straight-finger":
        count = 1 + len(stretch.others)
        finger = stretch.part.split(".")[0]
        who = f"{word} {finger} finger stays" if count == 1 else f"{count} fingers stay"
        message = f"{who} straight for {stretch.value:.1f} s while the hand travels"
        suggestion = "bend them 10 to 20 deg at each joint, each finger a little differently"
    elif stretch.code == "repeated-pose":
        message = f"{who} the same pose on {stretch.value:.0f} key poses in a row"
        suggestion = "give each key pose a hand of its own"
    else:
        message = f"{who} one pose for {stretch.value:.1f} s of travel"
        message += f" (fingers within {stretch.spread:.1f} deg)"
    if stretch.always:
        message += ", never anything else in this shot"
    return Flag(
        check=CHECK.id,
        code=stretch.code,
        subject=motion.subject,
        part=stretch.part,
        other_parts=stretch.others,
        start=motion.frame(stretch.first),
        end=motion.frame(stretch.last),
        peak=motion.frame((stretch.first + stretch.last) // 2),
        severity=severity,
        confidence=0.8,
        value=stretch.value,
        unit=unit,
        limit=limit,
        message=message,
        suggestion=suggestion,
    )


CHECK = Check(
    id="frozen-hand-pose",
    group=Group.ARMS,
    question="Is it always the same hand?",
    codes={
        "one-pose": "the fingers keep one pose while the hand travels",
        "straight-finger": "fingers stay at their straight limit while the hand travels",
        "repeated-pose": "the same hand pose on key after key (blocking)",
    },
    declarations=(FROZEN, REPEATED, SPREAD, STRAIGHT, TRAVEL, CLOSED),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    weighed_by_picture=True,
    stages=frozenset(Stage),
    on_drawings=True,
)
