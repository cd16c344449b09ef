# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of paths and timing: broken and flat arcs, pops, stalls, dead holds, flipped curves."""

from __future__ import annotations

from dataclasses import replace

import limbs
import numpy as np
import reposing
from planting_case import (
    ACTIVE,
    CAPTURE,
    FORMULA,
    GESTURE,
    POSES,
    RIG,
    WALK,
    Case,
    Fault,
    fault,
    list_below,
    list_sides,
    speed_of,
)
from scipy.spatial.transform import Rotation

from fettle.core_math.measures import rotations
from fettle.core_math.motion import KeyTrack, Motion, RotationChannels, Stage

EVERYWHERE = (FORMULA, WALK, POSES, GESTURE, ACTIVE, CAPTURE, RIG)
SMEARED = 0.96
"""Body heights a second at which a hand moves 4 % of body height per frame at 24 fps; a shutter
that is open for half the frame smears it by 2 %, so that smaller faults are lost in the smear."""


def break_arc(case: Case, size: float) -> Fault | None:
    """Throw a hand off its path, across the travel, for one to three frames at 24 fps."""
    motion, random = case.motion, case.random
    side = case.choose(list_sides(motion, "upper_arm", "forearm", "hand"))
    length = max(1, int(float(random.integers(1, 4)) * motion.fps / 24.0))
    seed = int(random.integers(1 << 30))
    if side is None or motion.cadence > 1:
        return None
    speed = speed_of(motion, f"hand{side}")
    at = case.pick(_on_its_way(motion, speed, length))
    if at is None:
        return None
    shape = np.sin(np.pi * (np.arange(length) + 1.0) / (length + 1.0)) if length > 2 else None
    shape = np.ones(length) if shape is None else shape / shape.max()
    path = motion.head(f"hand{side}")
    way = path[at + length] - path[at - 1]
    off = np.random.default_rng(seed).normal(size=3)
    lever = path[at] - motion.head(f"upper_arm{side}")[at]
    # Across the travel, and sideways to the arm so that a turn of the shoulder joint can do it.
    off -= (off @ way) * way / (way @ way)
    axis = np.cross(lever, off)
    reach = np.linalg.norm(np.cross(axis / np.linalg.norm(axis), lever))
    degrees = np.degrees(size / 100.0 * motion.height / reach) * shape
    thrown = _turn_in_world(motion, f"upper_arm{side}", axis, at, degrees)
    parts = list_below(motion, f"hand{side}") + [f"forearm{side}", f"upper_arm{side}"]
    return fault(thrown, parts, at, at + length - 1)


def throw_off(case: Case, size: float) -> Fault | None:
    """Turn a part off for a single frame (two at 100 Hz and more), now and then at an end."""
    motion, random = case.motion, case.random
    bases = ("upper_arm.L", "upper_arm.R", "forearm.L", "forearm.R", "hand.L", "hand.R")
    part = case.choose(p for p in (*bases, "chest", "head", "shin.L", "shin.R") if motion.has(p))
    axis = random.normal(size=3)
    at_end = random.random() < 0.2
    if part is None:
        return None
    length = 1 if at_end else max(1, round(motion.fps * 0.0167))
    if at_end:
        at = int(random.choice([0, motion.frame_count - 1]))
    else:
        picked = case.pick(_not_too_fast(motion, part))
        if picked is None:
            return None
        at = picked
    below = [motion.index(name) for name in list_below(motion, part)]
    levers = motion.tails[at, below] - motion.head(part)[at]
    lever = levers[np.argmax(np.linalg.norm(levers, axis=-1))]
    axis -= (axis @ lever) * lever / (lever @ lever)
    reach = float(np.linalg.norm(lever))
    half = min(1.0, size / 100.0 * motion.height / (2.0 * reach))
    degrees = np.full(length, np.degrees(2.0 * np.arcsin(half)))
    thrown = _turn_in_world(motion, part, axis, at, degrees)
    return fault(thrown, [part], at, at + length - 1)


