# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The direct route against the host's own evaluation, and the choice between the routes."""

import bpy
import numpy as np
import pytest
import rigs

from fettle.addon.sampling import SamplingError, sample_subject
from fettle.addon.subjects import find_subjects

LAST = 24
MODES = "XYZ XZY YXZ YZX ZXY ZYX QUATERNION AXIS_ANGLE".split()
SCALES = "FULL FIX_SHEAR ALIGNED AVERAGE NONE NONE_LEGACY".split()


@pytest.fixture
def scene():
    return rigs.start_empty()


def read(scene, name="Rig", route=None, last=LAST):
    bpy.context.view_layer.update()
    subjects = {s.name: s for s in find_subjects(scene, bpy.context.view_layer)}
    layer = bpy.context.view_layer
    return sample_subject(scene, layer, subjects[name], (1, last), route=route)


def set_rotation(bone, values):
    mode = bone.rotation_mode
    if mode == "QUATERNION":
        bone.rotation_quaternion = (1.0 + values[0], *values[1:])
    elif mode == "AXIS_ANGLE":
        bone.rotation_axis_angle = values
    else:
        bone.rotation_euler = values[:3]
    return {"QUATERNION": "rotation_quaternion", "AXIS_ANGLE": "rotation_axis_angle"}.get(
        mode, "rotation_euler"
    )


def shake(rig, rng, scaled=True):
    """Give every bone keys on every channel, and any rotation mode and inheritance."""
    for bone in rig.pose.bones:
        bone.rotation_mode = rng.choice(MODES)
        rule = bone.bone
        rule.use_inherit_rotation = bool(rng.random() < 0.8)
        rule.inherit_scale = str(rng.choice(SCALES))
        rule.use_local_location = bool(rng.random() < 0.8)
        for frame in (1, int(rng.integers(5, 12)), LAST):
            bone.location = rng.normal(size=3) * 0.2
            if scaled:
                bone.scale = rng.uniform(0.5, 1.6, size=3) * rng.choice([1.0, 1.0, 1.0, -1.0], 3)
            channel = set_rotation(bone, rng.normal(size=4))
            for path in ("location", "scale", channel):
                bone.keyframe_insert(path, frame=frame)


@pytest.mark.parametrize("seed", range(12))
def test_any_rig_of_its_own_keys(scene, seed):
    rng = np.random.default_rng(seed)
    rig = rigs.make_armature()
    shake(rig, rng, scaled=seed % 3 > 0)
    carrier = bpy.data.objects.new("Carrier", None)
    scene.collection.objects.link(carrier)
    carrier.rotation_mode = str(rng.choice(MODES))
    rigs.key(carrier, "location", {1: rng.normal(size=3), LAST: rng.normal(size=3)})
    carrier.scale = rng.uniform(0.5, 2.0, size=3)
    rig.parent = carrier
    rig.matrix_parent_inverse = rigs.random_matrix(rng)
    rig.rotation_mode = str(rng.choice(MODES))
    rig.delta_location, rig.delta_scale = rng.normal(size=3), rng.uniform(0.5, 2.0, size=3)
    rig.delta_rotation_euler = rng.normal(size=3)
    rig.delta_rotation_quaternion = rng.normal(size=4)
    channel = set_rotation(rig, rng.normal(size=4))
    rig.keyframe_insert(channel, frame=1)
    set_rotation(rig, rng.normal(size=4))
    rig.keyframe_insert(channel, frame=LAST)
    sample = read(scene)
    assert sample.facts.route == "direct"
    rigs.assert_agrees(sample.motion, rig)
    exact = read(scene, route="exact").motion
    for part, channels in exact.channels.items():
        assert sample.motion.channels[part].mode == channels.mode
        np.testing.assert_allclose(
            sample.motion.channels[part].values, channels.values, rtol=1e-6, atol=2e-4
        )
    assert sample.motion.keys.keys() == exact.keys.keys()


@pytest.mark.parametrize("inherit", SCALES)
@pytest.mark.parametrize("rotates", [True, False])
@pytest.mark.parametrize("local", [True, False])
def test_what_a_bone_takes_over_from_its_parent(scene, inherit, rotates, local):
    rig = rigs.make_armature()
    bones = rig.pose.bones
    rigs.key(bones["chest"], "rotation_euler", {1: (0, 0, 0), LAST: (0.5, 0.9, -0.4)})
    rigs.key(bones["spine"], "scale", {1: (1, 1, 1), LAST: (0.6, 1.5, 2.0)})
    rigs.key(bones["chest"], "scale", {1: (1, 1, 1), LAST: (2.0, 0.7, 1.1)})
    rigs.key(bones["upper_arm.L"], "rotation_euler", {1: (0, 0, 0), LAST: (0.3, 0.8, 1.2)})
    rigs.key(bones["shoulder.L"], "location", {1: (0, 0, 0), LAST: (0.1, 0.2, 0.05)})
    rigs.key(bones["shoulder.L"], "rotation_euler", {1: (0, 0, 0), LAST: (0.2, 0.4, 0.9)})
    rule = rig.data.bones["shoulder.L"]
    rule.inherit_scale, rule.use_inherit_rotation, rule.use_local_location = inherit, rotates, local
    sample = read(scene)
    assert sample.facts.route == "direct"
    rigs.assert_agrees(sample.motion, rig)


