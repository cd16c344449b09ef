# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The guessed body map on one figure under many names; what each joint is, the habits' tables say.

That the guess fits rigs nobody here made is tested with the captures and with Blender's own rigs.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from naming_habits import HABITS, make_bones, part_names, shuffle_bones

from fettle.core_math.body_parts import (
    CANONICAL_PARTS,
    BodyMapError,
    Bone,
    apply_corrections,
    body_map_to_chains,
    guess_body_map,
    mirror_part,
)

LETTERS_OF_A_LANGUAGE = ("French", "Spanish", "Portuguese")
SPELLINGS = (
    ("L", "R"), ("l", "r"), ("Left", "Right"), ("left", "right"), ("LEFT", "RIGHT"),
    ("lt", "rt"), ("Lft", "Rgt"),
)  # fmt: skip


def bones_of(body_map):
    return {part: guess.bone for part, guess in body_map.parts.items()}


def make_tree(text):
    """Make bones from lines `name x y z`, indented below their parents; `name!` moves no mesh."""
    bones, above = [], []
    for line in filter(str.strip, text.splitlines()):
        depth = len(line) - len(line.lstrip())
        name, *numbers = line.split()
        while above and above[-1][0] >= depth:
            above.pop()
        parent = above[-1][1] if above else -1
        head = np.array([float(n) for n in numbers])
        bones.append((name, parent, head))
        above.append((depth, len(bones) - 1))
    finished = []
    for row, (name, parent, head) in enumerate(bones):
        onward = [b[2] for b in bones if b[1] == row]
        tail = onward[0] if onward else head + [0, 0, 0.1]
        finished.append(Bone(name.rstrip("!"), parent, head, tail, not name.endswith("!")))
    return finished


@pytest.mark.parametrize("stance", [None, "all along one axis"])
@pytest.mark.parametrize("habit", HABITS)
def test_every_joint_of_every_habit(habit, stance):
    names = part_names(habit)
    body_map = guess_body_map(make_bones(names, stance=stance))
    assert bones_of(body_map) == names
    assert body_map.unmapped == tuple(part for part in CANONICAL_PARTS if part not in names)
    for part, guess in body_map.parts.items():
        assert 0.4 < guess.confidence < 1.0, part
        assert guess.why and guess.select == guess.turn == guess.bone


@pytest.mark.parametrize("habit", HABITS)
def test_names_tell_the_sides_and_not_the_place(habit):
    names = part_names(habit)
    assert bones_of(guess_body_map(make_bones(names, mirrored=True))) == names


@settings(deadline=None, max_examples=80)
@given(data=st.data())
def test_any_order_of_bones_any_spelling_of_sides_any_prefix(data):
    habit = data.draw(st.sampled_from([h for h in HABITS if h not in LETTERS_OF_A_LANGUAGE]))
    sides = HABITS[habit][0]
    if habit not in ("one letter glued on", "written in one piece", "Japanese"):
        sides = data.draw(st.sampled_from((sides, *SPELLINGS)))
    prefix = data.draw(st.sampled_from(("", "char:", "Zed_", "Zed07_", "a|b:", "rig-")))
    if prefix and habit in ("biped with spaces", "Japanese") and not prefix.endswith(":"):
        prefix = ""
    names = {part: prefix + name for part, name in part_names(habit, sides).items()}
    bones = make_bones(
        names,
        mirrored=data.draw(st.booleans()),
        stature=data.draw(st.sampled_from((0.01, 1.0, 1.75, 180.0))),
        stance=data.draw(st.sampled_from((None, "all along one axis"))),
    )
    order = data.draw(st.permutations(range(len(bones))))
    guess = guess_body_map(shuffle_bones(bones, order))
    assert bones_of(guess) == names
    assert guess == guess_body_map(bones)


