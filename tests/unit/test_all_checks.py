# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What every check owes its users and the next developer: tests about the checks themselves."""

import ast
import re
from pathlib import Path

import figure
import numpy as np
import pytest

from fettle.core_math import ALL_CHECKS, Limits, Settings, Stage, run_checks
from fettle.core_math.check import Check, Group, Style
from fettle.core_math.motion import SubjectKind

ROOT = Path(__file__).resolve().parents[2]
FILES = {f.stem.replace("_", "-"): f for f in (ROOT / "core_math" / "checks").glob("[a-z]*.py")}
each_check = pytest.mark.parametrize("check", ALL_CHECKS, ids=lambda check: check.id)


def test_every_check_file_is_in_the_list_and_every_listed_check_has_its_file():
    assert {check.id for check in ALL_CHECKS} == set(FILES)


def test_ids_and_aliases_are_unique():
    names = [name for check in ALL_CHECKS for name in (check.id, *check.aliases)]
    assert len(names) == len(set(names))


def test_checks_are_listed_in_the_order_of_their_groups():
    order = list(Group)
    places = [order.index(check.group) for check in ALL_CHECKS]
    assert places == sorted(places)


@each_check
def test_declarations_carry_unit_range_description_and_source(check: Check):
    for declared in check.declarations:
        # Parameter and Limits refuse a missing one themselves; what they cannot see is empty talk.
        assert len(declared.description.split()) >= 4, declared.name
        assert len(declared.source.split()) >= 2, declared.name
        assert declared.minimum < declared.maximum, declared.name
    assert any(isinstance(declared, Limits) for declared in check.declarations)


@each_check
def test_style_factors_keep_the_order_of_the_limits(check: Check):
    for declared in check.declarations:
        if isinstance(declared, Limits):
            for style in Style:
                faint, clear, glaring = declared.in_style(style)
                rising = faint < clear < glaring
                falling = faint > clear > glaring
                assert rising if declared.rising else falling, (declared.name, style)


@each_check
def test_docstring_tells_what_why_when_to_leave_and_sources(check: Check):
    text = check.description
    assert text.startswith(f"{check.id}: "), "opens with its id and the question"
    assert text.splitlines()[0].endswith("?")
    assert re.search(r"^Leave ", text, re.MULTILINE), "says when to leave it"
    assert re.search(r"^Sources?: ", text, re.MULTILINE), "names its sources"
    assert check.question.endswith("?")


@each_check
def test_file_keeps_the_house_order(check: Check):
    tree = ast.parse(FILES[check.id].read_text(encoding="utf-8"))
    places: dict[str, int] = {}
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name in ("measure", "judge"):
            places[node.name] = node.lineno
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            places.setdefault(node.targets[0].id, node.lineno)
    declared = [places[d] for d in places if d.isupper() and d != "CHECK"]
    assert places["measure"] < places["judge"] < places["CHECK"]
    assert min(declared) < places["measure"]


@each_check
def test_no_bare_threshold_hides_in_judge(check: Check):
    """Numbers that decide are declared; `judge` may hold small counts and display factors only."""
    tree = ast.parse(FILES[check.id].read_text(encoding="utf-8"))
    judge = next(n for n in tree.body if isinstance(n, ast.FunctionDef) and n.name == "judge")
    for node in ast.walk(judge):
        if isinstance(node, ast.Compare):
            numbers = [
                c.value
                for c in (node.left, *node.comparators)
                if isinstance(c, ast.Constant) and isinstance(c.value, float)
            ]
            assert all(n in (0.0, 1.0) for n in numbers), f"line {node.lineno}: {numbers}"


@each_check
@pytest.mark.parametrize("frames", [1, 2, 3, 48])
def test_still_subject_gives_no_warning_and_no_crash(check: Check, frames: int):
    reading = run_checks(figure.make_motion({}, frames), [check])
    assert reading.crashes == ()
    outcome = reading.evaluated or reading.not_evaluated
    assert outcome, "neither judged nor said why not"


@each_check
def test_lone_object_gives_no_crash(check: Check):
    path = np.zeros((30, 1, 3))
    path[:, 0, 0] = np.linspace(0, 2, 30)
    motion = figure.build_motion(
        subject="Crate",
        kind=SubjectKind.OBJECT,
        frames=np.arange(30),
        fps=24.0,
        parts=["object"],
        parents=[-1],
        heads=path,
        tails=path + [0, 0, 0.5],
        rotations_wxyz=np.tile([1.0, 0, 0, 0], (30, 1, 1)),
        height=0.5,
    )
    reading = run_checks(motion, [check])
    assert reading.crashes == ()
    assert reading.evaluated or reading.not_evaluated


@each_check
@pytest.mark.parametrize("stage", list(Stage))
def test_every_stage_judges_or_says_that_it_waits(check: Check, stage: Stage):
    motion = figure.make_motion({}, 48, stage_override=stage)
    reading = run_checks(motion, [check], Settings())
    assert reading.crashes == ()
    if stage not in check.stages:
        assert any("waits for a later stage" in entry.reason for entry in reading.not_evaluated)
