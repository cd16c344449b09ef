# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Trails and marks as arrays: places, spaces, colours, stacks."""

from dataclasses import replace

import bpy
import matplotlib
import numpy as np
import pytest
from bpy_extras.object_utils import world_to_camera_view
from mathutils import Vector
from scipy.spatial.transform import Rotation

from fettle.addon import overlay_marks, palette, trails
from fettle.addon.trails import TrailSpace
from fettle.core_math import (
    Flag,
    KeyTrack,
    SensorFit,
    Severity,
    ShotCamera,
    State,
    Unit,
    build_motion,
)

FRAMES = np.arange(11, 41)
TURNS = Rotation.from_euler("xyz", np.c_[FRAMES * 2.0, FRAMES * -3.0, FRAMES * 7.0], degrees=True)


def to_wxyz(rotation):
    return np.roll(rotation.as_quat(), 1, axis=-1)


def make_motion(camera=None):
    """Hips that travel and turn, a hand held rigidly by them, a head on its own."""
    count = len(FRAMES)
    hips = np.c_[FRAMES * 0.1, np.sin(FRAMES), np.full(count, 1.0)]
    hand = hips + TURNS.apply([0.5, 0.0, 0.2])
    head = np.c_[np.linspace(0.0, 1.0, count), np.zeros(count), np.full(count, 2.0)]
    heads = np.stack((hips, hand, head), axis=1)
    still = Rotation.identity(count)
    turned = np.stack([to_wxyz(r) for r in (TURNS, TURNS, still)], axis=1)
    return build_motion(
        subject="Rig",
        frames=FRAMES,
        fps=24.0,
        parts=("hips", "hand.L", "head"),
        parents=(-1, 0, 0),
        heads=heads,
        tails=heads + 0.1,
        rotations_wxyz=turned,
        keys={"hand.L": KeyTrack(np.array([11.0, 20.4, 99.0]), np.zeros(3, bool), ("ctrl",))},
        camera=camera,
    )


def make_flag(part="hand.L", start=20, end=24, peak=22, severity=Severity.CLEAR, **changes):
    flag = Flag(
        "ik-lock",
        "seen",
        "Rig",
        part,
        start,
        end,
        peak,
        severity,
        1.0,
        1.0,
        Unit.RATIO,
        0.5,
        "",
        "",
    )
    return replace(flag, **changes)


def test_world_trail_is_the_path_itself():
    motion = make_motion()
    trail = trails.make_trail(motion, "hand.L")
    np.testing.assert_array_equal(trail.world_points(20), motion.head("hand.L"))
    assert np.flatnonzero(trail.keyed).tolist() == [0, 9]


def test_what_is_held_rigidly_stands_still_as_seen_from_its_holder():
    motion = make_motion()
    trail = trails.make_trail(motion, "hand.L", space=TrailSpace.PART, reference="hips")
    np.testing.assert_allclose(trail.points, np.tile([0.5, 0.0, 0.2], (30, 1)), atol=1e-9)


@pytest.mark.parametrize("reference", ["hips", "hand.L"])
def test_a_relative_trail_passes_through_where_the_part_is_now(reference):
    motion = make_motion()
    trail = trails.make_trail(motion, "head", space=TrailSpace.PART, reference=reference)
    for frame in (11, 25, 40):
        place = trail.world_points(frame)[frame - 11]
        np.testing.assert_allclose(place, motion.head("head")[frame - 11], atol=1e-9)


@pytest.mark.parametrize(
    ("part", "space", "reference"),
    [
        ("foot.L", TrailSpace.WORLD, ""),
        ("hand.L", TrailSpace.PART, "chest"),
        ("hips", TrailSpace.PART, "hips"),
        ("hand.L", TrailSpace.PICTURE, ""),
    ],
)
def test_what_cannot_be_drawn_is_no_trail(part, space, reference):
    assert trails.make_trail(make_motion(), part, space=space, reference=reference) is None


def make_camera():
    """A camera that flies and turns, as arrays and as Blender's own object for each frame."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    owner = bpy.data.objects.new("Cam", bpy.data.cameras.new("Cam"))
    scene.collection.objects.link(owner)
    owner.rotation_mode = "QUATERNION"
    count = len(FRAMES)
    places = np.c_[np.linspace(-1.0, 2.0, count), np.full(count, -9.0), np.full(count, 1.5)]
    angles = Rotation.from_euler(
        "xyz", np.c_[np.full(count, 88.0), FRAMES * 0, FRAMES * 0.4 - 8], degrees=True
    )
    one = np.ones(count)
    camera = ShotCamera(
        name="Cam",
        positions=places,
        rotations=to_wxyz(angles),
        lens_mm=50.0 * one,
        sensor_mm=np.c_[36.0 * one, 24.0 * one],
        sensor_fit=SensorFit.AUTO,
        shift=np.zeros((count, 2)),
        resolution=(1920.0, 1080.0),
        pixel_aspect=(1.0, 1.0),
        clip_m=np.c_[0.1 * one, 100.0 * one],
        focus_m=9.0 * one,
        f_stop=2.8 * one,
        depth_of_field=False,
        orthographic=False,
        ortho_scale=6.0 * one,
        motion_blur=False,
        shutter_frames=0.5,
    )

    def look(row, place):
        owner.location, owner.rotation_quaternion = places[row], camera.rotations[row]
        bpy.context.view_layer.update()
        return np.array(world_to_camera_view(scene, owner, Vector(place)))

    return camera, look


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
    trail = trails.make_trail(make_motion(), "head")
    assert trail.travels(11, 40, 0.01)
    assert not trail.travels(11, 12, 0.05)


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


def test_projection_is_blenders():
    """Against Blender's own projection through a camera."""
    camera, look = make_camera()
    owner = bpy.data.objects["Cam"]
    place = (0.3, 0.2, 1.8)
    seen = look(5, place)
    render = bpy.context.scene.render
    render.resolution_x, render.resolution_y = 1920, 1080
    depsgraph = bpy.context.evaluated_depsgraph_get()
    matrix = owner.calc_matrix_camera(depsgraph, x=1920, y=1080) @ owner.matrix_world.inverted()
    (pixel,) = overlay_marks.project([place], np.array(matrix), 1920, 1080)
    np.testing.assert_allclose(pixel, seen[:2] * (1920, 1080), atol=0.01)
    behind = overlay_marks.project([(0.0, -50.0, 1.5)], np.array(matrix), 1920, 1080)
    assert np.isnan(behind).all()


