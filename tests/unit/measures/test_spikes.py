# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Jumps of paths: the known differences, exact fits, what stands out and what lies on a path."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.spatial.transform import Rotation

from fettle.core_math.measures import rotations, series, spikes

ANY_PATHS = hnp.arrays(
    np.float64,
    st.tuples(st.integers(1, 30), st.integers(1, 3), st.just(3)),
    elements=st.floats(-1e3, 1e3, allow_nan=False, allow_subnormal=False),
)
SHAPES = [
    spikes.ONE_FRAME,
    spikes.TWO_FRAMES,
    spikes.THREE_FRAMES,
    spikes.BUMP,
    spikes.LONG_BUMP,
]


def make_parabola(count: int = 40) -> np.ndarray:
    """One path of constant acceleration in space: its third differences are 0."""
    t = np.arange(count, dtype=float)[:, None]
    return (t * [1.0, -0.5, 0.2] + t**2 * [0.02, 0.05, -0.01])[:, None]


@pytest.mark.parametrize(
    ("shape", "differences"),
    [
        (spikes.ONE_FRAME, [1, -3, 3, -1]),
        (spikes.TWO_FRAMES, [1, -2, 0, 2, -1]),
        (spikes.THREE_FRAMES, [1, -2, 1, -1, 2, -1]),
    ],
)
def test_template_is_the_third_difference_of_the_shape(shape, differences):
    assert spikes.make_template(shape).tolist() == differences
    off = np.zeros(14)
    off[5 : 5 + len(shape)] = shape
    np.testing.assert_allclose(np.diff(off, n=3)[2 : 2 + len(differences)], differences)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("place", [0, 1, 2, 3, 17, 34, 35, 36])
def test_height_of_a_jump_on_a_parabola_is_exact_everywhere(shape, place):
    place = min(place, 40 - len(shape))
    path = make_parabola()
    off = np.array([0.3, -1.2, 0.5])
    path[place : place + len(shape), 0] += np.array(shape)[:, None] * off
    heights, weights = spikes.find_heights(path, shape)
    np.testing.assert_allclose(heights[place, 0], off, atol=1e-9)
    assert weights[place] > 0.0


def test_weights_are_the_templates_squares_cut_off_at_the_ends():
    _, weights = spikes.find_heights(make_parabola(), spikes.ONE_FRAME)
    assert weights[:4].tolist() == [1.0, 10.0, 19.0, 20.0]
    assert weights[-4:].tolist() == [20.0, 19.0, 10.0, 1.0]


def test_last_frame_is_held_against_the_one_sided_prediction():
    path = np.random.default_rng(1).normal(size=(12, 2, 3))
    heights, _ = spikes.find_heights(path)
    np.testing.assert_allclose(heights[-1], path[-1] - series.predict_next(path[-4:-1]), atol=1e-9)
    np.testing.assert_allclose(heights[0], path[0] - series.predict_next(path[3:0:-1]), atol=1e-9)


def test_middle_frame_is_held_against_the_six_point_interpolation():
    # Least squares on the template = sixth differences / 20: weights 15, -6, 1 (Lagrange).
    path = np.random.default_rng(2).normal(size=(30, 1, 3))
    heights, _ = spikes.find_heights(path)
    t = 12
    lagrange = (
        15.0 * (path[t - 1] + path[t + 1])
        - 6.0 * (path[t - 2] + path[t + 2])
        + (path[t - 3] + path[t + 3])
    ) / 20.0
    np.testing.assert_allclose(heights[t], path[t] - lagrange, atol=1e-9)


def test_short_paths_have_no_heights():
    for count in range(4):
        heights, weights = spikes.find_heights(np.ones((count, 2, 3)))
        assert not heights.any() and not weights.any()


@pytest.mark.parametrize("shape", SHAPES)
def test_spike_is_found_once_with_its_shape_place_and_size(shape):
    path = make_parabola(60) + np.random.default_rng(3).normal(0.0, 0.005, (60, 1, 3))
    path[30 : 30 + len(shape), 0, 1] += np.array(shape) * 2.0
    found = spikes.find_spikes(path, least=0.5, floor=0.001, shapes=SHAPES)
    best = found.select(found.ratings >= found.ratings.max())
    assert (best.firsts[0], best.lasts[0]) == (30, 29 + len(shape))
    assert best.sizes[0] == pytest.approx(2.0, rel=0.02)
    assert best.ratings[0] > 40.0
    assert best.misses[0] > 1.0