@settings(deadline=None, max_examples=40)
@given(data=st.data())
def test_missing_bones_leave_the_others_where_they_were(data):
    habit = data.draw(st.sampled_from(sorted(HABITS)))
    names = part_names(habit)
    ends = [p for p in names if p.split(".")[0] in ("toe", "thumb", "index", "middle", "pinky")]
    gone = set(data.draw(st.lists(st.sampled_from([*ends, "neck", "root"]), max_size=8)))
    gone |= {p for p in names if p.split("/")[0] in {g.split("/")[0] for g in gone}}
    left = {part: name for part, name in names.items() if part not in gone}
    found = bones_of(guess_body_map(make_bones(left)))
    fingers = ("thumb", "index", "middle", "ring", "pinky")
    # Numbered fingers of an incomplete hand cannot be told apart; all else can.
    compare = {p for p in left if habit != "biped with spaces" or p.split(".")[0] not in fingers}
    assert {p: found.get(p) for p in compare} == {p: left[p] for p in compare}


@pytest.mark.parametrize(
    ("chain", "expected"),
    [
        ("Collar Shoulder Elbow Wrist", "shoulder upper_arm forearm hand"),
        ("Shoulder Elbow Wrist", "upper_arm forearm hand"),
        ("Shoulder Arm ForeArm Hand", "shoulder upper_arm forearm hand"),
        ("Clavicle Arm Elbow Hand", "shoulder upper_arm forearm hand"),
        ("Clavicle UpperArm Arm Hand", "shoulder upper_arm forearm hand"),
        ("Clavicle Shoulder Forearm Hand", "shoulder upper_arm forearm hand"),
        ("upper_arm upper_arm.001 forearm forearm.001 hand", "upper_arm . forearm . hand"),
        ("ShldrBend ShldrTwist ForearmBend ForearmTwist Hand", "upper_arm . forearm . hand"),
        ("Arm Arm.001 Arm.002", "upper_arm forearm hand"),
    ],
)
def test_arms_by_chain(chain, expected):
    check_chain("Chest", chain, expected)


@pytest.mark.parametrize(
    ("chain", "expected"),
    [
        ("Hip Knee Ankle Toe", "thigh shin foot toe"),
        ("UpLeg Leg Foot ToeBase", "thigh shin foot toe"),
        ("Thigh Leg Foot Toe", "thigh shin foot toe"),
        ("Leg Knee Foot Toe", "thigh shin foot toe"),
        ("HipJoint UpLeg Leg Foot", ". thigh shin foot"),
        ("thigh thigh.001 shin shin.001 foot toe", "thigh . shin . foot toe"),
        ("Thigh Calf Ankle Ball Toe", "thigh shin foot toe ."),
        ("Thigh Unknown7 Foot Toe", "thigh shin foot toe"),
        ("Leg1 Leg2 Leg3", "thigh shin foot"),
    ],
)
def test_legs_by_chain(chain, expected):
    check_chain("Hips", chain, expected)


def check_chain(base, chain, expected):
    """Hang the chain on both sides of a base and see which part each of its bones became."""
    bones = [Bone(base, -1, [0, 0, 1], [0, 0, 1.1])]
    for side, sign in (("L", 1), ("R", -1)):
        above, height = 0, 1.0
        for word in chain.split():
            head, height = [0.1 * sign, 0, height], height - 0.15
            bones.append(Bone(put_side(word, side), above, head, [0.1 * sign, 0, height]))
            above = len(bones) - 1
    found = guess_body_map(bones)
    for word, part in zip(chain.split(), expected.split(), strict=True):
        for side in "LR":
            meant = "" if part == "." else f"{part}.{side}"
            assert found.part_of(put_side(word, side)) == meant, word


def put_side(word, side):
    name, dot, number = word.partition(".")
    return f"{name}.{side}{dot}{number}"


CONTROL_RIG = """
root! 0 0 0
  DEF_hips 0 0 1
  DEF_spine 0 0 1.1
  DEF_chest 0 0 1.3
  DEF_neck 0 0 1.5
  DEF_head 0 0 1.6
  DEF_upperarm_L .2 0 1.4
  DEF_upperarm_twist_L .3 0 1.4
  DEF_forearm_L .5 0 1.4
  DEF_hand_L .7 0 1.4
  DEF_thigh_L .1 0 1
  DEF_shin_L .1 0 .5
  DEF_foot_L .1 0 .1
  CTRL_hips! 0 0 1
    CTRL_spine! 0 0 1.1
      CTRL_chest! 0 0 1.3
        CTRL_neck! 0 0 1.5
          CTRL_head! 0 0 1.6
        FK_upperarm_L! .2 0 1.4
          FK_forearm_L! .5 0 1.4
            FK_hand_L! .7 0 1.4
    FK_thigh_L! .1 0 1
      FK_shin_L! .1 0 .5
        FK_foot_L! .1 0 .1
  IK_hand_L! .7 0 1.4
  IK_foot_L! .1 0 .1
  CTRL_heel_L! .1 .1 0
  MCH_hand_L! .7 0 1.4
  upperarm_pole_L! .5 1 1.4
"""


