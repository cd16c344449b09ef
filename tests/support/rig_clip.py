# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The clip of Blender's generated rig, keyed through its controls and stored as samples.

tests/quality/make_rig_clip.py made it and says how.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from fettle.core_math.motion import Motion
from fettle.core_math.motion_making import build_motion

STORED = Path(__file__).resolve().parents[1] / "quality" / "rig_motion.npz"
FPS = 24.0


@cache
def load() -> Motion:
    """Return the clip at the rate it was keyed at."""
    with np.load(STORED) as stored:
        return build_motion(
            subject="generated rig",
            frames=np.arange(1, 1 + len(stored["heads"])),
            fps=float(stored["fps"]),
            parts=[str(part) for part in stored["parts"]],
            parents=[int(row) for row in stored["parents"]],
            heads=stored["heads"].astype(float),
            tails=stored["tails"].astype(float),
            rotations_wxyz=stored["rotations"].astype(float),
            ground_height=float(stored["ground_height"]),
        )