def hitch(case: Case, size: float) -> Fault | None:
    """Stop an arm on its way for one to five frames at 24 fps and let it catch up."""
    motion, random = case.motion, case.random
    side = case.choose(list_sides(motion, "upper_arm", "forearm", "hand"))
    catch_up = case.frames(float(random.integers(3, 7)))
    if side is None or motion.cadence > 1:
        return None
    speed = speed_of(motion, f"hand{side}", f"upper_arm{side}")
    places = []
    for length in {case.frames(float(at_24)) for at_24 in range(1, 6)}:
        wanted = size / 100.0 * motion.fps / length
        fits = np.abs(speed - wanted) < 0.15 * wanted
        fits &= _on_its_way(motion, speed, length, least=0.5 * wanted, most=10.0)
        at = case.pick(fits)
        if at is not None:
            places.append((at, length))
    place = case.choose(places)
    if place is None:
        return None
    at, length = place
    # Time stands still on `length` frames, then runs faster until it has caught up.
    rows = np.arange(motion.frame_count, dtype=float)
    rows[at : at + length + 1] = at
    rows[at + length : at + length + catch_up + 1] = np.linspace(
        at, at + length + catch_up, catch_up + 1
    )
    parts = [p for base in ("upper_arm", "forearm", "hand") for p in [f"{base}{side}"]]
    late = {part: _at_rows(motion, part, rows) for part in parts}
    stopped = reposing.repose(motion, late)
    way = stopped.head(f"hand{side}") - motion.head(f"hand{side}")
    lost = 100.0 * np.linalg.norm(way[at : at + length + 1], axis=-1).max() / motion.height
    if lost < 0.6 * size or not _goes_on(motion, side, at, case.frames(2)):
        # The body carries the arm there, or the arm turns over: its stop costs nothing.
        return None
    return fault(stopped, parts, at + 1, at + length)


def straighten_swing(case: Case, size: float) -> Fault | None:
    """Press a share of the bulge out of a swing of the hand, down to a straight line."""
    motion = case.motion
    sides = list_sides(motion, "upper_arm", "forearm", "hand")
    swing = case.choose(
        (side, *ends) for side in sides for ends in _list_swings(motion, side, 40.0)
    )
    if swing is None:
        return None
    side, first, last = swing
    path = motion.head(f"hand{side}").copy()
    chord = path[last] - path[first]
    along = (path[first : last + 1] - path[first]) @ chord / (chord @ chord)
    line = path[first] + along[:, np.newaxis] * chord
    path[first : last + 1] += size * (line - path[first : last + 1])
    inside = np.zeros(motion.frame_count, dtype=bool)
    inside[first : last + 1] = True
    pressed = limbs.place_end(motion, limbs.arm(side), path, frames=inside)
    return fault(pressed, [f"hand{side}"], first, last)


def freeze_all(case: Case, size: float) -> Fault | None:
    """Stop everything for some seconds, then go on where it was."""
    motion = case.motion
    if motion.stage is not Stage.SPLINE:
        return None
    at = case.pick(np.ones(motion.frame_count, dtype=bool))
    if at is None:
        return None
    length = max(1, round(size * motion.fps))
    rows = np.arange(motion.frame_count)
    frozen = reposing.pick_frames(motion, np.insert(rows, at, [at] * length))
    return fault(frozen, motion.parts, at, at + length)


