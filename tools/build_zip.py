# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Build the extension's archive and validate it, both with Blender's own code.

The Blender is ``--blender`` or the environment variable ``BLENDER``; without one it is
the packaging script inside the ``bpy`` module of this Python. The path of the archive is
the last line printed.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


def find_packager(blender: str | None) -> list[str]:
    """Give the start of the command line that Blender's ``extension`` words follow.

    Parameters
    ----------
    blender : str or None
        Path of a Blender program; None or empty to use the ``bpy`` module.

    Returns
    -------
    list of str

    Raises
    ------
    SystemExit
        If neither is there; the message says what to do.
    """
    if blender:
        return [blender, "--factory-startup", "--command", "extension"]
    module = importlib.util.find_spec("bpy")
    for folder in (module.submodule_search_locations if module else None) or ():
        for script in Path(folder).glob("*/scripts/addons_core/bl_pkg/cli/blender_ext.py"):
            return [sys.executable, str(script)]
    raise SystemExit(
        "build_zip.py: no Blender to build with: name one with BLENDER=/path/to/blender, or "
        "install the bpy module into this Python (make demo does)"
    )


def build_archive(packager: list[str], source: Path, folder: Path) -> Path:
    """Build the archive of a tree into a folder and validate it there.

    Parameters
    ----------
    packager : list of str
        What `find_packager` gave.
    source : Path
        The tree, with its manifest.
    folder : Path
        Where the archive goes; made if missing.

    Returns
    -------
    Path
        The archive.

    Raises
    ------
    SystemExit
        If Blender refuses the tree or the archive.
    """
    manifest = tomllib.loads((source / "blender_manifest.toml").read_text(encoding="utf-8"))
    folder.mkdir(parents=True, exist_ok=True)
    archive = folder / f"{manifest['id']}-{manifest['version']}.zip"
    archive.unlink(missing_ok=True)
    for words in (
        ["build", "--source-dir", str(source), "--output-filepath", str(archive)],
        ["validate", str(archive)],
    ):
        done = subprocess.run(
            [*packager, *words],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        if done.returncode or not archive.is_file():
            print(done.stdout.rstrip(), file=sys.stderr)
            raise SystemExit(f"build_zip.py: extension {words[0]} failed, see above")
    return archive


def main() -> None:
    """Read the command line, build, validate, print the path."""
    parser = argparse.ArgumentParser(description="Build and validate the extension's archive.")
    parser.add_argument("--blender", default=os.environ.get("BLENDER"))
    parser.add_argument("--output-dir", type=Path, default=ROOT / "dist")
    arguments = parser.parse_args()
    archive = build_archive(find_packager(arguments.blender), ROOT, arguments.output_dir)
    size = archive.stat().st_size / 1024
    print(f"built and validated by Blender's own packager: {size:.0f} KiB")
    print(archive)


if __name__ == "__main__":
    main()
