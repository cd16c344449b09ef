# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Who acts in a scene and who does not."""

import bpy
import pytest
import rigs

from fettle.addon.subjects import find_subjects
from fettle.core_math import SubjectKind

MOVE = {1: (0, 0, 0), 10: (1, 2, 3)}


@pytest.fixture
def scene():
    return rigs.start_empty()


def add(scene, name, kind="mesh"):
    data = {
        "mesh": lambda: bpy.data.meshes.new(name),
        "empty": lambda: None,
        "camera": lambda: bpy.data.cameras.new(name),
        "light": lambda: bpy.data.lights.new(name, "POINT"),
    }[kind]()
    thing = bpy.data.objects.new(name, data)
    scene.collection.objects.link(thing)
    return thing


def names(scene):
    bpy.context.view_layer.update()
    return [s.name for s in find_subjects(scene, bpy.context.view_layer)]


def test_armatures_come_first_cameras_and_lights_never(scene):
    for name, kind in (("Ball", "mesh"), ("Cam", "camera"), ("Lamp", "light"), ("Aim", "empty")):
        rigs.key(add(scene, name, kind), "location", MOVE)
    rigs.swing_body(rigs.make_armature("Zoë 港"))
    rigs.make_armature("Unanimated")
    bpy.context.view_layer.update()
    found = find_subjects(scene, bpy.context.view_layer)
    assert [(s.name, s.kind) for s in found] == [
        ("Zoë 港", SubjectKind.ARMATURE),
        ("Ball", SubjectKind.OBJECT),
    ]


def test_parts_of_a_character_are_no_things_of_their_own(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    hat, skin, target = add(scene, "Hat"), add(scene, "Skin"), add(scene, "Target")
    hat.parent, hat.parent_type, hat.parent_bone = rig, "BONE", "head"
    skin.modifiers.new("Skin", "ARMATURE").object = rig
    rig.pose.bones["hand.L"].constraints.new("COPY_LOCATION").target = target
    for thing in (hat, skin, target):
        rigs.key(thing, "location", MOVE)
    assert names(scene) == ["Rig"]


def test_what_a_vehicle_carries_is_no_subject_but_the_vehicle_is(scene):
    cart, wheel, crate = add(scene, "Cart", "empty"), add(scene, "Wheel"), add(scene, "Crate")
    wheel.parent = crate.parent = cart
    rigs.key(cart, "location", MOVE)
    rigs.key(wheel, "rotation_euler", MOVE)
    assert names(scene) == ["Cart", "Wheel"]


@pytest.mark.parametrize("by", ["constraint", "driver"])
def test_a_wheel_that_its_cart_turns_is_part_of_the_cart(scene, by):
    cart, wheel, follower = add(scene, "Cart", "empty"), add(scene, "Wheel"), add(scene, "Follower")
    wheel.parent = cart
    rigs.key(cart, "location", MOVE)
    for thing in (wheel, follower):
        if by == "constraint":
            thing.constraints.new("TRANSFORM").target = cart
        else:
            curve = thing.driver_add("rotation_euler", 0)
            variable = curve.driver.variables.new()
            variable.type, variable.targets[0].id = "TRANSFORMS", cart
            curve.driver.expression = variable.name
    assert names(scene) == ["Cart", "Follower"]


def test_an_empty_that_carries_a_character_is_its_own_control(scene):
    carrier, rig = add(scene, "Carrier", "empty"), rigs.make_armature()
    rigs.swing_body(rig)
    rig.parent = carrier
    rigs.key(carrier, "location", MOVE)
    assert names(scene) == ["Rig"]


def test_a_prop_that_is_handed_over_by_constraints_acts(scene):
    rig = rigs.make_armature()
    rigs.swing_body(rig)
    crate = add(scene, "Crate")
    carried = crate.constraints.new("CHILD_OF")
    carried.target, carried.subtarget = rig, "hand.L"
    for frame, influence in ((1, 1.0), (10, 0.0)):
        carried.influence = influence
        carried.keyframe_insert("influence", frame=frame)
    assert names(scene) == ["Rig", "Crate"]


def test_one_pose_on_one_key_is_no_animation(scene):
    rig = rigs.make_armature()
    rigs.key(rig.pose.bones["head"], "rotation_euler", {1: (0.1, 0.2, 0.3)})
    rigs.key(rig.pose.bones["hips"], "location", {1: (0, 0, 0), 10: (0, 0, 0)})
    assert names(scene) == []


@pytest.mark.parametrize("by", ["parent", "constraint", "driver", "frame", "strip", "modifier"])
def test_what_moves_an_armature(scene, by):
    rig = rigs.make_armature()
    mover = add(scene, "Mover", "light")
    rigs.key(mover, "location", MOVE)
    bone = rig.pose.bones["head"]
    if by == "parent":
        rig.parent = mover
    elif by == "constraint":
        bone.constraints.new("COPY_LOCATION").target = mover
    elif by == "driver":
        curve = bone.driver_add("location", 0)
        variable = curve.driver.variables.new()
        variable.type, variable.targets[0].id = "TRANSFORMS", mover
        curve.driver.expression = variable.name
    elif by == "frame":
        bone.driver_add("location", 0).driver.expression = "sin(frame)"
    elif by == "strip":
        rigs.swing_body(rig)
        data = rig.animation_data
        slot = getattr(data, "action_slot", None)
        strip = data.nla_tracks.new().strips.new("Swing", 1, data.action)
        if slot is not None:
            strip.action_slot = slot
        data.action = None
    elif by == "modifier":
        rigs.key(bone, "location", {1: (0, 0, 0)})
        rigs.curves_of(rig)[0].modifiers.new("NOISE")
    assert names(scene) == ["Rig"]


def test_constraints_in_a_ring_move_nothing(scene):
    one, other = rigs.make_armature("One"), rigs.make_armature("Other")
    one.pose.bones["head"].constraints.new("COPY_ROTATION").target = other
    other.pose.bones["head"].constraints.new("COPY_ROTATION").target = one
    assert names(scene) == []


def test_two_characters_of_one_name_are_told_apart(scene, tmp_path):
    rigs.swing_body(rigs.make_armature("Docker"))
    path = str(tmp_path / "dock.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    scene = rigs.start_empty()
    rigs.swing_body(rigs.make_armature("Docker"))
    with bpy.data.libraries.load(path, link=True) as (_, wanted):
        wanted.objects = ["Docker"]
    scene.collection.objects.link(wanted.objects[0])
    assert names(scene) == ["Docker", "Docker (dock.blend)"]
