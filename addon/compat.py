# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What differs between the versions of Blender, and nothing else reads the version.

Up to 4.3 an action is a list of F-curves. From 4.4 on it has slots, one for each thing it moves,
and the curves lie in layers, strips and the channelbag of the slot; 5.0 dropped the old list.
"""

from __future__ import annotations

from typing import Any

import bpy

HAS_SLOTS = bpy.app.version >= (4, 4, 0)


def read_version() -> tuple[int, int, int]:
    """Return the version of Blender that runs."""
    major, minor, patch = bpy.app.version
    return (major, minor, patch)


def list_action_curves(action: Any, slot: Any = None) -> list[Any]:
    """Return the F-curves an action has for one slot; the slot is ignored where there is none.

    Parameters
    ----------
    action : bpy.types.Action or None
    slot : bpy.types.ActionSlot or None
        An action with slots moves nothing without one, so None gives no curves from 4.4 on.
    """
    if action is None:
        return []
    if not HAS_SLOTS:
        return list(action.fcurves)
    if not action.layers and getattr(action, "is_action_legacy", False):
        # An old list that was not yet put into layers: it has no slots to choose from.
        return list(getattr(action, "fcurves", ()))
    if slot is None:
        return []
    found: list[Any] = []
    for layer in action.layers:
        for strip in layer.strips:
            bag = strip.channelbag(slot)
            if bag is not None:
                found.extend(bag.fcurves)
    return found


def list_assigned_curves(data: Any) -> list[Any]:
    """Return the F-curves of the action that is assigned to an ID.

    Parameters
    ----------
    data : bpy.types.AnimData or None
    """
    if data is None or data.action is None:
        return []
    return list_action_curves(data.action, data.action_slot if HAS_SLOTS else None)


def list_strip_curves(strip: Any) -> list[Any]:
    """Return the F-curves an NLA strip plays."""
    return list_action_curves(strip.action, strip.action_slot if HAS_SLOTS else None)


def is_muted(curve: Any) -> bool:
    """Say whether an F-curve is passed over: muted itself or, up to 4.3, with its group."""
    return curve.mute or (not HAS_SLOTS and curve.group is not None and curve.group.mute)


def name_slot(data: Any) -> str:
    """Return the identifier of the assigned slot, empty where actions have none."""
    if data is None or not HAS_SLOTS or data.action_slot is None:
        return ""
    return str(data.action_slot.identifier)


def share_action(source: Any, target: Any) -> None:
    """Let another ID of the same kind play the same action, and the same slot of it."""
    target.action = source.action
    if HAS_SLOTS and source.action_slot is not None:
        target.action_slot = source.action_slot
