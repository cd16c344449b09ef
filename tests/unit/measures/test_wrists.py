# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Gain and lead of a hand on its forearm's swings, made by hand and so known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation, Slerp

from fettle.core_math.measures import rotations, wrists
from fettle.core_math.measures.pieces import run_steps

SECONDS = 4.0


def turn(axis, degrees):
    return rotations.from_axis_angle(np.broadcast_to(axis, (len(degrees), 3)), degrees)


def arm(fps, forearm_at, bend_at, late=0.0):
    """A forearm of 0.27 m that turns about x, and the wrist about an axis near that; the hand's
    world pose is that of the forearm `late` seconds ago, bent."""
    time = np.arange(round(SECONDS * fps)) / fps
    forearm = turn((1.0, 0.0, 0.0), forearm_at(time))
    hand = rotations.multiply(
        turn((1.0, 0.0, 0.0), forearm_at(time - late)), turn((0.96, 0.28, 0.0), bend_at(time))
    )
    elbow = np.zeros((len(time), 3))
    wrist = rotations.rotate(forearm, np.broadcast_to([0.0, 0.27, 0.0], elbow.shape))
    return elbow, wrist, rotations.make_continuous(forearm), rotations.make_continuous(hand), fps


def swing_once(time, start=1.5, length=0.6, degrees=80.0):
    u = np.clip((time - start) / length, 0.0, 1.0)
    return degrees * u**3 * (10.0 - 15.0 * u + 6.0 * u * u)


def still(time):
    return np.zeros(len(time))


def measure(parts):
    limits = {"least_degrees": 25.0, "least_rate": 90.0, "stiff_gain": 0.02}
    return run_steps(wrists.measure_swings(*parts, **limits))


@pytest.mark.parametrize("fps", [12.0, 24.0, 25.0, 30.0, 60.0, 120.0])
@pytest.mark.parametrize("lead", [2.0, 3.0, 4.0, 6.0])
def test_lead_in_the_world_is_found_at_every_rate(fps, lead):
    (found,) = measure(arm(fps, swing_once, still, late=-lead / 24.0))
    assert found.lead * 24.0 == pytest.approx(lead, abs=0.35)


@pytest.mark.parametrize("fps", [24.0, 30.0, 60.0])
@pytest.mark.parametrize("late", [1.0, 2.0, 4.0])
def test_hand_that_drags_never_leads(fps, late):
    (found,) = measure(arm(fps, swing_once, still, late=late / 24.0))
    assert not found.lead > 0.0


@pytest.mark.parametrize("fps", [24.0, 30.0, 60.0])
@pytest.mark.parametrize(("lead", "leads"), [(-2.0, False), (0.0, False), (3.0, True)])
def test_wrist_that_turns_with_its_forearm_but_earlier_leads(fps, lead, leads):
    early = lead / 24.0
    parts = arm(fps, swing_once, lambda time: 0.5 * swing_once(time + early))
    (found,) = measure(parts)
    if leads:
        assert found.lead * 24.0 == pytest.approx(lead, abs=0.5)
    else:
        assert not found.lead > 0.5 / 24.0


def test_turn_of_its_own_is_no_lead():
    # The hand turns over for a quarter second before the arm swings, and back afterwards.
    def flip(time):
        return swing_once(time, 1.2, 0.25, 40.0) - swing_once(time, 2.3, 0.25, 40.0)

    (found,) = measure(arm(24.0, swing_once, flip))
    assert not found.lead > 0.0


@pytest.mark.parametrize("gain", [0.0, 0.02, 0.3])
def test_gain_is_the_wrists_turn_over_the_forearms(gain):
    (found,) = measure(arm(60.0, swing_once, lambda time: gain * swing_once(time)))
    assert found.gain == pytest.approx(gain, abs=0.004)
    assert found.degrees == pytest.approx(80.0, rel=0.03)


def test_still_wrist_is_bounded_by_its_own_turns_while_the_forearm_moves():
    # The forearm swings all the time, the wrist rests between 1.25 and 2.75 s.
    def swing(time):
        return 40.0 * np.sin(2.0 * np.pi * 0.8 * time)

    def bend(time):
        return swing_once(time, 0.95, 0.3, 25.0) + swing_once(time, 2.75, 0.3, 25.0)

    found = [one for one in measure(arm(24.0, swing, bend)) if 32 < one.peak < 64]
    assert found and max(one.gain for one in found) < 0.01
    assert min(one.still_first for one in found) == pytest.approx(1.25 * 24, abs=2)
    assert max(one.still_last for one in found) == pytest.approx(2.75 * 24, abs=2)


def test_forearm_at_rest_bounds_the_still_wrist():
    (found,) = measure(arm(24.0, swing_once, still))
    assert found.still_first == pytest.approx(1.5 * 24, abs=3)
    assert found.still_last == pytest.approx(2.1 * 24, abs=3)


def test_lead_by_a_fraction_of_a_frame_agrees_with_scipys_slerp():
    time = np.arange(96) / 24.0
    keys = Rotation.from_rotvec(
        np.radians(np.stack((60.0 * np.sin(2.2 * time), 20.0 * np.cos(3.1 * time), 5.0 * time), 1))
    )
    ahead = Slerp(time, keys)(np.clip(time + 2.5 / 24.0, 0.0, time[-1]))
    forearm, hand = (
        rotations.make_continuous(np.roll(q.as_quat(), 1, axis=1)) for q in (keys, ahead)
    )
    assert wrists.find_leads(forearm, hand, [(30, 60)], 24.0) == pytest.approx(2.5, abs=0.15)


@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(1, 80),
    fps=st.sampled_from([1.0, 12.0, 24.0, 120.0]),
    scale=st.sampled_from([0.001, 1.0, 1000.0]),
    steady=st.booleans(),
)
def test_any_motion_is_measured_without_a_warning(seed, count, fps, scale, steady):
    random = np.random.default_rng(seed)
    size = 0.0 if steady else 1.0
    elbow, wrist = (scale * np.cumsum(size * random.normal(size=(count, 3)), 0) for _ in range(2))
    forearm, hand = (
        rotations.make_continuous(
            rotations.normalize(np.cumsum(size * random.normal(size=(count, 4)), 0))
        )
        for _ in range(2)
    )
    for one in measure((elbow, wrist, forearm, hand, fps)):
        assert 0 <= one.still_first <= one.first < one.last <= one.still_last < count
        assert one.gain >= 0.0 and one.degrees >= 25.0
        assert np.isnan(one.lead) or abs(one.lead) <= wrists.LONGEST_LEAD + 2.0 / fps
