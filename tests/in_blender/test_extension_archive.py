# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The archive that Blender's own packager builds of this tree."""

import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ALLOWED_AT_THE_TOP = {
    "CHANGELOG.md",
    "LICENSE",
    "README.md",
    "__init__.py",
    "addon",
    "blender_manifest.toml",
    "core_math",
}


@pytest.fixture
def archive(tmp_path):
    subprocess.run(
        [sys.executable, ROOT / "tools" / "build_zip.py", "--blender=", "--output-dir", tmp_path],
        check=True,
        stdin=subprocess.DEVNULL,
    )
    (path,) = tmp_path.glob("*.zip")
    return path


def test_archive_holds_the_extension_and_nothing_else(archive):
    manifest = tomllib.loads((ROOT / "blender_manifest.toml").read_text(encoding="utf-8"))
    assert archive.name == f"fettle-{manifest['version']}.zip"
    with zipfile.ZipFile(archive) as packed:
        names = set(packed.namelist())
    assert {name.split("/")[0] for name in names} == ALLOWED_AT_THE_TOP
    assert not [name for name in names if "__pycache__" in name or "/." in name]
    sources = {
        path.relative_to(ROOT).as_posix()
        for part in ("core_math", "addon")
        for path in (ROOT / part).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert sources <= names


def test_a_tree_blender_refuses_builds_no_archive(tmp_path):
    source, output = tmp_path / "source", tmp_path / "output"
    source.mkdir()
    (source / "blender_manifest.toml").write_text('id = "fettle"\nversion = "0.1.0"\n')
    code = (
        "import sys, pathlib; sys.path.insert(0, sys.argv[1]); import build_zip;"
        "build_zip.build_archive(build_zip.find_packager(None), *map(pathlib.Path, sys.argv[2:]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, ROOT / "tools", source, output],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 1
    assert "extension build failed" in done.stderr
    assert "schema_version" in done.stderr  # what is missing, in the packager's own words
    assert not list(output.glob("*.zip"))
