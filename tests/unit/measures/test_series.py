# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Signals against published values, against SciPy, and against odd input."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import signal, stats

from fettle.core_math.measures import series

ANY_LENGTH = hnp.arrays(
    np.float64, st.integers(1, 60), elements=st.floats(-1e3, 1e3, allow_nan=False)
)


def test_scale_of_the_median_absolute_deviation():
    # 1 / Phi^-1(3/4) = 1.482602218505602.
    assert pytest.approx(1.0 / stats.norm.ppf(0.75), abs=1e-12) == series.MAD_TO_SIGMA
    assert series.MAD_TO_SIGMA == pytest.approx(1.482602218505602, abs=1e-15)


def test_median_absolute_deviation_of_the_textbook_row():
    # 1, 1, 2, 2, 4, 6, 9 has a raw deviation of 1.
    row = [1, 1, 2, 2, 4, 6, 9]
    assert series.median_absolute_deviation(row) == pytest.approx(1.4826022, abs=1e-7)
    ours = series.median_absolute_deviation(np.random.default_rng(1).normal(size=(40, 3)))
    theirs = stats.median_abs_deviation(
        np.random.default_rng(1).normal(size=(40, 3)), scale="normal"
    )
    np.testing.assert_allclose(ours, theirs, rtol=1e-12)


def test_modified_z_score_of_the_published_row():
    # Iglewicz & Hoaglin 1993: 0.6745 (x - median) / MAD; the last value gives 23.6075.
    row = np.array([3.2, 3.3, 3.1, 3.2, 3.4, 3.3, 3.2, 5.0])
    z = (row - np.median(row)) / series.median_absolute_deviation(row)
    assert z[-1] == pytest.approx(23.6075, abs=2e-3)
    assert np.abs(z[:-1]).max() == pytest.approx(2.0235, abs=1e-3)


def test_deviation_of_a_held_channel_is_zero():
    ramp = np.arange(10.0)
    ramp[5] += 3.0
    assert series.median_absolute_deviation(np.diff(ramp, n=2)) == 0.0
    assert series.median_absolute_deviation(np.zeros((0, 2))).tolist() == [0.0, 0.0]


def test_prediction_is_exact_for_constant_acceleration():
    # From 1, 4, 9 to 16.
    assert series.predict_next(np.array([1.0, 4.0, 9.0])) == 16.0
    t = np.arange(6.0)[:, None]
    path = 2.0 + 3.0 * t - 0.7 * t**2
    np.testing.assert_allclose(series.predict_next(path[:5]), path[5], atol=1e-12)


def test_parabola_has_no_third_difference_and_a_spike_has_1_3_3_1():
    assert np.diff([0, 1, 4, 9, 16, 25, 36], n=3).tolist() == [0, 0, 0, 0]
    spike = np.zeros(9)
    spike[4] = 1.0
    assert np.diff(spike, n=2)[2:5].tolist() == [1.0, -2.0, 1.0]
    assert np.diff(spike, n=3)[1:5].tolist() == [1.0, -3.0, 3.0, -1.0]


def test_runs_and_gaps():
    mask = np.array([0, 1, 1, 0, 1, 0, 0, 0, 1, 0], dtype=bool)
    assert series.find_runs(mask) == [(1, 2), (4, 4), (8, 8)]
    assert series.find_runs([]) == []
    closed = series.close_gaps(mask, 1)
    assert series.find_runs(closed) == [(1, 4), (8, 8)]
    assert series.find_runs(series.close_gaps(mask, 3)) == [(1, 8)]


