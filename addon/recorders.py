# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What is read for one subject, by either route, and how Motion is made of it.

A recorder never steps a frame itself. On the exact route it says which objects it needs and is
shown one evaluated frame after the other; on the direct route it evaluates blocks of frames by
itself. Both end in the same positions and rotations.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Collection, Generator, Hashable, Mapping, Sequence
from dataclasses import replace
from typing import Any

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
    chain_transforms,
    fill_rotations,
    find_ground_height,
    iterate_motion,
    split_transforms,
)
from .animation_data import frame_factor, is_hidden_by_keys
from .dependencies import OBJECT, find_scene_bound
from .direct_route import DirectArmature, DirectObject, NotDirectError
from .key_tracks import find_rotation_bone, group_curves, read_key_tracks
from .rig_mapping import find_part_parents, map_body
from .sampling_memory import Kept, SamplingMemory
from .sampling_scene import InterruptedReadingError
from .subjects import SamplingError, Subject, find_object, is_animated, list_family

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

EXACT, DIRECT = "exact", "direct"

BLOCK, LARGE_BLOCK = 1 << 12, 1 << 15
"""Bones times frames that are worked on at a time: little of a slice, or of the memory."""

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


def make_recorder(
    scene: bpy.types.Scene,
    subject: Subject,
    start: int,
    end: int,
    corrections: Mapping[str, str] | None = None,
    in_scene: bool = False,
    route: str | None = None,
) -> SubjectRecorder:
    """Make the recorder a subject needs; raises SamplingError when it cannot be sampled.

    Parameters
    ----------
    in_scene : bool
        The frames come from the user's own scene, so that what only it can show may be read.
    route : str, optional
        "exact" or "direct"; chosen when left out.
    """
    owner = find_object(subject)
    scene_bound = {} if in_scene else find_scene_bound(owner)
    if OBJECT in scene_bound:
        raise SamplingError(
            f"{subject.name}: {scene_bound[OBJECT]}, which only the scene itself can show; "
            "ask for it to be read in the scene, or bake it first"
        )
    recorder: SubjectRecorder
    if subject.kind is SubjectKind.ARMATURE:
        recorder = ArmatureRecorder(scene, subject, owner, start, end, corrections, scene_bound)
    else:
        recorder = ObjectRecorder(scene, subject, owner, start, end)
    if in_scene:
        recorder.route_reason = "read in the scene itself, as asked"
    elif route != EXACT:
        recorder.try_direct(wanted=route == DIRECT)
    return recorder


