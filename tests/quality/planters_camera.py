# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of the camera: it starts late, loses its subject, hitches; a subject that is too fast.

The clips have no camera, so each planter films one: the acting is put on a cart that rolls across
in front of a camera on a rail of its own, square to it. Without the fault the camera rolls along
exactly as the cart does.
"""

from __future__ import annotations

import filming
import numpy as np
import set_dressing
from filming import ROLL_S, WIDTH
from planting_case import GESTURE, Case, Fault, fault

from fettle.core_math.motion import Motion


def start_late(case: Case, size: float) -> Fault | None:
    """The camera rolls the same way, `size` frames at 24 fps later."""
    start = _start(case)
    count, late = case.motion.frame_count, size * case.motion.fps / 24.0
    cart = filming.roll(case.motion, start)
    camera = filming.roll(case.motion, start + late)
    filmed = _film(case.motion, cart, camera)
    last = start + late + ROLL_S * case.motion.fps
    return fault(filmed, ["camera"], round(start), min(round(last), count - 1))


def lose_framing(case: Case, size: float) -> Fault | None:
    """The camera runs away from its subject by `size` % of the width and comes back."""
    start, count, fps = _start(case), case.motion.frame_count, case.motion.fps
    cart = filming.roll(case.motion, start)
    along = np.clip((np.arange(count) - start) / (ROLL_S * fps), 0.0, 1.0)
    camera = cart + size / 100.0 * WIDTH * np.sin(np.pi * along) ** 2
    last = min(round(start + ROLL_S * fps), count - 1)
    return fault(_film(case.motion, cart, camera), ["camera"], round(start), last)


def bump_camera(case: Case, size: float) -> Fault | None:
    """The picture jumps by `size` % of the width for a frame, or jumps and stays.

    Whatever the camera is doing: aside, up, round (roll) or inwards (zoom); the latter two as they
    show a quarter of the width from the middle.
    """
    motion = case.motion
    at = case.pick(np.ones(motion.frame_count, dtype=bool), 1.0)
    how = case.choose(("aside", "aside", "up", "round", "in"))
    stays = case.random.uniform() < 0.25
    if at is None:
        return None
    off = np.zeros(motion.frame_count)
    off[at : None if stays else at + 1] = size / 100.0
    take = _film_gently(case)
    if how == "aside":
        take.rail[:, 0] += off * WIDTH
    elif how == "up":
        take.rail[:, 2] += off * WIDTH
    elif how == "round":
        take.turns[:, 2] += np.degrees(4.0 * off)
    else:
        take.lens_mm *= 1.0 + 4.0 * off
    return fault(filming.film(motion, take), ["camera"], at, at)


def start_hard(case: Case, size: float) -> Fault | None:
    """A pan sets off at once at `size` % of the width a frame at 24 fps, and eases out."""
    motion, start = case.motion, round(_start(case))
    speed = size / 100.0 * WIDTH * 24.0 / motion.fps
    along = np.clip((np.arange(motion.frame_count) - start) / (ROLL_S * motion.fps), 0.0, 1.0)
    take = filming.start_take(motion)
    # Its speed falls evenly to nothing.
    take.rail[:, 0] = speed * ROLL_S * motion.fps * (along - 0.5 * along**2)
    return fault(filming.film(motion, take), ["camera"], start, start + 1)


def stop_and_go(case: Case, size: float) -> Fault | None:
    """The camera stands still for `size` frames at 24 fps in the middle of its way."""
    motion, start = case.motion, _start(case)
    stop, late = round(start + 0.5 * ROLL_S * motion.fps), case.frames(size)
    frames = np.arange(motion.frame_count)
    shown = np.where(frames < stop, frames, np.maximum(stop, frames - late))
    cart = filming.roll(motion, start)
    return fault(_film(motion, cart, cart[shown]), ["camera"], stop, stop + late)


def stand_before(case: Case, size: float) -> Fault | None:
    """A crate as high as `size` % of the body's points slides in front of it for a second."""
    motion, fps = case.motion, case.motion.fps
    filmed = filming.film(motion, filming.start_take(motion))
    at = case.pick(np.ones(motion.frame_count, dtype=bool), 1.2)
    if at is None:
        return None
    first, last = at, min(at + round(fps), motion.frame_count - 1)
    points = np.concatenate((filmed.heads, 0.5 * (filmed.heads + filmed.tails)), axis=1)
    eye = filmed.camera.positions[0]
    # Where the sight lines pass the crate's near side, half way to the body.
    passing = eye + 0.5 * (points[first : last + 1] - eye)
    top = float(np.percentile(passing[..., 2], size))
    side, deep = motion.height, eye[1] + 0.5 * filming.DISTANCE * motion.height
    low = np.array([eye[0] - side, deep - 0.1 * side, passing[..., 2].min() - side])
    high = np.array([eye[0] + side, deep - 0.02 * side, top])
    lows = np.tile(low, (motion.frame_count, 1, 1))
    highs = np.tile(high, (motion.frame_count, 1, 1))
    away = np.ones(motion.frame_count, dtype=bool)
    away[first : last + 1] = False
    lows[away, :, 0] += 5.0 * side
    highs[away, :, 0] += 5.0 * side
    dressed = set_dressing.dress(filmed, lows, highs)
    part = "hips" if motion.has("hips") else motion.parts[0]
    return fault(dressed, [part], first, last)


