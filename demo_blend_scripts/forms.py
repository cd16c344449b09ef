# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Simple solids to model with: tubes, eggs and boxes, coloured, and weighted to bones."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import bpy
from mathutils import Matrix, Vector

from .rig import other_side

Weights = dict[str, float]
Stops = Sequence[tuple[float, str]]
"""Places along a tube with the bone that rules there; between two places they blend."""
Station = tuple[float, ...]
"""Place along a tube, half width, half depth, and optionally a shift in width and depth."""


class Model:
    """A mesh in the making: vertices with bone weights, faces with a material."""

    def __init__(self) -> None:
        self.points: list[Any] = []
        self.weights: list[Weights] = []
        self.faces: list[tuple[int, ...]] = []
        self.paints: list[str] = []
        self.flat: list[bool] = []

    def _point(self, place: Vector, weights: Weights) -> int:
        self.points.append(place)
        self.weights.append(weights)
        return len(self.points) - 1

    def _face(self, corners: Sequence[int], paint: str, flat: bool = False) -> None:
        self.faces.append(tuple(corners))
        self.paints.append(paint)
        self.flat.append(flat)

    def tube(
        self,
        origin: Vector,
        along: Vector,
        across: Vector,
        stations: Sequence[Station],
        stops: Stops,
        paint: str,
        sides: int = 14,
        power: float = 2.0,
        smooth: int = 3,
    ) -> None:
        """Add a closed tube.

        Parameters
        ----------
        origin, along, across : Vector
            Where it starts, which way it runs, and the direction of its width.
        stations : sequence of tuples
            (distance, half width, half depth[, shift in width, shift in depth]), metres.
        stops : sequence of (float, str)
            Bones by distance along the tube.
        paint : str
            Name of the material.
        sides, smooth : int
            Points of a ring, and rings per span between two stations.
        power : float
            2 gives ellipses, more gives rounder boxes.
        """
        along, across = along.normalized(), across.normalized()
        depth: Any = along.cross(across)
        rings = []
        for station in _refined(stations, smooth):
            s, half_width, half_depth, shift, lift = station
            middle: Any = origin + along * s + across * shift + depth * lift
            weights = blend(stops, s)
            ring = []
            for side in range(sides):
                angle = 2.0 * math.pi * (side + 0.5) / sides
                x, y = _rounded(math.cos(angle), power), _rounded(math.sin(angle), power)
                place = middle + across * (half_width * x) + depth * (half_depth * y)
                ring.append(self._point(place, weights))
            rings.append((ring, middle, weights))
        for (low, _, _), (high, _, _) in zip(rings, rings[1:], strict=False):
            for side in range(sides):
                after = (side + 1) % sides
                self._face((low[side], low[after], high[after], high[side]), paint)
        for (ring, middle, weights), turned in ((rings[0], True), (rings[-1], False)):
            tip = self._point(middle, weights)
            for side in range(sides):
                after = (side + 1) % sides
                corners = (ring[side], ring[after], tip)
                self._face(corners[::-1] if turned else corners, paint)

    def ring(
        self,
        centre: Vector,
        axis: Vector,
        across: Vector,
        radius: float,
        half: tuple[float, float],
        bone: str,
        paint: str,
        sides: int = 32,
        section: int = 8,
        power: float = 2.0,
    ) -> None:
        """Add a ring about an axis; `half` is its half thickness outwards and along the axis."""
        axis, across = axis.normalized(), across.normalized()
        up: Any = axis.cross(across)
        loops = []
        for side in range(sides):
            angle = 2.0 * math.pi * side / sides
            outward = across * math.cos(angle) + up * math.sin(angle)
            loop = []
            for corner in range(section):
                turn = 2.0 * math.pi * (corner + 0.5) / section
                x, y = _rounded(math.cos(turn), power), _rounded(math.sin(turn), power)
                place = centre + outward * (radius + half[0] * x) + axis * (half[1] * y)
                loop.append(self._point(place, {bone: 1.0}))
            loops.append(loop)
        for side, loop in enumerate(loops):
            following = loops[(side + 1) % sides]
            for corner in range(section):
                after = (corner + 1) % section
                self._face((loop[corner], following[corner], following[after], loop[after]), paint)

    def egg(
        self,
        centre: Vector,
        half: Sequence[float],
        bone: str,
        paint: str,
        turn: Matrix | None = None,
        power: float = 2.0,
        sides: int = 12,
        rings: int = 8,
        shape: Callable[[Vector], Vector] | None = None,
    ) -> None:
        """Add an ellipsoid; a higher power squares it, `shape` bends its unit form."""
        turn = turn or Matrix.Identity(3)
        size = Vector(half)

        def place(x: float, y: float, z: float) -> int:
            unit = Vector((_rounded(x, power), _rounded(y, power), _rounded(z, power)))
            if shape:
                unit = shape(unit)
            return self._point(centre + turn @ (unit * size), {bone: 1.0})

        low = place(0.0, 0.0, -1.0)
        rows = []
        for ring in range(1, rings):
            latitude = math.pi * ring / rings - math.pi / 2.0
            wide, high = math.cos(latitude), math.sin(latitude)
            rows.append(
                [
                    place(wide * math.cos(angle), wide * math.sin(angle), high)
                    for angle in (2.0 * math.pi * side / sides for side in range(sides))
                ]
            )
        top = place(0.0, 0.0, 1.0)
        for side in range(sides):
            after = (side + 1) % sides
            self._face((low, rows[0][after], rows[0][side]), paint)
            for below, above in zip(rows, rows[1:], strict=False):
                self._face((below[side], below[after], above[after], above[side]), paint)
            self._face((rows[-1][side], rows[-1][after], top), paint)

    def box(
        self,
        centre: Vector,
        half: Sequence[float],
        bone: str,
        paint: str,
        turn: Matrix | None = None,
        chamfer: float = 0.006,
        taper: float = 1.0,
    ) -> None:
        """Add a box with chamfered edges; `taper` scales its top."""
        turn = turn or Matrix.Identity(3)
        size = Vector(half)
        chamfer = min(chamfer, 0.9 * min(half))
        corner: dict[tuple[int, int, int, int], int] = {}
        for x in (-1, 1):
            for y in (-1, 1):
                for z in (-1, 1):
                    for axis in range(3):
                        place = Vector((x, y, z)) * 1.0
                        for index in range(3):
                            inset = chamfer if index != axis else 0.0
                            place[index] *= size[index] - inset
                        if z > 0:
                            place.x, place.y = place.x * taper, place.y * taper
                        corner[x, y, z, axis] = self._point(centre + turn @ place, {bone: 1.0})
        for corners in _chamfered_faces():
            self._face([corner[name] for name in corners], paint, flat=True)

    def mirrored(self) -> Model:
        """Return the model's mirror image, with the bones of the other side."""
        image = Model()
        image.points = [Vector((-point.x, point.y, point.z)) for point in self.points]
        image.weights = [
            {other_side(bone): weight for bone, weight in weights.items()}
            for weights in self.weights
        ]
        image.faces = [face[::-1] for face in self.faces]
        image.paints, image.flat = list(self.paints), list(self.flat)
        return image

    def add(self, other: Model) -> None:
        """Append another model."""
        start = len(self.points)
        self.points += other.points
        self.weights += other.weights
        self.faces += [tuple(corner + start for corner in face) for face in other.faces]
        self.paints += other.paints
        self.flat += other.flat

    def to_object(self, name: str, materials: dict[str, bpy.types.Material]) -> bpy.types.Object:
        """Make the object, with one vertex group per bone named in the weights."""
        mesh = bpy.data.meshes.new(name)
        mesh.from_pydata([tuple(point) for point in self.points], [], self.faces)
        used = sorted(set(self.paints))
        for paint in used:
            mesh.materials.append(materials[paint])
        slots = {paint: slot for slot, paint in enumerate(used)}
        mesh.polygons.foreach_set("material_index", [slots[paint] for paint in self.paints])
        mesh.polygons.foreach_set("use_smooth", [not flat for flat in self.flat])
        mesh.update()
        made = bpy.data.objects.new(name, mesh)
        groups: dict[str, bpy.types.VertexGroup] = {}
        for index, weights in enumerate(self.weights):
            for bone, weight in weights.items():
                if bone and weight > 0.0:
                    if bone not in groups:
                        groups[bone] = made.vertex_groups.new(name=bone)
                    groups[bone].add((index,), weight, "REPLACE")
        return made


