# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Where sheets go, and the overview over them."""

import os
from dataclasses import replace
from html.parser import HTMLParser
from urllib.parse import unquote

import pytest
from sample_readings import HAND, POP, SHOT, with_flags

from fettle.addon.overview import OverviewRow, make_overview
from fettle.addon.sheet_files import SheetFiles, make_file_name
from fettle.core_math.findings import State
from fettle.core_math.report import InputFault
from fettle.core_math.suppressions import Review


def entry(shot):
    return (shot, Review(), {})


def list_links(text):
    found = []

    class Links(HTMLParser):
        def handle_starttag(self, name, attrs):
            if name == "a" and not dict(attrs).get("href", "#").startswith("#"):
                found.append(dict(attrs)["href"])

    Links().feed(text)
    return found


def test_one_shot_is_the_named_file_itself(tmp_path):
    target = tmp_path / "sheet.html"
    files = SheetFiles(target, jobs=1)
    files.add([entry(SHOT)])
    files.finish([])
    assert os.listdir(tmp_path) == ["sheet.html"]
    assert HAND.message in target.read_text(encoding="utf-8")
    assert files.faults == []


@pytest.mark.parametrize("jobs", [1, 3])
def test_several_shots_stand_beside_an_overview_that_links_them(tmp_path, jobs):
    target = tmp_path / "review 港.html"
    files = SheetFiles(target, jobs)
    shots = [replace(SHOT, source=f"a/Kran {n}.blend") for n in (1, 2)]
    if jobs == 1:  # one file with two scenes
        files.add([entry(shots[0]), entry(replace(shots[0], scene="Close"))])
    else:
        for shot in shots:
            files.add([entry(shot)])
    files.finish([InputFault("b.blend", "b.blend: is empty")])
    text = target.read_text(encoding="utf-8")
    links = list_links(text)
    assert len(links) == 2 and "b.blend: is empty" in text
    for link in links:
        sheet = tmp_path / unquote(link)
        assert sheet.is_file()
        (back,) = set(list_links(sheet.read_text(encoding="utf-8")))
        assert (sheet.parent / unquote(back)).resolve() == target


def test_run_in_which_nothing_was_read_still_has_its_page(tmp_path):
    target = tmp_path / "sheet.html"
    files = SheetFiles(target, jobs=1)
    files.finish([InputFault("b.blend", "b.blend: is empty")])
    assert "b.blend: is empty" in target.read_text(encoding="utf-8")


def test_last_take_is_told_on_sheet_and_overview(tmp_path):
    old = [
        with_flags(HAND, POP, source=f"old/Kran{n}_v1.blend", not_evaluated=(), crashes=())
        for n in (1, 2)
    ]
    files = SheetFiles(tmp_path / "all.html", 2, old)
    for n in (1, 2):
        shot = with_flags(HAND, source=f"Kran{n}_v2.blend", not_evaluated=(), crashes=())
        files.add([entry(shot)])
    files.finish([])
    assert "1 still there, 1 fixed" in (tmp_path / "all.html").read_text(encoding="utf-8")
    sheets = sorted((tmp_path / "all_sheets").iterdir())
    assert "Since Kran2_v1.blend" in sheets[1].read_text(encoding="utf-8")


def test_place_that_cannot_be_written_is_told_once(tmp_path):
    (tmp_path / "taken").write_text("")
    files = SheetFiles(tmp_path / "taken" / "sheet.html", jobs=2)
    files.add([entry(SHOT)])
    files.finish([])
    assert files.faults and all("cannot be written" in fault for fault in files.faults)


@pytest.mark.parametrize(
    ("source", "scene", "name"),
    [
        ("a/b/Kran 01.blend", "Scene", "Kran_01"),
        ("C:\\shots\\x.blend", "Close up", "x-Close_up"),
        ("港.bvh", "Scene", "港"),
        ("../..", "Scene", "shot"),
        (f"{'x' * 300}.blend", "Scene", "x" * 80),
    ],
)
def test_file_names_are_safe_and_readable(source, scene, name):
    assert make_file_name(replace(SHOT, source=source, scene=scene)) == name


def test_overview_counts_and_says_when_it_was_interrupted():
    meant = replace(POP, state=State.MEANT, reason="a sneeze")
    rows = [OverviewRow(with_flags(HAND, meant), "x.html"), OverviewRow(with_flags(POP), None)]
    text = make_overview(rows, [], finished=False)
    assert "2 shots read" in text and "Interrupted" in text
    assert list_links(text) == ["x.html"]
    assert "Interrupted" not in make_overview(rows, [])
