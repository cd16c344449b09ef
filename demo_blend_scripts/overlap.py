# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Overlap of braids and tool strap: swung from the body's motion, then keyed every few frames.

A strand swings like a pendulum hung from a moving root, and every joint does so a little
later than the one above: follow-through that runs down the chain, each braid in its own
time and size. Only sparse Bezier keys go into the action, staggered from joint to joint.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import bpy
from mathutils import Matrix, Vector

from . import performance as show
from .keys import FLOWING, Tracks
from .rig import BRAID_BONES, STRAP_BONES

STEPS_PER_FRAME = 8
PRE_ROLL_FRAMES = 30
KEY_EVERY = 3


class Strand(NamedTuple):
    """One strand: its bones, what carries it, and how it swings.

    It swings as a pendulum of `length` metres hung from its root; each joint does the same
    `lag` frames after the one above.
    """

    bones: tuple[str, ...]
    carrier: str
    length: float
    damping: float
    """Share of the critical damping."""
    lag: float
    swing: float
    """How far it gives way to the pull of its root, 1 for a free pendulum."""
    stiff: float
    """How much of the root's own direction the first joint keeps."""
    grow: tuple[float, float, float]
    """Direction it grows in, in the armature's rest space."""
    clear: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Lean that keeps it clear of the body, in the armature's rest space."""


STRANDS = (
    # The left braid is tied tighter and shorter: it swings sooner and less far.
    Strand(
        tuple(f"braid.{joint:02d}.L" for joint in range(1, BRAID_BONES + 1)),
        "head", 0.17, 0.42, 1.2, 0.74, 0.22, (0.30, 0.30, -1.0), (0.26, 0.42, 0.0),
    ),
    Strand(
        tuple(f"braid.{joint:02d}.R" for joint in range(1, BRAID_BONES + 1)),
        "head", 0.33, 0.30, 1.8, 1.00, 0.12, (-0.22, 0.50, -1.0), (-0.12, 0.55, 0.0),
    ),
    Strand(
        tuple(f"strap.{joint:02d}" for joint in range(1, STRAP_BONES + 1)),
        "hips", 0.14, 0.35, 1.2, 0.70, 0.15, (0.40, -0.12, -1.0),
    ),
)  # fmt: skip

GRAVITY = 9.81
CARRIERS = ("head", "chest", "hips")

# bone, its two ends in the bone's own space (along the bone), radius
BODY = (
    ("head", Vector((0.0, 0.105, 0.0)), Vector((0.0, 0.12, 0.0)), 0.118),
    ("chest", Vector((-0.10, 0.165, 0.0)), Vector((0.10, 0.165, 0.0)), 0.082),
    ("chest", Vector((-0.05, 0.03, 0.0)), Vector((0.05, 0.03, 0.0)), 0.126),
    ("hips", Vector((-0.05, 0.05, 0.0)), Vector((0.05, 0.05, 0.0)), 0.140),
)


def swing(
    rig: bpy.types.Object, strand: Strand, poses: dict[str, list[Matrix]]
) -> list[list[Vector]]:
    """Return the joints' places on every frame, from the strand's root to its tip."""
    rest = [rig.data.bones[name] for name in strand.bones]
    to_carrier = rig.data.bones[strand.carrier].matrix_local.inverted()
    root = to_carrier @ rest[0].head_local
    grow = to_carrier.to_3x3() @ Vector(strand.grow).normalized()
    carriers = poses[strand.carrier]
    hanging = _pendulum([carrier @ root for carrier in carriers], strand)
    frames = []
    for frame, carrier in enumerate(carriers):
        body = {bone: poses[bone][frame] for bone in CARRIERS}
        places = [carrier @ root]
        for joint, bone in enumerate(rest):
            late = frame - strand.lag * joint
            direction = _between(hanging, late)
            keep = strand.stiff * (1.0 - joint / len(rest)) ** 2
            direction = direction.lerp(_between(carriers, late).to_3x3() @ grow, keep)
            direction = direction + _clear_of(_between(poses["chest"], late), strand, joint)
            places.append(places[-1] + direction.normalized() * bone.length)
            _keep_out(places, body, bone.length)
        frames.append(places)
    return frames


