# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of feet and weight: soft plants, slides, wrong levels, hips that ignore the step."""

from __future__ import annotations

import gait
import limbs
import numpy as np
import reposing
from planting_case import (
    CAPTURE,
    FORMULA,
    GESTURE,
    POSES,
    RIG,
    WALK,
    Case,
    Fault,
    fault,
    list_sides,
)

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion

STANDS_WITHIN = 0.012
"""Share of body height by which a foot may wander in a stretch to be called standing."""

FOOT_WIDTH = 0.055
"""Share of stature (Drillis & Contini 1966, from memory)."""


def roll_down_slowly(case: Case, size: float) -> Fault | None:
    """Walk with feet that take so many frames at 24 fps from touch to flat."""
    assert case.options is not None, "planted into walks only"
    cycle_s = gait.STRIDE_S / np.sqrt(case.options["speed"])
    share = size / 24.0 / cycle_s
    if share > gait.HEEL_OFF - 0.05:
        return None
    motion, contacts = gait.make_walk(**{**case.options, "roll_down": share})
    return _on_one_contact(case, motion, contacts, lambda contact: (contact.touch, contact.flat))


def slide_in_walk(case: Case, size: float) -> Fault | None:
    """Walk with feet that slide forward while they stand."""
    assert case.options is not None, "planted into walks only"
    if case.options.get("in_place"):
        # Feet that all slide alike in a cycle in place are a cycle of another speed.
        return None
    clean, _ = gait.make_walk(**case.options)
    slide = size / 100.0 * clean.height
    motion, contacts = gait.make_walk(**{**case.options, "slide": slide})
    return _on_one_contact(
        case, motion, contacts, lambda contact: (contact.flat, contact.heel_off), "hips"
    )


def drift(case: Case, size: float) -> Fault | None:
    """Let one standing foot drift along the floor while the body goes on."""
    motion, random = case.motion, case.random
    side = case.choose(list_sides(motion, "thigh", "shin", "foot"))
    length = case.frames(float(random.uniform(10, 18)))
    angle = float(random.uniform(0.0, 2.0 * np.pi))
    if side is None:
        return None
    first = case.pick(_stands_ahead(motion, side, length))
    if first is None:
        return None
    u = np.clip((np.arange(motion.frame_count) - first) / length, 0.0, 1.0)
    way = (u * u * (3.0 - 2.0 * u))[:, np.newaxis] * [np.cos(angle), np.sin(angle), 0.0]
    place = motion.head(f"foot{side}") + size / 100.0 * motion.height * way
    moved = limbs.place_end(motion, limbs.leg(side), place, frames=u > 0.0)
    return fault(moved, [f"foot{side}"], first, first + length)


def lift_plant(case: Case, size: float) -> Fault | None:
    """Let one step of a walk land over or under the floor."""
    assert case.options is not None, "planted into walks only"
    motion, contacts = gait.make_walk(**case.options)
    up = case.choose((1.0, -1.0))
    side = case.choose((".L", ".R"))
    inner = _list_inner(contacts[side], motion)
    contact = case.choose(inner[1:-1] if len(inner) > 3 else inner)
    if contact is None:
        return None
    time = np.arange(motion.frame_count) / motion.fps
    ease = 0.3 * gait.STRIDE_S
    inside = np.clip((time - contact.touch) / ease + 1.0, 0.0, 1.0)
    inside = np.minimum(inside, np.clip((contact.toe_off - time) / ease + 1.0, 0.0, 1.0))
    inside = inside * inside * (3.0 - 2.0 * inside)
    shift = np.zeros((motion.frame_count, 3))
    shift[:, 2] = up * size / 100.0 * motion.height * inside
    place = motion.head(f"foot{side}") + shift
    # A stretched leg reaches below the floor only when the hips come down with it.
    lowered = motion if up > 0.0 else limbs.stand_on(motion, shift, inside > 0.0)
    held = motion.rotation(f"foot{side}")
    moved = limbs.place_end(lowered, limbs.leg(side), place, held, frames=inside > 0.0)
    first, last = (round(t * motion.fps) for t in (contact.touch, contact.toe_off))
    return fault(moved, [f"foot{side}"], first, last)


