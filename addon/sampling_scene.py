# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A scene of our own to evaluate in, so that the user's frame and file stay as they are.

The subject is linked alone into a new scene with a view layer of its own; what it depends on
follows by its relations. Whatever happens the scene is taken away again: in `finally`, before the
file is saved, and after a file is loaded or an undo brought one back. It is recognised by a custom
property, never by its name.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import bpy

from . import compat
from .animation_data import is_hidden_by_keys

MARK = "fettle_temporary"
"""Custom property on everything that is here for the length of a reading only."""

SILENCED = (
    "frame_change_pre",
    "frame_change_post",
    "depsgraph_update_pre",
    "depsgraph_update_post",
)


class SceneItself:
    """The user's own scene, stepped and put back: only for what no other scene can show.

    Whatever was posed and not keyed is lost when its frame changes, so this is done on request
    alone. Frame handlers of other add-ons run, as they may be what moves the subject.

    Parameters
    ----------
    scene : bpy.types.Scene
    view_layer : bpy.types.ViewLayer
        Which one is evaluated.
    """

    def __init__(self, scene: bpy.types.Scene, view_layer: bpy.types.ViewLayer) -> None:
        self._era = _Era.now
        self._scene, self._view_layer = scene, view_layer
        self._frame, self._subframe = scene.frame_current, scene.frame_subframe

    def step(self, frame: int) -> bpy.types.Depsgraph:
        """Go to a frame and return the dependency graph that holds it."""
        self._scene.frame_set(frame)
        self._view_layer.update()
        depsgraph: Any = self._view_layer.depsgraph
        return depsgraph

    def remove(self) -> None:
        """Go back to the frame the user was on, unless another file is open by now."""
        if self._era == _Era.now:
            self._scene.frame_set(self._frame, subframe=self._subframe)


class InterruptedReadingError(RuntimeError):
    """The file was saved, undone or loaded in the middle of a reading; it must start again."""


class _Era:
    """Counts the moments at which everything held from the file may have gone stale."""

    now = 0


class TemporaryScene:
    """A scene that evaluates some objects at any frame; made, used, then `remove`d.

    Parameters
    ----------
    scene : bpy.types.Scene
        The scene whose clock and units are copied.
    objects : iterable of bpy.types.Object
        What is to be evaluated, hidden or not.
    """

    def __init__(self, scene: bpy.types.Scene, objects: Iterable[bpy.types.Object]) -> None:
        self._token = uuid.uuid4().hex
        self._scene: Any = None
        try:
            self._scene = bpy.data.scenes.new("Fettle reading")
            self._scene[MARK] = self._token
            _copy_clock(scene, self._scene)
            _copy_properties(scene, self._scene)
            for entry in dict.fromkeys(objects):
                self._scene.collection.objects.link(entry)
                if entry.hide_viewport or is_hidden_by_keys(entry):
                    self._link_follower(entry)
            self._view_layer = self._scene.view_layers[0]
            # Never `view_layer.update()` here: it makes this scene's evaluation the active one,
            # which writes every stepped frame into the user's own pose, unkeyed changes lost.
        except BaseException:
            self.remove()
            raise

    def step(self, frame: int) -> bpy.types.Depsgraph:
        """Evaluate a frame, nobody's handlers being told, and return the graph that holds it."""
        with silence_handlers():
            self._scene.frame_set(frame)
        return self._view_layer.depsgraph

    def remove(self) -> None:
        """Take the scene away; safe to call twice, and after the file has changed."""
        _remove_marked(self._token)
        self._scene = None

    def _link_follower(self, entry: bpy.types.Object) -> None:
        """Link a thing that depends on a hidden object: hidden ones alone are not evaluated."""
        mesh = bpy.data.meshes.new("Fettle reading")
        mesh[MARK] = self._token
        follower = bpy.data.objects.new("Fettle reading", mesh)
        follower[MARK] = self._token
        follower.parent = entry
        if entry.type == "ARMATURE":
            # A deforming modifier wants every bone, not just one.
            follower.modifiers.new("Follow", "ARMATURE").object = entry
        self._scene.collection.objects.link(follower)


