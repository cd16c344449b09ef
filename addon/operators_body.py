# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Correcting the body map: pick a bone for a part, mirror it, leave a part out, take it back."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.props import StringProperty

from ..core_math import SubjectFacts, SubjectKind
from . import kept, live, window_state
from .operators import get_shown, has_reading
from .rig_mapping import keep_correction, read_corrections
from .selection import find_owner, list_selected_parts
from .translation import explain, say, tell
from .wording import name_part, say_part_name

OTHER_SIDE = {".L": ".R", ".R": ".L"}


def find_character(
    context: bpy.types.Context,
) -> tuple[SubjectFacts, bpy.types.Object] | tuple[None, None]:
    """Return the character whose body map is shown: the active armature, else the first read."""
    entry = get_shown(context)
    characters = []
    for facts in entry.reading.subjects if entry is not None else ():
        owner = find_owner(facts, context.scene)
        if facts.kind is SubjectKind.ARMATURE and owner is not None:
            characters.append((facts, owner))
    for facts, owner in characters:
        if owner == context.object:
            return facts, owner
    return characters[0] if characters else (None, None)


def find_active_bone(owner: bpy.types.Object) -> str | None:
    """Return the name of an armature's active bone, None when it has none."""
    active = owner.data.bones.active
    return active.name if active is not None else None


