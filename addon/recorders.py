# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What is read off each evaluated frame for one subject, and how Motion is made of it.

A recorder never steps a frame itself: it says which objects it needs, is shown one evaluated
frame after the other, and makes the Motion at the end.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Protocol

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core_math import (
    MappedPart,
    Motion,
    RotationChannels,
    ShotCamera,
    Stage,
    SubjectFacts,
    SubjectKind,
    build_motion,
    find_ground_height,
    split_matrices,
)
from .animation_data import frame_factor
from .dependencies import OBJECT, find_scene_bound
from .key_tracks import find_rotation_bone, group_curves, read_key_tracks
from .rig_mapping import find_part_parents, map_body
from .sampling_scene import InterruptedReadingError, is_hidden_by_keys
from .subjects import SamplingError, Subject, find_object, is_animated

FloatArray = NDArray[np.float64]

EXACT = "exact"

_CHANNEL = {"QUATERNION": "rotation_quaternion", "AXIS_ANGLE": "rotation_axis_angle"}

_LIMB_ENDS = {
    "shoulder": "upper_arm",
    "upper_arm": "forearm",
    "forearm": "hand",
    "thigh": "shin",
    "shin": "foot",
    "foot": "toe",
    "chest": "neck",
    "neck": "head",
}
"""Where a part ends when the next one is mapped: at that one's joint, whatever its bone says."""


class SubjectRecorder(Protocol):
    """One subject's side of a sampling round."""

    subject: Subject

    def list_objects(self) -> list[bpy.types.Object]:
        """Return what must be evaluated."""

    def record(self, row: int, depsgraph: bpy.types.Depsgraph) -> None:
        """Read one evaluated frame."""

    def finish(
        self, camera: ShotCamera | None, cuts: tuple[int, ...], stage: Stage | None
    ) -> Motion:
        """Make the Motion of all frames."""

    def describe(self, motion: Motion) -> SubjectFacts:
        """Return the facts the Motion rests on."""


def make_recorder(
    scene: bpy.types.Scene,
    subject: Subject,
    start: int,
    end: int,
    corrections: Mapping[str, str] | None = None,
    in_scene: bool = False,
) -> SubjectRecorder:
    """Make the recorder a subject needs; raises SamplingError when it cannot be sampled.

    Parameters
    ----------
    in_scene : bool
        The frames come from the user's own scene, so that what only it can show may be read.
    """
    owner = find_object(subject)
    scene_bound = {} if in_scene else find_scene_bound(owner)
    if OBJECT in scene_bound:
        raise SamplingError(
            f"{subject.name}: {scene_bound[OBJECT]}, which only the scene itself can show; "
            "ask for it to be read in the scene, or bake it first"
        )
    if subject.kind is SubjectKind.ARMATURE:
        return ArmatureRecorder(scene, subject, owner, start, end, corrections, scene_bound)
    return ObjectRecorder(scene, subject, owner, start, end)


class _Placed:
    """The subject's object, where it stands in the world, and the units of the scene."""

    def __init__(
        self,
        scene: bpy.types.Scene,
        subject: Subject,
        owner: bpy.types.Object,
        start: int,
        end: int,
    ) -> None:
        self.subject = subject
        self.owner = owner
        self.frames = np.arange(start, end + 1)
        units = scene.unit_settings
        self.metres = 1.0 if units.system == "NONE" else float(units.scale_length)
        self.fps = float(scene.render.fps) / float(scene.render.fps_base)
        self.factor = frame_factor(scene)
        self.world = np.empty((len(self.frames), 4, 4))
        self.instancer = self._find_instancer()
        self._blinks = is_hidden_by_keys(owner)
        self._hidden = np.zeros(len(self.frames), dtype=np.bool_)

    def _find_instancer(self) -> bpy.types.Object | None:
        if self.subject.instancer is None:
            return None
        found = bpy.data.objects.get(self.subject.instancer)
        if found is None or found.instance_collection is None:
            raise SamplingError(f"{self.subject.name}: what placed it is gone; read the shot again")
        return found

    def list_objects(self) -> list[bpy.types.Object]:
        """Return what must be evaluated."""
        return [self.owner] if self.instancer is None else [self.owner, self.instancer]

    def record_world(self, row: int, depsgraph: bpy.types.Depsgraph) -> Any:
        """Read where the object is and return its evaluated copy."""
        evaluated: Any = self.owner.evaluated_get(depsgraph)
        matrix = np.array(evaluated.matrix_world)
        if self.instancer is not None:
            outer = np.array(self.instancer.evaluated_get(depsgraph).matrix_world)
            origin = np.eye(4)
            origin[:3, 3] = -np.array(self.instancer.instance_collection.instance_offset)
            matrix = outer @ origin @ matrix
        self.world[row] = matrix
        self._hidden[row] = self._blinks and evaluated.hide_viewport
        return evaluated

    def find_seen(self) -> slice:
        """Return the rows to judge: all, or the longest stretch on which keys do not hide it.

        Blender does not evaluate what is hidden, so there is nothing to read on other frames.
        """
        edges = np.flatnonzero(np.diff(np.concatenate(([True], self._hidden, [True])).astype(int)))
        spans = edges.reshape(-1, 2)
        if not len(spans):
            raise SamplingError(
                f"{self.subject.name}: keys hide it on all frames; show it in the viewport"
            )
        first, stop = spans[np.argmax(spans[:, 1] - spans[:, 0])]
        return slice(int(first), int(stop))

    def say_hidden(self) -> str:
        """Return what is to be told of hidden frames, empty when there are none."""
        if not self._hidden.any():
            return ""
        seen = self.find_seen()
        first, last = self.frames[seen][0], self.frames[seen][-1]
        return f"; keys hide it elsewhere, so frames {first}-{last} were read"


