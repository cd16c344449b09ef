# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Takes: keep the reading under a name, compare with an older one, go to what changed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
from bpy.props import EnumProperty, IntProperty, StringProperty

from ..core_math import Fate, TakeError, make_take
from . import window_state, window_takes
from .operators import can_keep, get_shown, has_fresh_reading, has_reading
from .properties import FATES
from .scene_takes import drop_take, fetch_take, keep_take, list_takes, read_take
from .translation import explain, say, tell


def propose_name(taken: list[str]) -> str:
    """Return the next name that is free: v1, v2 and so on."""
    number = len(taken) + 1
    while f"v{number}" in taken:
        number += 1
    return f"v{number}"


class FETTLE_OT_keep_take(bpy.types.Operator):
    """Keep the present reading with the shot, to compare later versions with it"""

    bl_idname = "fettle.keep_take"
    bl_label = "Keep Take"
    bl_options = {"REGISTER", "UNDO"}

    name: StringProperty(
        name="Name",
        description="What the take is called; one of the same name is replaced",
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only a reading that tells the truth is worth keeping."""
        return has_fresh_reading(cls, context) and can_keep(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> set[Any]:
        """Ask for the name."""
        try:
            self.name = propose_name(list_takes(context.scene))
        except TakeError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        return context.window_manager.invoke_props_dialog(
            self, title=say("Keep this reading as a take"), confirm_text=say("Keep")
        )

    def draw(self, _context: bpy.types.Context) -> None:
        """Show the field for the name."""
        self.layout.activate_init = True
        self.layout.prop(self, "name")

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Keep it."""
        entry = get_shown(context)
        assert entry is not None
        try:
            take = make_take(self.name, entry.reading, entry.motions.values())
            keep_take(context.scene, take)
            if entry.base is not None and entry.base.name == take.name:
                window_takes.choose_base(entry, take)
        except TakeError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        window_state.shown_changed(context.scene.name)
        words = tell("Kept as {name}; it is saved with the file", name=take.name)
        self.report({"INFO"}, words)
        return {"FINISHED"}


class FETTLE_OT_drop_take(bpy.types.Operator):
    """Take this kept reading out of the shot"""

    bl_idname = "fettle.drop_take"
    bl_label = "Drop Take"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    name: StringProperty(options={"HIDDEN", "SKIP_SAVE"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where the scene can be written to."""
        return has_reading(cls, context) and can_keep(cls, context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Let it go; a comparison with it goes too."""
        entry = get_shown(context)
        try:
            drop_take(context.scene, self.name)
        except TakeError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        if entry is not None and entry.base is not None and entry.base.name == self.name:
            window_takes.choose_base(entry, None)
        window_state.shown_changed(context.scene.name)
        return {"FINISHED"}


class FETTLE_OT_compare_take(bpy.types.Operator):
    """Compare the shot as it is now with this take; click again to stop comparing"""

    bl_idname = "fettle.compare_take"
    bl_label = "Compare with Take"
    bl_options = {"INTERNAL"}

    name: StringProperty(options={"HIDDEN", "SKIP_SAVE"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only what was read can be compared."""
        return has_reading(cls, context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Compare, or stop comparing."""
        entry = get_shown(context)
        assert entry is not None
        if not self.name or (entry.base is not None and entry.base.name == self.name):
            window_takes.choose_base(entry, None)
            return {"FINISHED"}
        try:
            window_takes.choose_base(entry, read_take(context.scene, self.name))
        except TakeError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        return {"FINISHED"}


class FETTLE_OT_compare_file(bpy.types.Operator):
    """Compare the shot as it is now with a findings file, or with a take kept in another shot"""

    bl_idname = "fettle.compare_file"
    bl_label = "Compare with File"
    bl_options = {"INTERNAL"}

    filepath: StringProperty(subtype="FILE_PATH", options={"SKIP_SAVE"})
    filter_glob: StringProperty(default="*.json;*.blend", options={"HIDDEN"})
    take: StringProperty(
        name="Take",
        description="Which of the takes kept in a .blend to compare with; empty for the newest",
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only what was read can be compared."""
        return has_reading(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> set[str]:
        """Ask for the file."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Fetch the take and compare with it."""
        entry = get_shown(context)
        if entry is None:
            return {"CANCELLED"}
        path = Path(bpy.path.abspath(self.filepath))
        try:
            take = fetch_take(path, context.scene.name, self.take.strip())
        except TakeError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        window_takes.choose_base(entry, take)
        self.report({"INFO"}, tell("Comparing with {name}", name=take.name))
        return {"FINISHED"}


class FETTLE_OT_show_fate(bpy.types.Operator):
    """List these changes alone; click again to list all of them"""

    bl_idname = "fettle.show_fate"
    bl_label = "Show Changes"
    bl_options = {"INTERNAL"}

    fate: EnumProperty(
        items=[(fate.name, fate.value.capitalize(), "") for fate in Fate], options={"SKIP_SAVE"}
    )

    @classmethod
    def description(cls, _context: bpy.types.Context, properties: Any) -> str:
        """Say what this kind of change is."""
        words = explain(FATES[Fate[properties.fate]])
        return explain("{what}; click again to list all", what=words)

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only while something is compared."""
        entry = get_shown(context)
        if entry is None or entry.base is None:
            cls.poll_message_set(explain("Choose a take to compare with first"))
            return False
        return True

    def execute(self, _context: bpy.types.Context) -> set[str]:
        """Show one kind or all."""
        state = window_state.get_window_properties()
        alone = state.show_fates == {self.fate}
        state.show_fates = {fate.name for fate in Fate} if alone else {self.fate}
        return {"FINISHED"}


class FETTLE_OT_go_to_change(bpy.types.Operator):
    """Go to the frame of this change and select the bone it is about"""

    bl_idname = "fettle.go_to_change"
    bl_label = "Go to Change"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    number: IntProperty(options={"HIDDEN", "SKIP_SAVE"}, default=-1)

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where there is a reading."""
        return has_reading(cls, context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Go there."""
        entry = get_shown(context)
        if entry is None or window_takes.go_to_change(context, entry, self.number) is None:
            self.report({"WARNING"}, tell("This change is no longer there; compare again"))
            return {"CANCELLED"}
        return {"FINISHED"}


CLASSES = (
    FETTLE_OT_keep_take,
    FETTLE_OT_drop_take,
    FETTLE_OT_compare_take,
    FETTLE_OT_compare_file,
    FETTLE_OT_show_fate,
    FETTLE_OT_go_to_change,
)
