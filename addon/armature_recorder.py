# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Reads the mapped bones of an armature, and makes its Motion."""

from __future__ import annotations

from collections.abc import Collection, Generator, Hashable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core_math import (
    PIECE_BYTES,
    BodyMap,
    MappedPart,
    Motion,
    RotationChannels,
    ShotCamera,
    Stage,
    SubjectKind,
    chain_transforms,
    copy_in_pieces,
    fill_rotations,
    find_ground_height,
    iterate_motion,
    split_transforms,
)
from .animation_data import moves_over_time
from .direct_route import DirectArmature, NotDirectError
from .joint_ends import end_at_next_joint
from .key_tracks import find_rotation_bone, iterate_key_tracks
from .rig_mapping import find_part_parents
from .sampling_scene import InterruptedReadingError
from .source_reading import SourceReader
from .subject_recorder import (
    CHANNEL,
    FloatArray,
    IntArray,
    SubjectRecorder,
    check_size,
    cut_camera,
    cut_cuts,
    show_channel,
)
from .subjects import SamplingError, Subject, is_animated

_KEPT = ("heads", "tails", "turned")


class ArmatureRecorder(SubjectRecorder):
    """Records the mapped bones of an armature."""

    def __init__(
        self,
        scene: bpy.types.Scene,
        subject: Subject,
        owner: bpy.types.Object,
        start: int,
        end: int,
        reader: SourceReader,
        body_map: BodyMap,
        scene_bound: Mapping[str, str],
    ) -> None:
        super().__init__(scene, subject, owner, start, end, reader)
        self.map = body_map
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
        self.width = len(self.parts)
        self.valid = np.zeros((self.width, len(self.frames)), dtype=np.bool_)
        # Bones first and frames last, as they are worked out; Motion has them the other way.
        shape = (self.width, len(self.frames))
        self.arrays["heads"], self.arrays["tails"] = np.empty((3, *shape)), np.empty((3, *shape))
        self.arrays["turned"] = np.empty((4, *shape))
        self._buffer = np.empty(16 * self._bone_count, dtype=np.float32)
        self._waiting = np.empty((self.block(True), self.width, 4, 4), dtype=np.float32)
        self._waiting_rows: list[int] = []
        self._is_rigid = False
        self._choose_channels()

    def record(self, row: int, depsgraph: bpy.types.Depsgraph) -> None:
        """Read one evaluated frame."""
        bones = self._record_world(row, depsgraph).pose.bones
        if len(bones) != self._bone_count:
            raise InterruptedReadingError(f"the bones of {self.subject.name} changed")
        bones.foreach_get("matrix", self._buffer)
        self._waiting[len(self._waiting_rows)] = self._buffer.reshape(-1, 4, 4)[self._bone_rows]
        channels = self.arrays["channels"]
        for part, bone in self._turning.items():
            place, keyed = self._channel_rows[part], bones.get(bone)
            if keyed is None:
                raise InterruptedReadingError(f"the bones of {self.subject.name} changed")
            channels[place, row] = getattr(keyed, self._channel_names[part])
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
            posed = self._put_into_world(rows, pose)
            self._keep(np.array(rows), *split_transforms(posed), posed[:, 1], some)
            self.valid[:, rows] = True

    def prepare(self, rows: IntArray) -> Generator[None, None, None]:
        """Read the keys that some frames are worked out from, with pauses."""
        direct, _ = self._narrow(self._find_stale(rows))
        yield from direct.iterate_reading()

    def _find_stale(self, rows: IntArray) -> tuple[int, ...]:
        """Return the parts that do not hold on all of some frames."""
        return tuple(np.flatnonzero(~self.valid[:, rows].all(axis=1)).tolist())

    def evaluate(self, rows: IntArray, block: int) -> Generator[None, None, None]:
        """Work out some frames by the direct route, so many between two pauses."""
        stale = self._find_stale(rows)
        direct, turning = self._narrow(stale)
        times = self._times(rows)
        world = self._keep_world(rows, direct.place(times))
        keyed = yield from direct.iterate_keyed(times)
        parts = None if len(stale) == self.width else np.array(stale)
        into = np.array([row for part in turning for row in self._list_channel_rows(part)])
        taken = direct.list_rotation_rows(turning.values())
        is_whole = len(into) == len(self.arrays["channels"])
        for first in range(0, len(rows), block):
            some, place = slice(first, first + block), rows[first : first + block]
            shown = keyed[:, some]
            whole = self._find_whole(place, parts)
            given = (whole[0], whole[2]) if whole is not None else None
            posed = direct.pose(shown, world[..., some], self._is_rigid, given)
            self._keep(place, posed.heads, posed.turned, posed.along, parts)
            if is_whole:
                self.arrays["channels"][:, _find_slice(place)] = direct.pick(shown, taken)
            elif len(into):
                self.arrays["channels"][np.ix_(into, place)] = direct.pick(shown, taken)
            self.valid[:, place] = True
            yield

    def finish(
        self, camera: ShotCamera | None, cuts: tuple[int, ...], stage: Stage | None
    ) -> Generator[None, None, Motion]:
        """Make the Motion of all frames, with pauses."""
        seen = self._find_seen()
        before, stale = self._find_before()
        if before is not None and not np.array_equal(before.frames, self.frames[seen]):
            before = None
        if before is None:
            stale = set(range(self.width))
        changed = {self.parts[row] for row in stale}
        shown = []
        for name in _KEPT:
            shown.append((yield from self._show(name, seen)))
        heads, tails, turned = shown
        yield from end_at_next_joint(self.parts, heads, tails)
        yield from _fill(turned, sorted(stale))
        curves = self.reader.read_curves(self.owner)
        keys = yield from iterate_key_tracks(curves, self._bones_of(), self.factor)
        yield
        channels = yield from self._show_channels(seen, before, changed)
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
            keys=keys,
            channels=channels,
            camera=cut_camera(camera, seen),
            cuts=cut_cuts(cuts, self.frames[seen]),
            height=before.height if before is not None and not changed else None,
            stage_override=stage,
            dropped=self.dropped,
            owned=True,
            before=before,
            changed=changed,
        )
        check_size(motion)
        yield
        return replace(motion, ground_height=self._find_ground(motion, before, changed))

    def _show(self, name: str, seen: slice) -> Generator[None, None, FloatArray]:
        """Return what was sampled as samples, (F, P, C), that the Motion may keep.

        In the memory it was sampled into, unless that is kept for the next reading.
        """
        values = self.arrays[name][..., seen]
        if self.kept is not None:
            values = yield from copy_in_pieces(values)
        return values.transpose(2, 1, 0)

    def _show_channels(
        self, seen: slice, before: Motion | None, changed: set[str]
    ) -> Generator[None, None, dict[str, RotationChannels]]:
        """Return the raw rotations of the parts, those before where a part has not changed."""
        shown: dict[str, RotationChannels] = {}
        values = self.arrays["channels"][:, seen]
        # All angles at once where all are read anew, and are not many.
        is_long = values.nbytes > PIECE_BYTES
        degrees = np.degrees(values) if before is None and not is_long else None
        for part, mode in self._modes.items():
            place = self._channel_rows[part]
            if before is not None and part not in changed and part in before.channels:
                shown[part] = before.channels[part]
            elif degrees is not None and mode not in CHANNEL:
                shown[part] = RotationChannels(mode, degrees[place].T)
            else:
                shown[part] = show_channel(values[place], mode)
                if is_long:
                    yield
        return shown

    def _find_ground(self, motion: Motion, before: Motion | None, changed: set[str]) -> float:
        """Return the height of the ground, the one before where no foot has changed."""
        if (
            before is not None
            and before.height == motion.height
            and not any(part.startswith(("foot.", "toe.")) for part in changed)
        ):
            return before.ground_height
        return find_ground_height(motion.parts, motion.heads, motion.tails, self.fps, motion.height)

    def _shape(self) -> Hashable:
        turning, modes = tuple(self._turning.items()), tuple(self._modes.items())
        return (super()._shape(), tuple(self._bone_names), turning, modes, self._is_rigid)

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
        turning = self._turning.values()
        direct = DirectArmature(self.owner, self._bone_names, turning, first, last, self.reader)
        self._narrowed = {tuple(range(self.width)): (direct, self._turning)}
        # Asked of all parts: what is sampled anew fits what is kept of the others.
        self._is_rigid = direct.is_rigid and direct.scales_evenly
        self._is_rigid &= self._placed is None or self._placed.scales_evenly
        count = len({*self._bone_names, *turning})
        self.route_reason = f"nothing but keys moves its {count} mapped bones"

    def _narrow(self, parts: tuple[int, ...]) -> tuple[DirectArmature, dict[str, str]]:
        """Return what works out some of the parts, and the bones that turn them."""
        if parts not in self._narrowed:
            names = {self.parts[row] for row in parts}
            turning = {part: bone for part, bone in self._turning.items() if part in names}
            wanted = [self._bone_names[row] for row in parts]
            first, last = (float(frame) * self.factor for frame in self.frames[[0, -1]])
            try:
                direct = DirectArmature(
                    self.owner, wanted, turning.values(), first, last, self.reader
                )
            except NotDirectError as error:
                raise InterruptedReadingError(str(error)) from None
            self._narrowed[parts] = (direct, turning)
        return self._narrowed[parts]

    def _put_into_world(self, rows: Sequence[int], pose: NDArray[np.float32]) -> FloatArray:
        """Bring poses in the armature's space, (3, 4, P, F), into the world."""
        world = self.arrays["world"][..., _find_slice(np.array(rows))]
        return chain_transforms(world[:, :, np.newaxis], pose.astype(np.float64, "C"))

    def _keep(
        self,
        rows: IntArray,
        heads: FloatArray,
        turned: FloatArray,
        along: FloatArray,
        parts: IntArray | None,
    ) -> None:
        """Keep what Motion is made of: see `Posed`; `parts` are these when they are not all."""
        if (whole := self._find_whole(rows, parts)) is not None:
            at, ends, turns = whole
            np.multiply(along, self._lengths[:, np.newaxis], out=ends)
            ends += heads
            for values, target in ((heads, at), (turned, turns)):
                # Where they were worked out in place they are there already.
                if not np.may_share_memory(values, target):
                    target[:] = values
            if self.metres != 1.0:
                at *= self.metres
                ends *= self.metres
            return
        place: Any = (..., rows)
        lengths = self._lengths
        if parts is not None:
            place, lengths = (slice(None), *np.ix_(parts, rows)), lengths[parts]
        tails = along * lengths[:, np.newaxis]
        tails += heads
        if self.metres != 1.0:
            heads, tails = heads * self.metres, tails * self.metres
        for name, values in (("heads", heads), ("tails", tails), ("turned", turned)):
            self.arrays[name][place] = values

    def _find_whole(
        self, rows: IntArray, parts: IntArray | None
    ) -> tuple[FloatArray, FloatArray, FloatArray] | None:
        """Return where heads, tails and turns of all parts on these rows are kept.

        None where they are not all, or the rows do not follow one another.
        """
        place = _find_slice(rows)
        if parts is not None or not isinstance(place, slice):
            return None
        heads, tails, turned = (self.arrays[name][..., place] for name in _KEPT)
        return heads, tails, turned

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
        self._channel_rows: dict[str, slice] = {}
        count = 0
        played = self.reader.read_curves(self.owner)
        for part, bones in self._bones_of().items():
            keyed = find_rotation_bone(played, [bone for bone in bones if bone])
            pose_bone = self.owner.pose.bones.get(keyed) if keyed is not None else None
            if keyed is None or pose_bone is None:
                continue
            mode = pose_bone.rotation_mode
            self._turning[part], self._modes[part] = keyed, mode
            self._channel_names[part] = CHANNEL.get(mode, "rotation_euler")
            width = 4 if mode in CHANNEL else 3
            self._channel_rows[part] = slice(count, count + width)
            count += width
        self.arrays["channels"] = np.empty((count, len(self.frames)))

    def _list_channel_rows(self, part: str) -> range:
        place = self._channel_rows[part]
        return range(place.start, place.stop)


def _fill(turned: FloatArray, parts: Sequence[int]) -> Generator[None, None, None]:
    """Fill the rotations, (F, P, 4), of some parts where they have none, with pauses."""
    size = max(1, PIECE_BYTES // max(1, turned[:, 0].nbytes))
    for first in range(0, len(parts), size):
        some = _find_slice(np.array(parts[first : first + size]))
        given = turned[:, some]
        filled = fill_rotations(given)
        if filled is not given:
            turned[:, some] = filled
        yield


def _find_slice(rows: IntArray) -> slice | IntArray:
    """Return rows that follow one another as a slice, which NumPy is quicker with."""
    first, last = int(rows[0]), int(rows[-1])
    return slice(first, last + 1) if last - first + 1 == len(rows) else rows


def check_armature(subject: Subject, owner: bpy.types.Object, reader: SourceReader) -> None:
    """Raise SamplingError when an armature cannot be sampled as it is."""
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
    curves = (entry.curve for entry in reader.read_curves(owner).played)
    if not any(moves_over_time(curve) for curve in curves) and not is_animated(owner):
        raise SamplingError(f"{subject.name}: it has no animation; give it two different keys")
