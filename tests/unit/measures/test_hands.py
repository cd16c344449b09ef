# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What hands do, on motion made by hand and random input."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.spatial.transform import Rotation

from fettle.core_math.measures import hands, rotations


def test_hands_that_carry_a_thing_keep_their_distance():
    time = np.linspace(0.0, 1.0, 25)
    middle = np.stack((time, 0.2 * np.sin(3 * time), np.zeros(25)), axis=-1)
    turn = Rotation.from_rotvec(time[:, None] * [[0.0, 0.0, 1.2]])
    half = turn.apply([0.15, 0.0, 0.0])
    pair = hands.compare_hands(middle + half, middle - half)
    assert pair.change == pytest.approx(0.0, abs=1e-12)
    assert pair.widest == pytest.approx(0.3, abs=1e-12)
    assert pair.travel >= 1.0


def test_hands_that_part_change_their_distance():
    time = np.linspace(0.0, 1.0, 25)[:, None]
    pair = hands.compare_hands(time * [[0.5, 0.0, 0.0]], time * [[-0.5, 0.0, 0.0]])
    assert (pair.change, pair.widest, pair.travel) == (1.0, 1.0, 0.0)


@pytest.mark.parametrize("fps", [60.0, 120.0, 240.0])
@pytest.mark.parametrize("brake", [0.05, 0.2])
def test_braking_time_of_a_steady_brake(fps, brake):
    # Speed falls evenly from 1 to 0 in `brake` seconds: from 70 % to 15 % in 0.55 of that.
    time = np.arange(int(fps)) / fps
    speed = np.clip(time / 0.3, 0.0, 1.0) * np.clip((0.5 + brake - time) / brake, 0.0, 1.0)
    place = np.cumsum(speed)[:, None] * [[0.0, 1.0, 0.0]]
    assert hands.stopping_seconds(place, fps) == pytest.approx(0.55 * brake, abs=2.0 / fps)


def test_hand_that_never_brakes_has_no_braking_time():
    place = np.arange(20.0)[:, None] * [[1.0, 0.0, 0.0]]
    assert hands.stopping_seconds(place, 24.0) == float("inf")
    assert hands.stopping_seconds(place[:2], 24.0) == float("inf")
    assert hands.stopping_seconds(np.zeros((9, 3)), 24.0) == float("inf")


def test_hand_points_at_the_first_end_that_is_far_enough():
    wrist = np.zeros((4, 3))
    near, far = wrist + [0.001, 0.0, 0.0], wrist + [0.0, 0.0, -0.08]
    found = hands.pointing_directions(wrist, [near, far], 0.01)
    assert found == pytest.approx(np.tile([0.0, 0.0, -1.0], (4, 1)))
    assert hands.pointing_directions(wrist, [near], 0.01) is None


def test_pose_vectors_differ_by_the_joint_s_angle():
    angles = np.linspace(-30.0, 30.0, 21)
    q = Rotation.from_rotvec(np.radians(angles)[:, None] * [[0.0, 0.6, 0.8]])
    vectors = hands.pose_vectors(q.as_quat(scalar_first=True)[:, np.newaxis])
    span = np.linalg.norm(vectors[-1, 0] - vectors[0, 0])
    assert span == pytest.approx(60.0, abs=1e-6)


def test_rolling_spread_is_the_widest_joint_s():
    vectors = np.zeros((10, 2, 3))
    vectors[:, 1, 0] = np.arange(10.0)
    assert hands.rolling_spread(vectors, 4) == pytest.approx(np.full(7, 3.0))
    assert hands.grow_still_run(vectors, 2, 3.5) == 5
    assert hands.grow_still_run(vectors[:, :1], 2, 3.5) == 9


numbers = st.floats(-1.0, 1.0, allow_nan=False)


@given(
    pair=st.integers(0, 40).flatmap(
        lambda n: st.tuples(
            hnp.arrays(float, (n, 3), elements=numbers),
            hnp.arrays(float, (n, 3), elements=numbers),
        )
    ),
    scale=st.sampled_from([0.001, 1.0, 1000.0]),
    fps=st.floats(12.0, 120.0),
)
def test_any_two_hands_are_measured_without_a_warning(pair, scale, fps):
    left, right = (path * scale for path in pair)
    found = hands.compare_hands(left, right)
    assert 0.0 <= found.change <= found.widest + 1e-12
    assert found.travel >= 0.0
    assert hands.stopping_seconds(left, fps) > 0.0


@given(
    q=hnp.arrays(
        float, st.tuples(st.integers(1, 80), st.integers(1, 4), st.just(4)), elements=numbers
    ),
    window=st.integers(1, 90),
    spread=st.floats(0.0, 90.0),
)
def test_any_finger_poses_are_measured_without_a_warning(q, window, spread):
    vectors = hands.pose_vectors(rotations.make_continuous(rotations.normalize(q)))
    assert np.isfinite(vectors).all()
    found = hands.rolling_spread(vectors, window)
    assert len(found) == max(0, len(q) - window + 1) and (found >= 0.0).all()
    last = hands.grow_still_run(vectors, 0, spread)
    assert 0 <= last < len(q)
    box = np.ptp(vectors[: last + 1], axis=0)
    assert np.linalg.norm(box, axis=-1).max() <= spread + 1e-9
    if last + 1 < len(q):
        wider = np.ptp(vectors[: last + 2], axis=0)
        assert np.linalg.norm(wider, axis=-1).max() > spread
