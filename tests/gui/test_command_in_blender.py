# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The command inside an installed Blender: `blender -b SHOT.blend --command fettle check ...`."""

import functools
import json
from pathlib import Path

import jsonschema
import pytest
from small_capture import make_bvh
from test_window import LABELS, find_blender, install, launch, read_plan, show

from fettle.core_math.report import SCHEMA_PATH, read_report


@functools.cache
def make_folder(label):
    folder = Path(read_plan()["work"]) / label / "command"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "Kran 港.bvh").write_text(make_bvh(), encoding="utf-8")
    (folder / "bad.bvh").write_text("HIERARCHY", encoding="utf-8")
    return folder


def call(label, *words):
    """Run Blender with these words; paths are shown to it as its system sees them."""
    blender = find_blender(label)
    user_folder, problem = install(label)
    if problem:
        pytest.fail(f"the archive does not install in Blender {label}", pytrace=False)
    shown = [show(blender, word) if isinstance(word, Path) else word for word in words]
    return launch(blender, "command", blender["program"], show(blender, user_folder), *shown)


@pytest.mark.parametrize("label", LABELS)
def test_shots_are_read_by_workers_of_the_same_blender(label):
    folder = make_folder(label)
    target = folder / "findings.json"
    good, bad = folder / "Kran 港.bvh", folder / "bad.bvh"
    words = ("--command", "fettle", "check", good, bad, "--json", target, "--jobs", "2")
    status, printed = call(label, *words)
    assert status == 2, printed
    assert "Traceback" not in printed and "is cut off after line 1" in printed
    schema = json.loads(SCHEMA_PATH.read_text(encoding="utf-8"))
    document = json.loads(target.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(document)
    (shot,) = document["shots"]
    assert shot["subjects"][0]["parts"]["hand.L"]["bone"] == "LeftHand"
    assert shot["crashes"] == [] and len(document["errors"]) == 1


@pytest.mark.parametrize("label", LABELS)
def test_without_a_path_the_open_shot_is_meant(label):
    folder = make_folder(label)
    copy, target, sheet = (folder / name for name in ("baked.blend", "open.json", "sheet.html"))
    status, printed = call(
        label, "--command", "fettle", "bake", folder / "Kran 港.bvh", "--out", copy
    )
    assert status == 0, printed
    words = (
        "--command",
        "fettle",
        "check",
        "--json",
        target,
        "--html",
        sheet,
        "--fail-on",
        "faint",
    )
    status, printed = call(label, copy, *words, "--fail-on", "faint")
    (shot,) = read_report(target).shots
    assert Path(shot.source).name == "baked.blend"
    assert status == (1 if shot.flags else 0), printed
    assert "Content-Security-Policy" in sheet.read_text(encoding="utf-8")


@pytest.mark.parametrize("label", LABELS)
def test_wrong_calls_are_told_in_one_line(label):
    for words, complaint in (
        (("check",), "name at least one shot"),
        (("demo",), "not part of the extension"),
        (("chekc",), "invalid choice"),
    ):
        status, printed = call(label, "--command", "fettle", *words)
        assert status == 2 and complaint in printed and "Traceback" not in printed
