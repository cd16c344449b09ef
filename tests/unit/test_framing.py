# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The subject's place in the picture over time, on shots whose truth is known."""

from dataclasses import replace

import figure
import numpy as np
import pytest
import shot_camera

from fettle.core_math import ALL_CHECKS, Settings, find_trace, run_checks, trace_framing

FPS = 24.0


def follow(late=0.0, swing=0.0):
    way = shot_camera.glide(FPS, 5.0, 1.0, 1.5, 3.0)
    camera = shot_camera.glide(FPS, 5.0, 1.0 + late, 1.5, 3.0)
    time = np.arange(len(way)) / FPS
    return shot_camera.make_shot(
        way, camera + swing * shot_camera.WIDTH * np.exp(-(((time - 2.2) / 0.3) ** 2))
    )


def test_place_is_where_a_pinhole_puts_the_hips():
    motion = follow()
    (trace,) = trace_framing(motion)
    offset = motion.head("hips") - motion.camera.positions
    across = 0.5 + 50.0 / 36.0 * offset[:, 0] / offset[:, 1]
    upward = 0.5 + 50.0 / 36.0 * offset[:, 2] / offset[:, 1] * 16.0 / 9.0
    assert trace.places == pytest.approx(np.stack((across, upward), axis=-1), abs=1e-9)
    assert trace.shows.all() and trace.camera == "Cam" and trace.reason == ""
    assert trace.limits == (4.0, 8.0, 14.0)


def test_a_good_follow_stays_where_it_is_expected():
    (trace,) = trace_framing(follow())
    assert trace.expected == pytest.approx(trace.places, abs=1e-3)
    # What is judged is the subject's slow place against the camera's own: about a percent at most.
    assert trace.beyond.max() < 1.0


def test_what_is_drawn_is_what_is_judged():
    motion = follow(swing=0.18)
    (trace,) = trace_framing(motion)
    flags = [f for f in run_checks(motion, ALL_CHECKS).flags if f.code == "wanders"]
    assert [flag.value for flag in flags] == pytest.approx([trace.beyond.max()])
    strict = Settings(overrides={"framing-drift": {"drift": (1.0, 2.0, 3.0)}})
    assert trace_framing(motion, strict)[0].limits == (1.0, 2.0, 3.0)


def test_starts_of_subject_and_late_camera_are_marked():
    (trace,) = trace_framing(follow(late=0.5))
    by_maker = {move.maker: move for move in trace.moves}
    # A minimum-jerk move is seen at 10 % of its peak speed, 8.7 % into the move.
    assert (by_maker["subject"].start - 1.0) / FPS == pytest.approx(1.0 + 0.087 * 1.5, abs=0.06)
    assert by_maker["camera"].late == pytest.approx(12.0, abs=1.0)
    assert by_maker["camera"].start - by_maker["subject"].start == by_maker["camera"].late


def test_each_stretch_between_cuts_has_a_trace_and_says_why_nothing_is_expected():
    way = shot_camera.glide(FPS, 4.0, 1.0, 1.5, 3.0)
    motion = replace(shot_camera.make_shot(way, 0.0 * way), cuts=(49,))
    traces = trace_framing(motion)
    assert [(t.frames[0], t.frames[-1]) for t in traces] == [(1, 48), (49, 96)]
    assert {trace.reason for trace in traces} == {"the camera is locked off"}
    assert np.isnan(traces[0].expected).all()
    assert find_trace(traces, 48.5) is traces[0] and find_trace(traces, 49) is traces[1]
    assert find_trace(traces, 97.0) is None


def test_behind_the_camera_is_no_place_and_out_of_frame_is_told():
    motion = follow()
    behind = replace(motion, camera=shot_camera.make_camera(motion.camera.positions + [0, 20, 0]))
    (trace,) = trace_framing(behind)
    assert np.isnan(trace.places).all() and not trace.shows.any()
    aside = replace(motion, camera=shot_camera.make_camera(motion.camera.positions + [9, 0, 0]))
    (trace,) = trace_framing(aside)
    assert np.isfinite(trace.places).all() and not trace.shows.any()
    assert trace_framing(figure.make_motion({}, 24)) == ()
