# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A capture small enough to be written out: a figure in centimetres whose left arm swings."""

# A figure in BVH's few words: hips, chest, head, two arms, two legs; its left arm swings.
JOINTS = {
    "Hips": (None, "0 95 0"),
    "Chest": ("Hips", "0 20 0"),
    "Head": ("Chest", "0 35 0"),
    "LeftArm": ("Chest", "18 30 0"),
    "LeftForeArm": ("LeftArm", "28 0 0"),
    "LeftHand": ("LeftForeArm", "26 0 0"),
    "RightArm": ("Chest", "-18 30 0"),
    "RightForeArm": ("RightArm", "-28 0 0"),
    "RightHand": ("RightForeArm", "-26 0 0"),
    "LeftUpLeg": ("Hips", "10 -5 0"),
    "LeftLeg": ("LeftUpLeg", "0 -42 0"),
    "LeftFoot": ("LeftLeg", "0 -42 0"),
    "RightUpLeg": ("Hips", "-10 -5 0"),
    "RightLeg": ("RightUpLeg", "0 -42 0"),
    "RightFoot": ("RightLeg", "0 -42 0"),
}


def make_bvh(frames=40):
    def write_joint(name, depth):
        parent, offset = JOINTS[name]
        pad = "  " * depth
        channels = "3 Zrotation Xrotation Yrotation"
        if parent is None:
            channels = "6 Xposition Yposition Zposition Zrotation Xrotation Yrotation"
        lines = [f"{pad}{'JOINT' if parent else 'ROOT'} {name}", pad + "{"]
        lines += [f"{pad}  OFFSET {offset}", f"{pad}  CHANNELS {channels}"]
        children = [child for child, (above, _) in JOINTS.items() if above == name]
        for child in children:
            lines += write_joint(child, depth + 1)
        if not children:
            lines += [f"{pad}  End Site", pad + "  {", f"{pad}    OFFSET 0 -9 0", pad + "  }"]
        return [*lines, pad + "}"]

    order = [
        line.split()[1] for line in write_joint("Hips", 0) if "JOINT" in line or "ROOT" in line
    ]
    rows = []
    for frame in range(frames):
        row = [0.0, 95.0, 0.0]
        for name in order:
            turn = 40.0 * (frame % 20 - 10) / 10.0 if name == "LeftArm" else 0.0
            row += [turn, 0.0, 0.0]
        rows.append(" ".join(f"{value:.3f}" for value in row))
    head = ["HIERARCHY", *write_joint("Hips", 0), "MOTION", f"Frames: {frames}"]
    return "\n".join([*head, "Frame Time: 0.0416667", *rows]) + "\n"