def test_of_a_control_rig_the_bone_with_the_mesh_and_its_controls():
    # The deforming bones lie flat below the root and only follow the controls.
    body_map = guess_body_map(make_tree(CONTROL_RIG))
    expected = {
        "root": "root", "hips": "DEF_hips", "spine": "DEF_spine", "chest": "DEF_chest",
        "neck": "DEF_neck", "head": "DEF_head", "upper_arm.L": "DEF_upperarm_L",
        "forearm.L": "DEF_forearm_L", "hand.L": "DEF_hand_L", "thigh.L": "DEF_thigh_L",
        "shin.L": "DEF_shin_L", "foot.L": "DEF_foot_L",
    }  # fmt: skip
    assert bones_of(body_map) == expected
    assert body_map.parts["hand.L"].controls == ("IK_hand_L", "FK_hand_L")
    assert body_map.parts["upper_arm.L"].controls == ("FK_upperarm_L", "upperarm_pole_L")
    assert body_map.parts["head"].controls == ("CTRL_head",)
    assert body_map.parts["foot.L"].controls == ("IK_foot_L", "FK_foot_L", "CTRL_heel_L")
    assert body_map.part_of("FK_shin_L") == "shin.L"
    assert body_map.part_of("MCH_hand_L") == ""
    assert body_map.parts["forearm.L"].parent == "upper_arm.L"
    assert body_map.parts["thigh.L"].parent == "hips"


def test_what_is_hidden_is_not_the_one_to_select_and_what_is_keyed_comes_first():
    bones = [
        Bone(b.name, b.parent, b.head, b.tail, b.deform, hidden=b.deform, animated="FK" in b.name)
        for b in make_tree(CONTROL_RIG)
    ]
    hand = guess_body_map(bones).parts["hand.L"]
    assert hand.bone == "DEF_hand_L"
    assert hand.controls == ("FK_hand_L", "IK_hand_L")
    assert hand.select == "FK_hand_L"


def test_control_bones_that_are_wrongly_marked_as_deforming_do_not_take_the_part():
    bones = [Bone(b.name, b.parent, b.head, b.tail) for b in make_tree(CONTROL_RIG)]
    body_map = guess_body_map(bones)
    assert body_map.bone("hand.L") == "DEF_hand_L"
    assert body_map.bone("chest") == "DEF_chest"
    assert "IK_hand_L" in body_map.parts["hand.L"].controls


def test_a_head_without_a_mesh_of_its_own_is_still_the_head():
    text = """
    hips 0 0 1
      spine 0 0 1.1
        chest 0 0 1.3
          neck 0 0 1.5
            head! 0 0 1.6
          upperarm_L .2 0 1.4
            forearm_L .5 0 1.4
              hand_L .7 0 1.4
          upperarm_R -.2 0 1.4
            forearm_R -.5 0 1.4
              hand_R -.7 0 1.4
    """
    body_map = guess_body_map(make_tree(text))
    assert body_map.bone("head") == "head"
    assert body_map.bone("neck") == "neck"
    assert body_map.parts["head"].confidence < body_map.parts["hand.L"].confidence


