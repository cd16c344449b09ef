# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Switching the extension on and off leaves nothing behind, also when it fails half-way."""

import bpy
import pytest
from small_rig import build_shot

from fettle.addon import icons, kept, live, registration, viewport_draw, window_state


def take_stock():
    """Everything an extension can leave behind, as far as Blender lists it."""
    handlers = {
        name: [h.__name__ for h in getattr(bpy.app.handlers, name) if "fettle" in h.__module__]
        for name in dir(bpy.app.handlers)
        if isinstance(getattr(bpy.app.handlers, name), list)
    }
    return {
        "classes": {name for name in dir(bpy.types) if "FETTLE" in name.upper()},
        "operators": set(dir(bpy.ops.fettle)),
        "handlers": handlers,
        "scene": {name for name in dir(bpy.types.Scene) if "fettle" in name},
        "manager": {name for name in dir(bpy.types.WindowManager) if "fettle" in name},
        "marker": {name for name in dir(bpy.types.TimelineMarker) if "fettle" in name},
        "timers": bpy.app.timers.is_registered(live._watch)
        or bpy.app.timers.is_registered(live._work_off),
        "lists": (list(window_state.overlay_listeners), list(live.changed_listeners)),
        "icons": len(icons._collections),
        "kept": kept.list_scenes(),
    }


@pytest.fixture
def empty_file():
    bpy.ops.wm.read_factory_settings(use_empty=True)


@pytest.fixture
def switched_on(empty_file):
    registration.register()
    yield
    registration.unregister()


def test_on_and_off_leaves_nothing_twice_in_a_row(empty_file):
    before = take_stock()
    for _ in range(2):
        registration.register()
        assert take_stock()["classes"] > before["classes"]
        registration.unregister()
        assert take_stock() == before


def test_off_with_a_reading_and_the_overlay_on_leaves_nothing(empty_file):
    before = take_stock()
    registration.register()
    build_shot()
    bpy.ops.fettle.read(at_once=True)
    assert kept.list_scenes() == ["Scene"]
    bpy.ops.fettle.toggle_overlay()
    registration.unregister()
    assert take_stock() == before


def test_a_failure_half_way_takes_back_what_was_done(empty_file, monkeypatch):
    before = take_stock()

    def fail():
        raise RuntimeError("on purpose")

    monkeypatch.setattr(window_state, "register", fail)
    with pytest.raises(RuntimeError, match="on purpose"):
        registration.register()
    assert take_stock() == before


def test_every_class_is_registered_once():
    names = [entry.__name__ for entry in registration.CLASSES]
    assert len(set(names)) == len(names)


def test_every_operator_says_what_it_does_and_why_not(switched_on):
    for entry in registration.CLASSES:
        if not issubclass(entry, bpy.types.Operator):
            continue
        assert entry.__doc__ and not entry.__doc__.strip().endswith("."), (
            f"{entry.__name__}: a tooltip without a full stop, which Blender adds"
        )
        own_poll = "poll" in vars(entry) or any("poll" in vars(base) for base in entry.__mro__[1:3])
        assert own_poll or entry.__name__ in WORKS_ALWAYS, f"{entry.__name__} has no poll"


WORKS_ALWAYS = {
    "FETTLE_OT_toggle_overlay",
    "FETTLE_OT_show_severity",
    "FETTLE_OT_go_to_note",
    "FETTLE_OT_remove_note",
    "FETTLE_OT_export_settings",
}


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("next_flag", "Read the shot first"),
        ("bake_markers", "Read the shot first"),
        ("remove_baked", "no markers baked by Fettle"),
        ("stop", "Nothing is being read"),
        ("reset_limits", "no settings of its own"),
    ],
)
def test_a_button_that_cannot_work_says_why(switched_on, name, reason):
    with pytest.raises(RuntimeError, match=reason):
        getattr(bpy.ops.fettle, name)()


def test_without_a_window_nothing_is_drawn(switched_on):
    build_shot()
    bpy.ops.fettle.toggle_overlay()
    assert window_state.overlay_is_on()
    assert viewport_draw._handles == []
    bpy.ops.fettle.toggle_overlay()


def test_reading_at_once_fills_the_list(switched_on):
    build_shot()
    assert bpy.ops.fettle.read(at_once=True) == {"FINISHED"}
    entry = kept.get("Scene")
    rows = window_state.get_list("Scene").rows
    assert entry.reading.flags
    assert [row.flag_id for row in rows] == [
        flag.id for flag in sorted(entry.open_flags(), key=lambda f: (f.peak, -f.rank, f.check))
    ]


def test_a_scene_that_cannot_be_read_says_so_in_one_line(switched_on):
    with pytest.raises(RuntimeError, match="nothing moves in it"):
        bpy.ops.fettle.read(at_once=True)
    assert "\n" not in kept.get_problem("Scene")


def test_another_file_forgets_the_reading(switched_on):
    build_shot()
    bpy.ops.fettle.read(at_once=True)
    bpy.ops.wm.read_homefile(use_factory_startup=True)
    assert kept.list_scenes() == []
