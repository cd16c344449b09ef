# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Weigh a flag by what the audience sees of it: what is out of the picture, or hidden, is faint.

A fault that the shot camera does not see disturbs nobody, but the camera may still change, so it is
kept, at the lowest severity and with half its confidence, and says why.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .findings import Flag, Severity
from .measures import visibility
from .motion import Motion

HIDDEN_SHARE = 0.9
"""Share of the body that must be hidden for its parts to count as hidden."""

DOUBT = 0.5
"""What is left of a flag's confidence when it is not seen."""


def weigh_by_picture(flag: Flag, shot: Motion) -> Flag:
    """Return the flag as it counts in the picture of its shot.

    Parameters
    ----------
    flag : Flag
    shot : Motion
        The stretch between two cuts it was found on.
    """
    reason = find_unseen(flag, shot)
    if not reason:
        return flag
    return replace(
        flag,
        severity=Severity.FAINT,
        confidence=DOUBT * flag.confidence,
        message=f"{flag.message} ({reason})",
    )


def find_unseen(flag: Flag, shot: Motion) -> str:
    """Return why nobody sees a flag, empty when it is seen or there is no shot camera."""
    camera = shot.camera
    parts = [p for p in dict.fromkeys((flag.part, *flag.other_parts)) if shot.has(p)]
    rows = np.flatnonzero((shot.frames >= flag.start) & (shot.frames <= flag.end))
    if camera is None or camera.panoramic or not parts or not len(rows):
        return ""
    columns = [shot.index(part) for part in parts]
    looking = camera.pick(rows)
    shown = np.zeros(len(rows), dtype=np.bool_)
    for ends in (shot.heads, shot.tails):
        places, depths = looking.project(ends[rows][:, columns])
        shown |= visibility.find_shown(places, depths, looking.clip_m).any(axis=1)
    if not shown.any():
        return "out of the shot camera's picture"
    staging = shot.staging
    if staging is not None and len(staging.rows):
        hidden = staging.hold(staging.hidden, shot.frame_count)[rows][shown]
        if (hidden.sum(axis=1) >= HIDDEN_SHARE).all():
            return f"hidden by {staging.things[int(np.argmax(hidden.sum(axis=0)))]}"
    return ""
