# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Run the checks on clean and on planted motion and say, case by case, what came of it."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from multiprocessing import get_context

import clips
import planters
from planters import Planter
from planting_case import Fault

from fettle.core_math import ALL_CHECKS, Flag, Severity, run_checks
from fettle.core_math.check import Check, Limits
from fettle.core_math.motion import Motion
from fettle.core_math.settings import Settings

NEAR_FRAMES = 2.0
"""A flag is in the right place when its peak lies this near to the planted frames, at 24 fps."""

TRIES, TRY_STEP = 4, 1000
"""Draws for a place in a clip, and how far apart their seeds lie."""

SMALL_CASES = 16
"""So many of a planter's cases are planted in sizes that are not seen at speed, too."""

JUMP_CHECKS = ("pop", "arc-break", "stall")
"""Checks whose flags on a jump of the recording itself are right."""

CHECKS: dict[str, Check] = {check.id: check for check in ALL_CHECKS}


class Outcome(StrEnum):
    """What became of one planted fault, from best to worst."""

    FOUND = "found"
    WRONG_PART = "wrong part"
    WRONG_TIME = "wrong time"
    TOO_MILD = "too mild"
    MISSED = "missed"


@dataclass(frozen=True)
class Case:
    """One fault to plant; `small`: in its sizes that are not seen at speed as well."""

    planter: str
    clip: str
    seed: int
    small: bool = True


@dataclass(frozen=True)
class Result:
    """What became of one fault of one size; `peak_error`, `edge_error` in frames at 24 fps."""

    planter: str
    clip: str
    split: str
    fps: float
    seed: int
    size: float
    outcome: Outcome
    peak_error: float | None
    edge_error: float | None
    right_part: bool | None
    note: str = ""


@dataclass(frozen=True)
class CleanFlag:
    """A flag on untouched motion."""

    check: str
    part: str
    frame: int
    severity: str
    message: str
    recorded: bool


@dataclass(frozen=True)
class CleanResult:
    """The flags on one untouched clip."""

    clip: str
    split: str
    family: str
    kind: str
    fps: float
    seconds: float
    flags: tuple[CleanFlag, ...]
    not_judged: tuple[str, ...]


@dataclass(frozen=True)
class Work:
    """All there is to do on one clip."""

    clip: str
    cases: tuple[Case, ...]
    checks: tuple[str, ...]


@dataclass(frozen=True)
class Done:
    """What came of a Work; cases without a place, and faults where a flag was already."""

    clean: CleanResult
    results: tuple[Result, ...]
    no_place: tuple[str, ...]
    flagged_before: tuple[str, ...]