class _Correct(bpy.types.Operator):
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    part: StringProperty(options={"HIDDEN", "SKIP_SAVE"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only for a character that was read."""
        if not has_reading(cls, context):
            return False
        if find_character(context)[1] is None:
            cls.poll_message_set(explain("No character was read in this scene"))
            return False
        return True

    def keep(self, context: bpy.types.Context, corrections: dict[str, str | None]) -> set[str]:
        """Keep corrections and have the shot read with them."""
        _, owner = find_character(context)
        if owner is None:
            return {"CANCELLED"}
        for part, bone in corrections.items():
            keep_correction(owner, context.scene, part, bone)
        kept.mark_stale(context.scene.name, "the body map changed since it was read")
        if live.is_on():
            live.request(context.scene.name, live.KEYS_PAUSE_S)
        window_state.shown_changed(context.scene.name)
        return {"FINISHED"}


class FETTLE_OT_pick_bone(_Correct):
    """Take the active bone for this part; the correction is kept with the armature"""

    bl_idname = "fettle.pick_bone"
    bl_label = "Take Active Bone"

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Take it."""
        _, owner = find_character(context)
        bone = find_active_bone(owner) if owner is not None else None
        if bone is None:
            self.report(
                {"WARNING"}, tell("Select the bone in the view first, then press the button")
            )
            return {"CANCELLED"}
        words = tell("{part} is now {bone}", part=name_part(self.part), bone=bone)
        self.report({"INFO"}, words)
        return self.keep(context, {self.part: bone})


class FETTLE_OT_choose_bone(_Correct):
    """Choose the bone for this part from a list of all bones"""

    bl_idname = "fettle.choose_bone"
    bl_label = "Choose Bone"

    bone: StringProperty(name="Bone", options={"SKIP_SAVE"})

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> set[Any]:
        """Ask which one."""
        facts, _ = find_character(context)
        if facts is not None and self.part in facts.parts:
            self.bone = facts.parts[self.part].bone
        return context.window_manager.invoke_props_dialog(
            self,
            title=say("Bone for the {part}", part=say_part_name(self.part)),
            confirm_text=say("Take"),
        )

    def draw(self, context: bpy.types.Context) -> None:
        """Show a field that searches among the bones."""
        _, owner = find_character(context)
        if owner is not None:
            self.layout.prop_search(self, "bone", owner.data, "bones", text="")

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Take it."""
        _, owner = find_character(context)
        if owner is None or self.bone not in owner.data.bones:
            self.report({"WARNING"}, tell("Choose one of the armature's bones"))
            return {"CANCELLED"}
        return self.keep(context, {self.part: self.bone})


class FETTLE_OT_mirror_part(_Correct):
    """Take the bone of the same name on the other side for the part on the other side"""

    bl_idname = "fettle.mirror_part"
    bl_label = "Mirror to the Other Side"

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Take the mirrored bone."""
        facts, owner = find_character(context)
        if facts is None or owner is None:
            return {"CANCELLED"}
        bone = find_bone(facts, owner, self.part)
        other = self.part[:-2] + OTHER_SIDE.get(self.part[-2:], "")
        mirrored = bpy.utils.flip_name(bone) if bone else ""
        if mirrored == bone or mirrored not in owner.data.bones:
            words = "{name}: no bone of that name on the other side"
            self.report({"WARNING"}, tell(words, name=bone or self.part))
            return {"CANCELLED"}
        words = tell("{part} is now {bone}", part=name_part(other), bone=mirrored)
        self.report({"INFO"}, words)
        return self.keep(context, {other: mirrored})


class FETTLE_OT_leave_out_part(_Correct):
    """Say that this character has no such part; checks that need it say so"""

    bl_idname = "fettle.leave_out_part"
    bl_label = "Leave Out"

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Leave it out."""
        return self.keep(context, {self.part: ""})


class FETTLE_OT_reset_part(_Correct):
    """Go back to the guess; without a part, for the whole body"""

    bl_idname = "fettle.reset_part"
    bl_label = "Back to the Guess"

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Take the corrections back."""
        _, owner = find_character(context)
        if owner is None:
            return {"CANCELLED"}
        said = read_corrections(owner, context.scene)
        parts: Any = [self.part] if self.part else list(said)
        return self.keep(context, {part: None for part in parts if part in said})


def find_bone(facts: SubjectFacts, owner: bpy.types.Object, part: str) -> str:
    """Return the bone of a part as it stands now, "" for none."""
    said = read_corrections(owner, None)
    if part in said:
        return said[part]
    mapped = facts.parts.get(part)
    return mapped.bone if mapped is not None else ""


class FETTLE_OT_pin_trails(bpy.types.Operator):
    """Always draw the trails of the selected bones and objects"""

    bl_idname = "fettle.pin_trails"
    bl_label = "Pin Selected"
    bl_options = {"INTERNAL"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only for what was read."""
        return has_reading(cls, context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Pin them."""
        entry = get_shown(context)
        pinned = window_state.get_window_properties().pinned
        there = {(pin.subject, pin.name) for pin in pinned}
        found = [
            (facts.name, part)
            for facts in entry.reading.subjects
            for part in list_selected_parts(context, facts, entry.motions.get(facts.name))
        ]
        if not found:
            self.report(
                {"WARNING"}, tell("Select bones of a mapped part, or an object that was read")
            )
            return {"CANCELLED"}
        for subject, part in found:
            if (subject, part) not in there:
                pin = pinned.add()
                pin.subject, pin.name = subject, part
        window_state.look_changed()
        return {"FINISHED"}


class FETTLE_OT_unpin_trails(bpy.types.Operator):
    """No longer draw the pinned trails"""

    bl_idname = "fettle.unpin_trails"
    bl_label = "Unpin All"
    bl_options = {"INTERNAL"}

    @classmethod
    def poll(cls, _context: bpy.types.Context) -> bool:
        """Only where there is a pin."""
        if not len(window_state.get_window_properties().pinned):
            cls.poll_message_set(explain("No trail is pinned"))
            return False
        return True

    def execute(self, _context: bpy.types.Context) -> set[str]:
        """Take the pins out."""
        window_state.get_window_properties().pinned.clear()
        window_state.look_changed()
        return {"FINISHED"}


CLASSES = (
    FETTLE_OT_pin_trails,
    FETTLE_OT_unpin_trails,
    FETTLE_OT_pick_bone,
    FETTLE_OT_choose_bone,
    FETTLE_OT_mirror_part,
    FETTLE_OT_leave_out_part,
    FETTLE_OT_reset_part,
)