def level_hips(case: Case, size: float) -> Fault | None:
    """Walk with a share of the hips' rise and fall taken away."""
    assert case.options is not None, "planted into walks only"
    rise = gait.HIP_RISE * (1.0 - size)
    motion, _ = gait.make_walk(**{**case.options, "hip_rise": rise})
    return fault(motion, ["hips"], 0, motion.frame_count - 1)


def lean(case: Case, size: float) -> Fault | None:
    """Lean the body over its ankles until its weight is so far outside the feet, and hold it."""
    motion, random = case.motion, case.random
    angle = float(random.uniform(0.0, 2.0 * np.pi))
    hold, ease = case.frames(float(random.uniform(28, 40))), case.frames(18)
    at = case.pick(np.ones(motion.frame_count, dtype=bool), 1.6)
    if at is None or not motion.has("toe.L", "toe.R", "upper_arm.L", "upper_arm.R"):
        return None
    way = np.array([np.cos(angle), np.sin(angle), 0.0])
    ankles = 0.5 * (motion.head("foot.L") + motion.head("foot.R"))
    middle = at + hold // 2
    if middle >= motion.frame_count:
        return None
    weight = _find_weight(motion)
    edge = max(float(point[middle] @ way) for point in _list_sole_points(motion))
    over = weight[middle] - ankles[middle]
    wanted = edge + size / 100.0 * motion.height - float(ankles[middle] @ way)
    # A rigid lean by a: over . way * cos a + height * sin a has to reach the wanted place.
    flat, up = float(over @ way), float(over[2])
    length = float(np.hypot(flat, up))
    if wanted >= length:
        return None
    degrees = np.degrees(np.arcsin(wanted / length) - np.arctan2(flat, up))
    rows = np.arange(motion.frame_count)
    u = np.clip(1.0 - np.maximum(at - rows, rows - at - hold) / ease, 0.0, 1.0)
    tilt = rotations.from_axis_angle(
        np.broadcast_to([-way[1], way[0], 0.0], ankles.shape), degrees * u * u * (3.0 - 2.0 * u)
    )
    above = motion.parent_of("hips")
    base = motion.rotation(above) if above else np.tile([1.0, 0, 0, 0], (len(rows), 1))
    origin = motion.head(above) if above else np.zeros((len(rows), 3))
    place = ankles + rotations.rotate(tilt, motion.head("hips") - ankles)
    world = rotations.multiply(tilt, motion.rotation("hips"))
    back = rotations.conjugate(base)
    leaning = reposing.repose(
        motion,
        {"hips": rotations.relative(base, world)},
        {"hips": rotations.rotate(back, place - origin)},
    )
    for side in (".L", ".R"):
        foot = f"foot{side}"
        leaning = limbs.place_end(
            leaning, limbs.leg(side), motion.head(foot), motion.rotation(foot), u > 0.0
        )
    return fault(leaning, motion.parts, at, min(at + hold, len(rows) - 1))


def _find_weight(motion: Motion) -> np.ndarray:
    """Return the centre of mass, shape (F, 3), by Winter's segment shares (from memory)."""
    total = np.zeros((motion.frame_count, 3))
    hip = 0.5 * (motion.head("thigh.L") + motion.head("thigh.R"))
    shoulder = 0.5 * (motion.head("upper_arm.L") + motion.head("upper_arm.R"))
    total += 0.578 * (hip + 0.66 * (shoulder - hip))
    for side in (".L", ".R"):
        for part, following, mass, share in (
            ("upper_arm", "forearm", 0.028, 0.436),
            ("forearm", "hand", 0.022, 0.682),
            ("thigh", "shin", 0.100, 0.433),
            ("shin", "foot", 0.0465, 0.433),
            ("foot", "toe", 0.0145, 0.5),
        ):
            one, other = motion.head(f"{part}{side}"), motion.head(f"{following}{side}")
            total += mass * (one + share * (other - one))
    return total


def _list_sole_points(motion: Motion) -> list[np.ndarray]:
    """Return toes, heels and the outer edges of both feet, each (F, 3)."""
    points = []
    for side in (".L", ".R"):
        ankle, toe = motion.head(f"foot{side}"), motion.head(f"toe{side}")
        ahead = (toe - ankle) * [1.0, 1.0, 0.0]
        ahead /= np.linalg.norm(ahead, axis=-1, keepdims=True)
        across = np.stack((-ahead[:, 1], ahead[:, 0], np.zeros(len(ahead))), axis=-1)
        half = 0.5 * FOOT_WIDTH * motion.height * across
        points += [motion.tail(f"toe{side}"), ankle - 0.04 * motion.height * ahead]
        points += [p + s for p in (toe, ankle) for s in (half, -half)]
    return points


