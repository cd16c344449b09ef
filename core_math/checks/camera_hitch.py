# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""camera-hitch: does the camera stop, start or kink?

The camera moves the whole picture, so its smallest hitch is seen everywhere at once: a frame that
jumps and comes back, a stop of a few frames in the middle of a pan, a start or a stop without any
ease.

What the camera does to the picture at the place of the subject is judged, whether it pans, tracks,
zooms or rolls, in shares of the frame's width (zoom and roll a quarter of the width from there).
It has a cadence of its own, whatever its subject is held on.

Leave it at cuts (each shot is read by itself), also those made with keys, where it jumps to a
clearly other view and stays; for the start and end of a whip pan; and for hand-held
cameras: a jump or a kink must stand out from the shake around it.

Sources: a change of speed is seen from about 7 % on (De Bruyn & Orban 1988), spread over 100 ms
(Snowden & Braddick 1991); a single picture is recognised at 13 ms (Potter and others 2014). The
limits, in widths of the frame, are the project's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, Outcome
from ..measures import camera_work, geometry, series, spikes, stage, stalls
from ..motion import Motion, Stage, SubjectKind
from ..units import Unit

FloatArray = NDArray[np.float64]

JUMP = Limits(
    "jump",
    faint=0.3,
    clear=0.7,
    glaring=2.0,
    unit=Unit.FRAME_WIDTH,
    minimum=0.02,
    maximum=50.0,
    description="How far the picture jumps for a frame and comes back.",
    source="practice: 0.3 % is six pixels of a 1920 frame, seen when the whole picture does it",
)
LOST = Limits(
    "lost",
    faint=0.5,
    clear=1.2,
    glaring=3.0,
    unit=Unit.FRAME_WIDTH,
    minimum=0.05,
    maximum=50.0,
    description="Way the camera would have gone in the frames in which it stops.",
    source="practice: the way lost is what the eye has already predicted",
)
KINK = Limits(
    "kink",
    faint=0.4,
    clear=0.8,
    glaring=1.6,
    unit=Unit.FRAME_WIDTH,
    minimum=0.05,
    maximum=50.0,
    description="Change of speed (width per frame at 24 fps) within a frame: a hard start or stop.",
    source="practice: a pan of one width in 7 s (the rule against judder) makes 0.6 % a frame",
)
STAND_OUT = Parameter(
    "stand_out",
    default=9.0,
    unit=Unit.RATIO,
    minimum=3.0,
    maximum=100.0,
    description="Jump over the shake around it; raise it for rough hand-held cameras.",
    source="practice: between the 7.5 asked of arcs and the 11 of pops, set on open captures",
)
KINK_SHARE = Parameter(
    "kink_share",
    default=0.6,
    unit=Unit.RATIO,
    minimum=0.2,
    maximum=1.0,
    description="Share of the pan's speed that must come or go within one frame to be a kink.",
    source="an ease of three frames changes at most half the speed in one of them",
)
KINK_OVER = Parameter(
    "kink_over",
    default=4.0,
    unit=Unit.RATIO,
    minimum=1.0,
    maximum=50.0,
    description="Kink over the usual change of speed around it; raise it for rough hand-held.",
    source="a random shake exceeds 4 medians on one frame in 65,536 (Rayleigh: 2 to the -16)",
)
WHIP = Parameter(
    "whip",
    default=0.4,
    unit=Unit.SECONDS,
    minimum=0.0,
    maximum=5.0,
    description="A pan across a full width in less than this is a whip, which may start hard.",
    source="practice: in a whip pan nothing is seen between its ends; ten frames at 24 fps",
)
STOP = Parameter(
    "stop",
    default=0.25,
    unit=Unit.SECONDS,
    minimum=0.04,
    maximum=1.0,
    description="Longest stop that counts as a hitch; longer ones are rests.",
    source="six frames at 24 fps, as for body parts",
)

CUT = Parameter(
    "cut",
    default=15.0,
    unit=Unit.FRAME_WIDTH,
    minimum=1.0,
    maximum=200.0,
    description="A jump this large that stays is a cut made with keys, and left alone.",
    source="practice: an edit to nearly the same view jumps, one to a clearly other view cuts",
)

