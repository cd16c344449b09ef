# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Acting put on a cart and filmed: good operators, and what goes wrong with a camera.

The acting rolls across on a cart; the camera stands off it on its -Y side and looks along +Y.
Lengths are in body heights, times in seconds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import figure
import formula_motions
import numpy as np
import set_dressing
import shot_camera
from scipy.spatial.transform import Rotation

from fettle.core_math.motion import Motion

DISTANCE = 4.5
"""From the camera to the cart: the whole body fits into the picture's height."""

WIDTH = 36.0 / 50.0 * DISTANCE
"""What the default lens sees there."""

ROLL_S = 1.5
"""How long the cart rolls, from rest to rest."""


@dataclass
class Take:
    """What happens: where the cart and the camera are, how the camera turns and zooms.

    Attributes
    ----------
    cart, rail : ndarray, shape (F, 3), body heights
        Ways of the cart, and of the camera from its place square to where the cart starts.
    turns : ndarray, shape (F, 3), degrees
        Pan (to the left), tilt (up) and roll.
    lens_mm : ndarray, shape (F,)
    """

    cart: np.ndarray
    rail: np.ndarray
    turns: np.ndarray
    lens_mm: np.ndarray


def start_take(motion: Motion) -> Take:
    """Return a take in which nothing moves."""
    count = motion.frame_count
    return Take(
        np.zeros((count, 3)), np.zeros((count, 3)), np.zeros((count, 3)), np.full(count, 50.0)
    )


def film(motion: Motion, take: Take, **camera: object) -> Motion:
    """Return the acting on its cart with the shot camera that filmed it."""
    middle = motion.heads.mean(axis=(0, 1))
    way = take.cart * motion.height
    place = middle + take.rail * motion.height
    place[:, 1] -= DISTANCE * motion.height
    pan, tilt, roll = take.turns.T
    turned = Rotation.from_euler("ZXZ", np.stack((pan, tilt + 90.0, roll), axis=-1), degrees=True)
    roots = [row for row, above in enumerate(motion.parents) if above < 0]
    local_heads = motion.local_heads.copy()
    local_heads[:, roots] += way[:, np.newaxis]
    wxyz = turned.as_quat(scalar_first=True)
    dots = np.sum(wxyz[1:] * wxyz[:-1], axis=-1)
    wxyz[1:] *= np.cumprod(np.where(dots < 0.0, -1.0, 1.0))[:, np.newaxis]
    return replace(
        motion,
        heads=motion.heads + way[:, np.newaxis],
        tails=motion.tails + way[:, np.newaxis],
        local_heads=local_heads,
        camera=shot_camera.make_camera(place, wxyz, lens_mm=take.lens_mm, **camera),
        _memo={},
    )


def roll(motion: Motion, start: float, width: float = WIDTH, seconds: float = ROLL_S) -> np.ndarray:
    """Return a way from rest to rest by the minimum-jerk profile, shape (F,); `start` in frames."""
    frames = np.arange(motion.frame_count)
    return width * figure.minimum_jerk((frames - start) / (seconds * motion.fps))


def shake(motion: Motion, random: np.random.Generator, rms_degrees: float) -> np.ndarray:
    """Return the shake of a camera in the hand, shape (F, 3), degrees.

    A sum of sines from 0.3 to 10 Hz whose amplitude falls with the frequency, as that of a random
    walk does, with the tremor of a hand (8 to 12 Hz) a hundredth of it (from memory).
    """
    time = np.arange(motion.frame_count) / motion.fps
    hertz = np.geomspace(0.3, 10.0, 24)
    hertz = hertz[hertz < 0.4 * motion.fps]
    phases = random.uniform(0.0, 2.0 * np.pi, (len(hertz), 3))
    waves = np.sin(2.0 * np.pi * hertz[:, None, None] * time[:, None] + phases[:, None])
    noise = np.sum(waves / hertz[:, None, None], axis=0)
    noise *= [1.0, 1.0, 0.5]
    return noise * rms_degrees / np.sqrt(np.mean(noise[:, :2] ** 2))


