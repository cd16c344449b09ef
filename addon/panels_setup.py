# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Body map and limits in the sidebar: lays out only, names and units are the checks' own."""

from __future__ import annotations

from itertools import groupby

import bpy

from ..core_math import ALL_CHECKS, Check, Limits, SubjectKind, Unit
from . import kept, properties, scene_settings
from .filters import count_checks
from .operators_body import find_active_bone, find_character
from .panels import CATEGORY, draw_text
from .rig_mapping import read_corrections
from .translation import OWN, say
from .wording import name_part

UNSURE = 0.6
"""Below this confidence a guess is worth a look."""


class _Panel:
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = CATEGORY
    bl_parent_id = "FETTLE_PT_main"
    bl_options = {"DEFAULT_CLOSED"}


class FETTLE_PT_body(_Panel, bpy.types.Panel):
    """Which bone stands for which part of the body."""

    bl_idname = "FETTLE_PT_body"
    bl_label = "Body Map"
    bl_order = 50

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where a character was read."""
        return find_character(context)[0] is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out the parts with their bones, and what was not found."""
        layout = self.layout
        facts, owner = find_character(context)
        if facts is None or owner is None:
            return
        said = read_corrections(owner, context.scene)
        active = find_active_bone(owner)
        row = layout.row()
        row.label(text=facts.name, icon="ARMATURE_DATA", translate=False)
        row.label(text=active or "", icon="BONE_DATA" if active else "NONE", translate=False)
        column = layout.column(align=True)
        for part, mapped in facts.parts.items():
            if "/" not in part:
                draw_part(column, part, mapped.bone, mapped.confidence, said)
        missing = [part for part in facts.unmapped if part not in facts.parts]
        if missing:
            layout.label(text="Not found", icon="INFO")
            column = layout.column(align=True)
            for part in missing:
                draw_part(column, part, "", 0.0, said)
        row = layout.row()
        row.enabled = bool(said)
        row.operator("fettle.reset_part", text="All Back to the Guess", icon="LOOP_BACK")


def draw_part(
    layout: bpy.types.UILayout, part: str, bone: str, confidence: float, said: dict[str, str]
) -> None:
    """Lay out one part: its bone, how sure the guess is, and what can be done about it."""
    row = layout.row(align=True)
    split = row.split(factor=0.43, align=True)
    name = split.row()
    name.alert = bool(bone) and confidence < UNSURE and part not in said
    name.label(text=name_part(part), translate=False)
    shown = said.get(part, bone)
    mark = "*" if part in said else "" if not bone else f"  {confidence:.0%}"
    choose = split.operator(
        "fettle.choose_bone", text=f"{shown or say('none')}{mark}", emboss=True, translate=False
    )
    choose.part = part
    buttons = row.row(align=True)
    buttons.operator("fettle.pick_bone", text="", icon="EYEDROPPER").part = part
    side = buttons.row(align=True)
    side.enabled = part.endswith((".L", ".R")) and bool(shown)
    side.operator("fettle.mirror_part", text="", icon="MOD_MIRROR").part = part
    last = buttons.row(align=True)
    if part in said:
        last.operator("fettle.reset_part", text="", icon="LOOP_BACK").part = part
    else:
        last.enabled = bool(bone)
        last.operator("fettle.leave_out_part", text="", icon="X").part = part


class FETTLE_PT_limits(_Panel, bpy.types.Panel):
    """What is judged, and how strictly."""

    bl_idname = "FETTLE_PT_limits"
    bl_label = "Checks and Limits"
    bl_order = 60

    def draw_header_preset(self, _context: bpy.types.Context) -> None:
        """Offer the settings file."""
        self.layout.menu("FETTLE_MT_limits", text="", icon="DOWNARROW_HLT")

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out style, stage, and every check with its numbers."""
        layout = self.layout
        shown = getattr(context.scene, properties.PROPERTY)
        column = layout.column()
        column.use_property_split = True
        column.use_property_decorate = False
        column.prop(shown, "style")
        column.prop(shown, "stage")
        entry = kept.get(context.scene.name)
        if entry is not None:
            for facts in entry.reading.subjects:
                if facts.kind is not SubjectKind.ARMATURE:
                    continue
                held = f" ({facts.cadence})" if facts.cadence > 1 else ""
                stage = say(facts.stage.value, OWN) + held
                text = say("{subject}: read as {stage}", subject=facts.name, stage=stage)
                row = column.row()
                row.active = False
                row.label(text=text, translate=False)
        counts = count_checks(entry.reading.flags) if entry is not None else {}
        settings = scene_settings.settings_or_default(context.scene)
        for group, checks in groupby(ALL_CHECKS, key=lambda check: check.group):
            layout.label(text=group.value)
            column = layout.column(align=True)
            for check in checks:
                numbers = getattr(shown, properties.limit_attribute(check))
                row = column.row(align=True)
                row.prop(
                    numbers,
                    "expanded",
                    text="",
                    icon="TRIA_DOWN" if numbers.expanded else "TRIA_RIGHT",
                    emboss=False,
                )
                row.prop(numbers, "enabled", text=check.id, translate=False)
                if counts.get(check.id):
                    row.label(text=str(counts[check.id]), translate=False)
                if scene_settings.is_changed(settings, check):
                    row.operator("fettle.reset_limits", text="", icon="LOOP_BACK").check = check.id
                if numbers.expanded:
                    draw_check(column.box(), context, check, numbers)


def draw_check(
    layout: bpy.types.UILayout,
    context: bpy.types.Context,
    check: Check,
    numbers: bpy.types.PropertyGroup,
) -> None:
    """Lay out the question and the numbers of one check."""
    layout.active = numbers.enabled
    draw_text(layout.column(align=True), context, say(check.question))
    for declared in check.declarations:
        unit = "" if declared.unit in (Unit.RATIO, Unit.COUNT) else f" ({declared.unit})"
        title = say(declared.name.replace("_", " ").capitalize(), OWN)
        if isinstance(declared, Limits):
            layout.label(text=f"{title}{unit}", translate=False)
            row = layout.row(align=True)
            for severity in scene_settings.LIMIT_NAMES:
                row.prop(numbers, f"{declared.name}_{severity}", text="")
        else:
            layout.prop(numbers, declared.name, text=f"{title}{unit}", translate=False)


class FETTLE_MT_limits(bpy.types.Menu):
    """The settings as a whole."""

    bl_idname = "FETTLE_MT_limits"
    bl_label = "Settings"

    def draw(self, context: bpy.types.Context) -> None:
        """Lay out reset and the settings file."""
        layout = self.layout
        layout.operator("fettle.import_settings", icon="IMPORT")
        layout.operator("fettle.export_settings", icon="EXPORT")
        layout.separator()
        layout.operator("fettle.reset_limits", text="Reset Everything", icon="LOOP_BACK").check = ""
        shared = scene_settings.find_shared_file()
        if shared is not None and not scene_settings.has_own_settings(context.scene):
            layout.label(text=say("from {name}", name=shared.name), translate=False)


CLASSES = (FETTLE_PT_body, FETTLE_PT_limits, FETTLE_MT_limits)
