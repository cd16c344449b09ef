# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which bone stands for which part of the body, with the user's corrections.

Corrections are kept as a custom property on the armature object. Where that cannot be written,
because the armature is linked, they are kept on the scene under the armature's name.
"""

from __future__ import annotations

from collections.abc import Generator, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ..core_math import BodyMap, BodyMapError, Bone, apply_corrections, iterate_body_map, run_steps
from .plain_values import read_column
from .source_reading import SourceReader
from .subjects import SamplingError

CORRECTIONS = "fettle_body_map"
"""Custom property: part to name of the bone; an empty name means there is no such part."""

_KNOWN: dict[Hashable, BodyMap] = {}
_KNOWN_LIMIT = 32


def map_body(
    armature: bpy.types.Object,
    scene: bpy.types.Scene | None = None,
    corrections: Mapping[str, str] | None = None,
) -> BodyMap:
    """Return the body map of an armature; see `iterate_mapping`."""
    return run_steps(iterate_mapping(armature, scene, corrections))


def iterate_mapping(
    armature: bpy.types.Object,
    scene: bpy.types.Scene | None = None,
    corrections: Mapping[str, str] | None = None,
    reader: SourceReader | None = None,
) -> Generator[None, None, BodyMap]:
    """Return the body map of an armature, guessed where the user has not said otherwise.

    With pauses.

    Parameters
    ----------
    armature : bpy.types.Object
    scene : bpy.types.Scene, optional
        Where the corrections of linked armatures are kept.
    corrections : mapping of part to bone name, optional
        Taken in place of the kept ones; an empty name leaves the part out.
    reader : SourceReader, optional
        Of the sampling that is under way.

    Raises
    ------
    SamplingError
        When the bones make no armature.
    """
    said = dict(read_corrections(armature, scene) if corrections is None else corrections)
    columns = _read_columns(armature, reader or SourceReader())
    key = (columns, tuple(sorted(said.items())))
    if key not in _KNOWN:
        bones = _make_bones(columns)
        yield
        try:
            guess = yield from iterate_body_map(bones)
            found = apply_corrections(guess, said, bones)
        except BodyMapError as error:
            raise SamplingError(f"{armature.name}: {error}") from None
        while len(_KNOWN) >= _KNOWN_LIMIT:
            _KNOWN.pop(next(iter(_KNOWN)))
        _KNOWN[key] = found
    return _KNOWN[key]


def forget_maps() -> None:
    """Forget the maps of all rigs: the next reading guesses them anew."""
    _KNOWN.clear()


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


def read_bones(armature: bpy.types.Object) -> list[Bone]:
    """Return the armature's bones at rest, in the armature's own space."""
    return _make_bones(_read_columns(armature, SourceReader()))


@dataclass(frozen=True, slots=True)
class _Columns:
    """All about an armature's bones that their mapping rests on, to be compared quickly."""

    names: tuple[str, ...]
    parents: tuple[str, ...]
    heads: bytes
    tails: bytes
    deform: bytes
    hidden: bytes
    collections: tuple[tuple[str, tuple[str, ...]], ...]
    animated: frozenset[str]


def _read_columns(armature: bpy.types.Object, reader: SourceReader) -> _Columns:
    data: Any = armature.data
    bones = data.bones
    parents = reader.read_parents(data)
    return _Columns(
        names=tuple(parents),
        parents=tuple(parents.values()),
        heads=read_column(bones, "head_local").tobytes(),
        tails=read_column(bones, "tail_local").tobytes(),
        deform=read_column(bones, "use_deform").tobytes(),
        hidden=read_column(bones, "hide").tobytes(),
        collections=tuple(
            (collection.name, tuple(collection.bones.keys())) for collection in data.collections_all
        ),
        animated=frozenset(reader.read_curves(armature).by_bone) - {""},
    )


def _make_bones(columns: _Columns) -> list[Bone]:
    count = len(columns.names)
    places = np.frombuffer(columns.heads + columns.tails, np.float32).astype(float)
    heads, tails = places.reshape(2, count, 3)
    deform, hidden = np.frombuffer(columns.deform + columns.hidden, np.int32).reshape(2, count)
    number = {name: row for row, name in enumerate(columns.names)}
    inside: dict[str, list[str]] = {}
    for collection, members in columns.collections:
        for name in members:
            inside.setdefault(name, []).append(collection)
    return [
        Bone(
            name=name,
            parent=number[columns.parents[row]] if columns.parents[row] else -1,
            head=heads[row],
            tail=tails[row],
            deform=bool(deform[row]),
            hidden=bool(hidden[row]),
            collections=tuple(inside.get(name, ())),
            animated=name in columns.animated,
        )
        for row, name in enumerate(columns.names)
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