def follow_by_spring(way: np.ndarray, fps: float, seconds: float) -> np.ndarray:
    """Return a critically damped follower of a way; `seconds` is its time constant."""
    small, sub = 1.0 / fps / 16.0, 16
    place = speed = 0.0
    fine = np.interp(np.arange(len(way) * sub) / sub, np.arange(len(way)), way)
    followed = np.zeros(len(way))
    for number, target in enumerate(fine):
        speed += small * ((target - place) / seconds**2 - 2.0 * speed / seconds)
        place += small * speed
        if number % sub == 0:
            followed[number // sub] = place
    return followed


def aim(motion: Motion, take: Take, at: np.ndarray) -> None:
    """Turn the take's camera towards points on the floor plan, shape (F, 2), body heights."""
    ahead = at - take.rail[:, :2] + [0.0, DISTANCE]
    take.turns[:, 0] = np.degrees(np.unwrap(np.arctan2(-ahead[:, 0], ahead[:, 1])))


def _steady(motion, take, random):
    take.cart[:, 0] = take.rail[:, 0] = roll(motion, motion.fps * random.uniform(1.0, 2.0))


def _spring(motion, take, random):
    way = roll(motion, motion.fps * random.uniform(1.0, 2.0), 0.7 * WIDTH, 2.0)
    take.cart[:, 0] = way
    take.rail[:, 0] = follow_by_spring(way, motion.fps, random.uniform(0.04, 0.07))


def _locked_off(motion, take, random):
    take.cart[:, 0] = roll(motion, motion.fps * 1.5, 0.6 * WIDTH) - 0.3 * WIDTH


def _hand_held(motion, take, random):
    take.turns += shake(motion, random, random.uniform(0.15, 0.5))


def _hand_held_follow(motion, take, random):
    _steady(motion, take, random)
    take.turns += shake(motion, random, random.uniform(0.2, 0.7))


def _whip_pan(motion, take, random):
    start = motion.fps * random.uniform(2.0, 3.0)
    take.turns[:, 0] = roll(motion, start, 50.0, random.uniform(0.25, 0.4)) - 50.0


def _push_in(motion, take, random):
    take.rail[:, 1] = roll(motion, motion.fps * 0.5, 0.35 * DISTANCE, 4.0)


def _zoom_in(motion, take, random):
    take.lens_mm = 50.0 + roll(motion, motion.fps * 0.8, 35.0, 3.0)


def _orbit(motion, take, random):
    angle = np.radians(roll(motion, motion.fps * 0.7, 70.0, 4.0))
    take.rail[:, 0] = DISTANCE * np.sin(angle)
    take.rail[:, 1] = DISTANCE * (1.0 - np.cos(angle))
    aim(motion, take, np.zeros((motion.frame_count, 2)))


def _pan_follow(motion, take, random):
    take.cart[:, 0] = roll(motion, motion.fps * 1.2, 1.5 * WIDTH, 3.0) - 0.75 * WIDTH
    aim(motion, take, take.cart[:, :2])


def _leaves_frame(motion, take, random):
    take.cart[:, 0] = roll(motion, motion.fps * random.uniform(1.0, 2.0), 1.5 * WIDTH, 1.8)


def _follows_another(motion, take, random):
    take.cart[:, 0] = -0.15 * WIDTH
    take.rail[:, 0] = roll(motion, motion.fps * 1.5, 1.2 * WIDTH, 2.5)


OPERATORS = {
    "steady follow": _steady,
    "spring follow": _spring,
    "locked off": _locked_off,
    "hand-held": _hand_held,
    "hand-held follow": _hand_held_follow,
    "whip pan": _whip_pan,
    "push-in": _push_in,
    "zoom-in": _zoom_in,
    "orbit": _orbit,
    "pan follow": _pan_follow,
    "subject leaves": _leaves_frame,
    "follows another": _follows_another,
}
"""Good cameras: every check of the camera has to be quiet on what they film."""


def make_operated(kind: str, seed: int, fps: float) -> Motion:
    """Film reaches by a good operator."""
    random = np.random.default_rng(seed)
    motion = formula_motions.make_reaches(seed, fps)
    take = start_take(motion)
    OPERATORS[kind](motion, take, random)
    filmed = film(motion, take)
    # A set of a few things behind, as every shot has.
    return set_dressing.dress(filmed, *set_dressing.scatter_behind(filmed, 6, random), step=4)
