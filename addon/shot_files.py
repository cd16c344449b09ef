# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Open a shot in this Blender: its own files, and the exchange formats it can import.

Only for a Blender of our own (a worker process): whatever was open is thrown away.
"""

from __future__ import annotations

import base64
import contextlib
import gzip
import json
import math
import os
import re
import struct
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import bpy

from .animation_data import frame_factor, list_drivers, list_played_curves, read_keys
from .bvh_file import COMMON_RATES, inspect_bvh
from .compat import read_version
from .shot_faults import ShotFileError


@dataclass(frozen=True, slots=True)
class OpenedShot:
    """What opening a file brought along.

    Attributes
    ----------
    warnings : tuple of str
        One line each for what is missing from the file though it could be opened.
    facts : tuple of str
        One line each for what was assumed (a unit, a rate).
    """

    warnings: tuple[str, ...] = ()
    facts: tuple[str, ...] = ()


def open_shot(path: Path, *, run_scripts: bool = False) -> OpenedShot:
    """Open a .blend or import a .bvh, .fbx, .glb or .gltf into an empty file.

    Parameters
    ----------
    path : Path
    run_scripts : bool
        Let Python in the file run (drivers and scripts in text blocks).

    Raises
    ------
    ShotFileError
        What is wrong with the file and what to do, in one line without its name.
    """
    try:
        with path.open("rb") as stream:
            head = stream.read(64)
    except OSError as error:
        raise ShotFileError(f"cannot be read ({error.strerror})") from None
    if not head:
        raise ShotFileError("is empty; save or export it again")
    suffix = path.suffix.lower()
    if suffix == ".blend":
        return _open_blend(path, head, run_scripts)
    openers: dict[str, Callable[[Path], OpenedShot]] = {
        ".bvh": _import_bvh,
        ".fbx": _import_fbx,
        ".glb": _import_gltf,
        ".gltf": _import_gltf,
    }
    if suffix not in openers:
        raise ShotFileError("is of no kind that can be read (.blend, .bvh, .fbx, .glb, .gltf)")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    return openers[suffix](path)


def _open_blend(path: Path, head: bytes, run_scripts: bool) -> OpenedShot:
    version = _read_blend_version(path, head)
    ours = read_version()
    if version is not None and version > ours[:2]:
        raise _newer(version)
    try:
        bpy.ops.wm.open_mainfile(filepath=str(path), load_ui=False, use_scripts=run_scripts)
    except RuntimeError as error:
        raise ShotFileError(f"cannot be opened ({_shorten(error, path)}); save it again") from None
    stamp: Any = bpy.data.version
    saved = (int(stamp[0]), int(stamp[1]))
    if saved > ours[:2]:
        raise _newer(saved)
    warnings = [
        f"its library {library.filepath} is missing, what comes from there was not read"
        for library in bpy.data.libraries
        if not os.path.exists(bpy.path.abspath(library.filepath, library=library.library))
    ]
    if not run_scripts:
        warnings += _find_blocked_drivers()
    return OpenedShot(warnings=tuple(warnings))


def _find_blocked_drivers() -> list[str]:
    """Name drivers that need Python, which was not let run: what they drive stands still.

    Scripts in text blocks draw a rig's panels and move nothing, so they are not missed.
    """
    blocked = [
        f"{owner.name}: {curve.driver.expression!r}"
        for owner in (*bpy.data.objects, *bpy.data.armatures)
        for curve in list_drivers(owner)
        if curve.driver.type == "SCRIPTED" and not curve.driver.is_simple_expression
    ]
    if not blocked:
        return []
    return [
        f"{len(blocked)} of its drivers need Python, which was not run (the first is "
        f"{blocked[0][:80]}); trust the file with --run-scripts"
    ]


def _read_blend_version(path: Path, head: bytes) -> tuple[int, int] | None:
    """Return the version a .blend was saved by, None where its head cannot be read here."""
    if head.startswith(b"\x28\xb5\x2f\xfd"):
        try:
            import zstandard
        except ImportError:
            return None
        with path.open("rb") as stream, contextlib.suppress(zstandard.ZstdError):
            head = zstandard.ZstdDecompressor().stream_reader(stream).read(64)
    elif head.startswith(b"\x1f\x8b"):
        with contextlib.suppress(OSError, EOFError), gzip.open(path) as packed:
            head = packed.read(64)
    if not head.startswith(b"BLENDER"):
        raise ShotFileError("is no .blend file; save it again from Blender")
    found = re.match(rb"BLENDER(?:[-_][vV]|\d\d-\d\dv)(\d+)", head)
    if found is None:
        return None
    number = int(found.group(1))
    return number // 100, number % 100


def _newer(version: tuple[int, int]) -> ShotFileError:
    ours = ".".join(map(str, read_version()[:2]))
    theirs = f"{version[0]}.{version[1]}"
    return ShotFileError(
        f"was saved by Blender {theirs}, this is {ours} and may lose animation; "
        f"read it with Blender {theirs} or newer"
    )


def _import_bvh(path: Path) -> OpenedShot:
    facts = inspect_bvh(path)
    if facts.frame_count < 2:
        raise ShotFileError("holds a single pose, which is no motion; export all frames")
    unit, metres = facts.guess_unit()
    scene: Any = bpy.context.scene
    _set_rate(scene, facts.fps)
    _enable("io_anim_bvh")
    _call_importer(
        bpy.ops.import_anim.bvh,
        filepath=str(path),
        axis_forward="Y" if facts.up == "Z" else "-Z",
        axis_up=facts.up,
        use_fps_scale=False,
        update_scene_fps=False,
        update_scene_duration=False,
    )
    # The figure keeps the file's numbers; the scene says what they mean.
    scene.unit_settings.system = "METRIC"
    scene.unit_settings.scale_length = metres
    scene.frame_start, scene.frame_end = 1, facts.frame_count
    return OpenedShot(facts=(f"counted in {unit} ({metres:g} m), {facts.up} upwards",))


def _import_fbx(path: Path) -> OpenedShot:
    scene: Any = bpy.context.scene
    _enable("io_scene_fbx")
    _call_importer(bpy.ops.import_scene.fbx, filepath=str(path))
    _fit_frame_range(scene)
    return OpenedShot()


def _import_gltf(path: Path) -> OpenedShot:
    fps = _find_gltf_rate(path)
    scene: Any = bpy.context.scene
    _set_rate(scene, fps)
    _enable("io_scene_gltf2")
    _call_importer(bpy.ops.import_scene.gltf, filepath=str(path))
    _fit_frame_range(scene)
    return OpenedShot(facts=(f"keys stand {fps:g} to the second",))


def _enable(module: str) -> None:
    if module in bpy.context.preferences.addons:
        return
    try:
        bpy.ops.preferences.addon_enable(module=module)
    except RuntimeError as error:
        raise ShotFileError(f"needs Blender's importer {module} ({_shorten(error)})") from None
    if module not in bpy.context.preferences.addons:
        raise ShotFileError(f"needs Blender's importer {module}, which is not in this Blender")


def _call_importer(operator: Any, **options: Any) -> None:
    """Import, taking any failure of the importer for what it is: a file it cannot read."""
    try:
        outcome = operator(**options)
    except Exception as error:
        raise ShotFileError(f"cannot be imported ({_shorten(error)}); export it again") from None
    if "FINISHED" not in outcome:
        raise ShotFileError("cannot be imported (Blender's importer gave up); export it again")


def _set_rate(scene: bpy.types.Scene, fps: float) -> None:
    whole = max(1, math.ceil(fps - 1e-9))
    scene.render.fps = whole
    scene.render.fps_base = whole / fps


def _fit_frame_range(scene: bpy.types.Scene) -> None:
    """Set the scene's frames to those the imported curves fill."""
    factor = frame_factor(scene)
    frames = [
        frame * factor
        for owner in bpy.data.objects
        for played in list_played_curves(owner)
        for frame in read_keys(played.curve)[0]
    ]
    if frames:
        scene.frame_start = math.floor(min(frames) + 1e-3)
        scene.frame_end = math.ceil(max(frames) - 1e-3)


