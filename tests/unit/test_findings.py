# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Flags: stable ids, merging, the order of review."""

from dataclasses import replace

import pytest

from fettle.core_math.findings import Flag, Severity, merge_flags, merge_parts, sort_for_review
from fettle.core_math.units import Unit

FLAG = Flag(
    check="pop",
    code="one-frame",
    subject="Rig",
    part="head",
    start=10,
    end=11,
    peak=10,
    severity=Severity.FAINT,
    confidence=0.5,
    value=2.0,
    unit=Unit.DEGREES,
    limit=2.0,
    message="m",
    suggestion="s",
)


def test_id_is_kept_when_sentence_severity_and_value_change():
    other = replace(FLAG, severity=Severity.GLARING, value=20.0, message="other", end=14)
    assert other.id == FLAG.id


@pytest.mark.parametrize("change", [{"check": "stall"}, {"code": "x"}, {"part": "neck"}])
def test_id_differs_between_findings(change):
    assert replace(FLAG, **change).id != FLAG.id
    assert replace(FLAG, peak=30).id != FLAG.id


def test_touching_flags_merge_and_the_worst_one_speaks():
    worse = replace(FLAG, start=12, end=15, peak=13, severity=Severity.CLEAR, message="worse")
    apart = replace(FLAG, start=30, end=31, peak=30)
    merged = merge_flags([apart, worse, FLAG])
    assert [(f.start, f.end, f.peak, f.message) for f in merged] == [
        (10, 15, 13, "worse"),
        (30, 31, 30, "m"),
    ]


def test_flags_of_different_parts_do_not_merge_by_touching():
    assert len(merge_flags([FLAG, replace(FLAG, part="neck")])) == 2


def test_parts_of_one_group_merge_into_the_worst():
    tip = replace(FLAG, part="index.L/3", severity=Severity.CLEAR, value=9.0)
    base = replace(FLAG, part="index.L")
    (flag,) = merge_parts([base, tip], [("index.L", "index.L/2", "index.L/3")])
    assert (flag.part, flag.other_parts) == ("index.L/3", ("index.L",))


def test_review_order_is_worst_and_surest_first():
    sure = replace(FLAG, severity=Severity.CLEAR, confidence=0.9)
    unsure = replace(FLAG, severity=Severity.GLARING, confidence=0.3)
    assert sort_for_review([unsure, FLAG, sure]) == [sure, unsure, FLAG]


def test_severity_words_go_both_ways():
    for severity in Severity:
        assert Severity.from_word(severity.word) is severity
    with pytest.raises(ValueError, match="expected faint, clear or glaring"):
        Severity.from_word("bad")
