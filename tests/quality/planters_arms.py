# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of arms, hands and torso: locked, stiff, straight and idle parts."""

from __future__ import annotations

import limbs
import numpy as np
import reposing
from planting_case import (
    CAPTURE,
    FORMULA,
    GESTURE,
    RIG,
    WALK,
    Case,
    Fault,
    bone,
    fault,
    list_sides,
    speed_of,
    way_turned,
)

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion

FINGERS = ("index", "middle", "ring", "pinky")
SWINGING = (FORMULA, CAPTURE, RIG)


def lock_in_world(case: Case, size: float) -> Fault | None:
    """Let the hand keep its world orientation, by a share, while the forearm turns 30 degrees."""
    motion, random = case.motion, case.random
    side = case.choose(list_sides(motion, "upper_arm", "forearm", "hand"))
    length = case.frames(float(random.uniform(9, 18)))
    if side is None:
        return None
    way = way_turned(bone(motion, f"forearm{side}", f"hand{side}"))
    travels = speed_of(motion, f"hand{side}") > 0.15
    first = case.pick(_within(way, length, 30.0) & _all_ahead(travels, length))
    if first is None:
        return None
    share = size * reposing.ramp(
        motion, motion.frame(first), motion.frame(first + length), case.frames(2)
    )
    world = motion.rotation(f"hand{side}")
    held = reposing.mix(world, np.broadcast_to(world[first], world.shape), share)
    own = rotations.relative(motion.rotation(motion.parent_of(f"hand{side}")), held)
    locked = reposing.repose(motion, {f"hand{side}": own})
    return fault(locked, [f"hand{side}"], first, first + length)


def stiffen_wrist(case: Case, size: float) -> Fault | None:
    """Take a share of the wrist's own turning away around a swing of 45 degrees."""
    motion, random = case.motion, case.random
    side = case.choose(list_sides(motion, "forearm", "hand"))
    if side is None:
        return None
    direction = bone(motion, f"forearm{side}", f"hand{side}")
    swing, around = case.frames(9), case.frames(float(random.uniform(10, 16)))
    middle = case.pick(_within(way_turned(direction), swing, 45.0), 0.8)
    if middle is None:
        return None
    first, last = middle - around, middle + swing + around
    return _calm(case, [f"hand{side}"], first, last, size, [f"hand{side}"])


def lead_with_hand(case: Case, size: float) -> Fault | None:
    """Run the hand's turning ahead of the forearm by some frames at 24 fps."""
    motion, random = case.motion, case.random
    side = case.choose(list_sides(motion, "forearm", "hand"))
    if side is None:
        return None
    direction = bone(motion, f"forearm{side}", f"hand{side}")
    swing, around = case.frames(9), case.frames(float(random.uniform(10, 16)))
    middle = case.pick(_within(way_turned(direction), swing, 45.0), 0.8)
    if middle is None:
        return None
    first, last = max(0, middle - around), min(motion.frame_count - 1, middle + swing + around)
    forearm, hand = motion.rotation(f"forearm{side}"), motion.rotation(f"hand{side}")
    early = np.arange(motion.frame_count) + size * motion.fps / 24.0
    # The hand follows what the forearm is going to do.
    ahead = rotations.multiply(_sample(forearm, early), rotations.relative(forearm, hand))
    share = reposing.ramp(motion, motion.frame(first), motion.frame(last), case.frames(4))
    world = reposing.mix(hand, ahead, share)
    led = reposing.repose(motion, {f"hand{side}": rotations.relative(forearm, world)})
    return fault(led, [f"hand{side}"], first, last)


def straighten_wrist(case: Case, size: float) -> Fault | None:
    """Bring hand and forearm into one line for some seconds while the hand moves."""
    motion = case.motion
    side = case.choose(_list_pointing(motion))
    if side is None:
        return None
    length = max(2, round(size * motion.fps))
    moving = speed_of(motion, f"hand{side}") > 0.15
    first = case.pick(_all_ahead(_bridge(moving, case.frames(4)), length), 0.2)
    if first is None or first + length >= motion.frame_count:
        return None
    turn = reposing.shortest_turn(
        _hand_direction(motion, side), bone(motion, f"forearm{side}", f"hand{side}")
    )
    straight = rotations.multiply(turn, motion.rotation(f"hand{side}"))
    return _set_hand(case, side, straight, first, first + length - 1, 3)