def flip_curve(case: Case, size: float) -> Fault | None:
    """Write a key with one angle a full turn away: between two keys the part spins right round."""
    motion, random = case.motion, case.random
    bases = ("upper_arm.L", "upper_arm.R", "forearm.L", "forearm.R", "hand.L", "hand.R")
    part = case.choose(p for p in (*bases, "chest", "head", "shin.L", "shin.R") if motion.has(p))
    sign = float(random.choice([-1.0, 1.0]))
    if part is None:
        return None
    length = case.frames(size)
    own = motion.local_rotations[:, motion.index(part)]
    angles = Rotation.from_quat(own, scalar_first=True).as_euler("xyz")
    angles = np.degrees(np.unwrap(angles, axis=0))
    # Two keys that differ by a whole turn and nothing else are a spin that somebody wants.
    change = np.zeros_like(angles)
    change[:-length] = np.abs(angles[length:] - angles[:-length])
    at = case.pick(change.max(axis=1) > 3.0, 0.8)
    if at is None:
        return None
    axis = int(np.argmax(change[at]))
    # The keys on both sides are right; between them the angle runs a full turn.
    u = np.clip((np.arange(motion.frame_count) - at) / length, 0.0, 1.0)
    angles[:, axis] += sign * 360.0 * u * u * (3.0 - 2.0 * u)
    spun = Rotation.from_euler("xyz", angles, degrees=True).as_quat(scalar_first=True)
    flipped = reposing.repose(motion, {part: spun})
    step = max(4, length)
    rows = np.unique([*range(at, 0, -step), *range(at + length, motion.frame_count, step)])
    track = KeyTrack(motion.frames[rows].astype(float), np.zeros(len(rows), dtype=bool), (part,))
    channels = {part: RotationChannels("XYZ", angles)}
    flipped = replace(flipped, keys={part: track}, channels=channels, _memo={})
    return fault(flipped, [part], at, at + length)


def _list_swings(motion: Motion, side: str, degrees: float) -> list[tuple[int, int]]:
    """List swings of an arm that keeps its length, on a shoulder that keeps its place."""
    shoulder, hand = motion.head(f"upper_arm{side}"), motion.head(f"hand{side}")
    reach = np.linalg.norm(hand - shoulder, axis=-1)
    direction = (hand - shoulder) / reach[:, np.newaxis]
    speed = speed_of(motion, f"hand{side}")
    around = max(2, round(0.1 * motion.fps))
    ends = [
        row
        for row in range(around, len(speed) - around)
        if speed[row] <= speed[row - around : row + around + 1].min()
    ]
    found = []
    for first, last in zip(ends, ends[1:], strict=False):
        span = slice(first, last + 1)
        short = (last - first) / motion.fps
        turned = np.degrees(np.arccos(np.clip(direction[first] @ direction[last], -1.0, 1.0)))
        # Beyond that the line would lead through the shoulder.
        if not (0.25 < short < 1.2 and degrees <= turned <= 115.0):
            continue
        if max(speed[first], speed[last]) > 0.4 * speed[span].max():
            continue
        if abs(reach[last] - reach[first]) > 0.22 * reach[span].mean():
            continue
        if np.ptp(shoulder[span], axis=0).max() < 0.08 * motion.height:
            found.append((first, last))
    return found


def _at_rows(motion: Motion, part: str, rows: np.ndarray) -> np.ndarray:
    """Return a part's own rotations as they are at fractional rows."""
    own = motion.local_rotations[:, motion.index(part)]
    low = np.minimum(rows.astype(int), len(own) - 2)
    share = (rows - low)[:, np.newaxis]
    return rotations.normalize(own[low] * (1.0 - share) + own[low + 1] * share)


def _turn_in_world(
    motion: Motion, part: str, axis: np.ndarray, first: int, degrees: np.ndarray
) -> Motion:
    """Turn a part, and what it carries, about an axis of the world from a frame on."""
    rows = slice(first, first + len(degrees))
    axes = np.broadcast_to(axis / np.linalg.norm(axis), (len(degrees), 3))
    world = motion.rotation(part).copy()
    world[rows] = rotations.multiply(rotations.from_axis_angle(axes, degrees), world[rows])
    above = motion.parent_of(part)
    own = motion.local_rotations[:, motion.index(part)].copy()
    own[rows] = (rotations.relative(motion.rotation(above), world) if above else world)[rows]
    return reposing.repose(motion, {part: own})


def _on_its_way(
    motion: Motion, speed: np.ndarray, length: int, least: float = 0.25, most: float = SMEARED
) -> np.ndarray:
    """Say where a hand travels at such a speed (body heights a second) and neither starts nor
    stops nor turns."""
    around = max(2, round(0.12 * motion.fps))
    moving = (speed > least) & (speed < most)
    result = np.zeros(len(speed), dtype=bool)
    for row in range(around, len(speed) - around - length):
        result[row] = moving[row - around : row + length + around].all()
    return result


