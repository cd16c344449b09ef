# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Words in the language of the interface, by Blender's own means.

Every word that Fettle shows goes through one of the three functions below, or is handed to Blender
as a literal in a place that Blender translates itself (labels and descriptions of operators, panels
and properties, ``text=`` of a layout). Words that are put together are translated first, with named
fields, and filled then: other languages have another order.

The border: sentences of the checks, their suggestions and reasons come out of `core_math`, which
knows nothing of Blender. They are shown as they are, like the ids of checks, names, units and
numbers, errors that readers of files raise, and what goes into markers and files. A tooltip of a
limit is put together of what its check declares; a translation has to know it as a whole.

Anybody can register translations::

    bpy.app.translations.register(name, {"de_DE": {("*", "Try: {what}"): "Versuche: {what}"}})

Words that Blender itself uses with another meaning have the context `OWN`.
"""

from __future__ import annotations

from bpy.app.translations import pgettext_iface, pgettext_rpt, pgettext_tip

OWN = "Fettle"
"""Context of words that mean something else in Blender: "Clear" is a severity, not an order."""

_ANY = "*"


def say(words: str, context: str = _ANY, **fields: object) -> str:
    """Return words of the interface: labels, what is written into the views."""
    return _fill(pgettext_iface(words, context), fields)


def tell(words: str, **fields: object) -> str:
    """Return the words of a report: what was done, or why not."""
    return _fill(pgettext_rpt(words, _ANY), fields)


def explain(words: str, **fields: object) -> str:
    """Return the words of a tooltip, and of why something cannot be done now."""
    return _fill(pgettext_tip(words, _ANY), fields)


def _fill(words: str, fields: dict[str, object]) -> str:
    return words.format(**fields) if fields else words
