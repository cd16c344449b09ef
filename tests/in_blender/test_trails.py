# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Trails and marks as arrays: places, spaces, colours, stacks."""

import matplotlib
import numpy as np
import pytest
from drawn_motion import FRAMES, make_camera, make_flag, make_motion

from fettle.addon import palette, trails, travels, viewpoints
from fettle.addon.trails import TrailSpace
from fettle.core_math import Severity, State


def see_from(motion, part, reference):
    viewpoint = viewpoints.find_viewpoint(motion, reference)
    return trails.make_trail(motion, part, space=TrailSpace.PART, viewpoint=viewpoint)


def test_world_trail_is_the_path_itself():
    motion = make_motion()
    trail = trails.make_trail(motion, "hand.L")
    np.testing.assert_array_equal(trail.world_points(20), motion.head("hand.L"))
    assert np.flatnonzero(trail.keyed).tolist() == [0, 9]


def test_what_is_held_rigidly_stands_still_as_seen_from_its_holder():
    motion = make_motion()
    trail = see_from(motion, "hand.L", "hips")
    np.testing.assert_allclose(trail.points, np.tile([0.5, 0.0, 0.2], (30, 1)), atol=1e-9)


@pytest.mark.parametrize("reference", ["hips", "hand.L"])
def test_a_relative_trail_passes_through_where_the_part_is_now(reference):
    motion = make_motion()
    trail = see_from(motion, "head", reference)
    for frame in (11, 25, 40):
        place = trail.world_points(frame)[frame - 11]
        np.testing.assert_allclose(place, motion.head("head")[frame - 11], atol=1e-9)


@pytest.mark.parametrize(
    ("part", "space", "reference"),
    [
        ("foot.L", TrailSpace.WORLD, "hips"),
        ("hand.L", TrailSpace.PART, "chest"),
        ("hand.L", TrailSpace.PART, "camera"),
        ("hand.L", TrailSpace.PICTURE, "hips"),
    ],
)
def test_what_cannot_be_drawn_is_no_trail(part, space, reference):
    motion = make_motion()
    viewpoint = viewpoints.find_viewpoint(motion, reference)
    assert trails.make_trail(motion, part, space=space, viewpoint=viewpoint) is None


def test_a_trail_in_the_picture_keeps_each_frames_place_in_the_picture():
    """Checked against Blender's own projection of the same camera."""
    camera, look = make_camera()
    motion = make_motion(camera)
    trail = trails.make_trail(motion, "head", space=TrailSpace.PICTURE)
    shown = trail.world_points(25)
    for row in (0, 7, 14, 29):
        as_it_was = look(row, motion.head("head")[row])
        as_drawn = look(14, shown[row])
        np.testing.assert_allclose(as_drawn[:2], as_it_was[:2], atol=2e-6)
    np.testing.assert_allclose(shown[14], motion.head("head")[14], atol=1e-6)


def test_an_old_path_in_the_picture_is_seen_through_the_camera_of_now():
    """Checked against Blender's own projection, at frames between which the keys were moved."""
    camera, look = make_camera()
    motion = make_motion(camera)
    trail = trails.make_trail(motion, "head", space=TrailSpace.PICTURE)
    old = motion.head("head")[:10] + [0.1, 0.2, -0.1]
    # Ten frames of before, retimed to every second frame from 15 on.
    found = trails.make_old_trail(trail, motion, old, np.arange(15.0, 35.0, 2.0))
    assert found.dashed and not found.keyed.any()
    for row in (0, 4, 9):
        frame = 15 + 2 * row
        as_it_would_be = look(frame - 11, old[row])
        as_drawn = look(14, found.world_points(25)[frame - 11])
        np.testing.assert_allclose(as_drawn[:2], as_it_would_be[:2], atol=2e-6)
    unknown = np.isnan(found.points).any(axis=1)
    assert [int(frame) for frame in found.frames[~unknown]] == list(range(15, 34))


