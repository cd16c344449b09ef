# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The shapes of the severities as icons: the same bead, pennant and board as in the views."""

from __future__ import annotations

from typing import Any

import bpy.utils.previews
import numpy as np
from numpy.typing import NDArray

from ..core_math import Flag, Severity, State
from .palette import NOTE, QUIET, SEVERITY_COLOURS

SIZE = 32
POLES = {Severity.FAINT: (16.0, 14.0), Severity.CLEAR: (7.0, 29.0), Severity.GLARING: (16.0, 6.5)}
"""Where the pole of each flag stands and how high it reaches."""
_SAMPLES = 4
_collections: list[Any] = []

FloatArray = NDArray[np.float64]


def get_icon(name: str) -> int:
    """Return the icon of a name ("faint", "clear-meant", "note"), 0 where there are none."""
    if not _collections or name not in _collections[0]:
        return 0
    return int(_collections[0][name].icon_id)


def get_flag_icon(flag: Flag) -> int:
    """Return the icon that shows a flag's severity and whether it is decided."""
    name = flag.severity.word
    return get_icon(name if flag.state is State.OPEN else f"{name}-meant")


def register() -> None:
    """Make the icons."""
    pictures = bpy.utils.previews.new()
    for severity, colour in SEVERITY_COLOURS.items():
        _add(pictures, severity.word, paint_icon(severity, colour))
        _add(pictures, f"{severity.word}-meant", paint_icon(severity, QUIET, hollow=True))
    _add(pictures, "note", paint_icon(None, NOTE))
    _collections.append(pictures)


def unregister() -> None:
    """Let the icons go."""
    while _collections:
        bpy.utils.previews.remove(_collections.pop())


def _add(pictures: Any, name: str, pixels: FloatArray) -> None:
    preview = pictures.new(name)
    preview.icon_size = (SIZE, SIZE)
    preview.icon_pixels_float = pixels.ravel().tolist()


def paint_icon(
    severity: Severity | None, colour: tuple[float, float, float], hollow: bool = False
) -> FloatArray:
    """Paint one icon.

    Parameters
    ----------
    severity : Severity or None
        None is the leaf of a note.
    colour : tuple of float
    hollow : bool
        Only the outline, for what is decided.

    Returns
    -------
    ndarray, shape (SIZE, SIZE, 4)
        Rows from below, colours weighted by alpha, the share of each pixel that is covered.
    """
    axis = (np.arange(SIZE * _SAMPLES) + 0.5) / _SAMPLES
    x, y = np.meshgrid(axis, axis)
    shape = _distance(severity, x, y)
    shown = shape <= 0.0
    if hollow:
        shown &= shape >= -2.6
    if severity is not None:
        place, top = POLES[severity]
        shown |= (np.abs(x - place) <= 1.3) & (y >= 1.0) & (y <= top)
    cover = shown.reshape(SIZE, _SAMPLES, SIZE, _SAMPLES).mean(axis=(1, 3))
    pixels = np.empty((SIZE, SIZE, 4))
    # Icons are laid over the button with their colours already weighted by alpha.
    pixels[..., :3] = np.multiply.outer(cover, np.asarray(colour))
    pixels[..., 3] = cover
    return pixels


def _distance(severity: Severity | None, x: FloatArray, y: FloatArray) -> FloatArray:
    """Return how far points lie outside a shape, in pixels; inside is negative."""
    if severity is Severity.FAINT:
        return np.hypot(x - 16.0, y - 20.0) - 7.5
    if severity is Severity.CLEAR:
        # A triangle from the pole to the point at the right.
        middle, reach, half = 20.0, 30.0, 9.5
        slope = half / (reach - 7.0)
        edge = (np.abs(y - middle) - slope * (reach - x)) / np.hypot(1.0, slope)
        return np.maximum(edge, 7.0 - x)
    if severity is Severity.GLARING:
        board = (np.abs(x - 16.0) + np.abs(y - 18.5) - 13.0) / np.sqrt(2.0)
        return np.maximum(board, 3.0 - np.hypot(x - 16.0, y - 18.5))
    leaf = np.maximum.reduce([5.0 - x, x - 27.0, 4.0 - y, y - 28.0])
    lines = np.minimum.reduce([np.abs(y - line) - 1.3 for line in (10.5, 16.0, 21.5)])
    inner = np.maximum.reduce([9.0 - x, x - 23.0])
    return np.maximum(leaf, -np.maximum(lines, inner))
