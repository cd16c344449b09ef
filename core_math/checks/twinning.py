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
gesture and legs that jump or squat together are never more than faint.

Sources: mirrored likeness near 1 at offset 0 with a symmetry index near 0 (symmetry index after
Robinson, Herzog & Nigg 1987); avoiding mirrored arms is common practice and has no published
limit. Measured on open captures: natural arms, standing jumps with both arms included, reach a
likeness of 0.998 for half a second, yet never hold 0.997 for 0.7 s; mirrored copies planted into
the same captures reach 0.9975 to 1.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, NotEvaluated, Outcome, Severity
from ..measures import body, joints, likeness, series, swings
from ..motion import Motion, Stage
from ..units import Unit

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
STILL_RATE = 5.0  # deg/s: a limb that turns slower stands still (practice)
SHRUG_RISE = 0.015  # share of body height both shoulders must rise (practice)
KEPT_SHARE = 0.25  # of the hands' way: small moves change no distance much (practice)
TELLING = 0.002  # by so much an offset must be the better likeness to be believed (measured)
REFERENCE_STEP = 24.0  # neighbouring offsets are tried one frame at 24 fps apart
PAIRS = (("arms", ("upper_arm", "forearm", "hand")), ("legs", ("thigh", "shin", "foot")))


@dataclass(frozen=True)
class Twin:
    """A stretch (frame indices, both included) in which two limbs mirror each other."""

    pair: str
    end_part: str
    first: int
    last: int
    peak: int
    value: float
    severity: Severity
    limit: float
    size_ratio: float
    offset: float
    pose: bool = False


@dataclass(frozen=True)
class Twins:
    """Mirrored stretches before any excuse; a pair that could not be judged has its reason."""

    found: list[Twin]
    missing: dict[str, str]


def measure(motion: Motion, values: Values) -> Twins:
    """Compare each limb with its twin's mirror image, in motion or (blocking) in the key poses."""
    found: list[Twin] = []
    missing: dict[str, str] = {}
    for pair, parts in PAIRS:
        try:
            left, right, end_part = _measure_sides(motion, parts, smoothed=True)
            if motion.stage is not Stage.BLOCKING:
                found += _find_twins(pair, end_part, left, right, motion.fps, values)
            elif pair == "arms":
                left, right, end_part = _measure_sides(motion, parts, smoothed=False)
                found += _find_twin_poses(motion, end_part, left, right, values)
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
            severity = min(severity - 1, 1)
        elif not twin.pose:
            change, widest, travel = _measure_hands(motion, twin)
            together = change <= min(values[KEPT_DISTANCE.name], KEPT_SHARE * travel)
            if together and widest <= values[ONE_THING.name]:
                span = f"frames {motion.frame(twin.first)}-{motion.frame(twin.last)}"
                reason = f"both hands keep to one thing on {span}"
                yield NotEvaluated(CHECK.id, motion.subject, reason, part=f"{twin.end_part}.L")
                continue
            severity -= int(together or _is_shrug(motion, twin))
        if severity >= 1:
            yield _make_flag(motion, twin, Severity(severity))


def _measure_sides(
    motion: Motion, parts: tuple[str, ...], *, smoothed: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64], str]:
    """Return both limbs' directions in body axes, (F, 2, 3), the right one mirrored."""
    upper, lower, end = parts
    motion.require(*(f"{part}{side}" for part in (upper, lower) for side in (".L", ".R")))
    arms = upper == "upper_arm"
    skipped = ("thigh.L", "thigh.R") if arms else ()
    heads = {part: motion.head(part) for part in motion.parts if part not in skipped}
    axes = body.body_axes(heads)
    if axes is None:
        raise CannotEvaluateError("needs hips and neck or head for the body's own axes")
    has_end = motion.has(f"{end}.L", f"{end}.R")
    sides = []
    for side in (".L", ".R"):
        joint = motion.head(f"{lower}{side}")
        tip = motion.head(f"{end}{side}") if has_end else motion.tail(f"{lower}{side}")
        bones = ((motion.head(f"{upper}{side}"), joint), (joint, tip))
        seen = [likeness.in_body_axes(axes, swings.unit_directions(*bone)) for bone in bones]
        sides.append(np.stack(seen, axis=1))
    left, right = sides[0], sides[1] * likeness.MIRROR
    if smoothed:
        left, right = (series.smooth(side, motion.fps, SMOOTHING_HZ) for side in (left, right))
    return left, right, end if has_end else lower


