# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The subject's place in the shot camera's picture over time, ready to be drawn.

What the two checks of the framing judge, as curves: where the subject is, where its framing would
have it, how far it may wander, and when subject and camera set off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .checks import framing_drift, late_camera
from .findings import CannotEvaluateError
from .motion import Motion
from .settings import Settings

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PictureMove:
    """A move across the picture, in frames of the scene (also between frames).

    Attributes
    ----------
    maker : str
        "subject" or "camera".
    start, end : float
    late : float
        For a camera that answers the subject: frames from the subject's start to its own, else 0.
    """

    maker: str
    start: float
    end: float
    late: float = 0.0


@dataclass(frozen=True, eq=False, slots=True)
class FramingTrace:
    """One subject in one camera's picture, over the frames between two cuts.

    Attributes
    ----------
    subject, camera : str
    frames : ndarray of int, shape (F,)
        Frames of the scene.
    places : ndarray, shape (F, 2)
        Place of the hips (or the middle of an object) in the picture, 0 to 1 from the left and
        from the bottom edge, outside of it when out of frame; NaN behind the camera.
    shows : ndarray of bool, shape (F,)
        Whether that place is in the picture.
    expected : ndarray, shape (F, 2)
        Where the settled framing would have it, in the same unit; NaN when nothing is expected.
    beyond : ndarray, shape (F,), % of the frame's width
        How far it has wandered beyond its settled spread; NaN when nothing is expected.
    limits : tuple of float, % of the frame's width
        Faint, clear and glaring: what `beyond` is held against.
    moves : tuple of PictureMove
        In order of their start.
    reason : str
        Why there is nothing expected (a locked-off camera ...); empty when there is.
    """

    subject: str
    camera: str
    frames: IntArray
    places: FloatArray
    shows: BoolArray
    expected: FloatArray
    beyond: FloatArray
    limits: tuple[float, ...]
    moves: tuple[PictureMove, ...]
    reason: str


def trace_framing(motion: Motion, settings: Settings | None = None) -> tuple[FramingTrace, ...]:
    """Return a trace for each stretch between two cuts; none without a shot camera.

    Parameters
    ----------
    motion : Motion
    settings : Settings, optional
        Where the limits come from; the defaults when left out.
    """
    if motion.camera is None:
        return ()
    chosen = settings or Settings()
    return tuple(_trace(shot, chosen) for shot in motion.shots())


def find_trace(traces: Sequence[FramingTrace], frame: float) -> FramingTrace | None:
    """Return the trace on whose frames a frame of the scene lies, None when none does."""
    for trace in traces:
        if trace.frames[0] <= frame < trace.frames[-1] + 1:
            return trace
    return None


def _trace(shot: Motion, settings: Settings) -> FramingTrace:
    camera = shot.camera
    if camera is None:
        raise ValueError("a framing is traced through a camera")
    point = shot.head("hips") if shot.has("hips") else shot.heads.mean(axis=1)
    places, depths = camera.project(point)
    if camera.panoramic:
        places = np.full_like(places, np.nan)
    inside = (places >= 0.0) & (places <= 1.0)
    values = settings.values(framing_drift.CHECK, shot.fps)
    nothing = np.full(shot.frame_count, np.nan)
    expected, beyond, reason = np.stack((nothing, nothing), axis=-1), nothing, ""
    try:
        if camera.panoramic:
            raise CannotEvaluateError("the shot camera is panoramic, its picture is no plane")
        framing = framing_drift.measure_framing(shot, values)
        width, height = camera.lens.picture
        expected, beyond = framing.expected * [1.0, width / height], framing.beyond
    except CannotEvaluateError as error:
        reason = str(error)
    return FramingTrace(
        subject=shot.subject,
        camera=camera.name,
        frames=shot.frames,
        places=places,
        shows=inside.all(axis=-1) & (depths > 0.0),
        expected=expected,
        beyond=beyond,
        limits=tuple(values.limits[framing_drift.DRIFT.name]),
        moves=() if camera.panoramic else _list_moves(shot, settings),
        reason=reason,
    )


def _list_moves(shot: Motion, settings: Settings) -> tuple[PictureMove, ...]:
    try:
        both = late_camera.measure_moves(shot)
    except CannotEvaluateError:
        return ()
    values = settings.values(late_camera.CHECK, shot.fps)
    answers = {a.answered: a.answered - a.onset for a in late_camera.measure(shot, values)}
    first = float(shot.frames[0])
    found = [PictureMove("subject", first + m.onset, first + m.end) for m in both.subject]
    found += [
        PictureMove("camera", first + m.onset, first + m.end, answers.get(m.onset, 0.0))
        for m in both.camera
    ]
    return tuple(sorted(found, key=lambda move: move.start))
