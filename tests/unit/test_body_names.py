# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What bone names tell: side, body word, number, role. Expected values as the names' users mean."""

import pytest

from fettle.core_math.body_names import flip_side, read_names, split_name


def read(name, *others):
    return read_names([name, *others])[0]


@pytest.mark.parametrize(
    "name",
    [
        "hand.L", "hand_L", "hand-L", "hand L", "hand.l", "hand_l", "HAND_L", "HandL", "handL",
        "L_hand", "L.hand", "l-hand", "L Hand", "LHand", "lHand", "lhand", "Lhand",
        "LeftHand", "leftHand", "lefthand", "LEFTHAND", "LEFT_HAND", "Left Hand", "left.hand",
        "HandLeft", "hand_left", "Hand.Left", "hand_lt", "lt_hand", "Hand_Lft", "LFT_hand",
        "hand.L.001", "hand_l_01", "rig:LeftHand", "rig|hand.L", "char_hand_L", "Main Rig:L_Hand",
        "DEF-hand.L", "DEF_hand_L", "hand_L_jnt", "hand_l_ctrl", "ik_hand_l", "hand_ik.L",
        "Mano.Izq", "mano_izquierda", "Mano_Sx", "main_gauche", "Hand_links", "hidari_te",
        "mão_esquerda", "左手",
    ],
)  # fmt: skip
def test_a_left_hand_in_any_spelling(name):
    reading = read(name)
    assert reading.side == "L"
    assert max(reading.scores, key=reading.scores.get) == "hand"


@pytest.mark.parametrize(
    "name",
    ["hand.R", "RHand", "right_hand", "HandRight", "rt_hand", "rgt_hand", "mano_dx", "Mano.Der",
     "main_droite", "Hand_rechts", "migi_te", "mão_direita", "右手"],
)  # fmt: skip
def test_a_right_hand(name):
    assert read(name).side == "R"
    assert "hand" in read(name).scores


@pytest.mark.parametrize(
    "name",
    ["hand", "spine", "Chest", "ring", "lip", "rear", "root", "pelvis", "tail", "lowerback",
     "Collar", "Bone.001", "Bone"],
)  # fmt: skip
def test_letters_inside_words_are_no_side(name):
    assert read(name).side == ""


@pytest.mark.parametrize(("left", "right"), [("G", "D"), ("I", "D"), ("E", "D"), ("S", "D")])
def test_a_letter_of_another_language_is_a_side_only_in_pairs(left, right):
    words = ("Oberarm", "Unterarm", "Hand")
    paired = [f"{word}.{side}" for word in words for side in (left, right)]
    sides = [reading.side for reading in read_names(paired)]
    assert sides == ["L", "R"] * 3
    alone = read_names([f"{word}.{left}" for word in words])
    assert [reading.side for reading in alone] == ["", "", ""]