def test_strands_are_chains_in_order_hanging_from_a_part():
    names = part_names("side after a dot")
    bones = make_bones(names)
    rows = {bone.name: row for row, bone in enumerate(bones)}

    def hang(parent, *chain, way=(0.0, 0.02, -0.1), start=(0.0, 0.1, 0.0)):
        above = rows[parent]
        at = np.array(bones[above].tail) + start
        for name in chain:
            bones.append(Bone(name, above, at, at + way))
            at, above = at + way, len(bones) - 1

    hang("head", "braid_L", "braid_L_2", "braid_L_3", start=(0.05, 0.1, 0))
    hang("head", "braid_R", "braid_R_2", "braid_R_3", start=(-0.05, 0.1, 0))
    hang("head", "brow.L", "brow.L.001")
    hang("hips", "tail.001", "tail.002", "tail.003", "tail.004", "tail_end")
    hang("chest", "cape1", "cape2")
    hang("hand.R", "sword.R", "sword.R.001")
    hang("hips", "pouch")
    body_map = guess_body_map(bones)
    strands = {p: b for p, b in bones_of(body_map).items() if p.startswith("strand:")}
    assert strands == {
        "strand:braid_L": "braid_L", "strand:braid_L/2": "braid_L_2",
        "strand:braid_L/3": "braid_L_3", "strand:braid_R": "braid_R",
        "strand:braid_R/2": "braid_R_2", "strand:braid_R/3": "braid_R_3",
        "strand:cape1": "cape1", "strand:cape1/2": "cape2",
        "strand:tail.001": "tail.001", "strand:tail.001/2": "tail.002",
        "strand:tail.001/3": "tail.003", "strand:tail.001/4": "tail.004",
    }  # fmt: skip
    assert {p: b for p, b in bones_of(body_map).items() if p not in strands} == names
    assert body_map.parts["strand:braid_L"].parent == "head"
    assert body_map.parts["strand:braid_L/3"].parent == "strand:braid_L/2"
    assert body_map.parts["strand:tail.001"].parent == "hips"
    assert mirror_part("strand:braid_L") == "strand:braid_R"
    chains = body_map_to_chains(body_map)
    assert chains["strand:tail.001"] == tuple(p for p in strands if "tail" in p)
    assert chains["spine"] == ("hips", "spine", "spine/2", "chest", "neck", "head")
    assert chains["index.L"] == ("index.L", "index.L/2", "index.L/3")
    assert chains["arm.R"] == ("shoulder.R", "upper_arm.R", "forearm.R", "hand.R")
    assert chains["leg.L"] == ("thigh.L", "shin.L", "foot.L", "toe.L")


def test_sides_of_unsided_names_come_from_the_place_and_are_less_sure():
    text = """
    Hips 0 0 1
      Thigh .1 0 1
        Shin .1 0 .5
          Foot .1 0 .1
      Thigh.001 -.1 0 1
        Shin.001 -.1 0 .5
          Foot.001 -.1 0 .1
    """
    body_map = guess_body_map(make_tree(text))
    assert body_map.bone("shin.L") == "Shin"
    assert body_map.bone("foot.R") == "Foot.001"
    sided = guess_body_map(make_bones(part_names("side after a dot")))
    for part in ("thigh.L", "shin.L", "foot.L", "thigh.R"):
        assert body_map.parts[part].confidence < 0.8 * sided.parts[part].confidence


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        ("Finger0 Finger1 Finger2 Finger3 Finger4", "thumb index middle ring pinky"),
        ("Finger1 Finger2 Finger3 Finger4 Finger5", "thumb index middle ring pinky"),
        ("Thumb Finger1 Finger2 Finger3 Finger4", "thumb index middle ring pinky"),
        ("Thumb Pointer Middle Ring Little", "thumb index middle ring pinky"),
        ("Fingers Thumb", "index thumb"),
        ("Fingers", "index"),
    ],
)
def test_fingers_by_name_and_by_number(names, expected):
    bones = make_bones(part_names("limb, then joint"))
    hand = next(row for row, bone in enumerate(bones) if bone.name == "l_arm_wrist")
    for place, name in enumerate(names.split()):
        head = np.array(bones[hand].tail) + [0, 0.01 * place, 0]
        bones.append(Bone(f"l_{name}", hand, head, head + [0.02, 0, 0]))
        bones.append(
            Bone(f"l_{name}_tip", len(bones) - 1, head + [0.02, 0, 0], head + [0.03, 0, 0])
        )
    body_map = guess_body_map(bones)
    for name, finger in zip(names.split(), expected.split(), strict=True):
        assert body_map.part_of(f"l_{name}") == f"{finger}.L"
    assert not [p for p in body_map.parts if p.endswith("/2") and ".L" in p]