def test_rating_grows_with_the_size_and_falls_with_the_roughness():
    rng = np.random.default_rng(4)
    rough = rng.normal(0.0, 1.0, (60, 1, 3))

    def rate(size: float, roughness: float) -> float:
        path = make_parabola(60) + roughness * rough
        path[30, 0, 0] += size
        found = spikes.find_spikes(path, least=0.2 * size, floor=1e-6)
        return float(found.ratings[found.firsts == 30].max(initial=0.0))

    assert rate(2.0, 0.1) == pytest.approx(2.0 * rate(1.0, 0.05) / 2.0, rel=1e-6)
    assert rate(4.0, 0.1) > 1.5 * rate(2.0, 0.1)
    assert rate(2.0, 0.05) > 1.5 * rate(2.0, 0.1)


def test_jump_across_a_rough_direction_stands_out_more_than_along_it():
    rng = np.random.default_rng(5)
    path = make_parabola(60)
    path[:, 0, 0] += rng.normal(0.0, 1.0, 60)
    path[:, 0, 1:] += rng.normal(0.0, 0.02, (60, 2))
    across, along = path.copy(), path.copy()
    across[30, 0, 1] += 2.0
    along[30, 0, 0] += 2.0
    rated = []
    for one in (across, along):
        heights, _ = spikes.find_heights(one)
        place = (np.array([30]), np.array([0]))
        rated.append(
            spikes.rate_heights(one, *place, heights[30, [0]], spikes.ONE_FRAME, 10, 1e-6)[0]
        )
    assert rated[0] > 5.0 * rated[1]


@pytest.mark.parametrize(
    "name", ["stop", "start", "corner", "jump that stays", "accent of three frames", "hold"]
)
def test_what_belongs_to_a_path_misses_none(name):
    t = np.arange(40.0)
    x = {
        "stop": np.minimum(t, 20.0),
        "start": np.maximum(t, 20.0),
        "corner": np.abs(t - 20.0),
        "jump that stays": np.where(t < 20.0, 0.0, 5.0),
        "accent of three frames": 8.0 * np.maximum(0.0, 1.0 - np.abs(t - 20.0) / 2.0),
        "hold": np.where(t < 20.0, t, np.where(t < 23.0, 19.0, t - 3.0)),
    }[name]
    path = np.zeros((40, 1, 3))
    path[:, 0, 0] = x
    # Of an accent it is the top that a search finds, not its flanks.
    frames = np.array([20]) if name.startswith("accent") else np.arange(3, 36)
    misses = spikes.miss_all_paths(path, frames, np.zeros(len(frames), dtype=int), 1)
    np.testing.assert_allclose(misses, 0.0, atol=1e-9)


def test_spike_misses_every_path_by_its_height():
    path = np.zeros((40, 1, 3))
    path[20, 0, 0] = 5.0
    miss = spikes.miss_all_paths(path, np.array([20]), np.array([0]), 1)
    assert miss[0] == pytest.approx(5.0)
    # On the first and last frame one side alone is asked, beyond them none.
    ends = spikes.miss_all_paths(path, np.array([0, 39]), np.array([0, 0]), 1)
    np.testing.assert_allclose(ends, 0.0)
    assert np.isinf(spikes.miss_all_paths(path[:1], np.array([0]), np.array([0]), 1))[0]


def test_two_jumps_near_each_other_are_both_found():
    path = make_parabola(60) + np.random.default_rng(6).normal(0.0, 0.01, (60, 1, 3))
    path[30, 0, 0] += 3.0
    path[34, 0, 1] += 2.0
    found = spikes.find_all_spikes(path, 20.0, least=0.5, floor=0.001)
    rated = found.select(found.ratings > 20.0)
    assert {30, 34} <= set(rated.firsts.tolist())


@pytest.mark.parametrize("turn_round", [False, True])
def test_jump_of_the_last_frame_is_rated_by_predictions(turn_round):
    path = make_parabola(40) + np.random.default_rng(7).normal(0.0, 0.01, (40, 1, 3))
    off = path.copy()
    off[-1, 0] += [0.0, 2.0, 0.0]
    calm = spikes.find_end_spikes(path, least=0.0, floor=0.001)
    found = spikes.find_end_spikes(off, least=0.0, floor=0.001)
    assert found.firsts[0] == found.lasts[0] == 39
    assert calm.ratings[0] < 4.0 < 20.0 < found.ratings[0]
    assert found.sizes[0] == pytest.approx(2.0, rel=0.1)


