# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The two ways of installing the tree tell the same story."""

import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def read_toml(name):
    return tomllib.loads((ROOT / name).read_text(encoding="utf-8"))


def test_both_installs_carry_one_version():
    assert (
        read_toml("pyproject.toml")["project"]["version"]
        == (read_toml("blender_manifest.toml")["version"])
    )


@pytest.mark.parametrize("part", ["core_math", "addon", "demo_blend_scripts"])
def test_every_package_folder_is_installed_by_pip(part):
    listed = set(read_toml("pyproject.toml")["tool"]["setuptools"]["packages"])
    there = {
        ".".join(("fettle", *init.parent.relative_to(ROOT).parts))
        for init in (ROOT / part).rglob("__init__.py")
    }
    assert there
    assert there <= listed


def test_every_listed_package_has_its_folder():
    for package in read_toml("pyproject.toml")["tool"]["setuptools"]["packages"]:
        assert ROOT.joinpath(*package.split(".")[1:], "__init__.py").is_file(), package
