# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which files a call of the command means."""

import os
import tempfile
from pathlib import Path

import pytest

from fettle.addon.shot_paths import list_shots, natural_key


def fill(folder, *names):
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")


def test_folder_gives_its_shots_sorted_as_people_do(tmp_path):
    fill(tmp_path, "shot 10.blend", "shot 9.blend", "b/walk.BVH", "a/x.glb", "a/y.gltf", "z.fbx")
    fill(tmp_path, "notes.txt", "shot 9.blend1", ".hidden.blend", ".git/x.blend")
    shots, faults = list_shots([str(tmp_path)])
    names = [os.path.relpath(shot, tmp_path) for shot in shots]
    assert names == [
        "shot 9.blend",
        "shot 10.blend",
        "z.fbx",
        os.path.join("a", "x.glb"),
        os.path.join("a", "y.gltf"),
        os.path.join("b", "walk.BVH"),
    ]
    assert faults == []


def test_named_files_keep_their_order_and_nothing_is_read_twice(tmp_path):
    fill(tmp_path, "b.blend", "a.blend")
    b, a = str(tmp_path / "b.blend"), str(tmp_path / "a.blend")
    assert list_shots([b, a, str(tmp_path), b])[0] == [b, a]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("-", "standard input"),
        ("missing.blend", "cannot be read (No such file"),
        ("nul\0.blend", "cannot be read"),
        ("notes.txt", "is no shot"),
        ("/dev/null", "is no file"),
    ],
)
def test_what_is_no_shot_gets_one_line(tmp_path, monkeypatch, name, words):
    monkeypatch.chdir(tmp_path)
    fill(tmp_path, "notes.txt", "good.blend")
    shots, (fault,) = list_shots([name, "good.blend"])
    assert shots == ["good.blend"]
    assert fault.source == name and fault.error.startswith(f"{name}: ")
    assert words in fault.error and "\n" not in fault.error


def test_folder_without_shots_says_so(tmp_path):
    shots, (fault,) = list_shots([str(tmp_path)])
    assert shots == [] and "holds no shot" in fault.error


def test_numbers_in_names_sort_as_numbers():
    names = ["s10", "s9", "S1", "s٣", "1", "a", "²"]
    assert sorted(names, key=natural_key) == ["1", "a", "S1", "s٣", "s9", "s10", "²"]


@pytest.mark.skipif(os.name != "posix", reason="permissions of folders are POSIX")
def test_folder_without_permission_is_told_and_the_rest_is_found():
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        fill(folder, "open/a.blend", "locked/b.blend", "c.blend")
        for path in (folder, folder / "open"):
            path.chmod(0o755)
        (folder / "locked").chmod(0)
        root = os.geteuid() == 0
        if root:  # whom no permission holds back
            os.seteuid(65534)
        try:
            shots, (fault,) = list_shots([place])
            alone, (refused,) = list_shots([str(folder / "locked")])
        finally:
            if root:
                os.seteuid(0)
            (folder / "locked").chmod(0o755)
        assert [os.path.relpath(shot, place) for shot in shots] == ["c.blend", "open/a.blend"]
        assert alone == []
        for entry in (fault, refused):
            assert "locked: cannot be searched (Permission denied)" in entry.error
