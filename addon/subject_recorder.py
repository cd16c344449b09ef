# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What any recorder of a subject has: where its object stands, by either route."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Collection, Generator, Hashable, Sequence
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
    chain_transforms,
    claim_array,
)
from .animation_data import frame_factor
from .direct_route import DirectObject, NotDirectError
from .sampling_memory import Kept, SamplingMemory
from .source_reading import SourceReader
from .subjects import SamplingError, Subject

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

EXACT, DIRECT = "exact", "direct"

BLOCK, LARGE_BLOCK = 1 << 12, 1 << 15
"""Bones times frames that are worked on at a time: little of a slice, or of the memory."""

CHANNELS_BLOCK = 1 << 17
"""Bones times frames whose channels are held at a time: curves like to be followed far."""

CHANNEL = {"QUATERNION": "rotation_quaternion", "AXIS_ANGLE": "rotation_axis_angle"}


class SubjectRecorder(ABC):
    """Where the subject's object stands in the world; bones or no bones come with subclasses."""

    def __init__(
        self,
        scene: bpy.types.Scene,
        subject: Subject,
        owner: bpy.types.Object,
        start: int,
        end: int,
        reader: SourceReader,
    ) -> None:
        self.subject = subject
        self.reader = reader
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
        self._is_new = True
        self.instancer = self._find_instancer()
        self._placed: DirectObject | None = None
        self._blinks = reader.read_curves(owner).hides

    @property
    def steps(self) -> bool:
        """Whether frames must be stepped for it."""
        return self.route == EXACT

    def block(self, hurried: bool) -> int:
        """Return how many frames are worked out between two pauses."""
        return max(16, (BLOCK if hurried else LARGE_BLOCK) // self.width)

    def list_stretches(self, rows: IntArray) -> list[IntArray]:
        """Return some rows as `evaluate` should be asked for them."""
        size = max(16, CHANNELS_BLOCK // self.width)
        return [rows[first : first + size] for first in range(0, len(rows), size)]

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
            if self.instancer is not None:
                self._placed = DirectObject(self.instancer, times[0], times[-1], self.reader)
            self._plan(float(times[0]), float(times[-1]))
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

    def prepare(self, rows: IntArray) -> Generator[None, None, None]:
        """Read what `evaluate` is going to need for some frames, with pauses."""
        yield

    @abstractmethod
    def evaluate(self, rows: IntArray, block: int) -> Generator[None, None, None]:
        """Work out some frames by the direct route, so many between two pauses."""

    def recall(self, memory: SamplingMemory, scene: bpy.types.Scene) -> Generator[None, None, None]:
        """Take over what still holds of an earlier sampling, with pauses.

        Before anything is sampled.
        """
        roots = [self.owner] if self.instancer is None else [self.owner, self.instancer]
        times = self.frames * self.factor
        self.kept = yield from memory.recall(
            f"subject {self.subject}",
            self._shape(),
            roots,
            scene,
            times,
            self.arrays,
            self.reader,
            self._list_read_from(),
        )
        if self.kept is not None:
            self._is_new = self.kept.arrays is self.arrays
            self.arrays, self.valid = self.kept.arrays, self.kept.valid

    def claim(self) -> Generator[None, None, None]:
        """Take the memory that samples are kept in from the system, with pauses.

        After what was kept is recalled: that needs no new memory.
        """
        if self._is_new:
            for values in self.arrays.values():
                yield from claim_array(values)

    def list_missing(self) -> IntArray:
        """Return the rows that are still to be sampled."""
        return np.flatnonzero(~self.valid.all(axis=0))

    def _find_before(self) -> tuple[Motion | None, set[int]]:
        """Return the Motion made last of these samples, and the parts sampled again since.

        By their rows, in the order of `_list_read_from`.
        """
        if self.kept is None or self.kept.made is None:
            return None, set()
        return self.kept.made, set(np.flatnonzero(self.kept.stale).tolist())

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

    def _keep_world(self, rows: IntArray, world: FloatArray) -> FloatArray:
        """Keep where the object is, and return it with what carries its instance."""
        if self._placed is not None:
            outer, _ = self._placed.evaluate(self._times(rows))
            inner = chain_transforms(self._find_origin()[:3, :, np.newaxis], world)
            world = chain_transforms(outer, inner)
        self.arrays["world"][..., rows] = world
        return world

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


def show_channel(values: FloatArray, mode: str) -> RotationChannels:
    """Return raw rotation values, (3, F) or (4, F), as people read them: angles in degrees."""
    if mode == "QUATERNION":
        return RotationChannels(mode, values.T.copy())
    if mode != "AXIS_ANGLE":
        return RotationChannels(mode, np.degrees(values).T)
    shown = values.T.copy()
    shown[:, 0] = np.degrees(shown[:, 0])
    return RotationChannels(mode, shown)


def cut_camera(camera: ShotCamera | None, seen: slice) -> ShotCamera | None:
    """Return the camera over the frames that were read."""
    return camera.slice(seen.start, seen.stop) if camera is not None else None


def cut_cuts(cuts: tuple[int, ...], frames: NDArray[np.int64]) -> tuple[int, ...]:
    """Return the cuts that lie inside the frames that were read."""
    return tuple(cut for cut in cuts if frames[0] < cut <= frames[-1])


def check_size(motion: Motion) -> None:
    """Raise SamplingError when the subject has no size to measure anything by."""
    if not motion.height > 0.0:
        raise SamplingError(
            f"{motion.subject}: it has no size at frame {motion.frame(0)}; look for a scale of 0 "
            "or bones without length"
        )