SPIDER = "\n".join(
    ["body 0 0 0.2"]
    + [
        f"{'  ' * (joint + 1)}Leg{pair}.{side}{'' if joint == 0 else f'.00{joint}'} "
        f"{sign * (0.1 + 0.2 * joint)} {0.1 * pair} {0.1 * (1 - joint)}"
        for pair in range(4)
        for side, sign in (("L", 1), ("R", -1))
        for joint in range(3)
    ]
)
DOG = """
root 0 0 1
  pelvis 0 1 1
    L_hindleg .1 1 .9
      L_hindknee .1 1 .5
        L_hindfoot .1 1 .1
    R_hindleg -.1 1 .9
      R_hindknee -.1 1 .5
        R_hindfoot -.1 1 .1
    spine1 0 .5 1
      spine2 0 0 1
        L_foreleg .1 0 .9
          L_foreknee .1 0 .5
            L_forepaw .1 0 .1
        R_foreleg -.1 0 .9
          R_foreknee -.1 0 .5
            R_forepaw -.1 0 .1
        neck 0 -.2 1.1
          head 0 -.4 1.3
"""
CAR = """
chassis 0 0 0
  body 0 0 .5
    door.L 1 0 .5
    door.R -1 0 .5
    wheel_front.L 1 1 0
    wheel_front.R -1 1 0
    wheel_back.L 1 -1 0
    wheel_back.R -1 -1 0
"""
LAMP = """
base 0 0 0
  arm_lower 0 0 1
    arm_upper 0 1 2
      head 0 1 2.5
        bulb 0 1 2.6
"""
CHAIN = "\n".join(f"{'  ' * n}Bone.{n:03d} 0 0 {n}" for n in range(12))


@pytest.mark.parametrize(("text", "limit"), [(SPIDER, 0.6), (CAR, 0.6), (LAMP, 0.6), (CHAIN, 0.0)])
def test_what_is_no_figure_is_not_mapped_with_any_confidence(text, limit):
    body_map = guess_body_map(make_tree(text))
    sure = [part for part, guess in body_map.parts.items() if guess.confidence > limit]
    assert not sure
    assert set(body_map.unmapped) | set(body_map.parts) >= set(CANONICAL_PARTS)


def test_front_legs_are_no_arms():
    body_map = guess_body_map(make_tree(DOG))
    assert body_map.bone("thigh.L") == "L_hindleg"
    assert body_map.bone("foot.R") == "R_hindfoot"
    assert body_map.bone("chest") == "spine2"
    arms = ("shoulder", "upper_arm", "forearm", "hand")
    assert not [p for p in body_map.parts if p.split(".")[0] in arms]


def test_an_armature_of_strands_alone_has_its_strands():
    text = "\n".join(f"{'  ' * n}rope.{n:03d} 0 0 {-n}" for n in range(5))
    body_map = guess_body_map(make_tree(text))
    assert list(body_map.parts) == ["strand:rope.000"] + [
        f"strand:rope.000/{n}" for n in range(2, 6)
    ]
    assert body_map.unmapped == CANONICAL_PARTS


def test_no_bones_make_an_empty_map():
    body_map = guess_body_map([])
    assert not body_map.parts
    assert body_map.unmapped == CANONICAL_PARTS
    assert body_map_to_chains(body_map) == {}


@pytest.mark.parametrize(
    ("bones", "message"),
    [
        ([Bone("a", 5, [0, 0, 0], [0, 0, 1])], "bone 'a': its parent is number 5"),
        ([Bone("a", -2, [0, 0, 0], [0, 0, 1])], "bone 'a': its parent is number -2"),
        (
            [Bone("a", 1, [0, 0, 0], [0, 0, 1]), Bone("b", 0, [0, 0, 0], [0, 0, 1])],
            "its own ancestor",
        ),
        (
            [Bone("a", -1, [0, 0, 0], [0, 0, 1]), Bone("a", 0, [0, 0, 0], [0, 0, 1])],
            "bone 'a': two bones have this name",
        ),
        ([Bone("a", -1, [0, 0, np.nan], [0, 0, 1])], "bone 'a': its rest head is"),
        ([Bone("a", -1, [0, 0, 0], [0, np.inf, 1])], "bone 'a': its rest tail is"),
        ([Bone("a", -1, [0, 0], [0, 0, 1])], "bone 'a': its rest head is"),
    ],
)
def test_bad_bones_are_named(bones, message):
    with pytest.raises(BodyMapError, match=message):
        guess_body_map(bones)


