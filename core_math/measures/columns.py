# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Findings in many paths at once, taken apart path by path and put together again.

A finding is a dataclass of arrays with one row for each event; its field `columns` says in which
path the event lies.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from typing import Any, TypeVar

import numpy as np

T = TypeVar("T")


def split_by_column(found: T) -> dict[int, T]:
    """Return the rows of each column that has any, in their order."""
    columns = _get_columns(found)
    return {
        column: _map(found, lambda values, mask=columns == column: values[mask])
        for column in np.unique(columns).tolist()
    }


def join_columns(found: Mapping[int, T], nothing: T) -> T:
    """Put the rows of several columns together, the columns renamed to the mapping's keys.

    Parameters
    ----------
    found : mapping of int to finding
    nothing : finding
        What to return where there is none.
    """
    if not found:
        return nothing
    parts: list[Any] = [
        replace(part, columns=np.full(len(_get_columns(part)), column))  # type: ignore[type-var]
        for column, part in found.items()
    ]
    return type(nothing)(
        *(
            np.concatenate([getattr(part, entry.name) for part in parts])
            for entry in fields(nothing)  # type: ignore[arg-type]
        )
    )


def _get_columns(found: Any) -> Any:
    return found.columns


def _map(found: T, change: Callable[..., Any]) -> T:
    names = [entry.name for entry in fields(found)]  # type: ignore[arg-type]
    return type(found)(*(change(getattr(found, name)) for name in names))
