# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The sampled motion against the host's own evaluation of the open scene."""

import bpy
import numpy as np
import pytest
import rigs
from scipy.spatial.transform import Rotation

from fettle.addon.sampling import sample_shot, sample_subject
from fettle.addon.subjects import find_subjects
from fettle.core_math import Stage

LAST = 24


@pytest.fixture
def scene():
    return rigs.start_empty()


def read(scene, name="Rig", last=LAST, **options):
    bpy.context.view_layer.update()
    subjects = {s.name: s for s in find_subjects(scene, bpy.context.view_layer)}
    options = {"route": "exact", **options}
    return sample_subject(scene, bpy.context.view_layer, subjects[name], (1, last), **options)


def turn_of(quaternions):
    """Turn away from the first frame, degrees."""
    away = Rotation.from_quat(np.roll(quaternions, -1, axis=-1))
    return np.degrees((away[0].inv() * away).magnitude())


def make_target(scene, name="Target", **keys):
    target = bpy.data.objects.new(name, None)
    scene.collection.objects.link(target)
    for path, values in keys.items():
        rigs.key(target, path, values)
    return target


def test_plain_keys(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    sample = read(scene)
    rigs.assert_agrees(sample.motion, rig)
    assert len(sample.motion.parts) == len(rigs.full_body())
    assert sample.motion.frames.tolist() == list(range(1, LAST + 1))
    assert sample.facts.route == "exact"
    assert sample.facts.unmapped
    # Hips to crown 0.85 m, 0.03 m down to the line of the hip joints, 0.841 m of leg; the sole
    # lies 0.039 of stature under the ankle (Drillis & Contini 1966, from memory).
    assert sample.motion.height == pytest.approx((0.85 + 0.03 + 0.841) / (1 - 0.039), abs=0.003)


def test_constraints_to_things_outside_the_armature(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    carrier = make_target(scene, "Carrier", location={1: (0, 0, 0), LAST: (0, 1, 0.5)})
    target = make_target(scene, location={1: (0.6, -0.3, 1.4), LAST: (0.1, -0.5, 0.7)})
    target.parent = carrier  # moved by a parent that no bone knows
    reach = rig.pose.bones["forearm.L"].constraints.new("IK")
    reach.target, reach.chain_count = target, 2
    turn = rig.pose.bones["head"].constraints.new("COPY_ROTATION")
    turn.target, turn.mix_mode, turn.influence = target, "ADD", 0.5
    aim = rig.pose.bones["hand.R"].constraints.new("DAMPED_TRACK")
    aim.target = target
    sample = read(scene)
    rigs.assert_agrees(sample.motion, rig)
    hand = sample.motion.head("hand.L")
    assert np.linalg.norm(np.ptp(hand, axis=0)) > 0.5  # the constraint is alive


def test_drivers_from_outside_and_from_the_frame(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    target = make_target(scene, location={1: (0, 0, 0), LAST: (1.2, 0, 0)})
    for index, (expression, identifier) in enumerate((("v * 0.7", target), ("frame * 0.02", None))):
        curve = rig.pose.bones["neck"].driver_add("rotation_euler", index)
        curve.driver.expression = expression
        if identifier is not None:
            variable = curve.driver.variables.new()
            variable.name, variable.type = "v", "TRANSFORMS"
            variable.targets[0].id = identifier
            variable.targets[0].transform_type = "LOC_X"
    sample = read(scene)
    rigs.assert_agrees(sample.motion, rig)
    assert turn_of(sample.motion.rotation("head")).max() > 20.0


def test_driver_that_reads_a_property_of_the_active_scene(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    scene["lean"] = 0.0
    for frame, value in ((1, 0.0), (LAST, 1.0)):
        scene["lean"] = value
        scene.keyframe_insert('["lean"]', frame=frame)
    curve = rig.pose.bones["chest"].driver_add("rotation_euler", 1)
    variable = curve.driver.variables.new()
    variable.name, variable.type = "lean", "CONTEXT_PROP"
    variable.targets[0].context_property = "ACTIVE_SCENE"
    variable.targets[0].data_path = '["lean"]'
    curve.driver.expression = "lean"
    rigs.assert_agrees(read(scene).motion, rig)


def test_object_moved_turned_scaled_and_carried(scene):
    carrier = make_target(scene, "Carrier", location={1: (0, 0, 0), LAST: (3, 1, 0)})
    carrier.rotation_euler = (0.3, 0.1, 0.7)
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    rig.parent = carrier
    rig.scale = (1.2, 0.9, 1.1)
    rigs.key(rig, "rotation_euler", {1: (0, 0, 0), LAST: (0.2, 0, 2.5)})
    rigs.assert_agrees(read(scene).motion, rig)


@pytest.mark.parametrize("what", ["rig", "target", "rig and target"])
def test_hidden_objects_are_evaluated_too(scene, what):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    target = make_target(scene, location={1: (0, 0, 1), LAST: (1, 0, 1)})
    follow = rig.pose.bones["hand.R"].constraints.new("COPY_LOCATION")
    follow.target = target
    before = rigs.ask_host(rig, ["hand.R", "head"], 1, LAST)
    rig.hide_viewport = "rig" in what
    target.hide_viewport = "target" in what
    motion = read(scene).motion
    rigs.compare(rigs.matrices_of(motion, ["hand.R", "head"]), before)


@pytest.mark.parametrize("hidden_first", [True, False])
def test_frames_on_which_keys_hide_the_rig_are_not_read(scene, hidden_first):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    before = rigs.ask_host(rig, ["hand.L"], 1, LAST)
    change = 10 if hidden_first else 16
    rigs.key(rig, "hide_viewport", {1: hidden_first, change: not hidden_first})
    scene.frame_set(1)
    sample = read(scene)
    seen = range(change, LAST + 1) if hidden_first else range(1, change)
    assert sample.motion.frames.tolist() == list(seen)
    rigs.compare(rigs.matrices_of(sample.motion, ["hand.L"]), before[seen[0] - 1 : seen[-1]])
    assert f"frames {seen[0]}-{seen[-1]} were read" in sample.facts.route_reason


def test_unit_scale_and_time_remapping(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    scene.unit_settings.system, scene.unit_settings.scale_length = "METRIC", 0.01
    scene.render.frame_map_old, scene.render.frame_map_new = 100, 150
    scene.render.fps, scene.render.fps_base = 30, 1.001
    motion = read(scene).motion
    rigs.assert_agrees(motion, rig, scale=0.01)
    assert motion.fps == pytest.approx(30.0 / 1.001)
    # Keys on frame 24 of the animation are seen at frame 24 x 150 / 100 of the scene.
    assert motion.keys["upper_arm.L"].frames.tolist() == pytest.approx([1.5, 36.0])


def test_nla_strips(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    data = rig.animation_data
    action, slot = data.action, getattr(data, "action_slot", None)
    track = data.nla_tracks.new()
    strip = track.strips.new("Swing", 5, action)
    if slot is not None:
        strip.action_slot = slot
    strip.scale, strip.repeat = 0.5, 2.0
    data.action = None
    sample = read(scene, last=32)
    rigs.assert_agrees(sample.motion, rig)
    # Two rounds of frames 1 to 24 at half length from frame 5 on: 5 to 16.5, then to 28.
    assert sample.motion.keys["upper_arm.L"].frames.tolist() == pytest.approx([5.0, 16.5, 28.0])


def test_linked_and_overridden_characters(scene, tmp_path):
    rig = rigs.make_armature("Docker")
    rigs.swing_body(rig)
    collection = bpy.data.collections.new("Character")
    scene.collection.children.link(collection)
    scene.collection.objects.unlink(rig)
    collection.objects.link(rig)
    path = str(tmp_path / "character.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)

    scene = rigs.start_empty()
    with bpy.data.libraries.load(path, link=True) as (_, wanted):
        wanted.collections = ["Character"]
    linked = wanted.collections[0]
    scene.collection.children.link(linked)
    rig = linked.objects[0]
    assert rig.library is not None
    rigs.assert_agrees(read(scene, "Docker").motion, rig)

    over = linked.override_hierarchy_create(scene, bpy.context.view_layer)
    rig = over.objects[0]
    assert rig.override_library is not None
    bpy.context.view_layer.update()
    rig.location = (2.0, 0.0, 0.0)
    rigs.key(rig.pose.bones["head"], "rotation_euler", {1: (0, 0, 0), LAST: (0, 1.0, 0)})
    subjects = [s for s in find_subjects(scene, bpy.context.view_layer) if s.library is None]
    sample = sample_subject(scene, bpy.context.view_layer, subjects[0], (1, LAST))
    rigs.assert_agrees(sample.motion, rig)


def test_character_in_an_instanced_collection(scene, tmp_path):
    rig = rigs.make_armature("Docker")
    rigs.swing_body(rig)
    collection = bpy.data.collections.new("Character")
    collection.objects.link(rig)
    scene.collection.objects.unlink(rig)
    collection.instance_offset = (0.5, 0.0, 0.0)
    placed = make_target(scene, "Placed", location={1: (0, 0, 0), LAST: (0, 2, 0)})
    placed.instance_type, placed.instance_collection = "COLLECTION", collection
    placed.rotation_euler = (0.0, 0.0, 1.0)
    motion = read(scene, "Docker").motion
    for frame in (1, 13, LAST):
        scene.frame_set(frame)
        graph = bpy.context.evaluated_depsgraph_get()
        worlds = [
            np.array(i.matrix_world @ i.object.pose.bones["hand.L"].matrix)
            for i in graph.object_instances
            if i.is_instance and i.object.original == rig
        ]
        mine = rigs.matrices_of(motion, ["hand.L"])[frame - 1]
        rigs.compare(mine[np.newaxis], np.array(worlds)[np.newaxis])


def test_things_are_sampled_as_one_part(scene):
    bpy.ops.mesh.primitive_cube_add(size=2.0)
    crate = bpy.context.object
    crate.name = "Crate"
    crate.rotation_mode = "QUATERNION"
    rigs.key(crate, "location", {1: (0, 0, 0), LAST: (4, 0, 2)})
    rigs.key(crate, "rotation_quaternion", {1: (1, 0, 0, 0), LAST: (0.5, 0.5, 0.5, 0.5)})
    crate.scale = (0.25, 0.25, 0.5)
    motion = read(scene, "Crate").motion
    assert motion.parts == ("root",)
    assert motion.height == pytest.approx(1.0)  # 2 m x 0.5
    rigs.compare(rigs.matrices_of(motion, ["root"]), rigs.ask_host(crate, [""], 1, LAST))
    assert motion.channels["root"].mode == "QUATERNION"
    assert motion.keys["root"].frames.tolist() == [1.0, float(LAST)]


def test_thing_that_is_scaled_away_does_not_seem_to_turn(scene):
    bpy.ops.mesh.primitive_cube_add()
    ball = bpy.context.object
    ball.rotation_euler = (0.3, 0.2, 0.9)
    rigs.key(ball, "location", {1: (0, 0, 0), LAST: (4, 0, 2)})
    rigs.key(ball, "scale", {1: (0, 0, 0), 6: (0, 0, 0), 7: (1, 1, 1)})
    turned = read(scene, "Cube").motion.rotation("root")
    np.testing.assert_allclose(turned, np.tile(turned[-1], (LAST, 1)), atol=1e-6)


def test_raw_channels_come_in_degrees_per_mode(scene):
    rig = rigs.make_armature()
    bones = rig.pose.bones
    rigs.key(bones["head"], "rotation_euler", {1: (0, 0, 0), LAST: (0, np.pi, 0)})
    bones["chest"].rotation_mode = "AXIS_ANGLE"
    rigs.key(bones["chest"], "rotation_axis_angle", {1: (0, 0, 1, 0), LAST: (np.pi / 2, 0, 1, 0)})
    bones["hand.L"].rotation_mode = "QUATERNION"
    rigs.key(bones["hand.L"], "rotation_quaternion", {1: (1, 0, 0, 0), LAST: (-2, 0, 0, 0)})
    channels = read(scene).motion.channels
    assert set(channels) == {"head", "chest", "hand.L"}
    assert channels["head"].mode == "XYZ"
    np.testing.assert_allclose(channels["head"].values[-1], (0, 180, 0), atol=1e-4)
    np.testing.assert_allclose(channels["chest"].values[-1], (90, 0, 1, 0), atol=1e-4)
    np.testing.assert_allclose(channels["hand.L"].values[-1], (-2, 0, 0, 0), atol=1e-6)


def test_the_users_word_on_map_and_stage(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    sample = read(
        scene, stage=Stage.BLOCKING, corrections={"hand.L": "forearm.L", "toe.R": "", "head": "no"}
    )
    assert sample.motion.stage is Stage.BLOCKING
    assert sample.facts.parts["hand.L"].bone == "forearm.L"
    assert sample.facts.parts["hand.L"].confidence == 1.0
    assert not sample.motion.has("toe.R")


@pytest.mark.slow
def test_generated_production_rig(scene):
    rig = rigs.generate_rig()
    ik, torso = rig.pose.bones["hand_ik.L"], rig.pose.bones["torso"]
    rig.pose.bones["upper_arm_parent.L"]["IK_FK"] = 0.0
    torso.rotation_mode = "XYZ"
    rigs.key(torso, "rotation_euler", {1: (0, 0, 0), LAST: (0, 0, 0.9)})
    rigs.key(ik, "location", {1: (0, 0, 0), LAST: (0.02, -0.01, 0.0)})
    bpy.context.view_layer.update()
    shot = sample_shot(
        scene,
        bpy.context.view_layer,
        find_subjects(scene, bpy.context.view_layer),
        (1, LAST),
        route="exact",
    )
    assert not shot.failures
    (sample,) = [s for s in shot.samples if s.motion.subject == rig.name]
    motion = sample.motion
    rigs.assert_agrees(motion, rig)
    for part in ("hand.L", "forearm.L", "upper_arm.L", "chest", "hips", "head", "foot.R"):
        assert motion.has(part)
    # The hand is held in the world while the body turns: that is what the rig was given.
    assert turn_of(motion.rotation("hand.L")).max() < 3.0
    assert turn_of(motion.rotation("hips")).max() > 30.0
    assert "hand_ik.L" in motion.keys["hand.L"].controls
