# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Limits: back to the declared ones, to and from a settings file that people share."""

from __future__ import annotations

from pathlib import Path

import bpy
from bpy.props import StringProperty

from ..core_math import (
    ALL_CHECKS,
    OutputError,
    SettingsError,
    read_settings,
    write_settings,
    write_whole,
)
from . import scene_settings, window_state
from .translation import explain, tell


def check_writable(cls: type[bpy.types.Operator], context: bpy.types.Context) -> bool:
    """Say whether settings can be kept with the scene."""
    if context.scene is None or context.scene.library is not None:
        cls.poll_message_set(explain("The scene is linked: its settings cannot be changed"))
        return False
    return True


class FETTLE_OT_reset_limits(bpy.types.Operator):
    """Go back to the declared limits"""

    bl_idname = "fettle.reset_limits"
    bl_label = "Reset Limits"
    bl_options = {"REGISTER", "UNDO"}

    check: StringProperty(options={"HIDDEN", "SKIP_SAVE"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where something was set."""
        if not check_writable(cls, context):
            return False
        if not scene_settings.has_own_settings(context.scene):
            cls.poll_message_set(explain("This scene has no settings of its own"))
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Reset one check, or everything."""
        if self.check:
            check = next(check for check in ALL_CHECKS if check.id == self.check)
            window_state.change_settings(
                context.scene, lambda settings: scene_settings.reset_check(settings, check)
            )
        else:
            window_state.drop_settings(context.scene)
        return {"FINISHED"}


class FETTLE_OT_import_settings(bpy.types.Operator):
    """Take style, stage, switches and limits from a settings file (TOML)"""

    bl_idname = "fettle.import_settings"
    bl_label = "Import Settings"
    bl_options = {"REGISTER", "UNDO"}

    filepath: StringProperty(subtype="FILE_PATH", options={"SKIP_SAVE"})
    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where they can be kept."""
        return check_writable(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> set[str]:
        """Ask for the file."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Take them."""
        try:
            settings = read_settings(Path(self.filepath), ALL_CHECKS)
        except SettingsError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        window_state.change_settings(context.scene, lambda _: settings)
        self.report({"INFO"}, tell("Settings taken from {name}", name=Path(self.filepath).name))
        return {"FINISHED"}


class FETTLE_OT_export_settings(bpy.types.Operator):
    """Write the settings to a file; as fettle.toml beside or above the shots it holds for all"""

    bl_idname = "fettle.export_settings"
    bl_label = "Export Settings"
    bl_options = {"REGISTER"}

    filepath: StringProperty(subtype="FILE_PATH", default="fettle.toml", options={"SKIP_SAVE"})
    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> set[str]:
        """Ask where to."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Write it whole or not at all."""
        settings = scene_settings.settings_or_default(context.scene)
        path = Path(self.filepath).with_suffix(".toml")
        try:
            write_whole(path, write_settings(settings))
        except OutputError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        self.report({"INFO"}, tell("Settings written to {path}", path=path))
        return {"FINISHED"}


CLASSES = (FETTLE_OT_reset_limits, FETTLE_OT_import_settings, FETTLE_OT_export_settings)
