# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Natural motion on the feet that the checks have to be quiet on: runs, turns, jumps, dances.

Running, barefoot at 3.3 m/s: the foot lies flat from 19.5 % of its stance on and pushes off over
the last 55 % (De Cock et al. 2005). Stance is 36 % of the cycle, a stride takes 0.70 s, the foot
meets the ground at about 1 m/s (Novacheck 1998, from memory). The hips rise and fall by 6 cm: at
twice the rhythm of the stride that is free fall at the top, as a flight has to be.

A jump flies by 9.81 m/s^2; it lands on the toes, lies flat 25 ms later and the hips are lowest 121
ms after the touch, 12 to 18 cm lower (measured on open captures of jumps). Everything else (how
wide arms swing, how far a dancer sways) is practice, drawn from the clip's own seed.
"""

from __future__ import annotations

from dataclasses import dataclass

import figure
import gait
import limbs
import numpy as np
import reposing
from formula_motions import Performance, wrist_axis

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion

H = figure.STATURE
BALL, HEEL = np.array([0.0, -0.10, -0.030]) * H, np.array([0.0, 0.04, -0.039]) * H
BALL_HEIGHT = 0.009 * H
ASIDE = 0.0955 * H
GRAVITY = 9.81
LOWEST_S = 0.121
EXTENDED = 0.06
"""Metres by which legs and toes stretch at the take-off of a jump (practice)."""
REACH = 0.985


@dataclass(frozen=True)
class Step:
    """How a foot goes through its cycle: shares of the cycle, degrees (toe up positive), metres."""

    toe_off: float
    flat: float
    heel_off: float
    steepest: float
    touch_pitch: float
    stand_pitch: float
    off_pitch: float
    lift: float
    impact: float
    ahead: float


RUN = Step(0.36, 0.195 * 0.36, 0.449 * 0.36, 0.55, 8.0, 0.0, -72.0, 0.10, 1.0, 0.15)
TIPTOE = Step(0.60, 0.08, 0.40, 0.70, -26.0, -30.0, -62.0, 0.06, 0.25, 0.34)


def make_run(seed: int, fps: float, *, in_place: bool = False) -> Motion:
    """Run straight ahead (towards -Y)."""
    act = Performance(seed, fps, 6.0)
    stride_s, stride_m = act.draw(0.66, 0.74), act.draw(2.1, 2.5)
    cycles = act.time / stride_s
    lean = np.full(act.count, act.draw(4.0, 7.0))
    act.turn_by("spine", (1, 0, 0), lean)
    act.turn_by("head", (1, 0, 0), -0.7 * lean)
    _swing_arms(act, cycles, upper=act.draw(28, 36), elbow=-82.0, bend=14.0, trunk=11.0)
    hips = np.zeros((act.count, 3))
    hips[:, 2] = 0.497 * H - 0.03 * np.cos(4.0 * np.pi * (cycles - 0.5 * RUN.toe_off))
    hips[:, 0] = -0.012 * np.sin(2.0 * np.pi * (cycles - 0.05))
    return _travel(act, RUN, cycles, stride_m, hips, in_place)


def make_tiptoe(seed: int, fps: float) -> Motion:
    """Go softly on the balls of the feet."""
    act = Performance(seed, fps, 8.0)
    stride_s, stride_m = act.draw(1.3, 1.5), act.draw(0.8, 0.95)
    cycles = act.time / stride_s
    _swing_arms(act, cycles, upper=act.draw(8, 12), elbow=-38.0, bend=9.0, trunk=4.0)
    hips = np.zeros((act.count, 3))
    hips[:, 2] = 0.545 * H + 0.014 * np.cos(4.0 * np.pi * (cycles - 0.28))
    hips[:, 0] = -0.035 * np.sin(2.0 * np.pi * (cycles - 0.06))
    return _travel(act, TIPTOE, cycles, stride_m, hips, False)


def make_curved_walk(seed: int, fps: float) -> Motion:
    """Walk along an arc; each foot keeps the direction in which it was set down."""
    random = np.random.default_rng(seed)
    radius = float(random.uniform(2.2, 3.2)) * float(random.choice((-1.0, 1.0)))
    straight, contacts = gait.make_walk(fps=fps, seconds=8.0, speed=float(random.uniform(0.8, 1.1)))
    time = np.arange(straight.frame_count) / fps
    way = straight.head("hips")[:, 1]
    # On an arc the outer foot has farther to go: knees that give a little more.
    low = straight.local_heads[:, straight.index("hips")] - [0.0, 0.0, 0.03]
    curved = _carry(reposing.repose(straight, local_heads={"hips": low}), "root", way, radius)
    # The trunk leans into the curve; the head looks ahead along it.
    curved = _turn_more(curved, "spine", (0, 1, 0), np.full(len(way), np.sign(radius) * -2.5))
    curved = _turn_more(curved, "head", (0, 0, 1), np.full(len(way), np.degrees(0.35 / radius)))
    for side in (".L", ".R"):
        ball, ankle = straight.head(f"toe{side}"), straight.head(f"foot{side}")
        place = ball[:, 1].copy()
        for contact in contacts[side]:
            stands = (time >= contact.touch) & (time <= contact.toe_off)
            if stands.any():
                place[stands] = place[np.flatnonzero(stands)[-1]]
        place = _ease_steps(place, round(0.06 * fps))
        turn, to = _bend(place, radius)
        foot = rotations.multiply(turn, straight.rotation(f"foot{side}"))
        target = to + rotations.rotate(turn, ankle - _along(place))
        curved = limbs.place_end(curved, limbs.leg(side), target, foot)
    return curved


def make_turn_on_spot(seed: int, fps: float) -> Motion:
    """Turn round in small steps; head and chest go first, the arms drag."""
    act = Performance(seed, fps, 7.0)
    sign = act.choose((1.0, -1.0))
    each, length = act.draw(36, 46), act.draw(0.36, 0.42)
    begin, steps = act.draw(0.8, 1.1), 8
    lasting = steps * length
    whole = sign * each * steps / 2.0
    body = whole * figure.minimum_jerk((act.time - begin + 0.1) / (lasting + 0.2))
    early = whole * figure.minimum_jerk((act.time - begin + 0.32) / (lasting + 0.2))
    act.turn_by("hips", (0, 0, 1), body)
    act.turn_by("chest", (0, 0, 1), 0.35 * (early - body))
    act.turn_by("head", (0, 0, 1), 0.75 * (early - body))
    rate = np.gradient(body, 1.0 / fps)
    for side, late in ((".L", 0.10), (".R", 0.15)):
        dragged = np.interp(act.time - late, act.time, rate)
        act.turn_by(f"upper_arm{side}", (0, 0, 1), -0.10 * dragged)
        out = 0.05 * np.abs(dragged) * (1.0 if side == ".R" else -1.0)
        act.turn_by(f"upper_arm{side}", (0, 1, 0), out)
        later = np.interp(act.time - late - 0.08, act.time, rate)
        act.turn_by(f"forearm{side}", (1, 0, 0), -0.08 * np.abs(later))
        act.turn_by(
            f"hand{side}", wrist_axis(side, 0.3), 0.06 * np.interp(act.time - 0.12, act.time, later)
        )
    hips = np.zeros((act.count, 3))
    hips[:, 2] = 0.515 * H
    yaw = {".L": np.zeros(act.count), ".R": np.zeros(act.count)}
    lift = {".L": np.zeros(act.count), ".R": np.zeros(act.count)}
    first = ".L" if sign > 0 else ".R"
    second = ".R" if sign > 0 else ".L"
    for number in range(steps):
        side = first if number % 2 == 0 else second
        start = begin + number * length
        u = np.clip((act.time - start) / (0.85 * length), 0.0, 1.0)
        yaw[side] = yaw[side] + sign * each * figure.minimum_jerk(u)
        lift[side] = lift[side] + 0.055 * 4.0 * u**1.5 * (1.0 - u) * 0.9
        over = np.sin(np.pi * np.clip((act.time - start + 0.12) / (length + 0.12), 0.0, 1.0)) ** 2
        aside = rotations.rotate(
            figure.turn((0, 0, 1), body),
            np.broadcast_to([-0.035 if side == ".L" else 0.035, 0.0, 0.0], (act.count, 3)),
        )
        hips += over[:, np.newaxis] * aside
        # The weight comes down on the foot that has just been set.
        caught = np.clip((act.time - start - 0.85 * length) / 0.34, 0.0, 1.0)
        hips[:, 2] -= 0.014 * np.sin(np.pi * caught) ** 2
    feet = {}
    for side in (".L", ".R"):
        turn = figure.turn((0, 0, 1), yaw[side])
        aside = np.array([ASIDE * (1.0 if side == ".L" else -1.0), BALL[1] * 0.4, 0.0])
        ball = rotations.rotate(turn, np.broadcast_to(aside, (act.count, 3)))
        ball[:, 2] = BALL_HEIGHT + lift[side]
        feet[side] = (ball, -160.0 * lift[side], yaw[side])
    return _stand(act, hips, feet)


def make_jump(seed: int, fps: float) -> Motion:
    """Jump up from the spot twice, arms swinging along, and catch the landing."""
    act = Performance(seed, fps, 7.0)
    up = np.zeros(act.count)
    bend = np.zeros(act.count)
    lifted = np.zeros(act.count)
    heel = np.zeros(act.count)
    start = act.draw(0.6, 0.8)
    for _ in range(2):
        deep, speed = act.draw(0.20, 0.26), act.draw(2.1, 2.5)
        drop, sink = act.draw(0.13, 0.17), act.draw(0.5, 0.6)
        push = 2.0 * (deep + EXTENDED) / speed * 1.15
        # The knees give before the landing: the way down is longer than the way up.
        coming = np.sqrt(speed**2 + 2.0 * GRAVITY * EXTENDED)
        flight = (speed + coming) / GRAVITY
        t = act.time - start
        off, land = sink + push, sink + push + flight
        up += np.where((t >= 0) & (t < sink), -deep * figure.minimum_jerk(t / sink), 0.0)
        pushing = _hermite((t - sink) / push, -deep, EXTENDED, 0.0, speed * push)
        up += np.where((t >= sink) & (t < off), pushing, 0.0)
        flying = (t >= off) & (t < land)
        height = EXTENDED + speed * (t - off) - 0.5 * GRAVITY * (t - off) ** 2
        up += np.where(flying, height, 0.0)
        falling = _hermite((t - land) / LOWEST_S, 0.0, -drop, -coming * LOWEST_S, 0.0)
        up += np.where((t >= land) & (t < land + LOWEST_S), falling, 0.0)
        rise = drop * (figure.minimum_jerk((t - land - LOWEST_S) / 0.8) - 1.0)
        up += np.where((t >= land + LOWEST_S) & (t < land + LOWEST_S + 0.8), rise, 0.0)
        # The heels come down as fast as the body does, and slow down to the floor.
        flat = 1.0 - (1.0 - np.clip((t - land) / 0.06, 0.0, 1.0)) ** 2
        heel += figure.minimum_jerk((t - off + 0.13) / 0.17) * (1.0 - flat)
        drawn = EXTENDED * (1.0 - figure.minimum_jerk((t - off) / flight))
        lifted += np.where(flying, height - drawn, 0.0)
        for begin, length, size in (
            (-0.05, sink + 0.05, 1.0),
            (sink - 0.05, push + 0.08, -1.0),
            (land - 0.03, 0.2, 0.7),
            (land + 0.2, 0.8, -0.7),
        ):
            bend += size * figure.minimum_jerk((t - begin) / length)
        for side, late, share in ((".L", 0.0, 1.0), (".R", act.draw(0.03, 0.05), 0.86)):
            moment = start + late
            for begin, length, size in (
                (-0.1, sink + 0.05, 38.0),
                (sink - 0.08, push + 0.16, -150.0),
                (land - 0.22, 0.5, 92.0),
                (land + 0.4, 0.7, 20.0),
            ):
                act.move(f"upper_arm{side}", (1, 0, 0), share * size, moment + begin, length)
                little = -0.22 * share * size
                act.move(f"forearm{side}", (1, 0, 0), little, moment + begin + 0.06, length)
                act.move(
                    f"hand{side}",
                    wrist_axis(side, 0.3),
                    0.6 * little,
                    moment + begin + 0.12,
                    length,
                )
            act.close_fingers(side, 14.0, moment + sink, 0.3)
            act.close_fingers(side, -14.0, moment + land, 0.5)
        start += land + 1.3
    act.turn_by("hips", (1, 0, 0), 16.0 * bend)
    act.turn_by("spine", (1, 0, 0), 10.0 * np.interp(act.time - 0.03, act.time, bend))
    act.turn_by("chest", (1, 0, 0), 8.0 * np.interp(act.time - 0.06, act.time, bend))
    act.turn_by("head", (1, 0, 0), -14.0 * np.interp(act.time - 0.04, act.time, bend))
    hips = np.zeros((act.count, 3))
    hips[:, 1] = 0.10 * np.maximum(bend, 0.0)
    hips[:, 2] = 0.515 * H + up
    feet = {}
    for side, sign in ((".L", 1.0), (".R", -1.0)):
        ball = np.zeros((act.count, 3))
        ball[:, 0], ball[:, 1] = ASIDE * sign, BALL[1] * 0.4
        ball[:, 2] = BALL_HEIGHT + lifted
        feet[side] = (ball, -24.0 * heel, np.full(act.count, 6.0 * sign))
    return _stand(act, hips, feet, toes_by=0.25)


def make_dance(seed: int, fps: float) -> Motion:
    """Sway and bounce on the beat, arms in waves of their own, heels lifted in turn."""
    act = Performance(seed, fps, 8.0)
    beat = act.draw(1.7, 2.0)
    phase = 2.0 * np.pi * beat * act.time
    sway = np.sin(0.5 * phase)
    for part, axis, size, rhythm, late in (
        ("hips", (0, 1, 0), 6.0, 0.5, 0.00),
        ("hips", (0, 0, 1), 9.0, 0.5, 0.60),
        ("spine", (0, 1, 0), -7.0, 0.5, 0.35),
        ("chest", (0, 0, 1), -14.0, 0.5, 0.95),
        ("chest", (1, 0, 0), 4.0, 1.0, 0.50),
        ("neck", (0, 1, 0), 4.0, 0.5, 0.80),
        ("head", (1, 0, 0), 5.0, 1.0, 1.10),
        ("head", (0, 0, 1), 8.0, 0.25, 0.40),
    ):
        act.turn_by(part, axis, size * act.draw(0.8, 1.2) * np.sin(rhythm * phase - late))
    for side, out, late, rhythm in ((".L", 1.0, 0.3, 0.5), (".R", -1.0, 1.9, 0.5)):
        size = act.draw(0.8, 1.2)
        own = rhythm * phase - late
        slow = 0.19 * phase + late
        act.turn_by(f"upper_arm{side}", (0, 1, 0), -out * (42.0 + 16.0 * np.sin(slow)))
        act.turn_by(f"upper_arm{side}", (1, 0, 0), -22.0 + 24.0 * size * np.sin(own))
        act.turn_by(f"forearm{side}", (1, 0, 0), -62.0 - 26.0 * size * np.sin(own - 0.55))
        act.turn_by(f"hand{side}", wrist_axis(side, 0.3), 19.0 * size * np.sin(own - 1.15))
        for number, finger in enumerate(("index", "middle", "ring", "pinky")):
            wave = 9.0 * np.sin(own - 1.5 - 0.15 * number)
            act.turn_by(f"{finger}{side}", wrist_axis(side), wave)
            act.turn_by(f"{finger}{side}/2", wrist_axis(side), 0.7 * wave)
    hips = np.zeros((act.count, 3))
    hips[:, 0] = 0.055 * sway
    hips[:, 2] = 0.500 * H + 0.018 * np.cos(phase - 0.4) - 0.01 * sway**2
    feet = {}
    for side, sign in ((".L", 1.0), (".R", -1.0)):
        # The heel of the foot without the weight comes up.
        free = np.clip(-sign * sway, 0.0, 1.0) ** 2
        ball = np.zeros((act.count, 3))
        ball[:, 0], ball[:, 1], ball[:, 2] = 1.25 * ASIDE * sign, 0.4 * BALL[1], BALL_HEIGHT
        feet[side] = (ball, -24.0 * free, np.full(act.count, 10.0 * sign))
    return _stand(act, hips, feet)


MAKERS = {
    "run": make_run,
    "tiptoe": make_tiptoe,
    "curved walk": make_curved_walk,
    "turn on the spot": make_turn_on_spot,
    "jump": make_jump,
    "dance": make_dance,
}


def make_run_in_place(seed: int, fps: float) -> Motion:
    """Run as a cycle in place: the feet slide backward under the body."""
    return make_run(seed, fps, in_place=True)


MAKERS["run in place"] = make_run_in_place


def _swing_arms(
    act: Performance, cycles: np.ndarray, upper: float, elbow: float, bend: float, trunk: float
) -> None:
    """Swing the arms against the legs (the right foot touches at whole cycles)."""
    phase = 2.0 * np.pi * cycles
    act.turn_by("hips", (0, 0, 1), 0.5 * trunk * np.cos(phase))
    act.turn_by("chest", (0, 0, 1), -trunk * np.cos(phase - 0.15))
    act.turn_by("head", (0, 0, 1), 0.4 * trunk * np.cos(phase - 0.3))
    for side, shift in ((".L", 0.0), (".R", np.pi)):
        own = phase + shift
        size = act.draw(0.92, 1.08)
        act.turn_by(f"shoulder{side}", (0, 0, 1), 2.5 * np.cos(own - 0.2))
        act.turn_by(f"upper_arm{side}", (1, 0, 0), 6.0 - size * upper * np.cos(own))
        act.turn_by(f"forearm{side}", (1, 0, 0), 18.0 + elbow - size * bend * np.cos(own - 0.6))
        act.turn_by(f"hand{side}", wrist_axis(side, 0.3), -0.55 * bend * np.cos(own - 1.2))
        for number, finger in enumerate(("index", "middle", "ring", "pinky")):
            act.turn_by(f"{finger}{side}", wrist_axis(side), 4.0 * np.cos(0.6 * own - 0.2 * number))


def _travel(
    act: Performance,
    step: Step,
    cycles: np.ndarray,
    stride: float,
    hips: np.ndarray,
    in_place: bool,
) -> Motion:
    feet = {}
    travel = cycles * stride
    stride_s = act.time[1] / (cycles[1] - cycles[0])
    for side, sign, shift in ((".R", -1.0, 0.0), (".L", 1.0, 0.5)):
        along, up, pitch = _move_foot(step, cycles + shift, stride, stride_s)
        ball = np.zeros((act.count, 3))
        ball[:, 0] = 0.6 * ASIDE * sign
        ball[:, 1] = -(along - shift * stride) + (travel if in_place else 0.0)
        ball[:, 2] = up
        feet[side] = (ball, pitch, np.full(act.count, 4.0 * sign))
    hips = hips.copy()
    if not in_place:
        hips[:, 1] -= travel
    return _stand(act, hips, feet)


def _move_foot(
    step: Step, cycles: np.ndarray, stride: float, stride_s: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return how far ahead and how high the ball of a foot is, and the foot's pitch."""
    number, phase = np.floor(cycles), cycles % 1.0
    ease = figure.minimum_jerk
    pitch = step.touch_pitch + (step.stand_pitch - step.touch_pitch) * ease(phase / step.flat)
    rising = ease((phase - step.heel_off) / (step.steepest - step.heel_off))
    pitch = pitch + (step.off_pitch - step.stand_pitch) * rising
    lowering = ease((phase - step.steepest) / (1.0 - step.steepest))
    pitch = pitch + (step.touch_pitch - step.off_pitch) * lowering
    u = np.clip((phase - step.toe_off) / (1.0 - step.toe_off), 0.0, 1.0)
    way = stride * gait._speed_up_and_slow_down(u, 0.25, 0.35)
    swing_s = (1.0 - step.toe_off) * stride_s
    bump = u**1.5 * (1.0 - u) ** 2.5
    up = step.lift * bump / (0.375**1.5 * 0.625**2.5) + step.impact * swing_s * u**2 * (1.0 - u)
    # With the toes up the heel is what touches: the ball is as much higher and farther back.
    tilt = np.radians(np.maximum(pitch, 0.0))
    back, low = HEEL[1] - BALL[1], BALL[2] - HEEL[2]
    over = back * np.sin(tilt) + low * np.cos(tilt) - low
    behind = back * (1.0 - np.cos(tilt)) + low * np.sin(tilt)
    along = step.ahead * stride + number * stride + way - behind
    return along, BALL_HEIGHT + up + over, pitch


