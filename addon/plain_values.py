# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Settings of Blender's structures as plain values, to be kept and compared later.

What is kept holds nothing of Blender's own: other data is kept by its name.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

_ONLY_SHOWN = {"rna_type", "show_expanded", "active", "select", "name", "error_location"}
_PLAIN = {"BOOLEAN", "INT", "FLOAT", "STRING", "ENUM"}


@dataclass(frozen=True, slots=True)
class _Settings:
    """The properties of one type: plain values, got all at once, and those with more to them."""

    plain: tuple[str, ...]
    get: Callable[[Any], Any]
    others: tuple[str, ...]
    get_others: Callable[[Any], tuple[Any, ...]]


_KNOWN: dict[type, _Settings] = {}


def read_settings(struct: Any, animated: Collection[str] = ()) -> Iterator[Any]:
    """Yield all settings of a structure that are plain values or names of other data.

    Parameters
    ----------
    struct : bpy_struct
    animated : collection of str
        Properties that are left out, as they follow the current frame.
    """
    settings = _list_settings(struct)
    if animated:
        yield [(name, getattr(struct, name)) for name in settings.plain if name not in animated]
        for name in settings.others:
            if name not in animated:
                yield _show(getattr(struct, name))
        return
    yield settings.get(struct)
    yield [_show(value) for value in settings.get_others(struct)]


def _show(value: Any) -> Any:
    """Return a value as a plain one, None for what is none and has no name."""
    if value is None or isinstance(value, (bool, int, float, str)):
        return value
    if isinstance(value, bpy.types.ID):
        return value.name_full
    if isinstance(value, bpy.types.bpy_struct):
        return getattr(value, "identifier", None)
    if isinstance(value, (set, frozenset)):
        return sorted(value)
    return tuple(tuple(v) if hasattr(v, "__len__") else v for v in value)


def _list_settings(struct: Any) -> _Settings:
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
        _KNOWN[kind] = _Settings(
            tuple(plain), _make_getter(plain), tuple(others), _make_getter(others)
        )
    return _KNOWN[kind]


def _make_getter(names: list[str]) -> Callable[[Any], tuple[Any, ...]]:
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
