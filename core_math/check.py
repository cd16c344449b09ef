# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The contract of a check: its record, and parameters that are declared exactly once.

A check file holds, in this order: a docstring (what it looks for, why it reads wrong, when to
leave it, sources), its parameters, `measure` (motion to numbers, no thresholds), `judge` (numbers
to flags) and the record `CHECK`. Panel, command line, settings file, documentation and messages
derive from the declarations here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Generator, Hashable, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from .findings import Outcome, Severity
from .measures.pieces import Steps as Steps  # checks pause by it
from .measures.pieces import run_steps
from .motion import Motion, Stage, SubjectKind
from .units import Unit, reference_frames_to_frames

_ID = re.compile(r"[a-z]+(-[a-z]+)*")
_NAME = re.compile(r"[a-z][a-z0-9_]*")


class Group(StrEnum):
    """The families in which checks are listed."""

    PATHS = "Paths and timing"
    ARMS = "Arms, hands, torso"
    FEET = "Feet and weight"
    BETWEEN = "Between parts"
    CAMERA = "Camera and staging"


class Style(StrEnum):
    """What counts as visible: exaggerated, as in life, or restrained close-up acting."""

    BROAD = "broad"
    NATURAL = "natural"
    SUBTLE = "subtle"


@dataclass(frozen=True, slots=True)
class Parameter:
    """One adjustable number of a check, declared once, with the story of its default.

    Attributes
    ----------
    name : str
        Lower-case words joined by underscores; part of the settings file.
    default, minimum, maximum : float
        In `unit`.
    unit : Unit
    description : str
        What raising or lowering it does, in one sentence.
    source : str
        Where the default comes from: a publication, "common practice", or a measurement.
    """

    name: str
    default: float
    unit: Unit
    minimum: float
    maximum: float
    description: str
    source: str

    def __post_init__(self) -> None:
        _validate_declaration(self.name, self.unit, self.description, self.source)
        if not self.minimum <= self.default <= self.maximum:
            raise ValueError(f"{self.name}: default {self.default} lies outside its range")


@dataclass(frozen=True, slots=True)
class Limits:
    """Three limits of one judgement, so that severity follows from the value.

    The limits rise (over is worse) or fall (under is worse); which of the two is read off the
    numbers. `broad` and `subtle` multiply all three in those styles; `style_source` tells why.
    """

    name: str
    faint: float
    clear: float
    glaring: float
    unit: Unit
    minimum: float
    maximum: float
    description: str
    source: str
    broad: float = 1.0
    subtle: float = 1.0
    style_source: str = "the same in every style"

    def __post_init__(self) -> None:
        _validate_declaration(self.name, self.unit, self.description, self.source)
        _validate_order(self.name, (self.faint, self.clear, self.glaring))
        for value in (self.faint, self.clear, self.glaring):
            if not self.minimum <= value <= self.maximum:
                raise ValueError(f"{self.name}: limit {value} lies outside its range")
        if self.broad != 1.0 or self.subtle != 1.0:
            if self.style_source == "the same in every style":
                raise ValueError(f"{self.name}: a style factor without its source")

    @property
    def default(self) -> tuple[float, float, float]:
        """The three limits in rising severity."""
        return (self.faint, self.clear, self.glaring)

    @property
    def rising(self) -> bool:
        """True when larger values are worse."""
        return self.glaring > self.faint

    def in_style(self, style: Style) -> tuple[float, float, float]:
        """Return the three limits as the given style has them, kept inside their range."""
        factor = {Style.BROAD: self.broad, Style.SUBTLE: self.subtle}.get(style, 1.0)
        low, high = self.minimum, self.maximum
        scaled = [min(max(value * factor, low), high) for value in self.default]
        return (scaled[0], scaled[1], scaled[2])


Declaration = Parameter | Limits


