# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The takes kept with a scene: they are saved, appended, linked and copied with it."""

from __future__ import annotations

import bpy

from ..core_math import Take, TakeError, dump_take, parse_take

TAKES = "fettle_takes"
"""Custom property of a scene: a group of texts, one for each take."""


def list_takes(scene: bpy.types.Scene) -> list[str]:
    """Return the names of the kept takes, the oldest first."""
    return [take.name for take in _read_all(scene)]


def read_take(scene: bpy.types.Scene, name: str) -> Take:
    """Return a kept take; TakeError names those there are when there is none of that name."""
    takes = _read_all(scene)
    for take in takes:
        if take.name == name:
            return take
    known = ", ".join(take.name for take in takes) or "none"
    raise TakeError(f"scene {scene.name!r}: there is no take {name!r} (kept: {known})")


def keep_take(scene: bpy.types.Scene, take: Take) -> None:
    """Keep a take, in place of an older one of that name."""
    others = [kept for kept in _read_all(scene) if kept.name != take.name]
    _write_all(scene, [*others, take])


def drop_take(scene: bpy.types.Scene, name: str) -> None:
    """Let a take go; TakeError when there is none of that name."""
    read_take(scene, name)
    _write_all(scene, [take for take in _read_all(scene) if take.name != name])


def _read_all(scene: bpy.types.Scene) -> list[Take]:
    group = scene.get(TAKES)
    if group is None:
        return []
    try:
        texts = [str(group[key]) for key in sorted(group.keys(), key=int)]
        return [parse_take(text) for text in texts]
    except (AttributeError, TypeError, ValueError) as error:
        raise TakeError(
            f"scene {scene.name!r}: {error}; remove its custom property {TAKES!r} to start anew"
        ) from None


def _write_all(scene: bpy.types.Scene, takes: list[Take]) -> None:
    if takes:
        scene[TAKES] = {str(number): dump_take(take) for number, take in enumerate(takes)}
    elif scene.get(TAKES) is not None:
        del scene[TAKES]
