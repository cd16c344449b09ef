# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The curves that move an ID: its action, its NLA strips, its drivers, and when their keys fall."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import compat

FloatArray = NDArray[np.float64]

_BONE_PATH = re.compile(r'^pose\.bones\["((?:[^"\\]|\\.)*)"\]\.?(.*)$', re.DOTALL)

TRANSFORM_CHANNELS = (
    "location",
    "rotation_euler",
    "rotation_quaternion",
    "rotation_axis_angle",
    "scale",
    "delta_location",
    "delta_rotation_euler",
    "delta_rotation_quaternion",
    "delta_scale",
)


@dataclass(frozen=True, slots=True)
class PlayedCurve:
    """An F-curve and the way from its own time to frames of animation time."""

    curve: Any
    to_frames: Callable[[FloatArray], FloatArray]
    is_shifted: bool = False


@lru_cache(maxsize=1 << 14)
def split_bone_path(path: str) -> tuple[str, str] | None:
    """Split a data path into bone and channel; None when it is not that of a pose bone."""
    match = _BONE_PATH.match(path)
    if match is None:
        return None
    return bpy.utils.unescape_identifier(match.group(1)), match.group(2)


def list_played_curves(owner: Any) -> list[PlayedCurve]:
    """Return all curves that play on an ID, those of its NLA strips included."""
    data = getattr(owner, "animation_data", None)
    if data is None:
        return []
    tracks = list_playing_tracks(data)
    played: list[PlayedCurve] = []
    if not data.use_tweak_mode and not any(track.is_solo for track in tracks):
        played += [PlayedCurve(curve, _unchanged) for curve in compat.list_assigned_curves(data)]
    for track in tracks:
        for strip in track.strips:
            played += _list_strip_curves(strip)
    return [entry for entry in played if not compat.is_muted(entry.curve)]


def list_drivers(owner: Any) -> list[Any]:
    """Return the drivers of an ID that are not muted."""
    data = getattr(owner, "animation_data", None)
    return [curve for curve in data.drivers if not curve.mute] if data is not None else []


def moves_over_time(curve: Any) -> bool:
    """Say whether the value of a curve ever changes: two keys that differ, or a modifier."""
    if any(not modifier.mute and modifier.type != "LIMITS" for modifier in curve.modifiers):
        return True
    if len(curve.sampled_points):
        values = np.empty(2 * len(curve.sampled_points), dtype=np.float32)
        curve.sampled_points.foreach_get("co", values)
        return bool(np.ptp(values[1::2]) > 0.0)
    if len(curve.keyframe_points) < 2:
        return False
    _, values = read_keys(curve)
    if not np.isfinite(values).all() or float(np.ptp(values)) > 0.0:
        return True
    handles = np.empty(2 * len(values), dtype=np.float32)
    for side in ("handle_left", "handle_right"):
        curve.keyframe_points.foreach_get(side, handles)
        if float(np.ptp(np.append(handles[1::2], values[0]))) > 0.0:
            return True
    return False


def read_keys(curve: Any) -> tuple[FloatArray, FloatArray]:
    """Return times and values of a curve's keys, each of shape (K,)."""
    buffer = np.empty(2 * len(curve.keyframe_points), dtype=np.float32)
    curve.keyframe_points.foreach_get("co", buffer)
    pairs = buffer.reshape(-1, 2).astype(np.float64)
    return pairs[:, 0], pairs[:, 1]


def frame_factor(scene: bpy.types.Scene) -> float:
    """Return how much animation time passes per frame of the scene (its time remapping)."""
    return float(scene.render.frame_map_old) / float(scene.render.frame_map_new)


def _unchanged(times: FloatArray) -> FloatArray:
    return times


def list_playing_tracks(data: Any) -> list[Any]:
    """Return the tracks of an ID's NLA that play: the one that does so alone, or all not muted."""
    solo = [track for track in data.nla_tracks if track.is_solo]
    return solo or [track for track in data.nla_tracks if not track.mute]


def _list_strip_curves(strip: Any) -> Iterator[PlayedCurve]:
    if strip.mute:
        return
    if strip.type == "META":
        for inner in strip.strips:
            yield from _list_strip_curves(inner)
        return
    if strip.type != "CLIP" or strip.action is None:
        return
    place = _place_strip(strip)
    for curve in compat.list_strip_curves(strip):
        yield PlayedCurve(curve, place, is_shifted=True)


def _place_strip(strip: Any) -> Callable[[FloatArray], FloatArray]:
    """Return the way from a strip's action time to frames, its repeats included."""
    first, last = float(strip.action_frame_start), float(strip.action_frame_end)
    start, end, scale = float(strip.frame_start), float(strip.frame_end), float(strip.scale)
    backwards = bool(strip.use_reverse)
    animated_time = bool(strip.use_animated_time)
    rounds = max(1, math.ceil(float(strip.repeat) - 1e-6))

    def to_frames(times: FloatArray) -> FloatArray:
        if animated_time:
            # When each key plays is itself animated: there is no fixed frame to name.
            return np.full(len(times), np.nan)
        within = (last - times) if backwards else (times - first)
        outside = (times < first - 1e-4) | (times > last + 1e-4)
        within = np.where(outside, np.nan, within)
        frames = start + scale * (within + (last - first) * np.arange(rounds)[:, np.newaxis])
        return np.where(frames > end + 1e-4, np.nan, frames).ravel()

    return to_frames


def is_hidden_by_keys(owner: Any) -> bool:
    """Say whether curves or a driver hide the object from the viewport for a while."""
    paths = [played.curve.data_path for played in list_played_curves(owner)]
    paths += [curve.data_path for curve in list_drivers(owner)]
    return "hide_viewport" in paths
