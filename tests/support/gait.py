# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A walk with known contacts, built from published gait figures.

Figures of the walk: stride 0.987 s and 1.415 m, the foot meets the ground at a pitch of 28.3
degrees and at 0.31 to 0.40 m/s and lies flat 8.7 % of the cycle later, the hip rises and falls by
4.8 cm with its maxima at 23 and 81 % of the cycle (all derived from Winter's published table A.1,
as stored in the open repository BMClab/BMC). Toe off at 62 % (the phases of Rancho Los Amigos). The
swing is fitted by SciPy so that the knee bends in one smooth wave, by 68 degrees at 73 % of the
cycle (published: 61 at 70 %), and never locks. Where the heel rises (40 %), the side-to-side shift
and the arms are this file's own choice.

    motion, contacts = gait.make_walk(fps=24.0)
    contacts[".L"]  # [(first frame of contact, flat from, heel off, toe off), ...] in seconds
"""

from __future__ import annotations

from dataclasses import dataclass

import figure
import numpy as np
import reposing

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion

STRIDE_S, STRIDE_M = 0.987, 1.415
CONTACT_PITCH = 28.3
FLAT, HEEL_OFF, TOE_OFF, STEEPEST = 0.087, 0.40, 0.62, 0.698
HIP_RISE = 0.048
HIP_HEIGHT = 0.504
LIFT_OFF_PITCH = -75.0
IMPACT = 0.35
SPEED_UP, SLOW_DOWN = 0.173, 0.357
REACH = 0.997

_H = figure.STATURE
_BALL = np.array([0.0, -0.10, -0.030]) * _H
_HEEL = np.array([0.0, 0.04, -0.039]) * _H
_THIGH, _SHIN = 0.245 * _H, 0.246 * _H
_BALL_HEIGHT = 0.009 * _H


@dataclass(frozen=True)
class Contact:
    """One stance of one foot, in seconds from the first frame."""

    touch: float
    flat: float
    heel_off: float
    toe_off: float


def make_walk(
    fps: float = 24.0,
    seconds: float = 6.0,
    *,
    speed: float = 1.0,
    in_place: bool = False,
    roll_down: float = FLAT,
    hip_rise: float = HIP_RISE,
    hip_shift: float = 0.02,
    slide: float = 0.0,
    arms: bool = True,
    start: int = 1,
    **options: object,
) -> tuple[Motion, dict[str, list[Contact]]]:
    """Walk straight ahead (towards -Y).

    Parameters
    ----------
    fps, seconds : float
    speed : float
        1 is the published walk; stride length and rate both scale with its square root.
    in_place : bool
        True takes the travel out: feet slide backward under the body, as in a cycle.
    roll_down : float
        Share of the cycle from touch to flat.
    hip_rise, hip_shift : float, metres
        Vertical range of the hips, and their shift towards the standing foot.
    slide : float, metres
        How far each foot slides forward while it is planted: a fault.
    """
    count = round(fps * seconds)
    time = np.arange(count) / fps
    stride_s, stride_m = STRIDE_S / np.sqrt(speed), STRIDE_M * np.sqrt(speed)
    cycles = time / stride_s
    travel = cycles * stride_m
    hips = np.zeros((count, 3))
    hips[:, 1] = -travel
    # Maxima at 23 and 81 % are not quite half a cycle apart; the second harmonic sits between.
    hips[:, 2] = HIP_HEIGHT * _H + 0.5 * hip_rise * np.cos(4.0 * np.pi * (cycles - 0.27))
    hips[:, 0] = -hip_shift * np.sin(2.0 * np.pi * (cycles - 0.06))
    pelvis = figure.turn((0, 0, 1), 4.0 * np.cos(2.0 * np.pi * cycles))
    feet = {
        ".R": _move_foot(cycles, stride_m, roll_down, slide),
        ".L": _move_foot(cycles + 0.5, stride_m, roll_down, slide),
    }
    angles: dict[str, np.ndarray] = {"hips": pelvis}
    places = {}
    for side, (ball, _) in feet.items():
        sign = 1.0 if side == ".L" else -1.0
        # _move_foot counts cycles of its own foot; the left one is half a cycle ahead.
        along = -ball[:, 0] + (0.5 * stride_m if side == ".L" else 0.0)
        places[side] = np.stack((np.full(count, 0.0955 * _H * sign), along, ball[:, 1]), axis=-1)
    # Long strides need lower hips, or the legs would lock.
    for _ in range(4):
        reach = max(
            np.linalg.norm(
                _find_ankle(place, feet[side][1]) - _find_hip_joint(hips, pelvis, side), axis=-1
            ).max()
            for side, place in places.items()
        )
        hips[:, 2] -= 1.2 * max(0.0, reach - REACH * (_THIGH + _SHIN))
    for side, place in places.items():
        sign = 1.0 if side == ".L" else -1.0
        angles |= _pose_leg(hips, pelvis, place, feet[side][1], side, sign)
    if arms:
        angles |= _pose_arms(cycles)
    root = np.zeros((count, 3))
    root[:, :2] = hips[:, :2]
    root[:, 2] = hips[:, 2] - 0.53 * _H
    if in_place:
        root[:, 1] += travel
    motion = figure.make_motion(angles, count, fps=fps, root_path=root, start=start, **options)
    return motion, {
        side: _list_contacts(shift, stride_s, seconds, roll_down)
        for side, shift in ((".R", 0.0), (".L", 0.5))
    }


def _move_foot(
    cycles: np.ndarray, stride: float, roll_down: float, slide: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return where the ball is (ahead, up) and the foot's pitch in degrees (toe up positive)."""
    number, phase = np.floor(cycles), cycles % 1.0
    ahead = 0.39 * stride + number * stride
    flat_ball = np.stack((ahead, np.full(len(cycles), _BALL_HEIGHT)), axis=-1)
    pitch = np.zeros(len(cycles))

    roll = phase < roll_down
    pitch[roll] = CONTACT_PITCH * (1.0 - _ease(phase[roll] / roll_down))
    ball = flat_ball.copy()
    # While it rolls down the foot turns about its heel.
    radians = np.radians(pitch[roll])
    reach = np.array([-(_BALL[1] - _HEEL[1]), _BALL[2] - _HEEL[2]])
    heel = flat_ball[roll] - reach
    ball[roll] = heel + np.stack(
        (
            reach[0] * np.cos(radians) - reach[1] * np.sin(radians),
            reach[0] * np.sin(radians) + reach[1] * np.cos(radians),
        ),
        axis=-1,
    )
    # The heel goes on rising a little after the toes have left the ground.
    rise = (phase >= HEEL_OFF) & (phase < STEEPEST)
    risen = (phase[rise] - HEEL_OFF) / (STEEPEST - HEEL_OFF)
    pitch[rise] = LIFT_OFF_PITCH * _ease(risen**1.53)
    lower = phase >= STEEPEST
    fallen = _ease(((phase[lower] - STEEPEST) / (1.0 - STEEPEST)) ** 0.61)
    pitch[lower] = LIFT_OFF_PITCH + (CONTACT_PITCH - LIFT_OFF_PITCH) * fallen
    swing = phase >= TOE_OFF
    u = (phase[swing] - TOE_OFF) / (1.0 - TOE_OFF)
    forward = _speed_up_and_slow_down(u, SPEED_UP, SLOW_DOWN)
    landing = np.radians(CONTACT_PITCH)
    touch = np.array(
        [
            stride - reach[0] + reach[0] * np.cos(landing) - reach[1] * np.sin(landing),
            reach[0] * np.sin(landing) + reach[1] * np.cos(landing) - reach[1],
        ]
    )
    ball[swing, 0] += touch[0] * forward
    # The lowest point of the foot, first the ball, then the heel, keeps clear of the ground; the
    # heel meets it with its published speed, not eased down to it.
    tilt = np.radians(pitch[swing])
    over_heel = reach[0] * np.sin(tilt) + reach[1] * np.cos(tilt) - reach[1]
    soft = 0.037 * (1.0 - u) + 0.004
    clear = IMPACT * (1.0 - TOE_OFF) * STRIDE_S * u**2 * (1.0 - u)
    ball[swing, 1] += soft * np.logaddexp(0.0, over_heel / soft) + clear
    planted = ~swing
    ball[planted, 0] += slide * np.clip((phase[planted] - roll_down) / 0.3, 0.0, 1.0)
    ball[swing, 0] += slide * (1.0 - forward)
    return ball, pitch