def overbend_wrist(case: Case, size: float) -> Fault | None:
    """Bend the wrist to so many degrees for a third of a second and more."""
    motion, random = case.motion, case.random
    side = case.choose(_list_pointing(motion))
    length = case.frames(float(random.uniform(8, 20)))
    if side is None:
        return None
    moving = speed_of(motion, f"hand{side}") > 0.15
    first = case.pick(_all_ahead(_bridge(moving, case.frames(4)), length))
    if first is None:
        return None
    forearm = bone(motion, f"forearm{side}", f"hand{side}")
    hand = _hand_direction(motion, side)
    if (
        np.linalg.norm(motion.tail(f"hand{side}") - motion.head(f"hand{side}"), axis=-1).min()
        == 0.0
    ):
        return None  # Fingertips tell where a hand points, but they also close on the palm.
    straighten = reposing.shortest_turn(hand, forearm)
    axis = _find_bend_axis(motion, side, first + length // 2, straighten, random)
    if axis is None:
        return None
    # The axis keeps its place on the forearm, so that the bend is the same on every frame.
    kept = rotations.rotate(motion.rotation(f"forearm{side}"), np.broadcast_to(axis, hand.shape))
    kept = kept - np.sum(kept * forearm, axis=-1, keepdims=True) * forearm / np.sum(
        forearm * forearm, axis=-1, keepdims=True
    )
    turn = rotations.multiply(rotations.from_axis_angle(kept, size), straighten)
    bent = rotations.multiply(turn, motion.rotation(f"hand{side}"))
    return _set_hand(case, side, bent, first, first + length - 1, 5)


def _find_bend_axis(
    motion: Motion, side: str, row: int, straighten: np.ndarray, random: np.random.Generator
) -> np.ndarray | None:
    """Return the axis of bending to palm or back, (3,), seen from the forearm.

    It runs along the knuckles, since a wrist bends less far to the sides; without knuckles it is
    the one about which the wrist is bent at that row. The way is the one it is bent already.
    """
    forearm = bone(motion, f"forearm{side}", f"hand{side}")[row]
    now = np.cross(forearm, _hand_direction(motion, side)[row])
    if motion.has(f"index{side}", f"pinky{side}"):
        across = (motion.head(f"index{side}") - motion.head(f"pinky{side}"))[row]
        across = rotations.rotate(straighten[row], across)
        sign = np.sign(now @ across) or random.choice([-1.0, 1.0])
        axis = sign * across
    else:
        axis = now
    length = np.linalg.norm(axis)
    if length < 1e-9:
        return None
    return rotations.rotate(
        rotations.conjugate(motion.rotation(f"forearm{side}")[row]), axis / length
    )


def still_chest(case: Case, size: float) -> Fault | None:
    """Take a share of the trunk's own turning away around a fast swing of an arm."""
    motion, random = case.motion, case.random
    side = case.choose(list_sides(motion, "upper_arm", "forearm"))
    trunk = [part for base in ("spine", "chest") for part in motion.chain(base)]
    if side is None or not trunk:
        return None
    seen = rotations.rotate(
        rotations.conjugate(motion.rotation("hips")),
        bone(motion, f"upper_arm{side}", f"forearm{side}"),
    )
    swing, around = case.frames(10), case.frames(float(random.uniform(10, 16)))
    middle = case.pick(_within(way_turned(seen), swing, 60.0), 0.8)
    if middle is None:
        return None
    return _calm(case, trunk, middle - around, middle + swing + around, size, trunk)


def still_shoulder(case: Case, size: float) -> Fault | None:
    """Take a share of the clavicle's own turning away around a raise of the arm past 95 degrees."""
    motion, random = case.motion, case.random
    side = case.choose(list_sides(motion, "shoulder", "upper_arm", "forearm"))
    if side is None or not motion.has("neck", "hips"):
        return None
    arm = bone(motion, f"upper_arm{side}", f"forearm{side}")
    down = -bone(motion, "hips", "neck")
    cosine = np.sum(arm * down, axis=-1)
    cosine /= np.linalg.norm(arm, axis=-1) * np.linalg.norm(down, axis=-1)
    raised = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    length, around = case.frames(14), case.frames(float(random.uniform(8, 14)))
    ahead = np.roll(raised, -length)
    # A clavicle that gives nothing as it is (many recordings never turn it) cannot be calmed.
    own = motion.local_rotations[:, motion.index(f"shoulder{side}")]
    gives = rotations.angle_between(own, np.roll(own, -length, axis=0)) > 4.0
    middle = case.pick((raised < 65.0) & (ahead > 95.0) & gives, 0.8)
    if middle is None:
        return None
    parts = [f"shoulder{side}"]
    calmed = _calm(case, parts, middle - around, middle + length + around, size, parts)
    # It shows where the arm is past the setting phase of the rhythm.
    first, last = (frame - motion.frame(0) for frame in (calmed.first, calmed.last))
    high = first + np.flatnonzero(raised[first : last + 1] > 60.0)
    return fault(calmed.motion, parts, int(high[0]), int(high[-1]))


def freeze_fingers(case: Case, size: float) -> Fault | None:
    """Keep all fingers of a hand in one pose for some seconds while the hand travels."""
    motion = case.motion
    side = case.choose(list_sides(motion, "hand", "index", "middle"))
    if side is None:
        return None
    length = max(2, round(size * motion.fps))
    moving = speed_of(motion, f"hand{side}", f"upper_arm{side}") > 0.12
    first = case.pick(_all_ahead(_bridge(moving, case.frames(14)), length), 0.2)
    if first is None or first + length >= motion.frame_count:
        return None
    joints = [joint for finger in (*FINGERS, "thumb") for joint in motion.chain(f"{finger}{side}")]
    frozen = reposing.hold(
        motion, joints, motion.frame(first), motion.frame(first + length - 1), case.frames(3)
    )
    return fault(frozen, [f"hand{side}", *joints], first, first + length - 1)


def straighten_finger(case: Case, size: float) -> Fault | None:
    """Stretch one finger out straight for some seconds while the hand travels."""
    motion = case.motion
    side = case.choose(list_sides(motion, "hand", "index", "middle"))
    finger = case.choose(FINGERS)
    if side is None or len(motion.chain(f"{finger}{side}")) < 3:
        return None
    length = max(2, round(size * motion.fps))
    moving = speed_of(motion, f"hand{side}", f"upper_arm{side}") > 0.12
    first = case.pick(_all_ahead(_bridge(moving, case.frames(14)), length), 0.2)
    if first is None or first + length >= motion.frame_count:
        return None
    chain = motion.chain(f"{finger}{side}")
    share = reposing.ramp(
        motion, motion.frame(first), motion.frame(first + length - 1), case.frames(4)
    )
    turns = {}
    for above, joint in zip(chain, chain[1:], strict=False):
        line = motion.tail(above) - motion.head(above)
        seen = rotations.rotate(rotations.conjugate(motion.rotation(above)), line)
        row = motion.index(joint)
        own = motion.local_rotations[:, row]
        points = rotations.rotate(own, _own_line(motion, joint))
        straight = rotations.multiply(reposing.shortest_turn(points, seen), own)
        turns[joint] = reposing.mix(own, straight, share)
    return fault(reposing.repose(motion, turns), chain, first, first + length - 1)


def overstretch(case: Case, size: float) -> Fault | None:
    """Pull the end of an arm out of its reach by a share of the arm's length and let it back."""
    motion, random = case.motion, case.random
    side = case.choose(list_sides(motion, "upper_arm", "forearm", "hand"))
    half = case.frames(float(random.uniform(8, 14)))
    if side is None:
        return None
    limb = limbs.arm(side)
    root, middle, tip = (motion.head(part) for part in limb)
    length = np.linalg.norm(middle - root, axis=-1) + np.linalg.norm(tip - middle, axis=-1)
    stretch = np.linalg.norm(tip - root, axis=-1) / length
    at = case.pick((stretch > 0.85) & (stretch < 0.97), 0.8)
    if at is None:
        return None
    frames = np.arange(motion.frame_count)
    bump = 0.5 + 0.5 * np.cos(np.pi * np.clip((frames - at) / half, -1.0, 1.0))
    wanted = stretch + bump * (1.0 + size / 100.0 - stretch[at])
    target = root + (tip - root) * (wanted / stretch)[:, np.newaxis]
    pulled = limbs.place_end(motion, limb, target, frames=bump > 0.0)
    inside = np.flatnonzero((wanted >= 1.0) & (bump > 0.0))
    first, last = (inside[0], inside[-1]) if len(inside) else (at, at)
    return fault(pulled, [f"forearm{side}", f"hand{side}"], int(first), int(last))


def _calm(
    case: Case, parts: list[str], first: int, last: int, share: float, right: list[str]
) -> Fault:
    """Take a share of the parts' own turning away on rows first .. last."""
    motion = case.motion
    first, last = max(0, first), min(motion.frame_count - 1, last)
    ease = share * reposing.ramp(motion, motion.frame(first), motion.frame(last), case.frames(4))
    turns = {}
    for part in parts:
        own = motion.local_rotations[:, motion.index(part)]
        held = np.broadcast_to(own[(first + last) // 2], own.shape)
        turns[part] = reposing.mix(own, held, ease)
    return fault(reposing.repose(motion, turns), right, first, last)


def _set_hand(
    case: Case, side: str, world: np.ndarray, first: int, last: int, blend_at_24: int
) -> Fault:
    motion = case.motion
    share = reposing.ramp(motion, motion.frame(first), motion.frame(last), case.frames(blend_at_24))
    mixed = reposing.mix(motion.rotation(f"hand{side}"), world, share)
    own = rotations.relative(motion.rotation(motion.parent_of(f"hand{side}")), mixed)
    return fault(reposing.repose(motion, {f"hand{side}": own}), [f"hand{side}"], first, last)


def _list_pointing(motion: Motion) -> list[str]:
    """Return the sides on which a hand has a length, so that it points somewhere."""
    return [
        side
        for side in list_sides(motion, "forearm", "hand")
        if np.linalg.norm(_hand_direction(motion, side), axis=-1).min() > 1e-4 * motion.height
    ]


def _hand_direction(motion: Motion, side: str) -> np.ndarray:
    """Return where the hand points: to the middle of its knuckles, along its bone, or (where
    both lie in the wrist itself) to its fingertips."""
    wrist = motion.head(f"hand{side}")
    fingers = [f"{finger}{side}" for finger in FINGERS if motion.has(f"{finger}{side}")]
    knuckles = [np.mean([motion.head(finger) for finger in fingers], axis=0)] if fingers else []
    for end in (*knuckles, motion.tail(f"hand{side}")):
        if np.linalg.norm(end - wrist, axis=-1).min() >= 0.01 * motion.height:
            return end - wrist
    return np.mean([motion.tail(motion.chain(finger)[-1]) for finger in fingers], axis=0) - wrist


def _own_line(motion: Motion, part: str) -> np.ndarray:
    """Return the vector from a part's joint to its end in the part's own axes, shape (F, 3)."""
    line = motion.tail(part) - motion.head(part)
    return rotations.rotate(rotations.conjugate(motion.rotation(part)), line)


def _sample(world: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Return rotations at fractional rows, the ends held."""
    rows = np.clip(rows, 0.0, len(world) - 1.0)
    low = np.minimum(rows.astype(int), len(world) - 2)
    share = (rows - low)[:, np.newaxis]
    return rotations.normalize(world[low] * (1.0 - share) + world[low + 1] * share)


def _within(way: np.ndarray, length: int, degrees: float) -> np.ndarray:
    """Say from which frames on so many degrees are gone through within `length` frames."""
    result = np.zeros(len(way), dtype=bool)
    result[: len(way) - length] = way[length:] - way[:-length] >= degrees
    return result


def _all_ahead(mask: np.ndarray, length: int) -> np.ndarray:
    """Say from which frames on `mask` stays true for `length` frames."""
    total = np.concatenate(([0], np.cumsum(mask)))
    result = np.zeros(len(mask), dtype=bool)
    if length < len(mask):
        result[: len(mask) - length + 1] = (total[length:] - total[:-length]) == length
    return result


def _bridge(mask: np.ndarray, longest: int) -> np.ndarray:
    """Close gaps of at most `longest` frames."""
    closed = mask.copy()
    rows = np.flatnonzero(mask)
    for one, other in zip(rows, rows[1:], strict=False):
        if other - one - 1 <= longest:
            closed[one:other] = True
    return closed


RIGID = "practice: under a tenth of a natural share nothing is seen to move"
SHARES = (0.3, 0.6, 0.9, 0.97, 1.0)
SECONDS = (0.4, 0.8, 1.5, 2.5, 4.0)

ENTRIES = (
    {
        "check": "ik-lock",
        "code": "held-in-world",
        "sizes": (0.2, 0.4, 0.7, 0.95, 1.0),
        "unit": "share of the hand's turn taken away",
        "visible_from": 0.95,
        "reason": "practice: of 30 degrees of forearm the hand shows one or two, within what an "
        "eye takes for still",
        "plant": lock_in_world,
        "families": (FORMULA, WALK, GESTURE, CAPTURE, RIG),
    },
    {
        "check": "stiff-wrist",
        "code": "rigid-wrist",
        "sizes": SHARES,
        "unit": "share of the wrist's turn taken away",
        "visible_from": 0.97,
        "reason": RIGID,
        "plant": stiffen_wrist,
        "families": SWINGING,
    },
    {
        "check": "stiff-wrist",
        "code": "hand-leads",
        "sizes": (0.5, 1.0, 2.0, 4.0, 6.0),
        "unit": "frames at 24 fps ahead",
        "visible_from": 4.0,
        "reason": "practice: hands drag by 1 to 2 frames; twice that the other way reads as pulled",
        "plant": lead_with_hand,
        "families": SWINGING,
    },
    {
        "check": "wrist-line",
        "code": "ruler-line",
        "sizes": SECONDS,
        "unit": "s straight",
        "visible_from": 1.5,
        "reason": "practice: three gestures with the same ruler-straight arm",
        "plant": straighten_wrist,
        "families": (FORMULA, WALK, GESTURE, CAPTURE, RIG),
    },
    {
        "check": "wrist-line",
        "code": "overbent",
        "sizes": (60.0, 75.0, 85.0, 100.0, 120.0),
        "unit": "deg of bend",
        "visible_from": 100.0,
        "reason": "20 degrees past the published range of 80 (AAOS)",
        "plant": overbend_wrist,
        "families": (FORMULA, GESTURE, CAPTURE, RIG),
    },
    {
        "check": "idle-chest",
        "code": "chest-stays",
        "sizes": SHARES,
        "unit": "share of the trunk's turn taken away",
        "visible_from": 0.97,
        "reason": RIGID,
        "plant": still_chest,
        "families": SWINGING,
        "kinds": ("throws", "swings", "Boxing", "01_0", "fencing"),
    },
    {
        "check": "idle-shoulder",
        "code": "arm-without-clavicle",
        "sizes": SHARES,
        "unit": "share of the clavicle's turn taken away",
        "visible_from": 0.97,
        "reason": RIGID,
        "plant": still_shoulder,
        "families": (FORMULA, GESTURE, CAPTURE, RIG),
        "kinds": ("overhead", "waving", "reaches", "Boxing", "01_03", "fencing"),
    },
    {
        "check": "frozen-hand-pose",
        "code": "one-pose",
        "sizes": (0.5, 1.0, 2.0, 4.0, 6.0),
        "unit": "s in one pose",
        "visible_from": 4.0,
        "reason": "practice: the length of a phrase of acting",
        "plant": freeze_fingers,
        "families": (FORMULA, WALK, GESTURE, RIG),
        "seconds": 8.0,
    },
    {
        "check": "frozen-hand-pose",
        "code": "straight-finger",
        "sizes": (0.5, 1.0, 2.0, 4.0, 6.0),
        "unit": "s straight",
        "visible_from": 4.0,
        "reason": "practice: the length of a phrase of acting",
        "plant": straighten_finger,
        "families": (FORMULA, WALK, GESTURE, RIG),
        "seconds": 8.0,
    },
    {
        "check": "joint-snap",
        "code": "full-stretch",
        "sizes": (0.0, 0.5, 1.5, 4.0, 8.0),
        "unit": "% of the limb's length out of reach",
        "visible_from": 4.0,
        "reason": "practice: two centimetres past the reach lock the elbow for several frames",
        "plant": overstretch,
        "families": SWINGING,
    },
)
