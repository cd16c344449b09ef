# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""`fettle demo` from an empty folder to what a person opens next."""

import json
import os

import bpy
import jsonschema
import matplotlib.image
import numpy as np
import pytest

from fettle.addon import markers, verb_demo
from fettle.addon.command_line import main
from fettle.core_math.report import SCHEMA_PATH


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("démo 港") / "out"
    assert main(["demo", "--out", str(folder)]) == 0
    return folder


def test_demo_writes_what_it_promises(demo):
    assert {path.name for path in demo.iterdir() if path.name[0] != "."} == {
        *verb_demo.TAKES,
        verb_demo.MARKED,
        verb_demo.PICTURE,
        verb_demo.FINDINGS,
    }
    document = json.loads((demo / verb_demo.FINDINGS).read_text(encoding="utf-8"))
    schema = json.loads(SCHEMA_PATH.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(document)
    first, second = document["shots"]
    assert first["findings"]
    assert len(second["findings"]) < len(first["findings"])
    assert document["errors"] == [] and first["crashes"] == [] and second["crashes"] == []


def test_second_run_builds_nothing_again_and_tells_the_same(demo, capfd):
    before = {name: os.stat(demo / name).st_mtime_ns for name in verb_demo.TAKES}
    assert main(["demo", "--out", str(demo)]) == 0
    out, err = capfd.readouterr()
    assert {name: os.stat(demo / name).st_mtime_ns for name in verb_demo.TAKES} == before
    assert "building" not in err
    assert "frames  part" in out and "Open next" in out
    for name in (verb_demo.PICTURE, verb_demo.MARKED, verb_demo.FINDINGS):
        assert str(demo / name) in out


def test_marked_copy_carries_a_marker_for_every_flag(demo):
    document = json.loads((demo / verb_demo.FINDINGS).read_text(encoding="utf-8"))
    bpy.ops.wm.open_mainfile(filepath=str(demo / verb_demo.MARKED))
    markers.register()
    try:
        found = markers.find_baked(bpy.context.scene)
        assert {tag.flag_id for _, tag in found} == {
            flag["id"] for flag in document["shots"][0]["findings"]
        }
    finally:
        markers.unregister()


def test_picture_shows_a_trail_in_spacing_colours_and_a_flag(demo):
    image = matplotlib.image.imread(demo / verb_demo.PICTURE)[..., :3] * 255.0
    height, width, _ = image.shape
    assert width >= 1200 and height >= 800

    def count(digits, tolerance=6.0):
        colour = [int(digits[i : i + 2], 16) for i in (0, 2, 4)]
        return int((np.abs(image - colour).max(axis=-1) <= tolerance).sum())

    # cividis from end to end, and at least one severity outside the legend's three small signs.
    assert count("00224e") > 50 or count("434e6c") > 50
    assert count("fee838", 14.0) > 20 or count("bcae6c", 14.0) > 20
    assert max(count(digits) for digits in ("56b4e9", "e69f00", "d55e00")) > 500


def test_folder_that_cannot_be_made_gets_one_line(tmp_path, capfd):
    taken = tmp_path / "taken"
    taken.write_text("")
    assert main(["demo", "--out", str(taken)]) == 2
    (line,) = capfd.readouterr().err.splitlines()
    assert line.startswith("fettle demo: ") and "cannot be made" in line


def test_without_its_scripts_the_demo_says_where_they_are(monkeypatch, tmp_path, capfd):
    monkeypatch.setattr(verb_demo, "SCRIPTS", tmp_path / "none")
    assert main(["demo", "--out", str(tmp_path / "out")]) == 2
    assert "not part of the extension" in capfd.readouterr().err
