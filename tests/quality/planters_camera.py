# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of the camera: it starts late, loses its subject, hitches; a subject that is too fast.

The clips have no camera, so each planter films one: the acting is put on a cart that rolls across
in front of a camera on a rail of its own, square to it. Without the fault the camera rolls along
exactly as the cart does.
"""

from __future__ import annotations

from dataclasses import replace

import figure
import numpy as np
import shot_camera
from planting_case import GESTURE, Case, Fault, fault

from fettle.core_math.motion import Motion

DISTANCE = 4.5
"""Body heights from the rail to the cart: the whole body fits into the picture's height."""

WIDTH = 36.0 / 50.0 * DISTANCE
"""What the default lens sees there, in body heights."""

ROLL_S = 1.5
"""How long the cart rolls, from rest to rest."""


def start_late(case: Case, size: float) -> Fault | None:
    """The camera rolls the same way, `size` frames at 24 fps later."""
    start = _start(case)
    count, late = case.motion.frame_count, size * case.motion.fps / 24.0
    cart = _roll(count, case.motion.fps, start, WIDTH)
    camera = _roll(count, case.motion.fps, start + late, WIDTH)
    filmed = _film(case.motion, cart, camera)
    last = start + late + ROLL_S * case.motion.fps
    return fault(filmed, ["camera"], round(start), min(round(last), count - 1))


def lose_framing(case: Case, size: float) -> Fault | None:
    """The camera runs away from its subject by `size` % of the width and comes back."""
    start, count, fps = _start(case), case.motion.frame_count, case.motion.fps
    cart = _roll(count, fps, start, WIDTH)
    along = np.clip((np.arange(count) - start) / (ROLL_S * fps), 0.0, 1.0)
    camera = cart + size / 100.0 * WIDTH * np.sin(np.pi * along) ** 2
    last = min(round(start + ROLL_S * fps), count - 1)
    return fault(_film(case.motion, cart, camera), ["camera"], round(start), last)


def bump_camera(case: Case, size: float) -> Fault | None:
    """The camera jumps aside by `size` % of the width for a single frame while it rolls."""
    start, count, fps = _start(case), case.motion.frame_count, case.motion.fps
    cart = _roll(count, fps, start, WIDTH)
    at = round(start + case.random.uniform(0.3, 0.7) * ROLL_S * fps)
    camera = cart.copy()
    camera[at] += size / 100.0 * WIDTH
    return fault(_film(case.motion, cart, camera), ["camera"], at, at)


def outrun_frames(case: Case, size: float) -> Fault | None:
    """The subject darts past a locked-off camera, `size` trunk lengths a frame for three frames."""
    motion = case.motion
    trunk = float(np.median(np.linalg.norm(motion.head("head") - motion.head("hips"), axis=-1)))
    at = round(_start(case))
    steps = np.zeros(motion.frame_count - 1)
    steps[at : at + 3] = size * trunk / motion.height
    cart = np.concatenate(([0.0], np.cumsum(steps)))
    cart -= cart[-1] / 2.0
    filmed = _film(motion, cart, np.zeros_like(cart))
    return fault(filmed, ["hips"], at, at + 3)


def _start(case: Case) -> float:
    """Draw the frame (index) on which the cart sets off, with room for what follows."""
    fps, count = case.motion.fps, case.motion.frame_count
    return float(case.random.uniform(1.0 * fps, count - (ROLL_S + 1.5) * fps))


def _roll(count: int, fps: float, start: float, width: float) -> np.ndarray:
    """Return a way from rest to rest by the minimum-jerk profile, body heights, (F,)."""
    return width * figure.minimum_jerk((np.arange(count) - start) / (ROLL_S * fps))


def _film(motion: Motion, cart: np.ndarray, rail: np.ndarray) -> Motion:
    """Return the acting on a cart along X, seen from a rail beside it, both in body heights."""
    middle = motion.heads.mean(axis=(0, 1))
    way = np.zeros((motion.frame_count, 3))
    way[:, 0] = cart * motion.height
    place = np.tile(middle, (motion.frame_count, 1))
    place[:, 0] += rail * motion.height
    place[:, 1] -= DISTANCE * motion.height
    roots = [row for row, above in enumerate(motion.parents) if above < 0]
    local_heads = motion.local_heads.copy()
    local_heads[:, roots] += way[:, np.newaxis]
    return replace(
        motion,
        heads=motion.heads + way[:, np.newaxis],
        tails=motion.tails + way[:, np.newaxis],
        local_heads=local_heads,
        camera=shot_camera.make_camera(place),
        _memo={},
    )


ENTRIES = (
    {
        "check": "strobe",
        "code": "separate-pictures",
        "sizes": (0.5, 0.8, 1.2, 2.0, 3.0),
        "unit": "trunk lengths a frame",
        "visible_from": 2.0,
        "reason": "practice: a gap as wide as the picture itself lies between two pictures",
        "plant": outrun_frames,
        "families": (GESTURE,),
    },
    {
        "check": "late-camera",
        "code": "waits-then-rushes",
        "sizes": (1.0, 3.0, 5.0, 8.0, 14.0),
        "unit": "frames at 24 fps",
        "visible_from": 8.0,
        "reason": "practice: a third of a second, longer than a person takes to react (0.2 to "
        "0.25 s)",
        "plant": start_late,
        "families": (GESTURE,),
    },
    {
        "check": "framing-drift",
        "code": "wanders",
        "sizes": (1.0, 3.0, 6.0, 11.0, 20.0),
        "unit": "% of the frame's width",
        "visible_from": 11.0,
        "reason": "practice: a third of the way from the middle to where a face leaves the frame",
        "plant": lose_framing,
        "families": (GESTURE,),
    },
    {
        "check": "camera-hitch",
        "code": "jumps",
        "sizes": (0.1, 0.3, 0.6, 1.5, 4.0),
        "unit": "% of the frame's width",
        "visible_from": 1.5,
        "reason": "practice: 29 pixels of 1920 of the whole picture; one picture of 13 ms is seen "
        "(Potter et al. 2014)",
        "plant": bump_camera,
        "families": (GESTURE,),
    },
)