def _stand(
    act: Performance,
    hips: np.ndarray,
    feet: dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]],
    toes_by: float = 0.06,
) -> Motion:
    """Put the figure on its feet: ball (F, 3), pitch and yaw (F,) of each; hips where they can.

    Toes lie flat under a raised heel on the floor and are straight from `toes_by` metres over it.
    """
    for side, (ball, pitch, _) in feet.items():
        lifted = figure.minimum_jerk((ball[:, 2] - BALL_HEIGHT) / toes_by)
        act.turn_by(f"toe{side}", (1, 0, 0), np.minimum(pitch, 0.0) * (1.0 - lifted))
    root = hips * [1.0, 1.0, 0.0]
    above = hips * [0.0, 0.0, 1.0]
    standing = reposing.repose(
        act.make(feet_planted=False), local_heads={"root": root, "hips": above}
    )
    turned, ankles = {}, {}
    for side, (ball, pitch, yaw) in feet.items():
        turned[side] = rotations.multiply(
            figure.turn((0, 0, 1), yaw), figure.turn((1, 0, 0), -pitch)
        )
        ankles[side] = ball - rotations.rotate(turned[side], np.broadcast_to(BALL, ball.shape))
    longest = REACH * (0.245 + 0.246) * H
    lower = 0.0
    for side, ankle in ankles.items():
        joint = standing.head(f"thigh{side}")
        flat = np.linalg.norm((joint - ankle)[:, :2], axis=-1)
        most = ankle[:, 2] + np.sqrt(np.maximum(longest**2 - flat**2, 0.0))
        lower = max(lower, float((joint[:, 2] - most).max()))
    standing = reposing.repose(standing, local_heads={"hips": above - [0.0, 0.0, lower]})
    for side in feet:
        standing = limbs.place_end(standing, limbs.leg(side), ankles[side], turned[side])
    return standing