def crowd_around(case: Case, size: float) -> Fault | None:
    """So many small crates stand behind the subject, as sharp as it is."""
    motion = case.motion
    filmed = filming.film(motion, filming.start_take(motion))
    boxes = set_dressing.scatter_behind(filmed, round(size), case.random)
    dressed = set_dressing.dress(filmed, *boxes, step=4)
    return fault(dressed, ["camera"], 0, motion.frame_count - 1)


def outrun_frames(case: Case, size: float) -> Fault | None:
    """The subject darts past a locked-off camera, `size` trunk lengths a frame for three frames."""
    motion = case.motion
    if motion.cadence > 1:
        return None  # three frames are one drawing there
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


def _film(motion: Motion, cart: np.ndarray, rail: np.ndarray) -> Motion:
    """Return the acting on a cart along X, seen from a rail beside it, both in body heights."""
    take = filming.start_take(motion)
    take.cart[:, 0], take.rail[:, 0] = cart, rail
    return filming.film(motion, take)


def _film_gently(case: Case) -> filming.Take:
    """Return a take of a camera that follows, stands in a hand, or zooms in slowly."""
    take = filming.start_take(case.motion)
    kind = case.choose(("steady follow", "hand-held", "zoom-in"))
    filming.OPERATORS[kind](case.motion, take, case.random)
    return take


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
    {
        "check": "camera-hitch",
        "code": "kinks",
        "sizes": (0.1, 0.3, 0.7, 1.4, 3.0),
        "unit": "% of the frame's width a frame at 24 fps",
        "visible_from": 1.4,
        "reason": "practice: twice the fastest pan that cameramen are advised to make (7 s for "
        "the width), out of nothing",
        "plant": start_hard,
        "families": (GESTURE,),
    },
    {
        "check": "camera-hitch",
        "code": "stops-and-goes",
        "sizes": (0.5, 1.0, 2.0, 3.0, 5.0),
        "unit": "frames at 24 fps",
        "visible_from": 2.0,
        "reason": "practice: a camera that stands for two frames in full travel is a stutter",
        "plant": stop_and_go,
        "families": (GESTURE,),
    },
    {
        "check": "blocked-view",
        "code": "behind-things",
        "sizes": (5.0, 15.0, 30.0, 50.0, 80.0),
        "unit": "% of the body",
        "visible_from": 50.0,
        "reason": "practice: up to the waist the pose can still be guessed",
        "plant": stand_before,
        "families": (GESTURE,),
    },
    {
        "check": "lost-in-background",
        "code": "nothing-separates",
        "sizes": (3.0, 8.0, 18.0, 45.0, 120.0),
        "unit": "things",
        "visible_from": 45.0,
        "reason": "practice: some four dozen like things are a pattern, not a place",
        "plant": crowd_around,
        "families": (GESTURE,),
    },
)
