# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The walk is the walk it claims to be: published figures come out of the finished motion."""

import gait
import numpy as np
import pytest

from fettle.core_math.measures import rotations


@pytest.mark.parametrize("fps", [24.0, 120.0])
def test_feet_stand_still_between_flat_and_heel_off(fps):
    motion, contacts = gait.make_walk(fps)
    for side, stances in contacts.items():
        for stance in stances:
            first, last = int(np.ceil(stance.flat * fps)), int(stance.heel_off * fps)
            if first >= 0 and last < motion.frame_count:
                for part in (f"foot{side}", f"toe{side}"):
                    travel = np.ptp(motion.head(part)[first : last + 1], axis=0)
                    assert travel == pytest.approx(0.0, abs=1e-6)


def test_published_figures_come_out():
    # Winter's table A.1 (from BMClab/BMC): stride 0.987 s and 1.415 m, hip range 4.8 cm, knee
    # flexion peaks at 61 degrees in swing (70 % of the cycle).
    motion, _ = gait.make_walk(100.0, 4 * gait.STRIDE_S)
    hips = motion.head("hips")
    assert np.ptp(hips[:, 2]) == pytest.approx(0.048, rel=0.02)
    speed = (hips[0, 1] - hips[-1, 1]) / ((motion.frame_count - 1) / 100.0)
    assert speed == pytest.approx(1.415 / 0.987, rel=0.005)
    knee = rotations.angle(motion.local_rotations[:, motion.index("shin.R")])[99:198]
    assert knee.max() == pytest.approx(61.0, abs=8.0)
    assert (np.argmax(knee) + 99) / 98.7 - 1.0 == pytest.approx(0.70, abs=0.05)


def test_the_ground_is_the_ground():
    motion, _ = gait.make_walk(120.0)
    tips = np.stack([motion.tail(f"toe{side}")[:, 2] for side in (".L", ".R")])
    assert tips.min() == pytest.approx(0.0, abs=0.004)
