# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""After any edit, sampling what has changed gives what sampling everything gives."""

from dataclasses import replace

import bpy
import numpy as np
import pytest
import rigs

from fettle.addon.recorders import ArmatureRecorder
from fettle.addon.sampling import (
    InterruptedReadingError,
    SamplingMemory,
    iterate_sampling,
    run_sampling,
    sample_shot,
)
from fettle.addon.subjects import find_subjects

LAST = 60


@pytest.fixture
def scene():
    return rigs.start_empty()


def build(scene, plain):
    """A keyed body; unless plain also constraints, drivers, a target and a camera that follow."""
    rig = rigs.make_armature()
    rng = np.random.default_rng(1)
    for bone in rig.pose.bones:
        for frame in range(1, LAST + 1, 7):
            bone.rotation_euler = rng.normal(size=3) * 0.4
            bone.keyframe_insert("rotation_euler", frame=frame)
    carrier = bpy.data.objects.new("Carrier", None)
    scene.collection.objects.link(carrier)
    rigs.key(carrier, "location", {1: (0, 0, 0), 20: (1, 0, 0), 40: (1, 1, 0), LAST: (0, 0, 1)})
    rig.parent = carrier
    camera = bpy.data.objects.new("Cam", bpy.data.cameras.new("Cam"))
    scene.collection.objects.link(camera)
    scene.camera = camera
    rigs.key(camera, "location", {1: (0, -5, 1), 30: (1, -5, 1), LAST: (2, -5, 1)})
    if not plain:
        target = bpy.data.objects.new("Target", None)
        scene.collection.objects.link(target)
        rigs.key(target, "location", {1: (0.5, -0.3, 1), 25: (0.2, -0.6, 1.4), LAST: (0, 0, 1)})
        reach = rig.pose.bones["forearm.R"].constraints.new("IK")
        reach.target, reach.chain_count = target, 2
        turn = rig.pose.bones["head"].constraints.new("COPY_ROTATION")
        turn.target, turn.subtarget, turn.influence = rig, "hand.L", 0.5
        rig["bend"] = 0.2
        curve = rig.pose.bones["neck"].driver_add("location", 1)
        variable = curve.driver.variables.new()
        variable.targets[0].id, variable.targets[0].data_path = rig, '["bend"]'
        curve.driver.expression = f"{variable.name} * 0.1"
        camera.constraints.new("TRACK_TO").target = target
    bpy.context.view_layer.update()
    return rig


def sample(scene, memory=None, **options):
    layer = bpy.context.view_layer
    layer.update()
    subjects = [s for s in find_subjects(scene, layer) if s.name == "Rig"]
    return sample_shot(scene, layer, subjects, (1, LAST), memory=memory, **options)


def assert_same(one, other):
    assert one.camera == other.camera and len(one.samples) == len(other.samples)
    for a, b in zip(one.samples, other.samples, strict=True):
        # Sines of a few frames and of all at once differ in their last bit.
        assert a.facts.height_m == pytest.approx(b.facts.height_m, rel=1e-12)
        assert replace(a.facts, height_m=b.facts.height_m) == b.facts
        for name in ("frames", "heads", "tails", "rotations", "local_rotations", "local_heads"):
            np.testing.assert_allclose(
                getattr(a.motion, name), getattr(b.motion, name), atol=1e-6, err_msg=name
            )
        assert a.motion.keys.keys() == b.motion.keys.keys()
        for part, track in a.motion.keys.items():
            assert track.frames.tolist() == b.motion.keys[part].frames.tolist()
            assert track.stepped.tolist() == b.motion.keys[part].stepped.tolist()
        for part, channel in a.motion.channels.items():
            np.testing.assert_allclose(channel.values, b.motion.channels[part].values, atol=1e-4)
        np.testing.assert_allclose(a.motion.camera.positions, b.motion.camera.positions, atol=1e-6)
        np.testing.assert_allclose(a.motion.camera.rotations, b.motion.camera.rotations, atol=1e-6)
        assert a.motion.cuts == b.motion.cuts


def pick_curve(rig, rng):
    curves = [c for c in rigs.curves_of(rig) if len(c.keyframe_points) > 2]
    return curves[int(rng.integers(len(curves)))] if curves else None