class ArmatureRecorder(_Placed):
    """Records the mapped bones of an armature."""

    def __init__(
        self,
        scene: bpy.types.Scene,
        subject: Subject,
        owner: bpy.types.Object,
        start: int,
        end: int,
        corrections: Mapping[str, str] | None,
        scene_bound: Mapping[str, str],
    ) -> None:
        super().__init__(scene, subject, owner, start, end)
        _check_armature(subject, owner)
        self.map = map_body(owner, scene, corrections)
        if not self.map.parts:
            raise SamplingError(
                f"{subject.name}: none of its {len(owner.data.bones)} bones could be taken for a "
                "part of a body; say in the body map which bone is which"
            )
        self.dropped = {
            part: f"{scene_bound[entry.bone]}, not seen outside its scene"
            for part, entry in self.map.parts.items()
            if entry.bone in scene_bound
        }
        self.parts = [part for part in self.map.parts if part not in self.dropped]
        if not self.parts:
            part, reason = next(iter(self.dropped.items()))
            raise SamplingError(
                f"{subject.name}: no part is left to read ({part}: {reason}); "
                "ask for it to be read in the scene, or bake it first"
            )
        data: Any = owner.data
        numbers = {bone.name: row for row, bone in enumerate(owner.pose.bones)}
        # The bone that has the joint's whole rotation, twist and all, reads the joint.
        self._bone_names = [self.map.parts[part].turn for part in self.parts]
        self._rows = np.array([numbers[name] for name in self._bone_names])
        self._lengths = np.array([data.bones[name].length for name in self._bone_names])
        self._bone_count = len(numbers)
        self._buffer = np.empty(16 * self._bone_count, dtype=np.float32)
        self._pose = np.empty((len(self.frames), len(self.parts), 4, 4), dtype=np.float32)
        self._choose_channels()

    def record(self, row: int, depsgraph: bpy.types.Depsgraph) -> None:
        """Read one evaluated frame."""
        bones = self.record_world(row, depsgraph).pose.bones
        if len(bones) != self._bone_count:
            raise InterruptedReadingError(f"the bones of {self.subject.name} changed")
        bones.foreach_get("matrix", self._buffer)
        # Blender keeps matrices column by column.
        every = self._buffer.reshape(-1, 4, 4)
        self._pose[row] = every[self._rows].transpose(0, 2, 1)
        for bone, channel, values in self._channels.values():
            values[row] = getattr(bones[bone], channel)

    def finish(
        self, camera: ShotCamera | None, cuts: tuple[int, ...], stage: Stage | None
    ) -> Motion:
        """Make the Motion of all frames."""
        seen = self.find_seen()
        matrices = self.world[seen, np.newaxis] @ self._pose[seen]
        heads, turned = split_matrices(matrices)
        reach = matrices[..., :3, 1] * self._lengths[:, np.newaxis]
        tails = heads + reach
        _end_at_next_joint(self.parts, heads, tails)
        heads, tails = heads * self.metres, tails * self.metres
        motion = build_motion(
            subject=self.subject.name,
            kind=SubjectKind.ARMATURE,
            frames=self.frames[seen],
            fps=self.fps,
            parts=self.parts,
            parents=find_part_parents(self.map, self.parts),
            heads=heads,
            tails=tails,
            rotations_wxyz=turned,
            keys=read_key_tracks(self.owner, self._bones_of(), self.factor),
            channels=self._finish_channels(seen),
            camera=_cut_camera(camera, seen),
            cuts=_cut_cuts(cuts, self.frames[seen]),
            stage_override=stage,
            dropped=self.dropped,
        )
        _check_size(motion)
        ground = find_ground_height(
            motion.parts, motion.heads, motion.tails, self.fps, motion.height
        )
        return replace(motion, ground_height=ground)

    def describe(self, motion: Motion) -> SubjectFacts:
        """Return the facts the Motion rests on."""
        return SubjectFacts(
            name=motion.subject,
            kind=motion.kind,
            stage=motion.stage,
            cadence=motion.cadence,
            route=EXACT,
            route_reason="every bone as Blender evaluates it" + self.say_hidden(),
            height_m=motion.height,
            parts={
                part: MappedPart(entry.bone, entry.confidence)
                for part, entry in self.map.parts.items()
            },
            unmapped=tuple(self.map.unmapped),
        )

    def _bones_of(self) -> dict[str, list[str]]:
        """Return for each part its bone and its controls; the object itself moves the root."""
        bones = {
            part: [self.map.parts[part].bone, *self.map.parts[part].controls] for part in self.parts
        }
        if "root" in bones:
            bones["root"].append("")
        return bones

    def _choose_channels(self) -> None:
        groups = group_curves(self.owner)
        self._channels: dict[str, tuple[str, str, FloatArray]] = {}
        self._modes: dict[str, str] = {}
        for part, bones in self._bones_of().items():
            keyed = find_rotation_bone(groups, [bone for bone in bones if bone])
            pose_bone = self.owner.pose.bones.get(keyed) if keyed is not None else None
            if keyed is None or pose_bone is None:
                continue
            mode = pose_bone.rotation_mode
            channel = _CHANNEL.get(mode, "rotation_euler")
            width = 3 if channel == "rotation_euler" else 4
            self._modes[part] = mode
            self._channels[part] = (keyed, channel, np.empty((len(self.frames), width)))

    def _finish_channels(self, seen: slice) -> dict[str, RotationChannels]:
        finished = {}
        for part, (_, channel, values) in self._channels.items():
            shown = values[seen].copy()
            if channel == "rotation_euler":
                shown = np.degrees(shown)
            elif channel == "rotation_axis_angle":
                shown[:, 0] = np.degrees(shown[:, 0])
            finished[part] = RotationChannels(self._modes[part], shown)
        return finished