def _find_gltf_rate(path: Path) -> float:
    """Return the keys per second of a glTF file's animation, as one of the common rates.

    The format counts in seconds and knows no rate. Most animation is exported key by key, so the
    closest two keys tell; 24 where they tell nothing.
    """
    closest = math.inf
    for times in _iterate_gltf_times(path):
        steps = [b - a for a, b in zip(times, times[1:], strict=False) if b - a > 1e-4]
        closest = min([closest, *steps])
    for rate in COMMON_RATES:
        if abs(closest * rate - 1.0) < 0.02:
            return float(rate)
    return 24.0


def _iterate_gltf_times(path: Path) -> list[tuple[float, ...]]:
    """Return the key times of every animation sampler whose numbers lie in the file itself."""
    document, binary = _read_gltf(path)
    found = []
    try:
        for animation in document.get("animations", ()):
            for sampler in animation["samplers"]:
                accessor = document["accessors"][sampler["input"]]
                view = document["bufferViews"][accessor["bufferView"]]
                data = binary(view["buffer"])
                start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
                found.append(struct.unpack_from(f"<{accessor['count']}f", data, start))
    except (KeyError, IndexError, TypeError, struct.error):
        raise ShotFileError("is a damaged glTF file; export it again") from None
    return found


def _read_gltf(path: Path) -> tuple[dict[str, Any], Callable[[int], bytes]]:
    raw = path.read_bytes()
    chunk = b""
    try:
        if raw.startswith(b"glTF"):
            length = struct.unpack_from("<I", raw, 12)[0]
            document = json.loads(raw[20 : 20 + length])
            chunk = raw[20 + length + 8 :]
        else:
            document = json.loads(raw)
        if not isinstance(document, dict) or "asset" not in document:
            raise ValueError
    except (ValueError, struct.error):
        raise ShotFileError("is no glTF file or is cut off; export it again") from None

    def binary(index: int) -> bytes:
        uri = document["buffers"][index].get("uri")
        if uri is None:
            return chunk
        if uri.startswith("data:"):
            return base64.b64decode(uri.partition(",")[2])
        beside = path.parent / unquote(uri)
        try:
            return beside.read_bytes()
        except OSError as error:
            raise ShotFileError(f"needs {beside} ({error.strerror})") from None

    return document, binary


def _shorten(error: Exception, path: Path | None = None) -> str:
    """Return the last telling words of what Blender said, without its "Error:" and the path."""
    lines = [line.strip() for line in str(error).splitlines() if line.strip()]
    text = lines[-1] if lines else type(error).__name__
    text = re.sub(r"^(Error|Warning):\s*", "", text)
    if path is not None and str(path) in text:
        before, _, after = text.rpartition(str(path))
        text = after.strip("\"': ") or before.replace(str(path), "").strip("\"': ")
    return text[:200]
