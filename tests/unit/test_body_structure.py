# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Names that tell nothing: the figure is found by hierarchy and proportion, and stays a guess."""

import numpy as np
import pytest
from naming_habits import FIGURE, TRUNK, make_bones, part_names, shuffle_bones

from fettle.core_math.body_parts import Bone, guess_body_map

UNSURE = 0.5
NAMES = part_names("side after a dot")


def rename(bones):
    """Give the bones the names Blender gives to new ones; return them and {name: old name}."""
    old = {f"Bone.{row:03d}" if row else "Bone": b.name for row, b in enumerate(bones)}
    renamed = [Bone(name, b.parent, b.head, b.tail) for name, b in zip(old, bones, strict=True)]
    return renamed, old


def turn_about_z(bones, degrees):
    angle = np.radians(degrees)
    turn = np.array(
        [[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]]
    )
    return [Bone(b.name, b.parent, turn @ b.head, turn @ b.tail) for b in bones]


def found_names(bones):
    renamed, old = rename(bones)
    body_map = guess_body_map(renamed)
    assert all(guess.confidence <= UNSURE for guess in body_map.parts.values())
    return {part: old[guess.bone] for part, guess in body_map.parts.items()}


def without(*bases):
    return {
        part: name for part, name in NAMES.items() if part.split(".")[0].split("/")[0] not in bases
    }


FINGERS = ("thumb", "index", "middle", "ring", "pinky")


def test_the_whole_figure_with_fingers():
    assert found_names(make_bones(NAMES)) == NAMES


@pytest.mark.parametrize(
    "names",
    [
        without(*FINGERS),
        without(*FINGERS, "root"),
        without(*FINGERS, "shoulder"),
        without(*FINGERS, "toe"),
        without(*FINGERS, "root", "shoulder", "toe"),
    ],
    ids=["no fingers", "no root", "no clavicles", "no toes", "the least"],
)
def test_figures_with_fewer_joints(names):
    assert found_names(make_bones(names)) == names


@pytest.mark.parametrize("degrees", [0, 20, 90, 180, 270])
def test_left_is_where_the_feet_say_whichever_way_the_figure_faces(degrees):
    names = without(*FINGERS)
    assert found_names(turn_about_z(make_bones(names), degrees)) == names


def test_without_a_stance_all_joints_are_found_and_left_is_at_positive_x():
    # Legs and arms along one axis, as captures rest: hierarchy and lengths are all there is.
    names = without(*FINGERS)
    assert found_names(make_bones(names, stance="all along one axis")) == names


def test_a_side_in_the_name_counts_more_than_the_place():
    bones = make_bones(without(*FINGERS), mirrored=True)
    named = {}
    for row, bone in enumerate(bones):
        side = bone.name[-2:] if bone.name[-2:] in (".L", ".R") else ""
        named[f"Bone{side}.{row:03d}"] = bone.name
    renamed = [Bone(name, b.parent, b.head, b.tail) for name, b in zip(named, bones, strict=True)]
    body_map = guess_body_map(renamed)
    found = {part: named[guess.bone] for part, guess in body_map.parts.items()}
    assert found == without(*FINGERS)


def test_order_of_bones_does_not_matter():
    bones = make_bones(without(*FINGERS))
    renamed, _ = rename(bones)
    order = np.random.default_rng(7).permutation(len(bones)).tolist()
    assert guess_body_map(shuffle_bones(renamed, order)) == guess_body_map(renamed)


def test_one_scale_is_as_good_as_another():
    names = without(*FINGERS)
    for stature in (0.02, 1.0, 178.0):
        assert found_names(make_bones(names, stature=stature)) == names


def test_a_braid_on_the_nameless_head_is_a_strand():
    bones = make_bones(without(*FINGERS))
    head = next(row for row, bone in enumerate(bones) if bone.name == "head")
    above, at = head, np.array(bones[head].tail) + [0, 0.1, 0]
    for joint in range(4):
        bones.append(Bone(f"x{joint}", above, at, at - [0, 0, 0.12]))
        above, at = len(bones) - 1, at - [0, 0, 0.12]
    found = found_names(bones)
    strand = [name for part, name in found.items() if part.startswith("strand:")]
    assert strand == ["x0", "x1", "x2", "x3"]
    assert found["head"] == "head"


def four_footed():
    """Lay the figure on four legs of one length, as no human is built."""
    bones = [Bone("pelvis", -1, [0, 0.5, 0.6], [0, 0.3, 0.6])]
    for n, y in enumerate((0.3, 0.1, -0.1)):
        bones.append(Bone(f"back{n}", len(bones) - 1, [0, y, 0.6], [0, y - 0.2, 0.6]))
    chest = len(bones) - 1
    bones.append(Bone("neck", chest, [0, -0.3, 0.6], [0, -0.4, 0.8]))
    bones.append(Bone("head", len(bones) - 1, [0, -0.4, 0.8], [0, -0.6, 0.8]))
    for base, y in ((0, 0.5), (chest, -0.3)):
        for x in (0.1, -0.1):
            above = base
            for top, length in ((0.6, 0.25), (0.35, 0.25), (0.1, 0.1)):
                bones.append(Bone(f"b{len(bones)}", above, [x, y, top], [x, y, top - length]))
                above = len(bones) - 1
    return bones


def insect():
    """Put three pairs of like legs on one line of joints."""
    bones = [Bone("a", -1, [0, 0.2, 0.2], [0, 0.1, 0.2])]
    for n, y in enumerate((0.1, 0.0, -0.1)):
        bones.append(Bone(f"s{n}", len(bones) - 1, [0, y, 0.2], [0, y - 0.1, 0.2]))
    for base, y in ((1, 0.1), (2, 0.0), (3, -0.1)):
        for sign in (1, -1):
            above, x = base, 0.02
            for length in (0.1, 0.1, 0.04):
                bones.append(
                    Bone(f"b{len(bones)}", above, [sign * x, y, 0.2], [sign * (x + length), y, 0.2])
                )
                above, x = len(bones) - 1, x + length
    bones.append(Bone("h", 3, [0, -0.2, 0.2], [0, -0.3, 0.2]))
    return bones


@pytest.mark.parametrize("creature", [four_footed, insect])
def test_creatures_without_names_are_not_taken_for_people(creature):
    assert found_names(creature()) == {}


def test_unlike_sides_make_no_pair():
    # One arm half as long as the other: nothing says they are arms.
    names = without(*FINGERS)
    bones = []
    for bone, part in zip(make_bones(names), names, strict=True):
        limb = part in ("upper_arm.R", "forearm.R", "hand.R", "thigh.R", "shin.R", "foot.R")
        shrink = 0.5 if limb else 1.0
        bones.append(Bone(bone.name, bone.parent, bone.head * shrink, bone.tail * shrink))
    assert found_names(bones) == {}


def test_the_figure_of_these_tests_is_built_like_a_person():
    # Upper arm .186, forearm .146, thigh .245, shin .246 of stature: Drillis & Contini 1966
    # (from memory).
    lengths = {
        part: np.linalg.norm(np.subtract(FIGURE[part][2], FIGURE[part][1]))
        for part in ("upper_arm", "forearm", "thigh", "shin")
    }
    expected = {"upper_arm": 0.186, "forearm": 0.146, "thigh": 0.245, "shin": 0.246}
    assert lengths == pytest.approx(expected)
    assert set(TRUNK) < set(FIGURE)
