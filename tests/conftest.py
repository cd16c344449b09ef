# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What every kind of test may ask for: where the real motion captures are."""

import os
from pathlib import Path

import pytest

BVH_FOLDER = Path("usr/share/assimp/models/BVH")


def find_captures():
    """Give the folder of captures, or None; FETTLE_CAPTURES names one, the cache has one."""
    named = os.environ.get("FETTLE_CAPTURES")
    if named:
        return Path(named)
    home = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    cache = Path(os.environ.get("FETTLE_CACHE") or Path(home) / "fettle")
    installed = Path("/") / BVH_FOLDER
    for folder in (cache / "captures" / "assimp-testmodels" / BVH_FOLDER, installed):
        if folder.is_dir():
            return folder
    return None


@pytest.fixture
def captures_folder():
    """The folder with 01_01.bvh, 01_03.bvh and Boxing_Toes.bvh, or a skip that says why."""
    folder = find_captures()
    if folder is None:
        pytest.skip(
            "the motion captures are not here: tools/fetch_captures.sh fetches Debian's "
            "assimp-testmodels, FETTLE_CAPTURES=FOLDER names a copy"
        )
    if not folder.is_dir():
        pytest.fail(f"FETTLE_CAPTURES names no folder: {folder}")
    return folder


@pytest.fixture
def capture(captures_folder):
    """Give the path of one capture by its file name, or a skip that names it."""

    def find(name):
        path = captures_folder / name
        if not path.is_file():
            pytest.skip(f"this capture is not here: {path}")
        return path

    return find
