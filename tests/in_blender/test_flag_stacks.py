# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Flags on the screen as arrays: projected, stacked, made quiet, marked and counted."""

import bpy
import numpy as np
from drawn_motion import make_camera, make_flag, make_motion

from fettle.addon import flag_stacks, flag_table, overlay_marks, palette, trails
from fettle.core_math import Severity, State


def test_projection_is_blenders():
    """Against Blender's own projection through a camera."""
    camera, look = make_camera()
    owner = bpy.data.objects["Cam"]
    place = (0.3, 0.2, 1.8)
    seen = look(5, place)
    render = bpy.context.scene.render
    render.resolution_x, render.resolution_y = 1920, 1080
    depsgraph = bpy.context.evaluated_depsgraph_get()
    matrix = owner.calc_matrix_camera(depsgraph, x=1920, y=1080) @ owner.matrix_world.inverted()
    (pixel,) = flag_stacks.project([place], np.array(matrix), 1920, 1080)
    np.testing.assert_allclose(pixel, seen[:2] * (1920, 1080), atol=0.01)
    behind = flag_stacks.project([(0.0, -50.0, 1.5)], np.array(matrix), 1920, 1080)
    assert np.isnan(behind).all()


def stack(flags, pixels, frame=22, chosen=None):
    order = flag_table.order_flags(flag_table.tabulate(flags), frame, 16, chosen)
    return flag_stacks.stack_flags(order, np.array(pixels, float), (800, 600), 1.0)


def mark(flags, **shown):
    """The marks of flags that stand apart, in the order of the flags."""
    stacks = stack(flags, [(60 + 40 * number, 9) for number in range(len(flags))])
    rows = flag_stacks.mark_stacks(stacks, **shown)
    return rows[np.argsort(rows[:, 0])]


def test_flags_in_one_place_stack_with_the_worst_on_top():
    flags = [
        make_flag(severity=Severity.FAINT),
        make_flag("head", severity=Severity.GLARING),
        make_flag("hips", severity=Severity.CLEAR),
    ]
    stacks = stack(flags, [(100, 100), (106, 103), (400, 100)])
    assert sorted(s.count for s in stacks) == [1, 2]
    pair = next(s for s in stacks if s.count == 2)
    assert [flag.part for flag in pair.flags] == ["head", "hand.L"]
    assert (pair.x, pair.y) == (106, 103)


def test_the_selected_flag_comes_first_in_its_stack():
    faint, glaring = (
        make_flag(severity=Severity.FAINT),
        make_flag("head", severity=Severity.GLARING),
    )
    (pair,) = stack([faint, glaring], [(100, 100), (101, 100)], chosen=faint.id)
    assert pair.flags[0] is faint


def test_far_from_the_current_frame_flags_are_quiet():
    near, far = make_flag(), make_flag("head", 80, 84, 82)
    quiet, loud = stack([near, far], [(100, 100), (300, 100)])
    assert (loud.flags[0], loud.alpha, loud.size) == (near, 1.0, 1.0)
    assert quiet.alpha == flag_stacks.QUIET_ALPHA
    assert quiet.size < loud.size


def test_a_flag_over_the_whole_shot_is_near_where_it_shows_most_only():
    long = make_flag(start=1, end=500, peak=400)
    nearness = flag_table.measure_nearness(flag_table.tabulate([long]), 20, 16)
    assert nearness.tolist() == [0.0]
    assert flag_table.measure_nearness(flag_table.tabulate([long]), 395, 16).tolist() == [1.0]


def test_what_is_behind_the_eye_or_outside_is_no_stack():
    flags = [make_flag(), make_flag("head"), make_flag("hips")]
    assert len(stack(flags, [(np.nan, np.nan), (-200, 50), (900, 700)])) == 0


def test_stacks_are_those_of_gathering_one_after_the_other():
    """Against the rule as it is told: who comes first gathers whoever is near and still free."""
    rng = np.random.default_rng(5)
    flags = [
        make_flag(start=at, end=at + 2, peak=at, severity=Severity(1 + number % 3))
        for number, at in enumerate(rng.integers(1, 60, 90).tolist())
    ]
    pixels = rng.uniform((0, 0), (260, 120), (90, 2))
    table = flag_table.tabulate(flags)
    near = flag_table.measure_nearness(table, 22, 16)

    def comes(number):
        flag = flags[number]
        return (near[number] < 1.0, -flag.rank, flag.peak)

    waiting, wanted = sorted(range(90), key=comes), set()
    while waiting:
        away = np.abs(pixels[waiting] - pixels[waiting[0]]).max(axis=1)
        taken = [one for one, far in zip(waiting, away, strict=True) if far <= 13.0]
        waiting = [one for one in waiting if one not in taken]
        wanted.add(frozenset(taken))
    stacks = stack(flags, pixels)
    found = {
        frozenset(stacks.members[begin : begin + count].tolist())
        for begin, count in zip(stacks.begins, stacks.counts, strict=True)
    }
    assert found == wanted
    assert 20 < len(wanted) < 80


