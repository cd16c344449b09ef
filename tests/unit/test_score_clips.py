# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The clips the score is made on are what they say: natural joints, real flight, every rate."""

import sys
from pathlib import Path

import marker_capture
import numpy as np
import pytest
import reposing
import rig_clip

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "quality"))

import clips  # noqa: E402
import formula_motions  # noqa: E402
import gestures  # noqa: E402
import natural_motions  # noqa: E402

from fettle.core_math.measures import rotations  # noqa: E402

MAKERS = {**formula_motions.MAKERS, **gestures.MAKERS, **natural_motions.MAKERS}


@pytest.mark.parametrize("kind", sorted(MAKERS))
def test_wrists_stay_in_their_published_range(kind):
    # AAOS: flexion 80, extension 70; 20 to the thumb, 30 to the little finger.
    motion = MAKERS[kind](3, 24.0)
    for side in (".L", ".R"):
        own = motion.local_rotations[:, motion.index(f"hand{side}")]
        points = rotations.rotate(own, np.broadcast_to([0.0, 0.0, -1.0], (len(own), 3)))
        aside = np.degrees(np.arctan2(points[:, 1], -points[:, 2]))
        bend = np.degrees(np.arctan2(points[:, 0], -points[:, 2]))
        assert np.abs(aside).max() <= 20.0
        assert np.abs(bend).max() <= 70.0


def test_jump_flies_as_bodies_fall():
    motion = natural_motions.make_jump(3, 120.0)
    height = motion.head("hips")[:, 2]
    top = int(np.argmax(height))
    time = np.arange(-10, 11) / 120.0
    fall = np.polyfit(time, height[top - 10 : top + 11], 2)[0]
    assert -2.0 * fall == pytest.approx(9.81, rel=0.01)
    assert motion.head("toe.L")[top, 2] > 0.1


def test_runner_has_both_feet_off_the_ground_between_steps():
    motion = natural_motions.make_run(3, 120.0)
    points = []
    for side in (".L", ".R"):
        foot = motion.rotation(f"foot{side}")
        heel = rotations.rotate(foot, np.broadcast_to(natural_motions.HEEL, (len(foot), 3)))
        ball = motion.head(f"toe{side}") - [0.0, 0.0, natural_motions.BALL_HEIGHT]
        points += [ball, motion.head(f"foot{side}") + heel]
    lowest = np.min([point[:, 2] for point in points], axis=0)
    # Stance is 36 % of the cycle, which leaves 28 % to the flights (Novacheck 1998, from memory).
    flying = np.mean(lowest > 0.002)
    assert flying == pytest.approx(0.28, abs=0.04)


def test_foot_of_the_curved_walk_keeps_its_direction_while_it_stands():
    motion = natural_motions.make_curved_walk(3, 60.0)
    ball = motion.head("toe.R")
    still = np.linalg.norm(np.diff(ball, axis=0), axis=-1) < 1e-4
    runs = np.split(np.flatnonzero(still), np.flatnonzero(np.diff(np.flatnonzero(still)) > 1) + 1)
    ahead = (ball - motion.head("foot.R"))[:, :2]
    yaw = np.unwrap(np.arctan2(ahead[:, 1], ahead[:, 0]))
    stands = [run for run in runs if len(run) > 8]
    assert len(stands) >= 5
    assert all(np.ptp(np.degrees(yaw[run])) < 3.0 for run in stands)


def test_rig_is_read_as_a_whole_body():
    motion = rig_clip.load()
    assert motion.has("hips", "chest", "head", "hand.L", "hand.R", "foot.L", "toe.R", "index.L/3")
    feet = np.stack((motion.head("foot.L"), motion.head("foot.R")))
    # Its feet are held by IK; at 24 fps and 2 m of height they do not move at all.
    assert np.ptp(feet, axis=1).max() < 0.002


def test_every_kind_is_there_at_every_rate_in_both_halves():
    found, _ = clips.list_clips()
    for split in clips.SPLITS:
        for kind in ("reaches", "run", "jump", "dance", "walk"):
            rates = {clip.fps for clip in found if clip.split == split and clip.kind == kind}
            assert rates == set(clips.RATES)
    assert len({clip.name for clip in found}) == len(found)


@pytest.mark.skipif(not marker_capture.is_here(), reason="the fencing capture was not fetched")
def test_fencer_is_built_like_a_person_and_stands_on_the_floor():
    motion = marker_capture.load()
    for part, following, share in (("thigh", "shin", 0.245), ("shin", "foot", 0.246)):
        for side in (".L", ".R"):
            bone = motion.head(f"{following}{side}") - motion.head(f"{part}{side}")
            length = np.linalg.norm(bone, axis=-1)
            # Drillis & Contini 1966, from memory; skin moves by a centimetre or two.
            assert np.median(length) == pytest.approx(share * motion.height, rel=0.2)
            assert np.std(length) < 0.02
    assert motion.heads[..., 2].min() > -0.02


def test_posing_what_changed_is_posing_everything():
    motion = formula_motions.make_swings(4, 24.0, 2.0)
    turn = rotations.from_axis_angle((0.3, 0.5, 0.2), 20.0)
    turns = motion.local_rotations.copy()
    row = motion.index("forearm.L")
    turns[:, row] = rotations.multiply(turns[:, row], turn)
    whole = reposing.pose_again(motion, turns, motion.local_heads)
    part = reposing.pose_again(motion, turns, motion.local_heads, [row])
    np.testing.assert_allclose(part.heads, whole.heads, atol=1e-12)
    np.testing.assert_allclose(part.tails, whole.tails, atol=1e-12)
    assert not np.allclose(part.head("hand.L"), motion.head("hand.L"), atol=0.01)
    np.testing.assert_array_equal(part.head("hand.R"), motion.head("hand.R"))
