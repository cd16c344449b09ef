# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a sight line meets on one evaluated frame: things, instances, things hidden on screen.

What counts is what renders. The host's own search finds what its viewport holds, instances
included; what is hidden there only is asked one by one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

HELD = 0.05
"""Share of the body's size within which a hand reaches a thing that it may hold."""

PASSES = 16
"""How many see-through or hidden things a sight line goes through before it counts as clear."""

SEE_THROUGH = 0.5
"""Opacity under which a material hides nothing."""

MOST_INSTANCES = 4000
"""With more instances than this their places are taken from the first look: scattered stone and
grass stand still."""


def may_instance(thing: bpy.types.Object) -> bool:
    """Say whether a thing can show others in places of their own."""
    nodes = any(modifier.type == "NODES" for modifier in thing.modifiers)
    return thing.instance_type != "NONE" or nodes


def _may_deform(entry: bpy.types.Object) -> bool:
    """Say whether a thing's shape can change from frame to frame."""
    data: Any = entry.data
    if data is None:
        return False
    keyed = getattr(data, "shape_keys", None) is not None
    return bool(len(entry.modifiers)) or keyed or data.animation_data is not None


@dataclass
class CasterMemory:
    """What stays the same from look to look.

    Attributes
    ----------
    bounds : dict of row to ndarray, shape (8, 3)
        Corners of things that keep their shape, in their own axes.
    instances : _Instances or None
        Places of very many instances.
    """

    bounds: dict[int, FloatArray] = field(default_factory=dict)
    instances: _Instances | None = None


@dataclass
class _Instances:
    """Which thing shows each instance, and what space a thing's instances take up together."""

    makers: dict[tuple[str, tuple[float, ...]], int]
    boxes: dict[int, tuple[FloatArray, FloatArray]]