class ObjectRecorder(_Placed):
    """Records a single object as one part, called root."""

    def __init__(
        self,
        scene: bpy.types.Scene,
        subject: Subject,
        owner: bpy.types.Object,
        start: int,
        end: int,
    ) -> None:
        super().__init__(scene, subject, owner, start, end)
        if not is_animated(owner):
            raise SamplingError(f"{subject.name}: nothing moves it; give it two different keys")
        mode = owner.rotation_mode
        self._channel = _CHANNEL.get(mode, "rotation_euler")
        width = 3 if self._channel == "rotation_euler" else 4
        self._turns = np.empty((len(self.frames), width))
        self._size = np.array([max(_measure_box(entry)) for entry in _family(owner)]).max()

    def record(self, row: int, depsgraph: bpy.types.Depsgraph) -> None:
        """Read one evaluated frame."""
        evaluated = self.record_world(row, depsgraph)
        self._turns[row] = getattr(evaluated, self._channel)

    def finish(
        self, camera: ShotCamera | None, cuts: tuple[int, ...], stage: Stage | None
    ) -> Motion:
        """Make the Motion of all frames."""
        seen = self.find_seen()
        world = self.world[seen]
        origins, turned = split_matrices(world)
        largest = np.linalg.norm(world[:, :3, :3], axis=-2).max()
        size = float(self._size * largest) * self.metres
        heads = origins * self.metres
        up = world[:, :3, 2] / np.maximum(
            np.linalg.norm(world[:, :3, 2], axis=-1, keepdims=True), 1e-12
        )
        motion = build_motion(
            subject=self.subject.name,
            kind=SubjectKind.OBJECT,
            frames=self.frames[seen],
            fps=self.fps,
            parts=["root"],
            parents=[-1],
            heads=heads[:, np.newaxis],
            tails=(heads + 0.5 * size * up)[:, np.newaxis],
            rotations_wxyz=turned[:, np.newaxis],
            keys=read_key_tracks(self.owner, {"root": [""]}, self.factor),
            channels=self._finish_channels(seen),
            camera=_cut_camera(camera, seen),
            cuts=_cut_cuts(cuts, self.frames[seen]),
            stage_override=stage,
            height=size,
        )
        _check_size(motion)
        return motion

    def describe(self, motion: Motion) -> SubjectFacts:
        """Return the facts the Motion rests on."""
        return SubjectFacts(
            name=motion.subject,
            kind=motion.kind,
            stage=motion.stage,
            cadence=motion.cadence,
            route=EXACT,
            route_reason="the object as Blender evaluates it" + self.say_hidden(),
            height_m=motion.height,
            parts={"root": MappedPart(self.owner.name, 1.0)},
        )

    def _finish_channels(self, seen: slice) -> dict[str, RotationChannels]:
        shown = self._turns[seen].copy()
        if self._channel == "rotation_euler":
            shown = np.degrees(shown)
        elif self._channel == "rotation_axis_angle":
            shown[:, 0] = np.degrees(shown[:, 0])
        return {"root": RotationChannels(self.owner.rotation_mode, shown)}