def _on_one_contact(case: Case, motion: Motion, contacts, span, *also: str) -> Fault | None:
    """Name one of the contacts; the others carry the fault as well."""
    side = case.choose((".L", ".R"))
    contact = case.choose(_list_inner(contacts[side], motion))
    if contact is None:
        return None
    first, last = (round(t * motion.fps) for t in span(contact))
    return fault(motion, [f"foot{side}", *also], first, last)


def _list_inner(contacts: list[gait.Contact], motion: Motion) -> list[gait.Contact]:
    """Return the contacts that begin and end inside the shot."""
    end = (motion.frame_count - 1) / motion.fps
    return [c for c in contacts if c.touch > 0.3 and c.toe_off < end - 0.3]


def _stands_ahead(motion: Motion, side: str, length: int) -> np.ndarray:
    """Say from which frames on a foot is low and keeps its place for `length` frames."""
    ball = motion.head(f"toe{side}") if motion.has(f"toe{side}") else motion.tail(f"foot{side}")
    ankle = motion.head(f"foot{side}")
    low = ball[:, 2] < np.quantile(ball[:, 2], 0.1) + 0.015 * motion.height
    result = np.zeros(motion.frame_count, dtype=bool)
    reach = STANDS_WITHIN * motion.height
    for row in np.flatnonzero(low[: motion.frame_count - length]):
        both = [points[row : row + length + 1] for points in (ball, ankle)]
        result[row] = all(np.ptp(points, axis=0).max() < reach for points in both)
    return result


ENTRIES = (
    {
        "check": "soft-plant",
        "code": "settles-slowly",
        "sizes": (2.0, 3.0, 5.0, 8.0, 11.0),
        "unit": "frames at 24 fps from touch to flat",
        "visible_from": 8.0,
        "reason": "four times what a published walk takes (2.1 frames)",
        "plant": roll_down_slowly,
        "families": (WALK,),
    },
    {
        "check": "foot-slide",
        "code": "slides-while-planted",
        "sizes": (0.6, 1.2, 2.4, 4.0, 8.0),
        "unit": "% H, both feet of a walk",
        "visible_from": 4.0,
        "reason": "7 cm, three times the smallest slide that people notice (21 mm, from memory)",
        "plant": slide_in_walk,
        "families": (WALK,),
    },
    {
        "check": "foot-slide",
        "code": "drifts-where-it-stands",
        "sizes": (0.6, 1.2, 2.4, 4.0, 8.0),
        "unit": "% H, one foot",
        "visible_from": 4.0,
        "reason": "7 cm, three times the smallest slide that people notice (21 mm, from memory)",
        "plant": drift,
        "families": (FORMULA, GESTURE, CAPTURE, RIG),
    },
    {
        "check": "foot-off-ground",
        "code": "other-level",
        "sizes": (0.4, 0.8, 1.6, 2.8, 4.0),
        "unit": "% H over or under",
        "visible_from": 2.8,
        "reason": "practice: 5 cm, more than a sole is thick; the shadow parts from the shoe",
        "plant": lift_plant,
        "families": (WALK,),
    },
    {
        "check": "weightless-hips",
        "code": "hips-stay-level",
        "sizes": (0.3, 0.6, 0.85, 0.95, 1.0),
        "unit": "share of the hips' rise taken away",
        "visible_from": 0.95,
        "reason": "practice: 2 mm of rise left of the published 48; the head runs on a rail",
        "plant": level_hips,
        "families": (WALK,),
    },
    {
        "check": "off-balance",
        "code": "weight-outside-the-feet",
        "sizes": (-3.0, 0.0, 2.5, 5.0, 8.0),
        "unit": "% H outside the soles",
        "visible_from": 5.0,
        "reason": "practice: 9 cm, the width of a foot, beyond the edge of the soles",
        "plant": lean,
        "families": (FORMULA, POSES, GESTURE),
    },
)
