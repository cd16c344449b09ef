# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""twinning: do both sides do the same at the same time?

Arms that move as mirror images on the same frames flatten a pose and look mechanical: nobody is
that even. The movement of upper arm and forearm (thigh and shin) is compared with its mirror image
in the body's own axes, over windows: how alike, how large against each other, and how many frames
apart. A frame or more of offset breaks the twinning; a different size helps less.

In blocking the key poses are judged instead: how many degrees each arm is from the mirror image
of the other.

Leave it when both hands hold one thing (they keep their distance: said as not evaluated). Pushing
with both hands and a shrug are symmetric by nature and count one severity less; a short symmetric
gesture that is no exact copy and legs that jump or squat together are never more than faint.

Sources: mirrored likeness near 1 at offset 0 with a symmetry index near 0 (symmetry index after
Robinson, Herzog & Nigg 1987); avoiding mirrored arms is common practice and has no published
limit. Measured on open captures: natural arms, standing jumps with both arms included, reach a
likeness of 0.998 for half a second, yet never hold 0.997 for 0.7 s; mirrored copies planted into
the same captures reach 0.9975 to 1.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, Severity
from ..measures import geometry, hands, likeness, mirroring, series
from ..motion import Motion, Stage
from ..units import REFERENCE_FPS, Unit

LIKENESS = Limits(
    "likeness",
    faint=0.993,
    clear=0.997,
    glaring=0.999,
    unit=Unit.RATIO,
    minimum=0.9,
    maximum=1.0,
    description="Correlation of one side with the other's mirror image; lower it to flag more.",
    source="measured: natural arms stay under 0.998, planted mirror copies lie over 0.9975",
)
POSE_DIFFERENCE = Limits(
    "pose_difference",
    faint=10.0,
    clear=6.0,
    glaring=3.0,
    unit=Unit.DEGREES,
    minimum=0.0,
    maximum=45.0,
    description="Angle between an arm and the other's mirror image in a key pose (blocking).",
    source="practice: under 10 degrees two silhouettes read as mirror images; a copy lies at 0",
)
OFFSET = Parameter(
    "offset",
    default=1.0,
    unit=Unit.FRAMES_AT_24,
    minimum=0.25,
    maximum=4.0,
    description="Sides that are this far apart in time are no twins.",
    source="practice: an offset of a frame or two is how twinning is broken",
)
LONG_ENOUGH = Parameter(
    "long_enough",
    default=0.7,
    unit=Unit.SECONDS,
    minimum=0.2,
    maximum=3.0,
    description="Shorter symmetric gestures are never more than faint.",
    source="measured: both-armed jumps hold a likeness of 0.997 for up to 0.67 s",
)
ONE_GESTURE = Parameter(
    "one_gesture",
    default=1.2,
    unit=Unit.SECONDS,
    minimum=0.2,
    maximum=5.0,
    description="Shorter symmetric gestures that are no exact copy are never more than faint.",
    source="practice: a gesture with both arms, a jump, a crate lifted are symmetric and take "
    "about a second (measured: 0.7 to 1.1 s at a likeness of 0.997)",
)
WINDOW = Parameter(
    "window",
    default=0.5,
    unit=Unit.SECONDS,
    minimum=0.2,
    maximum=2.0,
    description="Length of the windows in which the sides are compared.",
    source="measured: half a second holds one arm move, a second blurs the start of a copy",
)
LEAST_MOVEMENT = Parameter(
    "least_movement",
    default=4.0,
    unit=Unit.DEGREES,
    minimum=1.0,
    maximum=45.0,
    description="How far both sides must move (spread of their directions) to be compared.",
    source="practice: a spread of 4 degrees, a swing of about 10, is the least that reads",
)
SIZE_RATIO = Parameter(
    "size_ratio",
    default=0.6,
    unit=Unit.RATIO,
    minimum=0.1,
    maximum=1.0,
    description="Smaller over larger movement under which two sides do not read as the same.",
    source="practice: a move of little more than half the size reads as another move",
)
KEPT_DISTANCE = Parameter(
    "kept_distance",
    default=3.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.0,
    maximum=20.0,
    description="Hands whose distance changes less than this hold or push one thing.",
    source="practice: the give of two palms on one thing",
)
ONE_THING = Parameter(
    "one_thing",
    default=24.0,
    unit=Unit.BODY_HEIGHT,
    minimum=0.0,
    maximum=60.0,
    description="Hands that keep their distance and are closer than this hold one thing.",
    source="practice: a little under the distance of hanging hands (0.26 of body height)",
)

