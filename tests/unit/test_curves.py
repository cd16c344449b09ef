# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Curves against values computed by the host itself, by `bezier` and by numpy.roots."""

import numpy as np
import pytest
from scipy.interpolate import BPoly, PPoly

from fettle.core_math.curves import BEZIER, CONSTANT, LINEAR, Curve, evaluate_curves


def make(points, left, right, kind=BEZIER, **options):
    points = np.array(points, dtype=float)
    return Curve(
        times=points[:, 0],
        values=points[:, 1],
        left=np.array(left, dtype=float),
        right=np.array(right, dtype=float),
        interpolation=np.full(len(points), kind),
        **options,
    )


def span(right, left, kind=BEZIER):
    return make([(0, 0), (12, 1)], [(-4, 0), left], [right, (16, 1)], kind)


# Values computed with the host (bpy 4.2.23) and checked with `bezier` 2024.6 or numpy.roots.
CASES = {
    "A": (span((4, 0), (8, 1)), {1: 0.0196759, 3: 0.15625, 6: 0.5, 9: 0.84375}),
    "B": (span((6, 0), (6, 1)), {1: 0.0099947, 3: 0.1058926, 9: 0.8941075}),
    "C handles that overlap fully": (
        span((12, 0), (0, 1)),
        {1: 0.0025563, 3: 0.0297246, 9: 0.9702754},
    ),
    "D a handle that is shortened": (
        span((24, 2), (8, 1)),
        {1: 0.0841429, 3: 0.2581241, 6: 0.5401784, 9: 0.875},
    ),
    "E automatic handles, clamped": (
        make(
            [(0, 0), (12, 1), (24, 0)],
            [(-4, 0), (8, 1), (20, 0)],
            [(4, 0), (16, 1), (28, 0)],
        ),
        {3: 0.15625, 18: 0.5},
    ),
    "F the same without smoothing": (
        make(
            [(0, 0), (12, 1), (24, 0)],
            [(-4.684938, 0), (7.315062, 1), (19.315062, 0)],
            [(4.684938, 0), (16.684938, 1), (28.684938, 0)],
        ),
        {3: 0.1382844},
    ),
    "VECTOR": (span((4, 1 / 3), (8, 2 / 3)), {3: 0.25, 12: 1.0}),
    "LINEAR": (span((4, 0), (8, 1), LINEAR), {3: 0.25, 12: 1.0}),
    "CONSTANT": (span((4, 0), (8, 1), CONSTANT), {3: 0.0, 11.9: 0.0, 12: 1.0}),
}


@pytest.mark.parametrize("name", CASES)
def test_published_values(name):
    curve, expected = CASES[name]
    found = evaluate_curves([curve], sorted(expected))[0]
    np.testing.assert_allclose(found, [expected[f] for f in sorted(expected)], atol=1e-6)


