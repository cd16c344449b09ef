# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The captures are what they are known to be, so that checks judged on them mean something.

Positions, flips and jump figures were computed with SciPy from the files of assimp-testmodels
5.2.5 and agree with Blender's own importer to 1e-4 file units.
"""

import captures
import numpy as np
import pytest

from fettle.core_math.measures import rotations

pytestmark = pytest.mark.captures


@pytest.mark.parametrize(
    ("name", "joint", "row", "expected"),
    [
        ("01_01", "LeftHand", 0, (21.2539, 22.4167, -17.8671)),
        ("01_01", "LeftHand", 99, (13.9548, 18.8477, -14.7377)),
        ("01_01", "LeftHand", 999, (13.5239, 15.8239, 45.6109)),
        ("01_01", "Head", 999, (9.2966, 25.5615, 45.8278)),
        ("Boxing_Toes", "RightWrist", 0, (18.7634, 94.2399, 46.9051)),
        ("Boxing_Toes", "RightWrist", 99, (60.2065, 146.7853, 52.1110)),
        ("Boxing_Toes", "RightWrist", 999, (42.1429, 162.8514, -40.9546)),
    ],
)
def test_known_positions(capture, name, joint, row, expected):
    clip = captures.read_clip(capture(f"{name}.bvh"))
    assert clip.position(joint)[row] == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize(("name", "flips"), [("01_01", 0), ("01_03", 27), ("Boxing_Toes", 29)])
def test_known_number_of_channel_steps_over_180_degrees(capture, name, flips):
    clip = captures.read_clip(capture(f"{name}.bvh"))
    columns = [column for joint in clip.joints for column in joint.columns]
    steps = np.abs(np.diff(clip.rows[1:, columns], axis=0))
    assert np.count_nonzero(steps > 180.0) == flips


def test_known_pop_turns_by_its_true_angle(capture):
    clip = captures.read_clip(capture("01_03.bvh"))
    joint = [j.name for j in clip.joints].index("RightFingerBase")
    parent = clip.joints[joint].parent
    local = rotations.relative(clip.rotations[:, parent], clip.rotations[:, joint])
    assert rotations.step_angles(local)[1225] == pytest.approx(165.26, abs=0.01)


def test_jumps_fall_at_the_speed_of_gravity():
    # Parabolas through the hips, 12 rows either side of the ten jump tops: g 9.68 to 10.65 and
    # one 12.1, median 9.97 m/s^2. It confirms scale and rate together.
    motion = captures.load("01_01")
    height = motion.head("hips")[:, 2]
    tops = [249, 445, 616, 805, 1310, 1568, 1800, 2234, 2453, 2655]
    times = np.arange(-12, 13) / motion.fps
    falls = [-2.0 * np.polyfit(times, height[t - 13 : t + 12], 2)[0] for t in tops]
    assert np.median(falls) == pytest.approx(9.97, abs=0.1)
    for top in tops:
        assert abs(int(np.argmax(height[top - 31 : top + 30])) - 30) <= 2


@pytest.mark.parametrize("fps", [24.0, 25.0, 30.0])
def test_resampling_keeps_the_places(fps):
    recorded, resampled = captures.load("Boxing_Toes"), captures.load("Boxing_Toes", fps=fps)
    seconds = round(5 * fps) / fps
    row = round(seconds * recorded.fps)
    ours = resampled.head("hand.R")[round(seconds * fps)]
    assert ours == pytest.approx(recorded.head("hand.R")[row], abs=0.02)
