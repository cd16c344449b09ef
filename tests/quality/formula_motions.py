# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Clean motion made from published formulas, so that its truth is known.

Reaches follow the minimum-jerk profile (Flash & Hogan 1985); swings are harmonic, the follower a
first-order lag; throws run from proximal to distal, each segment starting when its neighbour
reaches peak speed (Putnam 1993). The clavicle follows a raised arm by a published share (Braman et
al. 2009: 0.37 to 0.43 of the rise), once the rhythm has set in. At rest elbows, wrists and fingers
are a little bent (common practice). Numbers drawn at random (sizes, offsets, rhythms) come from the
clip's own seed, so that no two clips are alike and every run is the same.
"""

from __future__ import annotations

import figure
import limbs
import numpy as np

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion

Angles = dict[str, np.ndarray]

CLAVICLE_SHARE, SET_ANGLE, CLAVICLE_LATE_S = 0.37, 50.0, 0.04


def make_reaches(seed: int, fps: float, seconds: float = 8.0) -> Motion:
    """Reach here and there with both arms, one after the other, trunk and head going along."""
    clip = Performance(seed, fps, seconds)
    clock, grip = 0.4, {".L": 0.0, ".R": 0.0}
    while clock < seconds - 1.5:
        side = clip.choose((".L", ".R"))
        length = clip.draw(0.5, 0.95)
        sign = 1.0 if side == ".L" else -1.0
        lift, spread, elbow = clip.draw(-95, -35), clip.draw(-25, 40) * sign, clip.draw(-80, -20)
        trunk = clip.draw(8, 22) * -sign
        clip.move("chest", (0, 0, 1), trunk, clock - 0.06, length)
        clip.move("spine", (0, 0, 1), 0.4 * trunk, clock - 0.1, length)
        clip.move("head", (0, 0.2, 1), clip.draw(-20, 20), clock - 0.12, 0.7 * length)
        clip.move(f"upper_arm{side}", (1, 0, 0), lift, clock, length)
        clip.move(f"upper_arm{side}", (0, 0, 1), spread, clock + 0.02, length)
        clip.move(f"forearm{side}", (1, 0, 0.1 * sign), elbow, clock + 0.08, length)
        # A wrist that is bent one way goes the other.
        low, high = -clip.draw(28, 42), clip.draw(14, 32)
        bend = clip.choose((low, high)) if -20.0 < clip.bent[side] < 10.0 else None
        bend = bend or (high if clip.bent[side] < 0.0 else low)
        clip.bend_wrist(side, bend, clock + 0.14, length)
        wanted = clip.draw(10, 45)
        clip.close_fingers(side, wanted - grip[side], clock + 0.2, length)
        grip[side] = wanted
        clock += length + clip.draw(0.15, 0.6)
        if clip.draw(0, 1) < 0.7:
            clip.move(f"upper_arm{side}", (1, 0, 0), -0.8 * lift, clock, length)
            clip.move(f"upper_arm{side}", (0, 0, 1), -spread, clock + 0.03, length)
            clip.move(f"forearm{side}", (1, 0, 0.1 * sign), -0.8 * elbow, clock + 0.09, length)
            clip.bend_wrist(side, -clip.draw(10, 16), clock + 0.15, length)
            clip.move("chest", (0, 0, 1), -0.9 * trunk, clock - 0.05, length)
            wanted = clip.draw(0, 12)
            clip.close_fingers(side, wanted - grip[side], clock + 0.2, length)
            grip[side] = wanted
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
        clip.wave(f"hand{side}", wrist_axis(side, 0.4), *_lag(size * 0.5, omega, phase, 2.2 * tau))
        for finger in ("index", "middle", "ring", "pinky"):
            for joint, share in (("", 1.0), ("/2", 0.8), ("/3", 0.5)):
                size = share * clip.draw(4, 9)
                clip.wave(f"{finger}{side}{joint}", wrist_axis(side), size, 0.37 * omega, phase)
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
    # Each part's wind-up and throw; an elbow only bends, so its wind-up is small.
    chain = (
        ("hips", (0, 0, 1), -14.0 * sign, 42.0 * sign),
        ("chest", (0, 0, 1), -17.0 * sign, 51.0 * sign),
        (f"upper_arm{side}", (1, 0, 0), 40.0, -130.0),
        (f"forearm{side}", (1, 0, 0), -12.0, -55.0),
        (f"hand{side}", wrist_axis(side), 22.0, -50.0),
    )
    # The palm looks ahead, so that the wrist flexes in the plane of the throw.
    clip.pronation[side] = 75.0
    clock = 0.5
    while clock < seconds - 2.2:
        size, length = clip.draw(0.75, 1.1), clip.draw(0.34, 0.5)
        wind_up = clip.draw(0.5, 0.8)
        for number, (part, axis, back, through) in enumerate(chain):
            clip.move(part, axis, size * back, clock + 0.05 * number, wind_up)
            start = clock + wind_up + 0.1 + 0.5 * length * number
            clip.move(part, axis, size * through, start, length)
            home = -size * (back + through)
            clip.move(part, axis, home, start + length + 0.15, 0.8 + 0.05 * number)
        # The hand drags behind the arm that starts, until its own turn comes.
        drag, pulled = 18.0 * size, clock + wind_up + 0.1 + length
        clip.move(f"hand{side}", wrist_axis(side), drag, pulled, 0.9 * length)
        clip.move(f"hand{side}", wrist_axis(side), -drag, pulled + length, length)
        clip.move(f"upper_arm{other}", (1, 0, 0), clip.draw(20, 40), clock + wind_up + 0.2, 0.5)
        clip.move(f"forearm{other}", (1, 0, 0), clip.draw(-35, -15), clock + wind_up + 0.3, 0.5)
        flex = clip.draw(-20, -8)
        clip.move(f"hand{other}", wrist_axis(other), flex, clock + wind_up + 0.36, 0.5)
        clip.move(f"upper_arm{other}", (1, 0, 0), -30.0, clock + wind_up + 0.95, 0.8)
        clip.move(f"forearm{other}", (1, 0, 0), 25.0, clock + wind_up + 1.05, 0.8)
        clip.move(f"hand{other}", wrist_axis(other), -flex, clock + wind_up + 1.11, 0.8)
        clip.close_fingers(side, 40.0 * size, clock, 0.3)
        clip.close_fingers(side, -40.0 * size, clock + wind_up + 0.1 + 2.0 * length, 0.15)
        clock += wind_up + 3.2 * length + clip.draw(1.1, 1.6)
    return clip.make()


def make_pose_changes(seed: int, fps: float, seconds: float = 9.0, *, together: int = 0) -> Motion:
    """Go from pose to pose with arms, trunk and head, each in its own time.

    `together` changes of pose in a row, in the middle, start and stop on the same frame with all
    parts: a fault; `list_shared_moves` says when.
    """
    return _pose_to_pose(seed, fps, seconds, together)[0]


def list_shared_moves(
    seed: int, fps: float, seconds: float = 9.0, *, together: int = 0
) -> list[tuple[float, float]]:
    """Return start and end, in seconds, of the changes of pose that are made all at once."""
    return _pose_to_pose(seed, fps, seconds, together)[1]


def _pose_to_pose(
    seed: int, fps: float, seconds: float, together: int
) -> tuple[Motion, list[tuple[float, float]]]:
    clip = Performance(seed, fps, seconds)
    starts = [0.6]
    while starts[-1] < seconds - 2.0:
        starts.append(starts[-1] + clip.draw(1.0, 1.3))
    shared = range((len(starts) - together) // 2, (len(starts) - together) // 2 + together)
    spans, sign = [], 1.0
    for number, start in enumerate(starts):
        length = clip.draw(0.45, 0.6)
        if number in shared:
            spans.append((start, start + length))
        lead = ".L" if clip.draw(0, 1) < 0.5 else ".R"
        for part, turns, first, last in (
            ("chest", (((0, 0, 1), 14.0), ((1, 0, 0), 17.0), ((0, 1, 0), 8.0)), -0.10, 0.06),
            ("spine", (((1, 0, 0), 15.0), ((0, 1, 0), 7.0)), -0.14, 0.02),
            ("head", (((0, 0, 1), -22.0), ((1, 0, 0), -24.0)), -0.26, -0.18),
            (lead, (), 0.0, 0.0),
            (".R" if lead == ".L" else ".L", (), 0.14, 0.24),
        ):
            begin = start + (0.0 if number in shared else first + clip.draw(-0.03, 0.03))
            end = start + length + (0.0 if number in shared else last + clip.draw(-0.03, 0.03))
            if part in (".L", ".R"):
                late = 0.0 if number in shared else 0.05
                out = 1.0 if part == ".L" else -1.0
                size = sign * (1.0 if part == lead else 0.7)
                clip.move(f"upper_arm{part}", (1, 0, 0), -34.0 * size, begin, end - begin)
                clip.move(f"upper_arm{part}", (0, 1, 0), -12.0 * out * size, begin, end - begin)
                clip.move(f"forearm{part}", (1, 0, 0), -40.0 * size, begin + late, end - begin)
                clip.move(
                    f"hand{part}", wrist_axis(part, 0.2), 18.0 * size, begin + 2 * late, end - begin
                )
                clip.close_fingers(part, 14.0 * size, begin + 3 * late, end - begin)
            for axis, degrees in turns:
                clip.move(part, axis, sign * degrees, begin, end - begin)
        sign = -sign
    return clip.make(), spans


class Performance:
    """Gathers the turns of one clip; every part also breathes a little, as nothing is still.

    The feet keep their places on the floor while the hips above them move.
    """

    def __init__(self, seed: int, fps: float, seconds: float) -> None:
        self.random = np.random.default_rng(seed)
        self.fps = fps
        self.count = round(seconds * fps)
        self.time = np.arange(self.count) / fps
        self.pronation = {".L": 0.0, ".R": 0.0}
        self.bent = {".L": 0.0, ".R": 0.0}
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
            self.turn_by(
                f"hand{side}", wrist_axis(side, 0.3), np.full(self.count, -self.draw(10, 16))
            )
            for finger in ("index", "middle", "ring", "pinky"):
                life, hertz = self.draw(2.5, 4.5), self.draw(0.25, 0.45)
                play = life * np.sin(2 * np.pi * hertz * self.time + self.draw(0, 6.28))
                self.turn_by(f"{finger}{side}", wrist_axis(side), play)
                for joint, curl in (("", 16.0), ("/2", 24.0), ("/3", 14.0)):
                    held = np.full(self.count, -curl * self.draw(0.8, 1.2))
                    self.turn_by(f"{finger}{side}{joint}", wrist_axis(side), held)

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

    def bend_wrist(self, side: str, degrees: float, start: float, length: float) -> None:
        """Bend a wrist to so much; flexed is negative."""
        self.move(f"hand{side}", wrist_axis(side, 0.2), degrees - self.bent[side], start, length)
        self.bent[side] = degrees

    def close_fingers(self, side: str, degrees: float, start: float, length: float) -> None:
        """Bend all joints of a hand's fingers by so much, a little less the thumb."""
        for number, finger in enumerate(("thumb", "index", "middle", "ring", "pinky")):
            for joint in ("", "/2", "/3"):
                share = self.draw(0.7, 1.0) * (0.4 if finger == "thumb" else 1.0)
                late = start + 0.02 * number
                self.move(
                    f"{finger}{side}{joint}", wrist_axis(side), -share * degrees, late, length
                )

    def make(self, feet_planted: bool = True) -> Motion:
        """Pose the figure; feet that are not planted go along with the hips."""
        angles: Angles = {}
        for part, turns in self.turns.items():
            total = figure.turn((1, 0, 0), np.zeros(self.count))
            for axis, degrees in turns:
                total = rotations.multiply(total, figure.turn(axis, degrees))
            angles[part] = total
        for side in (".L", ".R"):
            inward = np.full(self.count, self.pronation[side] * (1.0 if side == ".L" else -1.0))
            twist = figure.turn((0, 0, 1), inward)
            angles[f"forearm{side}"] = rotations.multiply(angles[f"forearm{side}"], twist)
            self._raise_clavicle(angles, side)
        motion = figure.make_motion(angles, self.count, fps=self.fps)
        return limbs.tread(motion) if feet_planted else motion

    def _raise_clavicle(self, angles: Angles, side: str) -> None:
        """Let the clavicle follow its arm, a little later, from where the rhythm sets in."""
        arm = rotations.multiply(angles[f"shoulder{side}"], angles[f"upper_arm{side}"])
        bone = rotations.rotate(arm, np.broadcast_to([0.0, 0.0, -1.0], (self.count, 3)))
        raised = np.degrees(np.arccos(np.clip(-bone[:, 2], -1.0, 1.0)))
        late = np.interp(self.time - CLAVICLE_LATE_S, self.time, raised)
        # A soft corner: nothing under the set angle, the full share 20 degrees over it.
        beyond = 10.0 * np.logaddexp(0.0, (late - SET_ANGLE) / 10.0)
        up = -CLAVICLE_SHARE * beyond * (1.0 if side == ".L" else -1.0)
        lift = figure.turn((0, 1, 0), up)
        angles[f"shoulder{side}"] = rotations.multiply(angles[f"shoulder{side}"], lift)


def wrist_axis(side: str, aside: float = 0.0) -> tuple[float, float, float]:
    """Return the axis about which wrist and fingers bend; negative angles close the hand.

    The palms of the figure look at its body and its knuckles lie along Y. `aside` is how much goes
    to the side of thumb or little finger, where a wrist has a third of the room (AAOS).
    """
    return (aside, -1.0 if side == ".L" else 1.0, 0.0)


def _lag(size: float, omega: float, phase: float, tau: float) -> tuple[float, float, float]:
    """Return size, rhythm and phase of a first-order follower with time constant tau."""
    return size / np.hypot(1.0, omega * tau), omega, phase - np.arctan(omega * tau)


MAKERS = {"reaches": make_reaches, "swings": make_swings, "throws": make_throws}
