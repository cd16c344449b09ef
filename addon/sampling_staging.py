# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What lies around the subjects in the shot camera's picture: sight lines and places of things.

    steps = look_around(scene, view_layer, subjects, samples)     # 0..1, once per slice
    samples = run_sampling(steps)                       # the same samples with their `staging`

Everything that shows in the render is linked into a temporary scene, which is put on some of the
frames (every other one at 24 fps); the user's scene and frame are never touched. Points of the body
are looked at by rays, things in the picture by the corners of their bounds. What is hidden in the
viewport and shows only in the render, and instances made by geometry nodes or collections, are
not looked at.
"""

from __future__ import annotations

import time
from collections.abc import Generator, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import bpy
import numpy as np
from mathutils import Vector
from numpy.typing import NDArray

from ..core_math import Motion, ShotCamera, Staging, SubjectKind
from .animation_data import list_played_curves
from .sampling import Sample, ShotSamples, metres_per_unit
from .sampling_scene import TemporaryScene, check_era, note_era
from .subjects import Subject, find_object

FloatArray = NDArray[np.float64]

LOOKS_PER_SECOND = 12.0
"""How often the surroundings are looked at: every other frame at 24 fps."""

SOLID_TYPES = frozenset({"MESH", "CURVE", "SURFACE", "META", "FONT"})
SMALL_PARTS = ("thumb", "index", "middle", "ring", "pinky", "strand")
HELD = 0.05
"""Share of the body's size within which a hand reaches a thing that it may hold."""

PASSES = 16
"""How many see-through or hidden things a sight line goes through before it counts as clear."""

TOUCH = 0.02
"""Share of the body's size before a point within which a thing is touched, not in front."""

SEE_THROUGH = 0.5
"""Opacity under which a material hides nothing."""


@dataclass
class _Looked:
    """What was seen around one subject, growing look by look."""

    motion: Motion
    own: frozenset[str]
    points: FloatArray
    hidden: FloatArray
    tried: NDArray[np.int64]


def look_around(
    scene: bpy.types.Scene,
    view_layer: bpy.types.ViewLayer,
    subjects: Sequence[Subject],
    samples: ShotSamples,
    budget_ms: float = float("inf"),
) -> Generator[float, None, ShotSamples]:
    """Add to each character's sample what lies around it, when there is a shot camera.

    Parameters
    ----------
    scene, view_layer
        Only read.
    subjects : sequence of Subject
        Who was sampled.
    samples : ShotSamples
    budget_ms : float
        How long a slice may take before the caller has its turn.

    Raises
    ------
    InterruptedReadingError
        When the file was saved, undone or loaded between two slices: start again.
    """
    seen = [
        sample
        for sample in samples.samples
        if sample.motion.camera is not None and sample.motion.kind is SubjectKind.ARMATURE
    ]
    if not seen:
        return samples
    started, era = time.perf_counter(), note_era()
    fps = seen[0].motion.fps
    step = max(1, round(fps / LOOKS_PER_SECOND))
    first = min(int(sample.motion.frames[0]) for sample in seen)
    last = max(int(sample.motion.frames[-1]) for sample in seen)
    frames = list(range(first, last + 1, step))
    who = {subject.name: subject for subject in subjects}
    own = [find_own(scene, who[sample.motion.subject]) for sample in seen]
    never = frozenset.intersection(*own)
    things = [thing for thing in list_things(view_layer) if thing.name_full not in never]
    names = tuple(thing.name_full for thing in things)
    unit = metres_per_unit(scene)
    looked = [
        _start(sample.motion, mine, len(frames), len(things))
        for sample, mine in zip(seen, own, strict=True)
    ]
    corners = np.full((len(frames), len(things), 8, 3), np.nan)
    bounds: dict[int, FloatArray] = {}
    stage_set = TemporaryScene(scene, things)
    try:
        pause = time.perf_counter()
        for number, frame in enumerate(frames):
            if time.perf_counter() - pause >= budget_ms / 1e3:
                yield number / len(frames)
                check_era(era)
                pause = time.perf_counter()
            caster = _Caster(stage_set.step(frame), things, bounds)
            corners[number] = caster.corners * unit
            for subject in looked:
                _look(subject, number, frame, caster, unit)
    finally:
        stage_set.remove()
    done = {
        subject.motion.subject: _finish(subject, frames, step, names, corners) for subject in looked
    }
    changed = tuple(
        Sample(done.get(sample.motion.subject, sample.motion), sample.facts)
        for sample in samples.samples
    )
    spent = samples.sampling_s + time.perf_counter() - started
    return replace(samples, samples=changed, sampling_s=spent)


