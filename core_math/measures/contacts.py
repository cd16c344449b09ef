# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""When a foot stands: first touch, flat, heel off, last touch, and the ground it stands on.

Thresholds on raw height or speed alone are known to fail on real motion (Ikemoto, Arikan & Forsyth
2006), so a stance is found the other way round: first the stretches in which ankle and ball both
rest, with their own level (stairs, slopes), then from there outward as long as some point of the
sole stays on that level. Speed along the ground hardly counts, so that a foot that slides is still
a foot that stands; for cycles in place the ground's own speed is taken out first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from . import geometry, rotations, series
from .pieces import Steps, run_steps

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Shares of body height (per second for speeds). They find events and judge nothing; measured on
# open captures, where planted feet wander by up to 13 mm (0.8 %) and swing at 1.5 heights a second.
RESTING_RISE = 0.12
RESTING_GLIDE = 0.45
TOUCHING = 0.008
TREADMILL = 0.25
SUPPORT = 0.025
FLAT_DEGREES = 3.0
SHORTEST_S = 0.06
SHORTEST_ALOFT_S = 0.15
SMOOTHING_HZ = 12.0
HEEL_SHARE = 0.4
NEAR_S = 0.25
LONGEST_PAUSE_S = 1.0
SETTLED_S = 0.1
FALL_S = 0.08
GROWING_S = 0.5


@dataclass(frozen=True, eq=False)
class Foot:
    """One foot's points over time: ankle, ball and tip of the toes, shapes (F, 3), metres.

    `rotation`, shape (F, 4), is that of the part between ankle and ball.
    """

    ankle: FloatArray
    ball: FloatArray
    tip: FloatArray
    rotation: FloatArray

    def slice(self, start: int, stop: int) -> Foot:
        """Return the foot over the frames (indices) start .. stop - 1."""
        some = slice(start, stop)
        return Foot(self.ankle[some], self.ball[some], self.tip[some], self.rotation[some])


@dataclass(frozen=True)
class Stance:
    """One stance of one foot; frames are indices, times are fractions of frames.

    Attributes
    ----------
    touch, off : int
        First and last frame on which some point of the sole is on the ground.
    flat, heel_off : int or None
        First and last frame of the whole sole on the ground; None when it never is (tiptoe).
    touch_time, flat_time : float
        The same between frames.
    level : float, metres
        Height of the ball while it stands.
    impact : float, m/s
        Speed at which the sole comes down just before it touches; 0 where the shot begins on it.
    heel_first : bool
    """

    touch: int
    off: int
    flat: int | None
    heel_off: int | None
    touch_time: float
    flat_time: float | None
    level: float
    impact: float
    heel_first: bool

    def put_later(self, frames: int) -> Stance:
        """Return the same stance so many frames later."""
        return replace(
            self,
            touch=self.touch + frames,
            off=self.off + frames,
            flat=None if self.flat is None else self.flat + frames,
            heel_off=None if self.heel_off is None else self.heel_off + frames,
            touch_time=self.touch_time + frames,
            flat_time=None if self.flat_time is None else self.flat_time + frames,
        )


def find_treadmill(feet: Sequence[Foot], fps: float, height: float) -> FloatArray:
    """Return the velocity of the ground under the feet, shape (2,), m/s; 0 unless in place.

    A cycle in place moves its standing feet backward at one common speed.
    """
    found = []
    for foot in feet:
        ball = series.smooth(foot.ball, fps, SMOOTHING_HZ)
        speed = series.central_velocity(ball, fps)
        low = ball[:, 2] <= np.quantile(ball[:, 2], 0.4)
        low &= np.abs(speed[:, 2]) < RESTING_RISE * height
        if not low.any():
            return np.zeros(2)
        found.append(np.median(speed[low, :2], axis=0))
    speeds = [float(np.linalg.norm(v)) for v in found]
    if not found or min(speeds) < TREADMILL * height:
        return np.zeros(2)
    middle = np.mean(found, axis=0)
    spread = max(float(np.linalg.norm(v - middle)) for v in found)
    return middle if spread < 0.25 * float(np.linalg.norm(middle)) else np.zeros(2)


def find_stances(feet: Sequence[Foot], fps: float, height: float) -> list[list[Stance]]:
    """Find the stances of each foot.

    Parameters
    ----------
    feet : sequence of Foot
        The feet of one subject: a foot that is held up beside a standing one is no stance.
    fps : float
    height : float, metres
        Body size.

    Returns
    -------
    list of list of Stance
        In the order of `feet`, each in order of time.
    """
    return run_steps(iterate_stances(feet, fps, height, find_treadmill(feet, fps, height)))