@contextmanager
def silence_handlers() -> Iterator[None]:
    """Take everybody's frame and update handlers off their lists, and put them back.

    Frames stepped in a scene of ours are no business of other add-ons, and a handler that reads
    on every update would call itself for ever.
    """
    kept = {name: list(getattr(bpy.app.handlers, name)) for name in SILENCED}
    for name in SILENCED:
        getattr(bpy.app.handlers, name).clear()
    try:
        yield
    finally:
        for name, handlers in kept.items():
            current = getattr(bpy.app.handlers, name)
            added = [handler for handler in current if handler not in handlers]
            current[:] = [*handlers, *added]


def remove_leftovers() -> None:
    """Remove what an interrupted reading left in the file, recognised by its custom property."""
    collections: tuple[Any, ...] = (bpy.data.scenes, bpy.data.objects, bpy.data.meshes)
    for collection in collections:
        for entry in [entry for entry in collection if entry.get(MARK) is not None]:
            collection.remove(entry)


def register() -> None:
    """Watch for moments at which a reading must not hold on to the file."""
    for name, handler in _guards():
        handlers = getattr(bpy.app.handlers, name)
        if handler not in handlers:
            handlers.append(handler)


def unregister() -> None:
    """Stop watching, and leave nothing behind."""
    for name, handler in _guards():
        handlers = getattr(bpy.app.handlers, name)
        if handler in handlers:
            handlers.remove(handler)
    _Era.now += 1
    remove_leftovers()


def note_era() -> int:
    """Return a mark of this moment in the life of the file, for `check_era`."""
    return _Era.now


def check_era(era: int) -> None:
    """Raise InterruptedReadingError when the file was saved, undone or loaded since."""
    if era != _Era.now:
        raise InterruptedReadingError("the file was saved, undone or loaded during the reading")


@bpy.app.handlers.persistent
def _end_readings(*_: Any) -> None:
    _Era.now += 1
    remove_leftovers()


@bpy.app.handlers.persistent
def _forget_readings(*_: Any) -> None:
    _Era.now += 1


def _guards() -> list[tuple[str, Any]]:
    return [
        ("save_pre", _end_readings),
        ("undo_pre", _forget_readings),
        ("redo_pre", _forget_readings),
        ("undo_post", _end_readings),
        ("redo_post", _end_readings),
        ("load_pre", _forget_readings),
        ("load_post", _end_readings),
    ]


def _copy_clock(source: bpy.types.Scene, target: bpy.types.Scene) -> None:
    for name in ("fps", "fps_base", "frame_map_old", "frame_map_new"):
        setattr(target.render, name, getattr(source.render, name))
    target.frame_start, target.frame_end = source.frame_start, source.frame_end
    for name in ("system", "scale_length", "system_rotation"):
        setattr(target.unit_settings, name, getattr(source.unit_settings, name))
    target.use_gravity = source.use_gravity
    target.gravity = source.gravity


def _copy_properties(source: bpy.types.Scene, target: bpy.types.Scene) -> None:
    """Copy what drivers may read of "the active scene": its custom properties and their curves."""
    for name, value in source.items():
        if isinstance(value, (bool, int, float)):
            target[name] = value
        elif hasattr(value, "to_list"):
            target[name] = value.to_list()
    data = source.animation_data
    if data is not None and data.action is not None:
        compat.share_action(data, target.animation_data_create())


def _remove_marked(token: str) -> None:
    for scene in [entry for entry in bpy.data.scenes if entry.get(MARK) == token]:
        followers = [entry for entry in scene.collection.objects if entry.get(MARK) == token]
        meshes: list[Any] = [entry.data for entry in followers]
        bpy.data.scenes.remove(scene)
        for entry in followers:
            bpy.data.objects.remove(entry)
        for mesh in meshes:
            bpy.data.meshes.remove(mesh)