SMOOTHING_HZ = 8.0  # keeps an arm's accents, drops a capture's jitter (practice)
MOST_TURN = 6.0  # degrees: body axes read off a capture's joints are off by this much
HANGING = 25.0  # degrees from straight down: arms that hang are no pose (practice)
SHRUG_RISE = 0.015  # share of body height both shoulders must rise (practice)
KEPT_SHARE = 0.25  # of the hands' way: small moves change no distance much (practice)
COPY_OFFSET = 0.25  # frames at 24 fps: in life no two arms start as much together (practice)
COPY_SIZE = 0.03  # of the size, likewise
PAIRS = {"arms": ("upper_arm", "forearm", "hand"), "legs": ("thigh", "shin", "foot")}


@dataclass(frozen=True)
class Twin:
    """A stretch (sample indices, both included) in which two limbs mirror each other.

    `value` is the likeness, or for key poses the difference in degrees.
    """

    pair: str
    end_part: str
    first: int
    last: int
    peak: int
    value: float
    severity: Severity
    limit: float
    size_ratio: float = 1.0
    offset: float = 0.0
    pose: bool = False


@dataclass(frozen=True)
class Twins:
    """Mirrored stretches before any excuse; a pair that could not be judged has its reason."""

    found: list[Twin]
    missing: dict[str, str]


def measure(motion: Motion, values: Values) -> Steps[Twins]:
    """Compare each limb with its twin's mirror image, in motion or (blocking) in the key poses."""
    found: list[Twin] = []
    missing: dict[str, str] = {}
    for pair, parts in PAIRS.items():
        try:
            found += yield from motion.memo_steps(
                (CHECK.id, pair),
                partial(_measure_pair, motion, pair, parts, values),
                values.key,
            )
            yield
        except CannotEvaluateError as error:
            missing[parts[0]] = str(error)
    if len(missing) == len(PAIRS):
        raise CannotEvaluateError("; ".join(missing.values()))
    return Twins(found, missing)


def judge(motion: Motion, measured: Twins, values: Values) -> Iterator[Outcome]:
    """Flag mirrored stretches, less severely where they are symmetric by nature."""
    for part, reason in measured.missing.items():
        yield NotEvaluated(CHECK.id, motion.subject, reason, part=f"{part}.L")
    for twin in measured.found:
        severity = int(twin.severity)
        if twin.pair == "legs":
            severity = min(severity - 1, Severity.FAINT)
        elif not twin.pose:
            span = slice(twin.first, twin.last + 1)
            both = hands.compare_hands(*(_see_hand(motion, twin, s)[span] for s in (".L", ".R")))
            give = min(values[KEPT_DISTANCE.name] / 100.0 * motion.height, KEPT_SHARE * both.travel)
            together = both.change <= give
            if together and both.widest <= values[ONE_THING.name] / 100.0 * motion.height:
                first, last = motion.frame(twin.first), motion.frame(twin.last)
                reason = f"both hands keep to one thing on frames {first}-{last}"
                part = f"{twin.end_part}.L"
                yield NotEvaluated(CHECK.id, motion.subject, reason, part, ((first, last),))
                continue
            severity -= int(together or _is_shrug(motion, twin))
            if (twin.last - twin.first + 1) / motion.fps < values[ONE_GESTURE.name]:
                severity = severity if _is_copy(motion, twin) else min(severity, Severity.FAINT)
        if severity >= Severity.FAINT:
            yield _make_flag(motion, twin, Severity(severity))


