# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What makes the reading after an edit short is held while the overlay is on, and not longer."""

import gc
import weakref

import bpy
import pytest
from small_rig import build_shot

from fettle.addon import kept, live, reading_job
from fettle.addon.sampling import SamplingMemory


@pytest.fixture
def made(monkeypatch):
    """Every memory that is made, weakly."""
    memories = weakref.WeakSet()
    begin = SamplingMemory.__init__
    monkeypatch.setattr(
        SamplingMemory, "__init__", lambda self: (begin(self), memories.add(self))[0]
    )
    yield memories
    live.switch_off()
    live._forget_everything()


def read(scene):
    live.start_reading(scene, bpy.context.view_layer)
    reading_job.run_to_end()
    assert kept.get(scene.name) is not None


def count_held(made):
    gc.collect()
    return len(made)


def test_held_while_the_overlay_is_on(made, monkeypatch):
    scene, _ = build_shot()
    monkeypatch.setattr(live._Watch, "overlay", True)
    read(scene)
    reading_job.listeners.append(live._after_job)
    try:
        read(scene)
    finally:
        reading_job.listeners.remove(live._after_job)
    assert reading_job.is_remembering() and count_held(made) == 1


def test_gone_when_the_overlay_goes_off(made, monkeypatch):
    scene, _ = build_shot()
    monkeypatch.setattr(live._Watch, "overlay", True)
    read(scene)
    assert count_held(made) == 1
    live.switch_off()
    assert not reading_job.is_remembering() and count_held(made) == 0


def test_gone_after_a_reading_without_the_overlay(made):
    scene, _ = build_shot()
    reading_job.listeners.append(live._after_job)
    try:
        read(scene)
    finally:
        reading_job.listeners.remove(live._after_job)
    assert not reading_job.is_remembering() and count_held(made) == 0


def test_gone_when_a_file_is_opened(made, monkeypatch):
    scene, _ = build_shot()
    monkeypatch.setattr(live._Watch, "overlay", True)
    read(scene)
    live._before_load()
    assert count_held(made) == 0 and kept.list_scenes() == []
