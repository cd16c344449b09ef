# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A human skeleton under many names: habits of rigs and of languages, each as its users read it.

Every habit is a table from part to the name its users give that joint, written down from common
practice, with "%" where the side goes. `make_bones` puts it on one figure.
"""

from __future__ import annotations

import numpy as np

from fettle.core_math.body_parts import Bone

# part: (parent, head, tail) in shares of stature, left side; segment lengths after Drillis &
# Contini 1966 (from memory), the rest is the project's own choice. Z up, facing -Y, left at +X.
FIGURE = {
    "root": ("", (0, 0, 0), (0, 0.1, 0)),
    "hips": ("root", (0, 0, 0.53), (0, 0, 0.58)),
    "spine": ("hips", (0, 0, 0.58), (0, 0, 0.63)),
    "spine/2": ("spine", (0, 0, 0.63), (0, 0, 0.68)),
    "chest": ("spine/2", (0, 0, 0.68), (0, 0, 0.82)),
    "neck": ("chest", (0, 0, 0.82), (0, 0, 0.87)),
    "head": ("neck", (0, 0, 0.87), (0, 0, 1.0)),
    "shoulder": ("chest", (0.02, 0, 0.81), (0.129, 0, 0.81)),
    "upper_arm": ("shoulder", (0.129, 0, 0.81), (0.315, 0, 0.81)),
    "forearm": ("upper_arm", (0.315, 0, 0.81), (0.461, 0, 0.81)),
    "hand": ("forearm", (0.461, 0, 0.81), (0.51, 0, 0.81)),
    "thigh": ("hips", (0.0955, 0, 0.53), (0.0955, 0, 0.285)),
    "shin": ("thigh", (0.0955, 0, 0.285), (0.0955, 0, 0.039)),
    "foot": ("shin", (0.0955, 0, 0.039), (0.0955, -0.1, 0.01)),
    "toe": ("foot", (0.0955, -0.1, 0.01), (0.0955, -0.14, 0.01)),
}
_FINGERS = {
    "thumb": ((0.475, -0.02, 0.8), (0.5, -0.8, -0.3)),
    "index": ((0.51, -0.02, 0.81), (1, -0.1, 0)),
    "middle": ((0.512, -0.007, 0.81), (1, 0, 0)),
    "ring": ((0.51, 0.007, 0.81), (1, 0, 0)),
    "pinky": ((0.505, 0.02, 0.81), (1, 0.1, 0)),
}
for _finger, (_knuckle, _way) in _FINGERS.items():
    _step = 0.014 * np.array(_way) / np.linalg.norm(_way)
    for _joint in range(3):
        _name = _finger if _joint == 0 else f"{_finger}/{_joint + 1}"
        _above = "hand" if _joint == 0 else (_finger if _joint == 1 else f"{_finger}/2")
        _head = np.array(_knuckle) + _joint * _step
        FIGURE[_name] = (_above, tuple(_head), tuple(_head + _step))

TRUNK = ("root", "hips", "spine", "spine/2", "chest", "neck", "head")


def _fingers(pattern, names, numbers=(1, 2, 3)):
    return {
        finger if place == 0 else f"{finger}/{place + 1}": pattern.format(name=name, n=number)
        for finger, name in zip(_FINGERS, names, strict=True)
        for place, number in enumerate(numbers)
    }


_ENGLISH = ("Thumb", "Index", "Middle", "Ring", "Pinky")

# habit: (words for left and right, {part: name})
HABITS = {
    "side after a dot": (
        ("L", "R"),
        {
            "root": "root", "hips": "hips", "spine": "spine", "spine/2": "spine.001",
            "chest": "chest", "neck": "neck", "head": "head",
            "shoulder": "shoulder.%", "upper_arm": "upper_arm.%", "forearm": "forearm.%",
            "hand": "hand.%", "thigh": "thigh.%", "shin": "shin.%", "foot": "foot.%",
            "toe": "toe.%",
            **_fingers("{name}.0{n}.%", [f"f_{f.lower()}" for f in _ENGLISH]),
            "thumb": "thumb.01.%", "thumb/2": "thumb.02.%", "thumb/3": "thumb.03.%",
        },
    ),
    "side at the end, lower case": (
        ("l", "r"),
        {
            "root": "root", "hips": "pelvis", "spine": "spine_01", "spine/2": "spine_02",
            "chest": "spine_03", "neck": "neck_01", "head": "head",
            "shoulder": "clavicle_%", "upper_arm": "upperarm_%", "forearm": "lowerarm_%",
            "hand": "hand_%", "thigh": "thigh_%", "shin": "calf_%", "foot": "foot_%",
            "toe": "ball_%",
            **_fingers("{name}_0{n}_%", [f.lower() for f in _ENGLISH]),
        },
    ),
    "side in front, namespace": (
        ("Left", "Right"),
        {
            "hips": "rig:Hips", "spine": "rig:Spine", "spine/2": "rig:Spine1",
            "chest": "rig:Spine2", "neck": "rig:Neck", "head": "rig:Head",
            "shoulder": "rig:%Shoulder", "upper_arm": "rig:%Arm", "forearm": "rig:%ForeArm",
            "hand": "rig:%Hand", "thigh": "rig:%UpLeg", "shin": "rig:%Leg", "foot": "rig:%Foot",
            "toe": "rig:%ToeBase",
            **_fingers("rig:%Hand{name}{n}", _ENGLISH),
        },
    ),
    "joints of the limb": (
        ("Left", "Right"),
        {
            "hips": "Hips", "spine": "Chest", "spine/2": "Chest2", "chest": "Chest3",
            "neck": "Neck", "head": "Head",
            "shoulder": "%Collar", "upper_arm": "%Shoulder", "forearm": "%Elbow",
            "hand": "%Wrist", "thigh": "%Hip", "shin": "%Knee", "foot": "%Ankle", "toe": "%Toe",
        },
    ),
    "biped with spaces": (
        ("L", "R"),
        {
            "root": "Bip01", "hips": "Bip01 Pelvis", "spine": "Bip01 Spine",
            "spine/2": "Bip01 Spine1", "chest": "Bip01 Spine2", "neck": "Bip01 Neck",
            "head": "Bip01 Head", "shoulder": "Bip01 % Clavicle", "upper_arm": "Bip01 % UpperArm",
            "forearm": "Bip01 % Forearm", "hand": "Bip01 % Hand", "thigh": "Bip01 % Thigh",
            "shin": "Bip01 % Calf", "foot": "Bip01 % Foot", "toe": "Bip01 % Toe0",
            **_fingers("Bip01 % Finger{name}{n}", "01234", ("", "1", "2")),
        },
    ),
    "side in the middle": (
        ("L", "R"),
        {
            "root": "Root", "hips": "J_Bip_C_Hips", "spine": "J_Bip_C_Spine",
            "spine/2": "J_Bip_C_Chest", "chest": "J_Bip_C_UpperChest", "neck": "J_Bip_C_Neck",
            "head": "J_Bip_C_Head", "shoulder": "J_Bip_%_Shoulder",
            "upper_arm": "J_Bip_%_UpperArm", "forearm": "J_Bip_%_LowerArm",
            "hand": "J_Bip_%_Hand", "thigh": "J_Bip_%_UpperLeg", "shin": "J_Bip_%_LowerLeg",
            "foot": "J_Bip_%_Foot", "toe": "J_Bip_%_ToeBase",
            **_fingers("J_Bip_%_{name}{n}", (*_ENGLISH[:4], "Little")),
        },
    ),
    "one letter glued on": (
        ("l", "r"),
        {
            "hips": "hip", "spine": "abdomen", "chest": "chest", "neck": "neck", "head": "head",
            "shoulder": "%Collar", "upper_arm": "%Shldr", "forearm": "%ForeArm", "hand": "%Hand",
            "thigh": "%Thigh", "shin": "%Shin", "foot": "%Foot", "toe": "%Toe",
            **_fingers("%{name}{n}", ("Thumb", "Index", "Mid", "Ring", "Pinky")),
        },
    ),
    "side first, kind of bone last": (
        ("L", "R"),
        {
            "root": "root_jnt", "hips": "pelvis_jnt", "spine": "spine_01_jnt",
            "spine/2": "spine_02_jnt", "chest": "spine_03_jnt", "neck": "neck_01_jnt",
            "head": "head_jnt", "shoulder": "%_clavicle_jnt", "upper_arm": "%_upArm_jnt",
            "forearm": "%_loArm_jnt", "hand": "%_wrist_jnt", "thigh": "%_hip_jnt",
            "shin": "%_knee_jnt", "foot": "%_ankle_jnt", "toe": "%_ball_jnt",
            **_fingers("%_{name}_0{n}_jnt", [f.lower() for f in _ENGLISH]),
        },
    ),
    "limb, then joint": (
        ("l", "r"),
        {
            "root": "c_root", "hips": "c_pelvis", "spine": "c_spine_01", "chest": "c_chest",
            "neck": "c_neck", "head": "c_head", "upper_arm": "%_arm_shoulder",
            "forearm": "%_arm_elbow", "hand": "%_arm_wrist", "thigh": "%_leg_hip",
            "shin": "%_leg_knee", "foot": "%_leg_ankle", "toe": "%_leg_toe",
        },
    ),
    "written in one piece": (
        ("left", "right"),
        {
            "hips": "hips", "spine": "lowerback", "chest": "upperback", "neck": "neck",
            "head": "head", "shoulder": "%collarbone", "upper_arm": "%upperarm",
            "forearm": "%forearm", "hand": "%hand", "thigh": "%thigh", "shin": "%calf",
            "foot": "%foot", "toe": "%toes",
        },
    ),
    "side last, upper and lower": (
        ("Left", "Right"),
        {
            "hips": "Hips", "spine": "Spine", "chest": "Chest", "neck": "Neck", "head": "Head",
            "shoulder": "Shoulder_%", "upper_arm": "Arm_Upper_%", "forearm": "Arm_Lower_%",
            "hand": "Hand_%", "thigh": "Leg_Upper_%", "shin": "Leg_Lower_%", "foot": "Foot_%",
            "toe": "Toes_%",
        },
    ),
    "numbered limbs": (
        ("L", "R"),
        {
            "hips": "Hips", "spine": "Spine", "chest": "Chest", "neck": "Neck", "head": "Head",
            "upper_arm": "Arm.%", "forearm": "Arm.%.001", "hand": "Hand.%",
            "thigh": "Leg.%", "shin": "Leg.%.001", "foot": "Foot.%",
        },
    ),
    "German": (
        ("links", "rechts"),
        {
            "root": "Wurzel", "hips": "Becken", "spine": "Wirbelsäule",
            "spine/2": "Wirbelsäule.001", "chest": "Brust", "neck": "Hals", "head": "Kopf",
            "shoulder": "Schlüsselbein.%", "upper_arm": "Oberarm.%", "forearm": "Unterarm.%",
            "hand": "Hand.%", "thigh": "Oberschenkel.%", "shin": "Unterschenkel.%",
            "foot": "Fuß.%", "toe": "Zehen.%",
            **_fingers(
                "{name}{n}.%",
                ("Daumen", "Zeigefinger", "Mittelfinger", "Ringfinger", "KleinerFinger"),
            ),
        },
    ),
    "French": (
        ("G", "D"),
        {
            "hips": "Bassin", "spine": "Colonne", "chest": "Poitrine", "neck": "Cou",
            "head": "Tête", "shoulder": "Épaule.%", "upper_arm": "Bras.%",
            "forearm": "AvantBras.%", "hand": "Main.%", "thigh": "Cuisse.%", "shin": "Mollet.%",
            "foot": "Pied.%", "toe": "Orteils.%",
            **_fingers(
                "{name}{n}.%", ("Pouce", "Index", "Majeur", "Annulaire", "Auriculaire")
            ),
        },
    ),
    "Spanish": (
        ("I", "D"),
        {
            "hips": "Cadera", "spine": "Columna", "chest": "Pecho", "neck": "Cuello",
            "head": "Cabeza", "shoulder": "Clavícula_%", "upper_arm": "Brazo_%",
            "forearm": "Antebrazo_%", "hand": "Mano_%", "thigh": "Muslo_%",
            "shin": "Pantorrilla_%", "foot": "Pie_%",
            **_fingers("{name}{n}_%", ("Pulgar", "Índice", "Corazón", "Anular", "Meñique")),
        },
    ),
    "Italian": (
        ("Sx", "Dx"),
        {
            "hips": "Bacino", "spine": "Colonna", "chest": "Torace", "neck": "Collo",
            "head": "Testa", "shoulder": "Clavicola_%", "upper_arm": "Braccio_%",
            "forearm": "Avambraccio_%", "hand": "Mano_%", "thigh": "Coscia_%", "shin": "Gamba_%",
            "foot": "Piede_%",
            **_fingers("{name}{n}_%", ("Pollice", "Indice", "Medio", "Anulare", "Mignolo")),
        },
    ),
    "Portuguese": (
        ("E", "D"),
        {
            "hips": "Quadril", "spine": "Coluna", "chest": "Peito", "neck": "Pescoço",
            "head": "Cabeça", "shoulder": "Ombro.%", "upper_arm": "Braço.%",
            "forearm": "Antebraço.%", "hand": "Mão.%", "thigh": "Coxa.%", "shin": "Canela.%",
            "foot": "Pé.%",
            **_fingers("{name}{n}.%", ("Polegar", "Indicador", "Médio", "Anelar", "Mindinho")),
        },
    ),
    "Dutch": (
        ("L", "R"),
        {
            "hips": "Bekken", "spine": "Rug", "chest": "Borst", "neck": "Nek", "head": "Hoofd",
            "shoulder": "Sleutelbeen.%", "upper_arm": "Bovenarm.%", "forearm": "Onderarm.%",
            "hand": "Hand.%", "thigh": "Bovenbeen.%", "shin": "Onderbeen.%", "foot": "Voet.%",
            "toe": "Tenen.%",
        },
    ),
    "Japanese in Latin letters": (
        ("hidari", "migi"),
        {
            "hips": "koshi", "spine": "sebone", "chest": "mune", "neck": "kubi", "head": "atama",
            "shoulder": "%_kata", "upper_arm": "%_ude", "forearm": "%_hiji", "hand": "%_te",
            "thigh": "%_momo", "shin": "%_hiza", "foot": "%_ashikubi", "toe": "%_tsumasaki",
            **_fingers(
                "%_{name}{n}",
                ("oyayubi", "hitosashiyubi", "nakayubi", "kusuriyubi", "koyubi"),
            ),
        },
    ),
    "Japanese": (
        ("左", "右"),
        {
            "root": "全ての親", "hips": "下半身", "spine": "上半身", "chest": "上半身2",
            "neck": "首", "head": "頭", "shoulder": "%肩", "upper_arm": "%腕", "forearm": "%ひじ",
            "hand": "%手首", "thigh": "%足", "shin": "%ひざ", "foot": "%足首", "toe": "%つま先",
            **_fingers("%{name}{n}", ("親指", "人指", "中指", "薬指", "小指"), "１２３"),
        },
    ),
}  # fmt: skip


def part_names(habit, sides=None):
    """Return {part with side: bone name} of a habit; `sides` are other words for the sides."""
    words, table = HABITS[habit]
    left, right = sides or words
    names = {}
    for part, name in table.items():
        if part in TRUNK:
            names[part] = name
            continue
        base, _, joint = part.partition("/")
        for side, word in (("L", left), ("R", right)):
            full = f"{base}.{side}/{joint}" if joint else f"{base}.{side}"
            names[full] = name.replace("%", word)
    return names


def make_bones(names, mirrored=False, stature=1.75, stance=None):
    """Put names on the figure.

    `names` is {part with side: bone name}; parts that are not named are left out and their children
    hang from the next part above. `mirrored` swaps +X and -X under the names. `stance` may be
    "all along one axis": every bone then points up, as some captures rest.
    """
    order = list(names)
    places = {}
    bones = []
    for part in order:
        base, side, joint = _split(part)
        parent, head, tail = FIGURE[f"{base}/{joint}" if joint else base]
        sign = np.array([-1.0 if (side == "R") != mirrored else 1.0, 1.0, 1.0])
        head, tail = np.array(head) * sign, np.array(tail) * sign
        above = _find_above(parent, side, names)
        if stance == "all along one axis":
            length = float(np.linalg.norm(tail - head))
            start = places.get(above, np.zeros(3))
            if base in ("shoulder", "upper_arm", "thigh") and side:
                start = start + np.array([0.02, 0, 0]) * sign
            head, tail = start, start + np.array([0, 0, length])
            places[part] = tail
        bones.append((names[part], order.index(above) if above else -1, head, tail))
    return [Bone(n, p, h * stature, t * stature) for n, p, h, t in bones]


def shuffle_bones(bones, order):
    """Return the same bones in another order, their parents renumbered."""
    place = {old: new for new, old in enumerate(order)}
    return [
        Bone(
            bones[old].name,
            place.get(bones[old].parent, -1),
            bones[old].head,
            bones[old].tail,
            bones[old].deform,
            bones[old].hidden,
        )
        for old in order
    ]


def _split(part):
    body, _, joint = part.partition("/")
    if body[-2:] in (".L", ".R"):
        return body[:-2], body[-1], joint
    return body, "", joint


def _find_above(parent, side, names):
    while parent:
        base, _, joint = parent.partition("/")
        full = f"{base}.{side}" if side and parent not in TRUNK else base
        full = f"{full}/{joint}" if joint else full
        if full in names:
            return full
        parent = FIGURE[parent][0]
    return ""