@dataclass(frozen=True, slots=True)
class Values:
    """The numbers one check runs with: its declarations with the user's settings applied."""

    fps: float
    numbers: Mapping[str, float]
    limits: Mapping[str, tuple[float, float, float]]
    units: Mapping[str, Unit]

    def __getitem__(self, name: str) -> float:
        """Return a parameter in its declared unit."""
        return self.numbers[name]

    @property
    def key(self) -> Hashable:
        """All the numbers, to tell these values from others of the same check."""
        return (self.fps, *self.numbers.values(), *self.limits.values())

    def frames(self, name: str) -> float:
        """Return a duration (declared in s, frames or frames at 24 fps) in scene frames."""
        value, unit = self.numbers[name], self.units[name]
        if unit is Unit.SECONDS:
            return value * self.fps
        if unit is Unit.FRAMES_AT_24:
            return reference_frames_to_frames(value, self.fps)
        return value

    def grade(self, name: str, value: float) -> tuple[Severity, float] | None:
        """Say how bad a value is.

        Parameters
        ----------
        name : str
            Name of the `Limits`.
        value : float
            In the unit of the limits. A NaN is never graded.

        Returns
        -------
        tuple of Severity and float, or None
            The severity and the limit it crossed; None when the value is within all limits.
        """
        faint, clear, glaring = self.limits[name]
        rising = glaring > faint
        for severity, limit in (
            (Severity.GLARING, glaring),
            (Severity.CLEAR, clear),
            (Severity.FAINT, faint),
        ):
            if value >= limit if rising else value <= limit:
                return severity, limit
        return None


def resolve_values(
    declarations: Iterable[Declaration],
    fps: float,
    overrides: Mapping[str, float | tuple[float, float, float]] | None = None,
    style: Style = Style.NATURAL,
) -> Values:
    """Apply a style and the user's overrides to declarations.

    Raises
    ------
    ValueError
        Naming the parameter, its range and what was given, when an override is unknown, has the
        wrong form or lies outside its range.
    """
    overrides = dict(overrides or {})
    numbers: dict[str, float] = {}
    limits: dict[str, tuple[float, float, float]] = {}
    units: dict[str, Unit] = {}
    for declaration in declarations:
        given = overrides.pop(declaration.name, None)
        units[declaration.name] = declaration.unit
        if isinstance(declaration, Limits):
            limits[declaration.name] = (
                declaration.in_style(style) if given is None else _accept_limits(declaration, given)
            )
        else:
            numbers[declaration.name] = (
                declaration.default if given is None else _accept_number(declaration, given)
            )
    if overrides:
        known = ", ".join(units) or "none"
        raise ValueError(f"unknown parameter {sorted(overrides)[0]!r} (known: {known})")
    return Values(fps=fps, numbers=numbers, limits=limits, units=units)


Measure = Callable[[Motion, Values], Any]
Judge = Callable[[Motion, Any, Values], Iterable[Outcome]]


