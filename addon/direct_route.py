# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The direct route: keys to curves to forward kinematics, all frames at once, no frame stepped.

Applies where nothing but its own keys moves the object, its parents and the mapped bones with all
bones above them. What else has a say is named in NotDirectError, and the exact route is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Generator, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core_math import (
    BoneTree,
    chain_transforms,
    compose,
    find_second_axis,
    has_even_scale,
    list_with_ancestors,
    pose_bones,
    rotation_to_matrix,
    rotation_to_quaternion,
    split_transforms,
    turn_bones,
)
from .dependency_cycles import list_chain
from .direct_sources import (
    ChannelTable,
    NotDirectError,
    choose_rotation,
    find_source,
    is_plain_parent,
    refuse_constraints,
    refuse_foreign_drivers,
    refuse_keyed_rules,
)
from .plain_values import read_column
from .source_reading import SourceReader

__all__ = ["DirectArmature", "DirectObject", "NotDirectError"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_OBJECT = ""


class DirectObject:
    """An object that its own keys and those of its plain parents move.

    Parameters
    ----------
    owner : bpy.types.Object
    first, last : float
        The stretch of animation time to be read.
    reader : SourceReader
        Of the sampling that is under way.

    Raises
    ------
    NotDirectError
    """

    def __init__(
        self, owner: bpy.types.Object, first: float, last: float, reader: SourceReader
    ) -> None:
        self.owner = owner
        _refuse_object(owner, reader)
        played = reader.read_curves(owner)
        source = find_source(owner, played, first, last)
        refuse_foreign_drivers(owner, ())
        refuse_keyed_rules(played, (_OBJECT,))
        self._parent = DirectObject(owner.parent, first, last, reader) if owner.parent else None
        self._to_parent = np.array(owner.matrix_parent_inverse)[:3, :, np.newaxis]
        self._mode = owner.rotation_mode
        self.rotation_channel = choose_rotation(self._mode)
        names = ["location", self.rotation_channel, "scale", "delta_location", "delta_scale"]
        self._delta = self.rotation_channel.replace("rotation", "delta_rotation")
        if self._mode != "AXIS_ANGLE":
            names.append(self._delta)
        self._table = ChannelTable(
            {(_OBJECT, name): tuple(getattr(owner, name)) for name in names},
            source,
        )

    @property
    def scales_evenly(self) -> bool:
        """Whether it has one scale along all axes, the same at all times, as have its parents."""
        own = self._table.find_constant(_OBJECT, "scale")
        delta = self._table.find_constant(_OBJECT, "delta_scale")
        if own is None or delta is None:
            return False
        x, y, z = own * delta
        if not (x == y == z and x > 0.0):
            return False
        return self._parent is None or (
            has_even_scale(self._to_parent[..., 0]) and self._parent.scales_evenly
        )

    def evaluate(self, frames: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return world transforms, (3, 4, F), and the raw rotation channel, (3, F) or (4, F)."""
        table = self._table.evaluate(frames)

        def channel(name: str) -> FloatArray:
            return table[self._table.rows[_OBJECT, name]]

        raw = channel(self.rotation_channel)
        turned = rotation_to_matrix(raw, self._mode)
        if self._mode != "AXIS_ANGLE":
            delta = rotation_to_matrix(channel(self._delta), self._mode)
            turned = np.einsum("ijf,jkf->ikf", delta, turned)
        world = compose(
            channel("location") + channel("delta_location"),
            turned,
            channel("scale") * channel("delta_scale"),
        )
        if self._parent is not None:
            above, _ = self._parent.evaluate(frames)
            world = chain_transforms(above, chain_transforms(self._to_parent, world))
        return world, raw


@dataclass(frozen=True, eq=False, slots=True)
class Posed:
    """Bones in the world.

    Attributes
    ----------
    heads : ndarray, shape (3, P, F)
    turned : ndarray, shape (4, P, F)
        Quaternions w, x, y, z of any sign; all zero where something is scaled to nothing.
    along : ndarray, shape (3, P, F)
        From the head to the tail of a bone that is 1 long at rest.
    """

    heads: FloatArray
    turned: FloatArray
    along: FloatArray


class DirectArmature:
    """An armature whose mapped bones, and all above them, only their own keys move.

    Parameters
    ----------
    owner : bpy.types.Object
    bones : sequence of str
        The bones that are wanted.
    turning : collection of str
        Bones whose raw rotations are wanted.
    first, last : float
        The stretch of animation time to be read.
    reader : SourceReader
        Of the sampling that is under way.

    Raises
    ------
    NotDirectError
    """

    def __init__(
        self,
        owner: bpy.types.Object,
        bones: Sequence[str],
        turning: Collection[str],
        first: float,
        last: float,
        reader: SourceReader,
    ) -> None:
        self._object = DirectObject(owner, first, last, reader)
        played = reader.read_curves(owner)
        source = find_source(owner, played, first, last)
        data: Any = owner.data
        every = data.bones
        hangs_from = reader.read_parents(data)
        names = list(hangs_from)
        number = {name: row for row, name in enumerate(names)}
        parents = [number[above] if above else -1 for above in hangs_from.values()]
        wanted = [number[name] for name in bones]
        self._rows = list_with_ancestors(parents, [*wanted, *(number[name] for name in turning)])
        self._names = [names[row] for row in self._rows]
        self._refuse(owner, set(self._names), reader)
        place = {row: column for column, row in enumerate(self._rows)}
        chosen = [place[row] for row in wanted]
        # None where these are all bones in their very order: nothing needs to be picked out.
        self._wanted = None if chosen == list(range(len(self._rows))) else np.array(chosen)
        above = [place.get(parents[row], -1) for row in self._rows]
        self._tree = _read_tree(every, self._rows, above)
        rest = self._read_rest(owner)
        self._table = ChannelTable(rest, source)
        self._location_rows = self._list_rows(self._names, "location")
        self._scale_rows = self._list_rows(self._names, "scale")
        moving = np.flatnonzero(~self._table.find_always(self._location_rows, 0.0).all(axis=0))
        self._moving = moving, self._location_rows[:, moving]
        self._groups = []
        for mode in sorted(set(self.modes.values())):
            members = [row for row, name in enumerate(self._names) if self.modes[name] == mode]
            turned = [self._names[row] for row in members]
            rows = self._list_rows(turned, choose_rotation(mode))
            self._groups.append((mode, members, rows))

    def _read_rest(self, owner: bpy.types.Object) -> dict[tuple[str, str], Sequence[float]]:
        """Return the values of the bones' channels where no key moves them."""
        posed: Any = owner.pose.bones
        self.modes = {name: posed[name].rotation_mode for name in self._names}
        self._channels = {name: choose_rotation(mode) for name, mode in self.modes.items()}
        rows = {name: row for row, name in enumerate(posed.keys())}
        used = {"location", "scale", *self._channels.values()}
        columns = {channel: read_column(posed, channel).tolist() for channel in used}
        return {
            (name, channel): columns[channel][rows[name]]
            for name in self._names
            for channel in ("location", self._channels[name], "scale")
        }

    def _list_rows(self, names: Sequence[str], channel: str) -> IntArray:
        places = [self._table.rows[name, channel] for name in names]
        return np.array([range(place.start, place.stop) for place in places]).T

    def iterate_reading(self) -> Generator[None, None, None]:
        """Read the keys, with pauses; `evaluate` reads them where nobody did."""
        yield from self._table.iterate_reading()

    def place(self, frames: FloatArray) -> FloatArray:
        """Return where the armature is in the world at frames of animation time, (3, 4, F)."""
        return self._object.evaluate(frames)[0]

    @property
    def is_rigid(self) -> bool:
        """Whether no bone is scaled, nor takes over anything but its parent's transform."""
        if not self._tree.plain.all():
            return False
        return bool(self._table.find_always(self._scale_rows, 1.0).all())

    @property
    def scales_evenly(self) -> bool:
        """Whether what carries the bones has one scale along all axes, at all times."""
        return self._object.scales_evenly

    def iterate_keyed(self, frames: FloatArray) -> Generator[None, None, FloatArray]:
        """Return what the curves show at frames of animation time, (curves, F), with pauses."""
        return (yield from self._table.iterate_keyed(frames))

    def pose(
        self,
        keyed: FloatArray,
        world: FloatArray,
        rigid: bool = False,
        into: tuple[FloatArray, FloatArray] | None = None,
    ) -> Posed:
        """Return where the wanted bones are.

        Parameters
        ----------
        keyed : ndarray, shape (curves, F)
            What the curves show.
        world : ndarray, shape (3, 4, F)
            Where the armature is.
        rigid : bool
            Pose the bones by quaternions: only where `is_rigid`, and where all that carries them
            `scales_evenly`.
        into : heads and rotations, optional
            Arrays that may take the result: it lies there where `Posed` holds these very arrays.
        """
        if not rigid:
            posed = self._pose(keyed, world)
            heads, turned = split_transforms(posed)
            return Posed(heads, turned, posed[:, 1])
        scale = np.sqrt(np.sum(world[:, 0] ** 2, axis=0))
        own = self._turn(rotation_to_quaternion, (4,), keyed)
        moving, rows = self._moving
        moved = self._table.pick(keyed, rows)
        into = into if self._wanted is None else None
        heads, turned = turn_bones(self._tree, own, moving, moved, world, scale, into)
        if self._wanted is not None:
            heads, turned = heads[:, self._wanted], turned[:, self._wanted]
        along = find_second_axis(turned)
        if np.any(scale != 1.0):
            along *= scale
        return Posed(heads, turned, along)

    def _pose(self, keyed: FloatArray, world: FloatArray) -> FloatArray:
        """Return the wanted bones as transforms in the world, (3, 4, P, F)."""
        turned = self._turn(rotation_to_matrix, (3, 3), keyed)
        moved, scaled = (
            self._table.pick(keyed, rows) for rows in (self._location_rows, self._scale_rows)
        )
        basis = compose(moved, turned, scaled)
        posed = pose_bones(self._tree, basis, world)
        return posed if self._wanted is None else posed[:, :, self._wanted]

    def _turn(
        self,
        turn: Callable[[FloatArray, str], FloatArray],
        shape: tuple[int, ...],
        keyed: FloatArray,
    ) -> FloatArray:
        """Return the bones' own rotations, whatever their rotation modes."""
        if len(self._groups) == 1:
            mode, _, rows = self._groups[0]
            return turn(self._table.pick(keyed, rows), mode)
        turned = np.empty((*shape, len(self._names), keyed.shape[1]))
        for mode, members, rows in self._groups:
            turned[..., members, :] = turn(self._table.pick(keyed, rows), mode)
        return turned

    def list_rotation_rows(self, bones: Iterable[str]) -> IntArray:
        """Return the rows of the table that are these bones' raw rotation channels, in order."""
        places = [self._table.rows[bone, self._channels[bone]] for bone in bones]
        rows = [row for place in places for row in range(place.start, place.stop)]
        return np.array(rows, dtype=np.int64)

    def pick(self, keyed: FloatArray, rows: IntArray) -> FloatArray:
        """Return rows of the table, (R, F), given what the curves show, (curves, F)."""
        return self._table.pick(keyed, rows)

    def _refuse(self, owner: bpy.types.Object, needed: set[str], reader: SourceReader) -> None:
        """Raise NotDirectError for everything else that moves these bones."""
        data: Any = owner.data
        refuse_foreign_drivers(owner, needed)
        refuse_keyed_rules(reader.read_curves(owner), needed)
        moved_data = data.animation_data
        if moved_data is not None and (
            moved_data.action is not None
            or len(moved_data.nla_tracks)
            or any(curve.data_path.startswith("bones[") for curve in moved_data.drivers)
        ):
            raise NotDirectError("its armature data is animated")
        for held in reader.read_constraints(owner):
            if held.mute or not held.bone:
                continue
            chain = held.kind in ("IK", "SPLINE_IK")
            if held.bone in needed or (chain and needed.intersection(list_chain(owner, held))):
                raise NotDirectError(f"constraint {held.name!r} on {held.bone}")


def _refuse_object(owner: bpy.types.Object, reader: SourceReader) -> None:
    refuse_constraints(owner.constraints, owner.name)
    if not is_plain_parent(owner):
        raise NotDirectError(f"{owner.name} is parented to more than an object's transform")
    if owner.rigid_body is not None:
        raise NotDirectError(f"{owner.name} is a rigid body")
    if reader.read_curves(owner).hides:
        raise NotDirectError(f"keys hide {owner.name}")


def _read_tree(every: Any, rows: Sequence[int], parents: Sequence[int]) -> BoneTree:
    count = len(every)
    rest = np.empty(16 * count, dtype=np.float32)
    every.foreach_get("matrix_local", rest)
    flags = np.empty((3, count), dtype=np.bool_)
    for row, name in enumerate(("use_inherit_rotation", "use_local_location", "use_connect")):
        every.foreach_get(name, flags[row])
    scales = np.empty(count, dtype=np.int32)
    every.foreach_get("inherit_scale", scales)
    chosen = list(rows)
    matrices = rest.reshape(count, 4, 4).transpose(0, 2, 1).astype(np.float64)
    return BoneTree(
        parents=np.array(parents),
        rest=matrices[chosen],
        inherit_rotation=flags[0][chosen],
        inherit_scale=scales[chosen].astype(np.int64),
        local_location=flags[1][chosen],
        connected=flags[2][chosen],
    )
