# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Snaps at full stretch against the law of cosines, motion by hand and random angles."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from fettle.core_math.measures import snaps

OPTIONS = {"straight": 172.0, "pace": 1.0, "neighbourhood": 10, "floor": 2.0}


@pytest.mark.parametrize(
    # Law of cosines for links of 0.30 and 0.27 m: degrees of flexion per millimetre (tol 1e-4).
    ("flexion", "degrees"),
    [(5.0, 4.6217), (10.0, 2.3131), (20.0, 1.1610), (40.0, 0.5895), (90.0, 0.2855)],
)
def test_degrees_per_millimetre_of_reach(flexion, degrees):
    assert snaps.flexion_per_reach(0.30, 0.27, flexion) / 1000.0 == pytest.approx(degrees, abs=1e-4)


def test_full_stretch_opens_without_bound():
    assert snaps.flexion_per_reach(0.30, 0.27, 0.0) == float("inf")


def test_step_into_and_out_of_straight_is_found_at_its_samples():
    # Steps of 10 degrees into sample 20, five samples straight, 20 degrees out of sample 24.
    angles = np.concatenate((np.full(18, 150.0), [160, 170], np.full(5, 180.0), np.full(15, 160.0)))
    into, out = snaps.find_snaps(angles, **OPTIONS)
    assert (into.corner, into.step, into.stays) == (20, 10.0, 5)
    assert (out.corner, out.step, out.stays) == (24, 20.0, 5)
    # The level around is 0, so the spike is the step over the floor.
    assert (into.spike, out.spike) == (5.0, 10.0)


def test_pace_gives_steps_in_the_unit_of_time():
    angles = np.concatenate((np.full(20, 150.0), np.full(20, 180.0)))
    slow, fast = (snaps.find_snaps(angles, **{**OPTIONS, "pace": pace})[0] for pace in (1.0, 2.0))
    assert fast.step == 2.0 * slow.step == 60.0


def test_joint_that_never_gets_straight_has_no_snap():
    assert snaps.find_snaps(np.linspace(60.0, 171.0, 30), **OPTIONS) == []


@given(
    angles=hnp.arrays(float, st.integers(0, 60), elements=st.floats(0.0, 180.0)),
    pace=st.floats(0.5, 2.0),
    neighbourhood=st.integers(1, 20),
)
def test_any_angles_are_measured_without_a_warning(angles, pace, neighbourhood):
    options = {**OPTIONS, "pace": pace, "neighbourhood": neighbourhood}
    for snap in snaps.find_snaps(angles, **options):
        assert 0 <= snap.first <= snap.corner <= snap.last < len(angles)
        assert angles[snap.corner] > 172.0
        assert np.isfinite(snap.spike) and 0.0 <= snap.step <= 360.0