def list_things(view_layer: bpy.types.ViewLayer) -> list[bpy.types.Object]:
    """Return the objects with a surface that shows in the render.

    Left out: hidden from the render or the viewport, drawn as wire or bounds, invisible to the
    camera, shadow catchers, and collections that are left out or only lit by. A holdout stays: it
    hides what is behind it.
    """
    shown: dict[bpy.types.Object, None] = {}

    def walk(layer: Any) -> None:
        collection = layer.collection
        if layer.exclude or layer.indirect_only or collection.hide_render:
            return
        for entry in collection.objects:
            shown[entry] = None
        for child in layer.children:
            walk(child)

    walk(view_layer.layer_collection)
    return [
        entry
        for entry in shown
        if entry.type in SOLID_TYPES
        and entry.display_type not in ("WIRE", "BOUNDS")
        and entry.visible_camera
        and not entry.is_shadow_catcher
        and not (entry.hide_render and not _has_curve(entry, "hide_render"))
        and entry.visible_get(view_layer=view_layer)
    ]


def find_own(scene: bpy.types.Scene, subject: Subject) -> frozenset[str]:
    """Return the names of a subject's own objects: itself, what it wears, carries and deforms."""
    owner = find_object(subject)
    own = {owner, *owner.children_recursive}
    for _ in range(3):
        grown = {entry for entry in scene.objects if entry not in own and _follows(entry, own)}
        if not grown:
            break
        own |= grown | {child for entry in grown for child in entry.children_recursive}
    return frozenset(entry.name_full for entry in own)


def _follows(entry: bpy.types.Object, own: set[bpy.types.Object]) -> bool:
    if entry.parent in own:
        return True
    for modifier in entry.modifiers:
        if modifier.type in ("ARMATURE", "SURFACE_DEFORM", "MESH_DEFORM"):
            target = getattr(modifier, "object", None) or getattr(modifier, "target", None)
            if target in own:
                return True
    for constraint in entry.constraints:
        if constraint.type == "ARMATURE":
            if any(target.target in own for target in constraint.targets):
                return True
        elif constraint.type in ("CHILD_OF", "COPY_TRANSFORMS", "COPY_LOCATION"):
            if constraint.target in own:
                return True
    return False


def _may_deform(entry: bpy.types.Object) -> bool:
    """Say whether a thing's shape can change from frame to frame."""
    data: Any = entry.data
    keyed = getattr(data, "shape_keys", None) is not None
    return bool(len(entry.modifiers)) or keyed or data.animation_data is not None


def _has_curve(entry: bpy.types.Object, path: str) -> bool:
    return any(played.curve.data_path == path for played in list_played_curves(entry))


