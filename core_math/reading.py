# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A reading: the outcome of one run of the checks over a shot, with the facts it rests on."""

from __future__ import annotations

from dataclasses import dataclass, field

from .findings import Crash, Flag, NotEvaluated
from .motion import Stage, SubjectKind


@dataclass(frozen=True, slots=True)
class MappedPart:
    """Which bone stands for a part, and how sure the guess is (1.0 = set by the user)."""

    bone: str
    confidence: float


@dataclass(frozen=True, slots=True)
class SubjectFacts:
    """What was judged and how its motion was sampled.

    Attributes
    ----------
    name : str
    kind : SubjectKind
    stage : Stage
    cadence : int
        Frames per drawing.
    route : str
        "exact" or "direct".
    route_reason : str
    height_m : float
        Body size H.
    parts : mapping of part to MappedPart
    unmapped : tuple of str
        Canonical parts that were not found.
    """

    name: str
    kind: SubjectKind
    stage: Stage
    cadence: int
    route: str
    route_reason: str
    height_m: float
    parts: dict[str, MappedPart]
    unmapped: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SubjectReading:
    """Outcomes of all checks over one subject."""

    flags: tuple[Flag, ...]
    not_evaluated: tuple[NotEvaluated, ...]
    crashes: tuple[Crash, ...]
    evaluated: tuple[str, ...]
    """Ids of the checks that judged at least part of the subject."""
    check_seconds: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ShotReading:
    """One shot: its facts, its subjects, and everything the checks brought back.

    Attributes
    ----------
    source : str
        The file it was read from, as it was named.
    scene : str
    fps : float
    frame_range : tuple of int
        First and last frame.
    camera : str or None
    """

    source: str
    scene: str
    fps: float
    frame_range: tuple[int, int]
    camera: str | None
    subjects: tuple[SubjectFacts, ...]
    flags: tuple[Flag, ...]
    not_evaluated: tuple[NotEvaluated, ...] = ()
    crashes: tuple[Crash, ...] = ()
    evaluated: tuple[str, ...] = ()
    sampling_s: float = 0.0
    checks_s: float = 0.0
