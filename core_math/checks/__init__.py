# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""One judgement per file; this list is the only place that knows them all, in their order."""

from ..check import Check
from . import (
    arc_break,
    blocked_view,
    camera_hitch,
    copied_strands,
    curve_flip,
    dead_hold,
    flat_arc,
    foot_off_ground,
    foot_slide,
    framing_drift,
    frozen_hand_pose,
    idle_chest,
    idle_shoulder,
    ik_lock,
    joint_snap,
    late_camera,
    lockstep_keys,
    lost_in_background,
    no_overlap,
    off_balance,
    pop,
    same_frame_moves,
    soft_plant,
    stall,
    stiff_wrist,
    strobe,
    twinning,
    weightless_hips,
    wrist_line,
)

ALL_CHECKS: tuple[Check, ...] = (
    # Paths and timing
    arc_break.CHECK,
    flat_arc.CHECK,
    pop.CHECK,
    stall.CHECK,
    dead_hold.CHECK,
    curve_flip.CHECK,
    strobe.CHECK,
    # Arms, hands, torso
    ik_lock.CHECK,
    stiff_wrist.CHECK,
    wrist_line.CHECK,
    idle_chest.CHECK,
    idle_shoulder.CHECK,
    frozen_hand_pose.CHECK,
    joint_snap.CHECK,
    # Feet and weight
    soft_plant.CHECK,
    foot_slide.CHECK,
    foot_off_ground.CHECK,
    weightless_hips.CHECK,
    off_balance.CHECK,
    # Between parts
    twinning.CHECK,
    copied_strands.CHECK,
    no_overlap.CHECK,
    same_frame_moves.CHECK,
    lockstep_keys.CHECK,
    # Camera and staging
    late_camera.CHECK,
    framing_drift.CHECK,
    camera_hitch.CHECK,
    blocked_view.CHECK,
    lost_in_background.CHECK,
)
