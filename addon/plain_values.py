# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Settings of Blender's structures as plain values, to be kept and compared later.

What is kept holds nothing of Blender's own: other data is kept by its name.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

Values = tuple[Any, ...]

_ONLY_SHOWN = {"rna_type", "show_expanded", "active", "select", "name", "error_location"}
_PLAIN = {"BOOLEAN", "INT", "FLOAT", "STRING", "ENUM"}


@dataclass(frozen=True, slots=True)
class Form:
    """The settings all structures of one type have, got all at once.

    Attributes
    ----------
    names : tuple of str
        Those that are plain values come first.
    plain : int
        How many are plain; the others are names of other data, or numbers in rows.
    places : dict of name to int
    get : callable
        Returns the values of a structure, in this order.
    """

    names: tuple[str, ...]
    plain: int
    places: dict[str, int]
    get: Callable[[Any], Values]

    def show(self, values: Values, animated: Collection[str] = ()) -> Values:
        """Return values as plain ones that can be kept, without those that are animated."""
        shown = (*values[: self.plain], *map(show, values[self.plain :]))
        if not animated:
            return shown
        named = zip(self.names, shown, strict=True)
        return tuple(entry for entry in named if entry[0] not in animated)


_KNOWN: dict[type, Form] = {}


def read_settings(struct: Any, animated: Collection[str] = (), prefix: str = "") -> Values:
    """Return all settings of a structure that are plain values or names of other data.

    Parameters
    ----------
    struct : bpy_struct
    animated : collection of str
        Properties that are left out, as they follow the current frame.
    prefix : str
        How the names of those that are wanted begin.
    """
    form = find_form(struct)
    if not prefix:
        return form.show(form.get(struct), animated)
    names = [name for name in form.names if name.startswith(prefix) and name not in animated]
    return tuple((name, show(getattr(struct, name))) for name in names)


def show(value: Any) -> Any:
    """Return a value as a plain one, None for what is none and has no name."""
    if value is None or isinstance(value, (bool, int, float, str)):
        return value
    if isinstance(value, bpy.types.ID):
        return value.name_full
    if isinstance(value, bpy.types.bpy_struct):
        return getattr(value, "identifier", getattr(value, "name", None))
    if isinstance(value, (set, frozenset)):
        return tuple(sorted(value))
    return tuple(tuple(v) if hasattr(v, "__len__") else v for v in value)


def find_form(struct: Any) -> Form:
    """Return which settings a structure has."""
    kind = type(struct)
    if kind not in _KNOWN:
        plain: list[str] = []
        others: list[str] = []
        for prop in struct.bl_rna.properties:
            name = prop.identifier
            if name in _ONLY_SHOWN or prop.type == "COLLECTION":
                continue
            if prop.is_readonly and prop.type != "POINTER":
                continue
            many = getattr(prop, "is_array", False) or getattr(prop, "is_enum_flag", False)
            (plain if prop.type in _PLAIN and not many else others).append(name)
        names = (*plain, *others)
        places = {name: place for place, name in enumerate(names)}
        _KNOWN[kind] = Form(names, len(plain), places, make_getter(names))
    return _KNOWN[kind]


def make_getter(names: Sequence[str]) -> Callable[[Any], Values]:
    """Return what gets these properties all at once, as a tuple."""
    if not names:
        return lambda _: ()
    get: Any = attrgetter(*names)
    return get if len(names) > 1 else lambda struct: (get(struct),)


def read_column(items: Any, name: str) -> NDArray[Any]:
    """Return one property of all items of a collection, a row for each."""
    prop = items[0].bl_rna.properties.get(name) if len(items) else None
    if prop is None:
        return np.empty((len(items), 0), dtype=np.int32)
    width = max(1, getattr(prop, "array_length", 1))
    kind = np.float32 if prop.type == "FLOAT" else np.int32
    values = np.empty(width * len(items), dtype=kind)
    items.foreach_get(name, values)
    return values.reshape(len(items), width)


def name_owner(owner: Any) -> str:
    """Return what an ID is called among all IDs."""
    return f"{owner.bl_rna.identifier} {owner.name_full}"
