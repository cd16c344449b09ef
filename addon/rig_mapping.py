# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which bone stands for which part of the body, with the user's corrections.

Corrections are kept as a custom property on the armature object. Where that cannot be written,
because the armature is linked, they are kept on the scene under the armature's name.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import bpy
import numpy as np

from ..core_math import BodyMap, BodyMapError, Bone, apply_corrections, guess_body_map
from .subjects import SamplingError, list_animated_bones

CORRECTIONS = "fettle_body_map"
"""Custom property: part to name of the bone; an empty name means there is no such part."""

_KNOWN: dict[tuple[Any, ...], BodyMap] = {}
_KNOWN_LIMIT = 32


def map_body(
    armature: bpy.types.Object,
    scene: bpy.types.Scene | None = None,
    corrections: Mapping[str, str] | None = None,
) -> BodyMap:
    """Return the body map of an armature, guessed where the user has not said otherwise.

    Parameters
    ----------
    armature : bpy.types.Object
    scene : bpy.types.Scene, optional
        Where the corrections of linked armatures are kept.
    corrections : mapping of part to bone name, optional
        Taken in place of the kept ones; an empty name leaves the part out.

    Raises
    ------
    SamplingError
        When the bones make no armature.
    """
    bones = read_bones(armature)
    try:
        return _map_bones(armature, scene, bones, corrections)
    except BodyMapError as error:
        raise SamplingError(f"{armature.name}: {error}") from None


def find_part_parents(body_map: BodyMap, parts: Sequence[str]) -> list[int]:
    """Return for each of the parts the row of the nearest of them it hangs from, -1 for none."""
    rows = {part: row for row, part in enumerate(parts)}
    parents = []
    for part in parts:
        above = body_map.parts[part].parent
        while above and above not in rows:
            above = body_map.parts[above].parent if above in body_map.parts else ""
        parents.append(rows.get(above, -1))
    return parents


def _map_bones(
    armature: bpy.types.Object,
    scene: bpy.types.Scene | None,
    bones: list[Bone],
    corrections: Mapping[str, str] | None,
) -> BodyMap:
    said = dict(read_corrections(armature, scene) if corrections is None else corrections)
    key = (_fingerprint(bones), tuple(sorted(said.items())))
    if key not in _KNOWN:
        while len(_KNOWN) >= _KNOWN_LIMIT:
            _KNOWN.pop(next(iter(_KNOWN)))
        _KNOWN[key] = apply_corrections(guess_body_map(bones), said, bones)
    return _KNOWN[key]


def read_bones(armature: bpy.types.Object) -> list[Bone]:
    """Return the armature's bones at rest, in the armature's own space."""
    data: Any = armature.data
    count = len(data.bones)
    heads, tails = np.empty(3 * count, np.float32), np.empty(3 * count, np.float32)
    data.bones.foreach_get("head_local", heads)
    data.bones.foreach_get("tail_local", tails)
    heads, tails = heads.reshape(-1, 3).astype(float), tails.reshape(-1, 3).astype(float)
    number = {bone.name: row for row, bone in enumerate(data.bones)}
    animated = list_animated_bones(armature)
    return [
        Bone(
            name=bone.name,
            parent=number[bone.parent.name] if bone.parent is not None else -1,
            head=heads[row],
            tail=tails[row],
            deform=bone.use_deform,
            hidden=bone.hide,
            collections=tuple(collection.name for collection in bone.collections),
            animated=bone.name in animated,
        )
        for row, bone in enumerate(data.bones)
    ]


def read_corrections(
    armature: bpy.types.Object, scene: bpy.types.Scene | None = None
) -> dict[str, str]:
    """Return what the user said about this armature: part to bone name."""
    kept = armature.get(CORRECTIONS)
    if kept is None and scene is not None:
        kept = (scene.get(CORRECTIONS) or {}).get(armature.name)
    return {str(part): str(bone) for part, bone in dict(kept or {}).items()}


def keep_correction(
    armature: bpy.types.Object, scene: bpy.types.Scene, part: str, bone: str | None
) -> None:
    """Keep the user's word on one part; None takes it back, an empty name means no such part."""
    said = read_corrections(armature, scene)
    if bone is None:
        said.pop(part, None)
    else:
        said[part] = bone
    if armature.library is None:
        armature[CORRECTIONS] = said
        return
    for_all = dict(scene.get(CORRECTIONS) or {})
    for_all[armature.name] = said
    scene[CORRECTIONS] = for_all


def _fingerprint(bones: list[Bone]) -> int:
    """Return a number that changes whenever the guess could: names, places, what is keyed."""
    return hash(
        tuple(
            (b.name, b.parent, b.deform, b.hidden, b.collections, b.animated)
            + tuple(np.asarray(b.head).tolist())
            + tuple(np.asarray(b.tail).tolist())
            for b in bones
        )
    )
