# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The shot camera: which one looks at each frame, and everything about it, frame by frame."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core_math import CameraKind, SensorFit, ShotCamera, fill_rotations, split_transforms
from .animation_data import frame_factor, list_drivers
from .direct_route import DirectObject, NotDirectError
from .direct_sources import ChannelTable, find_source
from .sampling_memory import SamplingMemory
from .source_reading import SourceReader
from .subjects import SamplingError

FloatArray = NDArray[np.float64]

_LENS = (
    "lens", "sensor_width", "sensor_height", "shift_x", "shift_y", "clip_start", "clip_end",
    "dof.aperture_fstop", "ortho_scale", "dof.focus_distance",
)  # fmt: skip
"""What of a camera is read per frame, as paths from its data."""


def choose_cameras(
    scene: bpy.types.Scene, start: int, end: int, name: str | None = None
) -> list[bpy.types.Object | None]:
    """Return the camera that looks at each frame from `start` to `end`.

    Markers with a camera bound to them switch the scene's camera; before the first of them its
    camera looks already, as in Blender. A camera that is asked for by name looks throughout.

    Raises
    ------
    SamplingError
        When there is no camera of that name in the scene.
    """
    count = end - start + 1
    if name is not None:
        named = scene.objects.get(name)
        if named is None or named.type != "CAMERA":
            there = ", ".join(sorted(o.name for o in scene.objects if o.type == "CAMERA"))
            wrong = "is not there" if named is None else f"is no camera ({named.type.lower()})"
            raise SamplingError(
                f"camera {name!r} {wrong}; cameras of scene {scene.name!r}: {there or 'none'}"
            )
        return [named for _ in range(count)]
    bound = list_camera_switches(scene)
    if not bound:
        return [scene.camera] * count
    factor = frame_factor(scene)
    looking: list[bpy.types.Object | None] = []
    for frame in range(start, end + 1):
        past = [camera for at, camera in bound if at <= int(frame * factor)]
        looking.append(past[-1] if past else bound[0][1])
    return looking


def list_camera_switches(scene: bpy.types.Scene) -> list[tuple[int, bpy.types.Object]]:
    """Return frame and camera of every marker that switches the camera, in order of time."""
    switches = [
        (marker.frame, marker.camera)
        for marker in scene.timeline_markers
        if marker.camera is not None and not marker.camera.hide_render
    ]
    return sorted(switches, key=lambda entry: entry[0])


def find_cuts(scene: bpy.types.Scene, start: int, end: int) -> tuple[int, ...]:
    """Return the frames after `start` at which markers switch to another camera."""
    if not list_camera_switches(scene):
        return ()
    looking = choose_cameras(scene, start, end)
    return tuple(start + row for row in range(1, len(looking)) if looking[row] != looking[row - 1])


class CameraRecorder:
    """Collects the shot camera: by the direct route, or while others step frames.

    Parameters
    ----------
    scene : bpy.types.Scene
    looking : list of camera objects or None, one per frame
    start : int
        The first frame.
    reader : SourceReader
        Of the sampling that is under way.
    """

    def __init__(
        self,
        scene: bpy.types.Scene,
        looking: list[bpy.types.Object | None],
        start: int,
        reader: SourceReader,
    ) -> None:
        self._reader = reader
        self._looking = looking
        self._scene = scene
        self._times = (start + np.arange(len(looking))) * frame_factor(scene)
        self.arrays = {
            "world": np.zeros((3, 4, len(looking))),
            "lens": np.zeros((len(_LENS), len(looking))),
        }
        self.valid = np.zeros(len(looking), dtype=np.bool_)
        self._direct: dict[bpy.types.Object, _DirectCamera] | None = None

    @property
    def steps(self) -> bool:
        """Whether frames must be stepped for it."""
        return self._direct is None and any(camera is not None for camera in self._looking)

    def try_direct(self) -> None:
        """Take the direct route when nothing but keys moves any of the cameras."""
        cameras = {camera for camera in self._looking if camera is not None}
        first, last = float(self._times[0]), float(self._times[-1])
        try:
            self._direct = {
                camera: _DirectCamera(camera, first, last, self._reader) for camera in cameras
            }
        except NotDirectError:
            self._direct = None

    def recall(self, memory: SamplingMemory) -> Generator[None, None, None]:
        """Take over what still holds of an earlier sampling, before anything is sampled."""
        if not self.steps:
            return
        names = tuple(camera.name if camera is not None else "" for camera in self._looking)
        shape = (names, float(self._times[0]), float(self._times[-1]))
        kept = yield from memory.recall(
            "camera",
            shape,
            self.list_objects(),
            self._scene,
            self._times,
            self.arrays,
            self._reader,
        )
        if kept is not None:
            self.arrays, self.valid = kept.arrays, kept.valid[0]

    def list_missing(self) -> NDArray[np.int64]:
        """Return the rows for which frames are still to be stepped."""
        return np.flatnonzero(~self.valid) if self.steps else np.zeros(0, dtype=np.int64)

    def list_objects(self) -> list[bpy.types.Object]:
        """Return the cameras and what they focus on, when frames must be stepped for them."""
        found: dict[bpy.types.Object, None] = {}
        for camera in self._looking if self.steps else ():
            if camera is not None:
                found[camera] = None
                if camera.data.dof.focus_object is not None:
                    found[camera.data.dof.focus_object] = None
        return list(found)

    def record(self, row: int, depsgraph: bpy.types.Depsgraph) -> None:
        """Read the camera of one frame off an evaluated dependency graph."""
        camera = self._looking[row]
        if camera is None or not self.steps:
            return
        evaluated = camera.evaluated_get(depsgraph)
        lens: Any = evaluated.data
        matrix = np.array(evaluated.matrix_world)
        self.arrays["world"][..., row] = matrix[:3]
        self.arrays["lens"][:, row] = _read_lens(lens)
        if lens.dof.focus_object is not None:
            self.arrays["lens"][-1, row] = _measure_focus(lens.dof, matrix, depsgraph)
        self.valid[row] = True

    def finish(self, metres_per_unit: float) -> ShotCamera | None:
        """Return what was recorded; None when there are frames at which no camera looks."""
        if any(camera is None for camera in self._looking):
            return None
        for camera, direct in (self._direct or {}).items():
            rows = [row for row, other in enumerate(self._looking) if other == camera]
            world, values = direct.evaluate(self._times[rows])
            self.arrays["world"][..., rows], self.arrays["lens"][:, rows] = world, values
        first: Any = self._looking[0]
        positions, turned = split_transforms(self.arrays["world"])
        values, render = self.arrays["lens"].T.copy(), self._scene.render
        names = tuple(camera.name for camera in self._looking if camera is not None)
        kinds = tuple(_read_kind(camera) for camera in self._looking if camera is not None)
        cuts = len(set(names)) > 1
        percent = render.resolution_percentage / 100.0
        return ShotCamera(
            name=first.name,
            positions=positions.T * metres_per_unit,
            rotations=_continue_signs(fill_rotations(turned.T.copy())),
            lens_mm=values[:, 0],
            sensor_mm=values[:, 1:3],
            sensor_fit=kinds[0].sensor_fit,
            shift=values[:, 3:5],
            resolution=(render.resolution_x * percent, render.resolution_y * percent),
            pixel_aspect=(render.pixel_aspect_x, render.pixel_aspect_y),
            clip_m=values[:, 5:7] * metres_per_unit,
            focus_m=values[:, 9] * metres_per_unit,
            f_stop=values[:, 7],
            depth_of_field=kinds[0].depth_of_field,
            orthographic=kinds[0].orthographic,
            ortho_scale=values[:, 8] * metres_per_unit,
            motion_blur=bool(render.use_motion_blur),
            shutter_frames=float(render.motion_blur_shutter),
            names=names if cuts else (),
            panoramic=kinds[0].panoramic,
            kinds=kinds if cuts else (),
        )


