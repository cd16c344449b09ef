# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The body map on rigs nobody here made: the captures, and Blender's sample and generated rigs.

What each bone is, comes from the files' own names and, for the generated rig, from the host: a
control of a part must move the part's bone, and the part must turn as its control is turned.
"""

import math

import bpy
import numpy as np
import pytest
import rigs
from mathutils import Quaternion

from fettle.addon.rig_mapping import map_body, read_bones
from fettle.core_math.body_parts import CANONICAL_PARTS, Bone, body_map_to_chains, guess_body_map

SIDES = (("L", "Left"), ("R", "Right"))
SPINE = {"hips": "spine", "spine": "spine.001", "spine/2": "spine.002", "chest": "spine.003",
         "neck": "spine.004", "neck/2": "spine.005", "head": "spine.006"}  # fmt: skip
LIMBS = ("shoulder", "upper_arm", "forearm", "hand", "thigh", "shin", "foot", "toe")


# The host's own importer leaves its file to be closed whenever.
pytestmark = pytest.mark.filterwarnings("ignore:.*FileIO.*")


@pytest.fixture(autouse=True)
def empty_file():
    rigs.start_empty()


@pytest.fixture(scope="module")
def generated():
    """The generated rig's bones, its map, and the sample's bones it was generated from."""
    rigs.start_empty()
    bpy.ops.preferences.addon_enable(module="rigify")
    bpy.ops.object.armature_human_metarig_add()
    sample = {bone.name: bone for bone in read_bones(bpy.context.object)}
    rigs.start_empty()
    rig = rigs.generate_rig()
    bones = read_bones(rig)
    return bones, guess_body_map(bones), sample


def bones_of(body_map):
    return {part: guess.bone for part, guess in body_map.parts.items()}


def by_side(table):
    """Spell out a table of sided parts: "%" stands for the file's word for the side."""
    return {
        f"{part.replace('.%', '.' + letter)}": bone.replace("%%", letter).replace("%", word)
        for part, bone in table.items()
        for letter, word in SIDES
    }


def add_sample(name):
    bpy.ops.preferences.addon_enable(module="rigify")
    getattr(bpy.ops.object, f"armature_{name}_metarig_add")()
    return bpy.context.object


def read_capture(path):
    bpy.ops.preferences.addon_enable(module="io_anim_bvh")
    bpy.ops.import_anim.bvh(filepath=str(path))
    return bpy.context.object


OUTDOORS = {
    "hips": "Hips", "spine": "LowerBack", "spine/2": "Spine", "chest": "Spine1", "neck": "Neck",
    "neck/2": "Neck1", "head": "Head",
    **by_side({
        "shoulder.%": "%Shoulder", "upper_arm.%": "%Arm", "forearm.%": "%ForeArm",
        "hand.%": "%Hand", "thumb.%": "%%Thumb", "index.%": "%FingerBase", "index.%/2": "%%Fingers",
        "thigh.%": "%UpLeg", "shin.%": "%Leg", "foot.%": "%Foot", "toe.%": "%ToeBase",
    }),
}  # fmt: skip
BOXING = {
    "hips": "Hips", "spine": "Ab", "chest": "Chest", "neck": "Neck", "head": "Head",
    **by_side({
        "shoulder.%": "%Collar", "upper_arm.%": "%Shoulder", "forearm.%": "%Elbow",
        "hand.%": "%Wrist", "thigh.%": "%Hip", "shin.%": "%Knee", "foot.%": "%Ankle",
        "toe.%": "%Toes",
    }),
}  # fmt: skip


@pytest.mark.captures
@pytest.mark.parametrize(
    ("file", "expected"),
    [("01_01.bvh", OUTDOORS), ("01_03.bvh", OUTDOORS), ("Boxing_Toes.bvh", BOXING)],
)
def test_captures(capture, file, expected):
    body_map = map_body(read_capture(capture(file)))
    assert bones_of(body_map) == expected
    assert body_map.unmapped == tuple(p for p in CANONICAL_PARTS if p not in expected)
    assert body_map.parts["hand.L"].confidence > 0.9
    assert body_map.parts["toe.R"].parent == "foot.R"