def _speed_up_and_slow_down(u: np.ndarray, up: float, down: float) -> np.ndarray:
    """Go from 0 to 1 at a steady speed, eased in over a share `up` and out over `down`."""
    even = np.clip(u, up, 1.0 - down) - up
    start = np.minimum(u, up)
    end = np.maximum(u - (1.0 - down), 0.0)
    way = 0.5 * (start - up / np.pi * np.sin(np.pi * start / up)) + even
    way += 0.5 * (end + down / np.pi * np.sin(np.pi * end / down))
    return way / (1.0 - 0.5 * up - 0.5 * down)


def _find_ankle(ball: np.ndarray, pitch: np.ndarray) -> np.ndarray:
    foot = figure.turn((1, 0, 0), -pitch)
    return ball - rotations.rotate(foot, np.broadcast_to(_BALL, ball.shape))


def _find_hip_joint(hips: np.ndarray, pelvis: np.ndarray, side: str) -> np.ndarray:
    across = [0.0955 * _H * (1.0 if side == ".L" else -1.0), 0.0, 0.0]
    return hips + rotations.rotate(pelvis, np.broadcast_to(across, hips.shape))


def _pose_leg(
    hips: np.ndarray,
    pelvis: np.ndarray,
    ball: np.ndarray,
    pitch: np.ndarray,
    side: str,
    sign: float,
) -> dict[str, np.ndarray]:
    foot = figure.turn((1, 0, 0), -pitch)
    reach = _find_ankle(ball, pitch) - _find_hip_joint(hips, pelvis, side)
    length = np.minimum(np.linalg.norm(reach, axis=-1), 0.9995 * (_THIGH + _SHIN))
    inner = np.arccos((_THIGH**2 + length**2 - _SHIN**2) / (2.0 * _THIGH * length))
    straight = reposing.shortest_turn(np.broadcast_to([0.0, 0.0, -1.0], reach.shape), reach)
    thigh = rotations.multiply(straight, figure.turn((1, 0, 0), -np.degrees(inner)))
    outer = np.arccos((_THIGH**2 + _SHIN**2 - length**2) / (2.0 * _THIGH * _SHIN))
    bend = figure.turn((1, 0, 0), 180.0 - np.degrees(outer))
    shin = rotations.multiply(thigh, bend)
    # The toes stay flat on the ground while the heel rises, and straighten as they leave it.
    lifted = _ease((ball[:, 2] - _BALL_HEIGHT) / 0.06)
    toe = figure.turn((1, 0, 0), np.minimum(pitch, 0.0) * (1.0 - lifted))
    return {
        f"thigh{side}": rotations.relative(pelvis, thigh),
        f"shin{side}": bend,
        f"foot{side}": rotations.relative(shin, foot),
        f"toe{side}": toe,
    }