def _cut_camera(camera: ShotCamera | None, seen: slice) -> ShotCamera | None:
    return camera.slice(seen.start, seen.stop) if camera is not None else None


def _cut_cuts(cuts: tuple[int, ...], frames: NDArray[np.int64]) -> tuple[int, ...]:
    return tuple(cut for cut in cuts if frames[0] < cut <= frames[-1])


def _check_armature(subject: Subject, owner: bpy.types.Object) -> None:
    data: Any = owner.data
    if owner.pose is None or not data.bones:
        raise SamplingError(f"{subject.name}: the armature has no bones; add some or leave it out")
    if data.pose_position == "REST":
        raise SamplingError(
            f"{subject.name}: the armature shows its rest position; set it to pose position"
        )
    if owner.mode == "EDIT":
        raise SamplingError(f"{subject.name}: its bones are being edited; leave edit mode first")
    if len(owner.pose.bones) != len(data.bones):
        raise SamplingError(f"{subject.name}: its pose is not up to date; leave edit mode first")
    if not is_animated(owner):
        raise SamplingError(f"{subject.name}: it has no animation; give it two different keys")


def _check_size(motion: Motion) -> None:
    if not motion.height > 0.0:
        raise SamplingError(
            f"{motion.subject}: it has no size at frame {motion.frame(0)}; look for a scale of 0 "
            "or bones without length"
        )


def _end_at_next_joint(parts: list[str], heads: FloatArray, tails: FloatArray) -> None:
    """Let each part end where the next one's joint is, wherever that is mapped.

    Bones need not point at the next joint (imported skeletons often do not), and one part may be
    made of several bones.
    """
    number = {part: row for row, part in enumerate(parts)}
    for part, row in number.items():
        base, _, joint = part.partition("/")
        side = base[-2:] if base.endswith((".L", ".R")) else ""
        successor = f"{base}/{int(joint or 1) + 1}"
        if successor not in number:
            successor = _LIMB_ENDS.get(base.removesuffix(side), "") + side
        if successor not in number:
            continue
        span = np.linalg.norm(heads[:, number[successor]] - heads[:, row], axis=-1)
        own = np.linalg.norm(tails[:, row] - heads[:, row], axis=-1)
        # A joint in the very same place (bones side by side) tells no direction.
        if np.median(span) > 0.05 * np.median(own):
            tails[:, row] = heads[:, number[successor]]


def _family(owner: bpy.types.Object) -> list[bpy.types.Object]:
    return [owner, *owner.children_recursive]


def _measure_box(entry: bpy.types.Object) -> tuple[float, float, float]:
    """Return the size of an object's bounding box in its own space; 1 for what has none."""
    if entry.type == "EMPTY" or entry.data is None:
        return (0.0, 0.0, 0.0) if entry.children else (1.0, 1.0, 1.0)
    corners = np.array(entry.bound_box)
    x, y, z = np.ptp(corners, axis=0)
    return (float(x), float(y), float(z))
