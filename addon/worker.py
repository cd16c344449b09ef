# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The far side of a job: a process of its own that opens one shot, reads it and ends.

It is told its job as one line of JSON on standard input and writes its result as JSON into the file
the job names. What Blender prints goes to standard error; standard output carries progress alone, a
JSON object a line. The process ends without taking Blender down, which can take minutes.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import sys
import tomllib
import traceback
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from ..core_math import (
    ALL_CHECKS,
    Motion,
    NotEvaluated,
    Review,
    Settings,
    Severity,
    ShotReading,
    State,
    TakeError,
    apply_marks,
    parse_settings,
    shot_to_data,
    write_whole,
)
from .jobs import make_failure

Tell = Callable[[float, str], None]


def main() -> None:
    """Do the job on standard input and end the process."""
    _die_with_parent()
    job = json.loads(sys.stdin.buffer.readline())
    tell = _take_over_output()
    _limit_memory(job.get("memory_mb"))
    try:
        result = do_job(job, tell)
    except Exception as error:
        traceback.print_exc()
        if _ran_out_of_memory(error):
            text = "needs more memory than it may have; raise --memory-limit"
        else:
            text = f"stopped by a fault in Fettle ({_describe(error)})"
        result = make_failure(job, text)
    write_whole(job["result"], json.dumps(result, allow_nan=False))
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(0)


@dataclass(frozen=True, slots=True)
class _ReadScene:
    scene: Any
    reading: ShotReading
    review: Review
    motions: tuple[Motion, ...]


