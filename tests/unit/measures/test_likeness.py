# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Likeness, offset and size ratio against NumPy, SciPy's alignment and published values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.spatial import procrustes
from scipy.spatial.transform import Rotation

from fettle.core_math.measures import likeness
from fettle.core_math.measures.pieces import run_steps


def rolling_likeness(*given, **named):
    return run_steps(likeness.rolling_likeness(*given, **named))


def wander(count: int, seed: int = 0, bones: int = 2) -> np.ndarray:
    """A smooth path of several vectors, shape (count, bones, 3)."""
    rng = np.random.default_rng(seed)
    time = np.arange(count) / 24.0
    pace, start = rng.uniform(0.3, 1.2, (2, bones, 3))
    return np.sin(2.0 * np.pi * (pace * time[:, None, None] + start)) * rng.uniform(0.2, 1.0, 3)


@pytest.mark.parametrize(
    # Robinson, Herzog & Nigg 1987: (R - L) / (0.5 (R + L)) x 100.
    ("right", "left", "index"),
    [(105.0, 95.0, 10.0), (1.1, 1.0, 9.52381), (1.0, 1.0, 0.0), (0.0, 0.0, 0.0)],
)
def test_symmetry_index_has_the_published_values(right, left, index):
    assert float(likeness.symmetry_index(right, left)) == pytest.approx(index, abs=1e-5)


def test_size_ratio_and_symmetry_index_tell_the_same():
    one = wander(48).reshape(48, -1)
    ratio = likeness.compare(one, 1.1 * one, 4).size_ratio
    assert ratio == pytest.approx(1.1, abs=1e-12)
    assert float(likeness.symmetry_index(ratio, 1.0)) == pytest.approx(9.52381, abs=1e-5)


def test_movement_in_antiphase_is_no_twin():
    time = np.arange(48) / 24.0
    swing = np.sin(2.0 * np.pi * time)[:, None, None] * np.array([[[0.0, 1.0, 0.2]]])
    windows = rolling_likeness(swing, -swing, 24)
    assert windows.likeness == pytest.approx(np.full(25, -1.0), abs=1e-9)


def test_every_window_has_the_correlation_numpy_gives_it():
    one, other = wander(60, 1), wander(60, 2)
    windows = rolling_likeness(one, other, 15)
    for start in (0, 20, 45):
        parts = [x[start : start + 15] for x in (one, other)]
        flat = [(x - x.mean(axis=0)).ravel() for x in parts]
        assert windows.spread[start] == pytest.approx(np.sqrt(parts[0].var(axis=0).sum()))
        at_lags = []
        for shift in (-1, 0, 1):
            if 0 <= start + shift <= 45:
                moved = other[start + shift : start + shift + 15]
                moved = (moved - moved.mean(axis=0)).ravel()
                at_lags.append((abs(shift), np.corrcoef(flat[0], moved)[0, 1]))
        expected = dict(at_lags)[0]
        if np.isfinite(windows.offset[start]) and windows.offset[start] != 0.0:
            expected = max(value for _, value in at_lags)
        assert windows.likeness[start] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("degrees", [1.0, 3.0, 5.5])
def test_common_turn_is_taken_out_as_scipy_would(degrees):
    # Rotation.align_vectors gives the best turn; for unit-power signals r = 1 - rssd^2 / 2.
    one = wander(24, 3)
    noise = 0.02 * np.random.default_rng(4).normal(size=one.shape)
    turn = Rotation.from_rotvec(np.radians(degrees) * np.array([0.36, 0.48, 0.8]))
    other = turn.apply((one + noise).reshape(-1, 3)).reshape(one.shape)
    a, b = ((x - x.mean(axis=0)).reshape(-1, 3) for x in (one, other))
    a, b = a / np.linalg.norm(a), b / np.linalg.norm(b)
    _, distance = Rotation.align_vectors(a, b)
    windows = rolling_likeness(one, other, 24, most_turn=6.0)
    assert windows.likeness[0] == pytest.approx(1.0 - distance**2 / 2.0, abs=2e-5)
    assert rolling_likeness(one, other, 24).likeness[0] < windows.likeness[0]


