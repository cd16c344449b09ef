# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Sees what an extension leaves behind in Blender when it is switched off."""

from __future__ import annotations

from typing import Any

import bpy


def list_registered() -> set[str]:
    """Name what Blender can be asked for: classes, properties, handlers, key map items."""
    found = set()
    for name in dir(bpy.types):
        kind = getattr(bpy.types, name)
        found.add(f"class {name}")
        if hasattr(kind, "bl_rna"):
            found.update(f"property {name}.{key}" for key in kind.bl_rna.properties.keys())
    for name in dir(bpy.app.handlers):
        handlers = getattr(bpy.app.handlers, name)
        if isinstance(handlers, list):
            found.update(f"handler {name} {function!r}" for function in handlers)
    configurations = bpy.context.window_manager.keyconfigs
    for configuration in (configurations.addon, configurations.user):
        for keymap in configuration.keymaps:
            found.update(
                f"key {configuration.name} {keymap.name} {item.idname} {item.type}"
                for item in keymap.keymap_items
            )
    return found


class Leftovers:
    """Notes the state before an extension is switched on and what it asks of Blender.

    Draw handlers, timers and command words cannot be listed, so their registration is
    listened to until `stop`.
    """

    def __init__(self) -> None:
        self.before = list_registered()
        self.draw_handlers: list[tuple[str, Any]] = []
        self.timers: list[Any] = []
        self.commands: list[Any] = []
        self._undo: list[tuple[Any, str, Any]] = []
        self.spaces = [
            kind for kind in bpy.types.Space.__subclasses__() if hasattr(kind, "draw_handler_add")
        ]
        for space in self.spaces:
            self._listen_to_draw_handlers(space)
        self._listen(bpy.app.timers, "register", lambda given, _: self.timers.append(given[0]))
        self._listen(
            bpy.utils, "register_cli_command", lambda _, handle: self.commands.append(handle)
        )
        self._listen(
            bpy.utils, "unregister_cli_command", lambda given, _: self.commands.remove(given[0])
        )

    def _listen(self, owner: Any, name: str, note: Any) -> None:
        real = getattr(owner, name)

        def call(*given: Any, **named: Any) -> Any:
            result = real(*given, **named)
            note(given, result)
            return result

        self._undo.append((owner, name, real))
        setattr(owner, name, call)

    def _listen_to_draw_handlers(self, space: Any) -> None:
        self._listen(
            space,
            "draw_handler_add",
            lambda _, handle: self.draw_handlers.append((space.__name__, handle)),
        )
        self._listen(
            space,
            "draw_handler_remove",
            lambda given, _: self.draw_handlers.remove((space.__name__, given[0])),
        )

    def stop(self) -> None:
        """Stop listening."""
        while self._undo:
            owner, name, real = self._undo.pop()
            setattr(owner, name, real)

    def list_new(self) -> set[str]:
        """Name what is registered now and was not before, as far as Blender lists it."""
        return list_registered() - self.before

    def list_left(self) -> list[str]:
        """Name everything that is left behind now."""
        timers = [function for function in self.timers if bpy.app.timers.is_registered(function)]
        return sorted(
            [
                *self.list_new(),
                *(f"draw handler in {space}" for space, _ in self.draw_handlers),
                *(f"timer {function!r}" for function in timers),
                *(f"command {handle!r}" for handle in self.commands),
            ]
        )