def _is_copy(motion: Motion, twin: Twin) -> bool:
    """Say whether one side has the other's keys: as large and on the same frames."""
    offset = abs(twin.offset) * REFERENCE_FPS / motion.fps
    return offset <= COPY_OFFSET and abs(twin.size_ratio - 1.0) <= COPY_SIZE


def _measure_pair(
    motion: Motion, pair: str, parts: tuple[str, ...], values: Values
) -> Steps[list[Twin]]:
    left, right, end_part = _measure_sides(motion, parts)
    yield
    if motion.stage is not Stage.BLOCKING:
        return (yield from _find_twins(pair, end_part, left, right, motion.fps, values))
    return list(_find_twin_poses(motion, end_part, left, right, values)) if pair == "arms" else []


def _measure_sides(
    motion: Motion, parts: tuple[str, ...]
) -> tuple[NDArray[np.float64], NDArray[np.float64], str]:
    """Return both limbs' directions in body axes, (F, 2, 3), the right one mirrored."""
    upper, lower, end = parts
    motion.require(*(f"{part}{side}" for part in (upper, lower) for side in (".L", ".R")))
    # Arms are seen from the shoulders, legs from the hips.
    skipped = ("thigh.L", "thigh.R") if upper == "upper_arm" else ()
    axes = motion.body_axes(skipped)
    has_end = motion.has(f"{end}.L", f"{end}.R")
    sides = []
    for side in (".L", ".R"):
        points = [motion.head(f"{part}{side}") for part in (upper, lower)]
        points.append(motion.head(f"{end}{side}") if has_end else motion.tail(f"{lower}{side}"))
        sides.append(mirroring.limb_directions(axes, points))
    left, right = sides[0], sides[1] * likeness.MIRROR
    return left, right, end if has_end else lower


def _find_twins(
    pair: str,
    end_part: str,
    left: NDArray[np.float64],
    right: NDArray[np.float64],
    fps: float,
    values: Values,
) -> Steps[list[Twin]]:
    levels = values.limits[LIKENESS.name]
    left = series.smooth(left, fps, SMOOTHING_HZ)
    yield
    right = series.smooth(right, fps, SMOOTHING_HZ)
    yield
    stretches = yield from mirroring.find_mirrored(
        left,
        right,
        fps,
        window=max(4, round(values.frames(WINDOW.name))),
        levels=levels,
        shortest=values.frames(LONG_ENOUGH.name) - 0.5,
        least_spread=float(np.radians(values[LEAST_MOVEMENT.name])),
        least_ratio=values[SIZE_RATIO.name],
        most_offset=values.frames(OFFSET.name),
        most_turn=MOST_TURN,
    )
    return [
        Twin(
            pair=pair,
            end_part=end_part,
            first=stretch.first,
            last=stretch.last,
            peak=stretch.peak,
            value=stretch.likeness,
            severity=list(Severity)[stretch.level],
            limit=levels[stretch.level],
            size_ratio=stretch.size_ratio,
            offset=stretch.offset,
        )
        for stretch in stretches
    ]


def _find_twin_poses(
    motion: Motion,
    end_part: str,
    left: NDArray[np.float64],
    right: NDArray[np.float64],
    values: Values,
) -> Iterator[Twin]:
    """Find key poses whose arms are mirror images; a single one is never glaring."""
    frames = _find_pose_frames(motion)
    faintest = max(values.limits[POSE_DIFFERENCE.name])
    for pose in mirroring.find_mirrored_poses(left[frames], right[frames], faintest, HANGING):
        graded = values.grade(POSE_DIFFERENCE.name, pose.difference)
        if graded is None:
            continue
        after = frames[pose.last + 1] if pose.last + 1 < len(frames) else motion.frame_count
        yield Twin(
            pair="arms",
            end_part=end_part,
            first=int(frames[pose.first]),
            last=int(after) - 1,
            peak=int(frames[pose.best]),
            value=pose.difference,
            severity=graded[0] if pose.last > pose.first else min(graded[0], Severity.CLEAR),
            limit=graded[1],
            pose=True,
        )