def move_key(rig, rng):
    curve = pick_curve(rig, rng)
    key = curve.keyframe_points[int(rng.integers(len(curve.keyframe_points)))]
    key.co.y += rng.normal() * 0.5
    curve.update()


def slide_key(rig, rng):
    curve = pick_curve(rig, rng)
    key = curve.keyframe_points[int(rng.integers(len(curve.keyframe_points)))]
    key.co.x += float(rng.uniform(-12, 12))
    curve.update()


def delete_key(rig, rng):
    curve = pick_curve(rig, rng)
    points = curve.keyframe_points
    points.remove(points[int(rng.integers(len(points)))])


def add_key(rig, rng):
    bone = rig.pose.bones[int(rng.integers(len(rig.pose.bones)))]
    bone.rotation_euler = rng.normal(size=3)
    bone.keyframe_insert("rotation_euler", frame=float(rng.integers(-5, LAST + 8)))


def change_handle(rig, rng):
    curve = pick_curve(rig, rng)
    key = curve.keyframe_points[int(rng.integers(len(curve.keyframe_points)))]
    key.handle_left_type = key.handle_right_type = "FREE"
    key.handle_right = (key.co.x + rng.uniform(0.5, 9), key.co.y + rng.normal())
    curve.update()


def change_interpolation(rig, rng):
    curve = pick_curve(rig, rng)
    key = curve.keyframe_points[int(rng.integers(len(curve.keyframe_points)))]
    key.interpolation = str(rng.choice(["CONSTANT", "LINEAR", "BOUNCE", "BEZIER", "BACK"]))


def extrapolate(rig, rng):
    curve = pick_curve(rig, rng)
    curve.extrapolation = str(rng.choice(["LINEAR", "CONSTANT"]))


def new_channel(rig, rng):
    bone = rig.pose.bones[int(rng.integers(len(rig.pose.bones)))]
    bone.scale = rng.uniform(0.8, 1.2, size=3)
    bone.keyframe_insert("scale", frame=10)


def remove_channel(rig, rng):
    data = rig.animation_data
    curve = pick_curve(rig, rng)
    bags = (
        [data.action]
        if hasattr(data.action, "fcurves")
        else [b for layer in data.action.layers for s in layer.strips for b in s.channelbags]
    )
    bags[0].fcurves.remove(curve)


def mute_channel(rig, rng):
    curve = pick_curve(rig, rng)
    curve.mute = not curve.mute


def retime(rig, rng):
    factor = float(rng.uniform(0.7, 1.4))
    for curve in rigs.curves_of(rig):
        for key in curve.keyframe_points:
            key.co.x *= factor
            key.handle_left.x *= factor
            key.handle_right.x *= factor
        curve.update()


def add_cycles(rig, rng):
    curve = pick_curve(rig, rng)
    if not len(curve.modifiers):
        curve.modifiers.new("CYCLES").mode_after = str(rng.choice(["REPEAT", "MIRROR"]))


def change_constraint(rig, rng):
    bone = rig.pose.bones[int(rng.integers(len(rig.pose.bones)))]
    limit = bone.constraints.new("LIMIT_ROTATION")
    limit.use_limit_x, limit.max_x, limit.owner_space = True, float(rng.uniform(0, 0.3)), "LOCAL"


def change_influence(rig, rng):
    for bone in rig.pose.bones:
        for constraint in bone.constraints:
            constraint.influence = float(rng.uniform(0, 1))


def pose_without_key(rig, rng):
    bone = rig.pose.bones[int(rng.integers(len(rig.pose.bones)))]
    bone.location = rng.normal(size=3) * 0.2


def move_object(rig, rng):
    rig.location = rng.normal(size=3)
    rig.scale = rng.uniform(0.8, 1.2, size=3)


def new_parent(rig, rng):
    rig.parent = None if rig.parent is not None else bpy.data.objects["Carrier"]


def move_parent(rig, rng):
    carrier = bpy.data.objects["Carrier"]
    key = rigs.curves_of(carrier)[0].keyframe_points[1]
    key.co.y += float(rng.normal())
    rigs.curves_of(carrier)[0].update()


