# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A figure of known proportions, posed by joint rotations: motion with known truth for the tests.

Segment lengths are shares of stature by Drillis & Contini 1966 (from memory); fingers, strands
and the division of the trunk are the project's own choice. The figure stands upright at rest with
its arms hanging, faces -Y, has its left at +X and Z up.

    angles = {"forearm.R": figure.turn((1, 0, 0), degrees_per_frame)}
    motion = figure.make_motion(angles, frames=48)
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion
from fettle.core_math.motion_making import build_motion

STATURE = 1.75

# part: (parent, joint offset from the parent's joint, vector from joint to end), shares of stature
_MIDDLE = {
    "root": (None, (0.0, 0.0, 0.0), (0.0, 0.1, 0.0)),
    "hips": ("root", (0.0, 0.0, 0.53), (0.0, 0.0, 0.08)),
    "spine": ("hips", (0.0, 0.0, 0.08), (0.0, 0.0, 0.10)),
    "chest": ("spine", (0.0, 0.0, 0.10), (0.0, 0.0, 0.108)),
    "neck": ("chest", (0.0, 0.0, 0.108), (0.0, 0.0, 0.052)),
    "head": ("neck", (0.0, 0.0, 0.052), (0.0, 0.0, 0.130)),
}
_LEFT = {
    "shoulder": ("chest", (0.02, 0.0, 0.10), (0.109, 0.0, 0.0)),
    "upper_arm": ("shoulder", (0.109, 0.0, 0.0), (0.0, 0.0, -0.186)),
    "forearm": ("upper_arm", (0.0, 0.0, -0.186), (0.0, 0.0, -0.146)),
    "hand": ("forearm", (0.0, 0.0, -0.146), (0.0, 0.0, -0.06)),
    "thigh": ("hips", (0.0955, 0.0, 0.0), (0.0, 0.0, -0.245)),
    "shin": ("thigh", (0.0, 0.0, -0.245), (0.0, 0.0, -0.246)),
    "foot": ("shin", (0.0, 0.0, -0.246), (0.0, -0.10, -0.030)),
    "toe": ("foot", (0.0, -0.10, -0.030), (0.0, -0.04, -0.009)),
}
_FINGERS = {
    "thumb": (0.02, -0.02),
    "index": (0.015, -0.06),
    "middle": (0.005, -0.06),
    "ring": (-0.005, -0.06),
    "pinky": (-0.015, -0.055),
}
_PHALANX = 0.014
_BRAID = 0.05
BRAIDS = ("strand:braid_L", "strand:braid_R")


def _list_parts() -> dict[str, tuple[str | None, np.ndarray, np.ndarray]]:
    table = {
        name: (parent, np.array(offset), np.array(end))
        for name, (parent, offset, end) in _MIDDLE.items()
    }
    for side, sign in ((".L", 1.0), (".R", -1.0)):
        flip = np.array([sign, 1.0, 1.0])
        for name, (parent, offset, end) in _LEFT.items():
            above = parent if parent in _MIDDLE else f"{parent}{side}"
            table[f"{name}{side}"] = (above, np.array(offset) * flip, np.array(end) * flip)
        for finger, (y, z) in _FINGERS.items():
            end = np.array([0.0, 0.0, -_PHALANX])
            table[f"{finger}{side}"] = (f"hand{side}", np.array([0.0, y, z]), end)
            table[f"{finger}{side}/2"] = (f"{finger}{side}", end, end)
            table[f"{finger}{side}/3"] = (f"{finger}{side}/2", end, end)
        strand = f"strand:braid{'_L' if side == '.L' else '_R'}"
        end = np.array([0.0, 0.0, -_BRAID])
        table[strand] = ("head", np.array([0.03 * sign, 0.04, 0.05]), end)
        for joint in range(2, 6):
            above = strand if joint == 2 else f"{strand}/{joint - 1}"
            table[f"{strand}/{joint}"] = (above, end, end)
    return table


PARTS = _list_parts()


def turn(axis: tuple[float, float, float], degrees: np.ndarray) -> np.ndarray:
    """Make rotations about a fixed axis, one for each frame."""
    values = np.atleast_1d(np.asarray(degrees, dtype=float))
    return rotations.from_axis_angle(np.broadcast_to(axis, (len(values), 3)), values)


def minimum_jerk(u: np.ndarray) -> np.ndarray:
    """Ease from 0 to 1: 10 u^3 - 15 u^4 + 6 u^5 (Flash & Hogan 1985), clamped outside 0..1."""
    u = np.clip(u, 0.0, 1.0)
    return 10 * u**3 - 15 * u**4 + 6 * u**5


