# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Reading a shot and going through its flags. Each operator collects, calls and reports."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.props import BoolProperty, EnumProperty, StringProperty

from ..core_math import SettingsError
from . import kept, live, markers, reading_job, window_state
from .filters import find_neighbour
from .sampling import SamplingError
from .translation import explain, say, tell


def get_shown(context: bpy.types.Context) -> kept.Kept | None:
    """Return the reading of the scene in the window."""
    return kept.get(context.scene.name) if context.scene is not None else None


def has_reading(cls: Any, context: bpy.types.Context) -> bool:
    """Say whether the scene was read; where not, the button says so."""
    if get_shown(context) is None:
        cls.poll_message_set(explain("Read the shot first"))
        return False
    return True


def has_fresh_reading(cls: Any, context: bpy.types.Context) -> bool:
    """Say whether there is a reading that tells the truth; where not, the button says why."""
    if not has_reading(cls, context):
        return False
    entry = get_shown(context)
    if entry is not None and entry.stale:
        cls.poll_message_set(explain("Read again first: {why}", why=say(entry.stale)))
        return False
    return True


def can_keep(cls: Any, context: bpy.types.Context) -> bool:
    """Say whether anything can be kept with the scene; where not, the button says so."""
    if context.scene is None or context.scene.library is not None:
        cls.poll_message_set(explain("The scene is linked: nothing can be kept with it"))
        return False
    return True


def has_shown_flags(cls: Any, context: bpy.types.Context) -> bool:
    """Say whether any flag is shown; where not, the button says why."""
    if not has_reading(cls, context):
        return False
    entry = get_shown(context)
    if entry is None or not entry.reading.flags:
        cls.poll_message_set(explain("There are no flags in this shot"))
        return False
    rows = window_state.get_list(entry.scene)
    if rows is None or not len(rows.rows):
        cls.poll_message_set(explain("The filters hide every flag"))
        return False
    return True


