# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The takes kept with a scene: they are saved, appended, linked and copied with it.

Those of another file are fetched by a Blender of its own: a damaged file that takes the program
down must not take the user's work along.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import bpy

from ..core_math import ReportError, Take, TakeError, dump_take, parse_take, read_report

TAKES = "fettle_takes"
"""Custom property of a scene: a group of texts, one for each take."""

FETCH_LIMIT_S = 120.0

_FETCH = """
import json, sys
import bpy
bpy.ops.wm.open_mainfile(filepath={shot!r}, use_scripts=False, load_ui=False)
found = {{}}
for scene in bpy.data.scenes:
    group = scene.get({name!r})
    if group is not None:
        found[scene.name] = [str(group[key]) for key in sorted(group.keys(), key=int)]
with open({out!r}, "w", encoding="utf-8") as file:
    json.dump(found, file)
"""


@lru_cache(maxsize=16)
def _parse(text: str) -> Take:
    """Read a take; the list of takes is asked for at every edit."""
    return parse_take(text)


def list_takes(scene: bpy.types.Scene) -> list[str]:
    """Return the names of the kept takes, the oldest first."""
    return [take.name for take in _read_all(scene)]


def read_take(scene: bpy.types.Scene, name: str) -> Take:
    """Return a kept take; TakeError names those there are when there is none of that name."""
    takes = _read_all(scene)
    for take in takes:
        if take.name == name:
            return take
    known = ", ".join(take.name for take in takes) or "none"
    raise TakeError(f"scene {scene.name!r}: there is no take {name!r} (kept: {known})")


def keep_take(scene: bpy.types.Scene, take: Take) -> None:
    """Keep a take, in place of an older one of that name."""
    others = [kept for kept in _read_all(scene) if kept.name != take.name]
    _write_all(scene, [*others, take])


def drop_take(scene: bpy.types.Scene, name: str) -> None:
    """Let a take go; TakeError when there is none of that name."""
    read_take(scene, name)
    _write_all(scene, [take for take in _read_all(scene) if take.name != name])


def _read_all(scene: bpy.types.Scene) -> list[Take]:
    group = scene.get(TAKES)
    if group is None:
        return []
    try:
        texts = [str(group[key]) for key in sorted(group.keys(), key=int)]
        return [_parse(text) for text in texts]
    except (AttributeError, TypeError, ValueError) as error:
        raise TakeError(
            f"scene {scene.name!r}: {error}; remove its custom property {TAKES!r} to start anew"
        ) from None


def _write_all(scene: bpy.types.Scene, takes: list[Take]) -> None:
    if takes:
        scene[TAKES] = {str(number): dump_take(take) for number, take in enumerate(takes)}
    elif scene.get(TAKES) is not None:
        del scene[TAKES]


def fetch_take(path: Path, scene_name: str, name: str = "") -> Take:
    """Return a take to compare with out of a findings file or another shot.

    Parameters
    ----------
    path : Path
        A findings file (.json) or a .blend that takes are kept in.
    scene_name : str
        The scene to prefer where the file has several.
    name : str
        Of a .blend's takes the one of this name; the newest when left out.

    Raises
    ------
    TakeError
        One line: what is wrong with which file, and what to do.
    """
    if path.suffix.lower() == ".json":
        return _fetch_findings(path, scene_name)
    if path.suffix.lower() != ".blend":
        raise TakeError(f"{path}: neither a findings file (.json) nor a shot (.blend)")
    if not path.is_file():
        raise TakeError(f"{path}: there is no such file")
    found = {scene: _parse_all(texts, path) for scene, texts in _fetch_texts(path).items()}
    if not found:
        raise TakeError(
            f"{path.name}: no take is kept in it; open it, read it and press Keep Take, "
            "or save its findings with Hand Over"
        )
    takes = found.get(scene_name) or next(iter(found.values()))
    for take in reversed(takes):
        if name in ("", take.name):
            # Named as on the command line: it is not this scene's own take of that name.
            return replace(take, name=f"{path.name}#{take.name}")
    known = ", ".join(take.name for take in takes)
    raise TakeError(f"{path.name}: no take {name!r} is kept in it (kept: {known})")


def _fetch_findings(path: Path, scene_name: str) -> Take:
    try:
        shots = read_report(str(path)).shots
    except ReportError as error:
        raise TakeError(str(error)) from None
    if not shots:
        raise TakeError(f"{path.name}: it holds no shot to compare with")
    fitting = [shot for shot in shots if shot.scene == scene_name]
    if not fitting and len(shots) > 1:
        known = ", ".join(dict.fromkeys(shot.scene for shot in shots))
        raise TakeError(f"{path.name}: it holds no scene {scene_name!r} (there are: {known})")
    return Take(path.name, (fitting or list(shots))[0])


def _fetch_texts(path: Path) -> dict[str, list[str]]:
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "takes.json"
        code = _FETCH.format(shot=str(path.resolve()), name=TAKES, out=str(out))
        command = [sys.executable, "-c", code]
        if bpy.app.binary_path:
            command = [bpy.app.binary_path, "--background", "--factory-startup"]
            command += ["--python-expr", code]
        try:
            subprocess.run(
                command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=FETCH_LIMIT_S,
                check=False,
            )
            found: dict[str, list[str]] = json.loads(out.read_text(encoding="utf-8"))
        except (OSError, ValueError, subprocess.TimeoutExpired):
            raise TakeError(
                f"{path.name}: Blender could not open it; is it whole, and not saved by a newer "
                "version?"
            ) from None
    return found


def _parse_all(texts: list[str], path: Path) -> list[Take]:
    try:
        return [parse_take(text) for text in texts]
    except TakeError as error:
        raise TakeError(f"{path.name}: {error}") from None
