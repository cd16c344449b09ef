# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""From samples to a Motion: broken parts left out, rotations settled, size and stage found."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from functools import wraps
from typing import ParamSpec, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .camera import ShotCamera
from .measures import body, geometry, stage
from .measures.claiming import claim, copy_in_pieces, list_pieces
from .measures.pieces import Steps, run_steps
from .motion import DRAWING_ROWS, KeyTrack, Motion, RotationChannels, Stage, SubjectKind
from .settling import (
    iterate_change,
    settle_on_parents,
    settle_rotations,
    show_samples,
    take_numbers,
)
from .staging import Staging

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
T = TypeVar("T")
P = ParamSpec("P")


class MotionError(ValueError):
    """The samples cannot be made into a Motion; the message says what, where and what to do."""


def iterate_motion(
    *,
    subject: str,
    frames: ArrayLike,
    fps: float,
    parts: Sequence[str],
    parents: Sequence[int],
    heads: ArrayLike,
    tails: ArrayLike,
    rotations_wxyz: ArrayLike,
    kind: SubjectKind = SubjectKind.ARMATURE,
    keys: Mapping[str, KeyTrack] | None = None,
    channels: Mapping[str, RotationChannels] | None = None,
    camera: ShotCamera | None = None,
    cuts: Sequence[int] = (),
    ground_height: float = 0.0,
    height: float | None = None,
    stage_override: Stage | None = None,
    dropped: Mapping[str, str] | None = None,
    staging: Staging | None = None,
    owned: bool = False,
    before: Motion | None = None,
    changed: Collection[str] = (),
) -> Steps[Motion]:
    """Make a Motion from samples, pausing after every block of frames.

    Parameters
    ----------
    subject : str
    frames : array_like, shape (F,)
        Consecutive frame numbers of the scene.
    fps : float
    parts : sequence of str, length P
    parents : sequence of int, length P
        Index of the parent part, -1 for none.
    heads, tails : array_like, shape (F, P, 3), metres
    rotations_wxyz : array_like, shape (F, P, 4)
        World rotations; any length, any sign.
    height : float, metres, optional
        Body size; measured from the chain of bones when left out.
    stage_override : Stage, optional
        The user's word on the stage; found from keys and samples when left out.
    owned : bool
        The samples were made for this Motion alone: they are kept, and changed, in place of
        copies. For long motion of many parts.
    before : Motion, optional
        Made of the same samples, but for those of the parts that are `changed`: what did not
        change is taken over from it. The result is the same without it, to the last bit.
    changed : collection of str
        Parts whose samples may differ from those `before` was made of.

    Returns
    -------
    Motion
        Parts whose samples are not finite, and those below them, are left out and named in
        `dropped` with the reason.

    Raises
    ------
    MotionError
        When shapes do not fit, frames are not consecutive, fps is not positive, or nothing is
        left to judge.
    """
    frame_numbers = np.asarray(frames, dtype=np.int64)
    head_array, tail_array, world = (np.asarray(v) for v in (heads, tails, rotations_wxyz))
    part_count = len(parts)
    _check_shapes(subject, fps, frame_numbers, part_count, head_array, tail_array, world, parents)

    left_out = dict(dropped or {})
    finite = yield from _find_finite_parts(head_array, tail_array, world)
    yield
    for index in np.flatnonzero(~finite):
        bad = np.flatnonzero(
            ~np.isfinite(head_array[:, index]).all(axis=-1)
            | ~np.isfinite(world[:, index]).all(axis=-1)
            | ~np.isfinite(tail_array[:, index]).all(axis=-1)
        )
        left_out[parts[index]] = f"no valid position at frame {frame_numbers[bad[0]]}"
    if part_count and not finite.any():
        part = parts[0]
        raise MotionError(
            f"{subject}: no part has valid positions ({part}: {left_out[part]}); "
            "look for broken values in its curves"
        )
    kept = np.flatnonzero(finite)
    new_parents = _reconnect(parents, finite)
    if len(kept) < part_count:
        head_array, tail_array, world = head_array[:, kept], tail_array[:, kept], world[:, kept]
    names = tuple(parts[index] for index in kept)

    if before is not None and not _is_alike(before, names, new_parents, frame_numbers):
        before = None
    if before is None:
        changed = frozenset(names)
    stale = [row for row, name in enumerate(names) if name in changed]
    if before is not None and not stale:
        head_array, tail_array = before.heads, before.tails
        owned = True
    places, ends = take_numbers(head_array, owned), take_numbers(tail_array, owned)
    world_numbers = take_numbers(world, owned)
    yield
    settled = yield from _settle(places, world_numbers, new_parents, before, stale)
    turned, local, local_heads = (show_samples(numbers) for numbers in settled)
    head_array, tail_array = show_samples(places), show_samples(ends)
    if height is None:
        height = _measure_height(names, head_array, tail_array)
    yield
    steps = yield from iterate_change(local_heads, local, height)
    yield
    cadence = stage.find_cadence(steps)
    key_tracks = {part: track for part, track in (keys or {}).items() if part in names}
    return Motion(
        subject=subject,
        kind=kind,
        frames=frame_numbers,
        fps=float(fps),
        parts=names,
        parents=tuple(new_parents),
        heads=head_array,
        tails=tail_array,
        rotations=turned,
        local_rotations=local,
        local_heads=local_heads,
        height=height,
        ground_height=float(ground_height),
        stage=stage_override or _find_stage(key_tracks, cadence),
        cadence=cadence,
        keys=key_tracks,
        channels={part: c for part, c in (channels or {}).items() if part in names},
        camera=camera,
        cuts=tuple(int(cut) for cut in cuts),
        dropped=left_out,
        staging=staging,
        _memo={DRAWING_ROWS: (None, stage.list_drawings(steps))},
    )


