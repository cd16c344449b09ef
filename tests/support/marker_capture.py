# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A real capture of a fencer, from its markers: CSM/ThomasFechten.csm of assimp-testmodels.

20 s at 120 Hz, 43 markers, no gaps; "recorded with Vicon IQ, July 2008, free for any purpose" (the
package's own note). The markers sit on the skin, so bones change their length by millimetres, as
in any recording.

Joints are found as gait laboratories do. The hip lies 22 % of the distance between the front
markers of the pelvis behind, 14 % inside and 30 % under its own (Bell et al. 1990, from memory).
Knee, ankle and elbow lie half a joint's width from the marker on their outer side, along the axis
about which they bend: that of legs is taken from the foot, that of the elbow from the plane of the
arm, carried over where the arm is straight. The widths are practice. The upper arm is given no
twist of its own.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import reposing
from capture_folder import find_captures
from scipy.spatial.transform import Rotation

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion
from fettle.core_math.motion_making import build_motion

FILE = "ThomasFechten.csm"
FPS = 120.0
HALF_KNEE, HALF_ANKLE, HALF_ELBOW, UNDER_SHOULDER, TOE = 0.055, 0.042, 0.045, 0.045, 0.06
"""Metres, from the marker to the joint (practice)."""

NEAR_HEEL = 0.02
"""Metres by which an ankle's distance from the heel varies with skin and ankle (practice)."""

STRAIGHT = 0.42
"""Sine of the bend (25 degrees) under which the plane of an arm says nothing."""

PARENTS = {
    "hips": None,
    "spine": "hips",
    "chest": "spine",
    "neck": "chest",
    "head": "neck",
    **{
        f"{part}{side}": above if above in ("chest", "hips") else f"{above}{side}"
        for side in (".L", ".R")
        for part, above in (
            ("shoulder", "chest"),
            ("upper_arm", "shoulder"),
            ("forearm", "upper_arm"),
            ("hand", "forearm"),
            ("thigh", "hips"),
            ("shin", "thigh"),
            ("foot", "shin"),
            ("toe", "foot"),
        )
    },
}


def is_here() -> bool:
    """Say whether the capture was fetched."""
    folder = find_captures()
    return folder is not None and (folder.parent / "CSM" / FILE).is_file()


def read_markers() -> dict[str, np.ndarray]:
    """Return the markers' paths in metres, Z up, each of shape (F, 3)."""
    folder = find_captures()
    assert folder is not None, "ask is_here first"
    head, _, points = (folder.parent / "CSM" / FILE).read_text().partition("$Points")
    names = head.partition("$Order")[2].split()
    rows = np.array([line.split()[1:] for line in points.splitlines() if line.strip()], float)
    places = rows.reshape(len(rows), len(names), 3) / 1000.0
    return {name: places[:, row] for row, name in enumerate(names)}


@cache
def load() -> Motion:
    """Return the capture as Motion at the recorded rate."""
    bones = _find_bones(read_markers())
    parts = list(PARENTS)
    heads, tails, world = (
        np.stack([bones[part][entry] for part in parts], axis=1) for entry in range(3)
    )
    toes = np.minimum(bones["toe.L"][1][:, 2], bones["toe.R"][1][:, 2])
    return build_motion(
        subject="fencing",
        frames=np.arange(1, 1 + len(heads)),
        fps=FPS,
        parts=parts,
        parents=[-1 if PARENTS[p] is None else parts.index(PARENTS[p]) for p in parts],
        heads=heads,
        tails=tails,
        rotations_wxyz=world,
        ground_height=float(np.percentile(toes, 2.0)),
    )


def _find_bones(marker: dict[str, np.ndarray]) -> dict[str, tuple[np.ndarray, ...]]:
    """Return start, end and world rotation of every part."""
    m = marker
    front, back = 0.5 * (m["LFWT"] + m["RFWT"]), 0.5 * (m["LBWT"] + m["RBWT"])
    pelvis = 0.5 * (front + back)
    top, low = 0.5 * (m["CLAV"] + m["C7"]), 0.5 * (m["STRN"] + m["T10"])
    skull = 0.25 * (m["LFHD"] + m["RFHD"] + m["LBHD"] + m["RBHD"])
    across = m["LFWT"] - m["RFWT"] + m["LBWT"] - m["RBWT"]
    ahead = front - back
    chest_ahead = m["CLAV"] + m["STRN"] - m["C7"] - m["T10"]
    chest_across = np.cross(top - low, chest_ahead)
    head_across = m["LFHD"] + m["LBHD"] - m["RFHD"] - m["RBHD"]
    head_ahead = m["LFHD"] + m["RFHD"] - m["LBHD"] - m["RBHD"]
    neck = 0.4 * skull + 0.6 * top
    mixed = _unit(across) + _unit(chest_across)
    bones = {
        "hips": (pelvis, pelvis + 0.1 * _unit(np.cross(ahead, across)), None),
        "spine": (pelvis, low, _aim(low - pelvis, mixed)),
        "chest": (low, top, _aim(top - low, chest_across)),
        "neck": (top, neck, _aim(neck - top, head_across + chest_across)),
        "head": (neck, neck + 0.2 * _unit(np.cross(head_ahead, head_across)), None),
    }
    for part, left in (("hips", across), ("head", head_across)):
        start, end, _ = bones[part]
        bones[part] = (start, end, _aim(end - start, left))
    down = -_unit(np.cross(ahead, across))
    for side, s, sign in ((".L", "L", 1.0), (".R", "R", -1.0)):
        width = np.linalg.norm(m["LFWT"] - m["RFWT"], axis=-1, keepdims=True)
        hip = m[f"{s}FWT"] + width * (
            0.30 * down - 0.14 * sign * _unit(across) - 0.22 * _unit(ahead)
        )
        ball = 0.5 * (m[f"{s}TOE"] + m[f"{s}MT5"])
        sole = _unit(m[f"{s}TOE"] - m[f"{s}HEL"])
        outward = m[f"{s}MT5"] - m[f"{s}TOE"]
        outward = _square_to(outward, sole)
        outside = _carry_along(m[f"{s}ANK"], m[f"{s}HEL"], _aim(sole, outward))
        ankle = outside - HALF_ANKLE * _square_to(outward, m[f"{s}KNE"] - outside)
        knee = m[f"{s}KNE"] - HALF_KNEE * _square_to(outward, hip - m[f"{s}KNE"])
        foot_axis = sign * outward
        socket = m[f"{s}SHO"] - UNDER_SHOULDER * _unit(top - low)
        wrist = 0.5 * (m[f"{s}WRA"] + m[f"{s}WRB"])
        bend = _find_bend_axis(socket, m[f"{s}ELB"], wrist, bones["chest"][2])
        elbow = m[f"{s}ELB"] + sign * HALF_ELBOW * bend
        wrist_axis = sign * (m[f"{s}WRA"] - m[f"{s}WRB"])
        for part, start, end, axis in (
            ("shoulder", top, socket, chest_ahead),
            ("upper_arm", socket, elbow, None),
            ("forearm", elbow, wrist, wrist_axis),
            ("hand", wrist, m[f"{s}FIN"], wrist_axis),
            ("thigh", hip, knee, foot_axis),
            ("shin", knee, ankle, foot_axis),
            ("foot", ankle, ball, foot_axis),
            ("toe", ball, ball + TOE * sole, foot_axis),
        ):
            if axis is None:
                turned = _swing(end - start, sign, bones["chest"][2])
            else:
                turned = _aim(end - start, axis)
            bones[f"{part}{side}"] = (start, end, turned)
    return bones


def _carry_along(marker: np.ndarray, base: np.ndarray, frame: np.ndarray) -> np.ndarray:
    """Return where a marker lies when it keeps its usual place on a rigid part.

    The right ankle's was taken for another one in the first 8 s of the recording; its place on the
    foot is the median over the rows on which it lies near the heel, where an ankle is.
    """
    own = rotations.rotate(rotations.conjugate(frame), marker - base)
    reach = np.linalg.norm(own, axis=-1)
    right = reach < np.quantile(reach, 0.05) + NEAR_HEEL
    kept = np.broadcast_to(np.median(own[right], axis=0), own.shape)
    return base + rotations.rotate(frame, kept)


def _find_bend_axis(
    above: np.ndarray, joint: np.ndarray, below: np.ndarray, chest: np.ndarray
) -> np.ndarray:
    """Return the axis about which an elbow bends, unit vectors (F, 3).

    Where the arm is nearly straight its plane says nothing; there the axis goes over, as seen from
    the chest, from what it was to what it will be.
    """
    axis = np.cross(_unit(joint - above), _unit(below - joint))
    sure = np.flatnonzero(np.linalg.norm(axis, axis=-1) > STRAIGHT)
    own = _unit(rotations.rotate(rotations.conjugate(chest), axis)[sure])
    rows = np.arange(len(axis))
    whole = np.stack([np.interp(rows, sure, column) for column in own.T], axis=-1)
    return _unit(rotations.rotate(chest, whole))


def _swing(along: np.ndarray, sign: float, chest: np.ndarray) -> np.ndarray:
    """Return rotations of a bone that swings from sideways, without twist, on the chest."""
    own = rotations.rotate(rotations.conjugate(chest), _unit(along))
    side = np.broadcast_to([sign, 0.0, 0.0], own.shape)
    # A bone lies along its own Y; at rest that points sideways.
    rest = rotations.from_axis_angle((0.0, 0.0, 1.0), -90.0 * sign)
    turned = rotations.multiply(reposing.shortest_turn(side, own), rest)
    return rotations.make_continuous(rotations.multiply(chest, turned))


def _square_to(vectors: np.ndarray, along: np.ndarray) -> np.ndarray:
    """Return unit vectors square to `along`, as near to `vectors` as can be."""
    way = _unit(along)
    return _unit(vectors - np.sum(vectors * way, axis=-1, keepdims=True) * way)


def _aim(along: np.ndarray, across: np.ndarray) -> np.ndarray:
    """Return rotations (F, 4) whose Y points along the bone and X as near across as can be."""
    y = _unit(along)
    x = _unit(across - np.sum(across * y, axis=-1, keepdims=True) * y)
    return rotations.make_continuous(_from_axes(x, y, np.cross(x, y)))


def _from_axes(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Return the rotations whose axes these are, by way of SciPy."""
    matrices = np.stack((x, y, z), axis=-1)
    return Rotation.from_matrix(matrices).as_quat(scalar_first=True)


def _unit(vectors: np.ndarray) -> np.ndarray:
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)
