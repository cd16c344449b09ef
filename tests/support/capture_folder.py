# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Where the real motion captures are: named by the environment, fetched, or installed."""

from __future__ import annotations

import os
from pathlib import Path

_BVH_FOLDER = Path("usr/share/assimp/models/BVH")


def find_captures() -> Path | None:
    """Give the folder of captures, or None; FETTLE_CAPTURES names one, the cache has one."""
    named = os.environ.get("FETTLE_CAPTURES")
    if named:
        return Path(named)
    home = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    cache = Path(os.environ.get("FETTLE_CACHE") or Path(home) / "fettle")
    fetched = cache / "captures" / "assimp-testmodels" / _BVH_FOLDER
    installed = Path("/") / _BVH_FOLDER
    return next((folder for folder in (fetched, installed) if folder.is_dir()), None)