class _Caster:
    """One evaluated frame: where everything is, and what a sight line meets."""

    def __init__(
        self,
        depsgraph: bpy.types.Depsgraph,
        things: Sequence[bpy.types.Object],
        bounds: dict[int, FloatArray],
    ) -> None:
        self._depsgraph = depsgraph
        self._scene: Any = depsgraph.scene
        self.rows: dict[str, int] = {}
        self._shown: set[str] = set()
        self._clear: dict[tuple[str, int], bool] = {}
        places = np.full((len(things), 4, 4), np.nan)
        boxes = np.zeros((len(things), 8, 3))
        for row, thing in enumerate(things):
            evaluated = thing.evaluated_get(depsgraph)
            self.rows[thing.name_full] = row
            if evaluated.hide_render:
                continue
            self._shown.add(thing.name_full)
            places[row] = evaluated.matrix_world
            if row not in bounds or _may_deform(thing):
                bounds[row] = np.array([tuple(corner) for corner in evaluated.bound_box])
            boxes[row] = bounds[row]
        turned = np.einsum("kij,kcj->kci", places[:, :3, :3], boxes)
        self.corners = turned + places[:, np.newaxis, :3, 3]

    def find_in_the_way(
        self, origins: FloatArray, targets: FloatArray, own: frozenset[str]
    ) -> NDArray[np.bool_]:
        """Say which sight lines, shape (N,), meet the bounds of anything at all."""
        others = [row for name, row in self.rows.items() if name in self._shown - own]
        low, high = self.corners[others].min(axis=1), self.corners[others].max(axis=1)
        way = (targets - origins)[:, np.newaxis]
        way = np.where(np.abs(way) < 1e-12, 1e-12, way)
        start = origins[:, np.newaxis]
        one, other = (low - start) / way, (high - start) / way
        enter = np.minimum(one, other).max(axis=-1)
        leave = np.maximum(one, other).min(axis=-1)
        meets: NDArray[np.bool_] = (np.maximum(enter, 0.0) <= np.minimum(leave, 1.0)).any(axis=1)
        return meets

    def list_held(self, hands: FloatArray, height: float) -> frozenset[str]:
        """Return what is in the hands: things smaller than the body whose bounds they reach."""
        low, high = self.corners.min(axis=1), self.corners.max(axis=1)
        small = np.linalg.norm(high - low, axis=-1) < height
        beyond = np.maximum(low - hands[:, np.newaxis], hands[:, np.newaxis] - high)
        reached = (np.maximum(beyond, 0.0).max(axis=-1) < HELD * height).any(axis=0)
        names = list(self.rows)
        return frozenset(names[row] for row in np.flatnonzero(small & reached))

    def find_first(
        self, origin: FloatArray, target: FloatArray, touch: float, own: frozenset[str]
    ) -> int | None:
        """Return the row of the first thing that hides a point, None when it is in sight."""
        way = target - origin
        room = float(np.linalg.norm(way))
        if room <= touch:
            return None
        direction = Vector((way / room).tolist())
        place, left = Vector(origin.tolist()), room - touch
        for _ in range(PASSES):
            hit, where, _, face, thing, _ = self._scene.ray_cast(
                self._depsgraph, place, direction, distance=left
            )
            if not hit:
                return None
            name = thing.original.name_full
            if name in self._shown and name not in own and not self._is_clear(thing, face):
                return self.rows.get(name)
            gone = (where - place).length + 1e-4 * room
            place, left = place + direction * gone, left - gone
            if left <= 0.0:
                return None
        return None

    def _is_clear(self, thing: bpy.types.Object, face: int) -> bool:
        """Say whether one looks through a face: by its material, asked once for each."""
        evaluated: Any = thing.evaluated_get(self._depsgraph)
        slots = evaluated.material_slots
        if not slots:
            return False
        number = 0
        mesh = evaluated.data
        if len(slots) > 1 and isinstance(mesh, bpy.types.Mesh) and 0 <= face < len(mesh.polygons):
            number = min(int(mesh.polygons[face].material_index), len(slots) - 1)
        key = (thing.original.name_full, number)
        if key not in self._clear:
            self._clear[key] = is_see_through(slots[number].material)
        return self._clear[key]


def is_see_through(material: Any) -> bool:
    """Say whether a material hides nothing: glass, transparent, mostly clear, or only a volume.

    An alpha that comes from a picture or a node cannot be told without a render and counts as
    see-through, as leaves and fences made that way mostly are.
    """
    if material is None:
        return False
    if material.node_tree is None:
        return bool(material.diffuse_color[3] < SEE_THROUGH)
    outputs = [n for n in material.node_tree.nodes if n.type == "OUTPUT_MATERIAL"]
    output = next((n for n in outputs if n.is_active_output), None)
    if output is None:
        return False
    surface = output.inputs["Surface"]
    if not surface.is_linked:
        return bool(output.inputs["Volume"].is_linked)
    return _is_clear_shader(surface.links[0].from_node, depth=0)


def _is_clear_shader(node: Any, depth: int) -> bool:
    if node.type in ("BSDF_TRANSPARENT", "BSDF_GLASS", "BSDF_REFRACTION", "HOLDOUT"):
        return node.type != "HOLDOUT"
    if node.type == "BSDF_PRINCIPLED":
        alpha = node.inputs["Alpha"]
        transmission = node.inputs.get("Transmission Weight") or node.inputs.get("Transmission")
        passes = transmission is not None and not transmission.is_linked
        return bool(
            alpha.is_linked
            or alpha.default_value < SEE_THROUGH
            or (passes and transmission.default_value > SEE_THROUGH)
        )
    if node.type == "MIX_SHADER" and depth < PASSES:
        share = node.inputs[0]
        parts = [
            _is_clear_shader(socket.links[0].from_node, depth + 1) if socket.is_linked else False
            for socket in node.inputs[1:3]
        ]
        if share.is_linked:
            return any(parts)
        return bool(parts[1] if share.default_value > SEE_THROUGH else parts[0])
    return False


