# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Where the channels of an object or a bone come from, when only its own keys move it.

The direct route reads keys and does the rest in NumPy. It may be taken where nothing else has a
say: here that is found out, and the reason given where something has.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core_math import claim, run_steps
from .animation_data import (
    TRANSFORM_CHANNELS,
    list_drivers,
    list_playing_tracks,
    split_bone_path,
)
from .curve_reading import CurveGroup
from .curve_tables import PlayedCurves, list_runs

FloatArray = NDArray[np.float64]

MOST_KEYS = 1 << 14
"""Keys of curves that are followed together; those of most shots have fewer, all together."""


class NotDirectError(Exception):
    """The direct route does not apply; the message says what else has a say."""


@dataclass(frozen=True, slots=True)
class Source:
    """The one action that moves an ID, and the way from scene time to its own.

    Attributes
    ----------
    played : PlayedCurves
        Its curves that are not muted.
    to_time : callable
        From animation time to the curves' time.
    """

    played: PlayedCurves
    to_time: Callable[[FloatArray], FloatArray] = np.asarray


def find_source(owner: Any, played: PlayedCurves, first: float, last: float) -> Source:
    """Return what moves an ID over this stretch of animation time.

    Parameters
    ----------
    owner : bpy.types.ID
    played : PlayedCurves
        What plays on it.
    first, last : float

    Raises
    ------
    NotDirectError
        When more than one action is mixed, or a strip is bent in time.
    """
    data = owner.animation_data
    if data is None:
        return Source(played)
    if data.use_tweak_mode:
        raise NotDirectError("a strip of its NLA is being edited")
    tracks = [track for track in list_playing_tracks(data) if len(track.strips)]
    if not tracks:
        if len(data.nla_tracks) and data.action is not None:
            if data.action_blend_type != "REPLACE" or data.action_influence != 1.0:
                raise NotDirectError("its action is mixed in")
        return Source(played)
    strips = [strip for track in tracks for strip in track.strips]
    if data.action is not None or len(strips) > 1:
        raise NotDirectError("its NLA mixes several actions")
    return Source(played, _read_strip(strips[0], first, last))


def _read_strip(strip: Any, first: float, last: float) -> Callable[[FloatArray], FloatArray]:
    start, end = float(strip.frame_start), float(strip.frame_end)
    begin, finish = float(strip.action_frame_start), float(strip.action_frame_end)
    plain = (
        strip.type == "CLIP"
        and strip.action is not None
        and not strip.mute
        and strip.blend_type == "REPLACE"
        and not strip.use_animated_influence
        and not strip.use_animated_time
        and not strip.use_reverse
        and strip.scale == 1.0
        and strip.repeat == 1.0
        and strip.blend_in == 0.0
        and strip.blend_out == 0.0
        and not len(strip.modifiers)
    )
    if not plain:
        raise NotDirectError("its NLA strip is bent or faded")
    if (first < start or last > end) and strip.extrapolation != "HOLD":
        raise NotDirectError("its NLA strip does not cover all frames")

    def to_time(frames: FloatArray) -> FloatArray:
        return np.clip(np.asarray(frames) - start + begin, begin, finish)

    return to_time


