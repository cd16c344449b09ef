# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Curves, their modifiers and the NLA's strips as plain values that can be kept and compared."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from .curve_tables import PlayedCurves, read_keys_of
from .plain_values import Values, read_settings
from .surroundings import CurveStates

_STRIP_MOVED = ("influence", "strip_time")


def describe_animation(owner: Any) -> Iterator[Any]:
    """Yield how an ID's action and strips are mixed; `read_states` tells what they play."""
    data = owner.animation_data
    if data is None:
        return
    yield data.use_nla, data.use_tweak_mode, data.action_blend_type, data.action_influence
    yield data.action_extrapolation, data.action is not None
    for track in data.nla_tracks:
        yield track.mute, track.is_solo
        for strip in track.strips:
            yield from _describe_strip(strip)


def _describe_strip(strip: Any) -> Iterator[Any]:
    yield read_settings(strip, _STRIP_MOVED)
    yield from map(read_modifier, strip.modifiers)
    yield from map(read_curve, strip.fcurves)
    for inner in strip.strips:
        yield from _describe_strip(inner)


def read_states(played: PlayedCurves) -> CurveStates:
    """Return what the curves of an ID play."""
    seen: dict[tuple[str, int], int] = {}
    places: list[tuple[str, int, int]] = []
    rules: list[Values] = []
    for path, index, entry in zip(played.paths, played.indices, played.played, strict=True):
        place = (path, index)
        seen[place] = seen.get(place, 0) + 1
        places.append((*place, seen[place]))
        rules.append(read_rules(entry.curve, entry.is_shifted))
    return CurveStates(tuple(places), rules, played.keys)


def read_rules(curve: Any, shifted: bool = False) -> Values:
    """Return what a curve plays by beside its keys: see `CurveStates`."""
    modifiers, samples, baked = curve.modifiers, curve.sampled_points, b""
    settings = tuple(map(read_modifier, modifiers)) if len(modifiers) else ()
    if len(samples):
        values = np.empty(2 * len(samples), np.float32)
        samples.foreach_get("co", values)
        baked = values.tobytes()
    return (curve.extrapolation, shifted, settings, baked)


def read_modifier(modifier: Any) -> Values:
    """Return all about a modifier of a curve, or of a strip."""
    points: Values = ()
    if modifier.type == "ENVELOPE":
        points = tuple((point.frame, point.min, point.max) for point in modifier.control_points)
    return (modifier.type, *read_settings(modifier), points)


def read_curve(curve: Any) -> Values:
    """Return all about a curve that plays by another clock than the scene's."""
    keys = read_keys_of([curve]).show_keys().tobytes() if len(curve.keyframe_points) else b""
    return (curve.data_path, curve.array_index, curve.mute, read_rules(curve, True), keys)
