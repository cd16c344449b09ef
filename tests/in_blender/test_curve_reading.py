# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Curves evaluated at once against the host's own evaluation, on many random curves."""

import bpy
import numpy as np
import pytest
import rigs
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fettle.addon.curve_reading import CurveGroup
from fettle.addon.curve_tables import PlayedCurves

FRAMES = np.arange(-40.0, 140.0)
KINDS = "CONSTANT LINEAR BEZIER SINE QUAD CUBIC QUART QUINT EXPO CIRC BACK BOUNCE ELASTIC".split()
HANDLES = "FREE ALIGNED VECTOR AUTO AUTO_CLAMPED".split()
EASINGS = "AUTO EASE_IN EASE_OUT EASE_IN_OUT".split()
NUMBER = st.floats(-4, 4, width=32)


@st.composite
def keys(draw):
    """Keys with any interpolation, easing and handles, at any distance."""
    count = draw(st.integers(1, 7))
    gaps = draw(st.lists(st.floats(0.25, 30, width=32), min_size=count, max_size=count))
    result = []
    time = draw(st.floats(-20, 20, width=32))
    for gap in gaps:
        result.append(
            {
                "time": time,
                "value": draw(NUMBER),
                "interpolation": draw(st.sampled_from(KINDS)),
                "easing": draw(st.sampled_from(EASINGS)),
                "handle_left_type": draw(st.sampled_from(HANDLES)),
                "handle_right_type": draw(st.sampled_from(HANDLES)),
                "left": (draw(st.floats(-40, 5)), draw(NUMBER)),
                "right": (draw(st.floats(-5, 40)), draw(NUMBER)),
                "back": draw(st.floats(0, 4)),
                "amplitude": draw(st.sampled_from([0.0, 0.3, 2.0, 9.0])),
                "period": draw(st.sampled_from([0.0, 2.5, 11.0])),
            }
        )
        time += gap
    return result


@st.composite
def cycles(draw):
    modes = st.sampled_from(["NONE", "REPEAT", "REPEAT_OFFSET", "MIRROR"])
    counts = st.integers(0, 3)
    return draw(modes), draw(modes), draw(counts), draw(counts)


@pytest.fixture(scope="module")
def holder():
    rigs.start_empty()
    holder = bpy.data.objects.new("Holder", None)
    holder["value"] = 0.0
    return holder


def write(holder, entries, straight=False, smoothing="CONT_ACCEL", cycling=None):
    holder.animation_data_clear()
    holder.keyframe_insert('["value"]', frame=0)
    (curve,) = rigs.curves_of(holder)
    points = curve.keyframe_points
    points.clear()
    points.add(len(entries))
    for point, entry in zip(points, entries, strict=True):
        point.co = entry["time"], entry["value"]
        for name in ("interpolation", "easing", "back", "amplitude", "period"):
            setattr(point, name, entry[name])
        point.handle_left_type = entry["handle_left_type"]
        point.handle_right_type = entry["handle_right_type"]
        point.handle_left = np.add(point.co, entry["left"])
        point.handle_right = np.add(point.co, entry["right"])
    curve.extrapolation = "LINEAR" if straight else "CONSTANT"
    curve.auto_smoothing = smoothing
    if cycling:
        modifier = curve.modifiers.new("CYCLES")
        modifier.mode_before, modifier.mode_after = cycling[:2]
        modifier.cycles_before, modifier.cycles_after = cycling[2:]
    curve.update()
    return curve


def group_of(curve):
    """Read the one curve of the holder, which is this one."""
    played = PlayedCurves(bpy.data.objects["Holder"])
    assert [entry.curve for entry in played.played] == [curve]
    return CurveGroup(played, [0])


def compare(curve, frames=FRAMES):
    host = np.array([curve.evaluate(frame) for frame in frames])
    mine = group_of(curve).evaluate(frames)[0]
    # The host computes in single precision: 1e-5 of the values' size, and of how fast they pass.
    size = max(1.0, np.abs(host).max())
    np.testing.assert_allclose(mine, host, rtol=0, atol=2e-5 * size)


