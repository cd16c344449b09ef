# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Pull the end of a limb somewhere, the two bones above it following: arms and legs alike.

motion = limbs.place_end(motion, limbs.leg(".L"), ankle + [0, 0, 0.03])
"""

from __future__ import annotations

import numpy as np
import reposing

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion

Limb = tuple[str, str, str]


def arm(side: str) -> Limb:
    """Return the three parts of an arm."""
    return (f"upper_arm{side}", f"forearm{side}", f"hand{side}")


def leg(side: str) -> Limb:
    """Return the three parts of a leg."""
    return (f"thigh{side}", f"shin{side}", f"foot{side}")


def place_end(
    motion: Motion,
    limb: Limb,
    target: np.ndarray,
    end_rotation: np.ndarray | None = None,
    frames: np.ndarray | None = None,
) -> Motion:
    """Bring the joint of a limb's end to `target`, as far as its bones reach.

    The middle joint opens or closes in its own plane; the whole limb then turns by the shortest
    way. Where the target lies out of reach the limb points at it, stretched.

    Parameters
    ----------
    target : ndarray, shape (F, 3), metres
    end_rotation : ndarray, shape (F, 4), optional
        World rotation of the end; left out, the end keeps the world rotation it had.
    frames : ndarray of bool, shape (F,), optional
        Frames outside keep what they were to the last bit.
    """
    upper, lower, end = limb
    root, middle, tip = (motion.head(part) for part in limb)
    one, other = middle - root, tip - middle
    first, second = (np.linalg.norm(bone, axis=-1) for bone in (one, other))
    reach = target - root
    length = np.clip(np.linalg.norm(reach, axis=-1), np.abs(first - second), first + second)
    # Angle between the two bones' directions: 0 is straight.
    wanted = np.arccos(
        np.clip((length**2 - first**2 - second**2) / (2.0 * first * second), -1.0, 1.0)
    )
    axis = np.cross(one, other)
    size = np.linalg.norm(axis, axis=-1)
    now = np.arctan2(size, np.sum(one * other, axis=-1))
    axis = _fill_axes(axis, size > 1e-3 * first * second)
    bend = rotations.from_axis_angle(axis, np.degrees(wanted - now))
    bent = one + rotations.rotate(bend, other)
    turn = reposing.shortest_turn(bent, reach)
    new_upper = rotations.multiply(turn, motion.rotation(upper))
    new_lower = rotations.multiply(turn, rotations.multiply(bend, motion.rotation(lower)))
    new_end = motion.rotation(end) if end_rotation is None else end_rotation
    above = motion.parent_of(upper)
    base = motion.rotation(above) if above else np.tile([1.0, 0, 0, 0], (len(root), 1))
    locals_ = {
        upper: rotations.relative(base, new_upper),
        lower: rotations.relative(new_upper, new_lower),
        end: rotations.relative(new_lower, new_end),
    }
    if frames is not None:
        for part, values in locals_.items():
            values[~frames] = motion.local_rotations[~frames, motion.index(part)]
    return reposing.repose(motion, locals_)


def stand_on(motion: Motion, offset: np.ndarray, frames: np.ndarray | None = None) -> Motion:
    """Move the hips by `offset`, shape (F, 3), metres in the world; the feet stay where they were.

    Frames outside `frames` keep what they were.
    """
    above = motion.parent_of("hips")
    own = offset
    if above:
        own = rotations.rotate(rotations.conjugate(motion.rotation(above)), offset)
    places = motion.local_heads[:, motion.index("hips")] + own
    moved = reposing.repose(motion, local_heads={"hips": places})
    for side in (".L", ".R"):
        foot = f"foot{side}"
        moved = place_end(moved, leg(side), motion.head(foot), motion.rotation(foot), frames)
    return moved


def tread(motion: Motion, give: float = 0.015) -> Motion:
    """Keep both feet where they stand on the first frame, whatever the hips do above them.

    `give` lowers the hips by a share of body height, so that the knees have something to give.
    """
    lowered = np.zeros((motion.frame_count, 3))
    lowered[:, 2] = -give * motion.height
    places = motion.local_heads[:, motion.index("hips")] + lowered
    moved = reposing.repose(motion, local_heads={"hips": places})
    for side in (".L", ".R"):
        foot = f"foot{side}"
        place = np.broadcast_to(motion.head(foot)[0], (motion.frame_count, 3))
        held = np.broadcast_to(motion.rotation(foot)[0], (motion.frame_count, 4))
        moved = place_end(moved, leg(side), place, held)
    return moved


def _fill_axes(axis: np.ndarray, sure: np.ndarray) -> np.ndarray:
    """Give frames on which the limb is straight the axis of the nearest bent frame."""
    if not sure.any():
        return np.broadcast_to(np.array([1.0, 0.0, 0.0]), axis.shape)
    rows = np.flatnonzero(sure)
    nearest = rows[np.argmin(np.abs(np.arange(len(axis))[:, np.newaxis] - rows), axis=1)]
    return axis[nearest]
