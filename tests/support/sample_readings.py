# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Readings written by hand, for the tests of everything that comes after a reading."""

from dataclasses import replace

from fettle.core_math.findings import Crash, Flag, NotEvaluated, Severity
from fettle.core_math.motion import Stage, SubjectKind
from fettle.core_math.reading import MappedPart, ShotReading, SubjectFacts
from fettle.core_math.units import Unit

HAND = Flag(
    check="ik-lock",
    code="held-in-world",
    subject="Rig",
    part="hand.L",
    other_parts=("forearm.L",),
    start=22,
    end=35,
    peak=29,
    severity=Severity.CLEAR,
    confidence=0.86,
    value=0.08,
    unit=Unit.RATIO,
    limit=0.12,
    message="Left hand keeps its world angle for 14 frames while the forearm turns 40 deg",
    suggestion="let it rotate with the arm, or drag 1 to 2 frames behind",
)
POP = Flag(
    check="pop",
    code="one-frame",
    subject="Rig",
    part="head",
    start=120,
    end=120,
    peak=120,
    severity=Severity.GLARING,
    confidence=0.95,
    value=6.25,
    unit=Unit.BODY_HEIGHT,
    limit=4.0,
    message="Head jumps 6.3 % of body height on the last frame",
    suggestion="look at the key on frame 120",
)
SUBJECT = SubjectFacts(
    name="Rig",
    kind=SubjectKind.ARMATURE,
    stage=Stage.SPLINE,
    cadence=1,
    route="exact",
    route_reason="the arms follow constraints",
    height_m=1.72,
    parts={"hand.L": MappedPart("hand_L", 0.9), "head": MappedPart("頭", 1.0)},
    unmapped=("toe.L", "toe.R"),
)
SHOT = ShotReading(
    source="shot.blend",
    scene="Scene",
    fps=24.0,
    frame_range=(1, 120),
    camera="Cam",
    subjects=(SUBJECT,),
    flags=(POP, HAND),
    not_evaluated=(
        NotEvaluated("late-camera", "Rig", "no shot camera"),
        NotEvaluated("idle-shoulder", "Rig", "needs shoulder.L (not mapped)", part="shoulder.L"),
        NotEvaluated("ik-lock", "Rig", "the hand is planted", "hand.R", ((1, 20), (80, 90))),
    ),
    crashes=(Crash("strobe", "Rig", "ZeroDivisionError: division by zero (strobe.py:1)"),),
    sampling_s=0.031,
    checks_s=0.018,
)


def with_flags(*flags, shot=SHOT, **changes):
    """The sample shot with other flags."""
    return replace(shot, flags=flags, **changes)
