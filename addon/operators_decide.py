# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Deciding about flags, pinning notes: operators with an undo step each."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.props import IntProperty, StringProperty

from ..core_math import Flag, MarksError, Note, State
from . import decisions, kept, window_state
from .operators import can_keep, get_shown, has_reading
from .sampling import SamplingError
from .selection import list_selected_parts
from .translation import explain, say, tell
from .wording import say_part_name


def find_flag(context: bpy.types.Context, flag_id: str) -> Flag | None:
    """Return the flag that is meant: the one named, else the selected one."""
    entry = get_shown(context)
    return entry.flag(flag_id or entry.chosen) if entry is not None else None


class _Decide(bpy.types.Operator):
    bl_options = {"REGISTER", "UNDO"}
    state = State.OPEN

    flag_id: StringProperty(options={"HIDDEN", "SKIP_SAVE"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only for a flag of a scene that can be written to."""
        return has_reading(cls, context) and can_keep(cls, context)

    def decide(self, context: bpy.types.Context, reason: str | None = None) -> set[str]:
        """Keep the decision and show it."""
        flag = find_flag(context, self.flag_id)
        if flag is None:
            self.report({"WARNING"}, tell("Select a flag in the list first"))
            return {"CANCELLED"}
        try:
            decisions.decide(context.scene, flag, self.state, reason)
        except (MarksError, SamplingError) as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        window_state.shown_changed(context.scene.name)
        return {"FINISHED"}


class FETTLE_OT_mark_meant(_Decide):
    """Say that it is meant that way, and why: the flag is kept as meant and no longer counts"""

    bl_idname = "fettle.mark_meant"
    bl_label = "Meant"
    state = State.MEANT

    reason: StringProperty(
        name="Reason",
        description="Why it is meant that way, for whoever reviews the shot next",
        options={"SKIP_SAVE"},
    )

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> set[Any]:
        """Ask for the reason."""
        flag = find_flag(context, self.flag_id)
        if flag is None:
            self.report({"WARNING"}, tell("Select a flag in the list first"))
            return {"CANCELLED"}
        self.reason = flag.reason or ""
        return context.window_manager.invoke_props_dialog(
            self, width=420, title=say("Why is it meant?"), confirm_text=say("Meant")
        )

    def draw(self, context: bpy.types.Context) -> None:
        """Show the sentence above the reason."""
        layout = self.layout
        flag = find_flag(context, self.flag_id)
        if flag is not None:
            layout.label(text=flag.message, translate=False)
        layout.activate_init = True
        layout.prop(self, "reason", text="")

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Keep it with its reason."""
        return self.decide(context, self.reason.strip())


class FETTLE_OT_mark_done(_Decide):
    """Say that it is mended: when the next reading still finds it, it is back in the list"""

    bl_idname = "fettle.mark_done"
    bl_label = "Done"
    state = State.DONE

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Keep it."""
        return self.decide(context)


class FETTLE_OT_open_again(_Decide):
    """Take the decision about this flag back"""

    bl_idname = "fettle.open_again"
    bl_label = "Open Again"
    state = State.OPEN

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Open it."""
        return self.decide(context)


class FETTLE_OT_drop_unused(bpy.types.Operator):
    """Forget the decisions whose flag is gone"""

    bl_idname = "fettle.drop_unused"
    bl_label = "Forget Them"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where there are any."""
        entry = get_shown(context)
        if entry is None or not entry.unused_marks:
            cls.poll_message_set(explain("Every decision still has its flag"))
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Forget them and say how many."""
        count = decisions.drop_unused(context.scene)
        window_state.shown_changed(context.scene.name)
        self.report({"INFO"}, tell("{count} decisions forgotten", count=count))
        return {"FINISHED"}


class FETTLE_OT_add_note(bpy.types.Operator):
    """Pin a note of your own to the current frame, and to the part of the selected bone"""

    bl_idname = "fettle.add_note"
    bl_label = "Add Note"
    bl_options = {"REGISTER", "UNDO"}

    text: StringProperty(
        name="Note", description="What you want to say about this frame", options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only on a scene that can be written to."""
        return can_keep(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> set[Any]:
        """Ask for the words."""
        return context.window_manager.invoke_props_dialog(
            self,
            width=420,
            title=say("Note at frame {frame}", frame=context.scene.frame_current),
            confirm_text=say("Pin"),
        )

    def draw(self, context: bpy.types.Context) -> None:
        """Say where it will be pinned."""
        subject, part = find_selected_part(context)
        if part is not None:
            self.layout.label(text=f"{subject}: {say_part_name(part)}", translate=False)
        self.layout.activate_init = True
        self.layout.prop(self, "text", text="")

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Pin it."""
        if not self.text.strip():
            self.report({"WARNING"}, tell("A note needs words"))
            return {"CANCELLED"}
        subject, part = find_selected_part(context)
        note = Note(context.scene.frame_current, self.text.strip(), subject, part)
        try:
            decisions.add_note(context.scene, note)
        except SamplingError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        window_state.shown_changed(context.scene.name)
        return {"FINISHED"}


class FETTLE_OT_remove_note(bpy.types.Operator):
    """Take this note away"""

    bl_idname = "fettle.remove_note"
    bl_label = "Remove Note"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    number: IntProperty(options={"HIDDEN", "SKIP_SAVE"}, default=-1)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Take it away."""
        try:
            removed = decisions.remove_note(context.scene, self.number)
        except SamplingError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        if not removed:
            self.report({"WARNING"}, tell("This note is no longer there"))
            return {"CANCELLED"}
        window_state.shown_changed(context.scene.name)
        return {"FINISHED"}


class FETTLE_OT_go_to_note(bpy.types.Operator):
    """Go to the frame of this note"""

    bl_idname = "fettle.go_to_note"
    bl_label = "Go to Note"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    frame: IntProperty(options={"HIDDEN", "SKIP_SAVE"})

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Go there."""
        context.scene.frame_current = self.frame
        return {"FINISHED"}


def find_selected_part(context: bpy.types.Context) -> tuple[str | None, str | None]:
    """Return subject and part of what is selected, None where nothing mapped is."""
    entry: kept.Kept | None = get_shown(context)
    if entry is None:
        return None, None
    for facts in entry.reading.subjects:
        for part in list_selected_parts(context, facts, entry.motions.get(facts.name)):
            return facts.name, part
    return None, None


CLASSES = (
    FETTLE_OT_mark_meant,
    FETTLE_OT_mark_done,
    FETTLE_OT_open_again,
    FETTLE_OT_drop_unused,
    FETTLE_OT_add_note,
    FETTLE_OT_remove_note,
    FETTLE_OT_go_to_note,
)