@pytest.mark.captures
@pytest.mark.parametrize(
    ("file", "expected"), [("01_01.bvh", OUTDOORS), ("Boxing_Toes.bvh", BOXING)]
)
def test_captures_whose_names_are_lost(capture, file, expected):
    bones = read_bones(read_capture(capture(file)))
    names = {f"Bone.{row:03d}": bone.name for row, bone in enumerate(bones)}
    nameless = [
        Bone(name, bone.parent, bone.head, bone.tail)
        for name, bone in zip(names, bones, strict=True)
    ]
    body_map = guess_body_map(nameless)
    fingers = ("thumb", "index")
    wanted = {p: b for p, b in expected.items() if p.split(".")[0] not in fingers}
    assert {part: names[guess.bone] for part, guess in body_map.parts.items()} == wanted
    assert max(guess.confidence for guess in body_map.parts.values()) <= 0.5


@pytest.mark.parametrize("name", ["human", "basic_human"])
def test_sample_humans(name):
    body_map = map_body(add_sample(name))
    expected = SPINE | {f"{limb}.{s}": f"{limb}.{s}" for limb in LIMBS for s in "LR"}
    if name == "human":
        fingers = {"thumb": "thumb", **{f: f"f_{f}" for f in ("index", "middle", "ring", "pinky")}}
        for finger, bone in fingers.items():
            for side in "LR":
                expected[f"{finger}.{side}"] = f"{bone}.01.{side}"
                expected[f"{finger}.{side}/2"] = f"{bone}.02.{side}"
                expected[f"{finger}.{side}/3"] = f"{bone}.03.{side}"
    assert bones_of(body_map) == expected


@pytest.mark.parametrize("name", ["wolf", "horse", "cat", "bird", "shark", "basic_quadruped"])
def test_sample_animals_have_no_human_hands(name):
    body_map = map_body(add_sample(name))
    found = bones_of(body_map)
    fingers = ("thumb", "index", "middle", "ring", "pinky")
    assert not [part for part in found if part.split(".")[0] in fingers]
    assert not [part for part, bone in found.items() if "wing" in bone.lower() or "fin" in bone]
    if name in ("wolf", "basic_quadruped", "bird", "shark"):
        arms = ("shoulder", "upper_arm", "forearm", "hand")
        assert not [part for part in found if part.split(".")[0] in arms]
    if name != "shark":
        assert found["thigh.L"] == "thigh.L"
        assert found["foot.R"] in ("foot.R", "hind_foot.R")


@pytest.mark.parametrize(
    ("name", "tail"),
    [("cat", "tail.001 tail.002 tail.003 tail.004"),
     ("wolf", "spine.003 spine.002 spine.001 spine")],
)  # fmt: skip
def test_tails_are_strands(name, tail):
    body_map = map_body(add_sample(name))
    first = f"strand:{tail.split()[0]}"
    chain = body_map_to_chains(body_map)[first]
    assert [body_map.bone(part) for part in chain] == tail.split()


def test_generated_rig_is_found_whole(generated):
    bones, body_map, sample = generated
    assert len(bones) == 706
    assert body_map.unmapped == ()
    assert not [part for part in body_map.parts if part.startswith("strand:")]
    places = {bone.name: np.array(bone.head) for bone in bones}
    for part, guess in body_map.parts.items():
        if part == "root":
            assert guess.bone == "root"
            continue
        assert guess.bone.startswith("DEF-")
        # The sample has one bone per joint, under the same name; the part is at that joint.
        joint = np.array(sample[guess.bone.removeprefix("DEF-")].head)
        np.testing.assert_allclose(places[guess.bone], joint, atol=1e-5)
        np.testing.assert_allclose(places[guess.turn], joint, atol=1e-5)
    expected = {part: f"DEF-{bone}" for part, bone in SPINE.items()}
    expected |= {f"{limb}.{s}": f"DEF-{limb}.{s}" for limb in LIMBS for s in "LR"}
    assert {part: body_map.bone(part) for part in expected} == expected


