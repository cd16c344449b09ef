# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Collects the scenarios played in real Blender windows, one pytest test for each.

``tools/window_test.py`` (``make window-test``) prepares the Blenders and tells about them
in FETTLE_WINDOW_TEST, a JSON file. How to write a scenario: `driver`.
"""

import ast
import functools
import json
import os
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent
# The driver ends a scenario that takes too long; these end a Blender that answers no more.
START_LIMIT_S = 120
SCENARIO_LIMIT_S = 120


@functools.cache
def read_plan():
    """Give what is to be tested: archive, folders and Blenders."""
    path = os.environ.get("FETTLE_WINDOW_TEST")
    return json.loads(Path(path).read_text(encoding="utf-8")) if path else {"blenders": []}


def list_scenarios():
    """List (file, function) of all scenarios without importing them: they need Blender."""
    for path in sorted(HERE.glob("scenario_*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and node.name.startswith("scenario_"):
                yield path.name, node.name


def launch(blender, *words):
    """Run launch.py where that Blender lives; give (exit status, what was printed)."""
    script = f"{blender['checkout']}/tests/gui/launch.py"
    done = subprocess.run(
        [*blender["prefix"], blender["python"], script, *map(str, words)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
    )
    return done.returncode, done.stdout


def show(blender, path):
    """Give a path of this checkout as that Blender's system sees it."""
    return f"{blender['checkout']}/{Path(path).relative_to(read_plan()['checkout'])}"


def show_end(printed):
    """Give the last lines of what Blender printed, without its notes on every redraw."""
    lines = [line for line in printed.splitlines() if "Draw window and swap" not in line]
    return "\n".join(lines[-30:])


def find_blender(label):
    """Give the record of a Blender or skip with the reason why it is not here."""
    (blender,) = (one for one in read_plan()["blenders"] if one["label"] == label)
    if blender["missing"]:
        pytest.skip(f"NOT TESTED on Blender {label}: {blender['missing']}")
    return blender


@functools.cache
def install(label):
    """Install the archive once for each Blender; give (user folder, what went wrong)."""
    blender, plan = find_blender(label), read_plan()
    folder = Path(plan["work"]) / label / "user"
    folder.mkdir(parents=True, exist_ok=True)
    status, printed = launch(
        blender,
        "install",
        blender["program"],
        show(blender, plan["archive"]),
        show(blender, folder),
    )
    return folder, printed if status else None


@functools.cache
def play(label, file):
    """Play one scenario file once; give (report, log)."""
    blender, plan = find_blender(label), read_plan()
    user_folder, problem = install(label)
    if problem:
        pytest.fail(f"not played: the archive does not install in Blender {label}", pytrace=False)
    pictures = Path(plan["pictures"]) / label
    pictures.mkdir(parents=True, exist_ok=True)
    report = Path(plan["work"]) / label / f"{Path(file).stem}.json"
    report.unlink(missing_ok=True)
    words = [blender["program"], show(blender, HERE / file), show(blender, user_folder)]
    scenarios = [name for one, name in list_scenarios() if one == file]
    limit_s = START_LIMIT_S + SCENARIO_LIMIT_S * len(scenarios)
    words += [show(blender, report), show(blender, pictures), limit_s]
    _, printed = launch(blender, "play", *words)
    report.with_suffix(".log").write_text(printed, encoding="utf-8")
    if not report.is_file():
        return {"finished": False, "results": []}, printed
    return json.loads(report.read_text(encoding="utf-8")), printed


LABELS = [blender["label"] for blender in read_plan()["blenders"]]
if not LABELS:
    pytest.skip("no Blender window: make window-test prepares one", allow_module_level=True)


@pytest.mark.parametrize("label", LABELS)
def test_archive_is_valid_and_installs(label):
    _, problem = install(label)
    if problem:
        pytest.fail(problem, pytrace=False)


@pytest.mark.parametrize("label", LABELS)
@pytest.mark.parametrize(("file", "name"), list(list_scenarios()))
def test_scenario(label, file, name):
    report, printed = play(label, file)
    results = {result["name"]: result for result in report["results"]}
    if name not in results or results[name]["outcome"] == "running":
        pytest.fail(
            f"{name} did not come to its end in Blender {label}:\n{show_end(printed)}",
            pytrace=False,
        )
    result = results[name]
    if result["outcome"] == "skipped":
        pytest.skip(result["message"])
    if result["outcome"] != "passed":
        pytest.fail(result["message"], pytrace=False)


@pytest.mark.parametrize("label", LABELS)
@pytest.mark.parametrize("file", sorted({file for file, _ in list_scenarios()}))
def test_run_came_to_its_end_without_a_traceback(label, file):
    report, printed = play(label, file)
    if not report["finished"]:
        pytest.fail(show_end(printed), pytrace=False)
    # What a draw handler or a timer raises Blender prints and forgets, again and again.
    _, marker, after = printed.partition("Traceback (most recent call last)")
    if marker:
        first = "\n".join((marker + after).splitlines()[:20])
        pytest.fail(f"Blender {label} printed a traceback, first of all:\n{first}", pytrace=False)
