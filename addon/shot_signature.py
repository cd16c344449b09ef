# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Has the animation changed? Cheap answers, asked at every update while the overlay is on.

Blender tells which data was touched, not whether anything about it is different: playing, undoing
and our own readings touch much and change nothing. So keys are compared by a number made of them,
and the shot's frame, by a handful of facts.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from typing import Any

import bpy

from . import compat
from .curve_tables import read_keys_of
from .describing_curves import read_rules


def describe_shot(scene: bpy.types.Scene, subjects: Iterable[str]) -> tuple[Hashable, ...]:
    """Return the facts of a shot that no update of the animation tells about.

    Parameters
    ----------
    scene : bpy.types.Scene
    subjects : iterable of str
        Names of the objects that were read.
    """
    render, units = scene.render, scene.unit_settings
    owners = []
    for name in subjects:
        owner = scene.objects.get(name)
        if owner is None:
            owners.append((name, None))
            continue
        data = owner.animation_data
        played = (
            None
            if data is None
            else (
                data.action.name_full if data.action is not None else None,
                compat.name_slot(data),
                data.use_tweak_mode,
                len(data.nla_tracks),
                len(data.drivers),
            )
        )
        rest = owner.data.pose_position if owner.type == "ARMATURE" else None
        owners.append((name, owner.name, played, rest, owner.parent.name if owner.parent else None))
    bound = tuple(
        (marker.frame, marker.camera.name)
        for marker in scene.timeline_markers
        if marker.camera is not None
    )
    return (
        scene.frame_start,
        scene.frame_end,
        render.fps,
        render.fps_base,
        render.frame_map_old,
        render.frame_map_new,
        render.resolution_x,
        render.resolution_y,
        scene.camera.name if scene.camera is not None else None,
        units.system,
        units.scale_length,
        bound,
        tuple(owners),
    )


def number_action(action: bpy.types.Action) -> int:
    """Return a number that differs when anything about an action's curves does."""
    curves = list_all_curves(action)
    rules = tuple((c.data_path, c.array_index, c.mute, read_rules(c)) for c in curves)
    keys = read_keys_of(curves)
    return hash((rules, keys.counts.tobytes(), keys.show_keys().tobytes()))


def list_all_curves(action: bpy.types.Action) -> list[Any]:
    """Return every curve of an action, whatever it moves."""
    if not compat.HAS_SLOTS:
        return compat.list_action_curves(action)
    found: list[Any] = []
    for slot in action.slots:
        found += compat.list_action_curves(action, slot)
    return found
