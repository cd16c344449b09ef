# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The names of body parts, and what follows from a name alone."""

import pytest

from fettle.core_math import body_vocabulary as vocabulary


@pytest.mark.parametrize(
    ("part", "pieces"),
    [
        ("hand.L", ("hand", "L", 1)),
        ("index.R/3", ("index", "R", 3)),
        ("spine/2", ("spine", "", 2)),
        ("strand:braid_L", ("strand:braid_L", "", 1)),
        ("strand:hair.L/4", ("strand:hair.L", "", 4)),
        ("strand:hair/2/1", ("strand:hair/2", "", 1)),
        ("strand:hair/2/3", ("strand:hair/2", "", 3)),
    ],
)
def test_a_part_splits_and_joins_again(part, pieces):
    assert vocabulary.split_part(part) == pieces
    assert vocabulary.join_part(*pieces) == part


@pytest.mark.parametrize(
    ("part", "mirror"),
    [
        ("hand.L", "hand.R"),
        ("index.R/2", "index.L/2"),
        ("spine/2", "spine/2"),
        ("head", "head"),
        ("strand:braid_L", "strand:braid_R"),
        ("strand:LeftBraid/2", "strand:RightBraid/2"),
        ("strand:hair.R.001", "strand:hair.L.001"),
        ("strand:tail", "strand:tail"),
    ],
)
def test_mirror_goes_to_the_other_side_and_back(part, mirror):
    assert vocabulary.mirror_part(part) == mirror
    assert vocabulary.mirror_part(mirror) == part


@pytest.mark.parametrize(
    ("part", "label"),
    [
        ("hand.L", "left hand"),
        ("forearm.R", "right forearm"),
        ("upper_arm.L", "left upper arm"),
        ("index.L", "left index finger"),
        ("thumb.R/2", "right thumb, joint 2"),
        ("chest", "chest"),
        ("spine/2", "spine, joint 2"),
        ("strand:braid_L", "braid_L strand"),
        ("strand:braid_L/3", "braid_L strand, joint 3"),
    ],
)
def test_labels_are_words_an_animator_reads(part, label):
    assert vocabulary.part_label(part) == label


def test_canonical_parts_are_those_of_a_body_and_all_have_their_mirror():
    parts = vocabulary.CANONICAL_PARTS
    assert len(parts) == len(set(parts)) == 6 + 2 * (4 + 5 + 4)
    assert all(vocabulary.mirror_part(part) in parts for part in parts)
    assert all(vocabulary.is_part(part) for part in parts)


@pytest.mark.parametrize(
    "part", ["", "hand", "hand.L/x", "elbow.L", "spine.L", "strand:", "Hand.L"]
)
def test_what_is_no_part(part):
    assert not vocabulary.is_part(part)


def test_every_part_leads_up_to_the_root():
    for part in vocabulary.CANONICAL_PARTS:
        way = [part]
        while above := vocabulary.parent_part(way[-1]):
            way.append(above)
        assert way[-1] == "root"
        assert len(way) == len(set(way))
    assert vocabulary.parent_part("hand.L") == "forearm.L"
    assert vocabulary.parent_part("thigh.R") == "hips"
    assert vocabulary.parent_part("shoulder.L") == "chest"


@pytest.mark.parametrize(
    ("part", "present", "parent"),
    [
        ("hand.L", {"upper_arm.L", "chest"}, "upper_arm.L"),
        ("hand.L", {"hand.R", "forearm.R"}, ""),
        ("chest", {"hips", "spine", "spine/2", "spine/10"}, "spine/10"),
        ("spine/2", {"hips", "spine"}, "spine"),
        ("spine/2", {"hips"}, "hips"),
        ("index.L/3", {"hand.L", "index.L", "index.L/2"}, "index.L/2"),
        ("toe.L", {"root"}, "root"),
        ("root", {"hips"}, ""),
    ],
)
def test_missing_parents_are_skipped_and_last_joints_count(part, present, parent):
    assert vocabulary.parent_part(part, present) == parent


def test_order_is_trunk_arms_legs_strands_with_joints_in_number():
    shuffled = ["strand:b", "toe.R", "index.L/10", "index.L", "index.L/2", "hand.L", "head", "root"]
    assert vocabulary.sort_parts(shuffled) == [
        "root", "head", "hand.L", "index.L", "index.L/2", "index.L/10", "toe.R", "strand:b",
    ]  # fmt: skip


def test_limbs():
    assert vocabulary.limb_of("hand.L") == "arm.L"
    assert vocabulary.limb_of("toe.R") == "leg.R"
    assert vocabulary.limb_of("pinky.R/2") == "fingers.R"
    assert vocabulary.limb_of("chest") == ""
    assert vocabulary.LIMBS["arm.R"] == ("shoulder.R", "upper_arm.R", "forearm.R", "hand.R")
