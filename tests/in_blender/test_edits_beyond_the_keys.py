# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Edits of what seldom moves a rig are seen too: other rigs, strips, envelopes, bent bones."""

import bpy
import pytest
import rigs
from test_sampling_memory import LAST, assert_same, build, sample

from fettle.addon.sampling import SamplingMemory


@pytest.fixture
def scene():
    return rigs.start_empty()


def add_other_rig(rig):
    """Another rig, without a single key, that the head follows."""
    other = rigs.make_armature("Crane")
    follow = rig.pose.bones["head"].constraints.new("COPY_LOCATION")
    follow.target, follow.subtarget, follow.influence = other, "hand.L", 0.4
    return other


def pose_other(other):
    other.pose.bones["forearm.L"].location = (0.1, 0.2, 0.3)


def turn_other(other):
    other.pose.bones["upper_arm.L"].rotation_mode = "AXIS_ANGLE"
    other.pose.bones["upper_arm.L"].rotation_axis_angle = (0.7, 1.0, 0.0, 0.0)


def hold_other(other):
    limit = other.pose.bones["hand.L"].constraints.new("LIMIT_LOCATION")
    limit.use_min_z, limit.min_z = True, 2.0


def lengthen_other(other):
    bpy.context.view_layer.objects.active = other
    bpy.ops.object.mode_set(mode="EDIT")
    other.data.edit_bones["hand.L"].head.z += 0.3
    bpy.ops.object.mode_set(mode="OBJECT")


def put_other_elsewhere(other):
    other.location = (0.0, 0.0, 1.0)


@pytest.mark.parametrize(
    "edit",
    [pose_other, turn_other, hold_other, lengthen_other, put_other_elsewhere],
    ids=lambda edit: edit.__name__,
)
def test_another_rig_that_is_followed(scene, edit):
    rig = build(scene, plain=True)
    other = add_other_rig(rig)
    assert_edit_is_seen(scene, lambda: edit(other))


def assert_edit_is_seen(scene, edit):
    """The edit changes what is sampled, and a memory gives what a full sampling gives."""
    memory = SamplingMemory()
    before = sample(scene, memory)
    assert sample(scene, memory).samples[0] is before.samples[0]
    edit()
    after = sample(scene, memory)
    assert_same(after, sample(scene))
    one, other = before.samples[0].motion, after.samples[0].motion
    moved = max(abs(one.heads - other.heads).max(), abs(one.rotations - other.rotations).max())
    assert moved > 1e-4


def add_envelope(curve):
    envelope = curve.modifiers.new("ENVELOPE")
    envelope.reference_value = 0.0
    envelope.control_points.add(1)
    bound(envelope, -0.5, 0.5)
    return envelope


def bound(envelope, low, high):
    """Set the points of an envelope.

    Not one by one: what Blender does after that takes a point for a modifier, and may crash.
    """
    count = len(envelope.control_points)
    envelope.control_points.foreach_set("min", [low] * count)
    envelope.control_points.foreach_set("max", [high] * count)


def test_points_of_an_envelope(scene):
    rig = build(scene, plain=True)
    envelope = add_envelope(rigs.curves_of(rig)[4])
    assert_edit_is_seen(scene, lambda: bound(envelope, -0.5, 2.0))


def stash(rig):
    """Play the rig's action from a strip of the NLA."""
    data = rig.animation_data
    track = data.nla_tracks.new()
    strip = track.strips.new("Sling", 1, data.action)
    data.action = None
    return strip


def run_in_nla(rig, run):
    """Run an operator of the NLA editor on the rig's first track."""
    window = bpy.context.window_manager.windows[0]
    area = window.screen.areas[0]
    kind = area.type
    area.type = "NLA_EDITOR"
    try:
        bpy.context.view_layer.objects.active = rig
        rig.select_set(True)
        rig.animation_data.nla_tracks.active = rig.animation_data.nla_tracks[0]
        for track in rig.animation_data.nla_tracks:
            track.select = True
            for strip in track.strips:
                strip.select = True
        with bpy.context.temp_override(window=window, area=area, region=area.regions[-1]):
            run()
    finally:
        area.type = kind


def test_modifiers_of_a_strip(scene):
    rig = build(scene, plain=True)
    strip = stash(rig)
    run_in_nla(rig, lambda: bpy.ops.nla.fmodifier_add(type="NOISE", only_active=False))
    noise = strip.modifiers[0]

    def edit():
        noise.strength = 3.0

    assert_edit_is_seen(scene, edit)


def test_a_strip_inside_a_meta_strip(scene):
    rig = build(scene, plain=True)
    stash(rig)
    run_in_nla(rig, bpy.ops.nla.meta_add)
    inner = rig.animation_data.nla_tracks[0].strips[0].strips[0]

    def edit():
        inner.scale = 0.5

    assert_edit_is_seen(scene, edit)


