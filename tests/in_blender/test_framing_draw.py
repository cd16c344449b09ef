# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The card of the subject's place in the picture: its lines, without drawing them."""

import bpy  # noqa: F401 (it brings the modules of drawing along)
import numpy as np
import pytest
import shot_camera

from fettle.addon.framing_draw import EXPECTED, PLACE, describe_place, lay_out
from fettle.addon.palette import SEVERITY_COLOURS
from fettle.core_math import Severity, trace_framing

FPS = 24.0


def make_traces(late=0.0, swing=0.0):
    way = shot_camera.glide(FPS, 5.0, 1.0, 1.5, 3.0)
    camera = shot_camera.glide(FPS, 5.0, 1.0 + late, 1.5, 3.0)
    time = np.arange(len(way)) / FPS
    motion = shot_camera.make_shot(
        way, camera + swing * shot_camera.WIDTH * np.exp(-(((time - 2.2) / 0.3) ** 2))
    )
    return trace_framing(motion), (int(motion.frames[0]), int(motion.frames[-1]))


def test_the_line_falls_as_the_subject_goes_to_the_right_of_the_picture():
    traces, span = make_traces(late=0.5)
    drawn = lay_out(traces, span, FPS)
    (line,) = [
        points
        for points, colour, width in drawn.lines
        if (colour, width) == (PLACE, 2.0) and len(points) > 2
    ]
    assert line[0, 0] == 0.0 and line[-1, 0] == 1.0
    assert line[:, 1] == pytest.approx(1.0 - traces[0].places[:, 0])


def test_bands_are_as_wide_as_the_limits():
    traces, span = make_traces()
    bands = lay_out(traces, span, FPS).bands
    assert len(bands) == 3
    for (low, high, colour), limit, severity in zip(bands, traces[0].limits, Severity, strict=True):
        assert high[:, 1] - low[:, 1] == pytest.approx(2.0 * limit / 100.0)
        assert colour[:3] == SEVERITY_COLOURS[severity]


def test_what_wanders_too_far_takes_the_colour_of_its_severity():
    calm, span = make_traces()
    wild, _ = make_traces(swing=0.18)
    painted = []
    for traces in (calm, wild):
        colours = {
            colour[:3] for _, colour, width in lay_out(traces, span, FPS).lines if width == 3.0
        }
        painted.append(colours)
    assert SEVERITY_COLOURS[Severity.GLARING] not in painted[0]
    assert wild[0].beyond.max() > wild[0].limits[2]
    assert SEVERITY_COLOURS[Severity.GLARING] in painted[1]


def test_a_late_camera_is_told_and_drawn_from_the_subjects_start_to_its_own():
    traces, span = make_traces(late=0.5)
    move = next(move for move in traces[0].moves if move.late > 3.0)
    lines = [
        points
        for points, _, width in lay_out(traces, span, FPS).lines
        if width == 3.0 and len(points) == 2
    ]
    ends = [(points[0, 0], points[1, 0]) for points in lines]
    wide = span[1] - span[0]
    expected = ((move.start - move.late - span[0]) / wide, (move.start - span[0]) / wide)
    assert any(pair == pytest.approx(expected) for pair in ends)
    assert f"camera late by {move.late:.0f} frames" in describe_place(traces[0], span[0], FPS)


def test_without_a_camera_there_is_nothing_to_draw():
    drawn = lay_out((), (1, 48), FPS)
    assert drawn.lines == () and drawn.bands == ()


def test_frames_out_of_the_picture_leave_a_gap():
    traces, span = make_traces(late=0.5)
    trace = traces[0]
    trace.places[20:30, 0] = np.nan
    lines = lay_out(traces, span, FPS).lines
    runs = [
        points
        for points, colour, width in lines
        if (colour, width) == (PLACE, 2.0) and len(points) > 2
    ]
    assert [len(points) for points in runs] == [20, len(trace.frames) - 30]
    assert all(colour != EXPECTED or np.isfinite(points).all() for points, colour, _ in lines)