def blend(stops: Stops, s: float) -> Weights:
    """Return the bone weights at a place along a tube."""
    if s <= stops[0][0]:
        return {stops[0][1]: 1.0}
    for (low, bone), (high, following) in zip(stops, stops[1:], strict=False):
        if s <= high:
            share = (s - low) / (high - low)
            share = share * share * (3.0 - 2.0 * share)
            if bone == following:
                return {bone: 1.0}
            return {bone: 1.0 - share, following: share}
    return {stops[-1][1]: 1.0}


def _rounded(value: float, power: float) -> float:
    return math.copysign(abs(value) ** (2.0 / power), value)


def _refined(stations: Sequence[Station], per_span: int) -> Iterable[list[float]]:
    """Return stations with a smooth curve through them laid into steps."""
    rows = [list(station) + [0.0] * (5 - len(station)) for station in stations]
    for index in range(len(rows) - 1):
        p0, p1, p2, p3 = (rows[min(max(index + k, 0), len(rows) - 1)] for k in (-1, 0, 1, 2))
        for step in range(per_span):
            t = step / per_span
            yield [
                0.5
                * (
                    2.0 * b
                    + (c - a) * t
                    + (2.0 * a - 5.0 * b + 4.0 * c - d) * t * t
                    + (3.0 * b - a - 3.0 * c + d) * t**3
                )
                for a, b, c, d in zip(p0, p1, p2, p3, strict=True)
            ]
    yield rows[-1]


def _chamfered_faces() -> list[list[tuple[int, int, int, int]]]:
    """Return the faces of a chamfered box over corners named (x, y, z, axis of the face)."""
    faces = []
    loop = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    for axis in range(3):
        first, second = (axis + 1) % 3, (axis + 2) % 3
        for sign in (-1, 1):
            flat = []
            for a, b in loop:
                name = [0, 0, 0]
                name[axis], name[first], name[second] = sign, a, b
                flat.append((name[0], name[1], name[2], axis))
            faces.append(flat if sign > 0 else flat[::-1])
            for other in (-1, 1):
                # The bevel between this side and the next axis' side.
                edge = []
                for along in (-1, 1):
                    name = [0, 0, 0]
                    name[axis], name[first], name[second] = sign, other, along
                    edge.append((name[0], name[1], name[2]))
                low, high = edge
                strip = [(*low, axis), (*low, first), (*high, first), (*high, axis)]
                faces.append(strip if sign * other > 0 else strip[::-1])
    for x in (-1, 1):
        for y in (-1, 1):
            for z in (-1, 1):
                tip = [(x, y, z, axis) for axis in range(3)]
                faces.append(tip if x * y * z > 0 else tip[::-1])
    return faces
