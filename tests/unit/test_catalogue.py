# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The checks told to people, and the pages in the tree that have to be in step with them."""

import sys
from pathlib import Path

import pytest

from fettle.core_math import ALL_CHECKS, SettingsError
from fettle.core_math.catalogue import (
    README_BEGIN,
    README_END,
    explain_check,
    find_check,
    list_checks,
    make_page,
    put_into_readme,
    say_default,
)
from fettle.core_math.checks.ik_lock import CHECK, FOREARM_TURN, TURN_RATIO

ROOT = Path(__file__).resolve().parents[2]


def test_pages_in_the_tree_are_in_step_with_the_checks():
    sys.path.insert(0, str(ROOT / "tools"))
    try:
        from write_check_docs import make_files
    finally:
        sys.path.remove(str(ROOT / "tools"))
    for path, text in make_files(ROOT).items():
        assert path.is_file(), f"{path.name} is missing: run `make docs`"
        assert path.read_text(encoding="utf-8") == text, f"{path.name} is old: run `make docs`"


def test_table_names_every_check_with_its_question():
    text = list_checks(ALL_CHECKS)
    for check in ALL_CHECKS:
        assert check.id in text and check.question in text and check.group.value in text


@pytest.mark.parametrize("check", ALL_CHECKS, ids=lambda check: check.id)
def test_explanation_and_page_carry_all_numbers_and_their_sources(check):
    page = make_page(ALL_CHECKS)
    text = explain_check(check)
    assert check.question in text and f"### {check.id}\n" in page
    for code, meaning in check.codes.items():
        assert f"{code}: {meaning}" in text and f"`{code}`: {meaning}" in page
    flat = " ".join(text.split())
    for declaration in check.declarations:
        assert f"{declaration.name} = {say_default(declaration)}" in text
        assert f"`{declaration.name}`" in page
        for words in (declaration.description, f"Source: {declaration.source}"):
            assert " ".join(words.split()) in flat
    assert max(map(len, text.splitlines())) <= 120


def test_defaults_are_written_with_their_unit():
    assert say_default(FOREARM_TURN) == "15 deg"
    assert say_default(TURN_RATIO) == "0.25 / 0.12 / 0.05 ratio"


def test_docstring_is_told_without_repeating_the_question():
    assert explain_check(CHECK).count(CHECK.question.rstrip("?")[5:]) == 1


def test_unknown_check_is_refused_with_those_there_are():
    with pytest.raises(SettingsError, match=r"unknown check 'ik-lok' \(known: .*ik-lock"):
        find_check("ik-lok", ALL_CHECKS)
    assert find_check("ik-lock", ALL_CHECKS) is CHECK


def test_readme_keeps_everything_around_its_table():
    old = f"# Title\n\n{README_BEGIN}\nan outdated row\n{README_END}\n\nmore\n"
    new = put_into_readme(old, ALL_CHECKS)
    assert new.startswith("# Title\n\n") and new.endswith("\n\nmore\n")
    assert "an outdated row" not in new and "`ik-lock`" in new
    assert put_into_readme(new, ALL_CHECKS) == new


@pytest.mark.parametrize("text", ["", README_BEGIN, README_END + README_BEGIN])
def test_readme_without_its_markers_is_refused(text):
    with pytest.raises(ValueError, match="the README needs"):
        put_into_readme(text, ALL_CHECKS)