def test_all_curves_at_once_are_each_by_itself():
    frames = np.arange(-5, 40) * 0.75
    curves = [curve for curve, _ in CASES.values()]
    together = evaluate_curves(curves, frames)
    for row, curve in enumerate(curves):
        alone = evaluate_curves([curve], frames)[0]
        np.testing.assert_allclose(together[row], alone, atol=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_any_span_against_the_roots_of_its_polynomial(seed):
    rng = np.random.default_rng(seed)
    right = (rng.uniform(0, 12), rng.normal())
    left = (rng.uniform(0, 12), rng.normal())
    frames = rng.uniform(0.01, 11.99, 40)
    frames.sort()
    found = evaluate_curves([span(right, left)], frames)[0]
    for frame, value in zip(frames, found, strict=True):
        x = np.array((0.0, right[0], left[0], 12.0))
        y = np.array((0.0, right[1], left[1], 1.0))
        to_power = np.array([[-1, 3, -3, 1], [3, -6, 3, 0], [-3, 3, 0, 0], [1, 0, 0, 0]])
        roots = np.roots(to_power @ x - (0, 0, 0, frame))
        real = roots[np.abs(roots.imag) < 1e-6].real
        (t,) = [r for r in real if -1e-9 < r < 1 + 1e-9][:1]
        assert value == pytest.approx(np.polyval(to_power @ y, t), abs=1e-7)


def test_one_key_and_the_time_beyond_the_keys():
    single = make([(5, 2.0)], [(4, 1.5)], [(6, 2.5)])
    assert evaluate_curves([single], [0, 5, 9]).tolist() == [[2.0, 2.0, 2.0]]
    straight = make([(5, 2.0)], [(4, 1.5)], [(6, 2.25)], straight=True)
    assert evaluate_curves([straight], [3, 5, 9]).tolist() == [[1.0, 2.0, 3.0]]


def test_no_curves():
    assert evaluate_curves([], [1, 2, 3]).shape == (0, 3)


def draw_curve(times, rng, kind=BEZIER):
    """Return a curve whose handles lie a third of the way to the next key, at any value."""
    values, (left, right) = rng.normal(size=len(times)), rng.normal(size=(2, len(times)))
    gaps = np.append(np.diff(times), 3.0) / 3.0
    before = np.append(3.0, np.diff(times)) / 3.0
    return Curve(
        times=times,
        values=values,
        left=np.stack((times - before, left), axis=-1),
        right=np.stack((times + gaps, right), axis=-1),
        interpolation=np.full(len(times), kind),
    )


@pytest.mark.parametrize("seed", range(5))
def test_handles_at_a_third_are_bernstein_polynomials(seed):
    rng = np.random.default_rng(seed)
    curve = draw_curve(np.cumsum(rng.uniform(1.0, 9.0, 8)), rng)
    ends = curve.values[:-1], curve.right[:-1, 1], curve.left[1:, 1], curve.values[1:]
    frames = np.linspace(curve.times[0], curve.times[-1], 200)
    expected = BPoly(np.stack(ends), curve.times)(frames)
    np.testing.assert_allclose(evaluate_curves([curve], frames)[0], expected, atol=1e-9)


@pytest.mark.parametrize("kind", [LINEAR, CONSTANT])
def test_lines_and_steps_are_piecewise_polynomials(kind):
    rng = np.random.default_rng(4)
    curve = draw_curve(np.cumsum(rng.uniform(1.0, 9.0, 8)), rng, kind)
    slopes = np.diff(curve.values) / np.diff(curve.times) * (kind == LINEAR)
    frames = np.linspace(curve.times[0] + 0.01, curve.times[-1] - 0.01, 200)
    expected = PPoly(np.stack((slopes, curve.values[:-1])), curve.times)(frames)
    np.testing.assert_allclose(evaluate_curves([curve], frames)[0], expected, atol=1e-12)


def test_curves_that_run_alike_are_each_by_itself():
    rng = np.random.default_rng(6)
    times = [np.cumsum(rng.uniform(1.0, 9.0, 8)) for _ in range(3)]
    curves = [draw_curve(times[row // 3], rng) for row in range(9)]
    curves[4] = draw_curve(times[1], rng, LINEAR)  # the same keys, run through otherwise
    curves[7] = draw_curve(times[2][:5], rng)
    curves[3] = Curve(**{**vars_of(curves[3]), "straight": True})
    frames = np.arange(-5.0, 70.0)
    together = evaluate_curves(curves, frames)
    for row, curve in enumerate(curves):
        np.testing.assert_array_equal(together[row], evaluate_curves([curve], frames)[0])


def vars_of(curve):
    return {name: getattr(curve, name) for name in Curve.__slots__}


def test_a_broken_key_breaks_its_own_curve_alone():
    rng = np.random.default_rng(7)
    times = np.arange(1.0, 50.0, 8.0)
    whole, broken = draw_curve(times, rng), draw_curve(times, rng)
    broken.values[0] = np.nan
    frames = np.arange(-3.0, 60.0)
    together = evaluate_curves([whole, broken], frames)
    np.testing.assert_array_equal(together[0], evaluate_curves([whole], frames)[0])
    assert np.isnan(together[1, 4])
