# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Keeps the overlay true: an edit is read again shortly after, and nothing old is shown as new.

Blender's update handler decides whether an update means anything for the animation. Our own
readings cause updates too; those touch objects without moving any, change no key and no fact of
the shot, and so lead to nothing. Nothing is read during playback. While the overlay is on a slow
watch looks after what no handler tells: another scene in the window, a renamed rig.

With the overlay off nothing reads. As long as a reading is kept, the handler still notices the
first edit, so that its flags are never taken for new; then it goes too.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Hashable
from typing import Any

import bpy

from ..core_math import SettingsError
from . import kept, reading_job
from .pose_follow import follow_pose
from .sampling import SamplingError
from .sampling_scene import MARK as TEMPORARY
from .scene_settings import read_scene_settings
from .shot_signature import describe_shot, number_action

KEYS_PAUSE_S = 0.01
"""After keys changed: only long enough to gather the updates of one edit."""
RIG_PAUSE_S = 0.35
"""After something of a rig moved: mostly a pose without keys, which no reading can see."""
WATCH_S = 0.5
QUICK_S = reading_job.AT_ONCE_S
"""A reading with no more work is done at once after an edit."""
DRAG_S = 0.02
"""And one with no more work than this also while something is being dragged."""

IGNORED_TYPES = {"LIGHT", "LIGHT_PROBE", "SPEAKER"}

changed_listeners: list[Callable[[str], None]] = []
"""Called with the scene's name when what is kept of it changed without a job."""

posed_listeners: list[Callable[[], None]] = []
"""Called when a part that is drawn was posed: the lists stay as they are."""


class _Watch:
    """What is known of each scene that was read, and what is waiting to be read."""

    overlay = False
    due: dict[str, float] = {}
    judge_only: set[str] = set()
    frames: dict[str, int] = {}
    shots: dict[str, tuple[Hashable, ...]] = {}
    shots_at_start: dict[str, tuple[Hashable, ...]] = {}
    played = False
    actions: dict[str, int] = {}


def switch_on() -> None:
    """Keep every window's scene read from now on."""
    _Watch.overlay = True
    _start_timer(_watch, WATCH_S)
    for scene, _ in list_shown_scenes():
        entry = kept.get(scene.name)
        if (entry is None or entry.stale) and not reading_job.running(scene.name):
            request(scene.name, 0.0)
    follow_updates()


def switch_off() -> None:
    """Stop reading by ourselves; what was read stays, what makes the next reading short goes."""
    _Watch.overlay = False
    _Watch.due.clear()
    if reading_job.running() is None:
        reading_job.forget_memory()
    for timer in (_watch, _work_off):
        if bpy.app.timers.is_registered(timer):
            bpy.app.timers.unregister(timer)
    follow_updates()


def is_on() -> bool:
    """Say whether the overlay keeps itself up to date."""
    return _Watch.overlay


def request(scene_name: str, pause_s: float, judge_only: bool = False) -> None:
    """Have a scene read soon; a later request moves an earlier one, never the other way round."""
    if judge_only and scene_name not in _Watch.due:
        _Watch.judge_only.add(scene_name)
    elif not judge_only:
        _Watch.judge_only.discard(scene_name)
    _Watch.due[scene_name] = time.monotonic() + pause_s
    _start_timer(_work_off, pause_s)


def list_shown_scenes() -> list[tuple[bpy.types.Scene, bpy.types.ViewLayer]]:
    """Return the scenes of all windows, each once, with the view layer shown."""
    shown: dict[str, tuple[bpy.types.Scene, bpy.types.ViewLayer]] = {}
    for manager in bpy.data.window_managers:
        for window in manager.windows:
            shown.setdefault(window.scene.name, (window.scene, window.view_layer))
    return list(shown.values())


def is_playing() -> bool:
    """Say whether any window plays the animation."""
    return any(
        window.screen.is_animation_playing
        for manager in bpy.data.window_managers
        for window in manager.windows
    )


def start_reading(
    scene: bpy.types.Scene, view_layer: bpy.types.ViewLayer, whole: bool = True
) -> None:
    """Start reading a scene in the background; SettingsError when its settings are damaged.

    A reading that is not whole keeps up with edits: it leaves out the checks that must look at
    everything around the subjects, and says so.
    """
    settings = read_scene_settings(scene)
    given = None
    entry = kept.get(scene.name)
    if scene.name in _Watch.judge_only and entry is not None and entry.stale is None:
        given = entry.samples
    _Watch.due.pop(scene.name, None)
    _Watch.judge_only.discard(scene.name)
    if given is None:
        take_bearings(scene)
    name = bpy.path.basename(bpy.data.filepath) or "unsaved file"
    # What was read before needs little work after an edit, mostly done before the next redraw.
    at_once = entry is not None or _is_quick(scene.name)
    reading_job.start(scene, view_layer, settings, name, given, at_once, whole)
    follow_updates()


