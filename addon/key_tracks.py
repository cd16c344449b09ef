# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The key frames behind each part: those of its bone, of its controls, or of the object."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import bpy
import numpy as np

from ..core_math import KeyTrack
from .animation_data import (
    TRANSFORM_CHANNELS,
    PlayedCurve,
    list_played_curves,
    read_keys,
    read_stepped,
    split_bone_path,
)

SAME_FRAME = 1e-3
"""Keys closer than this, in frames, are one."""


def read_key_tracks(
    owner: bpy.types.Object, bones_of: Mapping[str, Sequence[str]], factor: float
) -> dict[str, KeyTrack]:
    """Return the keys of each part.

    Parameters
    ----------
    owner : bpy.types.Object
    bones_of : mapping of part to names of bones
        The bone that stands for the part and its controls; "" stands for the object itself.
    factor : float
        Animation time per frame of the scene.
    """
    curves = group_curves(owner)
    tracks = {}
    for part, bones in bones_of.items():
        keyed = [bone for bone in bones if curves.get(bone)]
        track = _join([entry for bone in keyed for entry in curves[bone]], tuple(keyed), factor)
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


def _join(curves: list[PlayedCurve], controls: tuple[str, ...], factor: float) -> KeyTrack | None:
    frames, stepped = [], []
    for played in curves:
        if not len(played.curve.keyframe_points):
            continue
        times, _ = read_keys(played.curve)
        at = played.to_frames(times) / factor
        held = np.resize(read_stepped(played.curve), len(at))
        frames.append(at)
        stepped.append(held)
    if not frames:
        return None
    every, held_there = np.concatenate(frames), np.concatenate(stepped)
    finite = np.isfinite(every)
    every, held_there = every[finite], held_there[finite]
    if not len(every):
        return None
    order = np.argsort(every, kind="stable")
    every, held_there = every[order], held_there[order]
    starts = np.concatenate(([0], np.flatnonzero(np.diff(every) > SAME_FRAME) + 1))
    # Held only when every curve that has a key there holds it.
    return KeyTrack(
        frames=every[starts],
        stepped=np.logical_and.reduceat(held_there, starts),
        controls=tuple(name for name in controls if name),
    )
