# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What only the scene itself can show is named, left out, and read there on request."""

import bpy
import numpy as np
import pytest
import rigs

from fettle.addon.dependencies import find_scene_bound
from fettle.addon.sampling import SamplingError, sample_subject
from fettle.addon.subjects import find_subjects

LAST = 12


@pytest.fixture
def scene():
    return rigs.start_empty()


@pytest.fixture
def rig(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig, LAST)
    return rig


def read(scene, **options):
    bpy.context.view_layer.update()
    (subject,) = [s for s in find_subjects(scene, bpy.context.view_layer) if s.name == "Rig"]
    return sample_subject(scene, bpy.context.view_layer, subject, (1, LAST), **options).motion


def add_flag(scene):
    """A piece of cloth held at one corner."""
    bpy.ops.mesh.primitive_grid_add(x_subdivisions=8, y_subdivisions=8, size=1)
    flag = bpy.context.object
    flag.name = "Flag"
    pin, tip = flag.vertex_groups.new(name="pin"), flag.vertex_groups.new(name="tip")
    pin.add([0, 1, 2], 1.0, "REPLACE")
    tip.add([len(flag.data.vertices) - 1], 1.0, "REPLACE")
    flag.modifiers.new("Cloth", "CLOTH").settings.vertex_group_mass = "pin"
    return flag


def drive(rig, path_of, index, scene, path):
    curve = path_of.driver_add("location", index)
    variable = curve.driver.variables.new()
    variable.name = "v"
    variable.targets[0].id_type, variable.targets[0].id = "SCENE", scene
    variable.targets[0].data_path = path
    curve.driver.expression = "v * 0.01"


def test_bones_that_follow_cloth(scene, rig):
    follow = rig.pose.bones["forearm.R"].constraints.new("COPY_LOCATION")
    follow.target, follow.subtarget = add_flag(scene), "tip"
    mimic = rig.pose.bones["hand.L"].constraints.new("COPY_ROTATION")
    mimic.target, mimic.subtarget = rig, "hand.R"
    assert set(find_scene_bound(rig)) == {"forearm.R", "hand.R", "hand.L"}
    motion = read(scene)
    assert set(motion.dropped) == {"forearm.R", "hand.R", "hand.L"}
    assert "moved by cloth on 'Flag'" in motion.dropped["hand.R"]
    assert motion.has("upper_arm.R", "forearm.L")
    whole = read(scene, in_scene=True)
    assert whole.has("forearm.R", "hand.R", "hand.L")
    rigs.assert_agrees(whole, rig)
    assert np.ptp(whole.head("forearm.R")[:, 2]) > 0.01  # it falls


def test_the_same_mesh_followed_as_a_whole_needs_no_simulation(scene, rig):
    rig.pose.bones["forearm.R"].constraints.new("COPY_LOCATION").target = add_flag(scene)
    assert find_scene_bound(rig) == {}


@pytest.mark.parametrize("path", ["frame_current", '["lean"]'])
def test_drivers_that_read_the_scene(scene, rig, path):
    scene["lean"] = 0.0
    for frame, value in ((1, 0.0), (LAST, 50.0)):
        scene["lean"] = value
        scene.keyframe_insert('["lean"]', frame=frame)
    drive(rig, rig.pose.bones["hand.L"], 0, scene, path)
    rig["relay"] = 0.0
    motion = read(scene)
    assert set(motion.dropped) == {"hand.L"}
    assert path in motion.dropped["hand.L"]
    rigs.assert_agrees(motion, rig)
    rigs.assert_agrees(read(scene, in_scene=True), rig)


def test_a_value_of_the_scene_that_stands_still_is_fine(scene, rig):
    scene["lean"] = 30.0
    drive(rig, rig.pose.bones["hand.L"], 0, scene, '["lean"]')
    motion = read(scene)
    assert not motion.dropped
    rigs.assert_agrees(motion, rig)


def test_a_relay_by_a_custom_property(scene, rig):
    rig["relay"] = 0.0
    curve = rig.driver_add('["relay"]')
    variable = curve.driver.variables.new()
    variable.targets[0].id_type, variable.targets[0].id = "SCENE", scene
    variable.targets[0].data_path = "frame_current"
    curve.driver.expression = variable.name
    curve = rig.pose.bones["foot.L"].driver_add("rotation_euler", 0)
    variable = curve.driver.variables.new()
    variable.targets[0].id, variable.targets[0].data_path = rig, '["relay"]'
    curve.driver.expression = f"{variable.name} * 0.01"
    assert set(find_scene_bound(rig)) == {"foot.L", "toe.L"}


def test_the_whole_object(scene, rig):
    drive(rig, rig, 0, scene, "frame_current")
    with pytest.raises(SamplingError) as raised:
        read(scene)
    assert "frame_current" in str(raised.value) and "in the scene" in str(raised.value)
    rigs.assert_agrees(read(scene, in_scene=True), rig)


def test_rigid_bodies(scene, rig):
    bpy.ops.mesh.primitive_cube_add(location=(0, 0, 5))
    bpy.ops.rigidbody.object_add()
    rig.pose.bones["hand.L"].constraints.new("COPY_LOCATION").target = bpy.context.object
    assert find_scene_bound(rig)["hand.L"] == "moved by the rigid body 'Cube'"


def drive_by_context(rig, bone, path, what="ACTIVE_SCENE"):
    """Drive a bone by a property of whatever scene is active."""
    curve = rig.pose.bones[bone].driver_add("location", 1)
    variable = curve.driver.variables.new()
    variable.name, variable.type = "v", "CONTEXT_PROP"
    variable.targets[0].context_property, variable.targets[0].data_path = what, path
    curve.driver.expression = "v * 0.01"


@pytest.mark.parametrize(
    "path", ["frame_current", "frame_end", '["lean"]', '["sway"][1]', "gravity[2]", "render.fps"]
)
def test_what_any_scene_shows_alike_is_read_in_one_of_our_own(scene, rig, path):
    scene["lean"], scene["sway"] = 7.0, [1.0, 5.0]
    drive_by_context(rig, "neck", path)
    assert find_scene_bound(rig) == {}
    rigs.assert_agrees(read(scene), rig)


@pytest.mark.parametrize(
    ("path", "what"), [("audio_volume", "ACTIVE_SCENE"), ("samples", "ACTIVE_VIEW_LAYER")]
)
def test_what_only_the_active_scene_or_layer_has_is_named(scene, rig, path, what):
    drive_by_context(rig, "neck", path, what)
    assert set(find_scene_bound(rig)) == {"neck", "head"}
    assert f"driven by {path} of the active" in read(scene).dropped["neck"]
    rigs.assert_agrees(read(scene, in_scene=True), rig)