def list_cases(
    chosen: Sequence[Planter], found: Sequence[clips.Clip], per_split: int
) -> list[Case]:
    """Spread each planter's cases evenly over the clips of each split, rate by rate in turn."""
    cases = []
    for planter in chosen:
        for split in clips.SPLITS:
            suited = [c for c in found if c.split == split and planter.suits(c)]
            suited.sort(key=lambda clip: zlib.crc32(f"{planter.name} {clip.name}".encode()))
            suited = _take_turns(suited)
            for number in range(per_split if suited else 0):
                clip = suited[number % len(suited)]
                small = number < SMALL_CASES
                cases.append(Case(planter.name, clip.name, number // len(suited), small))
    return cases


def _take_turns(suited: list[clips.Clip]) -> list[clips.Clip]:
    """Order clips so that each rate comes up as often as any other."""
    seen: dict[float, int] = {}
    turn = []
    for clip in suited:
        # As recorded at 100 a second stands with 120.
        rate = min(clips.RATES, key=lambda known, own=clip.fps: abs(known - own))
        turn.append(seen.get(rate, 0))
        seen[rate] = turn[-1] + 1
    order = sorted(range(len(suited)), key=lambda row: turn[row])
    return [suited[row] for row in order]


def run_all(
    found: Sequence[clips.Clip], cases: Sequence[Case], checks: Sequence[str], jobs: int
) -> Iterable[Done]:
    """Do everything, clip by clip, in several processes; the order of results is the clips'."""
    works = []
    for clip in found:
        own = tuple(case for case in cases if case.clip == clip.name)
        works.append(Work(clip.name, own, tuple(checks)))
    if jobs <= 1:
        yield from map(run_work, works)
        return
    with get_context("fork").Pool(jobs) as pool:
        yield from pool.imap(run_work, works, chunksize=1)


def run_work(work: Work) -> Done:
    """Score one clip: clean, and with each of its faults."""
    clip = next(c for c in clips.list_clips()[0] if c.name == work.clip)
    results: list[Result] = []
    no_place: list[str] = []
    before: list[str] = []
    for case in work.cases:
        planter = next(p for p in planters.PLANTERS if p.name == case.planter)
        seed = _find_seed(planter, clip, case.seed)
        if seed is None:
            no_place.append(planter.name)
            continue
        clean = read_flags(planters.make_case(planter, clip, seed).motion, CHECKS[planter.check])
        for size in planter.sizes:
            if not (case.small or planter.is_visible(size)):
                continue
            planted = planters.plant(planter, clip, size, seed)
            if planted is None:
                # The place bears the smallest visible size, not this one: not left unsaid.
                no_place += [planter.name] * planter.is_visible(size)
                continue
            if any(_is_hit(planter, flag, planted) for flag in clean):
                before.append(planter.name)
            else:
                results.append(_score(planter, clip, seed, size, planted))
    return Done(read_clean(clip, work.checks), tuple(results), tuple(no_place), tuple(before))


def _find_seed(planter: Planter, clip: clips.Clip, first: int) -> int | None:
    """Draw until a place for the fault is found; None when the clip seems to have none."""
    least = planter.visible_from
    for attempt in range(TRIES):
        seed = first + TRY_STEP * attempt
        if planters.plant(planter, clip, least, seed) is not None:
            return seed
    return None


def read_clean(clip: clips.Clip, checks: Sequence[str]) -> CleanResult:
    """Read one untouched clip with these checks."""
    motion = clips.load(clip)
    reading = run_checks(motion, [CHECKS[name] for name in checks])
    if reading.crashes:
        raise RuntimeError(f"{clip.name}: {reading.crashes[0].check} {reading.crashes[0].error}")
    judged = set(reading.evaluated)
    jumps = clips.list_recorded_jumps(clip)
    return CleanResult(
        clip=clip.name,
        split=clip.split,
        family=clip.family,
        kind=clip.kind,
        fps=clip.fps,
        seconds=motion.frame_count / motion.fps,
        flags=tuple(
            CleanFlag(
                f.check,
                f.part,
                f.peak,
                f.severity.word,
                f.message,
                f.check in JUMP_CHECKS and _is_recorded(motion, f, jumps),
            )
            for f in reading.flags
        ),
        not_judged=tuple(name for name in checks if name not in judged),
    )


def _is_recorded(motion: Motion, flag: Flag, jumps: Sequence[tuple[str, float]]) -> bool:
    """Say whether a flag points, to the frame, at a jump of the recording in one of its parts."""
    time = (flag.peak - motion.frame(0)) / motion.fps
    parts = {flag.part, *flag.other_parts}
    near = 1.5 / motion.fps
    return any(part in parts and abs(when - time) <= near for part, when in jumps)


def read_flags(motion: Motion, check: Check) -> tuple[Flag, ...]:
    """Run one check; a crash is an error of ours, not a miss."""
    reading = run_checks(motion, [check])
    if reading.crashes:
        raise RuntimeError(f"{check.id}: {reading.crashes[0].error}")
    return reading.flags


def _score(planter: Planter, clip: clips.Clip, seed: int, size: float, planted: Fault) -> Result:
    flags = read_flags(planted.motion, CHECKS[planter.check])
    unit = 24.0 / planted.motion.fps
    loud = [flag for flag in flags if flag.severity >= planter.least]
    placed = [flag for flag in loud if peak_distance(flag, planted) * unit <= NEAR_FRAMES]
    right = [flag for flag in placed if names_part(flag, planted)]
    if right:
        outcome = Outcome.FOUND
    elif placed:
        outcome = Outcome.WRONG_PART
    elif any(names_part(flag, planted) and _overlaps(flag, planted) for flag in loud):
        outcome = Outcome.WRONG_TIME
    elif any(names_part(flag, planted) and _overlaps(flag, planted) for flag in flags):
        outcome = Outcome.TOO_MILD
    else:
        outcome = Outcome.MISSED
    best = min(
        right or placed or [f for f in loud if _overlaps(f, planted)],
        key=lambda flag: _edge_distance(flag, planted),
        default=None,
    )
    return Result(
        planter=planter.name,
        clip=clip.name,
        split=clip.split,
        fps=clip.fps,
        seed=seed,
        size=size,
        outcome=outcome,
        peak_error=peak_distance(best, planted) * unit if best else None,
        edge_error=_edge_distance(best, planted) * unit if best else None,
        right_part=bool(right) if placed else None,
        note=f"planted {sorted(planted.parts)[:3]} {planted.first}-{planted.last}; "
        + ("; ".join(map(_tell_flag, flags[:4])) or _tell_unseen(planter, size, planted)),
    )


def _tell_flag(flag: Flag) -> str:
    place = f"{flag.part} {flag.start}-{flag.end}@{flag.peak}"
    return f"{flag.severity.word} {place} {flag.value:.3g} (limit {flag.limit:g})"


def _tell_unseen(planter: Planter, size: float, planted: Fault) -> str:
    """Say what the check measures there when all its limits for faint are as wide as they go."""
    if not planter.is_visible(size):
        return ""
    check = CHECKS[planter.check]
    wide: dict[str, tuple[float, float, float]] = {}
    for limits in (entry for entry in check.declarations if isinstance(entry, Limits)):
        widest = limits.minimum if limits.rising else limits.maximum
        if widest != limits.faint:
            wide[limits.name] = (widest, limits.clear, limits.glaring)
    reading = run_checks(planted.motion, [check], Settings(overrides={check.id: wide}))
    there = [f for f in reading.flags if names_part(f, planted) and _overlaps(f, planted)]
    if there:
        return "with limits opened: " + "; ".join(map(_tell_flag, there[:2]))
    reasons = {n.reason for n in reading.not_evaluated}
    return "nothing there with limits opened; " + "; ".join(sorted(reasons))[:160]


def peak_distance(flag: Flag, planted: Fault) -> int:
    """Return how many frames a flag's peak lies outside the planted span."""
    return max(0, planted.first - flag.peak, flag.peak - planted.last)


def names_part(flag: Flag, planted: Fault) -> bool:
    """Say whether a flag names a right part, as its own or among the others."""
    return flag.part in planted.parts or not planted.parts.isdisjoint(flag.other_parts)


def _is_hit(planter: Planter, flag: Flag, planted: Fault) -> bool:
    near = peak_distance(flag, planted) * 24.0 / planted.motion.fps <= NEAR_FRAMES
    return near and names_part(flag, planted) and flag.severity >= planter.least


def _overlaps(flag: Flag, planted: Fault) -> bool:
    return flag.start <= planted.last and flag.end >= planted.first


def _edge_distance(flag: Flag, planted: Fault) -> float:
    return 0.5 * (abs(flag.start - planted.first) + abs(flag.end - planted.last))


def count_severity(clean: CleanResult, check: str, least: Severity) -> int:
    """Count a check's flags on untouched motion from a severity on."""
    return sum(
        flag.check == check and Severity.from_word(flag.severity) >= least for flag in clean.flags
    )