@pytest.mark.parametrize("fps", [24.0, 60.0, 120.0])
@pytest.mark.parametrize("cutoff", [3.0, 6.0])
def test_smoothing_halves_the_power_at_its_cutoff_at_every_rate(fps, cutoff):
    t = np.arange(round(8 * fps)) / fps
    wave = np.sin(2 * np.pi * cutoff * t)
    smooth = series.smooth(wave, fps, cutoff)
    middle = slice(len(t) // 4, 3 * len(t) // 4)
    gain = np.std(smooth[middle]) / np.std(wave[middle])
    # A Gaussian of half a sample's width is coarse: 6 Hz at 24 a second is off by 0.04.
    assert gain == pytest.approx(np.sqrt(0.5), abs=0.05 if fps < 6.0 * cutoff else 0.01)
    slow = np.sin(2 * np.pi * 0.1 * cutoff * t)
    np.testing.assert_allclose(series.smooth(slow, fps, cutoff)[middle], slow[middle], atol=0.01)


def test_smoothing_keeps_straight_lines_and_moves_nothing_in_time():
    line = np.linspace(2.0, 9.0, 50)
    np.testing.assert_allclose(series.smooth(line, 24.0, 4.0), line, atol=1e-9)
    bump = np.zeros(61)
    bump[30] = 1.0
    smooth = series.smooth(bump, 24.0, 4.0)
    np.testing.assert_allclose(smooth, smooth[::-1], atol=1e-12)
    assert int(np.argmax(smooth)) == 30


def test_velocity_of_a_parabola():
    t = np.arange(20) / 24.0
    velocity = series.central_velocity(0.5 * 9.81 * t**2, 24.0)
    np.testing.assert_allclose(velocity[1:-1], 9.81 * t[1:-1], rtol=1e-9)
    # Savitzky & Golay 1964: five points, second order, weights (-2, -1, 0, 1, 2) / 10.
    weights = signal.savgol_coeffs(5, 2, deriv=1, use="dot")
    np.testing.assert_allclose(weights, np.array([-2, -1, 0, 1, 2]) / 10.0, atol=1e-12)
    by_table = signal.savgol_filter(0.5 * 9.81 * t**2, 5, 2, deriv=1, delta=1 / 24.0)
    np.testing.assert_allclose(velocity[2:-2], by_table[2:-2], rtol=1e-9)


@pytest.mark.parametrize(("true", "measured"), [(1.0, 1.009), (2.5, 2.502), (3.4, 3.401)])
def test_lag_to_a_fraction_of_a_frame(true, measured):
    # A sine of 1 Hz, 96 samples at 24 a second, its reply later by a fraction of a frame.
    t = np.arange(96) / 24.0
    lag, likeness = series.find_lag(np.sin(2 * np.pi * t), np.sin(2 * np.pi * (t - true / 24.0)), 8)
    assert lag == pytest.approx(true, abs=0.02)
    assert lag == pytest.approx(measured, abs=0.01)
    assert likeness > 0.99


def test_follower_of_first_order_lags_three_frames_with_gain_one_over_root_two():
    # w tau = 1 at 1 Hz: gain 0.7071068, phase -45 degrees = 0.125 s = 3 frames at 24 a second.
    _, magnitude, phase = signal.bode(([1.0], [1 / (2 * np.pi), 1.0]), [2 * np.pi])
    assert 10 ** (magnitude[0] / 20) == pytest.approx(0.7071068, abs=1e-6)
    assert phase[0] == pytest.approx(-45.0, abs=1e-6)
    t = np.arange(96) / 24.0
    drive = np.sin(2 * np.pi * t)
    reply = np.sqrt(0.5) * np.sin(2 * np.pi * t - np.pi / 4)
    lag, _ = series.find_lag(drive, reply, 8)
    assert lag == pytest.approx(3.0, abs=0.02)
    assert np.std(reply) / np.std(drive) == pytest.approx(0.707107, abs=1e-3)


def test_leading_reply_has_a_negative_lag():
    t = np.arange(96) / 24.0
    lag, _ = series.find_lag(np.sin(2 * np.pi * t), np.sin(2 * np.pi * (t + 2.0 / 24.0)), 8)
    assert lag == pytest.approx(-2.0, abs=0.02)


@pytest.mark.parametrize("count", [50, 2 * series.SHORT_SIGNAL])
def test_correlation_is_pearsons_on_the_overlap(count):
    rng = np.random.default_rng(2)
    one, two = rng.normal(size=count), rng.normal(size=count)
    ours = series.correlation_at_lags(one, two, 3)
    theirs = [
        stats.pearsonr(
            one[: count - lag] if lag >= 0 else one[-lag:], two[lag:] if lag >= 0 else two[:lag]
        )[0]
        for lag in range(-3, 4)
    ]
    np.testing.assert_allclose(ours, theirs, atol=1e-12)


@given(ANY_LENGTH, st.floats(8.0, 240.0), st.floats(0.5, 20.0))
@settings(max_examples=80, deadline=None)
def test_any_signal_is_measured_without_a_warning(values, fps, cutoff):
    for result in (
        series.smooth(values, fps, cutoff),
        series.central_velocity(values, fps),
        series.correlation_at_lags(values, values[::-1], 5),
        series.median_absolute_deviation(values),
    ):
        assert np.all(np.isfinite(result))
    lag, likeness = series.find_lag(values, values, 5)
    assert np.isfinite(lag) and likeness <= 1.0 + 1e-9


@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(12, 60),
    components=st.integers(1, 3),
    rest=st.booleans(),
)
def test_lags_of_many_stretches_are_those_of_each_by_itself(seed, count, components, rest):
    random = np.random.default_rng(seed)
    signal = series.smooth(random.normal(size=(count, components)), 24.0, 4.0)
    reply = np.roll(signal, 2, axis=0) + 0.2 * random.normal(size=signal.shape)
    if rest:
        signal[: count // 2] = 0.0
    starts = random.integers(0, count - 8, size=4)
    stops = np.minimum(starts + random.integers(7, 30, size=4), count)
    longest = random.integers(1, 4, size=4)
    lags, likeness = series.find_lags_in_stretches(signal, reply, starts, stops, longest)
    for row, (start, stop) in enumerate(zip(starts, stops, strict=True)):
        one, other = signal[start:stop], reply[start:stop]
        lag, alike = series.find_lag(one, other, int(longest[row]))
        assert likeness[row] == pytest.approx(alike, abs=1e-6)
        # Where two lags are as likely rounding decides.
        ranked = np.sort(series.correlation_at_lags(one, other, int(longest[row])))
        if ranked[-1] - ranked[-2] > 1e-6:
            assert lags[row] == pytest.approx(lag, abs=1e-4)


@given(hnp.arrays(np.float64, st.integers(1, 40), elements=st.floats(-1e6, 1e6)))
def test_median_is_the_one_numpy_gives(values):
    assert series.find_median(values) == np.median(values)