def test_generated_rig_s_controls_are_those_an_animator_keys(generated):
    _, body_map, _ = generated
    for side in "LR":
        assert {f"hand_ik.{side}", f"hand_fk.{side}"} <= {*body_map.parts[f"hand.{side}"].controls}
        assert {f"foot_ik.{side}", f"foot_fk.{side}"} <= {*body_map.parts[f"foot.{side}"].controls}
        assert f"upper_arm_fk.{side}" in body_map.parts[f"upper_arm.{side}"].controls
        assert f"shoulder.{side}" in body_map.parts[f"shoulder.{side}"].controls
    for part in ("hips", "chest", "neck", "head"):
        assert body_map.parts[part].controls[0] == part
    assert "torso" in body_map.parts["hips"].controls
    owners = {}
    for part, guess in body_map.parts.items():
        for control in guess.controls:
            assert not control.startswith(("DEF-", "MCH-", "ORG-", "VIS_"))
            assert control not in owners, f"{control} counts for {owners.get(control)} and {part}"
            owners[control] = part


def test_every_control_of_the_generated_rig_moves_its_part():
    rig = rigs.generate_rig()
    body_map = map_body(rig)
    switches = [(b, k) for b in rig.pose.bones for k in b.keys() if k in ("IK_FK", "pole_vector")]
    assert switches

    def place_parts():
        rig.update_tag()
        bpy.context.view_layer.update()
        return {p: np.array(rig.pose.bones[g.bone].matrix) for p, g in body_map.parts.items()}

    idle = {(c, part) for part, guess in body_map.parts.items() for c in guess.controls}
    assert len(idle) > 100
    for arm_by_rotation in (0.0, 1.0):
        for bone, switch in switches:
            bone[switch] = arm_by_rotation if switch == "IK_FK" else True
        before = place_parts()
        for control, part in sorted(idle):
            bone = rig.pose.bones[control]
            bone.rotation_mode = "QUATERNION"
            bone.location, bone.scale = (0.05, 0.04, 0.03), (1.0, 0.8, 1.0)
            bone.rotation_quaternion = Quaternion((1.0, 0.5, 0.3), 0.3)
            if np.abs(place_parts()[part] - before[part]).max() > 1e-4:
                idle.discard((control, part))
            bone.location, bone.scale = (0.0, 0.0, 0.0), (1.0, 1.0, 1.0)
            bone.rotation_quaternion = (1.0, 0.0, 0.0, 0.0)
    assert not idle


TURNED_BY = {
    "hips": "hips", "spine": "spine_fk.001", "chest": "chest", "neck": "neck", "head": "head",
    "shoulder.L": "shoulder.L", "upper_arm.L": "upper_arm_fk.L", "forearm.L": "forearm_fk.L",
    "hand.L": "hand_fk.L", "thigh.R": "thigh_fk.R", "shin.R": "shin_fk.R", "foot.R": "foot_fk.R",
}  # fmt: skip


def test_a_part_of_the_generated_rig_turns_as_its_control_is_turned():
    rig = rigs.generate_rig()
    body_map = map_body(rig)
    for bone in rig.pose.bones:
        if "IK_FK" in bone:
            bone["IK_FK"] = 1.0

    def turns_of(*names):
        rig.update_tag()
        bpy.context.view_layer.update()
        return [rig.pose.bones[name].matrix.to_quaternion() for name in names]

    for part, control in TURNED_BY.items():
        handle, turning = rig.pose.bones[control], body_map.parts[part].turn
        handle.rotation_mode = "XYZ"
        still = turns_of(control, turning)
        # Y runs along the bone: the twist, which the first segment of a limb leaves out.
        for axis in range(3):
            handle.rotation_euler[axis] = 0.5
            turned = turns_of(control, turning)
            handle.rotation_euler[axis] = 0.0
            asked, made = (b @ a.inverted() for a, b in zip(still, turned, strict=True))
            assert math.degrees(asked.angle) == pytest.approx(math.degrees(0.5), abs=0.1)
            assert math.degrees(asked.rotation_difference(made).angle) < 0.1, (part, axis)