class ChannelTable:
    """Channels of one ID's owners (its bones by name, itself under ""), all in one table.

    Parameters
    ----------
    rest : dict of (owner, channel) to its value where no key moves it
    source : Source

    Attributes
    ----------
    rows : dict of (owner, channel) to slice
        Where a channel's columns x, y, z (or w, x, y, z) lie in the table.
    """

    def __init__(self, rest: Mapping[tuple[str, str], Sequence[float]], source: Source) -> None:
        self._source, played = source, source.played
        self.rows: dict[tuple[str, str], slice] = {}
        count = 0
        for key, values in rest.items():
            self.rows[key] = slice(count, count + len(values))
            count += len(values)
        self._rest = np.array([value for values in rest.values() for value in values])
        self._groups: list[tuple[slice, CurveGroup]] | None = None
        found: list[tuple[str, int, int]] = []
        for owner in dict.fromkeys(owner for owner, _ in rest):
            for row in played.list_rows(owner):
                key = split_channel(played.paths[row])
                place = self.rows.get(key)
                if place is not None and place.start + played.indices[row] < place.stop:
                    found.append((key[1], place.start + played.indices[row], row))
        # Channel by channel: what is asked for together lies together.
        found.sort()
        self._keyed = [at for _, at, _ in found]
        self._curves = [row for _, _, row in found]
        if len(set(self._keyed)) < len(self._keyed):
            raise NotDirectError("a channel has two curves")
        self._place = np.full(count, -1)
        self._place[self._keyed] = np.arange(len(self._keyed))

    def iterate_reading(self) -> Generator[None, None, None]:
        """Read the curves' keys, a few curves at a time, with pauses.

        Done when they are needed: often those of a few bones are enough.
        """
        if self._groups is None:
            groups, played = [], self._source.played
            yield from played.iterate_keys()
            counts = played.keys.counts[self._curves].tolist()
            for some in list_runs(counts, MOST_KEYS):
                groups.append((some, CurveGroup(played, self._curves[some])))
                yield
            self._groups = groups

    def find_always(self, rows: NDArray[np.int64], value: float) -> NDArray[np.bool_]:
        """Say which rows of the table have one value that no key moves."""
        return np.asarray((self._rest[rows] == value) & (self._place[rows] < 0))

    def find_constant(self, owner: str, channel: str) -> FloatArray | None:
        """Return the values of a channel that no key moves, None where one does."""
        place = self.rows[owner, channel]
        if any(place.start <= row < place.stop for row in self._keyed):
            return None
        return self._rest[place]

    def evaluate(self, frames: FloatArray) -> FloatArray:
        """Return the table at rising frames of animation time, shape (channels, F)."""
        return self.pick(run_steps(self.iterate_keyed(frames)), np.arange(len(self._rest)))

    def iterate_keyed(self, frames: FloatArray) -> Generator[None, None, FloatArray]:
        """Return what the curves show at rising frames, shape (curves, F), with pauses."""
        yield from self.iterate_reading()
        values = yield from claim(len(self._keyed), len(frames))
        times = self._source.to_time(frames)
        for some, group in self._groups or ():
            values[some] = yield from group.iterate_values(times)
            yield
        return values

    def pick(self, values: FloatArray, rows: NDArray[np.int64]) -> FloatArray:
        """Return rows of the table, (..., F), given what the curves show, (curves, F)."""
        place = self._place[rows]
        if (seen := _find_view(values, place)) is not None:
            return seen
        keyed = place >= 0
        if keyed.all():
            return values[place]
        picked = np.empty((*rows.shape, values.shape[-1]))
        picked[:] = self._rest[rows][..., np.newaxis]
        picked[keyed] = values[place[keyed]]
        return picked


def _find_view(values: FloatArray, place: NDArray[np.int64]) -> FloatArray | None:
    """Return rows of an array that lie one after the other, or one beside the other, uncopied."""
    if not place.size or place.min() < 0:
        return None
    order, first = place.T.ravel(), int(place.min())
    if not np.array_equal(order, np.arange(first, first + place.size)):
        return None
    shown = values[first : first + place.size].reshape(*place.T.shape, -1)
    return shown.swapaxes(0, 1) if place.ndim == 2 else shown


def split_channel(path: str) -> tuple[str, str]:
    """Return owner and channel of a data path; the owner of an object's own channel is ""."""
    split = split_bone_path(path)
    return split if split is not None else ("", path)


def choose_rotation(mode: str) -> str:
    """Return the channel that turns something in a rotation mode."""
    return {
        "QUATERNION": "rotation_quaternion",
        "AXIS_ANGLE": "rotation_axis_angle",
    }.get(mode, "rotation_euler")


def refuse_foreign_drivers(owner: Any, bones: Iterable[str]) -> None:
    """Raise NotDirectError when a driver moves the object or one of the bones."""
    names = set(bones)
    for curve in list_drivers(owner):
        bone, channel = split_channel(curve.data_path)
        if bone in names or (bone == "" and channel in (*TRANSFORM_CHANNELS, "rotation_mode")):
            raise NotDirectError(f"a driver moves {bone or owner.name}")


def refuse_constraints(constraints: Iterable[Any], name: str) -> None:
    """Raise NotDirectError when a constraint that is not muted has a say."""
    for constraint in constraints:
        if not constraint.mute:
            raise NotDirectError(f"constraint {constraint.name!r} on {name}")


def refuse_keyed_rules(played: PlayedCurves, names: Iterable[str]) -> None:
    """Raise NotDirectError when keys change the rules themselves: rotation mode, constraints."""
    for name in names:
        for row in played.list_rows(name):
            _, channel = split_channel(played.paths[row])
            if channel == "rotation_mode" or channel.startswith("constraints["):
                raise NotDirectError(f"keys change {channel.split('[')[0]} of "
                                     f"{name or 'the object'}")  # fmt: skip


def is_plain_parent(entry: bpy.types.Object) -> bool:
    """Say whether the object follows its parent's transform and nothing finer."""
    return entry.parent is None or (entry.parent_type == "OBJECT" and entry.parent.type != "CURVE")
