# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Trails as arrays: where a part goes, how fast, where its keys and flags lie. Draws nothing.

A trail is laid out in some space: the world, the axes of another part, or the shot camera's
picture. Its points are kept in that space, so that only one matrix changes with the current frame.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from ..core_math import Flag, Motion, ShotCamera, State
from .palette import colour_spacing
from .viewpoints import Viewpoint

FloatArray = NDArray[np.float64]

NOWHERE = 1e9
"""Frame of a step that cannot be seen: too far from every other to be drawn."""

CORNERS = np.array([(0.0, -1.0), (1.0, -1.0), (1.0, 1.0), (0.0, 1.0)], dtype=np.float32)
"""The four corners of a stretch: which end, which side."""


class TrailSpace(StrEnum):
    """What a trail is drawn relative to."""

    WORLD = "world"
    PART = "part"
    PICTURE = "picture"


@dataclass(frozen=True, eq=False, slots=True)
class Trail:
    """One part's path.

    Attributes
    ----------
    subject, part : str
    frames : ndarray, shape (F,)
    points : ndarray, shape (F, 3), metres
        In the trail's own space.
    places : ndarray, shape (F, 3, 4) or None
        Moves points of that space into the world at each frame; None when it is the world.
    speeds : ndarray, shape (F,)
        Step to the next frame, 1 for the trail's fastest.
    keyed : ndarray of bool, shape (F,)
    severities : ndarray, shape (F,)
        0 for none, or the worst flag that covers the step to the next frame.
    dashed : bool
        Drawn in dashes: the path of an older take.
    places_first : int
        The frame of the first of `places`; an older path may begin on another.
    """

    subject: str
    part: str
    frames: NDArray[np.int64]
    points: FloatArray
    places: FloatArray | None
    speeds: FloatArray
    keyed: NDArray[np.bool_]
    severities: NDArray[np.int64]
    dashed: bool = False
    places_first: int = 0

    def place_at(self, frame: float) -> FloatArray:
        """Return the 4 x 4 matrix that moves the trail's points into the world at a frame."""
        matrix = np.eye(4)
        if self.places is not None:
            row = min(max(round(frame) - self.places_first, 0), len(self.places) - 1)
            matrix[:3] = self.places[row]
        return matrix

    def find_row(self, frame: int) -> int | None:
        """Return the row of a frame, None when the path does not pass it."""
        row = frame - int(self.frames[0])
        if 0 <= row < len(self.frames) and self.frames[row] == frame:
            return row
        # The frames of an older path that was retimed do not follow one another.
        rows = np.flatnonzero(self.frames == frame) if self.dashed else self.frames[:0]
        return int(rows[0]) if len(rows) else None

    def world_point(self, row: int, frame: float) -> FloatArray:
        """Return one point as it lies in the world while a frame is shown, shape (3,)."""
        if self.places is None:
            return self.points[row]
        matrix = self.place_at(frame)
        return matrix[:3, :3] @ self.points[row] + matrix[:3, 3]

    def world_points(self, frame: float) -> FloatArray:
        """Return the points as they lie in the world while a frame is shown, shape (F, 3)."""
        if self.places is None:
            return self.points
        matrix = self.place_at(frame)
        return self.points @ matrix[:3, :3].T + matrix[:3, 3]


def make_trail(
    motion: Motion,
    part: str,
    flags: Iterable[Flag] = (),
    space: TrailSpace = TrailSpace.WORLD,
    viewpoint: Viewpoint | None = None,
) -> Trail | None:
    """Lay out the path of one part.

    Parameters
    ----------
    motion : Motion
    part : str
    flags : iterable of Flag
        Those of this part tint the path under their frames.
    space : TrailSpace
    viewpoint : Viewpoint, optional
        What the path is seen from when `space` is PART; trails that share it are drawn together.

    Returns
    -------
    Trail or None
        None when the part was not sampled, or what it is seen from was not.
    """
    if not motion.has(part):
        return None
    points, places = motion.head(part), None
    if space is TrailSpace.PICTURE:
        if motion.camera is None:
            return None
        points, places = _lay_into_picture(points, motion.camera)
    elif space is TrailSpace.PART:
        if viewpoint is None:
            return None
        points, places = viewpoint.look(points), viewpoint.places
    return Trail(
        subject=motion.subject,
        part=part,
        frames=motion.frames,
        points=points,
        places=places,
        speeds=_scale_speeds(points),
        keyed=_mark_keys(motion, part),
        severities=_mark_flags(motion, part, flags),
        places_first=int(motion.frames[0]),
    )


