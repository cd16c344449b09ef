# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Gain and lag of a follower against SciPy's frequency response and delays of known length."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import signal

from fettle.core_math.measures import response

FPS = 24.0


def follow_first_order(tau: float, hz: float) -> tuple[float, float]:
    """Gain and lag in frames of a first-order follower (scipy.signal.bode)."""
    _, decibels, degrees = signal.bode(([1.0], [tau, 1.0]), w=[2.0 * np.pi * hz])
    return 10.0 ** (decibels[0] / 20.0), -degrees[0] / 360.0 / hz * FPS


def test_published_first_order_follower_gives_seven_tenths_three_frames_late():
    # w tau = 1 at 1 Hz: 1 / sqrt(2) and 45 degrees, an eighth of a second.
    gain, lag = follow_first_order(1.0 / (2.0 * np.pi), 1.0)
    assert gain == pytest.approx(0.7071068, abs=1e-6) and lag == pytest.approx(3.0, abs=1e-6)


@pytest.mark.parametrize(("tau", "hz"), [(0.159154943, 1.0), (0.05, 1.0), (0.1, 2.0), (0.3, 0.5)])
def test_follower_simulated_by_scipy_has_the_gain_and_lag_of_its_frequency_response(tau, hz):
    # lsim at 240 Hz, sampled at 24 after the start has died away.
    fine = np.arange(int(12 * 240)) / 240.0
    driver = np.sin(2.0 * np.pi * hz * fine)
    _, reply, _ = signal.lsim(([1.0], [tau, 1.0]), driver, fine)
    start = int(8 * 240)
    answer = response.find_answer(driver[start::10], reply[start::10], 10)
    gain, lag = follow_first_order(tau, hz)
    assert answer.gain == pytest.approx(gain, rel=0.02)
    assert answer.lag == pytest.approx(lag, abs=0.05)
    assert answer.likeness > 0.98 and not answer.against


@pytest.mark.parametrize("lag", [-3.4, -1.0, 0.0, 1.0, 2.5, 3.0, 3.4])
def test_delay_of_a_fraction_of_a_frame_is_found(lag):
    # A sine of 1 Hz over 96 samples at 24 fps; sub-frame tolerance 0.02.
    frames = np.arange(96)
    driver = np.sin(2.0 * np.pi * frames / FPS)
    reply = 0.7071 * np.sin(2.0 * np.pi * (frames - lag) / FPS)
    answer = response.find_answer(driver, reply, 6)
    assert answer.lag == pytest.approx(lag, abs=0.02)
    assert answer.gain == pytest.approx(0.7071, rel=0.02)


def test_reply_that_turns_the_other_way_is_told():
    frames = np.arange(96)
    pulse = np.exp(-0.5 * ((frames - 40) / 5.0) ** 2)
    later = np.exp(-0.5 * ((frames - 43) / 5.0) ** 2)
    answer = response.find_answer(pulse, -0.3 * later, 8)
    assert answer.against and answer.lag == pytest.approx(3.0, abs=0.02)
    assert answer.gain == pytest.approx(0.3, rel=0.02)


def test_principal_signal_finds_the_axis_of_movement():
    rng = np.random.default_rng(1)
    along = rng.normal(size=200)
    axis = np.array([0.48, -0.6, 0.64])
    vectors = along[:, None] * axis + 0.01 * rng.normal(size=(200, 3))
    found = response.principal_signal(vectors)
    assert abs(np.corrcoef(found, along)[0, 1]) > 0.999
    assert found.sum() >= 0.0


def test_still_driver_and_still_reply():
    still, moving = np.zeros(30), np.sin(np.arange(30) / 3.0)
    assert response.find_answer(still, moving, 4) == response.Answer(0.0, 0.0, 0.0, False)
    answer = response.find_answer(moving, still, 4)
    assert (answer.gain, answer.lag) == (0.0, 0.0)


values = st.floats(-1.0, 1.0, allow_nan=False)


@given(
    pair=st.integers(0, 60).flatmap(
        lambda n: st.tuples(
            hnp.arrays(float, n, elements=values), hnp.arrays(float, n, elements=values)
        )
    ),
    longest=st.integers(1, 30),
    scale=st.sampled_from([0.001, 1.0, 1000.0]),
)
def test_any_two_signals_are_measured_without_a_warning(pair, longest, scale):
    driver, reply = pair
    answer = response.find_answer(driver * scale, reply * scale, longest)
    assert np.isfinite([answer.gain, answer.lag, answer.likeness]).all()
    assert abs(answer.lag) <= longest + 0.5 and -1.0 <= answer.likeness <= 1.0 + 1e-9
    assert answer.gain >= 0.0


@given(vectors=hnp.arrays(float, st.tuples(st.integers(0, 40), st.integers(1, 4)), elements=values))
def test_any_movement_has_a_principal_signal(vectors):
    found = response.principal_signal(vectors)
    assert found.shape == (len(vectors),) and np.isfinite(found).all()
    assert np.sum(found**2) <= np.sum(vectors**2) + 1e-9