def _clear_of(chest: Matrix, strand: Strand, joint: int) -> Vector:
    """Return how far the body leans a joint outwards: much at the shoulders, little below.

    Bent over, she is not under her braids any more.
    """
    upright = max(0.0, (chest.to_3x3() @ Vector((0.0, 1.0, 0.0))).z)
    front = chest.to_3x3() @ Vector((0.0, 0.0, 1.0))
    turn = Matrix.Rotation(math.atan2(front.x, -front.y), 3, "Z")
    share = (1.0, 1.0, 0.70, 0.40, 0.20, 0.10)[joint]
    return turn @ Vector(strand.clear) * (share * upright)


def _between(values: Sequence[Any], at: float) -> Any:
    """Return a value between two frames; before the first frame the first."""
    low = max(0, math.floor(at))
    return values[low].lerp(values[min(low + 1, len(values) - 1)], max(0.0, at - low))


def _pendulum(roots: list[Vector], strand: Strand) -> list[Vector]:
    """Return the direction of a damped pendulum hung from a moving root, frame by frame."""
    step = 1.0 / (show.FPS * STEPS_PER_FRAME)
    stiffness = GRAVITY / strand.length
    drag = 2.0 * strand.damping * math.sqrt(stiffness)
    last = len(roots) - 1
    offset, speed = Vector(), Vector()
    directions = []
    for frame in range(-PRE_ROLL_FRAMES, len(roots)):
        a, b, c = (roots[min(max(frame + k, 0), last)] for k in (-1, 0, 1))
        pull = (a - 2.0 * b + c) * (-strand.swing * show.FPS * show.FPS)
        pull.z = 0.0
        for _ in range(STEPS_PER_FRAME):
            speed += (pull / strand.length - offset * stiffness - speed * drag) * step
            offset += speed * step
        if frame >= 0:
            # However hard it is pulled, it does not swing over the top.
            bent = offset * (1.0 / math.sqrt(1.0 + offset.length_squared / 1.6))
            directions.append((bent + Vector((0.0, 0.0, -1.0))).normalized())
    return directions


def _keep_out(places: list[Vector], body: dict[str, Matrix], length: float) -> None:
    """Push the last joint out of the body, and keep its link's length."""
    for bone, low, high, radius in BODY:
        start, end = body[bone] @ low, body[bone] @ high
        line = end - start
        along = (places[-1] - start).dot(line) / max(line.length_squared, 1e-9)
        nearest = start + line * max(0.0, min(1.0, along))
        away = places[-1] - nearest
        if away.length < radius:
            places[-1] = nearest + away.normalized() * radius
    link = places[-1] - places[-2]
    places[-1] = places[-2] + link * (length / link.length)


def key_strand(
    tracks: Tracks, rig: bpy.types.Object, strand: Strand, poses: dict[str, list[Matrix]]
) -> None:
    """Key one strand from its swing, each joint on its own frames."""
    frames = swing(rig, strand, poses)
    parents = [carrier.copy() for carrier in poses[strand.carrier]]
    parent_rest = rig.data.bones[strand.carrier].matrix_local
    last = len(frames) - 1
    for joint, name in enumerate(strand.bones):
        rest = parent_rest.inverted() @ rig.data.bones[name].matrix_local
        parent_rest = rig.data.bones[name].matrix_local
        for index, places in enumerate(frames):
            hanging = parents[index] @ rest
            line = places[joint + 1] - places[joint]
            local = hanging.to_3x3().inverted() @ line
            turn = Vector((0.0, 1.0, 0.0)).rotation_difference(local)
            parents[index] = hanging @ turn.to_matrix().to_4x4()
            if index in (0, last) or (index - joint) % KEY_EVERY == 0:
                frame = show.FIRST_FRAME + index
                tracks.key_vector(name, "rotation_euler", frame, turn.to_euler("XYZ"), FLOWING)
