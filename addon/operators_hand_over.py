# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Hand the reading over: the review sheet, a spreadsheet, findings for a pipeline, a timeline."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, EnumProperty, StringProperty

from ..core_math import OutputError, Report, Review, dump_csv, dump_report, write_whole
from . import kept, timeline_export, window_takes
from .operators import get_shown, has_fresh_reading
from .sheet import make_sheet
from .sheet_pictures import draw_flags
from .translation import explain, tell

ENDINGS = {"SHEET": ".html", "CSV": ".csv", "JSON": ".json", "OTIO": ".otio"}
KINDS = (
    (
        "SHEET",
        "Review Sheet",
        "Write one page with pictures of every flag, to open in any browser or to print; while "
        "you compare with a take, it also tells what changed",
    ),
    ("CSV", "Spreadsheet", "Write a row for every flag and note, for any spreadsheet program"),
    (
        "JSON",
        "Findings",
        "Write everything that was found, for a pipeline or to compare with later",
    ),
    ("OTIO", "Timeline", "Write a clip with the flags as markers, for editing programs"),
)


class FETTLE_OT_hand_over(bpy.types.Operator):
    """Write the reading to a file for people who have no Blender, or for a pipeline"""

    bl_idname = "fettle.hand_over"
    bl_label = "Hand Over"
    bl_options = {"REGISTER"}

    kind: EnumProperty(
        name="As",
        items=KINDS,
        options={"SKIP_SAVE"},
    )
    filepath: StringProperty(subtype="FILE_PATH", options={"SKIP_SAVE"})
    filter_glob: StringProperty(default="*.html;*.csv;*.json;*.otio", options={"HIDDEN"})
    check_existing: BoolProperty(default=True, options={"HIDDEN"})

    @classmethod
    def description(cls, _context: bpy.types.Context, properties: Any) -> str:
        """Say what this kind of file is for."""
        return explain(next(words for kind, _, words in KINDS if kind == properties.kind))

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only a reading that tells the truth is handed over."""
        return has_fresh_reading(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> set[str]:
        """Ask where to."""
        shot = Path(bpy.data.filepath or "shot")
        self.filepath = str(shot.with_name(f"{shot.stem}_review{ENDINGS[self.kind]}"))
        self.filter_glob = f"*{ENDINGS[self.kind]}"
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Write it whole or not at all."""
        entry = get_shown(context)
        if entry is None:
            return {"CANCELLED"}
        path = Path(bpy.path.ensure_ext(bpy.path.abspath(self.filepath), ENDINGS[self.kind]))
        try:
            hand_over(entry, self.kind, path)
        except OutputError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        self.report({"INFO"}, tell("Written to {path}", path=path))
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
        comparison = window_takes.compare(entry)
        write_whole(path, make_sheet(entry.reading, pictures, review, comparison))
    elif kind == "CSV":
        write_whole(path, dump_csv(report))
    elif kind == "JSON":
        write_whole(path, dump_report(report))
    else:
        timeline_export.write_timeline(path, report)


CLASSES = (FETTLE_OT_hand_over,)