def iterate_stances(
    feet: Sequence[Foot], fps: float, height: float, ground: FloatArray
) -> Steps[list[list[Stance]]]:
    """Find the stances as `find_stances` does over ground of known velocity, with pauses."""
    if not feet or len(feet[0].ball) < 2:
        return [[] for _ in feet]
    smooth = [_smooth(foot, fps) for foot in feet]
    rests = [_find_rests(foot, fps, height, ground) for foot in smooth]
    rises = [_find_flat_rise(foot, runs) for foot, runs in zip(smooth, rests, strict=True)]
    lowest = np.stack(
        [
            np.minimum(foot.ankle[:, 2] - rise, foot.ball[:, 2])
            for foot, rise in zip(smooth, rises, strict=True)
        ]
    )
    levels = [
        float(np.median(foot.ball[first : last + 1, 2]))
        for foot, runs in zip(smooth, rests, strict=True)
        for first, last in runs
    ]
    # Most stances share the floor; what lies higher must have carried the body by itself.
    floor = float(np.quantile(levels, 0.25, method="lower")) if levels else 0.0
    resting = np.zeros(lowest.shape, dtype=np.bool_)
    for number, runs in enumerate(rests):
        for first, last in runs:
            resting[number, first : last + 1] = True
    result = []
    for number, (foot, runs) in enumerate(zip(smooth, rests, strict=True)):
        stances: list[Stance] = []
        others = np.delete(np.arange(len(smooth)), number)
        for first, last in runs:
            span = slice(first, last + 1)
            level = float(np.median(foot.ball[span, 2]))
            if abs(level - floor) > SUPPORT * height:
                over = lowest[number, span] - lowest[others, span] > SUPPORT * height
                # Held up beside a foot that stands, or at the top of a jump: no stance.
                beside = (over & resting[others, span]).any(axis=0).mean() > 0.5
                if beside or last - first + 1 < SHORTEST_ALOFT_S * fps:
                    continue
            stance = _grow(foot, first, last, level, rises[number], fps, height, ground)
            yield
            if stances and stance.touch <= stances[-1].off:
                stances[-1] = _join(stances[-1], stance)
            else:
                stances.append(stance)
        result.append(stances)
    return result


def sole_points(foot: Foot, first: int, last: int) -> FloatArray:
    """Return heel, ball and tip of the toes over time, shape (F, 3, 3), metres.

    The heel is no joint: it lies behind the ankle on the level of the ball, as seen in the middle
    of the stance first .. last (indices), and moves with the foot.
    """
    middle = (first + last) // 2
    ankle, ball = foot.ankle[middle], foot.ball[middle]
    back = (ankle - ball) * [1.0, 1.0, 0.0]
    heel = ankle + HEEL_SHARE * back
    heel[2] = ball[2]
    own = rotations.rotate(rotations.conjugate(foot.rotation[middle]), heel - ankle)
    moved = foot.ankle + rotations.rotate(foot.rotation, np.broadcast_to(own, foot.ankle.shape))
    return np.stack((moved, foot.ball, foot.tip), axis=1)


def foot_pitch(foot: Foot) -> FloatArray:
    """Return the angle of the line from ankle to ball over the horizontal, degrees, (F,)."""
    line = foot.ball - foot.ankle
    return np.degrees(np.arctan2(line[:, 2], geometry.lengths(line[:, :2])))


def _smooth(foot: Foot, fps: float) -> Foot:
    ankle, ball, tip = (
        series.smooth(p, fps, SMOOTHING_HZ) for p in (foot.ankle, foot.ball, foot.tip)
    )
    return Foot(ankle, ball, tip, foot.rotation)


def _find_flat_rise(foot: Foot, rests: Sequence[tuple[int, int]]) -> float:
    """Return how far the ankle lies over the ball when the foot is flat, metres.

    The least of all rests: on tiptoe the ankle is higher. A shot that never leaves tiptoe offers
    no other ground for comparison, and its feet count as flat.
    """
    rise = foot.ankle[:, 2] - foot.ball[:, 2]
    medians = [float(np.median(rise[first : last + 1])) for first, last in rests]
    return min(medians) if medians else float(np.quantile(rise, 0.1))


def _find_rests(foot: Foot, fps: float, height: float, ground: FloatArray) -> list[tuple[int, int]]:
    """Return the stretches in which the ball rests and the foot does not turn."""
    resting = np.ones(len(foot.ball), dtype=np.bool_)
    for point in (foot.ball, foot.ankle):
        speed = series.central_velocity(point, fps)
        resting &= np.abs(speed[:, 2]) < RESTING_RISE * height
        glide = geometry.lengths(speed[:, :2] - ground)
        resting &= glide < RESTING_GLIDE * height
    shortest, near = max(2, round(SHORTEST_S * fps)), round(NEAR_S * fps)
    found = []
    for first, last in series.find_runs(series.close_gaps(resting, max(1, round(0.04 * fps)))):
        # A foot that pauses on its heel while the toes come down has not come to rest. One that
        # rests on one spot for longer than any pause may sink a little meanwhile.
        spot = np.ptp(foot.ball[first : last + 1, :2], axis=0).max() < SUPPORT * height
        sinking = 1.6 if spot and last - first + 1 > LONGEST_PAUSE_S * fps else 1.0
        lowest = foot.ball[max(0, first - near) : last + near + 1, 2].min()
        low = np.median(foot.ball[first : last + 1, 2]) - lowest < sinking * SUPPORT * height
        if low and last - first + 1 >= shortest:
            found.append((first, last))
    return found


