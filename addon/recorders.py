# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which recorder reads a subject, by which route.

A recorder never steps a frame itself. On the exact route it says which objects it needs and is
shown one evaluated frame after the other; on the direct route it evaluates blocks of frames by
itself. Both end in the same positions and rotations.
"""

from __future__ import annotations

from collections.abc import Mapping

import bpy

from ..core_math import SubjectKind
from .armature_recorder import ArmatureRecorder
from .curve_tables import CurveReader
from .dependencies import OBJECT, find_scene_bound
from .object_recorder import ObjectRecorder
from .subject_recorder import DIRECT, EXACT, SubjectRecorder
from .subjects import SamplingError, Subject, find_object

__all__ = [
    "DIRECT",
    "EXACT",
    "ArmatureRecorder",
    "ObjectRecorder",
    "SubjectRecorder",
    "make_recorder",
]


def make_recorder(
    scene: bpy.types.Scene,
    subject: Subject,
    start: int,
    end: int,
    corrections: Mapping[str, str] | None = None,
    in_scene: bool = False,
    route: str | None = None,
    reader: CurveReader | None = None,
) -> SubjectRecorder:
    """Make the recorder a subject needs; raises SamplingError when it cannot be sampled.

    Parameters
    ----------
    in_scene : bool
        The frames come from the user's own scene, so that what only it can show may be read.
    route : str, optional
        "exact" or "direct"; chosen when left out.
    reader : CurveReader, optional
        Of the sampling that is under way.
    """
    reader = reader or CurveReader()
    owner = find_object(subject)
    scene_bound = {} if in_scene else find_scene_bound(owner)
    if OBJECT in scene_bound:
        raise SamplingError(
            f"{subject.name}: {scene_bound[OBJECT]}, which only the scene itself can show; "
            "ask for it to be read in the scene, or bake it first"
        )
    recorder: SubjectRecorder
    if subject.kind is SubjectKind.ARMATURE:
        recorder = ArmatureRecorder(
            scene, subject, owner, start, end, reader, corrections, scene_bound
        )
    else:
        recorder = ObjectRecorder(scene, subject, owner, start, end, reader)
    if in_scene:
        recorder.route_reason = "read in the scene itself, as asked"
    elif route != EXACT:
        recorder.try_direct(wanted=route == DIRECT)
    return recorder
