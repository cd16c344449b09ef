# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Key frames: tables of Bezier keys in memory, and their way into a Blender action.

A performance is kept as plain tables until the very end, so that a take can be
edited (a key moved, a curve copied from left to right) before Blender sees it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import bpy

FLOWING = "AUTO"
"""Handles that run on through the key: breakdowns, arcs."""
SETTLING = "AUTO_CLAMPED"
"""Handles that lie flat at an extreme: poses, plants, holds."""
STRAIGHT = "VECTOR"
"""Handles that point at the neighbour: free flight."""


@dataclass(frozen=True)
class Key:
    """One key: its value, the kind of its handles, and slopes where they are set by hand.

    Slopes are in value per frame, before and after the key; None leaves that side to `kind`.
    """

    value: float
    kind: str = SETTLING
    slope_before: float | None = None
    slope_after: float | None = None


Curve = dict[float, Key]
"""The keys of one channel by frame."""


class Tracks:
    """The curves of one animated object, by bone ("" for the object itself), channel and index."""

    def __init__(self) -> None:
        self.curves: dict[tuple[str, str, int], Curve] = {}

    def curve(self, bone: str, channel: str, index: int) -> Curve:
        """Return the curve's keys, an empty table of them if it has none yet."""
        return self.curves.setdefault((bone, channel, index), {})

    def key(
        self, bone: str, channel: str, index: int, frame: float, value: float, kind: str = SETTLING
    ) -> None:
        """Set one key; an earlier key on the same frame is replaced."""
        self.curve(bone, channel, index)[frame] = Key(value, kind)

    def key_vector(
        self, bone: str, channel: str, frame: float, values: Any, kind: str = SETTLING
    ) -> None:
        """Set one key on every index of a channel; `values` is any vector or row of numbers."""
        for index, value in enumerate(values):
            self.key(bone, channel, index, frame, value, kind)

    def of_bone(self, bone: str) -> dict[tuple[str, str, int], Curve]:
        """Return the curves of one bone."""
        return {name: curve for name, curve in self.curves.items() if name[0] == bone}

    def clear_span(self, bone: str, first: float, last: float, channel: str | None = None) -> None:
        """Take out the bone's keys from `first` to `last`, both included."""
        for (_, name, _), curve in self.of_bone(bone).items():
            if channel is None or name == channel:
                for frame in [frame for frame in curve if first <= frame <= last]:
                    del curve[frame]

    def scale_span(
        self, bone: str, channel: str, index: int, first: float, last: float, factor: float
    ) -> None:
        """Multiply the values of the keys from `first` to `last` by `factor`."""
        curve = self.curve(bone, channel, index)
        for frame in curve:
            if first <= frame <= last:
                curve[frame] = replace(curve[frame], value=curve[frame].value * factor)

    def write(self, owner: bpy.types.Object) -> None:
        """Make the object's action (or add to it) from these tables."""
        for (bone, channel, index), curve in self.curves.items():
            if curve:
                path = f'pose.bones["{bone}"].{channel}' if bone else channel
                write_curve(owner, path, index, curve)


def ensure_curve(owner: Any, path: str, index: int) -> bpy.types.FCurve:
    """Find or make one F-curve of an ID's action, in the old list of curves or in the layers."""
    data = owner.animation_data_create()
    if data.action is None:
        data.action = bpy.data.actions.new(owner.name)
    action = data.action
    if hasattr(action, "fcurve_ensure_for_datablock"):
        return action.fcurve_ensure_for_datablock(owner, path, index=index)
    return action.fcurves.find(path, index=index) or action.fcurves.new(path, index=index)


def write_curve(owner: Any, path: str, index: int, curve: Curve) -> None:
    """Write the keys of one channel, replacing those that were there."""
    fcurve = ensure_curve(owner, path, index)
    fcurve.auto_smoothing = "CONT_ACCEL"
    points = fcurve.keyframe_points
    while points:
        points.remove(points[-1], fast=True)
    frames = sorted(curve)
    points.add(len(frames))
    points.foreach_set("co", [part for frame in frames for part in (frame, curve[frame].value)])
    for point, frame in zip(points, frames, strict=True):
        key = curve[frame]
        point.interpolation = "BEZIER"
        point.handle_left_type = point.handle_right_type = key.kind
    fcurve.update()
    for before, frame in enumerate(frames, start=-1):
        key = curve[frame]
        if key.slope_before is None and key.slope_after is None:
            continue
        point = points[before + 1]
        point.handle_left_type = point.handle_right_type = "FREE"
        if key.slope_before is not None and before >= 0:
            reach = (frame - frames[before]) / 3.0
            point.handle_left = (frame - reach, key.value - reach * key.slope_before)
        if key.slope_after is not None and before + 2 < len(frames):
            reach = (frames[before + 2] - frame) / 3.0
            point.handle_right = (frame + reach, key.value + reach * key.slope_after)
    fcurve.update()