def _grow(
    foot: Foot,
    first: int,
    last: int,
    level: float,
    flat_rise: float,
    fps: float,
    height: float,
    ground: FloatArray,
) -> Stance:
    """Follow the sole outward from a rest for as long as some point of it is on the level.

    Looks no farther than it has to: a long shot has many stances.
    """
    count, reach = len(foot.ball), max(8, round(GROWING_S * fps))
    while True:
        low, high = max(0, first - reach), min(count, last + 1 + reach)
        near, span = foot.slice(low, high), (first - low, last - low)
        stance = _grow_within(near, *span, level, flat_rise, fps, height, ground)
        # Ends are told from the frames around them, so none may lie at the edge of what was seen.
        margin = max(2, round(FALL_S * fps)) + 1
        begins = low == 0 or stance.touch > margin
        if begins and (high == count or stance.off < high - low - 1 - margin):
            break
        reach *= 2
    return stance.put_later(low)


def _grow_within(
    foot: Foot,
    first: int,
    last: int,
    level: float,
    flat_rise: float,
    fps: float,
    height: float,
    ground: FloatArray,
) -> Stance:
    points = sole_points(foot, first, last)
    base = np.median(points[first : last + 1, :, 2], axis=0)
    clearance = points[:, :, 2] - base
    glide = geometry.lengths(series.central_velocity(points, fps)[..., :2] - ground)
    touching = (clearance < TOUCHING * height) & (glide < 2.0 * RESTING_GLIDE * height)
    on_ground = touching.any(axis=1)
    on_ground[first : last + 1] = True
    touch, off = first, last
    while touch > 0 and on_ground[touch - 1]:
        touch -= 1
    while off < len(on_ground) - 1 and on_ground[off + 1]:
        off += 1
    lowest = clearance.min(axis=1)
    pitch = foot_pitch(foot)
    away = np.abs(pitch - np.median(pitch[first : last + 1]))
    rise = float(np.median(foot.ankle[first : last + 1, 2] - foot.ball[first : last + 1, 2]))
    raised = rise - flat_rise > SUPPORT * height
    flat: int | None = None
    heel_off: int | None = None
    flat_time: float | None = None
    if not raised:
        ball_down = clearance[:, 1] < 2.0 * TOUCHING * height
        flat, heel_off = _settle(pitch, away, ball_down, touch, last, round(SETTLED_S * fps)), last
        while heel_off < off and away[heel_off + 1] <= FLAT_DEGREES:
            heel_off += 1
        flat_time = _cross(np.abs(pitch - pitch[flat]), flat, FLAT_DEGREES)
    touch_time = _cross(lowest, touch, TOUCHING * height)
    before = max(0, touch - max(2, round(FALL_S * fps)))
    fall = -np.diff(lowest[before : touch + 1]) * fps
    return Stance(
        touch=touch,
        off=off,
        flat=flat,
        heel_off=heel_off,
        touch_time=touch_time,
        flat_time=None if flat_time is None else max(flat_time, touch_time),
        level=level,
        impact=float(max(fall.max(), 0.0)) if len(fall) else 0.0,
        heel_first=bool(clearance[touch, 0] < clearance[touch, 1]),
    )


def _settle(
    pitch: FloatArray, away: FloatArray, ball_down: BoolArray, touch: int, last: int, ahead: int
) -> int:
    """Return the first frame on which the foot lies as it rests, or waits on its ball.

    A foot may land on its ball, wait so, and lower its heel much later: the first posture counts.
    """
    for frame in range(touch, last):
        if away[frame] <= FLAT_DEGREES:
            return frame
        coming = pitch[frame : frame + max(2, ahead) + 1]
        if ball_down[frame] and np.max(np.abs(coming - pitch[frame])) <= FLAT_DEGREES:
            return frame
    return last


def _cross(values: FloatArray, frame: int, limit: float) -> float:
    """Return when values fall under a limit, between the frame before and this one."""
    if frame == 0 or values[frame - 1] <= limit or values[frame - 1] <= values[frame]:
        return float(frame)
    share = (values[frame - 1] - limit) / (values[frame - 1] - values[frame])
    return frame - 1 + float(np.clip(share, 0.0, 1.0))


def _join(one: Stance, other: Stance) -> Stance:
    first = one if one.flat is not None else other
    last = other if other.heel_off is not None else one
    return Stance(
        touch=one.touch,
        off=max(one.off, other.off),
        flat=first.flat,
        heel_off=last.heel_off,
        touch_time=one.touch_time,
        flat_time=first.flat_time,
        level=one.level,
        impact=one.impact,
        heel_first=one.heel_first,
    )
