# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Largest and smallest values over windows against SciPy's filters."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import ndimage

from fettle.core_math.measures import series


@given(
    values=hnp.arrays(
        float, st.tuples(st.integers(1, 60), st.integers(1, 3)), elements=st.floats(-9.0, 9.0)
    ),
    share=st.floats(0.0, 1.0),
)
def test_rolling_extremes_are_those_of_scipy(values, share):
    window = 1 + int(share * (len(values) - 1))
    inside = slice(window // 2, window // 2 + len(values) - window + 1)
    largest = ndimage.maximum_filter1d(values, window, axis=0)[inside]
    smallest = ndimage.minimum_filter1d(values, window, axis=0)[inside]
    assert np.array_equal(series.rolling_maximum(values, window), largest)
    assert np.array_equal(series.rolling_minimum(values, window), smallest)
