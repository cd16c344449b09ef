# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How the hips take the weight of a step or a landing, in motion and in key poses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import contacts, geometry, series

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

AFTER_S = 0.25
LIFT_SHARE = 0.02  # of its way: a foot that is lifted less is carried (a walk lifts it by a tenth)
PASSING_SHARE = 0.4  # of the way of a foot: in a contact the feet stand half of it apart
SMOOTHING_HZ = 6.0


@dataclass(frozen=True)
class Step:
    """A foot that came down, and what the hips did about it (metres; frames are indices).

    `reach` is how far from its last place the foot came down, `landing` says that no foot was on
    the ground just before, `impact` the speed it came down with in m/s, `play` the vertical range
    of the hips from the touch on, `shift` how far they came towards the foot along the ground.
    """

    frame: int
    last: int
    reach: float
    landing: bool
    impact: float
    play: float
    shift: float


def find_steps(
    feet: Sequence[contacts.Foot],
    stances: Sequence[Sequence[contacts.Stance]],
    hips: FloatArray,
    fps: float,
) -> list[list[Step]]:
    """List each foot's steps and landings inside the shot.

    Parameters
    ----------
    feet, stances : sequences of the same length
    hips : ndarray, shape (F, 3), metres
    fps : float

    Returns
    -------
    list of list of Step
        In the order of `feet`.
    """
    count = len(hips)
    on_ground = np.zeros(count, dtype=np.bool_)
    for stance in (stance for own in stances for stance in own):
        on_ground[stance.touch : stance.off + 1] = True
    smooth = series.smooth(hips, fps, SMOOTHING_HZ)
    result = []
    for foot, own in zip(feet, stances, strict=True):
        steps = []
        for number, stance in enumerate(own):
            if stance.touch == 0:
                continue
            touch = stance.touch
            left = own[number - 1].off if number else 0
            came_from = foot.ball[left]
            reach = float(np.linalg.norm((foot.ball[touch] - came_from)[:2]))
            lift = float(foot.ankle[left : touch + 1, 2].max() - foot.ankle[touch, 2])
            if lift < LIFT_SHARE * reach:
                continue  # carried or sliding along, no step
            last = min(count - 1, touch + round(AFTER_S * fps))
            window = smooth[touch : last + 1]
            steps.append(
                Step(
                    frame=touch,
                    last=last,
                    reach=reach,
                    landing=not on_ground[touch - 1],
                    impact=stance.impact,
                    play=float(np.ptp(window[:, 2])),
                    shift=_shift_towards(smooth[touch], smooth[last], foot.ball[last]),
                )
            )
        result.append(steps)
    return result


def find_pose_steps(
    feet: Sequence[contacts.Foot], hips: FloatArray, poses: IntArray, near_ground: float
) -> list[list[Step]]:
    """List steps between key poses: a foot on the ground in another place than a pose before.

    A step counts where a pose within two of it has a foot in the air, or the feet beside each
    other: in poses of contacts alone the hips are level by right.

    Parameters
    ----------
    feet : sequence of Foot
    hips : ndarray, shape (F, 3), metres
    poses : ndarray of int, shape (K,)
        Frame indices of the poses.
    near_ground : float, metres
        Balls lower than this over their lowest place are on the ground.
    """
    result = []
    balls = np.stack([foot.ball[poses, :2] for foot in feet]) if len(feet) else np.zeros((0, 0, 2))
    apart = geometry.lengths(balls[0] - balls[-1]) if len(feet) > 1 else np.zeros(len(poses))
    high = np.zeros(len(poses), dtype=np.bool_)
    for foot in feet:
        high |= foot.ball[poses, 2] > foot.ball[:, 2].min() + 2.0 * near_ground
    for foot in feet:
        low = foot.ball[:, 2] <= foot.ball[:, 2].min() + near_ground
        steps = []
        stood = foot.ball[poses[0]] if len(poses) else None
        for number, (before, pose) in enumerate(zip(poses, poses[1:], strict=False), 1):
            if not low[pose] or stood is None:
                continue
            came_from, stood = stood, foot.ball[pose]
            near = slice(max(0, number - 2), number + 3)
            window = hips[poses[near]]
            after = poses[min(number + 1, len(poses) - 1)]
            reach = float(np.linalg.norm((stood - came_from)[:2]))
            if float(apart[near].min()) > PASSING_SHARE * reach and not high[near].any():
                continue
            steps.append(
                Step(
                    frame=int(pose),
                    last=int(after),
                    reach=reach,
                    landing=False,
                    impact=0.0,
                    play=float(np.ptp(window[:, 2])),
                    shift=_shift_towards(hips[before], hips[pose], foot.ball[pose]),
                )
            )
        result.append(steps)
    return result


def _shift_towards(start: FloatArray, end: FloatArray, foot: FloatArray) -> float:
    """Return how much nearer to a foot the hips came along the ground."""
    return float(np.linalg.norm((start - foot)[:2]) - np.linalg.norm((end - foot)[:2]))