def _start(motion: Motion, own: frozenset[str], looks: int, things: int) -> _Looked:
    rows = [
        row
        for row, part in enumerate(motion.parts)
        if part != "root" and not part.startswith(SMALL_PARTS)
    ] or list(range(len(motion.parts)))
    heads, tails = motion.heads[:, rows], motion.tails[:, rows]
    return _Looked(
        motion=motion,
        own=own,
        points=np.concatenate((heads, 0.5 * (heads + tails)), axis=1),
        hidden=np.zeros((looks, things)),
        tried=np.zeros(looks, dtype=np.int64),
    )


def _look(subject: _Looked, number: int, frame: int, caster: _Caster, unit: float) -> None:
    """Look at the points of one subject that are in the picture."""
    motion: Motion = subject.motion
    row = frame - int(motion.frames[0])
    if not 0 <= row < motion.frame_count or motion.camera is None:
        return
    camera = motion.camera.slice(row, row + 1)
    points = subject.points[row]
    places, depths = camera.project(points[np.newaxis])
    inside = ((places[0] >= 0.0) & (places[0] <= 1.0)).all(axis=-1)
    inside &= (depths[0] > camera.clip_m[0, 0]) & (depths[0] < camera.clip_m[0, 1])
    subject.tried[number] = int(inside.sum())
    origins = _find_origins(camera, points[inside], depths[0][inside])
    touch = TOUCH * motion.height / unit
    own = subject.own | caster.list_held(_find_hands(motion, row) / unit, motion.height / unit)
    origins, targets = origins / unit, points[inside] / unit
    # Most sight lines meet nothing's bounds: those are clear without looking closer.
    for ray in np.flatnonzero(caster.find_in_the_way(origins, targets, own)):
        thing = caster.find_first(origins[ray], targets[ray], touch, own)
        if thing is not None:
            subject.hidden[number, thing] += 1.0 / subject.tried[number]


def _find_hands(motion: Motion, row: int) -> FloatArray:
    """Return the wrists and fingertips at one frame, shape (N, 3), metres."""
    hands = [number for number, part in enumerate(motion.parts) if part in ("hand.L", "hand.R")]
    return np.concatenate((motion.heads[row, hands], motion.tails[row, hands]))


def _find_origins(camera: ShotCamera, points: FloatArray, depths: FloatArray) -> FloatArray:
    """Return where sight lines begin: at the near clip of the way from the eye to each point."""
    eye, near = camera.positions[0], camera.clip_m[0, 0]
    if not camera.orthographic:
        return eye + (points - eye) * (near / depths)[:, np.newaxis]
    w, x, y, z = camera.rotations[0]
    back = np.array([2 * (x * z + w * y), 2 * (y * z - w * x), 1 - 2 * (x * x + y * y)])
    return points + back * (depths - near)[:, np.newaxis]


def _finish(
    subject: _Looked,
    frames: Iterable[int],
    step: int,
    names: tuple[str, ...],
    corners: FloatArray,
) -> Motion:
    """Return the motion with what was seen around it."""
    motion = subject.motion
    camera = motion.camera
    rows = np.array(list(frames), dtype=np.int64) - int(motion.frames[0])
    kept = (rows >= 0) & (rows < motion.frame_count)
    rows = rows[kept]
    around = np.array([name not in subject.own for name in names], dtype=bool)
    if camera is None or len(rows) == 0:
        return motion
    looking = camera.slice(int(rows[0]), int(rows[-1]) + 1, step)
    places, depths = looking.project(corners[kept])
    # Corners behind the camera have no place: a thing on both sides of it fills the picture.
    low = np.where(np.isnan(places), np.where(depths[..., np.newaxis] < 0, -np.inf, np.inf), places)
    high = np.where(
        np.isnan(places), np.where(depths[..., np.newaxis] < 0, np.inf, -np.inf), places
    )
    boxes = np.concatenate((low.min(axis=2), high.max(axis=2)), axis=-1)
    near, far = depths.min(axis=2), depths.max(axis=2)
    out = ~(far > 0.0) | ~np.isfinite(near)
    near, far = np.where(out, np.nan, near), np.where(out, np.nan, far)
    boxes = np.where(out[..., np.newaxis], np.nan, boxes)
    staging = Staging(
        rows=rows,
        step=step,
        things=tuple(name for name, there in zip(names, around, strict=True) if there),
        hidden=subject.hidden[kept][:, around],
        tried=subject.tried[kept],
        depths=np.stack((near, far), axis=-1)[:, around],
        boxes=boxes[:, around],
    )
    return replace(motion, staging=staging, _memo={})
