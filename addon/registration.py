# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Switching the extension on and off: every part in order, and back in exactly reversed order."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import bpy

from . import (
    blender_command,
    flag_gizmo,
    icons,
    keys,
    live,
    markers,
    operators,
    operators_body,
    operators_decide,
    operators_hand_over,
    operators_settings,
    operators_takes,
    panels,
    panels_hand_over,
    panels_setup,
    panels_takes,
    preferences,
    properties,
    sampling_scene,
    timeline_draw,
    viewport_draw,
    window_state,
    window_takes,
)

CLASSES: tuple[Any, ...] = (
    *operators.CLASSES,
    *operators_decide.CLASSES,
    *operators_body.CLASSES,
    *operators_settings.CLASSES,
    *operators_hand_over.CLASSES,
    *operators_takes.CLASSES,
    *timeline_draw.CLASSES,
    *panels.CLASSES,
    *panels_setup.CLASSES,
    *panels_hand_over.CLASSES,
    *panels_takes.CLASSES,
    *flag_gizmo.CLASSES,
)

BEFORE: tuple[ModuleType, ...] = (sampling_scene, markers, icons, properties)
AFTER: tuple[ModuleType, ...] = (
    blender_command,
    live,
    window_state,
    window_takes,
    viewport_draw,
    timeline_draw,
    keys,
    preferences,
)


def register() -> None:
    """Switch on; what was done is undone again when something fails half-way."""
    done: list[Any] = []
    try:
        for module in BEFORE:
            module.register()
            done.append(module.unregister)
        for entry in CLASSES:
            bpy.utils.register_class(entry)
            done.append(lambda entry=entry: bpy.utils.unregister_class(entry))
        for module in AFTER:
            module.register()
            done.append(module.unregister)
    except BaseException:
        while done:
            done.pop()()
        raise


def unregister() -> None:
    """Switch off and leave nothing behind."""
    for module in reversed(AFTER):
        module.unregister()
    for entry in reversed(CLASSES):
        bpy.utils.unregister_class(entry)
    for module in reversed(BEFORE):
        module.unregister()
