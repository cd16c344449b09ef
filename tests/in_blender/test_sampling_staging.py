# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Looking around a subject: what hides it, what does not, and that nobody notices the looking."""

import bpy
import numpy as np
import pytest
import rigs

from fettle.addon.sampling import run_sampling, sample_shot
from fettle.addon.sampling_staging import find_own, look_around
from fettle.addon.sight_lines import is_see_through
from fettle.addon.subjects import find_subjects
from fettle.core_math import ALL_CHECKS, run_checks

LAST = 24


@pytest.fixture
def scene():
    scene = rigs.start_empty()
    rigs.swing_body(rigs.make_armature(), LAST)
    camera = bpy.data.objects.new("Cam", bpy.data.cameras.new("Cam"))
    scene.collection.objects.link(camera)
    camera.location, camera.rotation_euler = (0.0, -7.0, 1.0), (np.pi / 2, 0.0, 0.0)
    scene.camera = camera
    return scene


def add_wall(name="Wall", place=(0.0, -3.0, 1.0), size=(2.0, 0.1, 2.0)):
    """A box as large as `size`, square to the camera."""
    bpy.ops.mesh.primitive_cube_add(size=1.0, location=place)
    wall = bpy.context.object
    wall.name, wall.scale = name, size
    return wall


def look(scene, **options):
    layer = bpy.context.view_layer
    layer.update()
    subjects = [s for s in find_subjects(scene, layer) if s.object_name == "Rig"]
    shot = sample_shot(scene, layer, subjects, (1, LAST))
    return run_sampling(look_around(scene, layer, subjects, shot, **options)).samples[0].motion


def share(scene):
    """Return the largest share of the body that is hidden."""
    return look(scene).staging.hidden.sum(axis=1).max()


def test_a_wall_between_camera_and_subject_hides_all_of_it(scene):
    add_wall(size=(4.0, 0.1, 4.0))
    motion = look(scene)
    np.testing.assert_allclose(motion.staging.hidden.sum(axis=1), 1.0)
    assert motion.staging.things == ("Wall",)
    reading = run_checks(motion, [c for c in ALL_CHECKS if c.id == "blocked-view"])
    (flag,) = reading.flags
    assert "Wall hides 100 %" in flag.message and flag.severity.word == "glaring"
    assert (flag.start, flag.end) == (1, LAST)


def test_looking_in_slices_sees_the_same(scene):
    """Pauses may fall between any two sight lines; what shows as bounds only is looked at again."""
    add_wall(place=(0.3, -3.0, 0.4), size=(1.0, 0.1, 1.0))
    add_wall("Crate", place=(-0.4, -2.0, 1.2), size=(0.3, 0.3, 0.3)).display_type = "BOUNDS"
    at_once, sliced = look(scene).staging, look(scene, budget_ms=0.0).staging
    assert 0.0 < at_once.hidden.min(axis=0).sum() and at_once.things == sliced.things
    np.testing.assert_array_equal(at_once.hidden, sliced.hidden)
    np.testing.assert_array_equal(at_once.boxes, sliced.boxes)


def test_half_a_wall_hides_what_is_behind_it(scene):
    """Seen from 7 m, a wall at 4 m up to 1 m hides what lies below the camera's height."""
    add_wall(place=(0.0, -3.0, 0.0), size=(6.0, 0.1, 2.0))
    motion = look(scene)
    row = 0
    rows = [i for i, part in enumerate(motion.parts) if part != "root"]
    heads, tails = motion.heads[row, rows], motion.tails[row, rows]
    low = np.concatenate((heads, 0.5 * (heads + tails)))[:, 2] < 1.0
    assert motion.staging.tried[0] == len(low)
    assert motion.staging.hidden[0].sum() == pytest.approx(low.mean())


def test_a_wall_behind_the_subject_hides_nothing_but_is_a_thing_behind(scene):
    add_wall(place=(0.0, 4.0, 1.0))
    staging = look(scene).staging
    assert staging.hidden.max() == 0.0
    np.testing.assert_allclose(staging.depths[0, 0], [10.95, 11.05], atol=1e-5)
    # 36 mm and 50 mm: the picture is 0.72 of the distance wide, its height 9/16 of that.
    half = 1.0 / (0.72 * 10.95)
    expected = [0.5 - half, 0.5 - half * 16 / 9, 0.5 + half, 0.5 + half * 16 / 9]
    np.testing.assert_allclose(staging.boxes[0, 0], expected, atol=1e-5)