class FETTLE_OT_read(bpy.types.Operator):
    """Read the shot in the background and flag what reads wrong; nothing in the scene is changed"""

    bl_idname = "fettle.read"
    bl_label = "Read"
    bl_options = {"REGISTER"}

    at_once: BoolProperty(
        name="At once",
        description="Wait for the end of the reading, as scripts want it",
        default=False,
        options={"HIDDEN", "SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Refuse a second reading of the same scene."""
        if context.scene is None:
            cls.poll_message_set(explain("There is no scene to read"))
            return False
        if reading_job.running(context.scene.name):
            cls.poll_message_set(explain("The shot is being read; Esc stops"))
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Start the reading; it goes on by itself."""
        scene = context.scene
        kept.set_problem(scene.name, None)
        try:
            live.start_reading(scene, context.view_layer)
        except (SettingsError, SamplingError) as error:
            kept.set_problem(scene.name, str(error))
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        if self.at_once:
            reading_job.run_to_end()
            problem = kept.get_problem(scene.name)
            if problem is not None:
                self.report({"ERROR"}, problem)
                return {"CANCELLED"}
        return {"FINISHED"}


class FETTLE_OT_stop(bpy.types.Operator):
    """Stop the reading that is under way; the flags of the reading before stay"""

    bl_idname = "fettle.stop"
    bl_label = "Stop"
    bl_options = {"INTERNAL"}

    @classmethod
    def poll(cls, _context: bpy.types.Context) -> bool:
        """Only while something is being read: Esc belongs to everybody else otherwise."""
        if reading_job.running() is None:
            cls.poll_message_set(explain("Nothing is being read"))
            return False
        return True

    def execute(self, _context: bpy.types.Context) -> set[str]:
        """Stop, and say so."""
        reading_job.stop()
        self.report({"INFO"}, tell("Reading stopped; press Read to start again"))
        return {"FINISHED"}


class FETTLE_OT_toggle_overlay(bpy.types.Operator):
    """Draw trails and flags in the views, and read again whenever the animation changes"""

    bl_idname = "fettle.toggle_overlay"
    bl_label = "Overlay"
    bl_options = {"REGISTER"}

    def execute(self, _context: bpy.types.Context) -> set[str]:
        """Switch the overlay on or off."""
        window_state.switch_overlay(not window_state.overlay_is_on())
        return {"FINISHED"}


class FETTLE_OT_go_to_flag(bpy.types.Operator):
    """Go to the flag's frame, select the bone it is about and show it in the list"""

    bl_idname = "fettle.go_to_flag"
    bl_label = "Go to Flag"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    flag_id: StringProperty(options={"HIDDEN", "SKIP_SAVE"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where there is a reading."""
        return has_reading(cls, context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Go there; say what could not be selected."""
        entry = get_shown(context)
        flag = entry.flag(self.flag_id or entry.chosen) if entry is not None else None
        if entry is None or flag is None:
            self.report({"WARNING"}, tell("This flag is no longer there; read the shot again"))
            return {"CANCELLED"}
        if window_state.go_to(context, flag, entry) is None:
            words = "{subject} is not in this view layer: nothing selected"
            self.report({"WARNING"}, tell(words, subject=flag.subject))
        return {"FINISHED"}


class _Step(bpy.types.Operator):
    bl_options = {"REGISTER", "UNDO"}
    forward = True

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where flags are shown."""
        return has_shown_flags(cls, context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Go to the neighbour in time."""
        entry = get_shown(context)
        assert entry is not None
        flags = window_state.list_shown_flags(entry)
        frame = context.scene.frame_current
        flag = find_neighbour(flags, frame, self.forward, entry.chosen)
        if flag is None:
            return {"CANCELLED"}
        window_state.go_to(context, flag, entry)
        return {"FINISHED"}


class FETTLE_OT_next_flag(_Step):
    """Go to the next flag of those shown; after the last one, start over with the first"""

    bl_idname = "fettle.next_flag"
    bl_label = "Next Flag"


class FETTLE_OT_previous_flag(_Step):
    """Go to the previous flag of those shown; before the first one, start over with the last"""

    bl_idname = "fettle.previous_flag"
    bl_label = "Previous Flag"
    forward = False


class FETTLE_OT_show_severity(bpy.types.Operator):
    """Show this severity alone; click again to show all three"""

    bl_idname = "fettle.show_severity"
    bl_label = "Show Severity"
    bl_options = {"INTERNAL"}

    word: EnumProperty(
        items=[("faint", "Faint", ""), ("clear", "Clear", ""), ("glaring", "Glaring", "")],
        options={"SKIP_SAVE"},
    )

    def execute(self, _context: bpy.types.Context) -> set[str]:
        """Show one severity or all."""
        state = window_state.get_window_properties()
        names = ("faint", "clear", "glaring")
        alone = all(getattr(state, f"show_{name}") == (name == self.word) for name in names)
        for name in names:
            setattr(state, f"show_{name}", alone or name == self.word)
        return {"FINISHED"}


class FETTLE_OT_clear_filters(bpy.types.Operator):
    """Show all open flags again"""

    bl_idname = "fettle.clear_filters"
    bl_label = "Show All"
    bl_options = {"INTERNAL"}

    @classmethod
    def poll(cls, _context: bpy.types.Context) -> bool:
        """Only while something is filtered out."""
        if not window_state.read_filter(window_state.get_window_properties()).narrowed:
            cls.poll_message_set(explain("No filter is set"))
            return False
        return True

    def execute(self, _context: bpy.types.Context) -> set[str]:
        """Reset every filter, keep the order."""
        state = window_state.get_window_properties()
        for name in (
            "show_faint",
            "show_clear",
            "show_glaring",
            "state",
            "check",
            "part",
            "search",
        ):
            state.property_unset(name)
        window_state.filters_changed()
        return {"FINISHED"}


class FETTLE_OT_bake_markers(bpy.types.Operator):
    """Write the flags into scene markers; Fettle's own are brought up to date, never doubled"""

    bl_idname = "fettle.bake_markers"
    bl_label = "Bake to Markers"
    bl_options = {"REGISTER", "UNDO"}

    which: EnumProperty(
        name="Flags",
        description="Which flags become markers",
        items=[
            ("LISTED", "Listed", "The flags that are listed, as filtered"),
            ("OPEN", "All open", "Every flag nobody has decided about"),
        ],
        default="LISTED",
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only an up-to-date reading is worth a marker."""
        if not has_fresh_reading(cls, context):
            return False
        if context.scene.library is not None:
            cls.poll_message_set(explain("The scene is linked: its markers cannot be changed"))
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Bake, and say what happened."""
        entry = get_shown(context)
        assert entry is not None
        listed = self.which == "LISTED"
        flags = window_state.list_shown_flags(entry) if listed else entry.open_flags()
        outcome = markers.bake_markers(context.scene, flags)
        self.report({"INFO"}, describe_bake(outcome))
        return {"FINISHED"}


def describe_bake(outcome: markers.BakeOutcome) -> str:
    """Say in one line what baking did."""
    said = [
        (outcome.added, "{count} added"),
        (outcome.updated, "{count} brought up to date"),
        (outcome.removed, "{count} removed"),
        (outcome.kept, "{count} left as they were"),
    ]
    words = ", ".join(tell(what, count=count) for count, what in said if count)
    if not words:
        return tell("Markers: no flags to bake, none of Fettle's there")
    return tell("Markers: {what}", what=words)


class FETTLE_OT_remove_baked(bpy.types.Operator):
    """Remove all markers Fettle has baked into this scene, also renamed and moved ones"""

    bl_idname = "fettle.remove_baked"
    bl_label = "Remove Baked"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where there is one."""
        if context.scene is None or not markers.find_baked(context.scene):
            cls.poll_message_set(explain("This scene has no markers baked by Fettle"))
            return False
        if context.scene.library is not None:
            cls.poll_message_set(explain("The scene is linked: its markers cannot be changed"))
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Remove, and say how many."""
        count = markers.remove_baked(context.scene)
        self.report({"INFO"}, tell("Markers: {count} removed", count=count))
        return {"FINISHED"}


CLASSES = (
    FETTLE_OT_read,
    FETTLE_OT_stop,
    FETTLE_OT_toggle_overlay,
    FETTLE_OT_go_to_flag,
    FETTLE_OT_next_flag,
    FETTLE_OT_previous_flag,
    FETTLE_OT_show_severity,
    FETTLE_OT_clear_filters,
    FETTLE_OT_bake_markers,
    FETTLE_OT_remove_baked,
)