def make_old_trail(
    trail: Trail,
    motion: Motion,
    points: FloatArray,
    frames: FloatArray,
    viewpoint: Viewpoint | None = None,
) -> Trail:
    """Lay out the path that a part took in an older take, beside the one it takes now.

    Parameters
    ----------
    trail : Trail
        The path of now.
    motion : Motion
    points : ndarray, shape (G, 3), metres
        Where the part was in the world, frame by frame.
    frames : ndarray, shape (G,)
        Those frames as they lie in the scene now; rising.
    viewpoint : Viewpoint, optional
        What the path of now is seen from, as it was in the older take at the same frames. Where
        the picture is looked at there is none: the camera looks from where it is now.
    """
    steps = np.rint(frames).astype(np.int64)
    if viewpoint is not None:
        points = viewpoint.look(points)
    elif trail.places is not None and motion.camera is not None:
        # The camera of now: its frames are the scene's.
        there = (motion.frames >= frames[0]) & (motion.frames <= frames[-1])
        seen = [np.interp(motion.frames, frames, points[:, axis]) for axis in range(3)]
        places, _ = motion.camera.project(np.stack(seen, axis=-1))
        points = np.where(there[:, None], _to_widths(places, motion.camera), np.nan)
        steps = motion.frames
    count = len(points)
    return Trail(
        subject=trail.subject,
        part=trail.part,
        frames=steps,
        points=points,
        places=trail.places,
        speeds=_scale_speeds(points),
        keyed=np.zeros(count, dtype=np.bool_),
        severities=np.zeros(count, dtype=np.int64),
        dashed=True,
        places_first=trail.places_first,
    )


def build_ribbons(trails: Sequence[Trail]) -> tuple[dict[str, NDArray[np.float32]], NDArray]:
    """Return the vertex arrays and triangle indices of trails that share one matrix.

    Parameters
    ----------
    trails : sequence of Trail

    Returns
    -------
    dict of str to ndarray, shape (V, 2), (V, 3) or (V, 4)
        By attribute of the ribbon shader, four vertices a step.
    ndarray, shape (T, 3)
    """
    place_a, place_b, tint_a, tint_b, facts = [], [], [], [], []
    for trail in trails:
        known = np.isfinite(trail.points).all(axis=1)
        points = np.where(known[:, None], trail.points, 0.0).astype(np.float32)
        # The last point gets a step of no length, so that its key is marked too.
        ends = np.concatenate((points[1:], points[-1:]))
        drawn = known & np.concatenate((known[1:], known[-1:]))
        tints = colour_spacing(trail.speeds).astype(np.float32)
        place_a.append(points)
        place_b.append(ends)
        tint_a.append(tints)
        tint_b.append(np.concatenate((tints[1:], tints[-1:])))
        facts.append(
            np.stack(
                (
                    np.where(drawn, trail.frames, NOWHERE),
                    trail.keyed,
                    trail.severities,
                    _measure_way(trail) if trail.dashed else np.full(len(points), -1.0),
                ),
                axis=1,
            ).astype(np.float32)
        )
    steps = sum(len(points) for points in place_a)
    arrays = {
        "place_a": _repeat(place_a, 3),
        "place_b": _repeat(place_b, 3),
        "tint_a": _repeat(tint_a, 3),
        "tint_b": _repeat(tint_b, 3),
        "corner": np.tile(CORNERS, (steps, 1)),
        "facts": _repeat(facts, 4),
    }
    return arrays, quad_indices(steps)


