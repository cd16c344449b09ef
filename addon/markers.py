# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Flags as scene markers: put in, brought up to date, taken out again, others never touched.

A marker of ours carries a small tag (a registered string property of timeline markers), which stays
with it when it is renamed, moved, saved, opened in another Blender or copied with its scene, and
also while the extension is switched off. The tag keeps what we wrote, so that a name or a frame the
user changed since is left as the user wants it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import bpy

from ..core_math import Flag

TAG = "fettle_flag"
"""Name of the string property of timeline markers that tells ours apart."""

LONGEST_NAME = 63
"""Bytes that Blender keeps of a marker's name."""


@dataclass(frozen=True, slots=True)
class BakeOutcome:
    """How many markers were put in, left as they were, brought up to date and taken out."""

    added: int
    kept: int
    updated: int
    removed: int


@dataclass(frozen=True, slots=True)
class Tag:
    """What we wrote into a marker when we made it or last brought it up to date."""

    flag_id: str
    frame: int
    name: str


def register() -> None:
    """Give timeline markers the property that holds the tag."""
    if not hasattr(bpy.types.TimelineMarker, TAG):
        setattr(
            bpy.types.TimelineMarker,
            TAG,
            bpy.props.StringProperty(name="Fettle flag", options={"HIDDEN"}),
        )


def unregister() -> None:
    """Take the property away; tags already written stay in the file."""
    if hasattr(bpy.types.TimelineMarker, TAG):
        delattr(bpy.types.TimelineMarker, TAG)


def bake_markers(scene: bpy.types.Scene, flags: Iterable[Flag]) -> BakeOutcome:
    """Make the scene's markers of ours match a list of flags.

    Baking again adds only what is new, follows flags that moved, and takes out markers whose flag
    is gone. A marker of ours that the user renamed or moved keeps the user's name or frame.

    Parameters
    ----------
    scene : bpy.types.Scene
    flags : iterable of Flag
        One marker for each, at its peak.

    Returns
    -------
    BakeOutcome
    """
    wanted = {flag.id: flag for flag in sorted(flags, key=lambda flag: (flag.peak, flag.id))}
    added = kept = updated = removed = 0
    with _tags_readable():
        for marker, tag in find_baked(scene):
            flag = wanted.pop(tag.flag_id, None)
            if flag is None:
                scene.timeline_markers.remove(marker)
                removed += 1
            elif _bring_up_to_date(marker, tag, flag):
                updated += 1
            else:
                kept += 1
        for flag in wanted.values():
            marker = scene.timeline_markers.new(name_marker(flag), frame=flag.peak)
            marker.select = False
            _write_tag(marker, Tag(flag.id, marker.frame, marker.name))
            added += 1
    return BakeOutcome(added, kept, updated, removed)


def remove_baked(scene: bpy.types.Scene) -> int:
    """Take out every marker of ours, also renamed and moved ones; return how many."""
    with _tags_readable():
        baked = find_baked(scene)
        for marker, _ in baked:
            scene.timeline_markers.remove(marker)
    return len(baked)


def find_baked(scene: bpy.types.Scene) -> list[tuple[bpy.types.TimelineMarker, Tag]]:
    """List the scene's markers of ours with their tags.

    A copy that the user made of one of them carries the same tag; it comes later in the list and
    belongs to the user.
    """
    seen: set[str] = set()
    baked = []
    with _tags_readable():
        for marker in scene.timeline_markers:
            tag = _read_tag(marker)
            if tag is not None and tag.flag_id not in seen:
                seen.add(tag.flag_id)
                baked.append((marker, tag))
    return baked


def name_marker(flag: Flag) -> str:
    """Write a flag in the few letters a marker has room for: part, check, severity."""
    end = f": {flag.check} ({flag.severity.word})"
    room = LONGEST_NAME - len(end.encode())
    part = flag.part.encode()[:room].decode(errors="ignore")
    return part + end


def _bring_up_to_date(marker: bpy.types.TimelineMarker, tag: Tag, flag: Flag) -> bool:
    name = name_marker(flag)
    if (tag.frame, tag.name) == (flag.peak, name):
        return False
    if marker.frame == tag.frame:
        marker.frame = flag.peak
    if marker.name == tag.name:
        marker.name = name
    _write_tag(marker, Tag(flag.id, flag.peak, name))
    return True


def _read_tag(marker: bpy.types.TimelineMarker) -> Tag | None:
    text = getattr(marker, TAG, "")
    if not text:
        return None
    try:
        flag_id, frame, name = json.loads(text)
        return Tag(str(flag_id), int(frame), str(name))
    except (ValueError, TypeError):
        return None


def _write_tag(marker: bpy.types.TimelineMarker, tag: Tag) -> None:
    setattr(marker, TAG, json.dumps([tag.flag_id, tag.frame, tag.name]))


@contextmanager
def _tags_readable() -> Iterator[None]:
    """Have the tag's property registered, also where the extension itself is not (the command)."""
    missing = not hasattr(bpy.types.TimelineMarker, TAG)
    if missing:
        register()
    try:
        yield
    finally:
        if missing:
            unregister()
