# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which recorder reads a subject, by which route.

A recorder never steps a frame itself. On the exact route it says which objects it needs and is
shown one evaluated frame after the other; on the direct route it evaluates blocks of frames by
itself. Both end in the same positions and rotations.
"""

from __future__ import annotations

from collections.abc import Generator, Mapping

import bpy

from ..core_math import SubjectKind
from .armature_recorder import ArmatureRecorder, check_armature
from .dependencies import OBJECT, find_scene_bound
from .object_recorder import ObjectRecorder
from .rig_mapping import iterate_mapping
from .source_reading import SourceReader
from .subject_recorder import DIRECT, EXACT, SubjectRecorder
from .subjects import SamplingError, Subject, find_object

__all__ = [
    "DIRECT",
    "EXACT",
    "ArmatureRecorder",
    "ObjectRecorder",
    "SubjectRecorder",
    "iterate_making",
]


def iterate_making(
    scene: bpy.types.Scene,
    subject: Subject,
    start: int,
    end: int,
    reader: SourceReader,
    corrections: Mapping[str, str] | None = None,
    in_scene: bool = False,
    route: str | None = None,
) -> Generator[None, None, SubjectRecorder]:
    """Make the recorder a subject needs, with pauses.

    Raises SamplingError when it cannot be sampled.

    Parameters
    ----------
    reader : SourceReader
        Of the sampling that is under way.
    in_scene : bool
        The frames come from the user's own scene, so that what only it can show may be read.
    route : str, optional
        "exact" or "direct"; chosen when left out.
    """
    owner = find_object(subject)
    yield from reader.iterate_pose(owner)
    scene_bound = {} if in_scene else find_scene_bound(owner, reader)
    if OBJECT in scene_bound:
        raise SamplingError(
            f"{subject.name}: {scene_bound[OBJECT]}, which only the scene itself can show; "
            "ask for it to be read in the scene, or bake it first"
        )
    yield
    recorder: SubjectRecorder
    if subject.kind is SubjectKind.ARMATURE:
        check_armature(subject, owner, reader)
        body = yield from iterate_mapping(owner, scene, corrections, reader)
        yield
        recorder = ArmatureRecorder(scene, subject, owner, start, end, reader, body, scene_bound)
    else:
        recorder = ObjectRecorder(scene, subject, owner, start, end, reader)
    yield
    if in_scene:
        recorder.route_reason = "read in the scene itself, as asked"
    elif route != EXACT:
        recorder.try_direct(wanted=route == DIRECT)
        yield
    return recorder
