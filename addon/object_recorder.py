# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Reads a single object as one part."""

from __future__ import annotations

from collections.abc import Generator, Hashable
from typing import Any

import bpy
import numpy as np

from ..core_math import (
    MappedPart,
    Motion,
    ShotCamera,
    Stage,
    SubjectKind,
    fill_rotations,
    iterate_motion,
    split_transforms,
)
from .direct_route import DirectObject
from .key_tracks import iterate_key_tracks
from .source_reading import SourceReader
from .subject_recorder import (
    CHANNEL,
    IntArray,
    SubjectRecorder,
    check_size,
    cut_camera,
    cut_cuts,
    show_channel,
)
from .subjects import SamplingError, Subject, is_animated, list_family


class ObjectRecorder(SubjectRecorder):
    """Records a single object as one part, called root."""

    def __init__(
        self,
        scene: bpy.types.Scene,
        subject: Subject,
        owner: bpy.types.Object,
        start: int,
        end: int,
        reader: SourceReader,
    ) -> None:
        super().__init__(scene, subject, owner, start, end, reader)
        if not is_animated(owner):
            raise SamplingError(f"{subject.name}: nothing moves it; give it two different keys")
        self._direct: DirectObject | None = None
        mode = owner.rotation_mode
        self._channel = CHANNEL.get(mode, "rotation_euler")
        self.arrays["turns"] = np.empty((4 if mode in CHANNEL else 3, len(self.frames)))
        self._size = max(max(_measure_box(entry)) for entry in list_family(owner))

    def settle(self) -> None:
        """Do nothing: every frame is worked out as it is read."""

    def record(self, row: int, depsgraph: bpy.types.Depsgraph) -> None:
        """Read one evaluated frame."""
        evaluated = self._record_world(row, depsgraph)
        self.arrays["turns"][:, row] = getattr(evaluated, self._channel)
        self.valid[:, row] = True

    def evaluate(self, rows: IntArray, block: int) -> Generator[None, None, None]:
        """Work out some frames by the direct route, so many between two pauses."""
        direct: Any = self._direct
        for first in range(0, len(rows), block):
            some = rows[first : first + block]
            world, self.arrays["turns"][:, some] = direct.evaluate(self._times(some))
            self._keep_world(some, world)
            self.valid[:, some] = True
            yield

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
        curves = self.reader.read_curves(self.owner)
        keys = yield from iterate_key_tracks(curves, {"root": [""]}, self.factor)
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
            keys=keys,
            channels={"root": show_channel(turns, self.owner.rotation_mode)},
            camera=cut_camera(camera, seen),
            cuts=cut_cuts(cuts, self.frames[seen]),
            stage_override=stage,
            height=size,
        )
        check_size(motion)
        return motion

    def _shape(self) -> Hashable:
        return (super()._shape(), self._size)

    def list_parts(self) -> dict[str, MappedPart]:
        """Return what stands for each part."""
        return {"root": MappedPart(self.owner.name, 1.0)}

    def _plan(self, first: float, last: float) -> None:
        self._direct = DirectObject(self.owner, first, last, self.reader)
        self.route_reason = "nothing but keys moves it"


def _measure_box(entry: bpy.types.Object) -> tuple[float, float, float]:
    """Return the size of an object's bounding box in its own space; 1 for what has none."""
    if entry.type == "EMPTY" or entry.data is None:
        return (0.0, 0.0, 0.0) if entry.children else (1.0, 1.0, 1.0)
    corners = np.array(entry.bound_box)
    x, y, z = np.ptp(corners, axis=0)
    return (float(x), float(y), float(z))
