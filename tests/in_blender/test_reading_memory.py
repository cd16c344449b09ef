# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""After any edit, reading what has changed gives the flags that reading everything gives."""

from dataclasses import replace

import bpy
import numpy as np
import pytest
import rigs
from test_sampling_memory import EDITS, build, pick_curve

from fettle.addon import readings
from fettle.core_math import Settings


def read(scene, memory=None):
    layer = bpy.context.view_layer
    layer.update()
    # Surroundings are looked at anew in every whole reading: there is nothing of them to remember.
    steps = readings.iterate_reading(
        scene, layer, Settings(), budget_ms=float("inf"), memory=memory, surroundings=False
    )
    while True:
        try:
            next(steps)
        except StopIteration as end:
            return end.value


def assert_same(one, other):
    # Sines of a few frames and of all at once differ in their last bit.
    values = [[flag.value for flag in reading.flags] for reading in (one, other)]
    assert values[0] == pytest.approx(values[1], rel=1e-9)
    assert [replace(flag, value=0.0) for flag in one.flags] == [
        replace(flag, value=0.0) for flag in other.flags
    ]
    assert one.not_evaluated == other.not_evaluated
    assert one.crashes == other.crashes == ()
    assert one.evaluated == other.evaluated
    assert one.subjects == other.subjects


@pytest.mark.slow
@pytest.mark.parametrize("plain", [True, False], ids=["keys only", "constraints and drivers"])
def test_many_edits_one_after_the_other(plain):
    scene = rigs.start_empty()
    scene.frame_end = 60
    rig = build(scene, plain)
    memory = readings.ReadingMemory()
    assert_same(read(scene, memory), read(scene))
    rng = np.random.default_rng(17)
    for edit in rng.choice(EDITS, size=8):
        if pick_curve(rig, rng) is not None:
            edit(rig, rng)
            assert_same(read(scene, memory), read(scene))


def test_the_other_character_is_not_judged_again():
    scene = rigs.start_empty()
    scene.frame_end = 60
    build(scene, plain=True)
    other = rigs.make_armature("Other")
    rigs.swing_body(other, 60)
    memory = readings.ReadingMemory()
    read(scene, memory)

    def list_kept():
        return {name: memory.judged._stretches[name][0].motion for name in ("Rig", "Other")}

    before = list_kept()
    rigs.key(bpy.data.objects["Other"].pose.bones["head"], "rotation_euler", {30: (0.4, 0, 0)})
    assert_same(read(scene, memory), read(scene))
    after = list_kept()
    assert after["Rig"] is before["Rig"]
    assert after["Other"] is not before["Other"]