def _hermite(u: np.ndarray, start: float, end: float, leaving: float, coming: float) -> np.ndarray:
    """Go from one value to another with given slopes (per unit of u) at both ends."""
    u = np.clip(u, 0.0, 1.0)
    return (
        start * (1 - 3 * u**2 + 2 * u**3)
        + end * (3 * u**2 - 2 * u**3)
        + leaving * (u - 2 * u**2 + u**3)
        + coming * (u**3 - u**2)
    )


def _along(way: np.ndarray) -> np.ndarray:
    """Return points on the straight line that is walked, shape (F, 3)."""
    return np.stack((np.zeros_like(way), way, np.zeros_like(way)), axis=-1)


def _bend(way: np.ndarray, radius: float) -> tuple[np.ndarray, np.ndarray]:
    """Return turn (F, 4) and place (F, 3) on an arc after so much way towards -Y."""
    angle = way / radius
    turn = figure.turn((0, 0, 1), np.degrees(-angle))
    place = np.stack(
        (radius * (np.cos(angle) - 1.0), radius * np.sin(angle), np.zeros_like(way)), axis=-1
    )
    return rotations.conjugate(turn), place


def _carry(motion: Motion, part: str, way: np.ndarray, radius: float) -> Motion:
    turn, place = _bend(way, radius)
    own = rotations.multiply(turn, motion.rotation(part))
    moved = place + rotations.rotate(turn, motion.head(part) - _along(way))
    return reposing.repose(motion, {part: own}, {part: moved})


def _turn_more(motion: Motion, part: str, axis: tuple, degrees: np.ndarray) -> Motion:
    own = motion.local_rotations[:, motion.index(part)]
    return reposing.repose(motion, {part: rotations.multiply(own, figure.turn(axis, degrees))})


def _ease_steps(values: np.ndarray, reach: int) -> np.ndarray:
    """Round the corners of a staircase, outside of its level stretches alone."""
    if reach < 1:
        return values
    level = np.concatenate(([False], np.diff(values) == 0.0))
    weights = np.hanning(2 * reach + 3)[1:-1]
    padded = np.pad(values, reach, mode="edge")
    smooth = np.convolve(padded, weights / weights.sum(), mode="valid")
    return np.where(level, values, smooth)
