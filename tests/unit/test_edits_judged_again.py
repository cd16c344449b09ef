# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""After any row of edits a reading with a memory is the reading of everything anew."""

from dataclasses import replace
from functools import cache

import gait
import numpy as np
import pytest
import shot_camera
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fettle.core_math import ALL_CHECKS, JudgedMemory, KeyTrack, Settings, iterate_checks
from fettle.core_math.measures import rotations
from fettle.core_math.motion import RotationChannels, Stage
from fettle.core_math.watched import watch_motion

FRAMES = 72
TURNED = ("hand.R", "forearm.L", "hips", "foot.L", "head", "strand:braid_L/2", "index.R")


@cache
def make_base(cut: bool):
    """A walk seen by a camera, keyed, with rotation channels."""
    motion, _ = gait.make_walk(fps=24.0, seconds=FRAMES / 24.0)
    frames = motion.frame_count
    path = np.zeros((frames, 3))
    path[:, 1], path[:, 2] = -6.0, 1.0
    path[:, 0] = np.linspace(0.0, 2.0, frames)
    keys = {
        part: KeyTrack(motion.frames[row % 5 :: 6].astype(float), np.zeros(0, dtype=bool))
        for row, part in enumerate(motion.parts)
    }
    keys = {p: replace(t, stepped=np.zeros(len(t.frames), dtype=bool)) for p, t in keys.items()}
    channels = {
        part: RotationChannels("QUATERNION", motion.local_rotations[:, row].copy())
        for row, part in enumerate(motion.parts)
    }
    cuts = (int(motion.frames[40]),) if cut else ()
    camera = shot_camera.make_camera(path)
    return replace(motion, keys=keys, channels=channels, cuts=cuts, camera=camera, _memo={})


def judge(motion, memory=None):
    return [
        (outcome.flags, outcome.not_evaluated, outcome.crashes, outcome.evaluated)
        for _, outcome in iterate_checks(motion, ALL_CHECKS, Settings(), memory)
    ]


def turn_part(motion, part, first, last, degrees):
    """Turn a part, and all that hangs on it, for some frames; its keys and channels follow."""
    row = motion.index(part)
    under = [row]
    for child, parent in enumerate(motion.parents):
        if parent in under:
            under.append(child)
    turn = rotations.from_axis_angle((0.3, 1.0, 0.2), degrees)
    heads, tails = motion.heads.copy(), motion.tails.copy()
    world, local = motion.rotations.copy(), motion.local_rotations.copy()
    rows = np.arange(first, last + 1)
    pivot = heads[rows, row][:, None]
    block = np.ix_(rows, under)
    heads[block] = pivot + rotations.rotate(turn, heads[block] - pivot)
    tails[block] = pivot + rotations.rotate(turn, tails[block] - pivot)
    world[block] = rotations.multiply(turn, world[block])
    own = world[rows, row]
    above = motion.parents[row]
    local[rows, row] = rotations.relative(world[rows, above], own) if above >= 0 else own
    track = motion.keys[part]
    number = motion.frames[first]
    keys = {**motion.keys, part: replace(track, frames=np.unique([*track.frames, number]))}
    keys[part] = replace(keys[part], stepped=np.zeros(len(keys[part].frames), dtype=bool))
    channels = {**motion.channels, part: RotationChannels("QUATERNION", local[:, row].copy())}
    return replace(
        motion, heads=heads, tails=tails, rotations=world, local_rotations=local, keys=keys,
        channels=channels, _memo={},
    )  # fmt: skip


def hold_everything(motion, first, last):
    """Hold all parts for some frames, as a hold that was keyed would."""
    held = {}
    for name in ("heads", "tails", "rotations", "local_rotations", "local_heads"):
        values = getattr(motion, name).copy()
        values[first : last + 1] = values[first]
        held[name] = values
    return replace(motion, **held, _memo={})


def nudge_camera(motion, first, metres):
    positions = motion.camera.positions.copy()
    positions[first:, 0] += metres
    return replace(motion, camera=replace(motion.camera, positions=positions), _memo={})


EDITS = st.one_of(
    st.tuples(
        st.just(turn_part), st.sampled_from(TURNED), st.integers(0, 60), st.integers(0, 9),
        st.sampled_from([0.5, 8.0, 40.0]),
    ),
    st.tuples(st.just(hold_everything), st.integers(0, 50), st.integers(2, 20)),
    st.tuples(st.just(nudge_camera), st.integers(0, 60), st.sampled_from([0.01, 0.5])),
)  # fmt: skip


