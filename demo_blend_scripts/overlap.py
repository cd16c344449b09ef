# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Overlap of braids and tool strap: swung from the body's motion, then keyed every few frames.

Each strand is a chain of weights hung from its first bone. The swing gives the timing
(every joint later than the one above, each braid in its own time); only sparse Bezier
keys of it go into the action, staggered from joint to joint.
"""

from __future__ import annotations

from typing import NamedTuple

import bpy
from mathutils import Matrix, Vector

from . import performance as show
from .keys import FLOWING, Tracks
from .rig import BRAID_BONES, STRAP_BONES

STEPS_PER_FRAME = 6
PRE_ROLL_FRAMES = 36
KEY_EVERY = 3


class Strand(NamedTuple):
    """One strand: its bones, what carries it, and how it swings."""

    bones: tuple[str, ...]
    carrier: str
    gravity: float
    damping: float
    stiffness: float
    """Share of a bend that is straightened out in one frame."""
    hang: tuple[float, float, float] = (0.0, 0.0, -1.0)
    """Direction it grows in, in the armature's rest space."""


STRANDS = (
    # The left braid is tied tighter and hangs heavier: it swings sooner and less far.
    Strand(
        tuple(f"braid.{joint:02d}.L" for joint in range(1, BRAID_BONES + 1)),
        "head", 13.5, 0.090, 0.30, (0.22, 0.25, -1.0),
    ),
    Strand(
        tuple(f"braid.{joint:02d}.R" for joint in range(1, BRAID_BONES + 1)),
        "head", 8.0, 0.045, 0.14, (-0.10, 0.45, -1.0),
    ),
    Strand(
        tuple(f"strap.{joint:02d}" for joint in range(1, STRAP_BONES + 1)),
        "hips", 11.0, 0.060, 0.10, (0.35, -0.10, -1.0),
    ),
)  # fmt: skip

CARRIERS = ("head", "chest", "hips")

# bone, its two ends in the bone's own space (along the bone), radius
BODY = (
    ("head", Vector((0.0, 0.105, 0.0)), Vector((0.0, 0.12, 0.0)), 0.118),
    ("chest", Vector((-0.10, 0.165, 0.0)), Vector((0.10, 0.165, 0.0)), 0.092),
    ("chest", Vector((-0.05, 0.03, 0.0)), Vector((0.05, 0.03, 0.0)), 0.135),
    ("hips", Vector((-0.05, 0.05, 0.0)), Vector((0.05, 0.05, 0.0)), 0.150),
)


def swing(
    rig: bpy.types.Object, strand: Strand, poses: dict[str, list[Matrix]]
) -> list[list[Vector]]:
    """Return the joints' places on every frame, from the strand's root to its tip."""
    rest = [rig.data.bones[name] for name in strand.bones]
    to_carrier = rig.data.bones[strand.carrier].matrix_local.inverted()
    root = to_carrier @ rest[0].head_local
    lengths = [bone.length for bone in rest]
    grow = to_carrier.to_3x3() @ Vector(strand.hang).normalized()
    first = poses[strand.carrier][0]
    places = [first @ root]
    for length in lengths:
        places.append(places[-1] + first.to_3x3() @ grow * length)
    before = [place.copy() for place in places]
    frames = []
    count = len(poses[strand.carrier])
    for frame in range(-PRE_ROLL_FRAMES, count):
        now, then = max(frame, 0), max(frame - 1, 0)
        for step in range(1, STEPS_PER_FRAME + 1):
            share = step / STEPS_PER_FRAME
            body = {bone: poses[bone][then].lerp(poses[bone][now], share) for bone in CARRIERS}
            carrier = body[strand.carrier]
            _advance(places, before, strand)
            _straighten(places, carrier.to_3x3() @ grow, lengths, strand)
            _keep_out(places, body)
            places[0] = carrier @ root
            for joint, length in enumerate(lengths, start=1):
                line = places[joint] - places[joint - 1]
                places[joint] = places[joint - 1] + line * (length / line.length)
        if frame >= 0:
            frames.append([place.copy() for place in places])
    return frames


def _advance(places: list[Vector], before: list[Vector], strand: Strand) -> None:
    step = 1.0 / (show.FPS * STEPS_PER_FRAME)
    keep = 1.0 - strand.damping / STEPS_PER_FRAME
    fall = Vector((0.0, 0.0, -strand.gravity * step * step))
    for joint in range(1, len(places)):
        moved = (places[joint] - before[joint]) * keep + fall
        before[joint] = places[joint]
        places[joint] = places[joint] + moved
    before[0] = places[0]


def _straighten(places: list[Vector], grow: Vector, lengths: list[float], strand: Strand) -> None:
    """Bring each joint a little towards the line of the link above it."""
    share = strand.stiffness / STEPS_PER_FRAME
    direction = grow
    for joint, length in enumerate(lengths, start=1):
        goal = places[joint - 1] + direction * length
        # The root holds its direction most; the tip hangs free.
        places[joint] = places[joint].lerp(goal, share * (1.0 - 0.6 * joint / len(lengths)))
        direction = (places[joint] - places[joint - 1]).normalized()


def _keep_out(places: list[Vector], body: dict[str, Matrix]) -> None:
    for bone, low, high, radius in BODY:
        start, end = body[bone] @ low, body[bone] @ high
        line = end - start
        for joint in range(1, len(places)):
            along = (places[joint] - start).dot(line) / max(line.length_squared, 1e-9)
            nearest = start + line * max(0.0, min(1.0, along))
            away = places[joint] - nearest
            if away.length < radius:
                places[joint] = nearest + away.normalized() * radius


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