def _is_quick(scene_name: str) -> bool:
    work = reading_job.last_work(scene_name)
    return work is not None and work <= QUICK_S


def take_bearings(scene: bpy.types.Scene) -> None:
    """Remember how the keys are at the moment a reading begins."""
    _Watch.frames[scene.name] = scene.frame_current
    _Watch.shots_at_start[scene.name] = describe_shot(scene, ())
    _Watch.actions.update(_number_actions())


def _number_actions() -> dict[str, int]:
    return {action.name_full: number_action(action) for action in bpy.data.actions}


def _after_job(scene_name: str) -> None:
    """When a reading has ended: is it still about the shot as it is now."""
    if reading_job.running(scene_name) is not None:
        return
    follow_updates()
    _check_currency(scene_name)
    if not _Watch.overlay and not _Watch.due and reading_job.running() is None:
        # Nobody waits for an edit to show, so nothing is held to be quick with it.
        reading_job.forget_memory()


def _check_currency(scene_name: str) -> None:
    """Let a reading that was overtaken by an edit be done again."""
    entry, scene = kept.get(scene_name), bpy.data.scenes.get(scene_name)
    if entry is None or scene is None:
        return
    if scene_name not in _Watch.shots or entry.stale is None:
        _Watch.shots[scene_name] = describe_shot(scene, _name_subjects(entry))
    at_start = _Watch.shots_at_start.pop(scene_name, None)
    changed_meanwhile = at_start is not None and at_start != describe_shot(scene, ())
    if changed_meanwhile:
        request(scene_name, KEYS_PAUSE_S)
    if changed_meanwhile or (scene_name in _Watch.due and scene_name not in _Watch.judge_only):
        kept.mark_stale(scene_name, "the animation changed while it was read")


def _name_subjects(entry: kept.Kept) -> list[str]:
    return [facts.name for facts in entry.reading.subjects]


# Handlers.


def follow_updates() -> None:
    """Have Blender's updates told as long as somebody needs them, and no longer."""
    wanted = (
        _Watch.overlay
        or reading_job.running() is not None
        or any(_is_fresh(name) for name in kept.list_scenes())
    )
    handlers = bpy.app.handlers.depsgraph_update_post
    if wanted and _on_update not in handlers:
        handlers.append(_on_update)
    elif not wanted and _on_update in handlers:
        handlers.remove(_on_update)


def _is_fresh(scene_name: str) -> bool:
    entry = kept.get(scene_name)
    return entry is not None and entry.stale is None


@bpy.app.handlers.persistent
def _on_update(scene: bpy.types.Scene, depsgraph: bpy.types.Depsgraph) -> None:
    name = scene.name
    entry, job = kept.get(name), reading_job.running(name)
    if scene.get(TEMPORARY) is not None or (entry is None and job is None and not _Watch.overlay):
        return
    if is_playing():
        _Watch.played = True
        return
    keys_changed, rig_moved = _look_at(depsgraph)
    if _Watch.frames.get(name) != scene.frame_current:
        # Going to another frame moves everything and changes nothing.
        _Watch.frames[name] = scene.frame_current
        rig_moved = ""
    if keys_changed or rig_moved:
        reading_job.note_change(name)
    if keys_changed or (entry is not None and _shot_changed(scene, entry)):
        _animation_changed(name)
    elif rig_moved:
        if _Watch.overlay:
            if entry is not None and follow_pose(scene, depsgraph, entry):
                for listener in posed_listeners:
                    listener()
            request(name, RIG_PAUSE_S)
        elif entry is not None and rig_moved == "moved":
            _animation_changed(name)


def _look_at(depsgraph: bpy.types.Depsgraph) -> tuple[bool, str]:
    """Return whether keys changed, and whether something was posed or moved."""
    keys_changed, rig_moved = False, ""
    for update in depsgraph.updates:
        touched = update.id
        if isinstance(touched, bpy.types.Action):
            action: Any = touched.original
            number = number_action(action)
            if _Watch.actions.get(action.name_full) != number:
                _Watch.actions[action.name_full] = number
                keys_changed = True
        elif isinstance(touched, bpy.types.Object) and touched.type not in IGNORED_TYPES:
            if update.is_updated_transform:
                rig_moved = "moved"
            elif update.is_updated_geometry and touched.type == "ARMATURE":
                rig_moved = rig_moved or "posed"
        elif isinstance(touched, bpy.types.Camera):
            rig_moved = "moved"
    return keys_changed, rig_moved


def _shot_changed(scene: bpy.types.Scene, entry: kept.Kept) -> bool:
    now = describe_shot(scene, _name_subjects(entry))
    before = _Watch.shots.setdefault(scene.name, now)
    _Watch.shots[scene.name] = now
    return before != now


def _animation_changed(scene_name: str) -> None:
    """Let nothing old pass for new, and read again where the overlay is on."""
    kept.mark_stale(scene_name, "the animation changed since it was read")
    _tell(scene_name)
    if _Watch.overlay or reading_job.running(scene_name):
        request(scene_name, KEYS_PAUSE_S)
    else:
        # Handlers must not be taken off the list while Blender goes through it.
        _start_timer(_follow_soon, 0.0)


