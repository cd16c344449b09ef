# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The number of an action is another one after every edit of its curves, and only then."""

import pytest
import rigs

from fettle.addon.shot_signature import number_action


@pytest.fixture
def curve():
    rigs.start_empty()
    rig = rigs.make_armature()
    rigs.key(rig.pose.bones["hand.L"], "location", {1: (0, 0, 0), 9: (1, 0, 0), 20: (0, 0, 1)})
    curve = rigs.curves_of(rig)[0]
    curve.keyframe_points[0].interpolation = "ELASTIC"
    curve.modifiers.new("CYCLES")
    curve.modifiers.new("ENVELOPE").control_points.add(1)
    return curve


def set_key(name, value):
    return lambda curve: setattr(curve.keyframe_points[0], name, value)


EDITS = {
    "moved key": lambda curve: setattr(curve.keyframe_points[1].co, "y", 0.3),
    "handle": lambda curve: setattr(curve.keyframe_points[1].handle_left, "y", 0.3),
    "interpolation": set_key("interpolation", "BACK"),
    "easing": set_key("easing", "EASE_OUT"),
    "amplitude": set_key("amplitude", 3.0),
    "period": set_key("period", 2.0),
    "mute": lambda curve: setattr(curve, "mute", True),
    "extrapolation": lambda curve: setattr(curve, "extrapolation", "LINEAR"),
    "rounds": lambda curve: setattr(curve.modifiers[0], "cycles_after", 3),
    # One by one Blender would take the point for a modifier, and may crash.
    "point of an envelope": lambda c: c.modifiers[1].control_points.foreach_set("max", [4.0]),
    "one key less": lambda curve: curve.keyframe_points.remove(curve.keyframe_points[2]),
}


@pytest.mark.parametrize("edit", EDITS)
def test_every_edit_of_a_curve_counts(curve, edit):
    before = number_action(curve.id_data)
    assert number_action(curve.id_data) == before
    EDITS[edit](curve)
    assert number_action(curve.id_data) != before
    assert number_action(curve.id_data) == number_action(curve.id_data)


def test_what_is_only_shown_does_not_count(curve):
    before = number_action(curve.id_data)
    curve.select, curve.hide = not curve.select, True
    curve.keyframe_points[1].select_control_point = False
    assert number_action(curve.id_data) == before