SIDE_S, AROUND_S, VALLEY = 0.17, 0.5, 0.15
MISS = 0.2  # of its size by which a jump must miss every smooth path, or else be
CLEARER = 0.5  # explained by a frame off its path this much better than by a change of speed
STAYS = 0.4  # of its size by which a jump that stays must miss the steps around it
FEWEST = 12


@dataclass(frozen=True)
class Hitch:
    """One hitch (frame indices), its code, and its size in % of the frame's width."""

    code: str
    first: int
    last: int
    percent: float


def measure(motion: Motion, values: Values) -> list[Hitch]:
    """Find jumps, stops and hard starts in what the camera does to the picture."""
    camera = motion.camera
    if camera is None:
        raise CannotEvaluateError("no shot camera")
    # A point that moves slowly, so that its own haste is not taken for the camera's.
    center = series.smooth(motion.heads.mean(axis=1), motion.fps, 2.0)
    steps = 100.0 * camera_work.measure_work(
        center, camera.positions, camera.rotations, camera.lens
    )
    if not np.isfinite(steps).all():
        raise CannotEvaluateError("the subject is behind the camera for a while")
    # The camera has a cadence of its own: on ones as a rule, whatever its subject moves on.
    size = geometry.lengths(steps)
    cadence = stage.find_cadence(size)
    path = np.concatenate((np.zeros((1, steps.shape[1])), np.cumsum(steps, axis=0)))
    used = np.arange(len(path))
    if cadence > 1:
        begins = np.flatnonzero(~stage.find_held_steps(size)) + 1
        used = used[int(np.argmax(np.bincount(begins % cadence, minlength=cadence))) :: cadence]
    path, fps = path[used], motion.fps / cadence
    if len(path) < FEWEST:
        raise CannotEvaluateError("the camera shows too few different pictures")
    found = [
        *_find_jumps(path, values),
        *_find_stops(path, fps, values),
        *_find_kinks(np.diff(path, axis=0), fps, values),
    ]
    until = np.append(used[1:], motion.frame_count) - 1
    return [replace(h, first=int(used[h.first]), last=int(until[h.last])) for h in found]


def judge(motion: Motion, measured: list[Hitch], values: Values) -> Iterator[Outcome]:
    """Flag hitches; the edges of a jump or a stop are not told again as kinks."""
    others = [hitch for hitch in measured if hitch.code != "kinks"]
    texts = {
        "jumps": (
            JUMP,
            "jumps {:.1f} % of the frame's width from one frame to the next",
            "look for a stray key, or one with constant interpolation",
        ),
        "stops-and-goes": (
            LOST,
            "stops on its way and goes on, {:.1f} % of the frame's width behind",
            "take out the flat keys in the middle of the move",
        ),
        "kinks": (
            KINK,
            "changes speed by {:.1f} % of the frame's width a frame (at 24 fps), within a frame,",
            "give the start or stop an ease of three frames or more",
        ),
    }
    for hitch in measured:
        limits, words, suggestion = texts[hitch.code]
        graded = values.grade(limits.name, hitch.percent)
        near = (o for o in others if o.first - 2 <= hitch.first <= o.last + 2)
        if graded is None or (hitch.code == "kinks" and any(near)):
            continue
        severity, limit = graded
        yield Flag(
            check=CHECK.id,
            code=hitch.code,
            subject=motion.subject,
            part="camera",
            start=motion.frame(hitch.first),
            end=motion.frame(hitch.last),
            peak=motion.frame(hitch.first),
            severity=severity,
            confidence=0.85,
            value=hitch.percent,
            unit=Unit.FRAME_WIDTH,
            limit=limit,
            message=f"Camera {words.format(hitch.percent)} at frame {motion.frame(hitch.first)}",
            suggestion=suggestion,
        )


