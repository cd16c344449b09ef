# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The floor, read off feet whose stand is written by hand."""

import numpy as np
import pytest

from fettle.core_math.measures import ground
from fettle.core_math.measures.ground import find_ground_height

FPS, HEIGHT, FRAMES = 24.0, 1.75, 48


def feet(level, moving=False):
    """A standing left foot with its ankle 7 cm over the level, a right foot that swings above."""
    heads = np.zeros((FRAMES, 2, 3))
    heads[:, 0, 2] = level + 0.07
    time = np.arange(FRAMES) / FPS
    heads[:, 1, 0] = 2.0 * time
    heads[:, 1, 2] = level + 0.3 + 0.2 * np.sin(9.0 * time)
    if moving:
        heads[:, 0, 1] = 3.0 * time
    tails = heads.copy()
    tails[..., 1] -= 0.15
    tails[:, 0, 2] = level
    return heads, tails


@pytest.mark.parametrize("level", [0.0, 0.03, -0.05])
def test_near_the_scenes_floor_it_is_that_floor(level):
    assert find_ground_height(["foot.L", "foot.R"], *feet(level), FPS, HEIGHT) == 0.0


@pytest.mark.parametrize("level", [2.4, -1.0])
def test_on_a_platform_it_is_the_platform(level):
    found = find_ground_height(["foot.L", "foot.R"], *feet(level), FPS, HEIGHT)
    assert found == pytest.approx(level, abs=1e-9)


def test_nobody_stands_or_there_are_no_feet():
    flying = feet(2.4, moving=True)
    assert find_ground_height(["foot.L", "foot.R"], *flying, FPS, HEIGHT) == 0.0
    assert find_ground_height(["hand.L", "hand.R"], *feet(2.4), FPS, HEIGHT) == 0.0
    assert find_ground_height(["foot.L", "foot.R"], *feet(2.4), FPS, 0.0) == 0.0


@pytest.mark.parametrize(("lift", "near"), [(0.0, True), (0.08, True), (0.12, False)])
def test_foot_is_near_the_ground_it_comes_down_on_within_a_second(lift, near):
    # Body size 2: near is below 0.1 m over the lowest place of the second before and after.
    lows = np.full(60, lift)
    lows[50] = 0.0
    assert ground.is_near_ground(lows, 30, 24.0, 2.0) is near
    assert ground.is_near_ground(lows, 10, 24.0, 2.0) is True


def test_only_feet_and_toes_are_asked():
    still = np.zeros((30, 3))
    for part, near in (("foot.L", True), ("toe.R", True), ("hand.L", False)):
        assert ground.is_foot_near_ground(part, still, still, 10, 24.0, 1.7) is near


def test_shift_is_what_all_points_of_a_foot_share():
    heights = np.zeros((60, 2)) + [0.09, 0.02]
    heights[20:30] -= 0.03
    heights[40:50, 1] += 0.03
    assert ground.find_shifts(heights, 0.02, 4) == [(20, 29, pytest.approx(-0.03))]
    heights[15:20] -= 0.021
    assert ground.find_shifts(heights, 0.02, 4) == [(15, 29, pytest.approx(-0.03))]
    assert ground.find_shifts(heights, 0.02, 12) == [(15, 29, pytest.approx(-0.021))]
    assert ground.find_shifts(heights, 0.02, 16) == []
    assert ground.find_shifts(heights, 0.04, 4) == []
