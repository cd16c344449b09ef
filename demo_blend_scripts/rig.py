# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The crane hand's rig: plain forward bones, legs on foot controls, two braids, a tool strap.

She rests facing -Y with her arms halfway down. Bend axes are alike on both sides: a
positive turn about a bone's X bends the trunk forward, closes elbow, wrist and fingers,
and folds the knee.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import bpy
from mathutils import Vector

ARMATURE = "CraneHand"
FINGERS = ("thumb", "index", "middle", "ring", "pinky")
BRAID_BONES = 6
STRAP_BONES = 3
BODY_HEIGHT = 1.72
"""Crown of the head above the soles, metres."""

FRONT = Vector((0.0, -1.0, 0.0))
BACK = Vector((0.0, 1.0, 0.0))
UP = Vector((0.0, 0.0, 1.0))
LEFT = Vector((1.0, 0.0, 0.0))

ARM_DOWN = math.radians(45.0)
ARM_DIRECTION = Vector((math.cos(ARM_DOWN), 0.0, -math.sin(ARM_DOWN)))
PALM = Vector((-math.sin(ARM_DOWN), 0.0, -math.cos(ARM_DOWN)))
UPPER_ARM_LENGTH = 0.275
FOREARM_LENGTH = 0.245
HAND_LENGTH = 0.085
SHOULDER_JOINT = Vector((0.158, 0.012, 1.392))
ANKLE = Vector((0.100, 0.012, 0.095))
BALL = Vector((0.100, -0.125, 0.030))
TOE_TIP = Vector((0.100, -0.205, 0.026))
HEEL = Vector((0.100, 0.072, 0.0))
BRAID_ROOT = Vector((0.080, 0.092, 1.565))
BRAID_LINK = 0.072


class Bone(NamedTuple):
    """One bone at rest: ends in metres, `z_axis` the direction its Z looks in."""

    name: str
    parent: str | None
    head: Vector
    tail: Vector
    z_axis: Vector
    deform: bool = True


def _trunk() -> list[Bone]:
    def up(name: str, parent: str, low: float, high: float, y: float = 0.0) -> Bone:
        return Bone(name, parent, Vector((0, y, low)), Vector((0, y, high)), FRONT)

    return [
        Bone("root", None, Vector((0, 0, 0)), Vector((0, 0.3, 0)), UP, deform=False),
        up("hips", "root", 0.950, 1.060),
        up("spine", "hips", 1.060, 1.215),
        up("chest", "spine", 1.215, 1.430),
        up("neck", "chest", 1.430, 1.505, 0.010),
        up("head", "neck", 1.505, BODY_HEIGHT, 0.010),
    ]


def _finger(name: str, index: int) -> list[Bone]:
    """Return the bones of one left finger: two in the thumb, three in the others."""
    wrist = SHOULDER_JOINT + ARM_DIRECTION * (UPPER_ARM_LENGTH + FOREARM_LENGTH)
    if name == "thumb":
        start = wrist + ARM_DIRECTION * 0.028 + FRONT * 0.036 + PALM * 0.012
        direction = (ARM_DIRECTION * 0.72 + FRONT * 0.60 + PALM * 0.34).normalized()
        lengths, closing = (0.038, 0.032), PALM - FRONT * 0.2
    else:
        start = wrist + ARM_DIRECTION * (HAND_LENGTH + (0, 0.004, 0.006, 0.003, -0.005)[index])
        start = start + FRONT * (0, 0.034, 0.0115, -0.0115, -0.034)[index]
        direction = (ARM_DIRECTION + FRONT * (0, 0.10, 0.03, -0.03, -0.10)[index]).normalized()
        scale = (0, 0.96, 1.06, 1.0, 0.82)[index]
        lengths, closing = (0.036 * scale, 0.026 * scale, 0.022 * scale), PALM
    bones = []
    parent = "hand.L"
    for joint, length in enumerate(lengths, start=1):
        end = start + direction * length
        bones.append(Bone(f"{name}.{joint:02d}.L", parent, start, end, closing))
        parent, start = bones[-1].name, end
    return bones


def _left_side() -> list[Bone]:
    elbow = SHOULDER_JOINT + ARM_DIRECTION * UPPER_ARM_LENGTH
    wrist = elbow + ARM_DIRECTION * FOREARM_LENGTH
    hip = Vector((0.098, 0.0, 0.925))
    knee = Vector((0.100, -0.014, 0.512))
    bones = [
        Bone("shoulder.L", "chest", Vector((0.028, -0.012, 1.388)), SHOULDER_JOINT, FRONT),
        Bone("upper_arm.L", "shoulder.L", SHOULDER_JOINT, elbow, FRONT),
        Bone("forearm.L", "upper_arm.L", elbow, wrist, FRONT),
        Bone("hand.L", "forearm.L", wrist, wrist + ARM_DIRECTION * HAND_LENGTH, PALM),
        Bone("thigh.L", "hips", hip, knee, BACK),
        Bone("shin.L", "thigh.L", knee, ANKLE, BACK),
        Bone("foot.L", "shin.L", ANKLE, BALL, UP),
        Bone("toe.L", "foot.L", BALL, TOE_TIP, UP),
    ]
    for index, name in enumerate(FINGERS):
        bones += _finger(name, index)
    bones.append(
        Bone("ctrl_hand.L", "root", wrist, wrist + ARM_DIRECTION * HAND_LENGTH, PALM, deform=False)
    )
    return bones + _foot_controls() + _braid()


