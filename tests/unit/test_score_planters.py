# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The score leaves no check out unsaid, and a planted fault is where it is said to be."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "quality"))

import formula_motions  # noqa: E402
import planters  # noqa: E402
import planting  # noqa: E402

from fettle.core_math import ALL_CHECKS  # noqa: E402


def test_every_check_is_planted_or_said_not_to_be():
    planted = {planter.check for planter in planters.PLANTERS}
    said = set(planters.NOT_PLANTED_YET)
    assert planted | said == {check.id for check in ALL_CHECKS}
    assert not planted & said
    assert all(reason.strip() for reason in planters.NOT_PLANTED_YET.values())


@pytest.mark.parametrize("seed", range(3))
def test_part_thrown_off_is_off_on_that_frame_and_on_no_other(seed):
    motion = formula_motions.make_reaches(seed, 24.0, 4.0)
    row = motion.index("forearm.R")
    turns = motion.local_rotations.copy()
    turns[50, row] = turns[49, row]
    spoiled = planting.rebuild(motion, turns, motion.local_heads)
    moved = np.linalg.norm(spoiled.heads - motion.heads, axis=-1)
    changed = np.flatnonzero(moved.max(axis=1) > 1e-9)
    assert set(changed) <= {50}
    still = [i for i, part in enumerate(motion.parts) if part in ("hips", "hand.L", "forearm.R")]
    assert moved[:, still].max() < 1e-9
