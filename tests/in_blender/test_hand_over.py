# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The reading as a file, straight from Blender's window."""

import csv
import json
import os

import bpy
import jsonschema
import pytest
import small_rig

from fettle.addon import kept, registration
from fettle.core_math.report import SCHEMA_PATH


@pytest.fixture
def read():
    bpy.ops.wm.read_factory_settings(use_empty=True)
    registration.register()
    try:
        small_rig.build_shot()
        bpy.ops.fettle.read(at_once=True)
        yield kept.get(bpy.context.scene.name)
    finally:
        registration.unregister()


def write(kind, path):
    assert bpy.ops.fettle.hand_over(kind=kind, filepath=str(path)) == {"FINISHED"}


def test_sheet_has_a_picture_of_every_flag_and_needs_no_library(read, tmp_path):
    write("SHEET", tmp_path / "Blatt 港")
    text = (tmp_path / "Blatt 港.html").read_text(encoding="utf-8")
    assert read.reading.flags
    assert text.count("<article") == len(read.reading.flags)
    assert text.count('aria-label="Trail of') == len(read.reading.flags)


def test_findings_and_rows_say_the_same(read, tmp_path):
    write("JSON", tmp_path / "f.json")
    write("CSV", tmp_path / "f.csv")
    document = json.loads((tmp_path / "f.json").read_text(encoding="utf-8"))
    schema = json.loads(SCHEMA_PATH.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(document)
    with open(tmp_path / "f.csv", newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    (shot,) = document["shots"]
    assert [row["id"] for row in rows] == [flag["id"] for flag in shot["findings"]]


def test_timeline_is_read_back_by_its_library(read, tmp_path):
    otio = pytest.importorskip("opentimelineio", reason="OpenTimelineIO is an optional part")
    write("OTIO", tmp_path / "f.otio")
    (clip,) = otio.adapters.read_from_file(str(tmp_path / "f.otio")).find_clips()
    assert len(clip.markers) == len(read.reading.flags)


def test_place_that_cannot_be_written_is_told(read, tmp_path):
    taken = tmp_path / "taken"
    taken.write_text("")
    with pytest.raises(RuntimeError, match="cannot be written"):
        bpy.ops.fettle.hand_over(kind="SHEET", filepath=str(taken / "sheet.html"))
    assert os.listdir(tmp_path) == ["taken"]


def test_without_a_reading_the_button_says_what_to_do(read):
    bpy.ops.wm.read_factory_settings(use_empty=True)
    assert not bpy.ops.fettle.hand_over.poll()


def test_a_name_with_a_dot_keeps_all_of_it(read, tmp_path):
    write("CSV", tmp_path / "sling.v2")
    assert (tmp_path / "sling.v2.csv").is_file()


def test_the_sheet_tells_what_changed_since_the_take_that_is_compared_with(read, tmp_path):
    bpy.ops.fettle.keep_take(name="Grobe Fassung")
    write("SHEET", tmp_path / "alone.html")
    bpy.ops.fettle.compare_take(name="Grobe Fassung")
    write("SHEET", tmp_path / "compared.html")
    alone, compared = (
        (tmp_path / name).read_text(encoding="utf-8") for name in ("alone.html", "compared.html")
    )
    assert "still there" in compared and "still there" not in alone


def test_an_old_reading_is_not_handed_over(read, tmp_path):
    kept.mark_stale(read.scene, "the animation changed since it was read")
    with pytest.raises(RuntimeError, match="poll"):
        write("CSV", tmp_path / "f.csv")


def test_each_button_says_what_its_file_is_for(read):
    words = {
        bpy.types.FETTLE_OT_hand_over.description(
            bpy.context, type("Properties", (), {"kind": one})
        )
        for one in ("SHEET", "CSV", "JSON", "OTIO")
    }
    assert len(words) == 4 and all(word.startswith("Write ") for word in words)
