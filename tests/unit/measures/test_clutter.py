# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Things around a body in the picture, placed by hand; the weighted median against NumPy's."""

import numpy as np
import pytest

from fettle.core_math.measures.clutter import find_clutter, find_middle

PLACES = np.array([[[0.4, 0.2], [0.6, 0.8]]])
DEPTHS = np.array([[8.0, 8.5]])


def find(box, depths):
    found = find_clutter(
        PLACES,
        DEPTHS,
        np.array([[box]], dtype=float),
        np.array([[depths]], dtype=float),
        around=0.5,
        smallest=0.005,
        largest=0.25,
    )
    return bool(found.behind[0, 0]), bool(found.before[0, 0]), float(found.nearest[0, 0])


@pytest.mark.parametrize(
    ("depths", "expected"),
    [
        ((9.0, 10.0), (True, False, 9.0)),
        ((5.0, 7.0), (False, True, 7.0)),
        ((8.2, 9.0), (False, False, 9.0)),
        ((np.nan, np.nan), (False, False, np.nan)),
    ],
)
def test_behind_before_and_at_the_bodys_own_depth(depths, expected):
    assert find((0.45, 0.4, 0.5, 0.5), depths) == pytest.approx(expected, nan_ok=True)


@pytest.mark.parametrize(
    ("box", "counts"),
    [
        ((0.62, 0.4, 0.68, 0.5), True),  # within half a body's width beside it
        ((0.71, 0.4, 0.8, 0.5), False),  # farther aside
        ((0.5, 0.81, 0.55, 0.9), False),  # over its head
        ((0.5, 0.5, 0.504, 0.504), False),  # a speck
        ((0.1, 0.1, 0.7, 0.7), False),  # a backdrop: 36 % of the picture
        ((0.1, 0.45, 0.9, 0.5), True),  # a rail: long, but only 4 %
    ],
)
def test_what_is_next_to_it_is_neither_speck_nor_backdrop(box, counts):
    assert find(box, (9.0, 10.0))[0] is counts


@pytest.mark.parametrize("seed", range(5))
def test_weighted_median_is_that_of_every_frame(seed):
    random = np.random.default_rng(seed)
    counts, weights = random.integers(0, 50, 15), random.integers(1, 5, 15)
    every = np.sort(np.repeat(counts, weights))
    assert counts[find_middle(counts, weights.astype(float))] == every[len(every) // 2]
