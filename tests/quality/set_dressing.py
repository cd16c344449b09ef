# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A set of boxes around a body, looked at from the shot camera by geometry alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fettle.core_math.motion import Motion, Staging


def dress(motion: Motion, lows: np.ndarray, highs: np.ndarray, step: int = 1) -> Motion:
    """Return the motion with boxes around it, and what of the body they hide.

    Parameters
    ----------
    motion : Motion
        With a shot camera.
    lows, highs : ndarray, shape (F, K, 3) or (K, 3), metres
        Corners of boxes that lie along the axes.
    step : int
        Frames from one look to the next.
    """
    camera, count = motion.camera, motion.frame_count
    boxes = lows.shape[-2]
    lows, highs = (np.broadcast_to(side, (count, boxes, 3)) for side in (lows, highs))
    rows = np.arange(0, count, step)
    low, high = lows[rows], highs[rows]
    points = np.concatenate((motion.heads, 0.5 * (motion.heads + motion.tails)), axis=1)[rows]
    looking = camera.slice(0, count, step)
    eye = looking.positions[:, None, None]
    way = points[:, :, None] - eye
    way = np.where(np.abs(way) < 1e-12, 1e-12, way)
    one, other = (low[:, None] - eye) / way, (high[:, None] - eye) / way
    enter, leave = np.minimum(one, other).max(axis=-1), np.maximum(one, other).min(axis=-1)
    meets = np.where((enter <= leave) & (leave > 0.0) & (enter < 0.98), enter, np.inf)
    places, _ = looking.project(points)
    inside = ((places >= 0.0) & (places <= 1.0)).all(axis=-1)
    first = np.where(np.isfinite(meets.min(axis=-1)) & inside, meets.argmin(axis=-1), -1)
    tried = inside.sum(axis=1)
    hidden = (first[:, :, None] == np.arange(boxes)).sum(axis=1) / np.maximum(tried, 1)[:, None]
    corners = np.stack(
        [np.where([bit & 1, bit & 2, bit & 4], high, low) for bit in range(8)], axis=2
    )
    seen, depths = looking.project(corners)
    shows = np.isfinite(seen).all(axis=(2, 3))
    ranges = np.stack((depths.min(axis=2), depths.max(axis=2)), axis=-1)
    outlines = np.concatenate((seen.min(axis=2), seen.max(axis=2)), axis=-1)
    staging = Staging(
        rows=rows,
        step=step,
        things=tuple(f"Crate {number}" for number in range(boxes)),
        hidden=hidden,
        tried=tried,
        depths=np.where(shows[..., None], ranges, np.nan),
        boxes=np.where(shows[..., None], outlines, np.nan),
    )
    return replace(motion, staging=staging, _memo={})


def scatter_behind(
    motion: Motion, number: int, random: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Return boxes (lows, highs) a twelfth of the body large, behind where the body acts."""
    middle, size = motion.heads.mean(axis=(0, 1)), motion.height
    reach = np.ptp(motion.heads[..., 0]) / 2.0
    across = random.uniform(-0.3 * size - reach, 0.3 * size + reach, number)
    deep = random.uniform(1.5 * size, 4.0 * size, number)
    up = random.uniform(-0.35 * size, 0.35 * size, number)
    place = middle + np.stack((across, deep, up), axis=-1)
    return place - size / 24.0, place + size / 24.0