@dataclass(frozen=True, slots=True)
class Check:
    """The record of one check.

    Attributes
    ----------
    id : str
        Words that name the pattern seen; never changes (a rename leaves an alias).
    question : str
        The question put to the animation, one sentence.
    codes : mapping of str to str
        Each distinct pattern of this check with what it means.
    declarations : tuple of Parameter and Limits
    measure, judge : callable
        `measure(motion, values)` returns numbers and raises CannotEvaluateError with a reason; as
        a generator (see `pieces.Steps`) it pauses between pieces of its work. `judge(motion,
        measurement, values)` yields flags and "not evaluated".
    stages : frozenset of Stage
        Stages in which the check judges; in the others it says that it waits.
    kinds : frozenset of SubjectKind
        Subjects it applies to.
    needs_camera : bool
        True when it can only be judged through a shot camera.
    minimum_frames : int
        Shortest stretch it can judge.
    description : str
        The check file's docstring.
    aliases : tuple of str
        Former ids.
    on_drawings : bool
        True when held drawings (on twos or threes) are to be read as one sample each: movement is
        then measured from drawing to drawing, see `Motion.drawings`.
    weighed_by_picture : bool
        True when a flag counts less where the shot camera does not see it.
    """

    id: str
    group: Group
    question: str
    codes: Mapping[str, str]
    declarations: tuple[Declaration, ...]
    measure: Measure
    judge: Judge
    description: str
    stages: frozenset[Stage] = frozenset({Stage.SPLINE, Stage.HELD})
    kinds: frozenset[SubjectKind] = frozenset({SubjectKind.ARMATURE})
    needs_camera: bool = False
    minimum_frames: int = 4
    aliases: tuple[str, ...] = field(default=())
    explained_by: tuple[str, ...] = field(default=())
    on_drawings: bool = False
    weighed_by_picture: bool = False

    def __post_init__(self) -> None:
        if not _ID.fullmatch(self.id):
            raise ValueError(f"check id {self.id!r}: lower-case words joined by hyphens")
        for code in self.codes:
            if not _ID.fullmatch(code):
                raise ValueError(f"{self.id}: code {code!r}: lower-case words joined by hyphens")
        if not self.codes:
            raise ValueError(f"{self.id}: a check names at least one code")
        names = [declaration.name for declaration in self.declarations]
        if len(set(names)) != len(names):
            raise ValueError(f"{self.id}: a parameter is declared twice")

    def measure_at_once(self, motion: Motion, values: Values) -> Any:
        """Return what `measure` returns, without its pauses."""
        steps = self.measure(motion, values)
        return run_steps(steps) if isinstance(steps, Generator) else steps

    def values(
        self,
        fps: float,
        overrides: Mapping[str, float | tuple[float, float, float]] | None = None,
        style: Style = Style.NATURAL,
    ) -> Values:
        """Return the numbers this check runs with; errors name the check."""
        try:
            return resolve_values(self.declarations, fps, overrides, style)
        except ValueError as error:
            raise ValueError(f"{self.id}: {error}") from None


def _validate_declaration(name: str, unit: Unit, description: str, source: str) -> None:
    if not _NAME.fullmatch(name):
        raise ValueError(f"parameter name {name!r}: lower-case words joined by underscores")
    if not isinstance(unit, Unit):
        raise TypeError(f"{name}: {unit!r} is no unit of the closed list")
    if not description.strip() or not source.strip():
        raise ValueError(f"{name}: a parameter needs a description and the source of its default")


def _validate_order(name: str, limits: tuple[float, ...]) -> None:
    faint, clear, glaring = limits
    if not (faint < clear < glaring or faint > clear > glaring):
        raise ValueError(
            f"{name}: limits must rise or fall from faint to glaring, got {tuple(limits)}"
        )


def _accept_number(parameter: Parameter, given: object) -> float:
    if isinstance(given, bool) or not isinstance(given, int | float):
        raise ValueError(f"{parameter.name}: expected one number in {parameter.unit}")
    if not parameter.minimum <= given <= parameter.maximum:
        raise ValueError(
            f"{parameter.name}: {given} {parameter.unit} lies outside "
            f"{parameter.minimum} to {parameter.maximum}"
        )
    return float(given)


def _accept_limits(declared: Limits, given: object) -> tuple[float, float, float]:
    if not isinstance(given, list | tuple) or len(given) != 3:
        raise ValueError(f"{declared.name}: expected three numbers (faint, clear, glaring)")
    numbers = []
    for value in given:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ValueError(f"{declared.name}: expected three numbers in {declared.unit}")
        if not declared.minimum <= value <= declared.maximum:
            raise ValueError(
                f"{declared.name}: {value} {declared.unit} lies outside "
                f"{declared.minimum} to {declared.maximum}"
            )
        numbers.append(float(value))
    _validate_order(declared.name, tuple(numbers))
    if (numbers[2] > numbers[0]) != declared.rising:
        direction = "rise" if declared.rising else "fall"
        raise ValueError(f"{declared.name}: these limits must {direction} from faint to glaring")
    return (numbers[0], numbers[1], numbers[2])
