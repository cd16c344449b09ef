# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Builds the two takes of the demo shot: a crane hand slings crates onto a cart at dawn."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import bpy
from mathutils import Euler, Matrix

from . import acting, camera, faults, figure, harbour, overlap, paints, props
from . import performance as show
from .faults import PLANTED_FAULTS
from .keys import Tracks
from .rig import build_rig

__all__ = ["PLANTED_FAULTS", "build_take", "take_path"]


def take_path(folder: Path, take: int) -> Path:
    """Return the file of a take in a folder."""
    return folder / f"crane_hand_take{take}.blend"


def build_take(take: int, path: Path) -> None:
    """Build one take and save it.

    Parameters
    ----------
    take : int
        1 for the first take with its planted faults, 2 for the one with them mended.
    path : Path
        The .blend file to write; its folder is made if it is not there.

    Raises
    ------
    ValueError
        If there is no such take.
    """
    if take not in (1, 2):
        raise ValueError(f"there is no take {take}: the demo shot has takes 1 and 2")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = _set_up_scene()
    cast = bpy.data.collections.new("Crane hand")
    scene.collection.children.link(cast)
    rig = build_rig(cast)
    chest = _act(rig, scene, faulty=take == 1)
    materials = paints.build_materials()
    figure.build_figure(rig, cast, materials)
    harbour.build_harbour(scene, materials)
    for throw in props.THROWS:
        props.key_crate(throw, chest).write(bpy.data.objects[throw.crate])
    props.key_cart().write(bpy.data.objects[props.CART_NAME])
    camera_object = camera.build_camera(scene.collection)
    moves = camera.key_camera()
    if take == 1:
        faults.late_camera(moves)
    moves.write(camera_object)
    scene.frame_set(show.FIRST_FRAME)
    _set_up_views()
    path.parent.mkdir(parents=True, exist_ok=True)
    # Built again, a take replaces itself and leaves no backup beside it.
    bpy.context.preferences.filepaths.save_version = 0
    bpy.ops.wm.save_as_mainfile(filepath=str(path), check_existing=False, compress=True)


def _set_up_scene() -> bpy.types.Scene:
    scene: Any = bpy.context.scene
    scene.name = "Harbour at dawn"
    scene.frame_start, scene.frame_end = show.FIRST_FRAME, show.LAST_FRAME
    scene.render.fps, scene.render.fps_base = show.FPS, 1.0
    scene.render.resolution_x, scene.render.resolution_y = 1280, 720
    scene.unit_settings.system = "METRIC"
    scene.render.engine = "CYCLES"
    scene.cycles.samples = 48
    scene.cycles.use_denoising = True
    scene.view_settings.view_transform = "AgX"
    scene.view_settings.look = "AgX - Medium High Contrast"
    scene.view_settings.exposure = 0.25
    return scene


def _set_up_views() -> None:
    """Let the file open on the shot: through its camera, under its sky, with her to select."""
    for screen in bpy.data.screens:
        for area in screen.areas:
            space: Any = area.spaces.active
            if space.type != "VIEW_3D":
                continue
            if space.region_3d is not None:
                space.region_3d.view_perspective = "CAMERA"
                space.region_3d.view_camera_zoom = 18.0
            space.shading.background_type = "VIEWPORT"
            space.shading.background_color = paints.linear("#D9B8A4")[:3]
            for clutter in ("floor", "axis_x", "axis_y", "cursor", "extras", "relationship_lines"):
                setattr(space.overlay, f"show_{clutter}", False)


def _act(rig: bpy.types.Object, scene: bpy.types.Scene, faulty: bool) -> list[Matrix]:
    """Key trunk and feet, then arms on them, then what overlaps; return the chest's poses."""
    tracks = Tracks()
    acting.key_trunk(tracks)
    acting.key_head(tracks)
    acting.key_feet(tracks, faults.faulty_steps() if faulty else show.STEPS)
    acting.key_fingers(tracks, "L", show.FINGERS_LEFT)
    acting.key_fingers(tracks, "R", show.FINGERS_RIGHT)
    if faulty:
        faults.spoil_body(tracks)
    tracks.write(rig)
    poses = acting.sample_bones(rig, ("hips", "chest", "head"), scene)
    for side in "LR":
        table = show.ARM_LEFT if side == "L" else show.ARM_RIGHT
        if faulty and side == "L":
            table = faults.twin_reaches()
        _act_arm(tracks, rig, side, table, poses)
    for strand in overlap.STRANDS:
        overlap.key_strand(tracks, rig, strand, poses)
    if faulty:
        tracks.write(rig)
        faults.mirror_arms(tracks, rig)
        faults.copy_braid(tracks)
    tracks.write(rig)
    if faulty:
        faults.break_arc(rig)
        faults.pop_head(rig)
        faults.lock_hand(rig, scene)
    return poses["chest"]


def _act_arm(
    tracks: Tracks,
    rig: bpy.types.Object,
    side: str,
    table: Sequence[show.Reach],
    poses: dict[str, list[Matrix]],
) -> None:
    actor = acting.ArmActing(rig, side, poses)
    moves = {reach.frame: reach for reach in table}
    holds = {}
    for throw, grip, release in zip(props.THROWS, *props.HOLDS[side], strict=True):
        crate = props.CrateMotion(throw, poses["chest"])
        frames = {grip, release, *props.touched_frames(throw)}
        holds.update({frame: crate.at(frame) for frame in frames if grip <= frame <= release})
        crate.remove()
    neutral = Euler((0.0, 0.0, 0.0), "ZXY")
    solved = {}
    for frame in sorted({*moves, *holds}):
        collar = neutral
        # The collar bone follows the arm, and the arm hangs on it: twice is enough.
        for _ in range(2):
            if frame in holds:
                pose = actor.holding(frame, holds[frame], collar)
            else:
                pose = actor.free(moves[frame], collar)
            collar = acting.collar_turn(pose, side)
        solved[frame] = (pose, collar)
    acting.key_arm(tracks, side, solved)