@pytest.mark.parametrize(
    "hide",
    [
        lambda wall: setattr(wall, "hide_render", True),
        lambda wall: setattr(wall, "visible_camera", False),
        lambda wall: setattr(wall, "is_shadow_catcher", True),
        lambda wall: setattr(wall, "parent", bpy.data.objects["Rig"]),
        lambda wall: setattr(wall.constraints.new("CHILD_OF"), "target", bpy.data.objects["Rig"]),
    ],
    ids=["hidden", "invisible to the camera", "shadow catcher", "child", "constrained"],
)
def test_what_does_not_show_or_is_the_subjects_own_hides_nothing(scene, hide):
    wall = add_wall()
    assert share(scene) > 0.5
    hide(wall)
    assert share(scene) == 0.0


@pytest.mark.parametrize(
    "show",
    [
        lambda wall: setattr(wall, "display_type", "WIRE"),
        lambda wall: setattr(wall, "display_type", "BOUNDS"),
        lambda wall: setattr(wall, "hide_viewport", True),
        lambda wall: wall.hide_set(True),
        lambda wall: setattr(wall.users_collection[0], "hide_viewport", True),
        lambda wall: setattr(wall, "show_in_front", True),
    ],
    ids=["wire", "bounds", "hidden on screen", "eye", "collection hidden", "in front"],
)
def test_how_the_viewport_shows_a_thing_makes_no_difference(scene, show):
    wall = add_wall(size=(4.0, 0.1, 4.0))
    away = bpy.data.collections.new("Away")
    scene.collection.children.link(away)
    scene.collection.objects.unlink(wall)
    away.objects.link(wall)
    show(wall)
    motion = look(scene)
    np.testing.assert_allclose(motion.staging.hidden.sum(axis=1), 1.0)
    assert motion.staging.things == ("Wall",)


def make_kit():
    """A wall that lies in a collection which is shown by instances only."""
    wall = add_wall(place=(0.0, 0.0, 0.0), size=(4.0, 0.1, 4.0))
    kit = bpy.data.collections.new("Kit")
    bpy.context.scene.collection.objects.unlink(wall)
    kit.objects.link(wall)
    return kit


def test_an_instanced_collection_hides_as_the_one_who_shows_it(scene):
    shown = bpy.data.objects.new("Set piece", None)
    shown.instance_type, shown.instance_collection = "COLLECTION", make_kit()
    shown.location = (0.0, -3.0, 1.0)
    scene.collection.objects.link(shown)
    staging = look(scene).staging
    np.testing.assert_allclose(staging.hidden.sum(axis=1), 1.0)
    assert staging.things == ("Set piece",)
    np.testing.assert_allclose(staging.depths[0, 0], [3.95, 4.05], atol=1e-5)
    bpy.data.objects["Wall"].hide_render = True
    assert share(scene) == 0.0


def test_instances_of_geometry_nodes_hide_as_the_one_who_scatters_them(scene):
    wall = make_kit().objects[0]
    wall.location = (0.0, 0.0, 0.0)
    tree = bpy.data.node_groups.new("Scatter", "GeometryNodeTree")
    tree.interface.new_socket("Geometry", in_out="INPUT", socket_type="NodeSocketGeometry")
    tree.interface.new_socket("Geometry", in_out="OUTPUT", socket_type="NodeSocketGeometry")
    nodes = tree.nodes
    start, end = nodes.new("NodeGroupInput"), nodes.new("NodeGroupOutput")
    place = nodes.new("GeometryNodeInstanceOnPoints")
    info = nodes.new("GeometryNodeObjectInfo")
    info.inputs["Object"].default_value = wall
    info.inputs["As Instance"].default_value = True
    place.inputs["Scale"].default_value = (4.0, 0.1, 4.0)
    tree.links.new(start.outputs[0], place.inputs["Points"])
    tree.links.new(info.outputs["Geometry"], place.inputs["Instance"])
    tree.links.new(place.outputs[0], end.inputs[0])
    mesh = bpy.data.meshes.new("Points")
    mesh.from_pydata([(0.0, 0.0, 0.0), (30.0, 0.0, 0.0)], [], [])
    scatter = bpy.data.objects.new("Scatter", mesh)
    scatter.location = (0.0, -3.0, 1.0)
    scatter.modifiers.new("Nodes", "NODES").node_group = tree
    scene.collection.objects.link(scatter)
    staging = look(scene).staging
    np.testing.assert_allclose(staging.hidden.sum(axis=1), 1.0)
    assert staging.things == ("Scatter",)