def test_ribbons_leave_out_what_is_not_known_and_measure_dashes_along_the_way():
    motion = make_motion()
    trail = trails.make_trail(motion, "hips")
    points = motion.head("hips").copy()
    points[5] = np.nan
    old = trails.make_old_trail(trail, motion, points, motion.frames.astype(float))
    arrays, _ = trails.build_ribbons([old, trail])
    assert all(np.isfinite(values).all() for values in arrays.values())
    facts = arrays["facts"].reshape(2, len(FRAMES), 4, 4)[:, :, 0]
    hidden = facts[0, :, 0] == trails.NOWHERE
    # The steps to and from the unknown place.
    assert np.flatnonzero(hidden).tolist() == [4, 5]
    assert (facts[1, :, 3] == -1.0).all(), "the present trail is solid"
    steps = np.linalg.norm(np.diff(motion.head("hips")[6:], axis=0), axis=1)
    np.testing.assert_allclose(np.diff(facts[0, 6:, 3]), steps, atol=1e-5)


def test_flags_cover_the_steps_under_them():
    flags = [make_flag(), make_flag(start=23, end=23, peak=23, severity=Severity.GLARING)]
    flags += [make_flag(start=30, end=34, state=State.MEANT), make_flag("head", 35, 38)]
    trail = trails.make_trail(make_motion(), "hand.L", flags)
    covered = {int(f): int(s) for f, s in zip(FRAMES, trail.severities, strict=True) if s}
    assert covered == {20: 2, 21: 2, 22: 3, 23: 3}


def test_spacing_tells_fast_from_slow():
    motion = make_motion()
    trail = trails.make_trail(motion, "hips")
    steps = np.linalg.norm(np.diff(motion.head("hips"), axis=0), axis=1)
    assert np.argmax(trail.speeds[:-1]) == np.argmax(steps)
    assert trail.speeds[-1] == trail.speeds[-2]


def test_a_part_that_stands_still_does_not_travel():
    """The head goes a metre in 29 frames; the hips leave it behind at once."""
    motion = make_motion()
    head, hips = (trails.make_trail(motion, part) for part in ("head", "hips"))
    found = travels.measure_travels([(head, None, 0.05), (hips, None, 0.05)])
    assert found.reach(11, 40).tolist() == [True, True]
    assert found.reach(11, 12).tolist() == [False, True]
    assert found.reach(11, 13).tolist() == [True, True]
    assert found.reach(38, 70).tolist() == [True, True]
    assert found.reach(41, 70).tolist() == [False, False]
    assert found.reach(-5, 10).tolist() == [False, False]


def test_where_nothing_leaves_a_trail_nothing_travels():
    assert travels.measure_travels([]).reach(1, 40).tolist() == []


def test_a_part_that_stands_still_now_but_moved_before_leaves_a_trail():
    motion = make_motion()
    head = trails.make_trail(motion, "head")
    gone = motion.head("hips")[:10].copy()
    gone[3] = np.nan
    old = trails.make_old_trail(head, motion, gone, np.arange(21.0, 31.0))
    found = travels.measure_travels([(head, old, 0.05), (head, None, 9.0)])
    assert found.reach(21, 22).tolist() == [True, False]
    # Frames 23 and 24 are one known place and one that is not.
    assert found.reach(23, 24).tolist() == [False, False]


def test_ribbons_have_four_vertices_a_step_and_valid_triangles():
    trail = trails.make_trail(make_motion(), "hand.L")
    arrays, indices = trails.build_ribbons([trail])
    assert {len(array) for array in arrays.values()} == {4 * 30}
    assert indices.shape == (60, 3)
    assert indices.max() == 4 * 30 - 1
    np.testing.assert_allclose(arrays["place_b"][0], arrays["place_a"][4])


def test_spacing_colours_are_cividis():
    """Against matplotlib's cividis, of which nine stops are kept."""
    shares = np.linspace(0.0, 1.0, 256)
    published = matplotlib.colormaps["cividis"](shares)[:, :3]
    assert np.abs(palette.colour_spacing(shares) - published).max() < 0.03
    stops = np.array(list(palette.SPACING_STOPS)) / 255.0
    np.testing.assert_allclose(
        palette.colour_spacing(stops), matplotlib.colormaps["cividis"](stops)[:, :3], atol=0.003
    )


def test_severity_colours_are_okabe_and_itos():
    """Values: Okabe and Ito 2002, as printed in Wong 2011, Nature Methods 8:441."""
    published = {
        Severity.FAINT: (86, 180, 233),
        Severity.CLEAR: (230, 159, 0),
        Severity.GLARING: (213, 94, 0),
    }
    for severity, colour in published.items():
        assert tuple(round(c * 255) for c in palette.SEVERITY_COLOURS[severity]) == colour