def _find_pose_frames(motion: Motion) -> NDArray[np.int64]:
    """Return the indices at which the arms take a new key pose."""
    parts = [f"{part}{side}" for part in PAIRS["arms"] for side in (".L", ".R")]
    keyed = [motion.keys[part].frames for part in parts if part in motion.keys]
    if keyed and sum(len(frames) for frames in keyed):
        return motion.list_rows(np.concatenate(keyed))
    else:
        steps = sum(
            geometry.lengths(np.diff(motion.tail(part), axis=0))
            for part in parts
            if motion.has(part)
        )
        indices = np.flatnonzero(np.concatenate(([1.0], steps)) > 1e-3 * motion.height)
    return np.unique(indices[(indices >= 0) & (indices < motion.frame_count)])


def _see_hand(motion: Motion, twin: Twin, side: str) -> NDArray[np.float64]:
    """Return a hand's places from between the shoulders, shape (F, 3)."""
    shoulders = 0.5 * (motion.head("upper_arm.L") + motion.head("upper_arm.R"))
    place: NDArray[np.float64] = motion.head(f"{twin.end_part}{side}") - shoulders
    return place


def _is_shrug(motion: Motion, twin: Twin) -> bool:
    """Say whether both shoulders rise while the hands stay below them."""
    if not motion.has("hips"):
        return False
    up = motion.body_axes()[twin.first : twin.last + 1, 2]

    def height(part: str) -> NDArray[np.float64]:
        place = (motion.head(part) - motion.head("hips"))[twin.first : twin.last + 1]
        return np.sum(place * up, axis=-1) / motion.height

    for side in (".L", ".R"):
        shoulder, hand = height(f"upper_arm{side}"), height(f"{twin.end_part}{side}")
        if np.ptp(shoulder) < SHRUG_RISE or np.any(hand > shoulder):
            return False
    return True


def _make_flag(motion: Motion, twin: Twin, severity: Severity) -> Flag:
    frames = motion.frame(twin.last) - motion.frame(twin.first) + 1
    seconds = (twin.last - twin.first + 1) / motion.fps
    apart = abs(twin.offset) * motion.frame_step
    # The side that clearly moves more gives the flag its place.
    sides = (".R", ".L") if twin.size_ratio > 1.05 else (".L", ".R")
    if twin.pose:
        message = f"Both arms hold the same mirrored pose, {twin.value:.1f} deg apart"
        suggestion = "break the pose: drop or turn one arm by 15 to 30 deg, or hold it earlier"
    else:
        message = (
            f"Both {twin.pair} mirror each other for {frames} frames: {100.0 * twin.value:.1f} % "
            f"alike, size ratio {twin.size_ratio:.2f}, {apart:.1f} frames apart"
        )
        suggestion = "offset one side by 2 to 4 frames and make its move a third smaller"
    return Flag(
        check=CHECK.id,
        code="mirrored-poses" if twin.pose else "mirrored-motion",
        subject=motion.subject,
        part=f"{twin.end_part}{sides[0]}",
        other_parts=(f"{twin.end_part}{sides[1]}",),
        start=motion.frame(twin.first),
        end=motion.frame(twin.last),
        peak=motion.frame(twin.peak),
        severity=severity,
        confidence=float(np.clip(seconds, 0.4, 1.0)),
        value=twin.value,
        unit=Unit.DEGREES if twin.pose else Unit.RATIO,
        limit=twin.limit,
        message=message,
        suggestion=suggestion,
    )


CHECK = Check(
    id="twinning",
    group=Group.BETWEEN,
    question="Do both sides do the same at the same time?",
    codes={
        "mirrored-motion": "both limbs of a pair move as mirror images on the same frames",
        "mirrored-poses": "both arms are mirror images in the key poses (blocking)",
    },
    declarations=(
        LIKENESS,
        POSE_DIFFERENCE,
        OFFSET,
        LONG_ENOUGH,
        ONE_GESTURE,
        WINDOW,
        LEAST_MOVEMENT,
        SIZE_RATIO,
        KEPT_DISTANCE,
        ONE_THING,
    ),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset(Stage),
    on_drawings=True,
)
