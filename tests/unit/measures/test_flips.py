# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Channels against rotations: the known unwrapping, spellings and detours."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.spatial.transform import Rotation

from fettle.core_math.measures import flips, rotations


def test_steps_of_the_known_row_and_its_unwrapping():
    # 170, 179, -172, -163 unwraps to 170, 179, 188, 197 (numpy.unwrap).
    row = np.array([170.0, 179.0, -172.0, -163.0])
    values = np.stack((np.zeros(4), row, np.zeros(4)), axis=-1)
    assert flips.step_channels(values, "XYZ").tolist() == [9.0, -351.0, 9.0]
    assert np.unwrap(row, period=360.0).tolist() == [170.0, 179.0, 188.0, 197.0]
    turns = np.abs(np.diff(np.unwrap(row, period=360.0)))
    assert flips.find_jumps(values, "XYZ", turns, 90.0).tolist() == [False, True, False]


def test_other_spelling_of_a_pose_jumps_without_turning():
    # XYZ (10, 80, 0) and (190, 100, 180) are one rotation: no step over half a turn but two of it.
    values = np.array([(10.0, 80.0, 0.0), (191.0, 100.0, 181.0)])
    q = Rotation.from_euler("xyz", values, degrees=True).as_quat(scalar_first=True)
    turns = rotations.step_angles(q)
    assert turns[0] < 2.0
    assert flips.find_jumps(values, "XYZ", turns, 90.0).tolist() == [True]
    assert flips.find_jumps(values, "XYZ", np.array([170.0]), 90.0).tolist() == [False]


def test_quaternion_of_the_other_sign_counts_as_a_full_turn():
    q = np.array([[1.0, 0, 0, 0], [-0.99, 0.1, 0, 0], [-1.0, 0, 0, 0]])
    assert flips.step_channels(q, "QUATERNION").tolist() == [360.0, 0.0]


def test_axis_angle_counts_its_angle_alone():
    values = np.array([[10.0, 0, 0, 1], [250.0, 0, 900.0, 1]])
    assert flips.step_channels(values, "AXIS_ANGLE").tolist() == [240.0]


@pytest.mark.parametrize(("travelled", "detour"), [(90.0, 0.0), (180.0, 0.0), (340.0, 320.0)])
def test_detour_is_the_way_less_the_angle_between_the_ends(travelled, detour):
    q = rotations.from_axis_angle((0.0, 0.0, 1.0), np.linspace(0.0, travelled, 35))
    local = rotations.make_continuous(q)
    assert flips.measure_detour(local, 0, 34) == pytest.approx(detour, abs=1e-6)
    assert flips.measure_detour(local, 5, 5) == 0.0


@pytest.mark.parametrize("mode", ["XYZ", "AXIS_ANGLE", "QUATERNION"])
def test_single_frames_have_no_steps(mode):
    assert flips.step_channels(np.zeros((1, 4)), mode).shape == (0,)


@given(
    hnp.arrays(
        np.float64,
        st.tuples(st.integers(1, 30), st.just(4)),
        elements=st.floats(-1e3, 1e3, allow_nan=False, allow_subnormal=False),
    ),
    st.sampled_from(["XYZ", "ZXY", "AXIS_ANGLE", "QUATERNION"]),
)
@settings(max_examples=60, deadline=None)
def test_any_channels_are_read_without_a_warning(values, mode):
    local = rotations.make_continuous(rotations.normalize(values))
    turns = rotations.step_angles(local)
    steps = flips.step_channels(values, mode)
    jumps = flips.find_jumps(values, mode, turns, 90.0)
    assert steps.shape == jumps.shape == turns.shape == (len(values) - 1,)
    assert np.all(np.isfinite(steps))
    assert flips.measure_detour(local, 0, len(values) - 1) >= 0.0


@given(
    st.sampled_from(["XYZ", "ZYX", "AXIS_ANGLE", "QUATERNION"]),
    st.sampled_from([0.3, 1.0, 3.0]),
    st.integers(2, 12),
    st.integers(0, 10_000),
)
@settings(deadline=None)
def test_channels_that_cannot_flip_have_no_two_rows_that_do(mode, size, count, seed):
    random = np.random.default_rng(seed)
    if mode == "QUATERNION":
        values = np.array([1.0, 0.0, 0.0, 0.0]) + size * random.normal(size=(count, 4))
    else:
        values = 60.0 * size * random.normal(size=(count, 3))
    if not flips.can_flip(values, mode):
        for first in range(count):
            for second in range(first + 1, count):
                step = flips.step_channels(values[[first, second]], mode)
                assert abs(step[0]) <= flips.HALF_TURN


def test_channels_that_stay_near_each_other_are_known_not_to_flip():
    near = 20.0 * np.sin(np.linspace(0.0, 9.0, 40))[:, np.newaxis] * [1.0, 0.5, -2.0]
    assert not flips.can_flip(near, "XYZ") and not flips.can_flip(near, "AXIS_ANGLE")
    turns = Rotation.from_rotvec(near, degrees=True).as_quat(scalar_first=True)
    assert not flips.can_flip(turns, "QUATERNION")
    turns[20:] *= -1.0
    assert flips.can_flip(turns, "QUATERNION")


def test_windings_between_keys_add_up_one_way_and_cancel_there_and_back():
    # 300 degrees about one axis, then 80 there and back: known by construction.
    degrees = np.concatenate((np.linspace(0, 300, 31), np.linspace(300, 380, 6)[1:],
                              np.linspace(380, 300, 6)[1:]))  # fmt: skip
    axes = np.broadcast_to([0.0, 0.6, 0.8], (len(degrees), 3))
    local = rotations.make_continuous(rotations.from_axis_angle(axes, degrees))
    wound = flips.measure_windings(local, np.array([0, 30, 35, 40]))
    assert wound == pytest.approx([300.0, 80.0, 80.0], abs=1e-9)
    assert flips.measure_windings(local, np.array([30, 40])) == pytest.approx([0.0], abs=1e-9)