def _pose_arms(cycles: np.ndarray) -> dict[str, np.ndarray]:
    angles = {
        "chest": figure.turn((0, 0, 1), -7.0 * np.cos(2 * np.pi * (cycles - 0.02))),
        "head": figure.turn((0, 0, 1), 2.0 * np.cos(2 * np.pi * (cycles - 0.1))),
    }
    for side, shift in ((".L", 0.0), (".R", 0.5)):
        phase = 2.0 * np.pi * (cycles + shift)
        angles[f"upper_arm{side}"] = figure.turn((1, 0, 0), -18.0 * np.cos(phase) + 3.0)
        angles[f"forearm{side}"] = figure.turn((1, 0, 0), -22.0 - 9.0 * np.cos(phase - 0.5))
        angles[f"shoulder{side}"] = figure.turn((0, 0, 1), 2.0 * np.cos(phase - 0.2))
        angles[f"hand{side}"] = figure.turn((1, 0, 0), -12.0 - 5.0 * np.cos(phase - 1.1))
        for number, finger in enumerate(("thumb", "index", "middle", "ring", "pinky")):
            play = 5.0 * np.cos(0.6 * phase - 0.2 * number)
            for joint, curl in (("", -18.0), ("/2", -24.0), ("/3", -14.0)):
                angles[f"{finger}{side}{joint}"] = figure.turn((1, 0, 0), curl - play)
    return angles


def _list_contacts(
    shift: float, stride_s: float, seconds: float, roll_down: float
) -> list[Contact]:
    contacts = []
    for number in range(-1, int(seconds / stride_s) + 2):
        touch = (number - shift) * stride_s
        if touch < seconds and touch + TOE_OFF * stride_s > 0.0:
            phases = (0.0, roll_down, HEEL_OFF, TOE_OFF)
            contacts.append(Contact(*(touch + share * stride_s for share in phases)))
    return contacts


def _ease(u: np.ndarray) -> np.ndarray:
    return figure.minimum_jerk(u)