def do_job(job: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """Do one job.

    Parameters
    ----------
    job : dict
        What `jobs.make_job` made.
    tell : callable
        Told progress from 0 to 1 and what is going on.

    Returns
    -------
    dict
        `shots` as in the findings document, and `errors`.
    """
    import bpy

    from .readings import collect_keys
    from .shot_faults import ShotFileError
    from .shot_files import open_shot

    bpy.ops.wm.read_factory_settings(use_empty=True)
    source = job["source"]
    try:
        opened = open_shot(Path(job["path"]), run_scripts=job["run_scripts"])
    except ShotFileError as error:
        return make_failure(job, str(error))
    if job["take"] is not None:
        return _fetch_take(job)
    read, refused = _read_scenes(job, opened.facts, tell)
    faults = [f"{source}: {text}" for text in opened.warnings]
    # A scene in which nothing moves is no fault of a file whose other scenes were read, unless
    # something was asked for by name.
    if not read or job["camera"] or job["frames"]:
        faults += refused
    if job["bake"] and read:
        faults += _bake(job, read)
    if job["trail_picture"] and read:
        faults += _draw_trail(job["trail_picture"], read[0])
    result: dict[str, Any] = {
        "shots": [shot_to_data(entry.reading, entry.review) for entry in read],
        "errors": [{"source": source, "error": text} for text in faults],
    }
    if job["keys"]:
        result["keys"] = [_list_keys(collect_keys(entry.motions)) for entry in read]
    if job["pictures"]:
        result["pictures"] = [_draw_pictures(entry) for entry in read]
    return result


def _fetch_take(job: dict[str, Any]) -> dict[str, Any]:
    """Return the takes of a name that are kept with the scenes of the open file."""
    import bpy

    from .scene_takes import list_takes, read_take

    name = job["take"]
    try:
        scenes = [scene for scene in bpy.data.scenes if scene.library is None]
        takes = [read_take(scene, name) for scene in scenes if name in list_takes(scene)]
        known = sorted({kept for scene in scenes for kept in list_takes(scene)})
    except TakeError as error:
        return make_failure(job, str(error))
    if not takes:
        names = ", ".join(known) or "none"
        return make_failure(job, f"no take {name!r} is kept in it (kept: {names})")
    source = f"{job['source']}#{name}"
    return {
        "shots": [shot_to_data(replace(take.reading, source=source)) for take in takes],
        "keys": [_list_keys(take.keys) for take in takes],
        "errors": [],
    }


def _list_keys(keys: Mapping[tuple[str, str], Any]) -> list[list[Any]]:
    return [[*place, [float(frame) for frame in frames]] for place, frames in keys.items()]


def _read_scenes(
    job: dict[str, Any], facts: tuple[str, ...], tell: Tell
) -> tuple[list[_ReadScene], list[str]]:
    import bpy

    from .readings import SamplingError

    read: list[_ReadScene] = []
    refused: list[str] = []
    scenes = [scene for scene in bpy.data.scenes if scene.library is None]
    settings = parse_settings(tomllib.loads(job["settings"]), ALL_CHECKS)
    for number, scene in enumerate(scenes):

        def tell_share(progress: float, text: str, number: int = number) -> None:
            tell((number + progress) / len(scenes), text)

        try:
            read.append(_read_scene(job, scene, settings, facts, tell_share))
        except SamplingError as error:
            refused.append(f"{job['source']}: {error}")
    return read, refused


def _read_scene(
    job: dict[str, Any], scene: Any, settings: Settings, facts: tuple[str, ...], tell: Tell
) -> _ReadScene:
    from .readings import collect_keys, iterate_reading, read_marks

    motions: list[Motion] = []
    steps = iterate_reading(
        scene,
        scene.view_layers[0],
        settings,
        frames=tuple(job["frames"]) if job["frames"] else None,
        camera=job["camera"],
        source=job["source"],
        budget_ms=200.0,
        keep=lambda samples: motions.extend(sample.motion for sample in samples.samples),
    )
    while True:
        try:
            tell(*next(steps))
        except StopIteration as end:
            reading = end.value
            break
    marks, notes = read_marks(scene)
    _, unused = apply_marks(reading.flags, marks, collect_keys(motions))
    reading = replace(
        reading,
        not_evaluated=(*reading.not_evaluated, *_name_left_out(job["left_out"], reading)),
        subjects=tuple(
            replace(subject, route_reason="; ".join((subject.route_reason, *facts)))
            for subject in reading.subjects
        ),
    )
    return _ReadScene(scene, reading, Review(notes, unused), tuple(motions))


def _name_left_out(left_out: dict[str, str], reading: ShotReading) -> list[NotEvaluated]:
    """Name what nobody asked for too: whoever compares two readings has to know."""
    return [
        NotEvaluated(check, subject.name, reason)
        for check, reason in left_out.items()
        for subject in reading.subjects
    ]


def _bake(job: dict[str, Any], read: list[_ReadScene]) -> list[str]:
    """Put the flags into the scenes as markers and save a copy; return what went wrong."""
    import bpy

    from . import markers

    target = Path(job["bake"]["out"])
    least = Severity.from_word(job["bake"]["at_least"])
    markers.register()
    for entry in read:
        markers.bake_markers(
            entry.scene,
            [f for f in entry.reading.flags if f.severity >= least and f.state is not State.MEANT],
        )
    beside = target.with_name(f".{target.stem}.{os.getpid()}.blend")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        bpy.context.preferences.filepaths.save_version = 0
        bpy.ops.wm.save_as_mainfile(filepath=str(beside), copy=True, check_existing=False)
        os.replace(beside, target)
    except (OSError, RuntimeError) as error:
        why = getattr(error, "strerror", None) or str(error).strip().splitlines()[-1]
        return [f"{target}: cannot be written ({why}); name another place with --out"]
    finally:
        with contextlib.suppress(OSError):
            beside.unlink()
    return []


def _draw_trail(path: str, entry: _ReadScene) -> list[str]:
    """Draw the trail of the hand with the worst flag; return what went wrong."""
    from .trail_picture import draw_worst_hand

    if draw_worst_hand(Path(path), entry.motions, entry.reading):
        return []
    return [f"{path}: there is no hand to draw a trail of in scene {entry.reading.scene!r}"]


def _draw_pictures(entry: _ReadScene) -> list[dict[str, str] | None]:
    """Draw the sheet's pictures of every flag, in the order of the flags."""
    from .sheet_pictures import draw_flags

    motions = {motion.subject: motion for motion in entry.motions}
    drawn = draw_flags(motions, entry.reading.flags)
    return [
        asdict(drawn[number]) if number in drawn else None
        for number in range(len(entry.reading.flags))
    ]


def _take_over_output() -> Tell:
    """Send what anybody prints to standard error and keep standard output for progress."""
    channel = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)

    def tell(progress: float, text: str) -> None:
        # Nobody listens any more when the caller was killed; the job is its own witness then.
        with contextlib.suppress(OSError):
            channel.write(json.dumps({"progress": round(progress, 3), "text": text}) + "\n")
            channel.flush()

    return tell


def _die_with_parent() -> None:
    """Ask Linux to end this process when the one that waits for it is gone."""
    if sys.platform == "linux":
        import ctypes

        pdeathsig = 1
        ctypes.CDLL(None).prctl(pdeathsig, signal.SIGKILL)


def _limit_memory(megabytes: int | None) -> None:
    if megabytes is None:
        return
    try:
        import resource
    except ImportError:  # Windows knows no such limit; the caller was told
        return
    limit = megabytes * 1024 * 1024
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))


def _ran_out_of_memory(error: Exception) -> bool:
    """Say whether memory was short; a library that finds no room says so in words of its own."""
    words = ("cannot allocate memory", "failed to map segment", "bad_alloc")
    return isinstance(error, MemoryError) or any(word in str(error).lower() for word in words)


def _describe(error: Exception) -> str:
    place = traceback.extract_tb(error.__traceback__)[-1]
    text = " ".join(str(error).split())
    return f"{type(error).__name__}: {text} at {Path(place.filename).name}:{place.lineno}"
