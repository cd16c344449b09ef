# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Centre of mass and support against published tables and SciPy's hull."""

import figure
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from fettle.core_math.measures import balance


def test_masses_of_the_table_make_one_body():
    # de Leva 1996: head + trunk + 2 x limbs = 99.99 (F), 100.00 (M).
    limbs = ("upper_arm", "forearm", "hand", "thigh", "shin", "foot")
    mass = {name: entry[0] for name, entry in balance.SEGMENTS.items()}
    total = mass["head"] + mass["trunk"] + 2 * sum(mass[name] for name in limbs)
    assert total == pytest.approx(100.0, abs=0.011)


def test_printed_worked_example_of_a_leg():
    # Dempster's table in the open notebooks of BMClab/BMC: fractions from the proximal end, masses
    # .0145 .0465 .100; printed centres to 0.0006 m.
    hip, knee, ankle, toe = (
        np.array(p) for p in ((0.721, 0.928), (0.864, 0.549), (0.849, 0.110), (1.011, 0.013))
    )
    centers = np.array(
        [
            ankle + 0.500 * (toe - ankle),
            knee + 0.433 * (ankle - knee),
            hip + 0.433 * (knee - hip),
        ]
    )
    printed = [(0.930, 0.062), (0.858, 0.359), (0.783, 0.764)]
    assert centers == pytest.approx(np.array(printed), abs=0.0006)
    whole = balance.combine_centers(np.array([0.0145, 0.0465, 0.100]), centers)
    assert whole == pytest.approx((0.818, 0.584), abs=0.0006)


def test_standing_body_has_its_centre_where_it_is_known_to_be():
    # About 55 to 57 % of stature in standing adults (from memory).
    motion = figure.make_motion({}, 2)
    heads = {p: motion.heads[:, i] for i, p in enumerate(motion.parts)}
    tails = {p: motion.tails[:, i] for i, p in enumerate(motion.parts)}
    center = balance.center_of_mass(heads, tails)[0]
    assert center[2] / figure.STATURE == pytest.approx(0.56, abs=0.025)
    assert center[0] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("point", "margin"), [((0.15, 0.10), 0.10), ((0.35, 0.10), -0.05)])
def test_margin_of_the_published_rectangle(point, margin):
    # Corners (0,0)(.3,0)(.3,.2)(0,.2) with an inner point; hull by scipy.spatial.ConvexHull.
    corners = np.array([[[0, 0], [0.3, 0], [0.3, 0.2], [0, 0.2], [0.1, 0.1]]], dtype=float)
    used = np.ones((1, 5), dtype=bool)
    ours = balance.support_margin(np.array([point]), corners, used)
    assert ours == pytest.approx(margin, abs=1e-6)


def distance_to_edges(point, corners, edges):
    """Distance from a point to the nearest edge of a hull, by the textbook formula."""
    one, other = corners[edges[:, 0]], corners[edges[:, 1]]
    along = other - one
    share = np.clip(np.sum((point - one) * along, -1) / np.sum(along * along, -1), 0.0, 1.0)
    return np.linalg.norm(one + share[:, None] * along - point, axis=-1).min()


@given(seed=st.integers(0, 200), inside=st.booleans())
def test_margin_agrees_with_scipy_hull(seed, inside):
    random = np.random.default_rng(seed)
    corners = random.normal(size=(9, 2))
    hull = ConvexHull(corners)
    point = corners.mean(axis=0) if inside else random.normal(size=2) + [6.0, 0.0]
    exact = distance_to_edges(point, corners, hull.simplices) * (1.0 if inside else -1.0)
    ours = balance.support_margin(point[None], corners[None], np.ones((1, 9), dtype=bool))[0]
    # Outside, where it is judged, it is exact; deep inside a second edge may be as near.
    size = np.abs(corners - point).max()
    assert ours == pytest.approx(exact, abs=(0.05 if inside else 5e-5) * size)


def test_extrapolated_centre_follows_the_pendulum():
    # w0 = sqrt(g / l): with l = 1.2 x 0.53 x 1.75 m and g = 9.81 m/s^2.
    rate = np.sqrt(9.81 / (1.2 * 0.53 * 1.75))
    assert rate == pytest.approx(balance.PENDULUM_RATE, abs=2e-3)
    moved = balance.extrapolate_center(np.zeros(3), np.array([0.4, 0.0, 0.0]))
    assert moved[0] == pytest.approx(0.4 / rate, abs=1e-3)


def test_no_ground_no_margin():
    margin = balance.support_margin(np.zeros((2, 2)), np.zeros((2, 3, 2)), np.zeros((2, 3), bool))
    assert np.isnan(margin).all()