def stack(flags, pixels, frame=22, chosen=None):
    return overlay_marks.stack_flags(
        overlay_marks.tabulate(flags), np.array(pixels, float), (800, 600), frame, 16, 1.0, chosen
    )


def test_flags_in_one_place_stack_with_the_worst_on_top():
    flags = [
        make_flag(severity=Severity.FAINT),
        make_flag("head", severity=Severity.GLARING),
        make_flag("hips", severity=Severity.CLEAR),
    ]
    stacks = stack(flags, [(100, 100), (106, 103), (400, 100)])
    assert sorted(s.count for s in stacks) == [1, 2]
    pair = next(s for s in stacks if s.count == 2)
    assert [flag.part for flag in pair.flags] == ["head", "hand.L"]
    assert (pair.x, pair.y) == (106, 103)


def test_the_selected_flag_comes_first_in_its_stack():
    faint, glaring = (
        make_flag(severity=Severity.FAINT),
        make_flag("head", severity=Severity.GLARING),
    )
    (pair,) = stack([faint, glaring], [(100, 100), (101, 100)], chosen=faint.id)
    assert pair.flags[0] is faint


def test_far_from_the_current_frame_flags_are_quiet():
    near, far = make_flag(), make_flag("head", 80, 84, 82)
    quiet, loud = stack([near, far], [(100, 100), (300, 100)])
    assert (loud.flags[0], loud.alpha, loud.size) == (near, 1.0, 1.0)
    assert quiet.alpha == overlay_marks.QUIET_ALPHA
    assert quiet.size < loud.size


def test_a_flag_over_the_whole_shot_is_near_where_it_shows_most_only():
    long = make_flag(start=1, end=500, peak=400)
    nearness = overlay_marks.measure_nearness(overlay_marks.tabulate([long]), 20, 16)
    assert nearness.tolist() == [0.0]
    assert overlay_marks.measure_nearness(overlay_marks.tabulate([long]), 395, 16).tolist() == [1.0]


def test_what_is_behind_the_eye_or_outside_is_no_stack():
    flags = [make_flag(), make_flag("head"), make_flag("hips")]
    assert stack(flags, [(np.nan, np.nan), (-200, 50), (900, 700)]) == []


def test_pointing_finds_the_flag_that_is_drawn_on_top():
    (found,) = stack([make_flag()], [(100, 100)])
    assert found.contains(107, 115)
    assert not found.contains(60, 115)
    assert overlay_marks.find_stack([found], 107, 115) is found
    assert overlay_marks.find_stack([found], 300, 300) is None


def test_each_severity_has_a_shape_of_its_own():
    kinds = {
        overlay_marks.mark_stack(stack([make_flag(severity=s)], [(9, 9)])[0], False, None).kind
        for s in Severity
    }
    assert len(kinds) == 3


def test_what_is_decided_is_hollow_and_grey():
    meant = make_flag(state=State.MEANT)
    mark = overlay_marks.mark_stack(stack([meant], [(9, 9)])[0], False, None)
    assert (mark.fill, mark.colour) == (overlay_marks.Fill.HOLLOW, palette.QUIET)


def test_arrays_for_the_graphics_card_lie_in_memory_row_by_row():
    """It is handed the bytes, whatever strides an array has."""
    marks = [
        overlay_marks.mark_stack(stack([make_flag(severity=s)], [(9, 9)])[0], False, None)
        for s in Severity
    ]
    boxes = [((0.0, 0.0, 5.0, 6.0), (1.0, 0.0, 0.0, 1.0), 2.0)] * 3
    for arrays, indices in (
        overlay_marks.build_marks(marks, 1.0),
        overlay_marks.build_boxes(boxes),
        trails.build_ribbons([trails.make_trail(make_motion(), "head")]),
    ):
        assert indices.flags["C_CONTIGUOUS"]
        for name, values in arrays.items():
            assert values.flags["C_CONTIGUOUS"] and values.dtype == np.float32, name
    shape = overlay_marks.build_marks(marks, 1.0)[0]["shape"]
    assert np.frombuffer(shape.tobytes(), np.float32).reshape(-1, 4)[::4, 0].tolist() == [1, 2, 3]
