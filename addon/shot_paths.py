# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which files a call of the command means: files as named, folders searched for shots."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from pathlib import Path

from ..core_math import InputFault

SHOT_SUFFIXES = (".blend", ".bvh", ".fbx", ".glb", ".gltf")


def list_shots(paths: Iterable[str]) -> tuple[list[str], list[InputFault]]:
    """Find the shots that are meant, each once, in a stable order.

    Parameters
    ----------
    paths : iterable of str
        Files keep the order in which they are named; a folder gives all shots in it and in the
        folders below, in the order in which people sort names ("shot 9" before "shot 10").
        Hidden files and folders are passed over.

    Returns
    -------
    list of str, list of InputFault
        The shots, and one line for whatever is no shot.
    """
    found: dict[str, str] = {}
    faults: list[InputFault] = []
    for name in paths:
        fault = _find_fault(name)
        if fault is not None:
            faults.append(InputFault(name, fault))
            continue
        shots, more = _search(Path(name)) if os.path.isdir(name) else ([name], [])
        faults += more
        for shot in shots:
            found.setdefault(os.path.realpath(shot), shot)
    return list(found.values()), faults


def _find_fault(name: str) -> str | None:
    kinds = ", ".join(SHOT_SUFFIXES)
    if name == "-":
        return "-: a shot cannot be read from standard input; name a file or a folder"
    path = Path(name)
    try:
        path.stat()
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        return f"{name}: cannot be read ({why}); name a file or a folder that is there"
    if path.is_dir():
        return None
    if not path.is_file():
        return f"{name}: is no file; name one of {kinds}"
    if path.suffix.lower() not in SHOT_SUFFIXES:
        return f"{name}: is no shot; name one of {kinds}, or a folder of them"
    if not os.access(path, os.R_OK):
        return f"{name}: cannot be read (no permission); ask for the right to read it"
    return None


def _search(folder: Path) -> tuple[list[str], list[InputFault]]:
    shots: list[str] = []
    faults: list[InputFault] = []

    def refuse(error: OSError) -> None:
        where = error.filename or folder
        text = f"{where}: cannot be searched ({error.strerror}); ask for the right to read it"
        faults.append(InputFault(str(where), text))

    for where, folders, files in os.walk(folder, onerror=refuse):
        folders[:] = sorted((name for name in folders if name[0] != "."), key=natural_key)
        for name in sorted(files, key=natural_key):
            if name[0] != "." and Path(name).suffix.lower() in SHOT_SUFFIXES:
                shots.append(os.path.join(where, name))
    if not shots and not faults:
        kinds = ", ".join(SHOT_SUFFIXES)
        faults.append(InputFault(str(folder), f"{folder}: holds no shot ({kinds})"))
    return shots, faults


def natural_key(name: str) -> tuple[list[tuple[int, int | str]], str]:
    """Sort key that reads numbers in a name as numbers."""
    pieces = re.split(r"(\d+)", name.casefold())
    return [(0, int(p)) if p.isdecimal() else (1, p) for p in pieces if p], name