class SubjectRecorder(ABC):
    """Where the subject's object stands in the world; bones or no bones come with subclasses."""

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
        self.route = EXACT
        self.route_reason = "asked for"
        units = scene.unit_settings
        self.metres = 1.0 if units.system == "NONE" else float(units.scale_length)
        self.fps = float(scene.render.fps) / float(scene.render.fps_base)
        self.factor = frame_factor(scene)
        self.arrays: dict[str, NDArray[Any]] = {
            "world": np.empty((3, 4, len(self.frames))),
            "hidden": np.zeros(len(self.frames), dtype=np.bool_),
        }
        self.valid = np.zeros((1, len(self.frames)), dtype=np.bool_)
        self.kept: Kept | None = None
        self._groups = group_curves(owner)
        self.instancer = self._find_instancer()
        self._placed: DirectObject | None = None
        self._blinks = is_hidden_by_keys(owner)

    @property
    def steps(self) -> bool:
        """Whether frames must be stepped for it."""
        return self.route == EXACT

    def block(self, hurried: bool) -> int:
        """Return how many frames `evaluate` should be asked for at a time."""
        return max(16, (BLOCK if hurried else LARGE_BLOCK) // self.width)

    width = 1
    """How many bones are worked on per frame."""

    def list_objects(self) -> list[bpy.types.Object]:
        """Return what must be evaluated frame by frame."""
        if not self.steps:
            return []
        return [self.owner] if self.instancer is None else [self.owner, self.instancer]

    def try_direct(self, wanted: bool = False) -> None:
        """Take the direct route where it applies, and keep the reason where it does not."""
        times = self.frames * self.factor
        try:
            self._plan(float(times[0]), float(times[-1]))
            if self.instancer is not None:
                self._placed = DirectObject(self.instancer, times[0], times[-1])
        except NotDirectError as error:
            self.route_reason = str(error)
            if wanted:
                raise SamplingError(f"{self.subject.name}: no direct route, {error}") from None
            return
        self.route = DIRECT

    @abstractmethod
    def record(self, row: int, depsgraph: bpy.types.Depsgraph) -> None:
        """Read one evaluated frame."""

    @abstractmethod
    def settle(self) -> None:
        """Work out the frames that were read and are still waiting."""

    @abstractmethod
    def evaluate(self, rows: IntArray) -> None:
        """Work out some frames by the direct route."""

    def recall(self, memory: SamplingMemory, scene: bpy.types.Scene) -> None:
        """Take over what still holds of an earlier sampling, before anything is sampled."""
        roots = [self.owner] if self.instancer is None else [self.owner, self.instancer]
        times = self.frames * self.factor
        self.kept = memory.recall(
            f"subject {self.subject}",
            self._shape(),
            roots,
            scene,
            times,
            self.arrays,
            self._list_read_from(),
        )
        if self.kept is not None:
            self.arrays, self.valid = self.kept.arrays, self.kept.valid

    def list_missing(self) -> IntArray:
        """Return the rows that are still to be sampled."""
        return np.flatnonzero(~self.valid.all(axis=0))

    def _list_read_from(self) -> Sequence[Collection[str]]:
        """Return for each part the bones it is read from."""
        return ((),)

    def _shape(self) -> Hashable:
        """Return what must be the same for what was sampled before to fit."""
        sizes = tuple((name, values.shape) for name, values in self.arrays.items())
        return (self.subject, self.route, int(self.frames[0]), self.metres, sizes)

    @abstractmethod
    def finish(
        self, camera: ShotCamera | None, cuts: tuple[int, ...], stage: Stage | None
    ) -> Generator[None, None, Motion]:
        """Make the Motion of all frames, with pauses."""

    @abstractmethod
    def list_parts(self) -> dict[str, MappedPart]:
        """Return what stands for each part."""

    def list_unmapped(self) -> tuple[str, ...]:
        """Return the parts that were not found."""
        return ()

    def describe(self, motion: Motion) -> SubjectFacts:
        """Return the facts the Motion rests on."""
        return SubjectFacts(
            name=motion.subject,
            kind=motion.kind,
            stage=motion.stage,
            cadence=motion.cadence,
            route=self.route,
            route_reason=self.route_reason + self._say_hidden(),
            height_m=motion.height,
            parts=self.list_parts(),
            unmapped=self.list_unmapped(),
        )

    @abstractmethod
    def _plan(self, first: float, last: float) -> None:
        """Lay out the direct route; NotDirectError says why there is none."""

    def _find_instancer(self) -> bpy.types.Object | None:
        if self.subject.instancer is None:
            return None
        found = bpy.data.objects.get(self.subject.instancer)
        if found is None or found.instance_collection is None:
            raise SamplingError(f"{self.subject.name}: what placed it is gone; read the shot again")
        return found

    def _record_world(self, row: int, depsgraph: bpy.types.Depsgraph) -> Any:
        """Read where the object is and return its evaluated copy."""
        evaluated: Any = self.owner.evaluated_get(depsgraph)
        matrix = np.array(evaluated.matrix_world)
        if self.instancer is not None:
            outer = np.array(self.instancer.evaluated_get(depsgraph).matrix_world)
            matrix = outer @ self._find_origin() @ matrix
        self.arrays["world"][..., row] = matrix[:3]
        self.arrays["hidden"][row] = self._blinks and evaluated.hide_viewport
        return evaluated

    def _keep_world(self, rows: IntArray, world: FloatArray) -> None:
        if self._placed is not None:
            outer, _ = self._placed.evaluate(self._times(rows))
            inner = chain_transforms(self._find_origin()[:3, :, np.newaxis], world)
            world = chain_transforms(outer, inner)
        self.arrays["world"][..., rows] = world

    def _find_origin(self) -> FloatArray:
        """Return the matrix that brings an instanced collection's origin to where it is put."""
        instancer: Any = self.instancer
        origin = np.eye(4)
        origin[:3, 3] = -np.array(instancer.instance_collection.instance_offset)
        return origin

    def _times(self, rows: IntArray) -> FloatArray:
        return self.frames[rows] * self.factor

    def _find_seen(self) -> slice:
        """Return the rows to judge: all, or the longest stretch on which keys do not hide it.

        Blender does not evaluate what is hidden, so there is nothing to read on other frames.
        """
        edges = np.flatnonzero(
            np.diff(np.concatenate(([True], self.arrays["hidden"], [True])).astype(int))
        )
        spans = edges.reshape(-1, 2)
        if not len(spans):
            raise SamplingError(
                f"{self.subject.name}: keys hide it on all frames; show it in the viewport"
            )
        first, stop = spans[np.argmax(spans[:, 1] - spans[:, 0])]
        return slice(int(first), int(stop))

    def _say_hidden(self) -> str:
        """Return what is to be told of hidden frames, empty when there are none."""
        if not self.arrays["hidden"].any():
            return ""
        frames = self.frames[self._find_seen()]
        return f"; keys hide it elsewhere, so frames {frames[0]}-{frames[-1]} were read"


class ArmatureRecorder(SubjectRecorder):
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
            part: f"{scene_bound[entry.turn]}, not seen outside its scene"
            for part, entry in self.map.parts.items()
            if entry.turn in scene_bound
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
        self._bone_rows = np.array([numbers[name] for name in self._bone_names])
        self._lengths = np.array([data.bones[name].length for name in self._bone_names])
        self._bone_count = len(numbers)
        self._narrowed: dict[tuple[int, ...], tuple[DirectArmature, dict[str, str]]] = {}
        self._direct: DirectArmature | None = None
        self.width = len(self.parts)
        self.valid = np.zeros((self.width, len(self.frames)), dtype=np.bool_)
        # Bones first and frames last, as they are worked out; Motion has them the other way.
        shape = (self.width, len(self.frames))
        self.arrays["heads"], self.arrays["tails"] = np.empty((3, *shape)), np.empty((3, *shape))
        self.arrays["turned"] = np.empty((4, *shape))
        self._buffer = np.empty(16 * self._bone_count, dtype=np.float32)
        self._waiting = np.empty((self.block(True), self.width, 4, 4), dtype=np.float32)
        self._waiting_rows: list[int] = []
        self._choose_channels()

    def record(self, row: int, depsgraph: bpy.types.Depsgraph) -> None:
        """Read one evaluated frame."""
        bones = self._record_world(row, depsgraph).pose.bones
        if len(bones) != self._bone_count:
            raise InterruptedReadingError(f"the bones of {self.subject.name} changed")
        bones.foreach_get("matrix", self._buffer)
        self._waiting[len(self._waiting_rows)] = self._buffer.reshape(-1, 4, 4)[self._bone_rows]
        for part, bone in self._turning.items():
            self.arrays[f"channel {part}"][:, row] = getattr(bones[bone], self._channel_names[part])
        self._waiting_rows.append(row)
        if len(self._waiting_rows) == len(self._waiting):
            self.settle()

    def settle(self) -> None:
        """Work out the frames that were read and are still waiting."""
        rows, self._waiting_rows = self._waiting_rows, []
        if rows:
            # Blender keeps matrices column by column.
            read = self._waiting[: len(rows)]
            stale = np.flatnonzero(~self.valid[:, rows].all(axis=1))
            some = None if len(stale) == self.width else stale
            pose = (read if some is None else read[:, some]).transpose(3, 2, 1, 0)[:3]
            self._keep(np.array(rows), pose.astype(np.float64, "C"), some)
            self.valid[:, rows] = True

    def evaluate(self, rows: IntArray) -> None:
        """Work out some frames by the direct route."""
        stale = np.flatnonzero(~self.valid[:, rows].all(axis=1))
        direct, turning = self._narrow(tuple(stale.tolist()))
        world, pose, table = direct.evaluate(self._times(rows))
        self._keep_world(rows, world)
        self._keep(rows, pose[:, :, : len(stale)], None if len(stale) == self.width else stale)
        for part, bone in turning.items():
            self.arrays[f"channel {part}"][:, rows] = direct.find_rotation(bone, table)
        self.valid[:, rows] = True

    def finish(
        self, camera: ShotCamera | None, cuts: tuple[int, ...], stage: Stage | None
    ) -> Generator[None, None, Motion]:
        """Make the Motion of all frames, with pauses."""
        seen = self._find_seen()
        heads, tails, turned = (
            np.ascontiguousarray(values[..., seen].transpose(2, 1, 0))
            for values in (self.arrays[name] for name in ("heads", "tails", "turned"))
        )
        _end_at_next_joint(self.parts, heads, tails)
        turned = fill_rotations(turned)
        yield
        motion = yield from iterate_motion(
            subject=self.subject.name,
            kind=SubjectKind.ARMATURE,
            frames=self.frames[seen],
            fps=self.fps,
            parts=self.parts,
            parents=find_part_parents(self.map, self.parts),
            heads=heads,
            tails=tails,
            rotations_wxyz=turned,
            keys=read_key_tracks(self._groups, self._bones_of(), self.factor, self._known_keys()),
            channels={
                part: _show_channel(self.arrays[f"channel {part}"][:, seen], mode)
                for part, mode in self._modes.items()
            },
            camera=_cut_camera(camera, seen),
            cuts=_cut_cuts(cuts, self.frames[seen]),
            stage_override=stage,
            dropped=self.dropped,
            owned=True,
        )
        _check_size(motion)
        yield
        ground = find_ground_height(
            motion.parts, motion.heads, motion.tails, self.fps, motion.height
        )
        return replace(motion, ground_height=ground)

    def _shape(self) -> Hashable:
        return (super()._shape(), tuple(self._bone_names), tuple(self._turning.items()))

    def _list_read_from(self) -> Sequence[Collection[str]]:
        """Return for each part the bone that shows it and the one whose rotation is keyed."""
        return [
            {bone, self._turning.get(part, bone)}
            for part, bone in zip(self.parts, self._bone_names, strict=True)
        ]

    def list_parts(self) -> dict[str, MappedPart]:
        """Return what stands for each part."""
        return {
            part: MappedPart(entry.bone, entry.confidence) for part, entry in self.map.parts.items()
        }

    def list_unmapped(self) -> tuple[str, ...]:
        """Return the parts that were not found."""
        return tuple(self.map.unmapped)

    def _plan(self, first: float, last: float) -> None:
        wanted = [*self._bone_names, *self._turning.values()]
        self._direct = DirectArmature(self.owner, wanted, first, last)
        self._narrowed = {tuple(range(self.width)): (self._direct, self._turning)}
        self.route_reason = f"nothing but keys moves its {len(set(wanted))} mapped bones"

    def _narrow(self, parts: tuple[int, ...]) -> tuple[DirectArmature, dict[str, str]]:
        """Return what works out some of the parts, and the bones that turn them."""
        if parts not in self._narrowed:
            names = {self.parts[row] for row in parts}
            turning = {part: bone for part, bone in self._turning.items() if part in names}
            wanted = [*(self._bone_names[row] for row in parts), *turning.values()]
            times = self.frames * self.factor
            try:
                direct = DirectArmature(self.owner, wanted, float(times[0]), float(times[-1]))
            except NotDirectError as error:
                raise InterruptedReadingError(str(error)) from None
            self._narrowed[parts] = (direct, turning)
        return self._narrowed[parts]

    def _keep(self, rows: IntArray, pose: FloatArray, parts: IntArray | None = None) -> None:
        """Turn poses in the armature's space, (3, 4, P, F), into what Motion is made of.

        `parts` says which ones these are when they are not all.
        """
        place: Any = (..., _find_slice(rows))
        lengths = self._lengths
        if parts is not None:
            place, lengths = (slice(None), *np.ix_(parts, rows)), lengths[parts]
        world = self.arrays["world"][..., _find_slice(rows)]
        posed = chain_transforms(world[:, :, np.newaxis], pose)
        heads, self.arrays["turned"][place] = split_transforms(posed)
        reach = posed[:, 1] * lengths[:, np.newaxis]
        self.arrays["heads"][place] = heads * self.metres
        self.arrays["tails"][place] = (heads + reach) * self.metres

    def _known_keys(self) -> dict[int, Any]:
        if self.kept is not None:
            return self.kept.surroundings.list_keys()
        return self._direct.list_keys() if self._direct is not None else {}

    def _bones_of(self) -> dict[str, list[str]]:
        """Return for each part its bone and its controls; the object itself moves the root."""
        bones = {
            part: [self.map.parts[part].bone, *self.map.parts[part].controls] for part in self.parts
        }
        if "root" in bones:
            bones["root"].append("")
        return bones

    def _choose_channels(self) -> None:
        """Find for each part the bone whose rotation is keyed, and how it turns."""
        self._turning: dict[str, str] = {}
        self._channel_names: dict[str, str] = {}
        self._modes: dict[str, str] = {}
        for part, bones in self._bones_of().items():
            keyed = find_rotation_bone(self._groups, [bone for bone in bones if bone])
            pose_bone = self.owner.pose.bones.get(keyed) if keyed is not None else None
            if keyed is None or pose_bone is None:
                continue
            mode = pose_bone.rotation_mode
            self._turning[part], self._modes[part] = keyed, mode
            self._channel_names[part] = _CHANNEL.get(mode, "rotation_euler")
            width = 4 if mode in _CHANNEL else 3
            self.arrays[f"channel {part}"] = np.empty((width, len(self.frames)))


class ObjectRecorder(SubjectRecorder):
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
        self._direct: DirectObject | None = None
        mode = owner.rotation_mode
        self._channel = _CHANNEL.get(mode, "rotation_euler")
        self.arrays["turns"] = np.empty((4 if mode in _CHANNEL else 3, len(self.frames)))
        self._size = max(max(_measure_box(entry)) for entry in list_family(owner))

    def settle(self) -> None:
        """Do nothing: every frame is worked out as it is read."""

    def record(self, row: int, depsgraph: bpy.types.Depsgraph) -> None:
        """Read one evaluated frame."""
        evaluated = self._record_world(row, depsgraph)
        self.arrays["turns"][:, row] = getattr(evaluated, self._channel)
        self.valid[:, row] = True

    def evaluate(self, rows: IntArray) -> None:
        """Work out some frames by the direct route."""
        direct: Any = self._direct
        world, self.arrays["turns"][:, rows] = direct.evaluate(self._times(rows))
        self._keep_world(rows, world)
        self.valid[:, rows] = True

    def finish(
        self, camera: ShotCamera | None, cuts: tuple[int, ...], stage: Stage | None
    ) -> Generator[None, None, Motion]:
        """Make the Motion of all frames, with pauses."""
        seen = self._find_seen()
        world, turns = self.arrays["world"][..., seen], self.arrays["turns"][:, seen]
        origins, turned = split_transforms(world)
        heads = origins.T * self.metres
        lengths = np.linalg.norm(world[:, :3], axis=0)
        size = float(self._size * lengths.max()) * self.metres
        up = (world[:, 2] / np.maximum(lengths[2], 1e-12)).T
        motion = yield from iterate_motion(
            subject=self.subject.name,
            kind=SubjectKind.OBJECT,
            frames=self.frames[seen],
            fps=self.fps,
            parts=["root"],
            parents=[-1],
            heads=heads[:, np.newaxis],
            tails=(heads + 0.5 * size * up)[:, np.newaxis],
            rotations_wxyz=fill_rotations(turned.T)[:, np.newaxis],
            keys=read_key_tracks(self._groups, {"root": [""]}, self.factor),
            channels={"root": _show_channel(turns, self.owner.rotation_mode)},
            camera=_cut_camera(camera, seen),
            cuts=_cut_cuts(cuts, self.frames[seen]),
            stage_override=stage,
            height=size,
        )
        _check_size(motion)
        return motion

    def _shape(self) -> Hashable:
        return (super()._shape(), self._size)

    def list_parts(self) -> dict[str, MappedPart]:
        """Return what stands for each part."""
        return {"root": MappedPart(self.owner.name, 1.0)}

    def _plan(self, first: float, last: float) -> None:
        self._direct = DirectObject(self.owner, first, last)
        self.route_reason = "nothing but keys moves it"


def _find_slice(rows: IntArray) -> slice | IntArray:
    """Return rows that follow one another as a slice, which NumPy is quicker with."""
    first, last = int(rows[0]), int(rows[-1])
    return slice(first, last + 1) if last - first + 1 == len(rows) else rows


def _show_channel(values: FloatArray, mode: str) -> RotationChannels:
    """Return raw rotation values, (3, F) or (4, F), as people read them: angles in degrees."""
    shown = values.T.copy()
    if mode == "QUATERNION":
        return RotationChannels(mode, shown)
    angles = 1 if mode == "AXIS_ANGLE" else 3
    shown[:, :angles] = np.degrees(shown[:, :angles])
    return RotationChannels(mode, shown)


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


ANOTHER_UNIT = 8.0
"""Bones this many times as long as their joints lie apart are measured in another unit."""


def _end_at_next_joint(parts: Sequence[str], heads: FloatArray, tails: FloatArray) -> None:
    """Let each part end where the next one's joint is, wherever that is mapped.

    Bones need not point at the next joint (imported skeletons often do not), and one part may be
    made of several bones.
    """
    number = {part: row for row, part in enumerate(parts)}
    rows, following = [], []
    for part, row in number.items():
        base, _, joint = part.partition("/")
        side = base[-2:] if base.endswith((".L", ".R")) else ""
        successor = f"{base}/{int(joint or 1) + 1}"
        if successor not in number:
            successor = _LIMB_ENDS.get(base.removesuffix(side), "") + side
        if successor in number:
            rows.append(row)
            following.append(number[successor])
    some = slice(None, None, max(1, len(heads) // 16))
    span = np.linalg.norm(heads[some][:, following] - heads[some][:, rows], axis=-1)
    own = np.linalg.norm(tails[some][:, rows] - heads[some][:, rows], axis=-1)
    if not rows:
        return
    spans, lengths = np.median(span, axis=0), np.median(own, axis=0)
    # A joint in the very same place (bones side by side) tells no direction.
    apart = spans > 0.05 * np.minimum(lengths, np.median(spans))
    if apart.any():
        # Formats without bone lengths leave them to the importer, and a scaled skeleton may get
        # lengths of another unit: its last bones are brought to the size of the others.
        unit = float(np.median(lengths[apart] / spans[apart]))
        if unit > ANOTHER_UNIT or unit * ANOTHER_UNIT < 1.0:
            tails[:] = heads + (tails - heads) / max(unit, 1e-9)
    for row, after in zip(np.array(rows)[apart], np.array(following)[apart], strict=True):
        tails[:, row] = heads[:, after]


def _measure_box(entry: bpy.types.Object) -> tuple[float, float, float]:
    """Return the size of an object's bounding box in its own space; 1 for what has none."""
    if entry.type == "EMPTY" or entry.data is None:
        return (0.0, 0.0, 0.0) if entry.children else (1.0, 1.0, 1.0)
    corners = np.array(entry.bound_box)
    x, y, z = np.ptp(corners, axis=0)
    return (float(x), float(y), float(z))