def add_action_constraint(rig):
    """The head plays an action of its own, as the left hand turns."""
    helper = rigs.make_armature("Helper")
    rigs.key(helper.pose.bones["head"], "location", {1: (0, 0, 0), 20: (0, 0, 0.4)})
    held = rig.pose.bones["head"].constraints.new("ACTION")
    held.target, held.subtarget = rig, "hand.L"
    held.action = helper.animation_data.action
    if hasattr(held, "action_slot"):
        held.action_slot = helper.animation_data.action_slot
    held.transform_channel, held.min, held.max = "ROTATION_X", -0.5, 0.5
    held.frame_start, held.frame_end = 1, 20
    return rigs.curves_of(helper)


def test_curves_of_an_action_constraint(scene):
    curves = add_action_constraint(build(scene, plain=True))

    def mute():
        for curve in curves:
            curve.mute = True

    assert_edit_is_seen(scene, mute)


def test_modifiers_in_an_action_constraint(scene):
    curves = add_action_constraint(build(scene, plain=True))
    assert_edit_is_seen(scene, lambda: add_envelope(curves[2]))


def bend_neck(rig):
    """The neck is made of segments, and the head follows the middle of its bend."""
    rig.data.bones["neck"].bbone_segments = 8
    held = rig.pose.bones["head"].constraints.new("COPY_LOCATION")
    held.target, held.subtarget = rig, "neck"
    held.head_tail, held.use_bbone_shape = 0.5, True


@pytest.mark.parametrize("where", ["rest", "pose"])
def test_the_bend_of_a_bone_made_of_segments(scene, where):
    rig = build(scene, plain=True)
    bend_neck(rig)
    bone = rig.data.bones["neck"] if where == "rest" else rig.pose.bones["neck"]

    def edit():
        bone.bbone_curveinx = 0.3
        bone.bbone_curveoutx = 0.3

    assert_edit_is_seen(scene, edit)


def test_handles_of_a_bone_made_of_segments(scene):
    rig = build(scene, plain=True)
    bend_neck(rig)
    bone = rig.data.bones["neck"]

    def edit():
        bone.bbone_handle_type_end = "ABSOLUTE"
        bone.bbone_custom_handle_end = rig.data.bones["hand.L"]

    assert_edit_is_seen(scene, edit)


def test_what_hangs_from_a_bone_by_its_rest(scene):
    rig = build(scene, plain=True)
    other = rigs.make_armature("Crane")
    rigs.key(other.pose.bones["hand.L"], "location", {1: (0, 0, 0), LAST: (0.2, 0, 0)})
    rig.parent, rig.parent_type, rig.parent_bone = other, "BONE", "hand.L"

    def edit():
        other.data.bones["hand.L"].use_relative_parent = True

    assert_edit_is_seen(scene, edit)


def test_the_space_a_constraint_is_measured_in(scene):
    rig = build(scene, plain=True)
    space = bpy.data.objects.new("Quay", None)
    scene.collection.objects.link(space)
    rigs.key(space, "location", {1: (0, 0, 0), 30: (0.5, 0, 0), LAST: (0, 0, 0.3)})
    limit = rig.pose.bones["head"].constraints.new("LIMIT_LOCATION")
    limit.owner_space, limit.space_object = "CUSTOM", space
    limit.use_min_x, limit.min_x = True, 0.1

    def edit():
        curve = rigs.curves_of(space)[0]
        curve.keyframe_points[1].co.y += 0.7
        curve.update()

    assert_edit_is_seen(scene, edit)


def test_a_property_of_whatever_scene_is_active(scene):
    rig = build(scene, plain=True)
    curve = rig.pose.bones["neck"].driver_add("location", 1)
    variable = curve.driver.variables.new()
    variable.name, variable.type = "v", "CONTEXT_PROP"
    variable.targets[0].context_property, variable.targets[0].data_path = (
        "ACTIVE_SCENE",
        "gravity[2]",
    )
    curve.driver.expression = "v * 0.01"

    def edit():
        scene.gravity[2] = -1.6

    assert_edit_is_seen(scene, edit)


def test_rules_of_a_chain_solver(scene):
    rig = build(scene, plain=False)

    def edit():
        rig.pose.bones["upper_arm.R"].lock_ik_x = True
        rig.pose.bones["forearm.R"].ik_stiffness_x = 0.9

    assert_edit_is_seen(scene, edit)


def test_a_driven_rule_is_no_edit(scene):
    """A rule that is driven follows the frame, which is no change of the rig."""
    rig = build(scene, plain=False)
    curve = rig.pose.bones["upper_arm.R"].driver_add("ik_stretch")
    variable = curve.driver.variables.new()
    variable.type = "TRANSFORMS"
    variable.targets[0].id, variable.targets[0].bone_target = rig, "hand.L"
    variable.targets[0].transform_type = "ROT_X"
    curve.driver.expression = f"abs({variable.name}) * 0.1"
    memory = SamplingMemory()
    before = sample(scene, memory)
    scene.frame_set(30)
    assert sample(scene, memory).samples[0] is before.samples[0]
