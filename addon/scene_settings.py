# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A scene's own settings: which checks run, their limits, style and stage.

They are kept in a custom property of the scene as the text of a settings file: what the panel
shows, what the command reads and what a file shared between people says are one and the same. A
scene without the property takes its settings from the file beside the shot, where there is one.
"""

from __future__ import annotations

import functools
import time
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import bpy

from ..core_math import (
    ALL_CHECKS,
    Check,
    Limits,
    Settings,
    SettingsError,
    Stage,
    Style,
    find_settings_file,
    parse_settings,
    read_settings,
    write_settings,
)

SETTINGS = "fettle_settings"
"""Custom property of a scene: the text of its settings."""

LOOK_AGAIN_S = 2.0
"""Panels ask at every redraw; the disk is asked this seldom."""

LIMIT_NAMES = ("faint", "clear", "glaring")


def read_scene_settings(scene: bpy.types.Scene) -> Settings:
    """Return the settings a scene is read with.

    Raises
    ------
    SettingsError
        One line, when the kept text or the file beside the shot is not understood.
    """
    text = scene.get(SETTINGS)
    if text is not None:
        return _parse(str(text), f"scene {scene.name!r}, property {SETTINGS!r}")
    path, changed = _look_for_file(bpy.data.filepath, int(time.monotonic() / LOOK_AGAIN_S))
    return _read_file(path, changed) if path is not None else Settings()


def find_shared_file() -> Path | None:
    """Return the settings file beside the open shot or in a folder above it."""
    return _look_for_file(bpy.data.filepath, int(time.monotonic() / LOOK_AGAIN_S))[0]


def keep_scene_settings(scene: bpy.types.Scene, settings: Settings) -> None:
    """Keep settings with a scene."""
    scene[SETTINGS] = write_settings(settings)


def drop_scene_settings(scene: bpy.types.Scene) -> None:
    """Go back to the shared file, or to the defaults where there is none."""
    if scene.get(SETTINGS) is not None:
        del scene[SETTINGS]


def has_own_settings(scene: bpy.types.Scene) -> bool:
    """Say whether the scene has settings of its own."""
    return scene.get(SETTINGS) is not None


def settings_or_default(scene: bpy.types.Scene) -> Settings:
    """Return the scene's settings, the defaults where they are not understood."""
    try:
        return read_scene_settings(scene)
    except SettingsError:
        return Settings()


def change_settings(scene: bpy.types.Scene, change: Callable[[Settings], Settings]) -> None:
    """Change the scene's own settings; those it had from a file become its own."""
    keep_scene_settings(scene, change(settings_or_default(scene)))


def set_enabled(settings: Settings, check: Check, enabled: bool) -> Settings:
    """Return settings with a check switched on or off."""
    disabled = settings.disabled - {check.id} if enabled else settings.disabled | {check.id}
    return replace(settings, disabled=frozenset(disabled))


def set_style(settings: Settings, style: Style) -> Settings:
    """Return settings in another style; limits set by hand stay."""
    return replace(settings, style=style)


def set_stage(settings: Settings, stage: Stage | None) -> Settings:
    """Return settings with the user's word on the stage; None finds it again."""
    return replace(settings, stage=stage)


def get_number(settings: Settings, check: Check, name: str) -> float:
    """Return a parameter of a check."""
    return settings.values(check, 24.0).numbers[name]


def get_limit(settings: Settings, check: Check, name: str, severity: str) -> float:
    """Return one of the three limits of a judgement of a check."""
    return settings.values(check, 24.0).limits[name][LIMIT_NAMES.index(severity)]


def set_number(settings: Settings, check: Check, name: str, value: float) -> Settings:
    """Return settings with another value of a parameter, kept inside its range."""
    declared = _find(check, name)
    value = min(max(value, declared.minimum), declared.maximum)
    return _override(settings, check, name, _round(value))


def set_limit(settings: Settings, check: Check, name: str, severity: str, value: float) -> Settings:
    """Return settings with another limit; the two others give way so that they keep their order."""
    declared = _find(check, name)
    assert isinstance(declared, Limits)
    limits = list(settings.values(check, 24.0).limits[name])
    place = LIMIT_NAMES.index(severity)
    sign = 1.0 if declared.rising else -1.0
    low, high = sorted((sign * declared.minimum, sign * declared.maximum))
    gap = max(1e-4, 1e-3 * (high - low))
    ordered = [sign * limit for limit in limits]
    ordered[place] = min(max(sign * value, low + gap * place), high - gap * (2 - place))
    for above in range(place + 1, 3):
        ordered[above] = max(ordered[above], ordered[above - 1] + gap)
    for below in range(place - 1, -1, -1):
        ordered[below] = min(ordered[below], ordered[below + 1] - gap)
    new = tuple(_round(sign * limit) for limit in ordered)
    return _override(settings, check, name, (new[0], new[1], new[2]))


def reset_check(settings: Settings, check: Check) -> Settings:
    """Return settings with a check's declared numbers."""
    overrides = {key: value for key, value in settings.overrides.items() if key != check.id}
    return replace(settings, overrides=overrides)


def is_changed(settings: Settings, check: Check) -> bool:
    """Say whether any number of a check was set by hand."""
    return bool(settings.overrides.get(check.id))


def _find(check: Check, name: str):
    return next(entry for entry in check.declarations if entry.name == name)


def _override(settings: Settings, check: Check, name: str, value) -> Settings:
    own = {**settings.overrides.get(check.id, {}), name: value}
    return replace(settings, overrides={**settings.overrides, check.id: own})


def _round(value: float) -> float:
    """Drop the digits that come from Blender keeping numbers in single precision."""
    return float(f"{value:.6g}")


@functools.lru_cache(maxsize=32)
def _parse(text: str, where: str) -> Settings:
    try:
        return parse_settings(tomllib.loads(text), ALL_CHECKS)
    except ValueError as error:
        raise SettingsError(f"{where}: {error}") from None


@functools.lru_cache(maxsize=2)
def _look_for_file(shot: str, _turn: int) -> tuple[Path | None, int]:
    path = find_settings_file(Path(shot)) if shot else None
    try:
        return path, path.stat().st_mtime_ns if path is not None else 0
    except OSError:
        return None, 0


@functools.lru_cache(maxsize=8)
def _read_file(path: Path, _changed: int) -> Settings:
    return read_settings(path, ALL_CHECKS)
