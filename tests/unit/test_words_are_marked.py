# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What is shown to people goes through the translations; a line that does not is named.

Found without Blender, in the sources: words given to what shows them must come from `translation`,
or be a plain literal in a place whose words Blender translates itself.
"""

import ast
import re
from pathlib import Path

import pytest

ADDON = Path(__file__).resolve().parents[2] / "addon"
MARKS = {"say", "tell", "explain"}
SHOWN = {
    # function: the place of its words among the arguments
    "report": 1,
    "poll_message_set": 0,
    "status_text_set": 0,
    "draw_text": 2,
    "draw_label": 0,
    "_write": 0,
    "TextLine": 0,
}
DIALOG = {"title", "confirm_text"}
WORD = re.compile(r"[A-Za-z]{2,}")


def has_words(node: ast.AST) -> bool:
    """Say whether a literal, or what is fixed of one that is filled in, has words."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, str) and bool(WORD.search(node.value))
    if isinstance(node, ast.JoinedStr):
        return any(has_words(part) for part in node.values)
    if isinstance(node, ast.BinOp):
        return has_words(node.left) or has_words(node.right)
    if isinstance(node, ast.IfExp):
        return has_words(node.body) or has_words(node.orelse)
    return False


def name_called(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def find_unmarked(source: str) -> list[tuple[int, str]]:
    """Return line and words of what is shown without having been marked."""
    found = []
    for call in ast.walk(ast.parse(source)):
        if not isinstance(call, ast.Call):
            continue
        name, given = name_called(call), {word.arg: word.value for word in call.keywords}
        words = []
        if name in SHOWN and len(call.args) > SHOWN[name]:
            words.append(call.args[SHOWN[name]])
        words += [given[word] for word in DIALOG & given.keys() if name.startswith("invoke_")]
        text = given.get("text")
        if isinstance(text, ast.JoinedStr):
            words.append(text)
        untranslated = given.get("translate")
        if text is not None and isinstance(untranslated, ast.Constant) and not untranslated.value:
            words.append(text)
        if name in MARKS and call.args and isinstance(call.args[0], ast.JoinedStr):
            words.append(call.args[0])
        found += [(node.lineno, ast.unparse(node)) for node in words if has_words(node)]
    return found


@pytest.mark.parametrize("path", sorted(ADDON.glob("*.py")), ids=lambda path: path.name)
def test_words_that_are_shown_are_marked(path):
    assert find_unmarked(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "line",
    [
        'self.report({"INFO"}, "Done with it")',
        'self.report({"INFO"}, f"{count} removed")',
        'cls.poll_message_set("Read first")',
        'lines.append(TextLine(f"Try: {words}", quiet=True))',
        'layout.label(text=f"{count} flags")',
        'layout.label(text="Flags", translate=False)',
        'manager.invoke_props_dialog(self, title="Why is it meant?")',
        'say(f"{count} more")',
        'draw_text(box, context, "No flags" if empty else reason)',
    ],
)
def test_unmarked_words_are_found(line):
    assert find_unmarked(line)


@pytest.mark.parametrize(
    "line",
    [
        'self.report({"INFO"}, tell("{count} removed", count=count))',
        'layout.label(text="Flags")',
        'layout.label(text=f"{part}, {severity}", translate=False)',
        "draw_text(box, context, flag.message)",
    ],
)
def test_marked_words_and_bare_names_pass(line):
    assert not find_unmarked(line)