def _run_at_once(steps: Callable[P, Steps[T]]) -> Callable[P, T]:
    """Make a function of a generator that does the same without a pause."""

    @wraps(steps)
    def run(*given: P.args, **named: P.kwargs) -> T:
        return run_steps(steps(*given, **named))

    return run


build_motion = _run_at_once(iterate_motion)
"""Make a Motion from samples; takes, returns and raises what `iterate_motion` does."""


def _check_shapes(
    subject: str,
    fps: float,
    frames: IntArray,
    part_count: int,
    heads: FloatArray,
    tails: FloatArray,
    world: FloatArray,
    parents: Sequence[int],
) -> None:
    if not np.isfinite(fps) or fps <= 0.0:
        raise MotionError(f"{subject}: the frame rate is {fps}; set it above 0")
    if frames.ndim != 1 or len(frames) == 0:
        raise MotionError(f"{subject}: no frames; set the end frame after the start frame")
    if np.any(np.diff(frames) != 1):
        raise MotionError(f"{subject}: frames must be consecutive")
    if part_count == 0:
        raise MotionError(f"{subject}: no part to judge; map its bones first")
    shapes = {"heads": (heads, 3), "tails": (tails, 3), "rotations": (world, 4)}
    for name, (array, width) in shapes.items():
        if array.shape != (len(frames), part_count, width):
            raise MotionError(
                f"{subject}: {name} has shape {array.shape}, "
                f"expected {(len(frames), part_count, width)}"
            )
    if len(parents) != part_count or any(not -1 <= p < part_count for p in parents):
        raise MotionError(f"{subject}: parents must name {part_count} parts or -1")


def _find_finite_parts(*samples: FloatArray) -> Steps[BoolArray]:
    # One sum tells it for all frames of a part: what is not finite stays so whatever is added.
    total = np.zeros(samples[0].shape[1])
    for values in samples:
        numbers = values.transpose(2, 1, 0)
        for number, parts in list_pieces(numbers):
            with np.errstate(invalid="ignore", over="ignore"):
                total[parts] += numbers[number, parts].sum(axis=-1)
            yield
    finite: BoolArray = np.isfinite(total)
    return finite


def _reconnect(parents: Sequence[int], kept: BoolArray) -> list[int]:
    """Point each kept part at its nearest kept ancestor, in the new numbering."""
    number = np.cumsum(kept) - 1
    result = []
    for index in np.flatnonzero(kept):
        parent = parents[index]
        while parent >= 0 and not kept[parent]:
            parent = parents[parent]
        result.append(int(number[parent]) if parent >= 0 else -1)
    return result


def _is_alike(
    before: Motion, names: tuple[str, ...], parents: Sequence[int], frames: IntArray
) -> bool:
    """Say whether the parts and frames of an earlier motion are the same."""
    same_parts = before.parts == names and before.parents == tuple(parents)
    return same_parts and np.array_equal(before.frames, frames)


def _settle(
    heads: FloatArray,
    world: FloatArray,
    parents: Sequence[int],
    before: Motion | None,
    changed: Sequence[int],
) -> Steps[tuple[FloatArray, FloatArray, FloatArray]]:
    """Return world rotations, local rotations and local joints, number by number.

    What `before` has of parts that are not `changed`, nor hang from one that is, is taken over.
    """
    stale = np.asarray(changed, dtype=np.int64)
    moved = set(changed)
    touched = [row for row, parent in enumerate(parents) if row in moved or parent in moved]
    near = np.array(touched, dtype=np.int64)
    if before is None:
        into = world
        local, local_heads = (yield from claim(*world.shape)), (yield from claim(*heads.shape))
    else:
        taken = []
        for made in (before.rotations, before.local_rotations, before.local_heads):
            numbers = take_numbers(made, owned=True)
            taken.append((yield from copy_in_pieces(numbers)) if len(stale) else numbers)
        into, local, local_heads = taken
    yield from settle_rotations(world, into, stale)
    yield from settle_on_parents(heads, into, parents, local, local_heads, near)
    return into, local, local_heads


def _measure_height(names: Sequence[str], heads: FloatArray, tails: FloatArray) -> float:
    height = body.measure_height(
        {name: heads[:, i] for i, name in enumerate(names)},
        {name: tails[:, i] for i, name in enumerate(names)},
    )
    if height > 0.0:
        return height
    # No limb of a body: the typical spread of the subject's own points is its size.
    points = np.concatenate((heads, tails), axis=1)
    spread = geometry.lengths(points.max(axis=1) - points.min(axis=1))
    return float(np.median(spread))


def _find_stage(keys: Mapping[str, KeyTrack], cadence: int) -> Stage:
    tracks = [track for track in keys.values() if len(track.stepped)]
    if stage.are_key_poses([t.frames for t in tracks], [t.stepped for t in tracks]):
        return Stage.BLOCKING
    return Stage.HELD if cadence > 1 else Stage.SPLINE
