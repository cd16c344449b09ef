# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Distance from an arc, lines of sight and travel, on paths of known geometry."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.spatial.transform import Rotation

from fettle.core_math.measures import arcs


def make_circle(count: int = 60, radius: float = 30.0, degrees: float = 6.0) -> np.ndarray:
    """One point on a circle, so many degrees a frame, shape (F, 1, 3)."""
    turn = np.radians(degrees) * np.arange(count)
    return radius * np.stack((np.cos(turn), np.sin(turn), 0.0 * turn), axis=-1)[:, None]


def test_circle_has_no_break():
    assert len(arcs.find_breaks(make_circle(), 3.0, least=0.2, floor=0.001).firsts) == 0


@pytest.mark.parametrize("shape", [(1.0,), (1.0, 1.0), (0.7, 1.0, 0.7)])
@pytest.mark.parametrize("direction", [(0.0, 0.0, 1.0), "inwards"])
def test_point_beside_a_circle_is_found_with_its_distance(shape, direction):
    path = make_circle()
    for number, share in enumerate(shape):
        centre = path[30 + len(shape) // 2, 0]
        off = -centre / np.linalg.norm(centre) if direction == "inwards" else np.array(direction)
        path[30 + number, 0] += 1.5 * share * off
    found = arcs.find_breaks(path, 3.0, least=0.3, floor=0.001)
    best = found.select(found.ratings == found.ratings.max())
    assert (best.firsts[0], best.lasts[0]) == (30, 29 + len(shape))
    assert best.sizes[0] == pytest.approx(1.5, rel=0.03)


def test_shift_along_the_way_is_no_break():
    # A frame that is early lies on its arc all the same (the bend of one step is left).
    path = make_circle()
    path[30, 0] += 0.3 * (path[31, 0] - path[30, 0])
    found = arcs.find_breaks(path, 3.0, least=0.05, floor=0.001)
    step = float(np.linalg.norm(path[31, 0] - path[30, 0]))
    assert found.sizes.max(initial=0.0) < 0.05 * step


def test_longer_breaks_are_found_at_higher_rates():
    path = make_circle(240, degrees=1.5)
    path[120:132, 0, 2] += 2.0 * np.sin(np.pi * np.arange(1, 13) / 13.0)
    found = arcs.find_breaks(path, 12.5, least=0.5, floor=0.001, miss_share=0.5)
    best = found.select(found.ratings == found.ratings.max())
    assert 116 <= best.firsts[0] <= best.lasts[0] <= 136
    assert best.sizes[0] == pytest.approx(2.0, rel=0.25)
    short = arcs.find_breaks(path, 3.0, least=0.5, floor=0.001, miss_share=0.5)
    assert len(short.firsts) == 0


def test_distance_along_the_line_of_sight_is_left_out():
    path = make_circle()
    path[30, 0, 2] += 1.5
    above, beside = np.zeros((60, 1, 3)), np.zeros((60, 1, 3))
    above[..., 2], beside[..., 0] = -1.0, 1.0
    from_above = arcs.find_breaks(path, 3.0, least=0.3, floor=0.001, rays=above)
    from_beside = arcs.find_breaks(path, 3.0, least=0.3, floor=0.001, rays=beside)
    assert len(from_above.firsts) == 0
    best = from_beside.select(from_beside.ratings == from_beside.ratings.max())
    assert best.firsts[0] == 30
    assert best.sizes[0] == pytest.approx(1.5, rel=0.03)


def test_sight_lines_point_from_the_camera_to_the_points():
    points = np.array([[[0.0, 3.0, 4.0], [0.0, 0.0, 0.0]]])
    lines = arcs.find_sight_lines(points, np.zeros((1, 3)), np.array([[1.0, 0, 0, 0]]), False)
    np.testing.assert_allclose(lines[0], [[0.0, 0.6, 0.8], [0.0, 0.0, 0.0]])
    turn = Rotation.from_euler("xyz", (90, 0, 30), degrees=True)
    q = turn.as_quat(scalar_first=True)[None]
    flat = arcs.find_sight_lines(points, np.zeros((1, 3)), q, True)
    np.testing.assert_allclose(flat[0], np.tile(turn.apply([0, 0, -1.0]), (2, 1)), atol=1e-12)


def test_leaves_are_the_parts_that_carry_nothing():
    assert arcs.list_leaves([-1, 0, 1, 0]).tolist() == [2, 3]


def test_way_around_counts_both_sides_and_leaves_out_the_frames_themselves():
    path = np.zeros((30, 1, 3))
    path[:, 0, 0] = np.arange(30.0)
    path[15, 0, 1] = 50.0
    way, step = arcs.find_way_around(
        path, arcs.add_up_way(path), np.array([15]), np.array([15]), np.array([0]), side=6
    )
    assert way[0] == pytest.approx(12.0)
    assert step[0] == pytest.approx(1.0)
    way, step = arcs.find_way_around(
        path, arcs.add_up_way(path), np.array([0]), np.array([1]), np.array([0]), side=6
    )
    assert way[0] == pytest.approx(6.0)


@given(
    hnp.arrays(
        np.float64,
        st.tuples(st.integers(1, 40), st.integers(1, 2), st.just(3)),
        elements=st.floats(-1e3, 1e3, allow_nan=False, allow_subnormal=False),
    ),
    st.floats(0.5, 20.0),
    st.floats(1e-3, 1e3),
)
@settings(max_examples=50, deadline=None)
def test_any_paths_are_searched_without_a_warning(path, longest, scale):
    found = arcs.find_breaks(path * scale, longest, least=0.0, floor=1e-6 * scale)
    assert np.all(np.isfinite(found.sizes)) and np.all(np.isfinite(found.ratings))
    way, step = arcs.find_way_around(
        path, arcs.add_up_way(path), found.firsts, found.lasts, found.columns, 5
    )
    assert np.all(np.isfinite(way)) and np.all(np.isfinite(step))