def quad_indices(count: int) -> NDArray[np.int32]:
    """Return the triangles of `count` quads of four vertices each, shape (2 * count, 3)."""
    first = 4 * np.arange(count, dtype=np.int32)[:, None, None]
    corners = np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32)
    return (first + corners[None]).reshape(-1, 3)


def find_nearest_frames(
    trail_points: Mapping[int, FloatArray], mouse: tuple[float, float], reach: float
) -> list[tuple[int, int]]:
    """Return (trail number, row) of the points within `reach` pixels of the mouse, nearest first.

    Parameters
    ----------
    trail_points : mapping of trail number to ndarray, shape (F, 2), pixels
    mouse : tuple of float, pixels
    reach : float, pixels
    """
    found: list[tuple[float, int, int]] = []
    for number, points in trail_points.items():
        distances = np.linalg.norm(points - np.asarray(mouse), axis=1)
        for row in np.flatnonzero(distances <= reach):
            found.append((float(distances[row]), number, int(row)))
    return [(number, row) for _, number, row in sorted(found)]


def _measure_way(trail: Trail) -> FloatArray:
    """Return the length of the path from its beginning to each point, shape (F,), metres."""
    steps = np.linalg.norm(np.diff(trail.points, axis=0), axis=1)
    return np.concatenate(([0.0], np.cumsum(np.nan_to_num(steps))))


def _repeat(arrays: list[NDArray[np.float32]], width: int) -> NDArray[np.float32]:
    if not arrays:
        return np.zeros((0, width), np.float32)
    return np.repeat(np.concatenate(arrays), 4, axis=0)


def _scale_speeds(points: FloatArray) -> FloatArray:
    """Return each step's length as a share of the trail's own fast steps (95th percentile)."""
    if len(points) < 2:
        return np.zeros(len(points))
    steps = np.nan_to_num(np.linalg.norm(np.diff(points, axis=0), axis=1))
    fast = float(np.percentile(steps, 95.0))
    shares = steps / fast if fast > 1e-9 else np.zeros(len(steps))
    return np.concatenate((shares, shares[-1:]))


def _mark_keys(motion: Motion, part: str) -> NDArray[np.bool_]:
    keyed = np.zeros(motion.frame_count, dtype=np.bool_)
    track = motion.keys.get(part)
    if track is not None and len(track.frames):
        rows = np.rint(track.frames).astype(np.int64) - int(motion.frames[0])
        keyed[rows[(rows >= 0) & (rows < len(keyed))]] = True
    return keyed


def _mark_flags(motion: Motion, part: str, flags: Iterable[Flag]) -> NDArray[np.int64]:
    severities = np.zeros(motion.frame_count, dtype=np.int64)
    first = int(motion.frames[0])
    for flag in flags:
        if (flag.subject, flag.part) != (motion.subject, part) or flag.state is not State.OPEN:
            continue
        # A flag on one frame covers the steps on both sides of it.
        start, end = flag.start, flag.end
        if end == start:
            start, end = start - 1, end + 1
        span = severities[max(0, start - first) : max(0, end - first)]
        np.maximum(span, int(flag.severity), out=span)
    return severities


def _lay_into_picture(points: FloatArray, camera: ShotCamera) -> tuple[FloatArray, FloatArray]:
    """Return points in the camera's picture, in widths of it, and its plane at each one's depth."""
    places, depths = camera.project(points)
    planes = camera.place_pictures(np.maximum(np.nan_to_num(depths, nan=1.0), 1e-3))
    return _to_widths(places, camera), planes


def _to_widths(places: FloatArray, camera: ShotCamera) -> FloatArray:
    width, height = camera.lens.picture
    return np.stack((places[:, 0], places[:, 1] * height / width, 0.0 * places[:, 0]), axis=-1)