class Caster:
    """One evaluated frame: where everything is, and what a sight line meets."""

    def __init__(
        self,
        depsgraph: bpy.types.Depsgraph,
        things: Sequence[bpy.types.Object],
        memory: CasterMemory,
    ) -> None:
        self._depsgraph = depsgraph
        self._scene: Any = depsgraph.scene
        self._things = things
        self.rows: dict[str, int] = {}
        self._shown: set[str] = set()
        self._clear: dict[tuple[str, int], bool] = {}
        self._names = [thing.name_full for thing in things]
        places = np.full((len(things), 4, 4), np.nan)
        boxes = np.zeros((len(things), 8, 3))
        bounds = memory.bounds
        self._apart: dict[int, Any] = {}
        makers: dict[str, int] = {}
        for row, thing in enumerate(things):
            evaluated = thing.evaluated_get(depsgraph)
            self.rows[thing.name_full] = row
            if evaluated.hide_render:
                continue
            self._shown.add(thing.name_full)
            if may_instance(thing):
                makers[thing.name_full] = row
            if thing.type == "EMPTY":
                continue
            places[row] = evaluated.matrix_world
            if thing.hide_viewport or thing.display_type == "BOUNDS":
                self._apart[row] = evaluated
            if row not in bounds or _may_deform(thing):
                bounds[row] = np.array([tuple(corner) for corner in evaluated.bound_box])
            boxes[row] = bounds[row]
        turned = np.einsum("kij,kcj->kci", places[:, :3, :3], boxes)
        self.corners = turned + places[:, np.newaxis, :3, 3]
        self._instances = memory.instances
        if makers and self._instances is None:
            self._instances = _find_instances(depsgraph, makers)
            if len(self._instances.makers) > MOST_INSTANCES:
                memory.instances = self._instances
        for row, (low, high) in (self._instances.boxes if self._instances else {}).items():
            own = self.corners[row]
            if np.isfinite(own).all():
                low, high = np.minimum(low, own.min(axis=0)), np.maximum(high, own.max(axis=0))
            self.corners[row] = np.where(_CORNERS, high, low)

    def renew(self, depsgraph: bpy.types.Depsgraph) -> None:
        """Take the same frame, evaluated again, in place of the one that was given."""
        self._depsgraph, self._scene = depsgraph, depsgraph.scene
        self._apart = {row: self._things[row].evaluated_get(depsgraph) for row in self._apart}

    def find_in_the_way(
        self, origins: FloatArray, targets: FloatArray, own: frozenset[str]
    ) -> NDArray[np.bool_]:
        """Say which sight lines, shape (N,), meet the bounds of anything at all."""
        others = [row for name, row in self.rows.items() if name in self._shown - own]
        if not others:
            return np.zeros(len(origins), dtype=np.bool_)
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
        start, place, left = Vector(origin.tolist()), Vector(origin.tolist()), room - touch
        first, beyond = self._cast_apart(start, direction, left, own)
        for _ in range(PASSES):
            hit, where, _, face, thing, matrix = self.cast(place, direction, left)
            if not hit or (where - start).length > beyond:
                return first
            row = self._find_row(thing, matrix)
            if row is not None and self._hides(row, own) and not self._is_clear(thing, face):
                return row
            gone = (where - place).length + 1e-4 * room
            place, left = place + direction * gone, left - gone
            if left <= 0.0:
                return first
        return first

    def cast(self, place: Vector, direction: Vector, left: float) -> tuple[Any, ...]:
        """Ask Blender what a sight line meets first.

        The first one that meets a thing's bounds makes Blender sort all its faces, which may take
        far longer than those that follow.
        """
        met: tuple[Any, ...] = self._scene.ray_cast(
            self._depsgraph, place, direction, distance=left
        )
        return met

    def _hides(self, row: int, own: frozenset[str]) -> bool:
        name = self._names[row]
        return name in self._shown and name not in own

    def _find_row(self, thing: bpy.types.Object, matrix: Matrix) -> int | None:
        """Return whose a hit is: the thing that shows the instance, or the thing itself."""
        if self._instances is not None:
            row = self._instances.makers.get(_make_key(thing.original.name_full, matrix))
            if row is not None:
                return row
        return self.rows.get(thing.original.name_full)

    def _cast_apart(
        self, start: Vector, direction: Vector, left: float, own: frozenset[str]
    ) -> tuple[int | None, float]:
        """Return the first of the things that the host's search leaves out, and how far it is."""
        first, nearest = None, float("inf")
        for row, evaluated in self._apart.items():
            if not self._hides(row, own):
                continue
            matrix = evaluated.matrix_world
            if abs(matrix.determinant()) < 1e-12:
                continue
            back = matrix.inverted()
            here, way = back @ start, back.to_3x3() @ direction
            hit, where, _, face = evaluated.ray_cast(here, way, depsgraph=self._depsgraph)
            far = (matrix @ where - start).length if hit else float("inf")
            if far < min(nearest, left) and not self._is_clear(evaluated, face):
                first, nearest = row, far
        return first, nearest

    def _is_clear(self, thing: bpy.types.Object, face: int) -> bool:
        """Say whether one looks through a face: by its material, asked once for each."""
        evaluated: Any = thing if thing.is_evaluated else thing.evaluated_get(self._depsgraph)
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


_CORNERS = np.array([[corner & 1, corner & 2, corner & 4] for corner in range(8)], dtype=np.bool_)


def _find_instances(depsgraph: bpy.types.Depsgraph, makers: dict[str, int]) -> _Instances:
    """Go through all instances once: whose they are, and where."""
    shown: dict[tuple[str, tuple[float, ...]], int] = {}
    places: dict[int, list[FloatArray]] = {}
    bounds: dict[str, FloatArray] = {}
    for entry in depsgraph.object_instances:
        if not entry.is_instance or entry.parent is None:
            continue
        row = makers.get(entry.parent.original.name_full)
        thing: Any = entry.object
        if row is None or thing.original.hide_render or not hasattr(thing.data, "materials"):
            continue
        name, matrix = thing.original.name_full, entry.matrix_world
        shown[_make_key(name, matrix)] = row
        if name not in bounds:
            bounds[name] = np.array([tuple(corner) for corner in thing.bound_box])
        world = np.array(matrix)
        places.setdefault(row, []).append(bounds[name] @ world[:3, :3].T + world[:3, 3])
    boxes = {}
    for row, corners in places.items():
        points = np.concatenate(corners)
        boxes[row] = (points.min(axis=0), points.max(axis=0))
    return _Instances(shown, boxes)


def _make_key(name: str, matrix: Matrix) -> tuple[str, tuple[float, ...]]:
    return name, tuple(round(value, 4) for row in matrix[:3] for value in row)


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
