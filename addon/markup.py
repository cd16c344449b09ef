# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Write HTML and SVG without a library: elements from functions, every text escaped.

Blender brings no template library along, so the review sheet needs none. A plain text is escaped
wherever it goes; only what `tag` itself returned is taken as markup.
"""

from __future__ import annotations

import html
from collections.abc import Iterable

EMPTY = frozenset({"br", "hr", "img", "input", "link", "meta"})
"""HTML elements without an end tag."""

CLOSED = frozenset({"path", "circle", "line", "rect", "polygon", "use"})
"""SVG elements that close themselves when they hold nothing."""


class Markup(str):
    """Text that is markup already."""

    __slots__ = ()


Content = str | Markup | Iterable["Content"] | None


def tag(name: str, /, *children: Content, **attributes: str | float | bool | None) -> Markup:
    """Write one element.

    Parameters
    ----------
    name : str
    *children : str, Markup, or iterables of them; None is nothing
    **attributes
        `class_` is class, `aria_label` is aria-label; None and False leave an attribute out, True
        writes it without a value.
    """
    written = "".join(_write_attribute(key, value) for key, value in attributes.items())
    inside = join(children)
    if name in EMPTY:
        return Markup(f"<{name}{written}>")
    if name in CLOSED and not inside:
        return Markup(f"<{name}{written}/>")
    return Markup(f"<{name}{written}>{inside}</{name}>")


def join(children: Iterable[Content]) -> Markup:
    """Write several pieces one after the other."""
    return Markup("".join(_write(child) for child in children))


def _write(child: Content) -> str:
    if child is None:
        return ""
    if isinstance(child, Markup):
        return child
    if isinstance(child, str):
        return html.escape(child, quote=False)
    return join(child)


def _write_attribute(key: str, value: str | float | bool | None) -> str:
    if value is None or value is False:
        return ""
    name = key.rstrip("_").replace("_", "-")
    if value is True:
        return f" {name}"
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return f' {name}="{html.escape(text)}"'