def move_target(rig, rng):
    target = bpy.data.objects.get("Target")
    if target is not None:
        key = rigs.curves_of(target)[1].keyframe_points[1]
        key.co.y += float(rng.normal())
        rigs.curves_of(target)[1].update()


def change_property(rig, rng):
    rig["bend"] = float(rng.normal())


def change_expression(rig, rng):
    for curve in rig.animation_data.drivers:
        curve.driver.expression = f"{curve.driver.variables[0].name} * {rng.uniform(0, 0.2):.4f}"


def change_rest(rig, rng):
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    rig.data.edit_bones["forearm.L"].tail.z += 0.03
    bpy.ops.object.mode_set(mode="OBJECT")


def change_inheritance(rig, rng):
    bone = rig.data.bones["chest"]
    bone.use_inherit_rotation = not bone.use_inherit_rotation


def move_camera(rig, rng):
    camera = bpy.data.objects["Cam"]
    key = rigs.curves_of(camera)[0].keyframe_points[1]
    key.co.y += float(rng.normal())
    rigs.curves_of(camera)[0].update()


def change_lens(rig, rng):
    bpy.data.cameras["Cam"].lens = float(rng.uniform(20, 90))


def go_elsewhere(rig, rng):
    bpy.context.scene.frame_set(int(rng.integers(1, LAST)))


def change_rotation_mode(rig, rng):
    rig.pose.bones["thigh.R"].rotation_mode = str(rng.choice(["ZYX", "XZY", "XYZ"]))


EDITS = [
    move_key, slide_key, delete_key, add_key, change_handle, change_interpolation, extrapolate,
    new_channel, remove_channel, mute_channel, retime, add_cycles, change_constraint,
    change_influence, pose_without_key, move_object, new_parent, move_parent, move_target,
    change_property, change_expression, change_rest, change_inheritance, move_camera, change_lens,
    go_elsewhere, change_rotation_mode,
]  # fmt: skip


@pytest.mark.parametrize("plain", [True, False], ids=["keys only", "constraints and drivers"])
@pytest.mark.parametrize("edit", EDITS, ids=lambda edit: edit.__name__)
def test_each_edit(scene, plain, edit):
    rig = build(scene, plain)
    memory = SamplingMemory()
    sample(scene, memory)
    rng = np.random.default_rng(5)
    for _ in range(2):
        edit(rig, rng)
        assert_same(sample(scene, memory), sample(scene))


@pytest.mark.parametrize("plain", [True, False], ids=["keys only", "constraints and drivers"])
@pytest.mark.parametrize("seed", range(6))
def test_many_edits_one_after_the_other(scene, plain, seed):
    rig = build(scene, plain)
    memory = SamplingMemory()
    sample(scene, memory)
    rng = np.random.default_rng(seed)
    for edit in rng.choice(EDITS, size=14):
        if pick_curve(rig, rng) is not None:
            edit(rig, rng)
            assert_same(sample(scene, memory), sample(scene))


def test_undo_and_redo(scene):
    rig = build(scene, plain=True)
    memory = SamplingMemory()
    bpy.ops.ed.undo_push(message="built")
    sample(scene, memory)
    rig = bpy.data.objects["Rig"]
    move_key(rig, np.random.default_rng(3))
    bpy.ops.ed.undo_push(message="moved a key")
    moved = sample(bpy.context.scene, memory)
    bpy.ops.ed.undo()
    back = sample(bpy.context.scene, memory)
    assert_same(back, sample(bpy.context.scene))
    bpy.ops.ed.redo()
    again = sample(bpy.context.scene, memory)
    assert_same(again, moved)
    assert not np.allclose(again.samples[0].motion.rotations, back.samples[0].motion.rotations)


def count_frames(monkeypatch):
    """Count the frames that are sampled, by either route."""
    counted = []
    record, keep = ArmatureRecorder.record, ArmatureRecorder._keep

    def count_kept(recorder, rows, *samples):
        if recorder.route == "direct":
            counted.extend(rows.tolist())
        return keep(recorder, rows, *samples)

    monkeypatch.setattr(
        ArmatureRecorder, "record", lambda s, row, d: (counted.append(row), record(s, row, d))
    )
    monkeypatch.setattr(ArmatureRecorder, "_keep", count_kept)
    return counted


