# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A pop counts as the shot camera sees it: in the picture, in depth, out of frame, hidden."""

from dataclasses import replace

import figure
import numpy as np
import pytest
import shot_camera
from scipy.spatial.transform import Rotation

from fettle.core_math import ALL_CHECKS, Severity, Staging, run_checks
from fettle.core_math.measures.visibility import find_shown, share_seen

COUNT, AT = 72, 40
POP = [check for check in ALL_CHECKS if check.id == "pop"]


def shot(place=(0.0, -6.0, 1.0), pan=0.0, camera=True):
    """The right arm is slung 12 degrees aside for one frame; seen from `place`."""
    degrees = 2.0 * np.sin(np.arange(COUNT) / 8.0)
    degrees[AT] += 12.0
    motion = figure.make_motion({"upper_arm.R": figure.turn((0, 1, 0), degrees)}, COUNT)
    if not camera:
        return motion
    turned = Rotation.from_euler("XZ", [90.0, pan], degrees=True).as_quat(scalar_first=True)
    rows = np.tile(turned, (COUNT, 1))
    return replace(motion, camera=shot_camera.make_camera(np.tile(place, (COUNT, 1)), rows))


def read(motion):
    (flag,) = run_checks(motion, POP).flags
    return flag


def test_out_of_the_picture_is_faint_and_says_so():
    bare, seen, unseen = (
        read(m) for m in (shot(camera=False), shot(), shot(place=(40.0, -6.0, 1.0)))
    )
    assert bare.severity > Severity.FAINT and seen.severity > Severity.FAINT
    assert "camera" not in bare.message and "as the camera sees it" in seen.message
    assert unseen.severity is Severity.FAINT
    assert "out of the shot camera's picture" in unseen.message
    assert unseen.confidence < seen.confidence


def test_behind_the_camera_is_out_of_the_picture():
    assert read(shot(place=(0.0, 6.0, 1.0))).severity is Severity.FAINT


def test_hidden_is_faint_and_names_what_hides_it():
    motion = shot()
    staging = Staging(
        rows=np.array([0, 30, 50]),
        step=4,
        things=("Mast",),
        hidden=np.array([[0.0], [1.0], [0.0]]),
        tried=np.full(3, 30),
        depths=np.full((3, 1, 2), np.nan),
        boxes=np.full((3, 1, 4), np.nan),
    )
    flag = read(replace(motion, staging=staging))
    assert flag.severity is Severity.FAINT and "hidden by Mast" in flag.message
    staging = replace(staging, hidden=0.5 * staging.hidden)
    assert read(replace(motion, staging=staging)).severity is read(motion).severity


def test_thrown_in_depth_counts_half_of_thrown_across():
    def measure(motion):
        (jump,) = POP[0].measure_at_once(motion, POP[0].values(motion.fps))
        return np.array([jump.degrees, jump.travel])

    motion, world = shot(), measure(shot(camera=False))
    assert measure(motion) == pytest.approx(world, rel=0.02)
    # From its side, level with the hand, the hand goes to and fro along the line of sight.
    hand = motion.head("hand.R")[AT]
    looks = Rotation.from_euler("XZ", [90.0, 90.0], degrees=True).as_quat(scalar_first=True)
    camera = shot_camera.make_camera(np.tile(hand + [9.0, 0, 0], (COUNT, 1)))
    camera = replace(camera, rotations=np.tile(looks, (COUNT, 1)))
    assert measure(replace(motion, camera=camera)) == pytest.approx(0.5 * world, rel=0.05)


def test_share_is_one_across_half_along_and_between_between():
    sight = np.tile([0.0, 1.0, 0.0], (4, 1))
    moves = np.array([[2.0, 0, 0], [0, 3.0, 0], [1.0, 1.0, 0], [0, 0, 0]])
    assert share_seen(moves, sight, 0.5) == pytest.approx([1.0, 0.5, np.sqrt(0.625), 1.0])


def test_clipped_is_not_shown():
    places, clip = np.full((3, 2), 0.5), np.tile([0.5, 10.0], (3, 1))
    shown = find_shown(places, np.array([0.4, 5.0, 11.0]), clip)
    assert shown.tolist() == [False, True, False]
    places[1] = np.nan
    assert not find_shown(places, np.array([5.0, 5.0, 5.0]), clip)[1]
