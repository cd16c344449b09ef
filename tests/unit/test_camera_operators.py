# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The checks of the camera are quiet on what good operators film."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "quality"))

import filming  # noqa: E402
import set_dressing  # noqa: E402

from fettle.core_math import ALL_CHECKS, Group, Severity, run_checks  # noqa: E402

CAMERA_CHECKS = [c for c in ALL_CHECKS if c.group is Group.CAMERA or c.id == "strobe"]


@pytest.mark.parametrize("fps", [24.0, 60.0])
@pytest.mark.parametrize("kind", filming.OPERATORS)
def test_good_operators_draw_no_loud_flag(kind, fps):
    reading = run_checks(filming.make_operated(kind, 907, fps), CAMERA_CHECKS)
    assert reading.crashes == ()
    assert [f.message for f in reading.flags if f.severity > Severity.FAINT] == []


def test_the_operators_do_what_they_are_called_for():
    judged = {
        kind: set(run_checks(filming.make_operated(kind, 907, 24.0), CAMERA_CHECKS).evaluated)
        for kind in filming.OPERATORS
    }
    follows = {kind for kind, checks in judged.items() if "framing-drift" in checks}
    assert follows == {"steady follow", "spring follow", "hand-held follow", "pan follow"}
    assert all("camera-hitch" in checks for checks in judged.values())


def test_a_wall_of_the_set_hides_what_lies_below_its_edge():
    motion = filming.make_operated("locked off", 907, 24.0)
    eye = motion.camera.positions[0]
    low, high = eye + [-50.0, 1.0, -50.0], eye + [50.0, 1.1, 0.0]
    staging = set_dressing.dress(motion, low[np.newaxis], high[np.newaxis]).staging
    points = np.concatenate((motion.heads, 0.5 * (motion.heads + motion.tails)), axis=1)
    # A wall up to the height of a level camera hides what lies lower than that.
    places, _ = motion.camera.project(points)
    inside = ((places >= 0.0) & (places <= 1.0)).all(axis=-1)
    below = (inside & (points[..., 2] < eye[2])).sum(axis=1) / inside.sum(axis=1)
    assert staging.hidden[:, 0] == pytest.approx(below)