def _goes_on(motion: Motion, side: str, at: int, reach: int) -> bool:
    """Say whether a hand, as seen from what carries its arm, travels on the same way at a frame."""
    above = motion.parent_of(f"upper_arm{side}")
    path = motion.head(f"hand{side}") - motion.head(f"upper_arm{side}")
    if above is not None:
        path = rotations.rotate(rotations.conjugate(motion.rotation(above)), path)
    before, after = path[at] - path[at - reach], path[at + reach] - path[at]
    length = float(np.linalg.norm(before) * np.linalg.norm(after))
    return length > 0.0 and float(before @ after) >= 0.5 * length


def _not_too_fast(motion: Motion, part: str) -> np.ndarray:
    """Say where neither the part's joint nor the ends of what it carries smear."""
    below = [motion.index(name) for name in list_below(motion, part)]
    reach = max(1, round(motion.fps / 24.0))
    way = np.linalg.norm(motion.tails[reach:, below] - motion.tails[:-reach, below], axis=-1)
    fast = way.max(axis=1) * motion.fps / reach / motion.height > SMEARED
    calm = np.ones(motion.frame_count, dtype=bool)
    for row in np.flatnonzero(fast):
        calm[max(0, row - reach) : row + 2 * reach] = False
    return calm


ENTRIES = (
    {
        "check": "arc-break",
        "code": "off-arc",
        "sizes": (0.3, 0.7, 1.5, 3.0, 6.0),
        "unit": "% H across the travel",
        "visible_from": 3.0,
        "reason": "practice: 5 cm, a hand's thickness and more, is off the path for the eye that "
        "runs ahead on it",
        "plant": break_arc,
        "families": EVERYWHERE,
    },
    {
        "check": "pop",
        "code": "one-frame",
        "sizes": (0.3, 0.7, 1.5, 3.0, 8.0),
        "unit": "% H at the far end",
        "visible_from": 3.0,
        "reason": "practice: 5 cm there and back within a frame; one picture of 13 ms is seen "
        "(Potter et al. 2014)",
        "plant": throw_off,
        "families": EVERYWHERE,
    },
    {
        "check": "stall",
        "code": "hitch",
        "sizes": (0.8, 1.5, 3.0, 6.0, 12.0),
        "unit": "% H of way lost",
        "visible_from": 3.0,
        "reason": "practice: 5 cm, what an ordinary gesture of 0.6 m/s travels in two frames",
        "plant": hitch,
        "families": EVERYWHERE,
    },
    {
        "check": "flat-arc",
        "code": "straight-swing",
        "sizes": (0.3, 0.6, 0.9, 0.97, 1.0),
        "unit": "share of the bulge pressed out",
        "visible_from": 0.97,
        "reason": "practice: less than a hundredth of the way is left of the bulge, thinner than "
        "the wrist that draws it",
        "plant": straighten_swing,
        "families": (FORMULA, POSES, GESTURE, CAPTURE, RIG),
        "kinds": ("swings", "reaches", "Boxing", "01_0", "fencing"),
    },
    {
        "check": "dead-hold",
        "code": "frozen",
        "sizes": (0.1, 0.2, 0.4, 0.7, 1.2),
        "unit": "s without any movement",
        "visible_from": 0.7,
        "reason": "common practice: a hold of 16 frames at 24 needs to move",
        "plant": freeze_all,
        "families": EVERYWHERE,
    },
    {
        "check": "curve-flip",
        "code": "long-way-round",
        "sizes": (1.0, 2.0, 4.0, 8.0, 16.0),
        "unit": "frames at 24 fps between the two keys",
        "visible_from": 2.0,
        "reason": "from two frames on at least one picture shows the part half a turn off",
        "plant": flip_curve,
        "families": EVERYWHERE,
    },
)