def _foot_controls() -> list[Bone]:
    """Return the controls of the left foot, each along +Y: its own axes are the world's.

    The foot control stands under the ball; heel and ball controls roll the foot about its
    heel and its ball joint; the ankle control carries the leg's target and the foot's direction.
    """
    ball, heel = Vector((BALL.x, BALL.y, 0.0)), HEEL
    knee = Vector((0.10, -0.75, 0.52))

    def control(name: str, parent: str | None, at: Vector) -> Bone:
        return Bone(name, parent, at, at + BACK * 0.08, UP, deform=False)

    return [
        control("ctrl_foot.L", "root", ball),
        control("ctrl_heel.L", "ctrl_foot.L", heel),
        control("ctrl_ball.L", "ctrl_heel.L", BALL),
        Bone("ctrl_ankle.L", "ctrl_ball.L", ANKLE, BALL, UP, deform=False),
        Bone("ctrl_toe.L", "ctrl_heel.L", BALL, TOE_TIP, UP, deform=False),
        control("ctrl_knee.L", "root", knee),
    ]


def _braid() -> list[Bone]:
    bones = []
    parent, start = "head", BRAID_ROOT
    for joint in range(1, BRAID_BONES + 1):
        end = start - UP * BRAID_LINK
        bones.append(Bone(f"braid.{joint:02d}.L", parent, start, end, FRONT))
        parent, start = bones[-1].name, end
    return bones


def _strap() -> list[Bone]:
    """Return the tool strap hanging from the belt on her left hip."""
    bones = []
    parent, start = "hips", Vector((0.172, -0.03, 0.985))
    for joint in range(1, STRAP_BONES + 1):
        end = start - UP * 0.085
        bones.append(Bone(f"strap.{joint:02d}", parent, start, end, FRONT))
        parent, start = bones[-1].name, end
    return bones


def other_side(name: str) -> str:
    """Return the name of the bone's partner on the other side."""
    if name.endswith(".L"):
        return name[:-2] + ".R"
    return name[:-2] + ".L" if name.endswith(".R") else name


def _mirrored(bone: Bone) -> Bone:
    def flip(vector: Vector) -> Vector:
        return Vector((-vector.x, vector.y, vector.z))

    parent = other_side(bone.parent) if bone.parent else None
    return Bone(
        other_side(bone.name), parent, flip(bone.head), flip(bone.tail), flip(bone.z_axis),
        bone.deform,
    )  # fmt: skip


def bones() -> list[Bone]:
    """Return every bone at rest, parents before children."""
    left = _left_side()
    return _trunk() + left + [_mirrored(bone) for bone in left] + _strap()


ROTATION_MODES = {
    # Turn outermost: it stays a clean turn however far she bends.
    **dict.fromkeys(("hips", "spine", "chest", "neck", "head"), "ZXY"),
    **{f"forearm.{side}": "YXZ" for side in "LR"},
    **{f"upper_arm.{side}": "QUATERNION" for side in "LR"},
    **{f"shoulder.{side}": "ZXY" for side in "LR"},
}
"""Rotation modes of the pose bones; all others turn XYZ."""


def build_rig(collection: bpy.types.Collection) -> bpy.types.Object:
    """Make the armature object with its bones, leg constraints and bone collections."""
    armature = bpy.data.armatures.new(ARMATURE)
    armature.display_type = "STICK"
    rig = bpy.data.objects.new(ARMATURE, armature)
    collection.objects.link(rig)
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    for bone in bones():
        edit = armature.edit_bones.new(bone.name)
        edit.head, edit.tail = bone.head, bone.tail
        edit.align_roll(bone.z_axis)
        edit.use_deform = bone.deform
        if bone.parent:
            edit.parent = armature.edit_bones[bone.parent]
    bpy.ops.object.mode_set(mode="OBJECT")
    for pose_bone in rig.pose.bones:
        pose_bone.rotation_mode = ROTATION_MODES.get(pose_bone.name, "XYZ")
    for side in "LR":
        _constrain_leg(rig, side)
    _sort_into_collections(armature)
    return rig


def _constrain_leg(rig: bpy.types.Object, side: str) -> None:
    shin = rig.pose.bones[f"shin.{side}"]
    # The knee is a hinge: it only folds.
    shin.lock_ik_y = shin.lock_ik_z = True
    shin.use_ik_limit_x, shin.ik_min_x, shin.ik_max_x = True, 0.0, math.radians(150.0)
    reach = shin.constraints.new("IK")
    reach.target, reach.subtarget = rig, f"ctrl_ankle.{side}"
    reach.pole_target, reach.pole_subtarget = rig, f"ctrl_knee.{side}"
    # Both legs rest with X to her left and Z to the back, so the pole lies along -Z.
    reach.pole_angle = math.radians(-90.0)
    reach.chain_count = 2
    reach.use_stretch = False
    for bone, control in (("foot", "ctrl_ankle"), ("toe", "ctrl_toe")):
        follow = rig.pose.bones[f"{bone}.{side}"].constraints.new("COPY_ROTATION")
        follow.target, follow.subtarget = rig, f"{control}.{side}"


def _sort_into_collections(armature: bpy.types.Armature) -> None:
    body = armature.collections.new("Body")
    hands = armature.collections.new("Fingers")
    strands = armature.collections.new("Strands")
    controls = armature.collections.new("Controls")
    for bone in armature.bones:
        if bone.name.startswith("ctrl_") or bone.name == "root":
            controls.assign(bone)
        elif bone.name.startswith(("braid", "strap")):
            strands.assign(bone)
        elif bone.name.startswith(FINGERS):
            hands.assign(bone)
        else:
            body.assign(bone)