def test_zero_length_bones_at_one_place_do_no_harm():
    names = part_names("side in front, namespace")
    bones = [Bone(b.name, b.parent, [0, 0, 0], [0, 0, 0]) for b in make_bones(names)]
    assert bones_of(guess_body_map(bones)) == names


class TestCorrections:
    names = part_names("side after a dot")
    bones = make_bones(names)
    guess = guess_body_map(bones)

    def test_the_user_s_word_counts_and_is_certain(self):
        body_map = apply_corrections(self.guess, {"chest": "spine.001"}, self.bones)
        chest = body_map.parts["chest"]
        assert (chest.bone, chest.confidence, chest.turn) == ("spine.001", 1.0, "spine.001")
        # One bone stands for one part: the guess gives way.
        assert "spine/2" not in body_map.parts
        assert self.guess.bone("chest") == "chest"

    def test_parents_follow(self):
        body_map = apply_corrections(self.guess, {"forearm.L": ""}, self.bones)
        assert "forearm.L" in body_map.unmapped
        assert body_map.parts["hand.L"].parent == "upper_arm.L"
        assert body_map.parts["hand.R"].parent == "forearm.R"

    def test_taking_everything_back_gives_the_guess(self):
        assert apply_corrections(self.guess, {}, self.bones) == self.guess

    def test_strands_can_be_added_and_taken_away(self):
        bones = [*self.bones, Bone("x1", 6, [0, 0, 2], [0, 0, 2.1])]
        body_map = apply_corrections(self.guess, {"strand:x1": "x1"}, bones)
        assert body_map.parts["strand:x1"].parent == "head"
        again = apply_corrections(body_map, {"strand:x1": ""}, bones)
        assert "strand:x1" not in again.parts

    @pytest.mark.parametrize(
        ("correction", "note"),
        [
            ({"hand.L": "gone"}, "hand.L: the armature has no bone 'gone'"),
            ({"paw.L": "hand.L"}, "paw.L: no such part"),
        ],
    )
    def test_what_cannot_be_followed_is_said_and_the_guess_stays(self, correction, note):
        body_map = apply_corrections(self.guess, correction, self.bones)
        assert body_map.bone("hand.L") == "hand.L"
        assert len(body_map.notes) == 1
        assert note in body_map.notes[0]


WORDS = (
    "Hips Spine Chest Neck Head Arm ForeArm Hand Leg Foot Toe Thumb Finger hair tail eye twist "
    "root pelvis shoulder knee elbow palm front back IK DEF ctrl end Bone x 01 2 .001 L R Left "
    "Right _ . 左"
).split()


@settings(deadline=None, max_examples=150)
@given(data=st.data())
def test_whatever_the_bones_are_the_map_is_sound(data):
    count = data.draw(st.integers(1, 25))
    names = [
        "".join(data.draw(st.lists(st.sampled_from(WORDS), min_size=1, max_size=5))) + f"#{row}"
        for row in range(count)
    ]
    place = st.floats(-2, 2).map(lambda value: round(value, 1))
    bones = [
        Bone(
            name,
            data.draw(st.integers(-1, row - 1)),
            [data.draw(place) for _ in range(3)],
            [data.draw(place) for _ in range(3)],
            deform=data.draw(st.booleans()),
            hidden=data.draw(st.booleans()),
        )
        for row, name in enumerate(names)
    ]
    body_map = guess_body_map(bones)
    found = list(bones_of(body_map).values())
    assert len(found) == len(set(found))
    assert {*found} <= {*names}
    assert not set(body_map.parts) & set(body_map.unmapped)
    for part, guess in body_map.parts.items():
        assert 0.0 <= guess.confidence < 1.0
        assert guess.parent == "" or guess.parent in body_map.parts
        assert guess.parent != part
        assert guess.bone not in guess.controls
        assert {guess.select, guess.turn, *guess.controls} <= {*names}
    for chain in body_map_to_chains(body_map).values():
        assert set(chain) <= set(body_map.parts)
    assert apply_corrections(body_map, {}, bones) == body_map