def test_of_two_letters_the_one_that_has_a_counterpart_is_the_side():
    # The "r" is for rear; only the last letter comes in pairs.
    readings = read_names(["r_toe.L", "r_toe.R", "f_toe.L", "f_toe.R"])
    assert [reading.side for reading in readings] == ["L", "R", "L", "R"]


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("clavicle.L", "shoulder"), ("LeftCollar", "shoulder"), ("l_scapula", "shoulder"),
        ("upperarm_l", "upper_arm"), ("LeftUpArm", "upper_arm"), ("humerus.L", "upper_arm"),
        ("Arm_Upper.L", "upper_arm"), ("arm.L", "upper_arm"),
        ("lowerarm_l", "forearm"), ("LeftForeArm", "forearm"), ("elbow.L", "forearm"),
        ("ulna.L", "forearm"), ("wrist.L", "hand"),
        ("thigh.L", "thigh"), ("LeftUpLeg", "thigh"), ("upper_leg.L", "thigh"),
        ("LeftHip", "thigh"), ("femur.L", "thigh"),
        ("calf_l", "shin"), ("shin.L", "shin"), ("LeftKnee", "shin"), ("lower_leg.L", "shin"),
        ("ankle.L", "foot"), ("foot.L", "foot"), ("ball_l", "toe"), ("LeftToeBase", "toe"),
        ("Hips", "hips"), ("pelvis", "hips"), ("hip", "hips"), ("LowerBack", "spine"),
        ("Abdomen", "spine"), ("rib_cage", "chest"), ("UpperChest", "chest"), ("neck_01", "neck"),
        ("Head", "head"), ("master", "root"), ("Root", "root"),
        ("LeftHandIndex1", "index"), ("f_pinky.01.L", "pinky"), ("J_Bip_L_Little2", "pinky"),
        ("mid_finger_01_l", "middle"), ("thumb.01.L", "thumb"),
    ],
)  # fmt: skip
def test_synonyms(name, part):
    scores = read(name).scores
    assert max(scores, key=scores.get) == part


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("upperarm_twist_01_l", "twist"), ("LeftForeArmRoll", "twist"), ("breast.L", "twist"),
        ("HeadTop_End", "tip"), ("Bip01 HeadNub", "tip"), ("toe_tip.L", "tip"),
        ("jaw", "face"), ("eye.L", "face"), ("brow.T.L.003", "face"), ("head_eyelid_L", "face"),
        ("braid_L_02", "strand"), ("hair_head", "strand"), ("skirt_leg_l", "strand"),
        ("belt_hip_L", "strand"), ("ponytail3", "strand"), ("coat_back.001", "strand"),
        ("weapon_hand_r", "prop"), ("shoulder_pad.L", "prop"), ("hand_socket_l", "prop"),
        ("front_thigh.L", "front"), ("wing.L", "wing"), ("ear.L.001", "ear"),
        ("Bone.017", ""), ("joint3", ""), ("xyz", ""),
    ],
)  # fmt: skip
def test_what_is_no_joint_of_the_body_names_no_part(name, kind):
    reading = read(name)
    assert reading.kind == kind
    if kind != "front":
        assert not reading.scores


@pytest.mark.parametrize("name", ["charm.L", "handle", "shandy", "farmer", "legend.R", "footage"])
def test_body_words_inside_other_words_do_not_count(name):
    assert not read(name).scores


@pytest.mark.parametrize(
    ("names", "roles"),
    [
        (("DEF-hand.L", "hand_L_jnt", "hand_l_bind"), "deform"),
        (("ORG-hand.L",), "original"),
        (("MCH-hand.L", "VIS_hand.L"), "mechanism"),
        (("hand_ik.L", "IK_hand_L", "L_hand_IK", "Hand.IK.L"), "ik"),
        (("hand_fk.L", "FK-hand.L"), "fk"),
        (("CTRL_hand_L", "hand_L_ctl", "L_hand_con"), "control"),
        (("elbow_pole.L", "elbow_target.L"), "pole"),
    ],
)
def test_roles_are_told_and_leave_the_joint_s_word(names, roles):
    for name in names:
        reading = read(name)
        assert roles in reading.roles
        assert reading.side == "L"
        assert reading.stem in (("hand",), ("elbow",))


def test_the_name_of_the_character_on_every_bone_tells_nothing():
    names = [f"zed07_{word}" for word in ("Hand_L", "Hand_R", "Spine", "Chest", "Neck", "Head")]
    stems = [reading.stem for reading in read_names(names)]
    assert stems[0] == stems[1] == ("hand",)
    assert stems[2:] == [("spine",), ("chest",), ("neck",), ("head",)]


@pytest.mark.parametrize(
    ("name", "other"),
    [
        ("hand.L", "hand.R"), ("LeftHand", "RightHand"), ("left_hand", "right_hand"),
        ("HAND_LEFT", "HAND_RIGHT"), ("braid_l_03", "braid_r_03"), ("lBraid", "rBraid"),
        ("rig:hair.R.001", "rig:hair.L.001"), ("treccia_sx", "treccia_dx"), ("左髪", "右髪"),
        ("tail", None), ("Bone.001", None),
    ],
)  # fmt: skip
def test_flip_side_keeps_the_spelling(name, other):
    assert flip_side(name) == other
    if other:
        assert flip_side(other) == name


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("LeftUpLeg", ("Left", "Up", "Leg")),
        ("LHipJoint", ("L", "Hip", "Joint")),
        ("Bip01 L Finger01", ("Bip", "01", "L", "Finger", "01")),
        ("rig:upper_arm.L.001", ("upper", "arm", "L", "001")),
        ("Épaule.G", ("Epaule", "G")),
        ("Fuß", ("Fuss",)),
        ("左人指１", ("左", "人指", "1")),
    ],
)
def test_words_of_a_name(name, words):
    assert split_name(name) == words