def pose_figure(
    angles: Mapping[str, np.ndarray],
    frames: int,
    root_path: np.ndarray | None = None,
    parts: Mapping[str, tuple] = PARTS,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Place all parts; returns heads, tails (F, P, 3) in metres and rotations (F, P, 4)."""
    names = list(parts)
    heads = np.zeros((frames, len(names), 3))
    tails = np.zeros_like(heads)
    world = np.zeros((frames, len(names), 4))
    identity = np.tile([1.0, 0.0, 0.0, 0.0], (frames, 1))
    for row, name in enumerate(names):
        parent, offset, end = parts[name]
        local = angles.get(name, identity)
        if parent is None:
            world[:, row] = local
            heads[:, row] = 0.0 if root_path is None else root_path
        else:
            above = names.index(parent)
            world[:, row] = rotations.multiply(world[:, above], local)
            reach = np.broadcast_to(offset * STATURE, (frames, 3))
            heads[:, row] = heads[:, above] + rotations.rotate(world[:, above], reach)
        length = np.broadcast_to(end * STATURE, (frames, 3))
        tails[:, row] = heads[:, row] + rotations.rotate(world[:, row], length)
    return heads, tails, world


def make_motion(
    angles: Mapping[str, np.ndarray],
    frames: int,
    *,
    fps: float = 24.0,
    root_path: np.ndarray | None = None,
    start: int = 1,
    without: tuple[str, ...] = (),
    **options: object,
) -> Motion:
    """Pose the figure and make a Motion of it.

    `angles` maps a part to rotations relative to its parent, shape (frames, 4); `without` names
    parts (and all below them) that are left out; further options go to `build_motion`.
    """
    kept: dict[str, tuple] = {}
    for name, entry in PARTS.items():
        base = name.split("/")[0]
        if base not in without and (entry[0] is None or entry[0] in kept):
            kept[name] = entry
    heads, tails, world = pose_figure(angles, frames, root_path, kept)
    names = list(kept)
    parents = [-1 if kept[n][0] is None else names.index(kept[n][0]) for n in names]
    settings = {"subject": "Figure", "frames": np.arange(start, start + frames), "fps": fps}
    return build_motion(
        **{**settings, **options},  # type: ignore[arg-type]
        parts=names,
        parents=parents,
        heads=heads,
        tails=tails,
        rotations_wxyz=world,
    )


def transform_motion(
    motion: Motion,
    *,
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0),
    turn_z_degrees: float = 0.0,
    scale: float = 1.0,
    mirror: bool = False,
    reverse_parts: bool = False,
) -> Motion:
    """Return the same motion elsewhere, turned, scaled, mirrored or with its parts reordered.

    A mirrored motion swaps left and right names too, so that a fault moves to the other side.
    """
    heads, tails, world = motion.heads.copy(), motion.tails.copy(), motion.rotations.copy()
    names = list(motion.parts)
    if mirror:
        heads, tails = heads * [-1.0, 1.0, 1.0], tails * [-1.0, 1.0, 1.0]
        world = world * [1.0, 1.0, -1.0, -1.0]
        names = [_other_side(name) for name in names]
    around = rotations.from_axis_angle((0.0, 0.0, 1.0), turn_z_degrees)
    heads = rotations.rotate(around, heads) * scale + shift
    tails = rotations.rotate(around, tails) * scale + shift
    world = rotations.multiply(around, world)
    order = np.arange(len(names))[:: -1 if reverse_parts else 1]
    place = np.argsort(order)
    parents = [motion.parents[i] for i in order]
    return build_motion(
        subject=motion.subject,
        kind=motion.kind,
        frames=motion.frames,
        fps=motion.fps,
        parts=[names[i] for i in order],
        parents=[int(place[p]) if p >= 0 else -1 for p in parents],
        heads=heads[:, order],
        tails=tails[:, order],
        rotations_wxyz=world[:, order],
        ground_height=motion.ground_height * scale + shift[2],
        keys={_other_side(k) if mirror else k: v for k, v in motion.keys.items()},
        channels={_other_side(k) if mirror else k: v for k, v in motion.channels.items()},
        cuts=motion.cuts,
        stage_override=motion.stage,
    )


def _other_side(name: str) -> str:
    for one, other in ((".L", ".R"), ("_L", "_R")):
        if one in name:
            return name.replace(one, other)
        if other in name:
            return name.replace(other, one)
    return name
