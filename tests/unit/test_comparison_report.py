# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Comparisons as JSON keep to their schema."""

import json
from dataclasses import replace

import jsonschema
import referencing
from sample_readings import HAND, POP, SHOT, with_flags

from fettle.core_math import report
from fettle.core_math.comparison_report import SCHEMA_PATH, dump_comparisons
from fettle.core_math.takes import Fate, compare_readings


def test_comparison_keeps_to_its_schema():
    schemas = [json.loads(p.read_text(encoding="utf-8")) for p in (report.SCHEMA_PATH, SCHEMA_PATH)]
    registry = referencing.Registry().with_resources(
        (schema["$id"], referencing.Resource.from_contents(schema)) for schema in schemas
    )
    validator = jsonschema.Draft202012Validator(schemas[1], registry=registry)
    validator.check_schema(schemas[1])
    assert set(schemas[1]["properties"]["pairs"]["items"]["properties"]["counts"]["required"]) == {
        fate.value for fate in Fate
    }
    old = with_flags(HAND, POP, not_evaluated=(), crashes=())
    new = with_flags(replace(HAND, value=0.02), not_evaluated=(), crashes=(), source="v2.blend")
    text = dump_comparisons(
        [compare_readings(old, new)],
        only_old=[replace(SHOT, source="gone.blend")],
        errors=[report.InputFault("bad.blend", "bad.blend: is empty")],
    )
    document = json.loads(text)
    validator.validate(document)
    (pair,) = document["pairs"]
    assert (pair["old"], pair["new"]) == ("shot.blend", "v2.blend")
    assert pair["counts"]["worse"] == pair["counts"]["fixed"] == 1
    worse, fixed = pair["changes"]
    assert (worse["fate"], worse["old"]["value"], worse["new"]["value"]) == ("worse", 0.08, 0.02)
    assert (fixed["fate"], fixed["new"]) == ("fixed", None)
    assert document["only_old"] == [{"source": "gone.blend", "scene": "Scene"}]
    broken = json.loads(text)
    broken["pairs"][0]["changes"][0]["old"].pop("check")
    assert not validator.is_valid(broken)
