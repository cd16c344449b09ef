# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What lies around a subject in the shot camera's picture, looked at on some of its frames."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False, slots=True)
class Staging:
    """The surroundings of one subject, seen from the shot camera.

    Attributes
    ----------
    rows : ndarray of int, shape (S,)
        Indices of the motion's frames that were looked at, rising.
    step : int
        Frames from one look to the next where nothing changes; around changes every frame was
        looked at.
    things : tuple of str, length K
        Names of the objects around the subject; its own body, hair and what it carries are none.
    hidden : ndarray, shape (S, K)
        Share (0 to 1) of the body's points in the picture whose sight line each thing cuts first.
    tried : ndarray of int, shape (S,)
        How many points of the body lay in the picture.
    depths : ndarray, shape (S, K, 2), metres
        Distance along the view axis of each thing's nearest and farthest corner; NaN where it
        does not show.
    boxes : ndarray, shape (S, K, 4)
        Left, bottom, right and top of each thing in the picture, 0 to 1 inside of it.
    """

    rows: IntArray
    step: int
    things: tuple[str, ...]
    hidden: FloatArray
    tried: IntArray
    depths: FloatArray
    boxes: FloatArray

    def hold(self, values: FloatArray, frames: int) -> FloatArray:
        """Return values of the looks, shape (S, ...), for every frame: each until the next look."""
        latest = np.searchsorted(self.rows, np.arange(frames), side="right") - 1
        return np.asarray(values[np.maximum(latest, 0)])

    def slice(self, start: int, stop: int) -> Staging:
        """Return what was seen in the frame indices start .. stop - 1."""
        kept = (self.rows >= start) & (self.rows < stop)
        return replace(
            self,
            rows=self.rows[kept] - start,
            hidden=self.hidden[kept],
            tried=self.tried[kept],
            depths=self.depths[kept],
            boxes=self.boxes[kept],
        )
