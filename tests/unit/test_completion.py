# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Completion scripts do in a real shell what they promise."""

import shutil
import subprocess

import pytest

from fettle.addon.command_line import VERBS, main, make_parser
from fettle.addon.verb_completion import list_options
from fettle.core_math import ALL_CHECKS


def make_script(shell, capsys):
    assert main(["completion", shell]) == 0
    return capsys.readouterr().out


def complete_in_bash(script, *words):
    typed = " ".join(f"'{word}'" for word in words)
    ask = f'COMP_WORDS=({typed}); COMP_CWORD={len(words) - 1}; _fettle; echo "${{COMPREPLY[@]}}"'
    done = subprocess.run(
        ["bash", "--norc", "-c", f"{script}\n{ask}"], capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    return done.stdout.split()


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not here")
def test_bash_completes_verbs_options_words_and_checks(capsys):
    script = make_script("bash", capsys)
    assert complete_in_bash(script, "fettle", "che") == ["check", "checks"]
    assert complete_in_bash(script, "fettle", "check", "--fail") == ["--fail-on"]
    assert complete_in_bash(script, "fettle", "check", "--fail-on", "") == [
        "faint",
        "clear",
        "glaring",
    ]
    assert "ik-lock" in complete_in_bash(script, "fettle", "checks", "ik")
    assert complete_in_bash(script, "fettle", "check", "--only", "ik-l") == ["ik-lock"]
    assert complete_in_bash(script, "fettle", "check", "shot") == []


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_other_shells_take_the_script(shell, capsys):
    script = make_script(shell, capsys)
    for verb in ("check", "compare", "bake", "checks", "demo"):
        assert verb in script
    assert "ik-lock" in script and "fail-on" in script
    if shutil.which(shell) is None:
        pytest.skip(f"{shell} is not here: its script was made but not run")
    subprocess.run([shell, "-n"], input=script, text=True, check=True)


def test_every_verb_and_check_is_offered():
    options = list_options(make_parser())
    assert len(options) == len(VERBS)
    assert options["check"]["--only"] == [check.id for check in ALL_CHECKS]
    assert options["check"]["--quiet"] is None and options["check"]["--json"] == []
