# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The body map on rigs of others, read from text files in the package of the captures.

`MotionCaptureROM.ase`: a biped with German names whose umlauts were lost, its legs on the spine
and its clavicles on the neck. `BCN_Epileptic.X`: a stylised figure with two pelvis roots, hips for
thighs, mitten hands and a ponytail. What each joint is, its name and hierarchy in the file say.
"""

import re

import numpy as np
import pytest

from fettle.core_math.body_parts import Bone, guess_body_map

pytestmark = pytest.mark.captures


@pytest.fixture
def models(captures_folder):
    folder = captures_folder.parent
    if not (folder / "ASE").is_dir():
        pytest.skip("only the captures of Debian's assimp-testmodels are here, not its models")
    return folder


def read_ase(path):
    """Return {name: (parent, place)} of all objects of an ASE file."""
    text = path.read_text(encoding="latin-1")
    joints = {}
    for block in re.findall(r"^\*(?:GEOM|HELPER)OBJECT \{(.*?)^\}", text, re.S | re.M):
        name = re.search(r'\*NODE_NAME "(.*?)"', block).group(1)
        parent = re.search(r'\*NODE_PARENT "(.*?)"', block)
        place = re.search(r"\*TM_POS\s+(\S+)\s+(\S+)\s+(\S+)", block).groups()
        joints[name] = (parent.group(1) if parent else "", np.array(place, dtype=float))
    return joints


def read_x(path):
    """Return {name: (parent, place)} of the bone frames of an X file; matrices are by rows."""
    text = path.read_text(encoding="latin-1")
    matrices, parents, open_blocks = {}, {}, []
    marks = r"Frame (\S+) \{|FrameTransformMatrix relative \{\s*([^;]*);;|(\{)|(\})"
    for name, numbers, opening, _ in re.findall(marks, text):
        frames = [block for block in open_blocks if block in matrices]
        if name:
            parents[name] = frames[-1] if frames else ""
            matrices[name] = np.eye(4)
            open_blocks.append(name)
        elif numbers:
            own = np.array(numbers.split(","), dtype=float).reshape(4, 4)
            above = parents[frames[-1]]
            matrices[frames[-1]] = own @ matrices[above] if above else own
            open_blocks.append("{")
        elif opening:
            open_blocks.append("{")
        else:
            open_blocks.pop()
    return {
        name: (parents[name], matrix[3, :3])
        for name, matrix in matrices.items()
        if name.startswith("B_")
    }


def make_bones(joints):
    names = list(joints)
    bones = []
    for name, (parent, place) in joints.items():
        onward = [joints[other][1] for other in names if joints[other][0] == name]
        tail = onward[0] if onward else place + [0, 0, 0.1]
        bones.append(Bone(name, names.index(parent) if parent in joints else -1, place, tail))
    return bones


def put_sides(table, left, right):
    """Spell out the sides: "%" in a part is L and R, in a bone the file's words for them."""
    names = {}
    for part, bone in table.items():
        for side, word in (("L", left), ("R", right)) if "%" in part else (("", ""),):
            names[part.replace("%", side)] = bone.replace("%", word)
    return names


BIPED = {
    "root": "Bip01", "hips": "Bip01 Becken", "spine": "Bip01 Wirbels_ule",
    "spine/2": "Bip01 Wirbels_ule1", "chest": "Bip01 Wirbels_ule2", "neck": "Bip01 Hals",
    "head": "Bip01 Kopf", "shoulder.%": "Bip01 % Schl_sselbein",
    "upper_arm.%": "Bip01 % Oberarm", "forearm.%": "Bip01 % Unterarm", "hand.%": "Bip01 % Hand",
    "thigh.%": "Bip01 % Oberschenkel", "shin.%": "Bip01 % Unterschenkel",
    "foot.%": "Bip01 % Fu_", "toe.%": "Bip01 % Zeh0",
}  # fmt: skip
STYLISED = {
    "hips": "B_LowerPelvis", "chest": "B_Spine4", "shoulder.%": "B_Clavicle_%",
    "upper_arm.%": "B_UpperArm_%", "forearm.%": "B_ForeArm_%", "hand.%": "B_Hand_%",
    "thumb.%": "B_Thumb1_%", "thumb.%/2": "B_Thumb2_%", "thigh.%": "B_Hip_%",
    "shin.%": "B_Knee_%", "foot.%": "B_Ankle_%", "toe.%": "B_Toe_%",
    "strand:B_PTail1": "B_PTail1", "strand:B_PTail1/2": "B_PTail2",
    "strand:B_PTail1/3": "B_PTail3",
}  # fmt: skip


def test_german_biped(models):
    body_map = guess_body_map(make_bones(read_ase(models / "ASE" / "MotionCaptureROM.ase")))
    expected = put_sides(BIPED, "L", "R")
    assert {part: body_map.bone(part) for part in expected} == expected
    assert body_map.part_of("Bip01 Schritte") == ""
    # One finger for all of them: told, but not with the confidence of a name.
    assert body_map.parts["index.L"].confidence <= 0.6


def test_stylised_figure(models):
    body_map = guess_body_map(make_bones(read_x(models / "X" / "BCN_Epileptic.X")))
    expected = put_sides(STYLISED, "Left", "Right")
    assert {part: body_map.bone(part) for part in expected} == expected
    # Its skull has no bone but the neck's last; eyes, lids and lips hang from it.
    assert body_map.bone("head") == "B_Neck"
    assert not [part for part in body_map.parts if "Eye" in body_map.bone(part)]