@pytest.mark.parametrize("plain", [True, False], ids=["keys only", "constraints and drivers"])
def test_only_the_frames_an_edit_can_influence(scene, monkeypatch, plain):
    rig = build(scene, plain)
    memory = SamplingMemory()
    counted = count_frames(monkeypatch)
    first = sample(scene, memory)
    assert len(counted) == LAST
    counted.clear()
    assert sample(scene, memory).samples[0] is first.samples[0]
    assert counted == []
    # A key's value moves the handles of its neighbours, so the frames between the keys two away
    # on both sides; automatic handles of keys further off stay.
    curve = next(c for c in rigs.curves_of(rig) if "upper_arm.L" in c.data_path)
    curve.keyframe_points[4].co.y += 0.5
    curve.update()
    sample(scene, memory)
    times = [key.co.x for key in curve.keyframe_points]
    assert min(counted) + 1 >= times[2] and max(counted) + 1 <= times[6]
    assert {row + 1 for row in counted} >= set(range(int(times[3]) + 1, int(times[5])))


@pytest.mark.parametrize("plain", [True, False], ids=["keys only", "constraints and drivers"])
def test_a_reading_that_is_stopped_loses_nothing(scene, monkeypatch, plain):
    build(scene, plain)
    counted = count_frames(monkeypatch)
    memory, layer = SamplingMemory(), bpy.context.view_layer
    subjects = [s for s in find_subjects(scene, layer) if s.name == "Rig"]
    steps = iterate_sampling(scene, layer, subjects, (1, LAST), memory=memory, budget_ms=0.0)
    for _ in range(40):
        if next(steps) >= 0.5 or counted:
            break
    steps.close()
    stopped_at = len(counted)
    rig = bpy.data.objects["Rig"]
    move_key(rig, np.random.default_rng(9))
    whole = sample(scene, memory)
    assert_same(whole, sample(scene))
    assert 0 < stopped_at


def test_frames_done_before_a_save_are_not_done_again(scene, monkeypatch):
    build(scene, plain=False)
    counted = count_frames(monkeypatch)
    memory, layer = SamplingMemory(), bpy.context.view_layer
    subjects = [s for s in find_subjects(scene, layer) if s.name == "Rig"]
    steps = iterate_sampling(scene, layer, subjects, (1, LAST), memory=memory, budget_ms=0.0)
    while next(steps) < 0.5:
        assert len(counted) < LAST
    from fettle.addon import sampling_scene

    sampling_scene._end_readings()  # what a save, an undo or a load calls
    with pytest.raises(InterruptedReadingError):
        run_sampling(steps)
    before = len(counted)
    counted.clear()
    result = sample(scene, memory)
    assert len(counted) == LAST - before
    assert_same(result, sample(scene))


def test_another_range_or_map_starts_afresh(scene):
    build(scene, plain=False)
    memory, layer = SamplingMemory(), bpy.context.view_layer
    sample(scene, memory)
    subjects = [s for s in find_subjects(scene, layer) if s.name == "Rig"]
    said = {"Rig": {"hand.L": "forearm.L"}}
    assert_same(sample(scene, memory, corrections=said), sample(scene, corrections=said))
    shorter = sample_shot(scene, layer, subjects, (5, 50), memory=memory)
    assert_same(shorter, sample_shot(scene, layer, subjects, (5, 50)))


@pytest.mark.parametrize("what", ["geometry", "free code"])
def test_what_cannot_be_watched_is_sampled_each_time(scene, monkeypatch, what):
    rig = build(scene, plain=True)
    if what == "geometry":
        bpy.ops.mesh.primitive_plane_add(size=4)
        rig.pose.bones["foot.L"].constraints.new("SHRINKWRAP").target = bpy.context.object
    else:
        bpy.app.driver_namespace["planted"] = lambda: 0.3
        rig.pose.bones["head"].driver_add("location", 0).driver.expression = "planted()"
    memory = SamplingMemory()
    counted = count_frames(monkeypatch)
    sample(scene, memory)
    sample(scene, memory)
    bpy.app.driver_namespace.pop("planted", None)
    assert len(counted) == 2 * LAST