@settings(
    max_examples=800, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(entries=keys(), straight=st.booleans(), smoothing=st.sampled_from(["NONE", "CONT_ACCEL"]))
def test_any_curve(holder, entries, straight, smoothing):
    compare(write(holder, entries, straight, smoothing))


@settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(entries=keys(), cycling=cycles())
def test_cycles(holder, entries, cycling):
    curve = write(holder, entries, cycling=cycling)
    assert not group_of(curve).foreign
    compare(curve, leave_out_seams(curve))


def leave_out_seams(curve):
    """Return the frames but those a rounding error away from the end of a round.

    Where a curve jumps there, the last bit of a single-precision number decides what shows. A
    frame exactly at the end is told rightly.
    """
    start, end = (curve.keyframe_points[at].co.x for at in (0, -1))
    if end <= start:
        return FRAMES
    rest = np.fmod(np.abs(FRAMES - np.where(FRAMES > end, end, start)), end - start)
    near = np.minimum(rest, end - start - rest) < 1e-4
    return FRAMES[~near | (rest == 0.0) | ((start <= FRAMES) & (end >= FRAMES))]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("easing", EASINGS)
def test_every_interpolation_between_the_frames(holder, kind, easing):
    plain = {
        "interpolation": kind, "easing": easing, "handle_left_type": "AUTO",
        "handle_right_type": "AUTO", "left": (-3, 0), "right": (3, 0), "back": 1.7,
        "amplitude": 0.8, "period": 4.1,
    }  # fmt: skip
    places = ((0, 0.0), (10, 3.0), (17, -1.0), (30, -1.0), (45.5, 2.0))
    entries = [{**plain, "time": time, "value": value} for time, value in places]
    compare(write(holder, entries), np.arange(-5.0, 50.0, 0.25))


def test_published_automatic_handles(holder):
    """Handles and values computed with the host (bpy 4.2.23), AUTO without smoothing."""
    plain = {
        "interpolation": "BEZIER", "easing": "AUTO", "handle_left_type": "AUTO",
        "handle_right_type": "AUTO", "left": (-1, 0), "right": (1, 0), "back": 0.0,
        "amplitude": 0.0, "period": 0.0,
    }  # fmt: skip
    places = ((0, 0.0), (12, 1.0), (36, 2.0))
    entries = [{**plain, "time": time, "value": value} for time, value in places]
    curve = write(holder, entries, smoothing="NONE")
    key = curve.keyframe_points[1]
    np.testing.assert_allclose(key.handle_left, (7.315062, 0.707191), atol=1e-5)
    np.testing.assert_allclose(key.handle_right, (21.369877, 1.585617), atol=1e-5)
    found = group_of(curve).evaluate(np.array([6.0, 24.0]))[0]
    np.testing.assert_allclose(found, (0.3901967, 1.7196065), atol=1e-6)


@pytest.mark.parametrize("modifier", ["NOISE", "STEPPED", "GENERATOR", "cycles in a range"])
def test_other_modifiers_are_the_hosts_own_word(holder, modifier):
    plain = {
        "interpolation": "BEZIER", "easing": "AUTO", "handle_left_type": "AUTO",
        "handle_right_type": "AUTO", "left": (-1, 0), "right": (1, 0), "back": 0.0,
        "amplitude": 0.0, "period": 0.0,
    }  # fmt: skip
    curve = write(holder, [{**plain, "time": t, "value": v} for t, v in ((0, 0), (20, 1))])
    if modifier == "cycles in a range":
        made = curve.modifiers.new("CYCLES")
        made.use_restricted_range, made.frame_start, made.frame_end = True, 0, 60
    else:
        curve.modifiers.new(modifier)
    assert group_of(curve).foreign
    compare(curve)


def test_muted_modifiers_and_baked_curves(holder):
    plain = {
        "interpolation": "BEZIER", "easing": "AUTO", "handle_left_type": "AUTO",
        "handle_right_type": "AUTO", "left": (-1, 0), "right": (1, 0), "back": 0.0,
        "amplitude": 0.0, "period": 0.0,
    }  # fmt: skip
    curve = write(holder, [{**plain, "time": t, "value": v} for t, v in ((0, 0), (20, 1))])
    curve.modifiers.new("NOISE").mute = True
    assert not group_of(curve).foreign
    compare(curve)
    curve.convert_to_samples(0, 30)
    assert group_of(curve).foreign
    compare(curve)
