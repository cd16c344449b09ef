# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""`fettle completion SHELL`: print what makes a shell complete verbs, options and checks.

The script is made from the options as they are declared, so it can never lag behind them.
"""

from __future__ import annotations

import argparse
from typing import Any

from ..core_math import ALL_CHECKS, Severity, Stage
from .exit_status import CLEAN

SHELLS = ("bash", "zsh", "fish")


def add_parser(verbs: Any) -> None:
    """Declare the verb."""
    parser = verbs.add_parser(
        "completion",
        help="print a completion script for a shell",
        description="Prints a script that makes a shell complete verbs, options and checks. For "
        'bash: eval "$(fettle completion bash)"; the same with zsh; for fish: '
        "fettle completion fish | source.",
        allow_abbrev=False,
    )
    parser.add_argument("shell", choices=SHELLS, metavar="SHELL", help=", ".join(SHELLS))
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the script."""
    from .command_line import make_parser

    verbs = list_options(make_parser())
    if args.shell == "fish":
        print(_write_fish(verbs))
    else:
        print(_write_bash(verbs, args.shell == "zsh"))
    return CLEAN


def list_options(parser: argparse.ArgumentParser) -> dict[str, dict[str, list[str] | None]]:
    """Return each verb's options with the words they take.

    Returns
    -------
    dict
        Verb to option to words; no words where a path or a text is taken, None where nothing is.
    """
    (subparsers,) = (
        action for action in parser._actions if isinstance(action, argparse._SubParsersAction)
    )
    found: dict[str, dict[str, list[str] | None]] = {}
    for verb, sub in subparsers.choices.items():
        found[verb] = {
            option: None if action.nargs == 0 else _list_words(action)
            for action in sub._actions
            for option in action.option_strings
            if option.startswith("--")
        }
    return found


def _list_words(action: argparse.Action) -> list[str]:
    if action.choices:
        return [str(choice) for choice in action.choices]
    if action.dest in ("only", "skip"):
        return [check.id for check in ALL_CHECKS]
    if action.dest in ("fail_on", "at_least"):
        return [severity.word for severity in Severity]
    if action.dest == "stage":
        return [stage.value for stage in Stage]
    return []


def _write_bash(verbs: dict[str, dict[str, list[str] | None]], zsh: bool) -> str:
    lines = ["autoload -Uz bashcompinit && bashcompinit"] if zsh else []
    lines += [
        "_fettle() {",
        '    local word="${COMP_WORDS[COMP_CWORD]}" before="${COMP_WORDS[COMP_CWORD-1]}"',
        '    local verb="${COMP_WORDS[1]}" words=""',
        "    COMPREPLY=()",
        "    if [ $COMP_CWORD -eq 1 ]; then",
        f'        COMPREPLY=($(compgen -W "{" ".join(verbs)}" -- "$word"))',
        "        return",
        "    fi",
        '    case "$verb:$before" in',
    ]
    for verb, options in verbs.items():
        for option, words in options.items():
            if words:
                lines.append(f'        {verb}:{option}) words="{" ".join(words)}" ;;')
    lines += ["    esac", '    if [ -z "$words" ]; then', '        case "$verb" in']
    for verb, options in verbs.items():
        words = list(options)
        if verb == "checks":
            words += [check.id for check in ALL_CHECKS]
        if verb == "completion":
            words += SHELLS
        lines.append(f'            {verb}) words="{" ".join(words)}" ;;')
    lines += [
        "        esac",
        "    fi",
        '    COMPREPLY=($(compgen -W "$words" -- "$word"))',
        "}",
        "complete -o default -F _fettle fettle",
    ]
    return "\n".join(lines)


def _write_fish(verbs: dict[str, dict[str, list[str] | None]]) -> str:
    lines = [f'complete -c fettle -n __fish_use_subcommand -a "{" ".join(verbs)}"']
    for verb, options in verbs.items():
        seen = f'-n "__fish_seen_subcommand_from {verb}"'
        for option, words in options.items():
            line = f"complete -c fettle {seen} -l {option.removeprefix('--')}"
            if words:
                line += f' -x -a "{" ".join(words)}"'
            elif words is not None:
                line += " -r"
            lines.append(line)
        if verb == "checks":
            lines.append(f'complete -c fettle {seen} -a "{" ".join(c.id for c in ALL_CHECKS)}"')
        if verb == "completion":
            lines.append(f'complete -c fettle {seen} -f -a "{" ".join(SHELLS)}"')
    return "\n".join(lines)