def test_no_more_than_the_granted_turn_is_taken_out():
    one = wander(24, 3)
    turn = Rotation.from_rotvec([0.0, 0.0, np.radians(40.0)])
    other = turn.apply(one.reshape(-1, 3)).reshape(one.shape)
    assert rolling_likeness(one, other, 24, most_turn=6.0).likeness[0] < 0.95


def test_mirrored_copy_is_a_copy_for_procrustes_and_for_us():
    # procrustes ignores shift, scale, rotation and mirror: disparity under 1e-25 for a copy.
    one = wander(30, 5, bones=1)
    other = 2.5 * one * likeness.MIRROR + np.array([3.0, -1.0, 0.5])
    assert procrustes(one[:, 0], other[:, 0])[2] < 1e-20
    twins = likeness.compare(one[:, 0], other[:, 0] * likeness.MIRROR, 3)
    assert twins.likeness == pytest.approx(1.0, abs=1e-12)
    assert twins.size_ratio == pytest.approx(2.5) and abs(twins.offset) < 0.1


@pytest.mark.parametrize("offset", [-2.5, -1.0, 0.0, 0.6, 3.4])
def test_offset_of_a_fraction_of_a_frame_is_found(offset):
    # A sine of 1 Hz over 96 samples at 24 fps; sub-frame tolerance 0.02.
    frames = np.arange(96)
    one = np.sin(2.0 * np.pi * frames / 24.0)[:, None]
    other = np.sin(2.0 * np.pi * (frames - offset) / 24.0)[:, None]
    assert likeness.compare(one, other, 6).offset == pytest.approx(offset, abs=0.02)
    windows = rolling_likeness(one[:, None] * np.ones(3), other[:, None] * np.ones(3), 24)
    middle = windows.offset[30:40]
    if abs(offset) < 0.99:
        assert middle == pytest.approx(np.full(10, offset), abs=0.02)
    else:
        assert np.isnan(middle[np.abs(middle) < 0.95]).all()


def test_body_axes_turn_the_world_away():
    turn = Rotation.from_rotvec(np.linspace(0.0, 3.0, 20)[:, None] * [[0.0, 0.0, 1.0]])
    vectors = wander(20, 6, bones=1)[:, 0]
    axes = np.stack([turn.apply(row) for row in np.eye(3)], axis=1)
    seen = likeness.in_body_axes(axes, turn.apply(vectors))
    assert seen == pytest.approx(vectors, abs=1e-12)


numbers = st.floats(-1.0, 1.0, allow_nan=False)


@given(
    pair=st.integers(0, 40).flatmap(
        lambda n: st.tuples(
            hnp.arrays(float, (n, 2, 3), elements=numbers),
            hnp.arrays(float, (n, 2, 3), elements=numbers),
        )
    ),
    window=st.integers(1, 20),
    step=st.integers(1, 5),
    scale=st.sampled_from([0.001, 1.0, 1000.0]),
)
def test_any_two_movements_are_compared_without_a_warning(pair, window, step, scale):
    one, other = pair
    windows = rolling_likeness(one * scale, other * scale, window, step=step, most_turn=6.0)
    count = max(0, len(one) - window + 1) if window >= 3 else 0
    for array in (windows.likeness, windows.offset, windows.spread, windows.other_spread):
        assert array.shape == (count,)
    assert np.isfinite(windows.likeness).all() and (np.abs(windows.likeness) <= 1.0).all()
    told = windows.offset[np.isfinite(windows.offset)]
    assert (np.abs(told) <= step).all()
    same = rolling_likeness(one * scale, one * scale, window, step=step)
    assert (same.likeness[same.spread > 1e-3 * scale] > 1.0 - 1e-6).all()
    flat = [x.reshape(len(x), 6) * scale for x in pair]
    twins = likeness.compare(*flat, 5)
    assert np.isfinite([twins.likeness, twins.offset, twins.size_ratio]).all()
