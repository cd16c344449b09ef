# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The key frames behind each part: those of its bone, of its controls, or of the object."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core_math import KeyTrack
from .animation_data import (
    TRANSFORM_CHANNELS,
    PlayedCurve,
    list_played_curves,
    read_keys,
    read_stepped,
    split_bone_path,
)

Keys = tuple[NDArray[np.float64], NDArray[np.bool_]]
"""Times of keys, and whether each is held until the next."""

SAME_FRAME = 1e-3
"""Keys closer than this, in frames, are one."""


def read_key_tracks(
    groups: Mapping[str, Sequence[PlayedCurve]],
    bones_of: Mapping[str, Sequence[str]],
    factor: float,
    known: Mapping[int, Keys] | None = None,
) -> dict[str, KeyTrack]:
    """Return the keys of each part.

    Parameters
    ----------
    groups : mapping of bone to its curves
        See `group_curves`.
    bones_of : mapping of part to names of bones
        The bone that stands for the part and its controls; "" stands for the object itself.
    factor : float
        Animation time per frame of the scene.
    known : mapping of an F-curve's pointer to its keys, optional
        What was read already.
    """
    tracks = {}
    for part, bones in bones_of.items():
        keyed = [bone for bone in bones if groups.get(bone)]
        curves = [entry for bone in keyed for entry in groups[bone]]
        track = _join(curves, tuple(keyed), factor, known or {})
        if track is not None:
            tracks[part] = track
    return tracks


def group_curves(owner: bpy.types.Object) -> dict[str, list[PlayedCurve]]:
    """Return the curves of each bone by its name, and those of the object itself under ""."""
    groups: dict[str, list[PlayedCurve]] = {}
    for played in list_played_curves(owner):
        split = split_bone_path(played.curve.data_path)
        if split is not None:
            groups.setdefault(split[0], []).append(played)
        elif played.curve.data_path in TRANSFORM_CHANNELS:
            groups.setdefault("", []).append(played)
    return groups


def find_rotation_bone(
    groups: Mapping[str, Sequence[PlayedCurve]], bones: Sequence[str]
) -> str | None:
    """Return the first of the bones whose rotation is keyed."""
    for bone in bones:
        if any("rotation" in played.curve.data_path for played in groups.get(bone, ())):
            return bone
    return None


def _join(
    curves: Sequence[PlayedCurve],
    controls: tuple[str, ...],
    factor: float,
    known: Mapping[int, Keys],
) -> KeyTrack | None:
    tracks: list[Keys] = []
    for played in curves:
        times, held = _read(played.curve, known)
        if len(times):
            at = played.to_frames(times)
            # A strip that repeats plays its keys several times over.
            tracks.append((at, held if len(at) == len(held) else np.resize(held, len(at))))
    if not tracks:
        return None
    every = tracks[0][0]
    if all(np.array_equal(at, every) for at, _ in tracks[1:]) and np.all(np.diff(every) > 0.0):
        held_there = np.logical_and.reduce([held for _, held in tracks])
    else:
        every, held_there = _merge(tracks)
    if not len(every):
        return None
    return KeyTrack(
        frames=every / factor,
        stepped=held_there,
        controls=tuple(name for name in controls if name),
    )


def _read(curve: Any, known: Mapping[int, Keys]) -> Keys:
    keys = known.get(curve.as_pointer())
    if keys is not None:
        return keys
    if not len(curve.keyframe_points):
        return np.zeros(0), np.zeros(0, dtype=np.bool_)
    return read_keys(curve)[0], read_stepped(curve)


def _merge(tracks: Sequence[Keys]) -> Keys:
    """Return the keys of several curves as one, those on the same frame together."""
    every = np.concatenate([at for at, _ in tracks])
    held_there = np.concatenate([held for _, held in tracks])
    finite = np.isfinite(every)
    every, held_there = every[finite], held_there[finite]
    if not len(every):
        return every, held_there
    order = np.argsort(every, kind="stable")
    every, held_there = every[order], held_there[order]
    starts = np.concatenate(([0], np.flatnonzero(np.diff(every) > SAME_FRAME) + 1))
    # Held only when every curve that has a key there holds it.
    return every[starts], np.logical_and.reduceat(held_there, starts)
