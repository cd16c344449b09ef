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
evaluated. Fingers that never move in the whole shot may simply not be animated yet (or captured):
one flag, never more than faint.

Sources: two synergies explain most hand postures (Santello 1998, from memory), but no dwell time is
published. Measured on open captures of jumping and climbing: the widest-moving finger joint spreads
by 4 degrees and more in 98 of 100 stretches of 1.5 s, by 12 degrees and more in all of 3 s.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, Severity
from ..measures import hands, joints, series, swings
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
    source="measured: natural hands pass 4 degrees within 1.5 s in 98 of 100 stretches",
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
SAMPLES_PER_SECOND = 24.0
MOVING_SPEED = 0.08  # body heights per second at which a hand travels (practice)
LONGEST_PAUSE = 1.0  # s without travel that do not end a stretch
ONE_THING = 0.24  # share of body height: hands farther apart hold no one thing
KEPT = 0.03  # share of body height: hands that hold one thing change their distance by less
SAME_SPAN = 0.8  # two hands frozen over so much of the same frames are one cause
FINGERS = ("thumb", "index", "middle", "ring", "pinky")
WORDS = {".L": "Left", ".R": "Right"}


@dataclass(frozen=True)
class Frozen:
    """A stretch (frame indices, both included) in which a hand or a finger keeps its pose.

    `value` is in seconds, or the number of key poses in blocking.
    """

    side: str
    code: str
    part: str
    first: int
    last: int
    value: float
    spread: float
    curl: float
    hand_pair: hands.HandPair | None
    whole_shot: bool = False
    both: bool = False


@dataclass(frozen=True)
class FrozenHands:
    """Frozen stretches before any excuse; a hand that could not be judged has its reason."""

    found: list[Frozen]
    missing: dict[str, str]


def measure(motion: Motion, values: Values) -> FrozenHands:
    """Find where each hand keeps one pose while it travels."""
    found: list[Frozen] = []
    missing: dict[str, str] = {}
    for side in (".L", ".R"):
        try:
            found += _measure_hand(motion, values, side)
        except CannotEvaluateError as error:
            missing[side] = str(error)
    if len(missing) == 2:
        raise CannotEvaluateError("; ".join(missing.values()))
    return FrozenHands(_join_sides(found), missing)


def judge(motion: Motion, measured: FrozenHands, values: Values) -> Iterator[Outcome]:
    """Flag frozen stretches unless the hand is closed or holds something with the other."""
    for side, reason in measured.missing.items():
        yield NotEvaluated(CHECK.id, motion.subject, reason, part=f"hand{side}")
    for stretch in measured.found:
        blocking = stretch.code == "repeated-pose"
        graded = values.grade(REPEATED.name if blocking else FROZEN.name, stretch.value)
        if graded is None:
            continue
        excuse = (
            None if stretch.code == "straight-finger" else _find_excuse(stretch, motion, values)
        )
        if excuse:
            yield NotEvaluated(CHECK.id, motion.subject, excuse, part=f"hand{stretch.side}")
            continue
        severity = Severity.FAINT if stretch.whole_shot else graded[0]
        yield _make_flag(motion, stretch, severity, graded[1])


def _measure_hand(motion: Motion, values: Values, side: str) -> list[Frozen]:
    motion.require(f"hand{side}")
    chains = {f"{finger}{side}": motion.chain(f"{finger}{side}") for finger in FINGERS}
    chains = {finger: chain for finger, chain in chains.items() if chain}
    if not chains:
        raise CannotEvaluateError(f"no finger bones on hand{side}")
    rows = [motion.index(part) for chain in chains.values() for part in chain]
    local = motion.local_rotations[:, rows]
    if motion.stage is Stage.BLOCKING:
        return _measure_keys(motion, values, side, hands.pose_vectors(local), rows)
    vectors = hands.pose_vectors(series.smooth(local, motion.fps, SMOOTHING_HZ))
    moving = _find_travel(motion, side, values)
    shortest = max(3, round(min(values.limits[FROZEN.name]) * motion.fps))
    found = [
        _describe(motion, side, "one-pose", f"hand{side}", run, vectors, chains)
        for run in _find_frozen(vectors, moving, motion.fps, values)
    ]
    frozen = np.zeros(motion.frame_count, dtype=np.bool_)
    for stretch in found:
        frozen[stretch.first : stretch.last + 1] = True
    for finger, chain in chains.items():
        if len(chain) > 1 and not finger.startswith("thumb"):
            straight = _find_straight(motion, chain, values[STRAIGHT.name]) & moving & ~frozen
            found += [
                _describe(motion, side, "straight-finger", finger, run, vectors, chains)
                for run in series.find_runs(straight)
                if run[1] - run[0] + 1 >= shortest
            ]
    return found


