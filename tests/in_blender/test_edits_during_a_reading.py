# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What is removed while a reading has paused is not looked at again; nothing sampled is lost."""

import bpy
import pytest
import rigs
from test_sampling_by_bone import build_tangle

from fettle.addon import kept, live, reading_job
from fettle.addon.readings import read_shot
from fettle.addon.sampling import (
    InterruptedReadingError,
    SamplingMemory,
    iterate_sampling,
    run_sampling,
)
from fettle.addon.subjects import find_subjects
from fettle.core_math import Settings

LAST = 1500


@pytest.fixture
def scene():
    scene = rigs.start_empty()
    scene.frame_start, scene.frame_end = 1, LAST
    yield scene
    reading_job.stop()
    reading_job.forget_memory()
    kept.forget_all()


def start_sampling(scene):
    """Start a reading and leave it in the midst of its sampling."""
    reading_job.start(scene, bpy.context.view_layer, Settings(), "", whole=False)
    for _ in range(3):
        reading_job._work_slice(0.001)
    job = reading_job.running(scene.name)
    assert job is not None and job.samples is None and job.text.startswith("sampling")
    return job


def make_rig(name="Rig"):
    rig = rigs.make_armature(name)
    rigs.swing_body(rig, LAST)
    return rig


def remove_curves(rig, bone):
    """Remove a bone's curves, as deleting its channels does."""
    action = rig.animation_data.action
    bags = (
        [action]
        if hasattr(action, "fcurves")
        else [bag for layer in action.layers for s in layer.strips for bag in s.channelbags]
    )
    for bag in bags:
        for curve in [c for c in bag.fcurves if f'"{bone}"' in c.data_path]:
            bag.fcurves.remove(curve)


def tell_update(scene):
    """Do what Blender does after an edit: tell the handlers of it."""
    live.follow_updates()
    bpy.context.view_layer.update()


@pytest.mark.parametrize("constrained", [False, True])
def test_curve_removed_in_a_pause(scene, constrained):
    rig = make_rig()
    if constrained:
        limit = rig.pose.bones["head"].constraints.new("LIMIT_ROTATION")
        limit.use_limit_x = True
    live.take_bearings(scene)
    start_sampling(scene)
    remove_curves(rig, "forearm.L")
    tell_update(scene)
    reading_job.run_to_end()
    fresh = read_shot(scene, bpy.context.view_layer, Settings())
    found = kept.get(scene.name).reading
    assert found.flags == fresh.flags and found.subjects[0].route == fresh.subjects[0].route


def test_constraint_removed_in_a_pause(scene):
    rig = make_rig()
    bone = rig.pose.bones["head"]
    limit = bone.constraints.new("LIMIT_ROTATION")
    limit.use_limit_x = True
    live.take_bearings(scene)
    start_sampling(scene)
    bone.constraints.remove(limit)
    tell_update(scene)
    reading_job.run_to_end()
    assert kept.get(scene.name).reading.subjects[0].route == "direct"


def test_object_removed_in_a_pause_is_no_error(scene, capfd):
    rig, other = make_rig(), make_rig("Other")
    live.take_bearings(scene)
    start_sampling(scene)
    bpy.data.objects.remove(rig)
    tell_update(scene)
    reading_job.run_to_end()
    names = [subject.name for subject in kept.get(scene.name).reading.subjects]
    assert names == [other.name]
    assert "Traceback" not in "".join(capfd.readouterr())


def rename_bones(rig):
    for name in ("hand.L", "toe.R", "shoulder.L"):
        rig.data.bones[name].name = f"old_{name}"


def remove_bones(rig):
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    for name in ("hand.L", "toe.R"):
        rig.data.edit_bones.remove(rig.data.edit_bones[name])
    bpy.ops.object.mode_set(mode="OBJECT")


@pytest.mark.parametrize("edit", [rename_bones, remove_bones], ids=lambda edit: edit.__name__)
@pytest.mark.parametrize("pauses", [1, 2, 3, 5, 8, 12, 20, 40])
def test_bones_changed_in_a_pause_that_nobody_told_of(edit, pauses):
    """The sampling goes on where it may, or says that it must begin anew; nothing else."""
    scene = rigs.start_empty()
    rig = build_tangle(scene)
    rig.pose.bones["shoulder.L"]["weight"] = 1.0
    layer = bpy.context.view_layer
    who = [subject for subject in find_subjects(scene, layer) if subject.name == "Rig"]
    steps = iterate_sampling(scene, layer, who, (1, 60), memory=SamplingMemory(), budget_ms=0.0)
    for _ in range(pauses):
        next(steps)
    edit(rig)
    try:
        assert len(run_sampling(steps).samples) == 1
    except InterruptedReadingError as error:
        assert str(error) == "the bones of Rig changed"
    assert not [entry for entry in bpy.data.scenes if entry.get("fettle_temporary")]
