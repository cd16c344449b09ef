# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Natural gestures the checks have to be quiet on, made from minimum-jerk moves and lags.

Waving, bowing, a symmetric gesture with both hands, motion held on twos and threes, and motion
with the jitter of a capture. How much one part answers another is common practice; sizes and times
are drawn from the clip's own seed.
"""

from __future__ import annotations

import formula_motions
import numpy as np
import reposing
from formula_motions import Performance, wrist_axis

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion

JITTER_DEGREES = 0.08


def make_waving(seed: int, fps: float) -> Motion:
    """Raise one arm, wave with forearm and hand, lower it; trunk, head and clavicle go along."""
    act = Performance(seed, fps, 6.0)
    side, sign = act.choose(((".L", 1.0), (".R", -1.0)))
    start, rise = act.draw(0.4, 0.8), act.draw(0.55, 0.75)
    lift = act.draw(95, 115)
    end = 4.4
    act.move("chest", (0, 0, 1), 7.0 * sign, start - 0.08, rise)
    act.move("spine", (0, 1, 0), -4.0 * sign, start - 0.1, rise + 0.1)
    act.move("head", (0, 0.3, 1), 9.0 * sign, start - 0.12, 0.6 * rise)
    act.move(f"upper_arm{side}", (0, 1, 0), -sign * 0.75 * lift, start, rise)
    act.move(f"upper_arm{side}", (1, 0, 0), -25.0, start + 0.04, rise)
    act.move(f"forearm{side}", (1, 0, 0.1 * sign), -act.draw(50, 65), start + 0.08, rise)
    act.move(f"hand{side}", wrist_axis(side, 0.2), act.draw(14, 22), start + 0.12, rise)
    act.close_fingers(side, -8.0, start + 0.2, rise)
    hertz = act.draw(1.3, 1.7)
    begin, finish = start + rise, end - 0.4
    inside = _ease_window(act.time, begin - 0.2, finish + 0.2, 0.35)
    for part, axis, size, late in (
        (f"upper_arm{side}", (0, 1, 0), 6.0, -0.02),
        (f"forearm{side}", (0, 1, 0), act.draw(18, 26), 0.0),
        (f"hand{side}", (0, 1, 0), act.draw(10, 16), 0.06),
        (f"index{side}", wrist_axis(side), 7.0, 0.10),
        (f"middle{side}", wrist_axis(side), 8.0, 0.11),
        (f"ring{side}", wrist_axis(side), 9.0, 0.12),
        (f"pinky{side}", wrist_axis(side), 9.0, 0.13),
        ("chest", (0, 1, 0), 1.2, -0.03),
        ("head", (0, 1, 0), 1.0, 0.05),
    ):
        wave = np.sin(2.0 * np.pi * hertz * (act.time - begin - late))
        act.turn_by(part, axis, size * inside * wave)
    back = 0.8
    act.move("chest", (0, 0, 1), -7.0 * sign, end - 0.08, back)
    act.move("spine", (0, 1, 0), 4.0 * sign, end - 0.1, back + 0.1)
    act.move("head", (0, 0.3, 1), -9.0 * sign, end - 0.15, 0.6 * back)
    act.move(f"upper_arm{side}", (0, 1, 0), sign * 0.75 * lift, end, back)
    act.move(f"upper_arm{side}", (1, 0, 0), 25.0, end + 0.04, back)
    act.move(f"forearm{side}", (1, 0, 0.1 * sign), 50.0, end + 0.05, back)
    act.move(f"hand{side}", wrist_axis(side, 0.2), -18.0, end + 0.12, back)
    act.close_fingers(side, 10.0, end + 0.2, back)
    return act.make()


def make_bow(seed: int, fps: float) -> Motion:
    """Bow and come up again: the trunk folds from the hips up, the arms hang and drag."""
    act = Performance(seed, fps, 6.0)
    depth, down = act.draw(0.8, 1.1), act.draw(0.8, 1.0)
    for start, sign, length in ((0.7, 1.0, down), (0.7 + down + 0.9, -1.0, down + 0.25)):
        for part, degrees, late in (
            ("hips", 24.0, 0.0),
            ("spine", 14.0, 0.04),
            ("chest", 12.0, 0.08),
            ("neck", 9.0, 0.14),
            ("head", 11.0, 0.20),
        ):
            act.move(part, (1, 0, 0), sign * depth * degrees, start + late, length)
        for side, late, share in ((".L", 0.07, 1.0), (".R", 0.13, act.draw(0.75, 0.9))):
            swing = -sign * share * depth
            act.move(f"upper_arm{side}", (1, 0, 0), 44.0 * swing, start + late, length)
            act.move(f"forearm{side}", (1, 0, 0), 12.0 * swing, start + late + 0.09, length)
            act.move(
                f"hand{side}", wrist_axis(side, 0.2), 10.0 * swing, start + late + 0.16, length
            )
            act.close_fingers(side, 16.0 * sign * share, start + late + 0.2, length)
    return act.make()


def make_symmetric_gesture(seed: int, fps: float) -> Motion:
    """Open both arms for a moment, as in "what can one do": symmetric, but short.

    As in life one arm goes a little farther and starts a little earlier than the other.
    """
    act = Performance(seed, fps, 5.0)
    start, length = act.draw(1.0, 1.4), act.draw(0.40, 0.5)
    pause, late, share = act.draw(0.1, 0.2), act.draw(0.015, 0.035), act.draw(0.86, 0.94)
    reach = act.draw(22, 32)
    lead = act.choose((".L", ".R"))
    for begin, sign in ((start, 1.0), (start + length + pause, -1.0)):
        act.move("chest", (1, 0, 0), -6.0 * sign, begin - 0.05, length)
        act.move("head", (0, 1, 0.3), 9.0 * sign, begin - 0.1, length)
        for side, out in ((".L", 1.0), (".R", -1.0)):
            size = sign * (1.0 if side == lead else share)
            at = begin + (0.0 if side == lead else late)
            act.move(f"shoulder{side}", (0, 1, 0), -8.0 * out * size, at - 0.02, length)
            act.move(f"upper_arm{side}", (0, 1, 0), -reach * out * size, at, length)
            act.move(f"upper_arm{side}", (1, 0, 0), -18.0 * size, at, length)
            act.move(f"forearm{side}", (1, 0, 0.2 * out), -42.0 * size, at + 0.05, length)
            act.move(f"forearm{side}", (0, 0, 1), 35.0 * out * size, at + 0.06, length)
            act.move(f"hand{side}", wrist_axis(side, 0.2), 16.0 * size, at + 0.1, length)
            act.close_fingers(side, -14.0 * size, at + 0.12, length)
    return act.make()


def make_overhead(seed: int, fps: float) -> Motion:
    """Reach up to a shelf with one arm after the other and come down again."""
    act = Performance(seed, fps, 8.0)
    clock, side = 0.5, act.choose((".L", ".R"))
    while clock < 5.6:
        out = 1.0 if side == ".L" else -1.0
        up, pause, down = act.draw(0.6, 0.8), act.draw(0.15, 0.3), act.draw(0.7, 0.9)
        lift, wide = act.draw(115, 150), act.draw(0, 22) * out
        for begin, length, sign in ((clock, up, 1.0), (clock + up + pause, down, -1.0)):
            act.move("spine", (0, 1, 0), 5.0 * out * sign, begin - 0.12, length)
            act.move("chest", (0, 0, 1), -11.0 * out * sign, begin - 0.08, length)
            act.move("chest", (1, 0, 0), -8.0 * sign, begin - 0.05, length)
            act.move("head", (1, 0, 0), -16.0 * sign, begin - 0.15, 0.7 * length)
            act.move(f"upper_arm{side}", (1, 0, 0), -lift * sign, begin, length)
            act.move(f"upper_arm{side}", (0, 1, 0), -wide * sign, begin + 0.03, length)
            act.move(f"forearm{side}", (1, 0, 0), -14.0 * sign, begin + 0.05, length)
            act.move(f"hand{side}", wrist_axis(side, 0.2), 26.0 * sign, begin + 0.13, length)
            act.close_fingers(side, 26.0 * sign, begin + 0.2, length)
        clock += up + pause + down + act.draw(0.2, 0.5)
        side = ".R" if side == ".L" else ".L"
    return act.make()


def make_on_twos(seed: int, fps: float) -> Motion:
    """Reaches whose every pose is held for two frames."""
    return hold_poses(formula_motions.make_reaches(seed, fps), 2)


def make_on_threes(seed: int, fps: float) -> Motion:
    """Swings whose every pose is held for three frames."""
    return hold_poses(formula_motions.make_swings(seed, fps), 3)


def make_jittery(seed: int, fps: float) -> Motion:
    """Reaches with the jitter of a capture on every joint, drawn anew for every frame.

    Half of it is gone after a filter at 6 Hz; the size is that of hand-held or optical recordings
    (practice: a tenth of a degree).
    """
    motion = formula_motions.make_reaches(seed, fps)
    random = np.random.default_rng(seed + 1)
    vectors = random.normal(scale=JITTER_DEGREES, size=(motion.frame_count, len(motion.parts), 3))
    size = np.linalg.norm(vectors, axis=-1)
    shake = rotations.from_axis_angle(vectors, size)
    turns = {
        part: rotations.multiply(motion.local_rotations[:, row], shake[:, row])
        for row, part in enumerate(motion.parts)
        if part != "root"
    }
    return reposing.repose(motion, turns)


MAKERS = {
    "waving": make_waving,
    "bow": make_bow,
    "overhead": make_overhead,
    "symmetric gesture": make_symmetric_gesture,
    "reaches on twos": make_on_twos,
    "swings on threes": make_on_threes,
    "jittery reaches": make_jittery,
}


SLOWEST = {"reaches on twos": 24.0, "swings on threes": 24.0}
"""Frames a second under which nobody holds drawings for two or three frames (common practice)."""


def hold_poses(motion: Motion, each: int) -> Motion:
    """Show every `each`-th pose for that many frames."""
    shown = (np.arange(motion.frame_count) // each) * each
    return reposing.pick_frames(motion, shown)


def _ease_window(time: np.ndarray, start: float, end: float, edge: float) -> np.ndarray:
    """Return 1 between start and end, eased to 0 over `edge` seconds at both sides, inside."""
    rise = np.clip((time - start) / edge, 0.0, 1.0)
    fall = np.clip((end - time) / edge, 0.0, 1.0)
    u = np.minimum(rise, fall)
    return u * u * (3.0 - 2.0 * u)
