# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Clean motion made from published formulas, so that its truth is known.

Reaches follow the minimum-jerk profile (Flash & Hogan 1985); swings are harmonic, the follower a
first-order lag; throws run from proximal to distal, each segment starting when its neighbour
reaches peak speed (Putnam 1993). Numbers drawn at random (sizes, offsets, rhythms) come from the
clip's own seed, so that no two clips are alike and every run is the same.
"""

from __future__ import annotations

import figure
import limbs
import numpy as np

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion

Angles = dict[str, np.ndarray]


def make_reaches(seed: int, fps: float, seconds: float = 8.0) -> Motion:
    """Reach here and there with both arms, one after the other, trunk and head going along."""
    clip = Performance(seed, fps, seconds)
    clock = 0.4
    while clock < seconds - 1.5:
        side = clip.choose((".L", ".R"))
        length = clip.draw(0.5, 0.95)
        sign = 1.0 if side == ".L" else -1.0
        lift, spread, bend = clip.draw(-95, -35), clip.draw(-25, 40) * sign, clip.draw(-80, -20)
        trunk = clip.draw(8, 22) * -sign
        clip.move("chest", (0, 0, 1), trunk, clock - 0.06, length)
        clip.move("spine", (0, 0, 1), 0.4 * trunk, clock - 0.1, length)
        clip.move("head", (0, 0.2, 1), clip.draw(-20, 20), clock - 0.12, 0.7 * length)
        clip.move(f"shoulder{side}", (0, 1, 0), -sign * abs(lift) * 0.1, clock, length)
        clip.move(f"upper_arm{side}", (1, 0, 0), lift, clock, length)
        clip.move(f"upper_arm{side}", (0, 0, 1), spread, clock + 0.02, length)
        clip.move(f"forearm{side}", (1, 0, 0.1 * sign), bend, clock + 0.08, length)
        clip.move(f"hand{side}", (1, 0.2, 0), clip.draw(-30, 30), clock + 0.14, length)
        clip.close_fingers(side, clip.draw(10, 60), clock + 0.2, length)
        clock += length + clip.draw(0.15, 0.6)
        if clip.draw(0, 1) < 0.7:
            clip.move(f"upper_arm{side}", (1, 0, 0), -0.8 * lift, clock, length)
            clip.move(f"upper_arm{side}", (0, 0, 1), -spread, clock + 0.03, length)
            clip.move(f"shoulder{side}", (0, 1, 0), sign * abs(lift) * 0.09, clock, length)
            clip.move(f"forearm{side}", (1, 0, 0.1 * sign), -0.8 * bend, clock + 0.09, length)
            clip.move(f"hand{side}", (1, 0, 0.2), clip.draw(-25, 25), clock + 0.15, length)
            clip.move("chest", (0, 0, 1), -0.9 * trunk, clock - 0.05, length)
            clip.close_fingers(side, clip.draw(-40, -5), clock + 0.2, length)
            clock += length + clip.draw(0.05, 0.5)
    return clip.make()


def make_swings(seed: int, fps: float, seconds: float = 8.0) -> Motion:
    """Swing both arms out of step, chest and braids following as first-order lags."""
    clip = Performance(seed, fps, seconds)
    hertz = clip.draw(0.6, 1.0)
    omega = 2.0 * np.pi * hertz
    for side, phase in ((".L", 0.0), (".R", np.pi + clip.draw(-0.3, 0.3))):
        size = clip.draw(28, 42)
        tau = clip.draw(0.05, 0.09)
        clip.wave(f"upper_arm{side}", (1, 0, 0), size, omega, phase)
        clip.wave(f"forearm{side}", (1, 0, 0), *_lag(size * 0.7, omega, phase, tau))
        clip.turn_by(f"forearm{side}", (1, 0, 0), np.full(clip.count, -30.0))
        clip.wave(f"hand{side}", (1, 0, 0), *_lag(size * 0.5, omega, phase, 2.2 * tau))
        for finger in ("index", "middle", "ring", "pinky"):
            clip.wave(f"{finger}{side}", (1, 0, 0), clip.draw(4, 9), 0.37 * omega, phase)
    clip.wave("chest", (0, 0, 1), 9.0, omega, 0.4)
    clip.wave("hips", (0, 0, 1), 5.0, omega, 2.9)
    clip.wave("head", (0, 0, 1), 4.0, 0.5 * omega, 0.9)
    for late, braid in zip((0.0, clip.draw(0.08, 0.15)), figure.BRAIDS, strict=True):
        own, size = clip.draw(0.85, 1.25), clip.draw(5, 10)
        for joint in range(5):
            name = f"{braid}/{joint + 1}" if joint else braid
            lag = omega * (late + 0.055 * joint)
            clip.wave(name, (1, 0, 0.1), size * 0.8, omega, -lag)
            clip.wave(name, (0.2, 1, 0), size * 0.5, 1.6 * own * omega, -1.6 * lag + size)
    return clip.make()


def make_throws(seed: int, fps: float, seconds: float = 8.0) -> Motion:
    """Throw again and again with one arm: hips, chest, upper arm, forearm, hand in order."""
    clip = Performance(seed, fps, seconds)
    side, sign = clip.choose(((".R", -1.0), (".L", 1.0)))
    other = ".L" if side == ".R" else ".R"
    chain = (
        ("hips", (0, 0, 1), 28.0 * sign),
        ("chest", (0, 0, 1), 34.0 * sign),
        (f"upper_arm{side}", (1, 0, 0), -95.0),
        (f"forearm{side}", (1, 0, 0), -70.0),
        (f"hand{side}", (1, 0, 0), -35.0),
    )
    clock = 0.5
    while clock < seconds - 2.2:
        size, length = clip.draw(0.75, 1.1), clip.draw(0.34, 0.5)
        wind_up = clip.draw(0.5, 0.8)
        for number, (part, axis, degrees) in enumerate(chain):
            back = clock + 0.05 * number
            # The wind-up goes half the way back, the throw through, the recovery returns.
            clip.move(part, axis, -0.5 * size * degrees, back, wind_up)
            start = clock + wind_up + 0.1 + 0.5 * length * number
            clip.move(part, axis, 1.5 * size * degrees, start, length)
            clip.move(part, axis, -size * degrees, start + length + 0.15, 0.8 + 0.05 * number)
        clip.move(f"shoulder{side}", (0, 1, 0), -sign * 9.0, clock + wind_up, length)
        clip.move(f"shoulder{side}", (0, 1, 0), sign * 9.0, clock + wind_up + 1.2, 0.7)
        clip.move(f"upper_arm{other}", (1, 0, 0), clip.draw(20, 40), clock + wind_up + 0.2, 0.5)
        clip.move(f"forearm{other}", (1, 0, 0), clip.draw(-35, -15), clock + wind_up + 0.3, 0.5)
        clip.move(f"hand{other}", (1, 0, 0), clip.draw(-15, 15), clock + wind_up + 0.36, 0.5)
        clip.move(f"upper_arm{other}", (1, 0, 0), -30.0, clock + wind_up + 0.95, 0.8)
        clip.move(f"forearm{other}", (1, 0, 0), 25.0, clock + wind_up + 1.05, 0.8)
        clip.close_fingers(side, 40.0 * size, clock, 0.3)
        clip.close_fingers(side, -40.0 * size, clock + wind_up + 0.1 + 2.0 * length, 0.15)
        clock += wind_up + 3.2 * length + clip.draw(1.1, 1.6)
    return clip.make()


class Performance:
    """Gathers the turns of one clip; every part also breathes a little, as nothing is still.

    The feet keep their places on the floor while the hips above them move.
    """

    def __init__(self, seed: int, fps: float, seconds: float) -> None:
        self.random = np.random.default_rng(seed)
        self.fps = fps
        self.count = round(seconds * fps)
        self.time = np.arange(self.count) / fps
        self.turns: dict[str, list[tuple[tuple[float, float, float], np.ndarray]]] = {}
        for part in figure.PARTS:
            if part != "root":
                axis = tuple(self.random.normal(size=3))
                phase, hertz = self.draw(0, 6.28), self.draw(0.18, 0.34)
                drift = self.draw(0.4, 0.9) * np.sin(2 * np.pi * hertz * self.time + phase)
                self.turn_by(part, axis, drift)
        for side in (".L", ".R"):
            self.turn_by(f"forearm{side}", (1, 0, 0), np.full(self.count, -self.draw(12, 25)))
            self.turn_by(f"shin{side}", (1, 0, 0), np.full(self.count, self.draw(4, 8)))

    def draw(self, low: float, high: float) -> float:
        return float(self.random.uniform(low, high))

    def choose(self, options):
        return options[int(self.random.integers(len(options)))]

    def turn_by(self, part: str, axis: tuple[float, float, float], degrees: np.ndarray) -> None:
        self.turns.setdefault(part, []).append((axis, degrees))

    def move(self, part: str, axis, degrees: float, start: float, length: float) -> None:
        self.turn_by(part, axis, degrees * figure.minimum_jerk((self.time - start) / length))

    def wave(self, part: str, axis, size: float, omega: float, phase: float) -> None:
        self.turn_by(part, axis, size * np.sin(omega * self.time + phase))

    def close_fingers(self, side: str, degrees: float, start: float, length: float) -> None:
        for number, finger in enumerate(("thumb", "index", "middle", "ring", "pinky")):
            for joint in ("", "/2", "/3"):
                share = self.draw(0.7, 1.0) * (0.4 if finger == "thumb" else 1.0)
                late = start + 0.02 * number
                self.move(f"{finger}{side}{joint}", (1, 0, 0), share * degrees, late, length)

    def make(self, feet_planted: bool = True) -> Motion:
        """Pose the figure; feet that are not planted go along with the hips."""
        angles: Angles = {}
        for part, turns in self.turns.items():
            total = figure.turn((1, 0, 0), np.zeros(self.count))
            for axis, degrees in turns:
                total = rotations.multiply(total, figure.turn(axis, degrees))
            angles[part] = total
        motion = figure.make_motion(angles, self.count, fps=self.fps)
        return limbs.tread(motion) if feet_planted else motion


def _lag(size: float, omega: float, phase: float, tau: float) -> tuple[float, float, float]:
    """Return size, rhythm and phase of a first-order follower with time constant tau."""
    return size / np.hypot(1.0, omega * tau), omega, phase - np.arctan(omega * tau)