def test_every_other_frame_shows_what_half_the_rate_would():
    path = np.arange(22.0)[:, None, None] + np.zeros((22, 2, 1))
    phases = spikes.split_phases(path, 4)
    assert phases.shape == (5, 8, 1)
    # 22 frames make 5 rows of 4; the first two are left out, so that the last one is kept.
    assert phases[0, :, 0].tolist() == [2, 2, 3, 3, 4, 4, 5, 5]
    assert phases[-1, -1, 0] == 21.0
    found_path = make_parabola(120) + np.random.default_rng(8).normal(0.0, 0.01, (120, 1, 3))
    found_path[60:64, 0, 0] += 2.0
    found = spikes.find_spikes(found_path, least=1.0, floor=0.001, stride=4)
    best = found.select(found.ratings > 20.0)
    assert set(best.firsts.tolist()) <= {60, 61, 62, 63} and len(best.firsts) == 4


def test_strides_double_up_to_the_longest():
    assert spikes.list_strides(0.5, 1000) == [1]
    assert spikes.list_strides(1.9, 1000) == [1]
    assert spikes.list_strides(5.0, 1000) == [1, 2, 4, 5]
    assert spikes.list_strides(5.0, 30) == [1, 2]
    assert spikes.list_strides(5.0, 12) == [1]


def test_tangents_of_quaternions_are_the_turns_about_the_parts_own_axes():
    other = Rotation.random(20, random_state=9)
    q = other.as_quat(scalar_first=True)
    tangents = spikes.make_tangents(q)
    np.testing.assert_allclose(np.einsum("cd,cde->ce", q, tangents), 0.0, atol=1e-12)
    np.testing.assert_allclose(
        np.swapaxes(tangents, 1, 2) @ tangents, np.tile(np.eye(3), (20, 1, 1)), atol=1e-12
    )
    little = rotations.multiply(q, rotations.from_axis_angle((0.0, 1.0, 0.0), np.full(20, 0.01)))
    step = np.einsum("cd,cde->ce", little - q, tangents)
    np.testing.assert_allclose(step, np.tile([0, np.radians(0.005), 0], (20, 1)), atol=1e-9)


def test_height_at_one_frame_is_the_same_as_in_the_whole_path():
    path = np.random.default_rng(10).normal(size=(30, 4, 3))
    heights, _ = spikes.find_heights(path, spikes.TWO_FRAMES)
    np.testing.assert_allclose(
        spikes.height_at(path, 12, spikes.TWO_FRAMES), np.linalg.norm(heights[12], axis=-1)
    )


def test_peaks_are_the_largest_around():
    energy = np.array([0.0, 1.0, 3.0, 2.0, 0.0, 5.0, 0.0, 0.0])[:, None]
    assert np.flatnonzero(spikes.find_peaks(energy.T, 2)[0]).tolist() == [2, 5]
    assert np.flatnonzero(spikes.find_peaks(energy.T, 3)[0]).tolist() == [5]
    assert not spikes.find_peaks(np.zeros((1, 5)), 2).any()


@given(ANY_PATHS, st.floats(1e-3, 1e3), st.integers(1, 4))
@settings(max_examples=60, deadline=None)
def test_any_paths_are_searched_without_a_warning(path, scale, stride):
    path = path * scale
    for across in (False, True):
        found = spikes.find_spikes(
            path, least=0.0, floor=1e-6 * scale, shapes=SHAPES, stride=stride, across=across
        )
        assert np.all(np.isfinite(found.ratings)) and np.all(np.isfinite(found.heights))
        assert np.all((found.firsts >= 0) & (found.lasts < len(path)))
    ends = spikes.find_end_spikes(path, least=0.0, floor=1e-6 * scale)
    assert np.all(np.isfinite(ends.ratings))


@pytest.mark.parametrize("scale", [1e-3, 1.0, 1e3])
def test_ratings_do_not_depend_on_the_unit(scale):
    path = make_parabola(60) + np.random.default_rng(11).normal(0.0, 0.05, (60, 1, 3))
    path[30, 0, 0] += 2.0
    found = spikes.find_spikes(path * scale, least=0.5 * scale, floor=1e-4 * scale)
    (rating,) = found.ratings[found.firsts == 30]
    plain = spikes.find_spikes(path, least=0.5, floor=1e-4)
    assert rating == pytest.approx(plain.ratings[plain.firsts == 30][0], rel=1e-6)