@pytest.mark.parametrize("frames", [(6, 18), (7, 10), (2, 23)])
def test_the_very_frames_are_found_although_few_are_looked_at(scene, frames):
    wall = add_wall(size=(4.0, 0.1, 4.0))
    there, gone = (0.0, -3.0, 1.0), (9.0, -3.0, 1.0)
    places = {1: gone, frames[0]: there, frames[1]: there, frames[1] + 1: gone}
    rigs.key(wall, "location", places, "CONSTANT")
    motion = look(scene)
    (flag,) = run_checks(motion, [c for c in ALL_CHECKS if c.id == "blocked-view"]).flags
    assert (flag.start, flag.end) == frames
    assert len(motion.staging.rows) < LAST * 2 // 3


def test_a_holdout_hides_what_is_behind_it(scene):
    add_wall().is_holdout = True
    assert share(scene) > 0.5


@pytest.mark.parametrize(("clear", "expected"), [(True, 0.0), (False, 1.0)])
def test_one_looks_through_glass_but_not_through_what_stands_behind_it(scene, clear, expected):
    glass = bpy.data.materials.new("Glass")
    if glass.node_tree is None:  # from 5.0 on every material has its nodes from the start
        glass.use_nodes = True
    glass.node_tree.nodes["Principled BSDF"].inputs["Alpha"].default_value = 0.1 if clear else 1.0
    assert is_see_through(glass) is clear
    add_wall("Pane", size=(6.0, 0.1, 6.0)).data.materials.append(glass)
    assert share(scene) == pytest.approx(expected)
    add_wall("Post", place=(0.0, -2.0, 1.0), size=(6.0, 0.1, 6.0))
    motion = look(scene)
    first = motion.staging.things.index("Post" if clear else "Pane")
    assert motion.staging.hidden[0, first] == pytest.approx(1.0)


def test_a_wall_that_moves_is_where_it_is_on_each_frame(scene):
    wall = add_wall(size=(4.0, 0.1, 4.0))
    rigs.key(wall, "location", {1: (0.0, -3.0, 1.0), 12: (0.0, -3.0, 1.0), 13: (9.0, -3.0, 1.0)})
    scene.frame_set(20)
    staging = look(scene).staging
    before = staging.rows + 1 <= 12
    np.testing.assert_allclose(staging.hidden.sum(axis=1), before.astype(float))


def test_a_wall_that_is_keyed_out_of_the_render_hides_only_until_then(scene):
    wall = add_wall(size=(4.0, 0.1, 4.0))
    for frame, hidden in ((1, False), (13, True)):
        wall.hide_render = hidden
        wall.keyframe_insert("hide_render", frame=frame)
    scene.frame_set(20)
    staging = look(scene).staging
    np.testing.assert_allclose(staging.hidden.sum(axis=1), (staging.rows + 1 < 13).astype(float))


def test_orthographic_sight_lines_are_parallel(scene):
    """Aside of a perspective sight line, straight before an orthographic one."""
    scene.camera.data.type, scene.camera.data.ortho_scale = "ORTHO", 4.0
    scene.camera.location.z = 3.0
    add_wall(place=(0.0, -6.5, 1.0), size=(4.0, 0.1, 4.0))
    scene.camera.data.shift_y = -0.5
    assert share(scene) == pytest.approx(1.0)


def test_the_scene_is_left_as_it_was(scene):
    add_wall()
    scene.frame_set(7)
    rig = bpy.data.objects["Rig"]
    rig.pose.bones["head"].location.x = 0.25  # posed, not keyed
    bpy.context.view_layer.update()
    count = [len(getattr(bpy.data, kind)) for kind in ("scenes", "objects", "meshes")]
    look(scene)
    assert scene.frame_current == 7 and rig.pose.bones["head"].location.x == 0.25
    assert [len(getattr(bpy.data, kind)) for kind in ("scenes", "objects", "meshes")] == count


def test_without_a_camera_nothing_is_looked_at(scene):
    scene.camera = None
    assert look(scene).staging is None


def test_own_things_reach_over_several_links(scene):
    rig = bpy.data.objects["Rig"]
    body, shirt = add_wall("Body"), add_wall("Shirt")
    body.modifiers.new("Bend", "ARMATURE").object = rig
    shirt.parent = body
    layer = bpy.context.view_layer
    subject = next(s for s in find_subjects(scene, layer) if s.object_name == "Rig")
    assert find_own(scene, subject) == {"Rig", "Body", "Shirt"}
