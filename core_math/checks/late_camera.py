# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""late-camera: does the camera wait, then rush?

An operator who follows a character starts with it or a moment before, and eases out after it. A
camera whose keys begin later lets the subject drift towards the edge, then has to rush to catch
up, and the audience notices the camera instead of the character.

The subject's and the camera's share of what happens in the picture are told apart; where a subject
at rest sets off and the camera answers by following it, the frames between the two starts are
counted.

Leave it for a camera that never moves, for a subject that leaves the frame on purpose (nobody
follows it), and for a camera that is on its way already. A delay played for surprise is the
director's call: mark it as meant.

Sources: start at a share of the peak speed as in movement research (Botzer & Karniel 2009); that
the camera starts with or just before the subject is common practice; no limit is published.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..check import Check, Group, Limits, Parameter, Values
from ..findings import CannotEvaluateError, Flag, Outcome
from ..measures import moves, picture, series
from ..motion import Motion, Stage
from ..units import Unit, reference_frames_to_frames

LATE = Limits(
    "late",
    faint=3.0,
    clear=6.0,
    glaring=10.0,
    unit=Unit.FRAMES_AT_24,
    minimum=0.5,
    maximum=96.0,
    description="Frames from the subject's start to the camera's; raise it for lazy operators.",
    source="practice: a spring-following rig trails by 2 to 4 frames, a person reacts in 5 to 6",
)
DRIFT = Parameter(
    "drift",
    default=4.0,
    unit=Unit.FRAME_WIDTH,
    minimum=0.5,
    maximum=50.0,
    description="How far the subject must drift in the picture meanwhile to matter.",
    source="practice: under 4 % of the width the framing still reads as settled",
)
TRAVEL = Parameter(
    "travel",
    default=12.0,
    unit=Unit.FRAME_WIDTH,
    minimum=2.0,
    maximum=200.0,
    description="How far across the picture a move of the subject must lead to need following.",
    source="practice: shorter moves stay within a third of the frame and need no camera",
)

SMOOTHING_HZ = 2.5  # takes out the bob of steps, keeps starts
REST_S, AROUND_S = 0.2, 1.5
ONSET_SHARE = 0.1
FOLLOWS = -0.3  # cosine between the two shares under which the camera goes along
SUBJECT_SPEED, CAMERA_SPEED = 0.08, 0.04  # picture widths a second that count as moving


@dataclass(frozen=True)
class Answer:
    """A start of the subject and the camera's answer; frames between frames, widths, ratio."""

    onset: float
    answered: float
    drift: float
    rush: float
    end: int


@dataclass(frozen=True, eq=False)
class Moves:
    """What happens to the subject's place in the picture, and the moves of both who make it."""

    seen: picture.PictureMotion
    subject: list[moves.Move]
    camera: list[moves.Move]
    lens_work: NDArray[np.float64]


def measure(motion: Motion, values: Values) -> list[Answer]:
    """Find the subject's starts and the camera moves that follow them."""
    both = measure_moves(motion)
    seen, lens_work, answers = both.seen, both.lens_work, both.camera
    rest = _count_rest(motion)
    found = []
    for move in both.subject:
        way = seen.by_subject[move.first : move.last + 1].sum(axis=0)
        far = 100.0 * float(np.linalg.norm(way))
        if move.rest_before < rest or far < values[TRAVEL.name]:
            continue
        answer = _find_answer(move, way, answers, seen)
        if answer is not None:
            first, begun = int(move.onset), int(np.ceil(answer.onset))
            drift = seen.by_subject[first : max(begun, first + 1)].sum(axis=0)
            speeds = lens_work[answer.first : answer.last + 1]
            found.append(
                Answer(
                    onset=move.onset,
                    answered=answer.onset,
                    drift=100.0 * float(np.linalg.norm(drift)),
                    rush=float(speeds.max() / max(speeds.mean(), 1e-12)),
                    end=answer.peak,
                )
            )
    return found


def measure_moves(motion: Motion) -> Moves:
    """Find the moves of subject and camera in the picture; `lens_work` is the camera's speed, (F,).

    Raises
    ------
    CannotEvaluateError
        When there is no camera, or the subject is behind it.
    """
    camera = motion.camera
    if camera is None:
        raise CannotEvaluateError("no shot camera")
    center = series.smooth(motion.heads.mean(axis=1), motion.fps, SMOOTHING_HZ)
    seen = picture.divide_motion(center, camera.positions, camera.rotations, camera.lens)
    if not np.isfinite(seen.places).all():
        raise CannotEvaluateError("the subject is behind the camera for a while")
    subject = picture.frame_speeds(seen.by_subject, motion.fps)
    lens_work = picture.frame_speeds(seen.by_camera, motion.fps)
    rest, around = _count_rest(motion), round(AROUND_S * motion.fps)
    starts, answers = (
        moves.find_moves(speed, least_peak=least, rest=rest, around=around, onset_share=ONSET_SHARE)
        for speed, least in ((subject, SUBJECT_SPEED), (lens_work, CAMERA_SPEED))
    )
    return Moves(seen, starts, answers, lens_work)


def _count_rest(motion: Motion) -> int:
    return max(2, round(REST_S * motion.fps))


def judge(motion: Motion, measured: list[Answer], values: Values) -> Iterator[Outcome]:
    """Flag answers that come late while the subject drifts."""
    for answer in measured:
        frames = answer.answered - answer.onset
        late = frames / reference_frames_to_frames(1.0, motion.fps)
        graded = values.grade(LATE.name, late)
        if graded is None or answer.drift < values[DRIFT.name]:
            continue
        severity, limit = graded
        yield Flag(
            check=CHECK.id,
            code="waits-then-rushes",
            subject=motion.subject,
            part="camera",
            other_parts=("hips",) if motion.has("hips") else (),
            start=motion.frame(round(answer.onset)),
            end=motion.frame(max(round(answer.onset), min(answer.end, motion.frame_count - 1))),
            peak=motion.frame(min(round(answer.answered), motion.frame_count - 1)),
            severity=severity,
            confidence=0.9,
            value=late,
            unit=Unit.FRAMES_AT_24,
            limit=limit,
            message=(
                f"Camera starts {frames:.0f} frames after the subject, which drifts "
                f"{answer.drift:.0f} % of the frame's width, then peaks at {answer.rush:.1f} x "
                "its mean speed"
            ),
            suggestion=(
                f"start the camera {frames:.0f} frames earlier, on frame "
                f"{motion.frame(round(answer.onset))} or just before, and let it ease out last"
            ),
        )


def _find_answer(
    move: moves.Move,
    way: NDArray[np.float64],
    answers: list[moves.Move],
    seen: picture.PictureMotion,
) -> moves.Move | None:
    """Return the camera move that sets off after the subject and goes along with it."""
    for answer in answers:
        under_way = answer.onset < move.onset and answer.end > move.onset
        if under_way:
            return None
        if move.onset <= answer.onset <= move.end:
            back = seen.by_camera[answer.first : answer.last + 1].sum(axis=0)
            size = float(np.linalg.norm(back) * np.linalg.norm(way))
            if size > 0.0 and float(back @ way) / size < FOLLOWS:
                return answer
    return None


CHECK = Check(
    id="late-camera",
    group=Group.CAMERA,
    question="Does the camera wait, then rush?",
    codes={"waits-then-rushes": "the camera starts after the subject has drifted off"},
    declarations=(LATE, DRIFT, TRAVEL),
    measure=measure,
    judge=judge,
    description=__doc__ or "",
    stages=frozenset({Stage.SPLINE, Stage.HELD}),
    needs_camera=True,
    minimum_frames=12,
)
