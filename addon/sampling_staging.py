# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What lies around the subjects in the shot camera's picture: sight lines and places of things.

    steps = look_around(scene, view_layer, subjects, samples)     # 0..1, once per slice
    samples = run_sampling(steps)                       # the same samples with their `staging`

Everything that shows in the render is linked into a temporary scene, which is put on some of the
frames; the user's scene and frame are never touched. Every fourth frame at 24 fps is looked at and
the frames on both sides of a cut; between two looks that differ there is another one, until the
very frame of the change is known. Points of the body are looked at by rays, things in the picture
by the corners of their bounds. What collections or geometry nodes show in many places belongs to
the object that shows it.
"""

from __future__ import annotations

import time
from collections.abc import Generator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core_math import Motion, ShotCamera, Staging, SubjectKind
from .animation_data import list_played_curves
from .sampling import Sample, ShotSamples, metres_per_unit
from .sampling_scene import TemporaryScene
from .sight_lines import Caster, CasterMemory, may_instance
from .slicing import FIRST_FRAME, Clock
from .subjects import Subject, find_object

FloatArray = NDArray[np.float64]

LOOKS_PER_SECOND = 6.0
"""How often the surroundings are looked at: nothing that hides for four frames at 24 is missed."""

CHANGE = 0.1
"""Difference of the hidden share between two looks from which there is another one between."""

SOLID_TYPES = frozenset({"MESH", "CURVE", "SURFACE", "META", "FONT"})
SMALL_PARTS = ("thumb", "index", "middle", "ring", "pinky", "strand")
TOUCH = 0.02
"""Share of the body's size before a point within which a thing is touched, not in front."""


@dataclass
class _Looked:
    """What was seen around one subject, growing look by look: by frame."""

    motion: Motion
    own: frozenset[str]
    points: FloatArray
    hidden: dict[int, FloatArray]
    tried: dict[int, int]


def look_around(
    scene: bpy.types.Scene,
    view_layer: bpy.types.ViewLayer,
    subjects: Sequence[Subject],
    samples: ShotSamples,
    budget_ms: float = float("inf"),
) -> Generator[float, None, ShotSamples]:
    """Add to each character's sample what lies around it, when there is a shot camera.

    Parameters
    ----------
    scene, view_layer
        Only read.
    subjects : sequence of Subject
        Who was sampled.
    samples : ShotSamples
    budget_ms : float
        How long a slice may take before the caller has its turn.

    Raises
    ------
    InterruptedReadingError
        When the file was saved, undone or loaded between two slices: start again.
    """
    seen = [
        sample
        for sample in samples.samples
        if sample.motion.camera is not None and sample.motion.kind is SubjectKind.ARMATURE
    ]
    if not seen:
        return samples
    clock = Clock(budget_ms)
    fps = seen[0].motion.fps
    step = max(1, round(fps / LOOKS_PER_SECOND))
    first = min(int(sample.motion.frames[0]) for sample in seen)
    last = max(int(sample.motion.frames[-1]) for sample in seen)
    cuts = {cut for sample in seen for cut in sample.motion.cuts if first < cut <= last}
    coarse = {*range(first, last + 1, step), last, *cuts, *(cut - 1 for cut in cuts)}
    who = {subject.name: subject for subject in subjects}
    own = [find_own(scene, who[sample.motion.subject]) for sample in seen]
    never = frozenset.intersection(*own)
    things = [thing for thing in list_things(view_layer) if thing.name_full not in never]
    names = tuple(thing.name_full for thing in things)
    unit = metres_per_unit(scene)
    looked = [_start(sample.motion, mine) for sample, mine in zip(seen, own, strict=True)]
    corners: dict[int, FloatArray] = {}
    memory = CasterMemory()
    if clock.is_over(ahead=FIRST_FRAME):
        yield from clock.pause(0.0)
    stage_set = TemporaryScene(scene, things)
    try:
        waiting, longest = sorted(coarse), 0.0
        while waiting:
            for number, frame in enumerate(waiting):
                # What is still to come between two looks is not known: the first round is most.
                share = (len(corners) + 1) / (len(corners) + len(waiting) - number)
                if clock.is_over(ahead=longest):
                    yield from clock.pause(min(0.99, share))
                begun = time.perf_counter()
                caster = Caster(stage_set.step(frame), things, memory)
                corners[frame] = caster.corners * unit
                # The first frame builds the relations: no measure of those that follow.
                took = time.perf_counter() - begun if len(corners) > 1 else 0.0
                longest = max(took, 0.95 * longest)
                for subject in looked:
                    for _ in _iterate_looking(subject, frame, caster, unit):
                        if clock.is_over():
                            yield from clock.pause(min(0.99, share))
                            # What was evaluated must not be held over the caller's turn.
                            caster.renew(stage_set.step(frame))
            waiting = _list_between(looked, sorted(corners), cuts)
    finally:
        stage_set.remove()
    if clock.is_over():
        yield from clock.pause(0.99)
    done = {subject.motion.subject: _finish(subject, step, names, corners) for subject in looked}
    changed = tuple(
        Sample(done.get(sample.motion.subject, sample.motion), sample.facts)
        for sample in samples.samples
    )
    return replace(samples, samples=changed, sampling_s=samples.sampling_s + clock.total())


