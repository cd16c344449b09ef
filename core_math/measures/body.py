# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The body as a yardstick and as a frame of reference, read off joint positions only.

Never from the rest pose: many rigs rest in no stance at all, so only distances between joints
and directions measured in the animation itself can be trusted.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
from numpy.typing import NDArray

from . import geometry, series

FloatArray = NDArray[np.float64]

ANKLE_HEIGHT_SHARE = 0.039
"""Height of the ankle over the sole as a share of stature (Drillis & Contini 1966)."""

_SHARES: tuple[tuple[tuple[str, ...], float], ...] = (
    # Length of a chain as a share of stature, Drillis & Contini 1966: thigh .245, shank .246,
    # upper arm .186, forearm .146. Used only when the chain from head to sole is not whole.
    (("thigh", "shin"), 0.491),
    (("upper_arm", "forearm"), 0.332),
)


def typical_distance(one: FloatArray, other: FloatArray) -> float:
    """Return the median distance between two moving points, shapes (F, 3), metres."""
    return series.find_median(geometry.lengths(one - other)) if len(one) else 0.0


def measure_height(heads: Mapping[str, FloatArray], tails: Mapping[str, FloatArray]) -> float:
    """Return the body height H: bone lengths from the crown to the sole, along the chain.

    Parameters
    ----------
    heads, tails : mapping of part to ndarray, shape (F, 3), metres
        Positions of each part's joint and of its end.

    Returns
    -------
    float
        Metres. When the chain has gaps it is estimated from the limbs that are there; 0 when no
        part of the chain is there.
    """
    joints = [name for name in _spine_chain(heads) if name in heads]
    leg = next((s for s in (".L", ".R") if f"thigh{s}" in heads and f"shin{s}" in heads), None)
    if leg and "hips" in heads and "head" in heads:
        total = typical_distance(heads["head"], tails["head"])
        for upper, lower in zip(joints, joints[1:], strict=False):
            total += typical_distance(heads[upper], heads[lower])
        hip = (
            0.5 * (heads["thigh.L"] + heads["thigh.R"])
            if "thigh.L" in heads and "thigh.R" in heads
            else heads[f"thigh{leg}"]
        )
        total += typical_distance(heads["hips"], hip)
        total += _limb_length(heads, tails, "thigh", "shin", leg)
        return total / (1.0 - ANKLE_HEIGHT_SHARE)
    for (upper, lower), share in _SHARES:
        for side in (".L", ".R"):
            if f"{upper}{side}" in heads and f"{lower}{side}" in heads:
                return _limb_length(heads, tails, upper, lower, side) / share
    return 0.0


def body_axes(heads: Mapping[str, FloatArray]) -> FloatArray | None:
    """Return the body's own axes per frame: to its left, forward, up.

    Left is from the right hip (or shoulder) to the left one, up is from the hips to the neck made
    square to it, forward is left x up. Mirroring the body turns the sign of the first row only.

    Returns
    -------
    ndarray, shape (F, 3, 3), rows left, forward, up; None when the joints for it are missing.
    """
    used = choose_axis_parts(heads)
    if not used:
        return None
    left_joint, right_joint, top = (heads[part] for part in used[:3])
    base = heads[used[3]] if len(used) > 3 else 0.5 * (left_joint + right_joint)
    left = _unit(left_joint - right_joint)
    rise = top - base
    up = _unit(rise - np.sum(rise * left, axis=-1, keepdims=True) * left)
    forward = geometry.cross(left, up)
    return np.stack((left, forward, up), axis=-2)


def choose_axis_parts(parts: Collection[str]) -> tuple[str, ...]:
    """Return the parts whose joints give the body's axes: left, right, top and the hips, if any.

    Empty when there are too few.
    """
    pairs = (("thigh.L", "thigh.R"), ("upper_arm.L", "upper_arm.R"), ("shoulder.L", "shoulder.R"))
    pair = next((p for p in pairs if p[0] in parts and p[1] in parts), None)
    top = next((name for name in ("neck", "head", "chest") if name in parts), None)
    if pair is None or top is None:
        return ()
    return (*pair, top, *(("hips",) if "hips" in parts else ()))


def _spine_chain(heads: Mapping[str, FloatArray]) -> list[str]:
    """Return the names from head down to hips, further joints of a part included, in order."""
    chain: list[str] = []
    for base in ("hips", "spine", "chest", "neck"):
        further = sorted(
            (name for name in heads if name.startswith(f"{base}/")),
            key=lambda name: int(name.split("/")[1]),
        )
        chain += [base, *further]
    chain.append("head")
    return chain[::-1]


def _limb_length(
    heads: Mapping[str, FloatArray],
    tails: Mapping[str, FloatArray],
    upper: str,
    lower: str,
    side: str,
) -> float:
    end = {"shin": "foot", "forearm": "hand"}[lower] + side
    tip = heads.get(end, tails[f"{lower}{side}"])
    return typical_distance(heads[f"{upper}{side}"], heads[f"{lower}{side}"]) + typical_distance(
        heads[f"{lower}{side}"], tip
    )


def _unit(vectors: FloatArray) -> FloatArray:
    length = geometry.lengths(vectors)[..., np.newaxis]
    return vectors / np.where(length > 1e-12, length, 1.0)
