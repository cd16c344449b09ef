# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Real motion for the tests: the BVH captures of Debian's assimp-testmodels, read by SciPy.

An own reader on purpose: it shares nothing with Blender's importer, so that the two can be held
against each other. Scales: 01_01 and 01_03 are in 1/0.45 inch (the converter's note, from
memory; the jumps' g of 9.97 m/s^2 confirms it), Boxing_Toes in centimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from capture_folder import find_captures
from scipy.spatial.transform import Rotation

from fettle.core_math.measures import rotations
from fettle.core_math.motion import Motion, RotationChannels
from fettle.core_math.motion_making import build_motion

_CMU_UNIT = 0.0254 / 0.45
_SIDED_CMU = {
    "Shoulder": "shoulder",
    "Arm": "upper_arm",
    "ForeArm": "forearm",
    "Hand": "hand",
    "FingerBase": "middle",
    "UpLeg": "thigh",
    "Leg": "shin",
    "Foot": "foot",
    "ToeBase": "toe",
}
_SIDED_BOXING = {
    "Collar": "shoulder",
    "Shoulder": "upper_arm",
    "Elbow": "forearm",
    "Wrist": "hand",
    "Hip": "thigh",
    "Knee": "shin",
    "Ankle": "foot",
    "Toes": "toe",
}


def _name_sides(table: dict[str, str]) -> dict[str, str]:
    sides = (("Left", ".L"), ("Right", ".R"))
    return {f"{word}{k}": f"{v}{side}" for word, side in sides for k, v in table.items()}


_CMU_PARTS = {
    "Hips": "hips",
    "LowerBack": "spine",
    "Spine": "spine/2",
    "Spine1": "chest",
    "Neck": "neck",
    "Neck1": "neck/2",
    "Head": "head",
    "LThumb": "thumb.L",
    "RThumb": "thumb.R",
    **_name_sides(_SIDED_CMU),
}
_BOXING_PARTS = {
    "Hips": "hips",
    "Ab": "spine",
    "Chest": "chest",
    "Neck": "neck",
    "Head": "head",
    **_name_sides(_SIDED_BOXING),
}
CLIPS = {
    "01_01": (_CMU_UNIT, _CMU_PARTS),
    "01_03": (_CMU_UNIT, _CMU_PARTS),
    "Boxing_Toes": (0.01, _BOXING_PARTS),
}


@dataclass(frozen=True)
class Joint:
    """A joint of the file: its parent's row, its offset, its rotation channels in order."""

    name: str
    parent: int
    offset: np.ndarray
    order: str
    columns: tuple[int, ...]
    end: np.ndarray


@dataclass(frozen=True)
class Clip:
    """A capture in the file's own units and axes (Y up); positions (F, J, 3)."""

    joints: tuple[Joint, ...]
    fps: float
    rows: np.ndarray
    positions: np.ndarray
    rotations: np.ndarray

    def position(self, joint: str) -> np.ndarray:
        """Return one joint's path in file units, shape (F, 3)."""
        return self.positions[:, [j.name for j in self.joints].index(joint)]


def find_folder() -> Path | None:
    """Return the captures' folder, or None where they were not fetched."""
    return find_captures()


@cache
def read_clip(path: Path) -> Clip:
    """Read a BVH file, row 0 included."""
    header, _, motion = path.read_text().partition("MOTION")
    joints = _read_joints(header.split())
    lines = motion.split("\n")
    period = next(float(line.split(":")[1]) for line in lines if "Frame Time" in line)
    first = next(i for i, line in enumerate(lines) if "Frame Time" in line) + 1
    rows = np.array([line.split() for line in lines[first:] if line.strip()], dtype=float)
    world = np.zeros((len(rows), len(joints), 4))
    places = np.zeros((len(rows), len(joints), 3))
    for row, joint in enumerate(joints):
        local = Rotation.from_euler(joint.order, rows[:, joint.columns], degrees=True)
        wxyz = local.as_quat(scalar_first=True)
        if joint.parent < 0:
            places[:, row] = rows[:, :3]
            world[:, row] = wxyz
        else:
            above = world[:, joint.parent]
            offset = np.broadcast_to(joint.offset, (len(rows), 3))
            places[:, row] = places[:, joint.parent] + rotations.rotate(above, offset)
            world[:, row] = rotations.multiply(above, wxyz)
    return Clip(tuple(joints), 1.0 / period, rows, places, world)


@cache
def load(name: str, fps: float | None = None, skip: int = 1) -> Motion:
    """Return a capture as Motion in metres, Z up, its first `skip` rows left out.

    `fps` resamples it (None keeps the recorded rate); frame numbers then count from 1. At the
    recorded rate a frame's number is its row in the file.
    """
    folder = find_folder()
    if folder is None or not (folder / f"{name}.bvh").is_file():
        import pytest

        pytest.skip(f"the capture {name}.bvh is not here: tools/fetch_captures.sh fetches it")
    clip = read_clip(folder / f"{name}.bvh")
    unit, names = CLIPS[name]
    rows = [i for i, joint in enumerate(clip.joints) if joint.name in names]
    parts = [names[clip.joints[i].name] for i in rows]
    heads = clip.positions[skip:, rows]
    ends = np.array([clip.joints[i].end for i in rows])
    world = rotations.make_continuous(clip.rotations[skip:, rows])
    channels = {
        names[clip.joints[i].name]: clip.rows[skip:, np.sort(clip.joints[i].columns)] for i in rows
    }
    frames = np.arange(skip, skip + len(heads))
    if fps is not None:
        times = np.arange(int((len(heads) - 1) / clip.fps * fps) + 1) / fps * clip.fps
        low = np.minimum(times.astype(int), len(heads) - 2)
        share = (times - low)[:, None, None]
        heads = heads[low] * (1 - share) + heads[low + 1] * share
        world = rotations.normalize(world[low] * (1 - share) + world[low + 1] * share)
        channels = {}
        frames = np.arange(1, 1 + len(times))
    tails = heads + rotations.rotate(world, np.broadcast_to(ends, heads.shape))
    upright = rotations.from_axis_angle((1.0, 0.0, 0.0), 90.0)
    heads, tails = rotations.rotate(upright, heads) * unit, rotations.rotate(upright, tails) * unit
    toes = tails[:, [parts.index("toe.L"), parts.index("toe.R")], 2]
    return build_motion(
        subject=name,
        frames=frames,
        fps=fps or round(clip.fps, 3),
        parts=parts,
        parents=[_find_parent(clip, i, rows) for i in rows],
        heads=heads,
        tails=tails,
        rotations_wxyz=rotations.multiply(upright, world),
        channels={
            p: RotationChannels(_blender_order(clip, names, p), _to_xyz(clip, names, p, v))
            for p, v in channels.items()
        },
        ground_height=float(np.percentile(toes, 2.0)),
    )


def _read_joints(words: list[str]) -> list[Joint]:
    """Walk the hierarchy; a joint ends where its first child begins."""
    found: list[dict] = []
    stack: list[int] = []
    column, place, in_end = 0, 0, False
    while place < len(words):
        word = words[place]
        if word in ("ROOT", "JOINT"):
            found.append({"name": words[place + 1], "parent": stack[-1] if stack else -1})
            in_end = False
        elif word == "End":
            in_end = True
        elif word == "{":
            stack.append(-1 if in_end else len(found) - 1)
        elif word == "}":
            stack.pop()
            in_end = False
        elif word == "OFFSET":
            offset = np.array(words[place + 1 : place + 4], dtype=float)
            owner = found[stack[-2] if in_end else stack[-1]]
            if in_end:
                owner.setdefault("end", offset)
            else:
                owner["offset"] = offset
                if owner["parent"] >= 0:
                    found[owner["parent"]].setdefault("end", offset)
        elif word == "CHANNELS":
            count = int(words[place + 1])
            channels = words[place + 2 : place + 2 + count]
            turns = [c for c in channels if c.endswith("rotation")]
            found[-1]["order"] = "".join(c[0] for c in turns)
            found[-1]["columns"] = tuple(column + channels.index(c) for c in turns)
            column += count
        place += 1
    return [Joint(**{"end": np.zeros(3), **entry}) for entry in found]


def _find_parent(clip: Clip, row: int, rows: list[int]) -> int:
    parent = clip.joints[row].parent
    while parent >= 0 and parent not in rows:
        parent = clip.joints[parent].parent
    return rows.index(parent) if parent >= 0 else -1


def _joint_of(clip: Clip, names: dict[str, str], part: str) -> Joint:
    return next(joint for joint in clip.joints if names.get(joint.name) == part)


def _blender_order(clip: Clip, names: dict[str, str], part: str) -> str:
    # Blender's order counts outward axes first, the file's the other way round.
    return _joint_of(clip, names, part).order[::-1]


def _to_xyz(clip: Clip, names: dict[str, str], part: str, values: np.ndarray) -> np.ndarray:
    order = _joint_of(clip, names, part).order
    return values[:, [order.index(axis) for axis in "XYZ"]]
