# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Planters: each puts one fault of known place and size into a clean motion.

A planter knows nothing of how its check measures. Its sizes run from invisible to glaring; from
`visible_from` on the fault is seen at speed, for the reason given, which never is the check's own
limit. Where a fault is put is drawn from the case's own random generator.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import clips
import numpy as np
import planters_arms
import planters_between
import planters_camera
import planters_feet
import planters_paths
from planting_case import Case, Fault

from fettle.core_math import Severity
from fettle.core_math.motion import Motion

NOT_PLANTED_YET: dict[str, str] = {}
"""Checks without a planter, each with the reason; the score says so every time it runs."""

Plant = Callable[[Case, float], Fault | None]


@dataclass(frozen=True)
class Planter:
    """How one fault is planted.

    Attributes
    ----------
    check : str
        The check that has to find it.
    code : str
        The pattern of that check; names the planter together with the check.
    sizes : tuple of float
        From invisible to glaring.
    unit : str
    visible_from : float
        Size from which it is seen at speed.
    reason : str
        Why from there.
    plant : callable
        Takes the case (motion, place to draw from) and the size, returns the Fault, or None where
        the clip has no place for it.
    families : tuple of str
        Families of clips that have places for it.
    kinds : tuple of str
        Beginnings of the names of the clips that have places, where not all of a family do.
    seconds : float
        Length of the stretch of a clip it is planted into.
    least : Severity
        What counts as found; clear, except for checks that never say more than faint.
    """

    check: str
    code: str
    sizes: tuple[float, ...]
    unit: str
    visible_from: float
    reason: str
    plant: Plant
    families: tuple[str, ...]
    kinds: tuple[str, ...] = ("",)
    seconds: float = 6.0
    least: Severity = Severity.CLEAR

    @property
    def name(self) -> str:
        """The check's id and the pattern."""
        return f"{self.check}/{self.code}"

    def suits(self, clip: clips.Clip) -> bool:
        """Say whether a clip may have a place for it."""
        return clip.family in self.families and clip.name.startswith(self.kinds)

    def is_visible(self, size: float) -> bool:
        """Say whether a fault of this size is seen at speed; sizes may rise or fall."""
        rising = self.sizes[-1] > self.sizes[0]
        return size >= self.visible_from if rising else size <= self.visible_from


def plant(planter: Planter, clip: clips.Clip, size: float, seed: int) -> Fault | None:
    """Plant one fault; the same clip, planter and seed always give the same place."""
    case = make_case(planter, clip, seed)
    return planter.plant(case, size)


def make_case(planter: Planter, clip: clips.Clip, seed: int) -> Case:
    """Cut the stretch of the clip this case is about."""
    random = np.random.default_rng([clip.number, seed, sum(planter.name.encode())])
    motion: Motion = clips.draw_stretch(clips.load(clip), planter.seconds, random)
    return Case(motion, random, clip.options)


PLANTERS: tuple[Planter, ...] = tuple(
    Planter(**entry)
    for module in (
        planters_paths,
        planters_arms,
        planters_feet,
        planters_between,
        planters_camera,
    )
    for entry in module.ENTRIES
)