def test_pointing_finds_the_flag_that_is_drawn_on_top():
    stacks = stack([make_flag()], [(100, 100)])
    assert stacks.find_at(107, 115) == 0
    assert stacks.find_at(60, 115) is None
    # The loud one lies over the quiet one it does not gather.
    far, near = make_flag("head", 80, 84, 82), make_flag()
    both = stack([far, near], [(100, 100), (100, 114)])
    assert both.take(both.find_at(104, 116)).flags == (near,)


def test_a_flag_is_found_in_its_stack():
    flags = [make_flag("head", 80, 84, 82), make_flag(), make_flag("hips")]
    stacks = stack(flags, [(100, 100), (300, 100), (301, 100)])
    for flag in flags:
        assert flag in stacks.take(stacks.find_flag(flag.id)).flags
    assert stacks.find_flag("nobody") is None and stacks.find_flag(None) is None


def test_each_severity_has_a_shape_of_its_own():
    kinds = mark([make_flag(severity=s) for s in Severity])[:, 7]
    assert len(set(kinds.tolist())) == 3


def test_what_is_decided_is_hollow_and_grey():
    (row,) = mark([make_flag(state=State.MEANT)])
    assert row[8] == overlay_marks.Fill.HOLLOW
    np.testing.assert_allclose(row[3:6], palette.QUIET, atol=1e-6)


def test_what_is_pointed_at_or_selected_stands_out():
    flags = [make_flag("head", 80, 84, 82), make_flag("hips", 80, 84, 82)]
    plain = mark(flags)
    pointed_at = mark(flags, hovered=flags[1].id)
    np.testing.assert_array_equal(pointed_at[0], plain[0])
    assert pointed_at[1, 2] > plain[1, 2] and pointed_at[1, 6] == 1.0 > plain[1, 6]
    assert mark(flags, chosen=flags[0].id)[:, 8].tolist() == [
        overlay_marks.Fill.CHOSEN,
        overlay_marks.Fill.FULL,
    ]


def test_places_that_flags_share_are_counted():
    flags = [make_flag(), make_flag("head"), make_flag("hips"), make_flag("foot.L")]
    stacks = stack(flags, [(100, 100), (101, 100), (102, 100), (300, 100)])
    (row,) = flag_stacks.mark_counts(stacks, 10.0)
    assert (row[7], row[8]) == (overlay_marks.Mark.COUNT, 3.0)
    assert 80 < row[0] < 100, "the count does not stand beside its flag"


def test_arrays_for_the_graphics_card_lie_in_memory_row_by_row():
    """It is handed the bytes, whatever strides an array has."""
    rows = mark([make_flag(severity=s) for s in Severity])
    boxes = [((0.0, 0.0, 5.0, 6.0), (1.0, 0.0, 0.0, 1.0), 2.0)] * 3
    marks = overlay_marks.build_marks(rows, 1.0)
    boxed = overlay_marks.build_boxes(boxes)
    ribbons = trails.build_ribbons([trails.make_trail(make_motion(), "head")])
    for arrays, indices in (marks, boxed, overlay_marks.join(boxed, marks), ribbons):
        assert indices.flags["C_CONTIGUOUS"]
        for name, values in arrays.items():
            assert values.flags["C_CONTIGUOUS"] and values.dtype == np.float32, name
    shape = marks[0]["shape"]
    assert np.frombuffer(shape.tobytes(), np.float32).reshape(-1, 4)[::4, 0].tolist() == [1, 2, 3]


def test_boxes_and_marks_joined_are_drawn_as_before():
    rows = mark([make_flag()])
    boxed = overlay_marks.build_box((0.0, 0.0, 5.0, 6.0), (1.0, 0.0, 0.0, 1.0), 2.0)
    marks = overlay_marks.build_marks(rows, 1.0)
    arrays, indices = overlay_marks.join(boxed, marks)
    for name, values in arrays.items():
        corners = values[indices]
        np.testing.assert_array_equal(corners[:2], boxed[0][name][boxed[1]])
        np.testing.assert_array_equal(corners[2:], marks[0][name][marks[1]])
