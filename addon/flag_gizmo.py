# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Makes flags in the 3D view answer the pointer: hovering tells the sentence, a click goes there.

A gizmo only takes a click that lies on a flag, from press to release: every other click goes where
it always went.
"""

from __future__ import annotations

from typing import Any

import bpy

from . import kept, view_marks, viewport_draw, window_state

MISSED = -1
HIT = 0


class FETTLE_GT_flags(bpy.types.Gizmo):
    """All flags of a region as one thing to be pointed at."""

    bl_idname = "FETTLE_GT_flags"

    __slots__ = ("pointed_at",)

    def draw(self, context: bpy.types.Context) -> None:
        """Draw nothing: the overlay does. A pointer that went elsewhere is forgotten."""
        if not self.is_highlight:
            view_marks.leave_flag(context.region)

    def draw_select(self, context: bpy.types.Context, select_id: int) -> None:
        """Draw nothing for selection: `test_select` answers."""

    def test_select(self, context: bpy.types.Context, location: Any) -> int:
        """Say whether a flag is under the pointer, and remember which."""
        stack = view_marks.hover(context, float(location[0]), float(location[1]))
        if stack is None:
            return MISSED
        self.pointed_at = stack.ids
        return HIT

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> set[str]:
        """Go to the flag; a further click on a stack goes to the next one in it.

        The gizmo holds on until the button is let go: the end of the same click would otherwise
        select whatever lies behind the flag.
        """
        entry = kept.get(context.scene.name)
        ids = getattr(self, "pointed_at", ())
        if entry is None or not ids:
            return {"FINISHED"}
        flag_id = ids[0]
        flag = entry.flag(entry.chosen)
        if entry.chosen in ids and flag is not None and context.scene.frame_current == flag.peak:
            flag_id = ids[(ids.index(entry.chosen) + 1) % len(ids)]
        bpy.ops.fettle.go_to_flag("EXEC_DEFAULT", True, flag_id=flag_id)
        return {"RUNNING_MODAL"}

    def modal(
        self, _context: bpy.types.Context, event: bpy.types.Event, _tweak: set[str]
    ) -> set[str]:
        """End with the click, or with anything else that is no movement of the mouse."""
        moving = event.type in {"MOUSEMOVE", "INBETWEEN_MOUSEMOVE"} or event.type.startswith(
            "TIMER"
        )
        return {"RUNNING_MODAL"} if moving else {"FINISHED"}


class FETTLE_GGT_flags(bpy.types.GizmoGroup):
    """The flags of every 3D view that shows the overlay."""

    bl_idname = "FETTLE_GGT_flags"
    bl_label = "Fettle Flags"
    bl_space_type = "VIEW_3D"
    bl_region_type = "WINDOW"
    bl_options = {"PERSISTENT", "SCALE"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only where the overlay is drawn and there is a reading."""
        return window_state.overlay_is_on() and viewport_draw.is_drawn(context)

    def setup(self, _context: bpy.types.Context) -> None:
        """Make the one gizmo."""
        gizmo = self.gizmos.new(FETTLE_GT_flags.bl_idname)
        gizmo.use_draw_modal = True
        gizmo.use_tooltip = False


CLASSES = (FETTLE_GT_flags, FETTLE_GGT_flags)