def _find_jumps(path: FloatArray, values: Values) -> list[Hitch]:
    """Find frames that are thrown off, and frames from which on the picture has jumped aside."""
    least, enough = min(values.limits[JUMP.name]), values[STAND_OUT.name]
    known: dict[str, Any] = {"least": least, "floor": 0.05 * least}
    sides = path[:, np.newaxis]
    inner = spikes.find_all_spikes(sides, enough, **known)
    real = (inner.misses >= MISS * inner.sizes) | camera_work.is_spike(path, inner.firsts, CLEARER)
    inner = inner.select(real & (inner.ratings >= enough))
    mended = path.copy()
    np.subtract.at(mended, inner.firsts, inner.heights)
    # A jump that stays is one step that is off; a change of speed lies on the steps around it.
    stays = spikes.find_spikes(np.diff(mended, axis=0)[:, np.newaxis], miss_share=STAYS, **known)
    stays = stays.select((stays.ratings >= enough) & (stays.sizes < values[CUT.name]))
    found = [
        Hitch("jumps", int(first) + late, int(last) + late, float(size))
        for spike, late in ((inner, 0), (stays, 1))
        for first, last, size in zip(spike.firsts, spike.lasts, spike.sizes, strict=True)
    ]
    for turned in (False, True):
        end = spikes.find_end_spikes(sides[:: -1 if turned else 1], miss_share=MISS, **known)
        frame = 0 if turned else len(path) - 1
        found += [
            Hitch("jumps", frame, frame, float(size))
            for size, rating in zip(end.sizes, end.ratings, strict=True)
            if rating >= enough
        ]
    return found


def _find_stops(path: FloatArray, fps: float, values: Values) -> list[Hitch]:
    longest = max(1, round(values[STOP.name] * fps))
    side, around = max(2, round(SIDE_S * fps)), max(4, round(AROUND_S * fps))
    found = stalls.find_stalls(path[:, np.newaxis], longest, side, around, VALLEY)
    return [
        Hitch("stops-and-goes", int(first), int(last), float(loss))
        for first, last, loss, likeness in zip(
            found.firsts, found.lasts, found.losses, found.likeness, strict=True
        )
        if likeness > 0.5
    ]


def _find_kinks(steps: FloatArray, fps: float, values: Values) -> list[Hitch]:
    """Find frames on which most of the speed around comes or goes at once."""
    # The same change of speed is the same kink at every frame rate.
    steps = steps * (fps / 24.0)
    speed = geometry.lengths(steps)
    change = geometry.lengths(np.diff(steps, axis=0))
    least = min(values.limits[KINK.name])
    reach, around = max(2, round(0.25 * fps)), max(4, round(AROUND_S * fps))
    found: list[Hitch] = []
    for row in np.flatnonzero(change >= least):
        before, after = steps[max(0, row - reach) : row + 1], steps[row + 1 : row + 1 + reach]
        if len(before) < 2 or len(after) < 2:
            continue
        # A single frame that differs is a jump, so the typical speeds must differ too.
        typical = np.linalg.norm(np.median(after, axis=0) - np.median(before, axis=0))
        fastest = float(speed[max(0, row - reach) : row + 1 + reach].max())
        # In a hand the speed changes all the time: what ends or begins must stand out from that.
        beside = change[max(0, row - around) : row + around + 1]
        usual = float(np.median(beside))
        hard = (
            change[row] >= values[KINK_SHARE.name] * fastest
            and typical >= 0.5 * change[row]
            and fastest * values[WHIP.name] * 24.0 <= 100.0
            and change[row] >= values[KINK_OVER.name] * usual
        )
        if hard and not (found and row + 1 - found[-1].last <= 2):
            found.append(Hitch("kinks", int(row) + 1, int(row) + 1, float(change[row])))
    return found


CHECK = Check(
    id="camera-hitch",
    group=Group.CAMERA,
    question="Does the camera stop, start or kink?",
    codes={
        "jumps": "the picture is thrown off for a frame, or jumps aside and stays",
        "stops-and-goes": "the camera stops on its way and goes on",
        "kinks": "the camera starts or stops without any ease",
    },
    declarations=(JUMP, LOST, KINK, STAND_OUT, KINK_SHARE, KINK_OVER, WHIP, STOP, CUT),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset({Stage.SPLINE, Stage.HELD}),
    kinds=frozenset(SubjectKind),
    needs_camera=True,
    minimum_frames=12,
)
