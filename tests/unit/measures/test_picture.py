# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Who moves what in the picture: shares of subject and camera on shots of known truth."""

import numpy as np
import pytest
import shot_camera
from hypothesis import given
from hypothesis import strategies as st

from fettle.core_math.measures import picture


def divide(subject_x, camera_x):
    motion = shot_camera.make_shot(np.asarray(subject_x), np.asarray(camera_x))
    camera = motion.camera
    center = motion.head("hips")
    return picture.divide_motion(center, camera.positions, camera.rotations, camera.lens)


def test_subject_under_a_camera_that_stands():
    # The lens sees 36 / 50 of the distance: 5.76 m at 8 m.
    seen = divide([0.0, 0.576, 1.152], [0.0, 0.0, 0.0])
    assert seen.by_subject[:, 0] == pytest.approx(0.1)
    assert seen.by_camera == pytest.approx(0.0)
    assert np.diff(seen.places[:, 0]) == pytest.approx(0.1)


def test_camera_over_a_subject_that_stands():
    seen = divide([0.0, 0.0, 0.0], [0.0, 0.576, 1.152])
    assert seen.by_camera[:, 0] == pytest.approx(-0.1)
    assert seen.by_subject == pytest.approx(0.0)


def test_perfect_follow_cancels_out():
    seen = divide([0.0, 0.4, 1.1], [0.0, 0.4, 1.1])
    assert seen.by_camera == pytest.approx(-seen.by_subject)
    assert seen.places - seen.places[0] == pytest.approx(0.0)


@given(seed=st.integers(0, 99), count=st.integers(2, 20))
def test_shares_add_up_to_what_is_seen_on_a_plane_before_the_camera(seed, count):
    random = np.random.default_rng(seed)
    seen = divide(random.normal(size=count), random.normal(size=count))
    assert seen.by_subject + seen.by_camera == pytest.approx(np.diff(seen.places, axis=0))


def test_wander_is_what_goes_beyond_the_line_between_two_settled_places():
    places = np.zeros((30, 2))
    places[:10], places[20:, 0] = 0.0, 0.2
    places[10:20, 0] = np.linspace(0.0, 0.2, 12)[1:-1]
    settled = np.ones(30, dtype=bool)
    settled[10:20] = False
    wander = picture.find_wander(places, settled)
    assert wander.away == pytest.approx(0.0, abs=0.01) and wander.spread == 0.0
    assert wander.expected == pytest.approx(places, abs=0.01)
    places[15, 1] += 0.1
    assert picture.find_wander(places, settled).away[15] == pytest.approx(0.1, abs=0.01)


def test_nothing_settled_has_no_wander():
    wander = picture.find_wander(np.zeros((5, 2)), np.zeros(5, dtype=bool))
    assert np.isnan(wander.away).all() and np.isnan(wander.expected).all()
