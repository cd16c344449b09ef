# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A report as an OpenTimelineIO timeline: a clip for every shot, a marker for every flag and note.

Each clip keeps its shot's own rate and frame numbers, so that a marker at frame 22 stands at frame
22 whatever program opens it. The library is an optional part of the Python package.
"""

from __future__ import annotations

from pathlib import Path, PurePath
from typing import Any

from ..core_math import (
    Flag,
    Note,
    OutputError,
    Report,
    Severity,
    ShotReading,
    flag_to_data,
    say_part,
    write_whole,
)

COLOURS = {Severity.FAINT: "CYAN", Severity.CLEAR: "ORANGE", Severity.GLARING: "RED"}
NOTE_COLOUR = "WHITE"
MISSING = (
    "a timeline needs OpenTimelineIO, which is not installed in this Python; "
    "install it with: pip install fettle[otio]"
)


def find_library() -> Any:
    """Return the library's module, None where it is not installed."""
    try:
        import opentimelineio
    except ImportError:
        return None
    return opentimelineio


def write_timeline(path: str | Path, report: Report) -> None:
    """Write the timeline of a report, whole or not at all.

    Raises
    ------
    OutputError
        When the library is not there, or the file cannot be written.
    """
    otio = find_library()
    if otio is None:
        raise OutputError(MISSING)
    write_whole(path, otio.adapters.write_to_string(make_timeline(otio, report), "otio_json"))


def make_timeline(otio: Any, report: Report) -> Any:
    """Return the timeline of a report as the library's own object."""
    timeline = otio.schema.Timeline(name="Fettle", metadata={"fettle": {"tool": report.tool}})
    track = otio.schema.Track(name="Shots", kind=otio.schema.TrackKind.Video)
    timeline.tracks.append(track)
    for index, shot in enumerate(report.shots):
        clip = _make_clip(otio, shot)
        for flag in shot.flags:
            clip.markers.append(_make_flag_marker(otio, shot, flag))
        for note in report.review_of(index).notes:
            clip.markers.append(_make_note_marker(otio, shot, note))
        track.append(clip)
    return timeline


def _make_clip(otio: Any, shot: ShotReading) -> Any:
    span = _make_range(otio, shot, *shot.frame_range)
    reference = otio.schema.ExternalReference(target_url=shot.source, available_range=span)
    name = PurePath(shot.source.replace("\\", "/")).stem
    facts = {"scene": shot.scene, "camera": shot.camera}
    return otio.schema.Clip(
        name=name, media_reference=reference, source_range=span, metadata={"fettle": facts}
    )


def _make_range(otio: Any, shot: ShotReading, first: int, last: int) -> Any:
    time = otio.opentime.RationalTime
    return otio.opentime.TimeRange(time(first, shot.fps), time(last - first + 1, shot.fps))


def _make_flag_marker(otio: Any, shot: ShotReading, flag: Flag) -> Any:
    comment = f"{flag.message}. Try: {flag.suggestion}" if flag.suggestion else flag.message
    return otio.schema.Marker(
        name=f"{flag.severity.word}: {flag.check}, {say_part(flag.part)}",
        marked_range=_make_range(otio, shot, flag.start, flag.end),
        color=COLOURS[flag.severity],
        comment=comment,
        metadata={"fettle": flag_to_data(flag)},
    )


def _make_note_marker(otio: Any, shot: ShotReading, note: Note) -> Any:
    return otio.schema.Marker(
        name=f"note: {say_part(note.part)}" if note.part else "note",
        marked_range=_make_range(otio, shot, note.frame, note.frame),
        color=NOTE_COLOUR,
        comment=note.text,
        metadata={"fettle": note.to_data()},
    )
