# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""no-overlap: do all joints of a chain turn over on the same frame?

A chain that swings passes its turn on: the first joint goes back while the last one still flies
out. When every joint reverses on the same frame, a braid is a plank and an arm a lever; it is what
keys on common frames give as long as nobody offsets them.

For arms, trunk and every strand the frame on which each joint turns over is found, swing by swing,
and the spread from the first joint to the last is counted.

Leave it for rigid props and chains that are meant to move as one; chains with a single joint that
swings are not judged.

Sources: a distal segment starts when its proximal neighbour is fastest (Putnam 1993, as cited in J
Exp Biol 224 jeb227207), though the order is not universal, so only the spread counts. Offsets of 1
to 3 frames per joint are common practice. On open captures 0 to 25 % of the swings of arms and
trunk turn over within half a frame at 24 fps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np

from ..check import Check, Group, Limits, Parameter, Steps, Values
from ..findings import CannotEvaluateError, Flag, Outcome, say_part
from ..measures import chains, series
from ..motion import Motion, Stage
from ..units import Unit, reference_frames_to_frames

SHARE = Limits(
    "share",
    faint=60.0,
    clear=80.0,
    glaring=95.0,
    unit=Unit.PERCENT,
    minimum=30.0,
    maximum=100.0,
    description="Share of a chain's swings that turn over on one frame; lower it to ask for more.",
    source="measured: natural arms and trunks do it on 0 to 25 % of their swings",
)
SAME_FRAME = Parameter(
    "same_frame",
    default=0.5,
    unit=Unit.FRAMES_AT_24,
    minimum=0.1,
    maximum=3.0,
    description="Joints that turn over within this of each other turn over on the same frame.",
    source="half a frame: what rounding to whole frames cannot tell apart",
)
SWING = Parameter(
    "swing",
    default=4.0,
    unit=Unit.DEGREES,
    minimum=0.5,
    maximum=45.0,
    description="How far a joint must swing there and back for its turn to count.",
    source="measured: below it a capture's own noise has turning points",
)
FEWEST = Parameter(
    "fewest",
    default=5.0,
    unit=Unit.COUNT,
    minimum=2.0,
    maximum=30.0,
    description="Fewest swings in a row before a habit is spoken of.",
    source="measured: natural chains have up to four such swings in a row by chance",
)

SMOOTHING_HZ = 6.0
NEAREST_S = 0.2  # turns farther apart than this belong to different swings
JOINT_SHARE = 0.6  # of a chain's joints must take part in a swing


@dataclass(frozen=True)
class Chain:
    """A chain's swings in order: when each turns over, and by how many frames it is spread."""

    part: str
    parts: tuple[str, ...]
    middles: tuple[float, ...]
    spreads: tuple[float, ...]


def measure(motion: Motion, values: Values) -> Steps[list[Chain]]:
    """Find the frames on which the joints of each chain turn over."""
    found = []
    for parts in _list_chains(motion):
        compute = partial(_measure_chain, motion, parts, values)
        found.append(motion.memo((CHECK.id, parts), compute, values.key))
        yield
    if not found:
        raise CannotEvaluateError("needs an arm, a trunk or a strand of at least two joints")
    return found


def _measure_chain(motion: Motion, parts: tuple[str, ...], values: Values) -> Chain:
    signals, _ = chains.swing_signals(motion.turns(parts), motion.fps, SMOOTHING_HZ)
    times = chains.find_turning_points(signals, values[SWING.name])
    least = max(2, int(np.ceil(JOINT_SHARE * len(parts))))
    swings = chains.match_turning_points(times, NEAREST_S * motion.fps, least)
    return Chain(
        part=parts[0] if parts[0].startswith("strand:") else parts[-1],
        parts=parts,
        middles=tuple(swing.middle for swing in swings),
        spreads=tuple(swing.spread for swing in swings),
    )


def judge(motion: Motion, measured: list[Chain], values: Values) -> Iterator[Outcome]:
    """Flag the stretch over which a chain's joints keep turning over together."""
    for chain in measured:
        same = np.array(chain.spreads) <= values.frames(SAME_FRAME.name)
        # One swing that differs does not end a habit.
        for first, last in series.find_runs(series.close_gaps(same, 1)):
            count = last - first + 1
            if count < values[FEWEST.name]:
                continue
            share = 100.0 * float(np.mean(same[first : last + 1]))
            graded = values.grade(SHARE.name, share)
            if graded is None:
                continue
            severity, limit = graded
            frames = [round(chain.middles[i]) for i in (first, (first + last) // 2, last)]
            spread = float(np.median(chain.spreads[first : last + 1]))
            per_joint = reference_frames_to_frames(2.0, motion.fps)
            yield Flag(
                check=CHECK.id,
                code="all-joints-at-once",
                subject=motion.subject,
                part=chain.part,
                other_parts=tuple(part for part in chain.parts if part != chain.part),
                start=motion.frame(frames[0]),
                end=motion.frame(frames[2]),
                peak=motion.frame(frames[1]),
                severity=severity,
                confidence=min(1.0, 0.5 + 0.05 * count),
                value=share,
                unit=Unit.PERCENT,
                limit=limit,
                message=(
                    f"All {len(chain.parts)} joints down to the {say_part(chain.parts[-1])} turn "
                    f"over within {spread:.1f} frames on {share:.0f} % of {count} swings"
                ),
                suggestion=f"offset each joint by about {per_joint:.0f} frames down the chain",
            )


def _list_chains(motion: Motion) -> list[tuple[str, ...]]:
    """List the chains that are judged: arms, trunk, strands; joints from the body outward."""
    trunk = [part for base in ("spine", "chest", "neck", "head") for part in motion.chain(base)]
    arms = [
        [p for p in (f"upper_arm{s}", f"forearm{s}", f"hand{s}") if motion.has(p)]
        for s in (".L", ".R")
    ]
    loose = [
        list(motion.chain(part))
        for part in motion.parts
        if part.startswith("strand:") and "/" not in part
    ]
    return [tuple(parts) for parts in (*arms, trunk, *sorted(loose)) if len(parts) > 1]


CHECK = Check(
    id="no-overlap",
    group=Group.BETWEEN,
    question="Do all joints of a chain turn over on the same frame?",
    codes={"all-joints-at-once": "the joints of a chain reverse on the same frame, swing by swing"},
    declarations=(SHARE, SAME_FRAME, SWING, FEWEST),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset({Stage.SPLINE}),
    minimum_frames=12,
)
