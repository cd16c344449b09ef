# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The overlay's colours: published sets only, as the screen shows them (sRGB, 0 to 1).

Spacing is told by cividis (Nunez, Anderton and Renslow 2018), made to be read alike with and
without colour blindness and to rise evenly in lightness. Severities take three of the eight colours
of Okabe and Ito (2002). Each severity has a shape of its own as well, so nothing is told by colour
alone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..core_math import Severity

FloatArray = NDArray[np.float64]


def parse_colour(digits: str) -> tuple[float, float, float]:
    """Read a colour written as "#rrggbb"."""
    red, green, blue = (int(digits[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return (red, green, blue)


SEVERITY_COLOURS = {
    Severity.FAINT: parse_colour("#56b4e9"),
    Severity.CLEAR: parse_colour("#e69f00"),
    Severity.GLARING: parse_colour("#d55e00"),
}

SPACING_STOPS = {
    0: "#00224e",
    18: "#002f6d",
    26: "#0c3470",
    32: "#1a386f",
    64: "#434e6c",
    128: "#7d7c78",
    192: "#bcae6c",
    244: "#f5dc41",
    255: "#fee838",
}
"""Index of 0 to 255 and colour; between the stops colours are mixed."""

QUIET = parse_colour("#9a9a9a")
"""Flags that are meant or done."""

NOTE = parse_colour("#f0f0f0")
"""Notes of the reviewer's own."""


def colour_spacing(share: ArrayLike) -> FloatArray:
    """Return the colours of spacings.

    Parameters
    ----------
    share : array_like, shape (...)
        0 for no movement, 1 for the fastest; values outside are clipped, NaN is 0.

    Returns
    -------
    ndarray, shape (..., 3)
    """
    place = np.clip(np.nan_to_num(np.asarray(share, dtype=np.float64)), 0.0, 1.0) * 255.0
    colours = np.array([parse_colour(digits) for digits in SPACING_STOPS.values()])
    stops = np.array(list(SPACING_STOPS), dtype=np.float64)
    return np.stack([np.interp(place, stops, colours[:, i]) for i in range(3)], axis=-1)