class _DirectCamera:
    """A camera that nothing but keys moves, its lens included."""

    def __init__(
        self, camera: bpy.types.Object, first: float, last: float, reader: SourceReader
    ) -> None:
        lens: Any = camera.data
        self._object = DirectObject(camera, first, last, reader)
        source = find_source(lens, reader.read_curves(lens), first, last)
        if any(curve.data_path in _LENS for curve in list_drivers(lens)):
            raise NotDirectError("a driver moves its lens")
        target = lens.dof.focus_object
        if target is not None and lens.dof.focus_subtarget:
            raise NotDirectError("it focuses on a bone")
        self._focus = DirectObject(target, first, last, reader) if target is not None else None
        rest = {("", path): (value,) for path, value in zip(_LENS, _read_lens(lens), strict=True)}
        self._table = ChannelTable(rest, source)

    def evaluate(self, frames: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return world transforms, (3, 4, F), and what is read of the lens, (10, F)."""
        world, _ = self._object.evaluate(frames)
        values = self._table.evaluate(frames)
        if self._focus is not None:
            way = self._focus.evaluate(frames)[0][:, 3] - world[:, 3]
            axis = world[:, 2]
            length = np.maximum(np.linalg.norm(axis, axis=0), 1e-12)
            values[-1] = np.abs(np.sum(way * axis, axis=0)) / length
        return world, values


def _read_lens(lens: Any) -> list[float]:
    return [
        lens.lens, lens.sensor_width, lens.sensor_height, lens.shift_x, lens.shift_y,
        lens.clip_start, lens.clip_end, lens.dof.aperture_fstop, lens.ortho_scale,
        lens.dof.focus_distance,
    ]  # fmt: skip


def _read_kind(camera: bpy.types.Object) -> CameraKind:
    lens: Any = camera.data
    return CameraKind(
        sensor_fit=SensorFit(lens.sensor_fit.lower()),
        depth_of_field=bool(lens.dof.use_dof),
        orthographic=lens.type == "ORTHO",
        # Perspective and orthographic are the two whose picture is a plane.
        panoramic=lens.type not in ("PERSP", "ORTHO"),
    )


def _measure_focus(dof: Any, camera: FloatArray, depsgraph: bpy.types.Depsgraph) -> float:
    """Return how far the thing in focus lies along the view axis, in units of the scene."""
    seen = dof.focus_object.evaluated_get(depsgraph)
    place = np.array(seen.matrix_world)
    if dof.focus_subtarget and seen.type == "ARMATURE":
        bone = seen.pose.bones.get(dof.focus_subtarget)
        if bone is not None:
            place = place @ np.array(bone.matrix)
    axis = camera[:3, 2] / max(float(np.linalg.norm(camera[:3, 2])), 1e-12)
    return float(abs(np.dot(place[:3, 3] - camera[:3, 3], axis)))


def _continue_signs(quaternions: FloatArray) -> FloatArray:
    """Choose signs so that neighbours lie in the same half of the sphere, (F, 4)."""
    dots = np.sum(quaternions[1:] * quaternions[:-1], axis=-1)
    quaternions[1:] *= np.cumprod(np.where(dots < 0.0, -1.0, 1.0))[:, np.newaxis]
    return quaternions
