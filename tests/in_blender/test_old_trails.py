# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The trails of a kept take beside those of now: in every space, on the right frames."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_motion import FRAMES, TURNS, make_camera, make_motion, make_reading
from scipy.spatial.transform import Rotation

from fettle.addon import kept, old_trails, viewpoints
from fettle.addon.trails import TrailSpace, make_trail
from fettle.core_math import make_take

MOVED = np.array([0.0, 0.3, 0.1])


def lay_out(before, now, space, reference=""):
    """The old trails of a take of `before` beside those of `now`."""
    take = make_take("v1", make_reading(), [before])
    entry = kept.Kept("Scene", make_reading(), {now.subject: now}, base=take)
    seen_from = {now.subject: viewpoints.find_viewpoint(now, reference)} if reference else {}
    trails = {
        (now.subject, part): make_trail(
            now, part, space=space, viewpoint=seen_from.get(now.subject)
        )
        for part in ("hand.L", "head")
    }
    return old_trails.lay_out_old(entry, trails, space, reference, seen_from), trails


def move(motion, part, by):
    """The motion with one part elsewhere."""
    heads = motion.heads.copy()
    heads[:, motion.parts.index(part)] += by
    return replace(motion, heads=heads)


def test_a_path_seen_from_the_hips_is_seen_from_the_hips_of_then():
    """The hand is rigid on hips that turn; now both travel elsewhere, and the hand sits higher."""
    before = make_motion()
    now = replace(before, heads=before.heads + [5.0, 0.0, 0.0])
    now = move(now, "hand.L", TURNS.apply(MOVED))
    old, trails = lay_out(before, now, TrailSpace.PART, "hips")
    path = old["Rig", "hand.L"]
    np.testing.assert_allclose(path.points, np.tile([0.5, 0.0, 0.2], (30, 1)), atol=1e-4)
    # Shown beside the hips of now: moved out of the present hand's place as it was beneath it.
    shown = path.world_points(25)[14]
    there = trails["Rig", "hand.L"].world_points(25)[14]
    np.testing.assert_allclose(there - shown, TURNS[14].apply(MOVED), atol=1e-4)
    assert ("Rig", "head") not in old, "the head goes as it went, seen from the hips"


def test_a_path_seen_from_the_camera_is_seen_from_the_camera_of_then():
    camera, _ = make_camera()
    before = make_motion(camera)
    now = replace(before, camera=replace(camera, positions=camera.positions + [1.0, 0.0, 0.5]))
    old, _ = lay_out(before, now, TrailSpace.PART, "camera")
    turned = Rotation.from_quat(np.roll(camera.rotations, -1, axis=-1))
    wanted = turned.inv().apply(before.head("head") - camera.positions)
    np.testing.assert_allclose(old["Rig", "head"].points, wanted, atol=2e-3)


@pytest.mark.parametrize("space", [TrailSpace.WORLD, TrailSpace.PART])
def test_who_was_hidden_at_the_start_is_drawn_on_the_frames_it_was_there(space):
    whole = make_motion()
    before = move(whole, "hand.L", MOVED).slice(7, 30)
    old, _ = lay_out(before, whole, space, "hips" if space is TrailSpace.PART else "")
    path = old["Rig", "hand.L"]
    assert path.frames.tolist() == FRAMES[7:].tolist()
    if space is TrailSpace.WORLD:
        np.testing.assert_allclose(path.points, whole.head("hand.L")[7:] + MOVED, atol=1e-5)
    row = path.find_row(25)
    np.testing.assert_allclose(
        path.world_point(row, 25), whole.head("hand.L")[14] + MOVED, atol=1e-4
    )


def test_what_cannot_be_drawn_says_why():
    camera, _ = make_camera()
    take = make_take("v1", make_reading(), [make_motion(camera)])
    for space in ("world", "hips", "camera", "picture"):
        assert old_trails.explain_missing(take, space) == ""
    assert "chest" in old_trails.explain_missing(take, "chest"), "the body has none"
    alone = make_take("v1", make_reading(), [make_motion()])
    assert "no shot camera" in old_trails.explain_missing(alone, "camera")
    older = replace(take, firsts={}, turns={})
    assert old_trails.explain_missing(older, "world") == ""
    assert "older version" in old_trails.explain_missing(older, "hips")
    late = make_take("v1", make_reading(), [make_motion().slice(7, 30)])
    assert "Rig" in old_trails.explain_missing(replace(late, firsts={}), "world")
    assert "no trails" in old_trails.explain_missing(replace(take, trails={}), "world")
