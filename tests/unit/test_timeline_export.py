# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The timeline as the library itself reads it back: right rate, right times, every flag."""

import builtins
from dataclasses import replace

import pytest
from sample_readings import HAND, POP, SHOT

from fettle.addon import timeline_export
from fettle.core_math.report import Report
from fettle.core_math.suppressions import Note, Review
from fettle.core_math.whole_files import OutputError

otio = pytest.importorskip("opentimelineio", reason="OpenTimelineIO is an optional part")


def write_and_read(tmp_path, report):
    path = tmp_path / "flags.otio"
    timeline_export.write_timeline(path, report)
    return otio.adapters.read_from_file(str(path))


def test_every_shot_is_a_clip_with_its_flags_at_their_frames(tmp_path):
    other = replace(SHOT, source="b/Kran 02.blend", fps=30.0, frame_range=(1001, 1100), flags=())
    notes = {1: Review((Note(1010, "länger halten", "Rig", "head"),))}
    timeline = write_and_read(tmp_path, Report((SHOT, other), reviews=notes))
    first, second = timeline.find_clips()
    assert (first.name, second.name) == ("shot", "Kran 02")
    assert first.media_reference.target_url == "shot.blend"
    assert first.source_range == otio.opentime.TimeRange(
        otio.opentime.RationalTime(1, 24), otio.opentime.RationalTime(120, 24)
    )
    pop, hand = first.markers
    assert hand.marked_range.start_time == otio.opentime.RationalTime(22, 24)
    assert hand.marked_range.duration == otio.opentime.RationalTime(14, 24)  # 22 to 35, both in
    assert hand.marked_range.end_time_inclusive().to_frames() == 35
    assert (hand.color, pop.color) == ("ORANGE", "RED")
    assert hand.metadata["fettle"]["id"] == HAND.id
    assert HAND.message in hand.comment and hand.name == "clear: ik-lock, left hand"
    # The clip starts on frame 1, so the flag's first frame is 21 frames into the timeline.
    into = first.transformed_time(hand.marked_range.start_time, timeline.tracks)
    assert into == otio.opentime.RationalTime(21, 24)
    (note,) = second.markers
    assert note.comment == "länger halten"
    assert note.marked_range.start_time == otio.opentime.RationalTime(1010, 30)


def test_broken_rates_keep_their_frames(tmp_path):
    fps = 24000 / 1001
    timeline = write_and_read(tmp_path, Report((replace(SHOT, fps=fps, flags=(POP,)),)))
    (clip,) = timeline.find_clips()
    (marker,) = clip.markers
    assert marker.marked_range.start_time.rate == pytest.approx(fps)
    assert marker.marked_range.start_time.value == 120


def test_without_the_library_the_command_says_how_to_get_it(tmp_path, monkeypatch):
    real = builtins.__import__

    def refuse(name, *rest, **more):
        if name == "opentimelineio":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", refuse)
    with pytest.raises(OutputError, match=r"pip install fettle\[otio\]"):
        timeline_export.write_timeline(tmp_path / "x.otio", Report((SHOT,)))
    assert list(tmp_path.iterdir()) == []
