# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Comparisons as JSON; the form is described by `comparison.schema.json` beside this file."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from .reading import ShotReading
from .report import InputFault, find_version, flag_to_data
from .takes import Change, Comparison

SCHEMA = "fettle.comparison/1"
SCHEMA_PATH = Path(__file__).with_name("comparison.schema.json")


def dump_comparisons(
    comparisons: Sequence[Comparison],
    only_old: Sequence[ShotReading] = (),
    only_new: Sequence[ShotReading] = (),
    errors: Sequence[InputFault] = (),
) -> str:
    """Write comparisons as the text of a JSON document."""
    document = {
        "schema": SCHEMA,
        "tool": find_version(),
        "pairs": [_pair_to_data(comparison) for comparison in comparisons],
        "only_old": [_name_shot(shot) for shot in only_old],
        "only_new": [_name_shot(shot) for shot in only_new],
        "errors": [{"source": fault.source, "error": fault.error} for fault in errors],
    }
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def _pair_to_data(comparison: Comparison) -> dict[str, Any]:
    return {
        "old": comparison.old.source,
        "new": comparison.new.source,
        "scene": comparison.new.scene,
        "counts": {fate.value: number for fate, number in comparison.count().items()},
        "changes": [_change_to_data(change) for change in comparison.changes],
    }


def _change_to_data(change: Change) -> dict[str, Any]:
    return {
        "fate": change.fate.value,
        "old": None if change.old is None else flag_to_data(change.old),
        "new": None if change.new is None else flag_to_data(change.new),
        "reason": change.reason,
    }


def _name_shot(shot: ShotReading) -> dict[str, str]:
    return {"source": shot.source, "scene": shot.scene}
