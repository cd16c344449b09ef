# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Hand the reading over: the review sheet, a spreadsheet, findings for a pipeline, a timeline."""

from __future__ import annotations

from pathlib import Path

import bpy
from bpy.props import EnumProperty, StringProperty

from ..core_math import OutputError, Report, Review, dump_csv, dump_report, write_whole
from . import kept, timeline_export
from .operators import get_shown, has_reading
from .sheet import make_sheet
from .sheet_pictures import draw_flags

ENDINGS = {"SHEET": ".html", "CSV": ".csv", "JSON": ".json", "OTIO": ".otio"}


class FETTLE_OT_hand_over(bpy.types.Operator):
    """Write the reading to a file for people who have no Blender, or for a pipeline"""

    bl_idname = "fettle.hand_over"
    bl_label = "Hand Over"
    bl_options = {"REGISTER"}

    kind: EnumProperty(
        name="As",
        items=(
            ("SHEET", "Review Sheet", "One page with pictures, to open in any browser or print"),
            ("CSV", "Spreadsheet", "A row for every flag and note"),
            ("JSON", "Findings", "Everything, for a pipeline or to compare with later"),
            ("OTIO", "Timeline", "A clip with the flags as markers, for editing programs"),
        ),
        options={"SKIP_SAVE"},
    )
    filepath: StringProperty(subtype="FILE_PATH", options={"SKIP_SAVE"})
    filter_glob: StringProperty(default="*.html;*.csv;*.json;*.otio", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only what was read can be handed over."""
        return has_reading(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> set[str]:
        """Ask where to."""
        stem = Path(bpy.data.filepath).stem if bpy.data.filepath else "shot"
        self.filepath = f"{stem}_review{ENDINGS[self.kind]}"
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Write it whole or not at all."""
        entry = get_shown(context)
        if entry is None:
            return {"CANCELLED"}
        path = Path(bpy.path.abspath(self.filepath)).with_suffix(ENDINGS[self.kind])
        try:
            hand_over(entry, self.kind, path)
        except OutputError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        self.report({"INFO"}, f"Written to {path}")
        return {"FINISHED"}


def hand_over(entry: kept.Kept, kind: str, path: Path) -> None:
    """Write a kept reading to a file.

    Parameters
    ----------
    entry : Kept
    kind : str
        One of `ENDINGS`.
    path : Path

    Raises
    ------
    OutputError
        One line; nothing was written.
    """
    review = Review(entry.notes, entry.unused_marks)
    report = Report((entry.reading,), reviews={0: review})
    if kind == "SHEET":
        pictures = draw_flags(entry.motions, entry.reading.flags)
        write_whole(path, make_sheet(entry.reading, pictures, review))
    elif kind == "CSV":
        write_whole(path, dump_csv(report))
    elif kind == "JSON":
        write_whole(path, dump_report(report))
    else:
        timeline_export.write_timeline(path, report)


CLASSES = (FETTLE_OT_hand_over,)