def apply(motion, edit):
    change, *words = edit
    if change is turn_part:
        part, first, count, degrees = words
        return change(motion, part, first, first + count, degrees)
    if change is hold_everything:
        return change(motion, words[0], words[0] + words[1])
    return change(motion, *words)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.booleans(), st.lists(EDITS, min_size=1, max_size=3), st.booleans())
def test_random_edits_and_their_undoing_give_what_a_full_reading_gives(cut, edits, undo):
    memory = JudgedMemory()
    takes = [make_base(cut)]
    judge(takes[0], memory)
    for edit in edits:
        takes.append(apply(takes[-1], edit))
    for motion in [*takes[1:], *(takes[-2::-1] if undo else ())]:
        said = judge(motion, memory)
        assert said == judge(replace(motion, _memo={}))
        assert all(not crashes for _, _, crashes, _ in said)


def watch_runs(motion, memory):
    """Return the checks that really ran."""
    ran = []

    def watched(check):
        def measure(shot, values):
            ran.append(check.id)
            return check.measure(shot, values)

        return replace(check, measure=measure)

    for _ in iterate_checks(motion, [watched(c) for c in ALL_CHECKS], Settings(), memory):
        continue
    return set(ran)


def test_only_what_looks_at_the_edited_parts_runs_again():
    memory = JudgedMemory()
    base = make_base(False)
    watch_runs(base, memory)
    hand = watch_runs(turn_part(base, "hand.R", 40, 60, 8.0), memory)
    assert {"ik-lock", "stiff-wrist", "pop", "curve-flip"} <= hand
    feet = {"foot-slide", "foot-off-ground", "soft-plant", "weightless-hips"}
    assert hand.isdisjoint(feet | {"idle-chest", "copied-strands", "joint-snap"})
    assert watch_runs(nudge_camera(base, 20, 0.5), memory) >= {"late-camera", "camera-hitch"}
    assert feet.isdisjoint(watch_runs(nudge_camera(base, 20, 0.7), memory))
    assert not watch_runs(nudge_camera(base, 20, 0.7), memory)


def test_what_a_copy_of_watched_motion_works_out_is_not_kept_unseen():
    watched = watch_motion(make_base(False))
    copy = replace(watched, camera=None)
    copy.stances()
    with watched.watch.collect() as reads:
        watched.stances()
    assert ("heads", "foot.L") in reads


@pytest.mark.parametrize(
    ("take", "parts"),
    [
        (lambda a: a[:, 2], {2}),
        (lambda a: a[3, -1], {-1}),
        (lambda a: a[1:5, [0, 3]], {0, 3}),
        (lambda a: a[np.array([1, 2]), np.array([4, 5])], {4, 5}),
        (lambda a: a[:, 1:3, 0], {1, 2}),
        (lambda a: a[4], None),
        (lambda a: a[..., 0], None),
        (lambda a: a.mean(axis=1), None),
        (lambda a: np.linalg.norm(a, axis=-1), None),
        (lambda a: a - 1.0, None),
        (lambda a: 1.0 + a, None),
        (lambda a: np.asarray(a), None),
        (lambda a: np.stack(list(a)), None),
        (lambda a: np.zeros(a.shape), set()),
    ],
)
def test_reads_of_parts_are_told_from_reads_of_everything(take, parts):
    motion = make_base(False)
    watched = watch_motion(motion)
    with watched.watch.collect() as reads:
        taken = take(watched.heads)
    np.testing.assert_array_equal(taken, take(motion.heads))
    assert type(taken) in (np.ndarray, np.float64)
    asked = range(len(motion.parts)) if parts is None else parts
    assert reads == {("heads", motion.parts[row]) for row in asked}


def test_what_is_shared_or_derived_counts_as_read_by_everybody_who_uses_it():
    watched = watch_motion(replace(make_base(False), cadence=2, stage=Stage.HELD))
    seen = []
    for use in (watched.stances, watched.stances, watched.drawings, watched.drawings):
        with watched.watch.collect() as reads:
            use()
        seen.append(frozenset(reads))
    assert seen[0] == seen[1] and ("heads", "foot.L") in seen[0]
    assert seen[2] == seen[3] and {("camera", ""), ("rotations", "hand.R")} <= seen[2]
    assert not any("hand" in part for _, part in seen[0])
