# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What was sampled before, so that after an edit only what it can influence is read again.

A memory is handed to `iterate_sampling` again and again. It keeps what each subject depended on
and which frames hold under that, part by part, so that a reading that is stopped half-way loses
nothing: the next one goes on with what is still missing.
"""

from __future__ import annotations

from collections.abc import Collection, Generator, Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core_math import Motion
from .bone_links import ALL
from .describing import CannotDescribeError, iterate_describing
from .source_reading import SourceReader
from .surroundings import Surroundings, find_changed

BoolArray = NDArray[np.bool_]


@dataclass(slots=True)
class Kept:
    """One subject, or the camera, as it was sampled.

    Attributes
    ----------
    shape : hashable
        What must be the same for the arrays to fit: frames, parts, route.
    surroundings : Surroundings
    arrays : dict of str to ndarray
        By name, frames along the last axis.
    valid : ndarray of bool, shape (P, F)
        The frames that hold under these surroundings, for each part.
    stale : ndarray of bool, shape (P,)
        The parts of which any frame was sampled again since `made`.
    result : object or None
        What was made of them, once all frames held.
    made : Motion or None
        The last one made of these arrays: parts that are not stale are still the same.
    """

    shape: Hashable
    surroundings: Surroundings
    arrays: dict[str, NDArray[Any]]
    valid: BoolArray
    stale: BoolArray
    result: Any = None
    made: Motion | None = None

    def keep(self, result: Any, motion: Motion) -> None:
        """Keep what was made of the arrays as they are now."""
        self.result, self.made = result, motion
        self.stale = np.zeros(len(self.valid), dtype=np.bool_)


class SamplingMemory:
    """What was sampled of a scene; never holds Blender's own data."""

    def __init__(self) -> None:
        self._kept: dict[str, Kept] = {}

    def forget(self) -> None:
        """Drop everything: the next reading samples all frames."""
        self._kept.clear()

    def recall(
        self,
        name: str,
        shape: Hashable,
        roots: Iterable[bpy.types.Object],
        scene: bpy.types.Scene,
        times: NDArray[np.float64],
        arrays: dict[str, NDArray[Any]],
        reader: SourceReader,
        read_from: Sequence[Collection[str]] = ((),),
    ) -> Generator[None, None, Kept | None]:
        """Return what is kept under a name, with `valid` telling what needs no sampling.

        With pauses on the way.

        Parameters
        ----------
        name : str
        shape : hashable
        roots : iterable of objects
            Whose movement it is.
        scene : bpy.types.Scene
        times : ndarray, shape (F,)
            Animation time of each frame.
        arrays : dict of ndarrays
            New ones, taken where nothing fitting is kept.
        reader : SourceReader
            Of the sampling that is under way.
        read_from : sequence of collections of bones, length P
            What each part is read from; what moves everything touches all parts.

        Returns
        -------
        Kept or None
            None where changes cannot be seen: everything is to be sampled, each time.
        """
        try:
            last = self._kept[name].surroundings if name in self._kept else None
            now = yield from iterate_describing(roots, scene, reader, last)
        except CannotDescribeError:
            self._kept.pop(name, None)
            return None
        before = self._kept.pop(name, None)
        valid = np.zeros((len(read_from), len(times)), dtype=np.bool_)
        kept = Kept(shape, now, arrays, valid, ~valid.any(axis=1))
        if before is not None and now.cyclic:
            # What one frame shows hangs on the frame before: all of them hold, or none does.
            if not (before.valid.all() and before.surroundings.is_same(now)):
                before = None
        if before is not None and before.shape == shape:
            kept.arrays, kept.valid = before.arrays, before.valid
            changed = find_changed(before.surroundings, now, times)
            for part, bones in enumerate(read_from):
                for bone in (ALL, *bones):
                    if bone in changed:
                        kept.valid[part] &= ~changed[bone]
            kept.made, kept.stale = before.made, before.stale | ~kept.valid.all(axis=1)
            if kept.valid.all() and before.surroundings.is_same(now):
                kept.result = before.result
        self._kept[name] = kept
        return kept