def test_connected_bones_do_not_leave_their_parent(scene):
    table = rigs.full_body()
    rig = rigs.make_armature(bones=table)
    bpy.ops.object.mode_set(mode="EDIT")
    for name in ("forearm.L", "hand.L", "shin.R"):
        rig.data.edit_bones[name].use_connect = True
    bpy.ops.object.mode_set(mode="OBJECT")
    shake(rig, np.random.default_rng(4))
    assert rig.data.bones["forearm.L"].use_connect
    sample = read(scene, route="direct")
    rigs.assert_agrees(sample.motion, rig)


def test_values_that_are_posed_and_not_keyed(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    rig.pose.bones["neck"].rotation_euler = (0.3, 0.2, 0.1)
    rig.pose.bones["neck"].scale = (1.1, 1.2, 0.9)
    sample = read(scene, route="direct")
    rigs.assert_agrees(sample.motion, rig)


def test_a_quaternion_without_length(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    rig.pose.bones["neck"].rotation_mode = "QUATERNION"
    rig.pose.bones["neck"].rotation_quaternion = (0.0, 0.0, 0.0, 0.0)
    rig.pose.bones["head"].rotation_mode = "AXIS_ANGLE"
    rig.pose.bones["head"].rotation_axis_angle = (0.7, 0.0, 0.0, 0.0)
    rigs.assert_agrees(read(scene, route="direct").motion, rig)


def test_one_whole_nla_strip(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    put_into_strip(rig, 4)
    sample = read(scene, last=40)
    assert sample.facts.route == "direct"  # holds its ends
    rigs.assert_agrees(sample.motion, rig)


def test_a_track_without_strips(scene):
    """One that plays alone silences the action, so that nothing acts."""
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    track = rig.animation_data.nla_tracks.new()
    rigs.assert_agrees(read(scene, route="direct").motion, rig)
    track.is_solo = True
    bpy.context.view_layer.update()
    assert not find_subjects(scene, bpy.context.view_layer)


def put_into_strip(rig, start):
    data = rig.animation_data
    slot = getattr(data, "action_slot", None)
    strip = data.nla_tracks.new().strips.new("Swing", start, data.action)
    if slot is not None:
        strip.action_slot = slot
    data.action = None
    return strip


def test_muted_curves_groups_and_modifiers(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    curves = rigs.curves_of(rig)
    curves[0].mute = True
    curves[3].modifiers.new("NOISE").strength = 0.4
    cycles = curves[7].modifiers.new("CYCLES")
    cycles.mode_after = "MIRROR"
    for curve in curves:
        if "thigh" in curve.data_path and curve.group is not None:
            curve.group.mute = True
    sample = read(scene, last=60, route="direct")
    rigs.assert_agrees(sample.motion, rig)


def test_time_remapping(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    scene.render.frame_map_old, scene.render.frame_map_new = 130, 100
    rigs.assert_agrees(read(scene, route="direct").motion, rig)


def test_things_and_their_parents(scene):
    bpy.ops.mesh.primitive_cube_add()
    crate = bpy.context.object
    cart = bpy.data.objects.new("Cart", None)
    scene.collection.objects.link(cart)
    crate.parent = cart
    rigs.key(cart, "rotation_euler", {1: (0, 0, 0), LAST: (0.2, 0.4, 2.0)})
    rigs.key(crate, "location", {1: (0, 0, 0), LAST: (1, 2, 3)})
    sample = read(scene, "Cube")
    assert sample.facts.route == "direct"
    rigs.compare(rigs.matrices_of(sample.motion, ["root"]), rigs.ask_host(crate, [""], 1, LAST))


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ("constraint", "constraint 'Copy Rotation' on hand.L"),
        ("ik", "constraint 'IK' on foot.L"),
        ("driver", "a driver moves neck"),
        ("object constraint", "constraint 'Copy Location' on Rig"),
        ("bone parent", "parented to more than an object's transform"),
        ("keyed mode", "keys change rotation_mode of head"),
        ("two strips", "NLA mixes several actions"),
        ("bent strip", "NLA strip is bent"),
        ("short strip", "does not cover all frames"),
        ("hidden", "keys hide Rig"),
        ("armature data", "armature data is animated"),
    ],
)
def test_what_calls_for_the_exact_route(scene, what, words):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    bones = rig.pose.bones
    other = bpy.data.objects.new("Other", None)
    scene.collection.objects.link(other)
    other.location = (1.0, 2.0, 3.0)
    if what == "constraint":
        bones["hand.L"].constraints.new("COPY_ROTATION").target = other
    elif what == "ik":
        ik = bones["foot.L"].constraints.new("IK")
        ik.target, ik.chain_count, ik.use_tail = other, 3, False
    elif what == "driver":
        bones["neck"].driver_add("rotation_euler", 0).driver.expression = "frame * 0.1"
    elif what == "object constraint":
        rig.constraints.new("COPY_LOCATION").target = other
    elif what == "bone parent":
        carrier = rigs.make_armature("Carrier")
        rig.parent, rig.parent_type, rig.parent_bone = carrier, "BONE", "hips"
    elif what == "keyed mode":
        bones["head"].keyframe_insert("rotation_mode", frame=1)
    elif what == "two strips":
        strip = put_into_strip(rig, 1)
        again = rig.animation_data.nla_tracks.new().strips.new("Again", 5, strip.action)
        if hasattr(strip, "action_slot"):
            again.action_slot = strip.action_slot
        again.blend_type = "ADD"
    elif what == "bent strip":
        put_into_strip(rig, 1).scale = 1.5
    elif what == "short strip":
        put_into_strip(rig, 3).extrapolation = "NOTHING"
    elif what == "hidden":
        rigs.key(rig, "hide_viewport", {1: False, 20: False})
    elif what == "armature data":
        rig.data["x"] = 0.0
        rig.data.keyframe_insert('["x"]', frame=1)
    sample = read(scene)
    assert sample.facts.route == "exact"
    assert words in sample.facts.route_reason
    rigs.assert_agrees(sample.motion, rig)
    with pytest.raises(SamplingError, match="no direct route"):
        read(scene, route="direct")


@pytest.mark.parametrize("what", ["muted", "on a finger", "chain that ends above", "other bone"])
def test_what_does_not_matter(scene, what):
    table = {**rigs.full_body(), "ctrl_spare": ("root", (2, 0, 0), (2, 0, 1))}
    rig = rigs.make_armature(bones=table)
    rigs.swing_body(rig)
    bones = rig.pose.bones
    if what == "muted":
        limit = bones["hand.L"].constraints.new("LIMIT_ROTATION")
        limit.mute = True
    elif what == "on a finger":
        bones["ctrl_spare"].constraints.new("COPY_LOCATION").target = rig
    elif what == "chain that ends above":
        ik = bones["ctrl_spare"].constraints.new("IK")
        ik.chain_count = 1
    elif what == "other bone":
        bones["ctrl_spare"].driver_add("location", 0).driver.expression = "frame"
    sample = read(scene)
    assert sample.facts.route == "direct", sample.facts.route_reason
    assert "ctrl_spare" not in {entry.bone for entry in sample.facts.parts.values()}
    rigs.assert_agrees(sample.motion, rig)


def test_broken_values(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    for curve in rigs.curves_of(rig):
        if curve.data_path == 'pose.bones["forearm.L"].rotation_euler':
            curve.keyframe_points[0].co.y = float("nan")
    motion = read(scene, route="direct").motion
    assert set(motion.dropped) == {"forearm.L", "hand.L"}
    assert np.isfinite(motion.heads).all()


@pytest.mark.captures
@pytest.mark.slow
@pytest.mark.filterwarnings(
    "ignore:unclosed file", "ignore::pytest.PytestUnraisableExceptionWarning"
)
@pytest.mark.parametrize("name", ["01_01.bvh", "01_03.bvh", "Boxing_Toes.bvh"])
def test_captures_by_both_routes(scene, capture, name):
    bpy.ops.preferences.addon_enable(module="io_anim_bvh")
    path = str(capture(name))
    bpy.ops.import_anim.bvh(filepath=path, global_scale=0.01, rotate_mode="NATIVE")
    direct = read(scene, bpy.context.object.name, last=600)
    exact = read(scene, bpy.context.object.name, route="exact", last=600)
    assert direct.facts.route == "direct" and exact.facts.route == "exact"
    parts = list(direct.motion.parts)
    rigs.compare(rigs.matrices_of(direct.motion, parts), rigs.matrices_of(exact.motion, parts))
