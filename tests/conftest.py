# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What every kind of test may ask for: where the real motion captures are."""

import pytest
from capture_folder import find_captures


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