@bpy.app.handlers.persistent
def _after_undo(*_: Any) -> None:
    for name in kept.list_scenes():
        kept.mark_stale(name, "something was undone since it was read")
        _tell(name)
    job = reading_job.running()
    if _Watch.overlay:
        for scene, _layer in list_shown_scenes():
            request(scene.name, KEYS_PAUSE_S)
    elif job is not None:
        request(job.scene, KEYS_PAUSE_S)


@bpy.app.handlers.persistent
def _before_load(*_: Any) -> None:
    _forget_everything()


@bpy.app.handlers.persistent
def _after_load(*_: Any) -> None:
    _forget_everything()
    _tell("")
    if _Watch.overlay:
        # A file that was just opened first has to be drawn.
        _start_timer(_watch, WATCH_S)
    follow_updates()


def _forget_everything() -> None:
    reading_job.stop()
    reading_job.forget_memory()
    kept.forget_all()
    _Watch.due.clear()
    _Watch.judge_only.clear()
    _Watch.shots.clear()
    _Watch.shots_at_start.clear()
    _Watch.actions.clear()


# Timers.


def _start_timer(function: Callable[[], float | None], pause_s: float) -> None:
    if bpy.app.timers.is_registered(function):
        if function is _watch:
            return
        bpy.app.timers.unregister(function)
    bpy.app.timers.register(function, first_interval=pause_s, persistent=function is _watch)


def _follow_soon() -> None:
    follow_updates()


def _work_off() -> float | None:
    """Start the reading that is due; wait while it would be in the way."""
    if not _Watch.due:
        return None
    name, due = min(_Watch.due.items(), key=lambda item: item[1])
    wait = due - time.monotonic()
    if wait > 0.0:
        return wait
    if is_playing():
        return 0.2
    if _is_dragging() and (reading_job.last_work(name) or 1.0) > DRAG_S:
        return 0.1
    shown = {scene.name: (scene, layer) for scene, layer in list_shown_scenes()}
    if name not in shown:
        _Watch.due.pop(name)
        return 0.0
    job = reading_job.running()
    if job is not None and (job.scene != name or _is_quick(name)):
        # A short reading may end first; else one edit after the other would starve it.
        return 0.02
    try:
        start_reading(*shown[name], whole=kept.get(name) is None)
        reading_job.work_now()
    except (SettingsError, SamplingError) as error:
        _Watch.due.pop(name, None)
        kept.set_problem(name, str(error))
        _tell(name)
    return 0.0 if _Watch.due else None


def _is_dragging() -> bool:
    """Say whether an operator holds the mouse in any window: a bone or a key is being moved."""
    return any(
        len(getattr(window, "modal_operators", ()))
        for manager in bpy.data.window_managers
        for window in manager.windows
    )


def _watch() -> float | None:
    """Look after what no handler tells: scenes that were never read, rigs that were renamed."""
    if not _Watch.overlay:
        return None
    if is_playing():
        _Watch.played = True
        return WATCH_S
    edited = _Watch.played and _keys_changed_meanwhile()
    _Watch.played = False
    for scene, _ in list_shown_scenes():
        name = scene.name
        if edited and kept.get(name) is not None:
            _animation_changed(name)
        if name in _Watch.due or reading_job.running(name):
            continue
        entry = kept.get(name)
        if entry is None:
            if kept.get_problem(name) is None:
                request(name, 0.0)
        elif _shot_changed(scene, entry):
            _animation_changed(name)
        elif entry.stale:
            request(name, 0.0)
    for name in kept.list_scenes():
        if name not in bpy.data.scenes:
            kept.forget(name)
    return WATCH_S


def _keys_changed_meanwhile() -> bool:
    """Say whether keys were edited during playback, when nothing else is looked at."""
    now = _number_actions()
    changed = any(_Watch.actions.get(name, number) != number for name, number in now.items())
    _Watch.actions.update(now)
    return changed


def _tell(scene_name: str) -> None:
    for listener in changed_listeners:
        listener(scene_name)


_HANDLERS = (
    ("undo_post", _after_undo),
    ("redo_post", _after_undo),
    ("load_pre", _before_load),
    ("load_post", _after_load),
)


def register() -> None:
    """Listen to undo and to files being opened."""
    reading_job.listeners.append(_after_job)
    for name, handler in _HANDLERS:
        getattr(bpy.app.handlers, name).append(handler)


def unregister() -> None:
    """Stop everything that is under way and listen no more."""
    switch_off()
    _forget_everything()
    follow_updates()
    reading_job.listeners.remove(_after_job)
    for name, handler in _HANDLERS:
        handlers = getattr(bpy.app.handlers, name)
        if handler in handlers:
            handlers.remove(handler)
    if bpy.app.timers.is_registered(_follow_soon):
        bpy.app.timers.unregister(_follow_soon)