def _list_between(looked: Sequence[_Looked], frames: list[int], cuts: set[int]) -> list[int]:
    """Return the frames in the middle between neighbouring looks that differ."""
    middles = []
    for before, after in zip(frames, frames[1:], strict=False):
        if after - before < 2 or after in cuts:
            continue
        for subject in looked:
            one, other = subject.hidden.get(before), subject.hidden.get(after)
            if one is None or other is None:
                continue
            if abs(float(one.sum() - other.sum())) >= CHANGE:
                middles.append((before + after) // 2)
                break
    return middles


def list_things(view_layer: bpy.types.ViewLayer) -> list[bpy.types.Object]:
    """Return the objects with a surface that shows in the render.

    Left out: hidden from the render, invisible to the camera, shadow catchers, and collections
    that are left out or only lit by. A holdout stays: it hides what is behind it. How the viewport
    shows a thing (hidden, as wire, in front) makes no difference.
    """
    shown: dict[bpy.types.Object, None] = {}

    def walk(layer: Any) -> None:
        collection = layer.collection
        if layer.exclude or layer.indirect_only or collection.hide_render:
            return
        for entry in collection.objects:
            shown[entry] = None
        for child in layer.children:
            walk(child)

    walk(view_layer.layer_collection)
    return [
        entry
        for entry in shown
        if (entry.type in SOLID_TYPES or (entry.type == "EMPTY" and may_instance(entry)))
        and entry.visible_camera
        and not entry.is_shadow_catcher
        and not (entry.hide_render and not _has_curve(entry, "hide_render"))
    ]


def find_own(scene: bpy.types.Scene, subject: Subject) -> frozenset[str]:
    """Return the names of a subject's own objects: itself, what it wears, carries and deforms."""
    owner = find_object(subject)
    own = {owner, *owner.children_recursive}
    for _ in range(3):
        grown = {entry for entry in scene.objects if entry not in own and _follows(entry, own)}
        if not grown:
            break
        own |= grown | {child for entry in grown for child in entry.children_recursive}
    return frozenset(entry.name_full for entry in own)


def _follows(entry: bpy.types.Object, own: set[bpy.types.Object]) -> bool:
    if entry.parent in own:
        return True
    for modifier in entry.modifiers:
        if modifier.type in ("ARMATURE", "SURFACE_DEFORM", "MESH_DEFORM"):
            target = getattr(modifier, "object", None) or getattr(modifier, "target", None)
            if target in own:
                return True
    for constraint in entry.constraints:
        if constraint.type == "ARMATURE":
            if any(target.target in own for target in constraint.targets):
                return True
        elif constraint.type in ("CHILD_OF", "COPY_TRANSFORMS", "COPY_LOCATION"):
            if constraint.target in own:
                return True
    return False


def _has_curve(entry: bpy.types.Object, path: str) -> bool:
    return any(played.curve.data_path == path for played in list_played_curves(entry))


def _start(motion: Motion, own: frozenset[str]) -> _Looked:
    rows = [
        row
        for row, part in enumerate(motion.parts)
        if part != "root" and not part.startswith(SMALL_PARTS)
    ] or list(range(len(motion.parts)))
    heads, tails = motion.heads[:, rows], motion.tails[:, rows]
    points = np.concatenate((heads, 0.5 * (heads + tails)), axis=1)
    return _Looked(motion, own, points, hidden={}, tried={})


def _iterate_looking(
    subject: _Looked, frame: int, caster: Caster, unit: float
) -> Generator[None, None, None]:
    """Look at the points of one subject that are in the picture, pausing after each.

    After a pause the caster may have been renewed.
    """
    motion: Motion = subject.motion
    row = frame - int(motion.frames[0])
    if not 0 <= row < motion.frame_count or motion.camera is None:
        return
    hidden = subject.hidden[frame] = np.zeros(len(caster.rows))
    subject.tried[frame] = 0
    camera = motion.camera.slice(row, row + 1)
    if camera.panoramic:
        return
    points = subject.points[row]
    places, depths = camera.project(points[np.newaxis])
    inside = ((places[0] >= 0.0) & (places[0] <= 1.0)).all(axis=-1)
    inside &= (depths[0] > camera.clip_m[0, 0]) & (depths[0] < camera.clip_m[0, 1])
    subject.tried[frame] = int(inside.sum())
    origins = _find_origins(camera, points[inside], depths[0][inside])
    touch = TOUCH * motion.height / unit
    own = subject.own | caster.list_held(_find_hands(motion, row) / unit, motion.height / unit)
    origins, targets = origins / unit, points[inside] / unit
    # Most sight lines meet nothing's bounds: those are clear without looking closer.
    for ray in np.flatnonzero(caster.find_in_the_way(origins, targets, own)):
        thing = caster.find_first(origins[ray], targets[ray], touch, own)
        if thing is not None:
            hidden[thing] += 1.0 / subject.tried[frame]
        yield


def _find_hands(motion: Motion, row: int) -> FloatArray:
    """Return the wrists and fingertips at one frame, shape (N, 3), metres."""
    hands = [number for number, part in enumerate(motion.parts) if part in ("hand.L", "hand.R")]
    return np.concatenate((motion.heads[row, hands], motion.tails[row, hands]))


def _find_origins(camera: ShotCamera, points: FloatArray, depths: FloatArray) -> FloatArray:
    """Return where sight lines begin: at the near clip of the way from the eye to each point."""
    eye, near = camera.positions[0], camera.clip_m[0, 0]
    if not camera.orthographic:
        return eye + (points - eye) * (near / depths)[:, np.newaxis]
    w, x, y, z = camera.rotations[0]
    back = np.array([2 * (x * z + w * y), 2 * (y * z - w * x), 1 - 2 * (x * x + y * y)])
    return points + back * (depths - near)[:, np.newaxis]


def _finish(
    subject: _Looked, step: int, names: tuple[str, ...], corners: dict[int, FloatArray]
) -> Motion:
    """Return the motion with what was seen around it."""
    motion = subject.motion
    camera = motion.camera
    frames = sorted(subject.hidden)
    rows = np.array(frames, dtype=np.int64) - int(motion.frames[0])
    around = np.array([name not in subject.own for name in names], dtype=bool)
    if camera is None or len(rows) == 0:
        return motion
    places, depths = camera.pick(rows).project(np.stack([corners[frame] for frame in frames]))
    # Corners behind the camera have no place: a thing on both sides of it fills the picture.
    low = np.where(np.isnan(places), np.where(depths[..., np.newaxis] < 0, -np.inf, np.inf), places)
    high = np.where(
        np.isnan(places), np.where(depths[..., np.newaxis] < 0, np.inf, -np.inf), places
    )
    boxes = np.concatenate((low.min(axis=2), high.max(axis=2)), axis=-1)
    near, far = depths.min(axis=2), depths.max(axis=2)
    out = ~(far > 0.0) | ~np.isfinite(near)
    near, far = np.where(out, np.nan, near), np.where(out, np.nan, far)
    boxes = np.where(out[..., np.newaxis], np.nan, boxes)
    staging = Staging(
        rows=rows,
        step=step,
        things=tuple(name for name, there in zip(names, around, strict=True) if there),
        hidden=np.stack([subject.hidden[frame] for frame in frames])[:, around],
        tried=np.array([subject.tried[frame] for frame in frames], dtype=np.int64),
        depths=np.stack((near, far), axis=-1)[:, around],
        boxes=boxes[:, around],
    )
    return replace(motion, staging=staging, _memo={})
