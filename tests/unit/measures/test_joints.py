# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Interior angles against the law of cosines and random joints."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.spatial.transform import Rotation

from fettle.core_math.measures import joints

UPPER, LOWER = 0.30, 0.27


@pytest.mark.parametrize(
    # Law of cosines for links of 0.30 and 0.27 m: flexion, reach over full reach (tolerance 1e-4).
    ("flexion", "reach"),
    [(5.0, 0.999051), (10.0, 0.996205), (20.0, 0.984850), (40.0, 0.939865), (90.0, 0.708085)],
)
def test_flexion_from_joint_positions_agrees_with_the_law_of_cosines(flexion, reach):
    turn = Rotation.from_rotvec(np.radians(flexion) * np.array([0.0, 0.6, 0.8]))
    elbow = np.array([[UPPER, 0.0, 0.0]])
    wrist = elbow + turn.apply([LOWER, 0.0, 0.0])
    assert np.linalg.norm(wrist) / (UPPER + LOWER) == pytest.approx(reach, abs=1e-4)
    (angle,) = joints.interior_angle(np.zeros((1, 3)), elbow, wrist)
    assert 180.0 - angle == pytest.approx(flexion, abs=1e-9)


@pytest.mark.parametrize(("share", "flexion"), [(0.99, 16.219), (0.999, 5.125)])
def test_equal_links_flex_by_twice_the_arc_cosine_of_their_reach(share, flexion):
    # 2 acos(reach): 99 % of the reach leaves 16.219 degrees, 99.9 % 5.125.
    height = np.sqrt(1.0 - share**2)
    elbow = np.array([[share, height, 0.0]])
    (angle,) = joints.interior_angle(np.zeros((1, 3)), elbow, np.array([[2 * share, 0.0, 0.0]]))
    assert 180.0 - angle == pytest.approx(flexion, abs=1e-3)


def test_hinge_passes_through_straight_without_a_kink():
    # A joint that turns on by a degree a step through straight: 160, 161 ... 200.
    flexion = np.arange(20.0, -21.0, -1.0)
    spin = Rotation.from_rotvec(np.linspace(0.0, 2.0, len(flexion))[:, None] * [[0.3, 0.5, 0.8]])
    turn = Rotation.from_rotvec(np.radians(flexion)[:, None] * [[0.0, 0.0, 1.0]])
    elbow = spin.apply([UPPER, 0.0, 0.0])
    wrist = elbow + (spin * turn).apply([LOWER, 0.0, 0.0])
    more = np.concatenate((np.full(30, 60.0), flexion))
    spins = Rotation.concatenate([Rotation.identity(30), spin])
    bent = Rotation.from_rotvec([0.0, 0.0, np.radians(60.0)])
    elbow = np.concatenate((np.tile([UPPER, 0.0, 0.0], (30, 1)), elbow))
    start = np.array([UPPER, 0.0, 0.0]) + bent.apply([LOWER, 0.0, 0.0])
    wrist = np.concatenate((np.tile(start, (30, 1)), wrist))
    angles = joints.hinge_angle(
        np.zeros((len(more), 3)), elbow, wrist, spins.as_quat(scalar_first=True)
    )
    assert angles == pytest.approx(180.0 - more, abs=1e-6)


def test_no_vector_has_no_angle():
    assert joints.angle_between_vectors(np.zeros(3), np.array([0.0, 1.0, 0.0])) == 0.0


points = hnp.arrays(float, (5, 3), elements=st.floats(-1.0, 1.0, allow_nan=False))


@given(a=points, b=points, c=points, scale=st.sampled_from([0.001, 1.0, 1000.0]))
def test_any_three_joints_have_an_angle_that_scale_and_order_do_not_change(a, b, c, scale):
    angle = joints.interior_angle(a, b, c)
    assert np.isfinite(angle).all() and (angle >= 0.0).all() and (angle <= 180.0).all()
    assert joints.interior_angle(c, b, a) == pytest.approx(angle, abs=1e-6)
    apart = np.minimum(np.linalg.norm(a - b, axis=-1), np.linalg.norm(c - b, axis=-1)) > 1e-3
    scaled = joints.interior_angle(a * scale, b * scale, c * scale)
    assert scaled[apart] == pytest.approx(angle[apart], abs=1e-6)