def _find_twins(
    pair: str,
    end_part: str,
    left: NDArray[np.float64],
    right: NDArray[np.float64],
    fps: float,
    values: Values,
) -> Iterator[Twin]:
    length = max(4, round(values.frames(WINDOW.name)))
    step = max(1, round(fps / REFERENCE_STEP))
    windows = likeness.rolling_likeness(left, right, length, step=step, most_turn=MOST_TURN)
    small = np.minimum(windows.spread, windows.other_spread)
    large = np.maximum(windows.spread, windows.other_spread)
    alike = (
        (small >= np.radians(values[LEAST_MOVEMENT.name]))
        & (small >= values[SIZE_RATIO.name] * large)
        & (np.abs(windows.offset) < values.frames(OFFSET.name))
    )
    moving = _find_moving(left, right, fps)
    shortest = values.frames(LONG_ENOUGH.name) - 0.5
    levels = list(zip(Severity, values.limits[LIKENESS.name], strict=True))
    for run in series.find_runs(alike & (windows.likeness >= levels[0][1])):
        stretch = windows.likeness[run[0] : run[1] + 1]
        best = run[0] + int(np.argmax(stretch))
        severity, limit = levels[0]
        span = _trim(moving, run[0], run[1] + length - 1)
        lasting = span[1] - span[0] >= shortest or float(stretch.max()) >= levels[1][1]
        for level, level_limit in levels[1:]:
            inner = [
                _trim(moving, run[0] + a, run[0] + b + length - 1)
                for a, b in series.find_runs(stretch >= level_limit)
            ]
            longest = max(inner, key=lambda one: one[1] - one[0], default=(0, 0))
            if longest[1] - longest[0] >= shortest:
                severity, limit = level, level_limit
                span = longest if level is Severity.CLEAR else span
        one, other = (
            x[span[0] : span[1] + 1].reshape(span[1] + 1 - span[0], -1) for x in (left, right)
        )
        twins, at_once = likeness.compare(one, other, 3 * step), likeness.compare(one, other, 0)
        apart = abs(twins.offset) >= values.frames(OFFSET.name)
        better = twins.likeness - at_once.likeness > TELLING
        if lasting and not (apart and better):
            yield Twin(
                pair=pair,
                end_part=end_part,
                first=span[0],
                last=span[1],
                peak=int(np.clip(best + length // 2, *span)),
                value=float(np.median(windows.likeness[run[0] : run[1] + 1])),
                severity=severity,
                limit=limit,
                size_ratio=twins.size_ratio,
                offset=float(np.median(windows.offset[run[0] : run[1] + 1])),
            )


def _find_moving(
    left: NDArray[np.float64], right: NDArray[np.float64], fps: float
) -> NDArray[np.bool_]:
    """Say on which frames either limb turns, shape (F,)."""
    steps = np.linalg.norm(np.diff(left, axis=0), axis=-1)
    steps = np.maximum(steps, np.linalg.norm(np.diff(right, axis=0), axis=-1)).max(axis=-1)
    moving = np.degrees(steps) * fps > STILL_RATE
    return np.concatenate((moving, [False])) | np.concatenate(([False], moving))


def _trim(moving: NDArray[np.bool_], first: int, last: int) -> tuple[int, int]:
    """Drop the still frames at both ends of a stretch."""
    inside = np.flatnonzero(moving[first : last + 1])
    return (first + int(inside[0]), first + int(inside[-1])) if len(inside) else (first, last)


def _find_twin_poses(
    motion: Motion,
    end_part: str,
    left: NDArray[np.float64],
    right: NDArray[np.float64],
    values: Values,
) -> Iterator[Twin]:
    """Find key poses whose arms are mirror images; neighbouring ones make one stretch."""
    poses = _find_pose_frames(motion)
    apart = joints.angle_between_vectors(left[poses], right[poses]).mean(axis=-1)
    down = joints.angle_between_vectors(left[poses], np.array([0.0, 0.0, -1.0])).max(axis=-1)
    faintest = max(values.limits[POSE_DIFFERENCE.name])
    for first, last in series.find_runs((apart <= faintest) & (down > HANGING)):
        best = first + int(np.argmin(apart[first : last + 1]))
        graded = values.grade(POSE_DIFFERENCE.name, float(apart[best]))
        if graded is None:
            continue
        severity = graded[0] if last > first else min(graded[0], Severity.CLEAR)
        end = poses[last + 1] - 1 if last + 1 < len(poses) else motion.frame_count - 1
        yield Twin(
            pair="arms",
            end_part=end_part,
            first=int(poses[first]),
            last=int(end),
            peak=int(poses[best]),
            value=float(apart[best]),
            severity=severity,
            limit=graded[1],
            size_ratio=1.0,
            offset=0.0,
            pose=True,
        )


def _find_pose_frames(motion: Motion) -> NDArray[np.int64]:
    """Return the indices at which the arms take a new key pose."""
    parts = [f"{part}{side}" for part in PAIRS[0][1] for side in (".L", ".R")]
    keyed = [motion.keys[part].frames for part in parts if part in motion.keys]
    if keyed and sum(len(frames) for frames in keyed):
        indices = np.ceil(np.concatenate(keyed) - motion.frame(0)).astype(np.int64)
    else:
        steps = sum(
            np.linalg.norm(np.diff(motion.tail(part), axis=0), axis=-1)
            for part in parts
            if motion.has(part)
        )
        indices = np.flatnonzero(np.concatenate(([1.0], steps)) > 1e-3 * motion.height)
    return np.unique(indices[(indices >= 0) & (indices < motion.frame_count)])


def _measure_hands(motion: Motion, twin: Twin) -> tuple[float, float, float]:
    """Return how much the hands' distance changes, its largest value and their way, in % H."""
    span = slice(twin.first, twin.last + 1)
    left, right = (motion.head(f"{twin.end_part}{side}")[span] for side in (".L", ".R"))
    distance = np.linalg.norm(left - right, axis=-1)
    share = 100.0 / motion.height
    shoulders = motion.head("upper_arm.L") + motion.head("upper_arm.R")
    travel = swings.excursion(0.5 * (left + right - shoulders[span]))
    return float(np.ptp(distance)) * share, float(distance.max()) * share, travel * share


def _is_shrug(motion: Motion, twin: Twin) -> bool:
    """Say whether both shoulders rise while the hands stay below them."""
    axes = body.body_axes({part: motion.head(part) for part in motion.parts})
    if axes is None or not motion.has("hips"):
        return False
    up = axes[twin.first : twin.last + 1, 2]

    def height(part: str) -> NDArray[np.float64]:
        place = (motion.head(part) - motion.head("hips"))[twin.first : twin.last + 1]
        return np.sum(place * up, axis=-1) / motion.height

    for side in (".L", ".R"):
        shoulder, hand = height(f"upper_arm{side}"), height(f"{twin.end_part}{side}")
        if np.ptp(shoulder) < SHRUG_RISE or np.any(hand > shoulder):
            return False
    return True


def _make_flag(motion: Motion, twin: Twin, severity: Severity) -> Flag:
    frames = twin.last - twin.first + 1
    # The side that clearly moves more gives the flag its place.
    sides = (".R", ".L") if twin.size_ratio > 1.05 else (".L", ".R")
    if twin.pose:
        message = f"Both arms hold the same mirrored pose, {twin.value:.1f} deg apart"
        suggestion = "break the pose: drop or turn one arm by 15 to 30 deg, or hold it earlier"
    else:
        message = (
            f"Both {twin.pair} mirror each other for {frames} frames: {100.0 * twin.value:.1f} % "
            f"alike, size ratio {twin.size_ratio:.2f}, {abs(twin.offset):.1f} frames apart"
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
        confidence=float(np.clip(frames / motion.fps, 0.4, 1.0)),
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
)
