# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Optics against a printed table and the formulas' own fixed points."""

import numpy as np
import pytest

from fettle.core_math.measures.optics import (
    blur_disc_mm,
    depth_of_field_m,
    field_of_view,
    hyperfocal_m,
    lens_for_blur,
    stop_for_blur,
)

FOOT = 0.3048


def test_printed_example_of_depth_of_field():
    # 50 mm at f/4 focused at 10 ft, circle 0.03 mm: a trade magazine prints near 8 ft 9 in and
    # far 11 ft 8 in, total 2 ft 11 in.
    near, far = depth_of_field_m(50.0, 4.0, 0.03, 10.0 * FOOT)
    half_an_inch = 0.5 / 12.0
    assert near / FOOT == pytest.approx(8 + 9 / 12, abs=half_an_inch)
    assert far / FOOT == pytest.approx(11 + 8 / 12, abs=half_an_inch)
    assert (far - near) / FOOT == pytest.approx(2 + 11 / 12, abs=half_an_inch)


@pytest.mark.parametrize(
    ("focal", "f_stop", "metres"), [(50, 2.8, 35.764), (35, 4, 12.285), (25, 5.6, 4.489)]
)
def test_hyperfocal_for_the_cine_circle_of_confusion(focal, f_stop, metres):
    # Circle 0.025 mm (0.001 in), the figure of a cinematography table for 35 mm film.
    assert hyperfocal_m(focal, f_stop, 0.025) == pytest.approx(metres, abs=1e-3)


def test_blur_of_a_point_behind_the_focus():
    # 50 mm f/2.8 focused at 3 m: arithmetic of the formula b = (f m / N) |D - s| / D.
    assert blur_disc_mm(50, 2.8, 3.0, 6.0) == pytest.approx(0.1513317, abs=1e-6)
    assert blur_disc_mm(50, 2.8, 3.0, np.inf) == pytest.approx(0.3026634, abs=1e-6)


def test_focused_at_hyperfocal_infinity_and_half_of_it_are_blurred_by_the_circle():
    distance = hyperfocal_m(50.0, 2.8, 0.025)
    for other in (np.inf, distance / 2.0):
        assert blur_disc_mm(50.0, 2.8, distance, other) == pytest.approx(0.025, abs=1e-6)


def test_nothing_is_blurred_in_the_plane_of_focus_and_far_is_infinite_past_hyperfocal():
    assert blur_disc_mm(50.0, 2.8, 3.0, 3.0) == 0.0
    assert depth_of_field_m(25.0, 5.6, 0.025, 10.0)[1] == np.inf


def test_aperture_and_lens_for_a_blur_are_the_ones_that_make_it():
    # The disc of 50 mm f/2.8 focused at 3 m for a point at 6 m, and at infinity.
    for distance, disc in ((6.0, 0.1513317), (np.inf, 0.3026634)):
        assert stop_for_blur(50.0, 3.0, distance, disc) == pytest.approx(2.8, abs=1e-5)
        assert lens_for_blur(2.8, 3.0, distance, disc) == pytest.approx(50.0, abs=1e-4)
    assert lens_for_blur(2.8, 3.0, 3.0, 0.1) == np.inf
    # Focused at the hyperfocal distance of f/2.8 the circle of confusion is what infinity gets.
    assert stop_for_blur(50.0, 35.764, np.inf, 0.025) == pytest.approx(2.8, abs=1e-3)


def test_field_of_view_and_the_speed_of_a_pan_that_the_guide_allows():
    # 36 mm and 50 mm: 39.597753 degrees, as the host's own camera says; a full width in 7 s (a
    # camera maker's guide) is 5.657 degrees a second.
    assert field_of_view(50.0, 36.0) == pytest.approx(39.597753, abs=1e-6)
    assert field_of_view(50.0, 36.0) / 7.0 == pytest.approx(5.657, abs=1e-3)