def _find_travel(motion: Motion, side: str, values: Values) -> NDArray[np.bool_]:
    """Mark the stretches in which the hand travels, pauses of a second included."""
    root = next((p for p in (f"upper_arm{side}", "chest", "hips") if motion.has(p)), None)
    place = motion.head(f"hand{side}")
    place = place - motion.head(root) if root else place
    place = series.smooth(place, motion.fps, SMOOTHING_HZ) / motion.height
    speed = np.linalg.norm(series.central_velocity(place, motion.fps), axis=-1)
    moving = series.close_gaps(speed > MOVING_SPEED, round(LONGEST_PAUSE * motion.fps))
    for first, last in series.find_runs(moving):
        if swings.excursion(place[first : last + 1]) < values[TRAVEL.name] / 100.0:
            moving[first : last + 1] = False
    return moving


def _find_frozen(
    vectors: NDArray[np.float64], moving: NDArray[np.bool_], fps: float, values: Values
) -> Iterator[tuple[int, int]]:
    """Yield stretches of travel in which no finger joint leaves its spread."""
    # The pose is smooth: looking at about 24 samples per second loses nothing.
    step = max(1, int(fps // SAMPLES_PER_SECOND))
    seen = vectors[::step]
    shortest = max(3, round(min(values.limits[FROZEN.name]) * fps / step))
    spread = values[SPREAD.name]
    for first, last in series.find_runs(moving[::step]):
        still = hands.rolling_spread(seen[first : last + 1], shortest) <= spread
        starts = first + np.flatnonzero(still)
        place = 0
        while place < len(starts):
            end = hands.grow_still_run(seen[: last + 1], int(starts[place]), spread)
            yield int(starts[place]) * step, min(end * step, len(vectors) - 1)
            place = int(np.searchsorted(starts, end, side="right"))


def _find_straight(motion: Motion, chain: tuple[str, ...], limit: float) -> NDArray[np.bool_]:
    """Say on which frames all joints of a finger are straight."""
    bones = [motion.tail(part) - motion.head(part) for part in chain]
    bends = [
        joints.angle_between_vectors(one, other)
        for one, other in zip(bones, bones[1:], strict=False)
    ]
    return np.asarray(np.max(bends, axis=0) < limit)


def _describe(
    motion: Motion,
    side: str,
    code: str,
    part: str,
    run: tuple[int, int],
    vectors: NDArray[np.float64],
    chains: dict[str, tuple[str, ...]],
) -> Frozen:
    first, last = run
    box = np.ptp(vectors[first : last + 1], axis=0)
    pair = None
    if motion.has("hand.L", "hand.R"):
        both = (motion.head(f"hand{s}")[first : last + 1] for s in (".L", ".R"))
        pair = hands.compare_hands(*both)
    return Frozen(
        side=side,
        code=code,
        part=part,
        first=first,
        last=last,
        value=(last - first + 1) / motion.fps,
        spread=float(np.linalg.norm(box, axis=-1).max()),
        curl=_measure_curl(motion, side, chains, (first + last) // 2),
        hand_pair=pair,
        whole_shot=bool(np.linalg.norm(np.ptp(vectors, axis=0), axis=-1).max() < 0.01),
    )


def _measure_curl(
    motion: Motion, side: str, chains: dict[str, tuple[str, ...]], frame: int
) -> float:
    """Return the mean turn from the palm to the fingertips, thumb left out, degrees."""
    turns = []
    wrist = motion.head(f"hand{side}")[frame]
    for finger, chain in chains.items():
        if finger.startswith("thumb"):
            continue
        bones = [motion.head(chain[0])[frame] - wrist]
        bones += [motion.tail(part)[frame] - motion.head(part)[frame] for part in chain]
        steps = zip(bones, bones[1:], strict=False)
        turns.append(sum(float(joints.angle_between_vectors(a, b)) for a, b in steps))
    return float(np.mean(turns)) if turns else 0.0


def _measure_keys(
    motion: Motion,
    values: Values,
    side: str,
    vectors: NDArray[np.float64],
    rows: list[int],
) -> list[Frozen]:
    """Find the same hand on key pose after key pose while the hand is somewhere else."""
    parts = [f"{p}{side}" for p in ("upper_arm", "forearm", "hand")]
    parts += [motion.parts[row] for row in rows]
    keyed = [motion.keys[part].frames for part in parts if part in motion.keys]
    if not keyed:
        raise CannotEvaluateError(f"no key frames on the arm or fingers of hand{side}")
    indices = np.ceil(np.unique(np.concatenate(keyed)) - motion.frame(0)).astype(np.int64)
    indices = np.unique(indices[(indices >= 0) & (indices < motion.frame_count)])
    root = f"upper_arm{side}"
    place = motion.head(f"hand{side}")
    place = (place - motion.head(root) if motion.has(root) else place) / motion.height
    found: list[Frozen] = []
    start = 0
    while start < len(indices):
        end = start + hands.grow_still_run(vectors[indices[start:]], 0, values[SPREAD.name])
        at = indices[start : end + 1]
        away = np.linalg.norm(np.diff(place[at], axis=0), axis=-1) > values[TRAVEL.name] / 100.0
        last = int(indices[end + 1]) - 1 if end + 1 < len(indices) else motion.frame_count - 1
        stretch = _describe(
            motion, side, "repeated-pose", f"hand{side}", (int(at[0]), last), vectors, {}
        )
        found.append(replace(stretch, value=1.0 + float(np.count_nonzero(away))))
        start = end + 1
    return found


def _join_sides(found: list[Frozen]) -> list[Frozen]:
    """Make one of two hands that freeze over the same frames."""
    kept: list[Frozen] = []
    for stretch in sorted(found, key=lambda one: (-one.value, one.side)):
        for number, other in enumerate(kept):
            shared = min(stretch.last, other.last) - max(stretch.first, other.first) + 1
            same = shared >= SAME_SPAN * (other.last - other.first + 1)
            if stretch.code == other.code != "straight-finger" and same:
                if stretch.side != other.side:
                    kept[number] = replace(other, both=True)
                    break
        else:
            kept.append(stretch)
    return sorted(kept, key=lambda one: (one.first, one.side))


def _find_excuse(stretch: Frozen, motion: Motion, values: Values) -> str | None:
    frames = f"on frames {motion.frame(stretch.first)}-{motion.frame(stretch.last)}"
    if stretch.curl >= values[CLOSED.name]:
        return f"the hand is closed {frames}: a fist or a grip"
    pair = stretch.hand_pair
    if pair and max(pair.change / KEPT, pair.widest / ONE_THING) <= motion.height:
        return f"both hands keep to one thing {frames}"
    return None


def _make_flag(motion: Motion, stretch: Frozen, severity: Severity, limit: float) -> Flag:
    side, other = stretch.side, ".R" if stretch.side == ".L" else ".L"
    who = "Both hands keep" if stretch.both else f"{WORDS[side]} hand keeps"
    suggestion = "open the hand on the reach, close it a little on the swing, one finger leading"
    unit = Unit.SECONDS
    if stretch.code == "straight-finger":
        finger = stretch.part.split(".")[0]
        message = (
            f"{WORDS[side]} {finger} finger stays straight for {stretch.value:.1f} s while the "
            "others move"
        )
        suggestion = "bend it 10 to 20 deg at each joint and let it follow its neighbours"
    elif stretch.code == "repeated-pose":
        unit = Unit.COUNT
        message = f"{who} the same pose on {stretch.value:.0f} key poses in a row"
        suggestion = "give each key pose a hand of its own"
    else:
        message = f"{who} one pose for {stretch.value:.1f} s of travel (fingers within "
        message += f"{stretch.spread:.1f} deg)"
        if stretch.whole_shot:
            message += ", the fingers never move in this shot"
    others = (f"hand{other}",) if stretch.both else ()
    if stretch.code == "straight-finger":
        others = (f"hand{side}",)
    return Flag(
        check=CHECK.id,
        code=stretch.code,
        subject=motion.subject,
        part=stretch.part,
        other_parts=others,
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
        "straight-finger": "a finger stays at its straight limit while the others move",
        "repeated-pose": "the same hand pose on key after key (blocking)",
    },
    declarations=(FROZEN, REPEATED, SPREAD, STRAIGHT, TRAVEL, CLOSED),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset(Stage),
)
