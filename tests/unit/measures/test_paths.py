# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Paths against the geometry of circles, and against odd input."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from fettle.core_math.measures import paths

ANY_PATH = hnp.arrays(
    np.float64,
    st.tuples(st.integers(1, 30), st.just(3)),
    elements=st.floats(-1e3, 1e3, allow_nan=False, allow_subnormal=False),
)


def test_menger_curvature_of_the_3_4_5_triangle():
    # 4 area / (a b c) of (0, 0), (3, 0), (0, 4) is 0.4.
    a, b, c = np.array([0.0, 0.0]), np.array([3.0, 0.0]), np.array([0.0, 4.0])
    assert paths.menger_curvature(a, b, c) == pytest.approx(0.4, abs=1e-12)


@pytest.mark.parametrize("radius", [0.01, 1.0, 300.0])
def test_menger_curvature_on_a_circle_is_one_over_its_radius(radius):
    turn = np.array([0.3, 0.9, 1.1])
    a, b, c = radius * np.stack((np.cos(turn), np.sin(turn), 0.0 * turn), axis=-1)
    assert paths.menger_curvature(a, b, c) == pytest.approx(1.0 / radius, rel=1e-9)


def test_menger_curvature_of_a_line_and_of_coinciding_points_is_zero():
    a, b = np.zeros(3), np.array([1.0, 2.0, 3.0])
    assert paths.menger_curvature(a, b, 2.0 * b) == pytest.approx(0.0, abs=1e-6)
    assert paths.menger_curvature(a, a, b) == 0.0


def make_arc(degrees: float, count: int = 201, radius: float = 1.0) -> np.ndarray:
    turn = np.radians(np.linspace(0.0, degrees, count))
    return radius * np.stack((np.cos(turn), np.sin(turn), 0.0 * turn), axis=-1)


@pytest.mark.parametrize(
    ("degrees", "length_over_chord", "sagitta_over_chord"),
    [
        (10.0, 1.001270, 0.021830),
        (30.0, 1.011515, 0.065826),
        (60.0, 1.047198, 0.133975),
        (90.0, 1.110721, 0.207107),
        (180.0, 1.570796, 0.5),
    ],
)
def test_sagitta_and_length_of_circular_arcs(degrees, length_over_chord, sagitta_over_chord):
    arc = make_arc(degrees)
    assert paths.sagitta_ratio(arc) == pytest.approx(sagitta_over_chord, abs=2e-5)
    chord = np.linalg.norm(arc[-1] - arc[0])
    total = paths.step_lengths(arc).sum()
    assert total / chord == pytest.approx(length_over_chord, abs=1e-4)


def test_sagitta_of_the_textbook_circle():
    # R = 10, chord 12: sagitta R - sqrt(R^2 - c^2 / 4) = 2, and back: s / 2 + c^2 / (8 s) = R.
    half = np.degrees(np.arcsin(0.6))
    arc = make_arc(2.0 * half, radius=10.0)
    chord = float(np.linalg.norm(arc[-1] - arc[0]))
    sagitta = chord * paths.sagitta_ratio(arc)
    assert chord == pytest.approx(12.0, abs=1e-9)
    assert sagitta == pytest.approx(2.0, abs=1e-9)
    assert sagitta / 2.0 + chord**2 / (8.0 * sagitta) == pytest.approx(10.0, abs=1e-9)


def test_straight_line_has_no_sagitta_and_a_closed_path_no_ratio():
    line = np.linspace(0.0, 1.0, 20)[:, None] * [1.0, 2.0, -0.5]
    assert paths.sagitta_ratio(line) == pytest.approx(0.0, abs=1e-12)
    assert paths.sagitta_ratio(np.array([[0.0, 0, 0], [1, 0, 0], [0, 0, 0]])) == 0.0


@given(ANY_PATH, st.floats(1e-3, 1e3))
@settings(max_examples=80, deadline=None)
def test_any_path_is_measured_without_a_warning_and_at_any_scale(path, scale):
    ratio = paths.sagitta_ratio(path)
    assert np.isfinite(ratio) and ratio >= 0.0
    assert np.all(np.isfinite(paths.step_lengths(path)))
    if len(path) >= 3:
        bend = paths.menger_curvature(path[0], path[1], path[2])
        assert np.isfinite(bend) and bend >= 0.0
    assert paths.sagitta_ratio(path * scale) == pytest.approx(ratio, rel=1e-3, abs=1e-6)


@given(seed=st.integers(0, 2**32 - 1), straight=st.booleans())
def test_bend_halfway_is_never_more_than_the_sagitta(seed, straight):
    random = np.random.default_rng(seed)
    path = np.cumsum(random.normal(size=(30, 3)), axis=0)
    if straight:
        path = np.linspace(0.0, 1.0, 30)[:, None] * random.normal(size=3)
    firsts = random.integers(0, 20, size=5)
    lasts = firsts + random.integers(2, 9, size=5)
    halfway = paths.bend_halfway(path, firsts, lasts)
    for bend, first, last in zip(halfway, firsts, lasts, strict=True):
        assert bend <= paths.sagitta_ratio(path[first : last + 1]) + 1e-9


def test_bend_halfway_of_an_arc_is_its_sagitta():
    # A circle: R (1 - cos(a / 2)) beside the middle of a chord of 2 R sin(a / 2).
    arc = make_arc(60.0)
    half = np.radians(30.0)
    (bend,) = paths.bend_halfway(arc, np.array([0]), np.array([len(arc) - 1]))
    assert bend == pytest.approx((1.0 - np.cos(half)) / (2.0 * np.sin(half)), abs=1e-4)
