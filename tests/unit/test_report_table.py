# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The table a person reads, and the rows a spreadsheet reads."""

import csv
import io
import re
from dataclasses import replace

import pytest
from sample_readings import HAND, POP, SHOT, with_flags

from fettle.core_math.findings import NotEvaluated, Severity, State
from fettle.core_math.motion import SubjectKind
from fettle.core_math.report import Report
from fettle.core_math.report_table import (
    Look,
    count_severities,
    dump_csv,
    find_worst,
    format_comparison,
    format_shot,
    format_unjudged,
    say_counts,
    say_frame_rate,
    say_part,
)
from fettle.core_math.suppressions import Note, Review, mark_flag
from fettle.core_math.takes import compare_readings

PLAIN = Look(width=100)


@pytest.mark.parametrize(
    ("part", "words"),
    [
        ("hand.L", "left hand"),
        ("upper_arm.R", "right upper arm"),
        ("index.R/2", "right index 2"),
        ("spine/3", "spine 3"),
        ("head", "head"),
        ("strand:Zopf.L", "Zopf.L"),
        ("strand:braid/4", "braid 4"),
    ],
)
def test_parts_are_named_as_people_do(part, words):
    assert say_part(part) == words


@pytest.mark.parametrize(
    ("fps", "words"), [(24.0, "24"), (24000 / 1001, "23.976"), (12.5, "12.5"), (120.0, "120")]
)
def test_frame_rates_are_written_without_needless_digits(fps, words):
    assert say_frame_rate(fps) == words


def test_table_tells_frames_part_severity_sentence_and_what_to_try():
    text = format_shot(
        SHOT, PLAIN, Review((Note(40, "hold longer"),), (mark_flag(HAND, State.DONE),))
    )
    lines = text.splitlines()
    (row,) = [line for line in lines if "Left hand keeps" in line]
    assert re.match(r"\s+22-35\s+left hand\s+► clear\s+Left hand keeps its world angle", row)
    assert lines.index(row) > [i for i, line in enumerate(lines) if "Head jumps" in line][0]
    for words in (
        "frames 1-120 at 24 fps",
        "camera Cam",
        "try: look at the key on frame 120",
        "note at 40: hold longer",
        "frames 22-35: marked as done, and no longer found",
        "1 glaring, 1 clear",
        "late-camera: no shot camera",
        "a fault in Fettle: strobe on Rig: ZeroDivisionError",
        "without left toe, right toe",
    ):
        assert words in text
    assert "\x1b" not in text
    assert max(map(len, lines)) <= 100


def test_narrow_terminal_wraps_below_the_sentence():
    lines = format_shot(SHOT, Look(width=70)).splitlines()
    start = [i for i, line in enumerate(lines) if "Left hand keeps" in line][0]
    column = lines[start].index("Left hand keeps")
    assert lines[start + 1].startswith(" " * column) and lines[start + 1][column] != " "


def test_without_signs_the_table_is_plain_ascii():
    assert format_shot(with_flags(HAND), Look(signs=False)).isascii()


def test_colours_are_the_published_ones_and_shapes_differ():
    text = format_shot(with_flags(POP, HAND, replace(POP, severity=Severity.FAINT)), Look(80, True))
    # Okabe & Ito's set: vermilion #D55E00, orange #E69F00, sky blue #56B4E9.
    for code, sign in (("213;94;0", "◆"), ("230;159;0", "►"), ("86;180;233", "●")):
        assert f"\x1b[38;2;{code}m{sign}" in text


def test_clean_shot_says_so_and_still_lists_what_was_not_judged():
    text = format_shot(with_flags(), PLAIN)
    assert "nothing to flag" in text and "not evaluated:" in text and "no flags" not in text


def test_meant_flags_come_last_with_their_reason_and_count_apart():
    meant = replace(POP, state=State.MEANT, reason="a sneeze")
    text = format_shot(with_flags(meant, HAND), PLAIN)
    assert text.index("Left hand") < text.index("Head jumps")
    assert "meant: a sneeze" in text
    assert say_counts((meant, HAND)) == "1 clear, 1 meant"
    assert find_worst((meant, HAND)) is Severity.CLEAR
    assert find_worst((meant,)) is None
    assert count_severities((meant, HAND)) == {
        Severity.GLARING: 0,
        Severity.CLEAR: 1,
        Severity.FAINT: 0,
    }


def test_flag_marked_done_but_found_again_still_counts():
    done = replace(POP, state=State.DONE)
    assert find_worst((done,)) is Severity.GLARING
    assert "marked as done, still found" in format_shot(with_flags(done), PLAIN)


def test_subjects_are_named_in_their_rows_when_several_have_flags():
    cart = replace(HAND, subject="Cart")
    assert "Cart: left hand" in format_shot(with_flags(HAND, cart), PLAIN)
    assert "Rig: left hand" not in format_shot(with_flags(HAND, POP), PLAIN)


def test_objects_are_told_in_one_line():
    things = [replace(SHOT.subjects[0], name=n, kind=SubjectKind.OBJECT) for n in ("Cart", "Crate")]
    text = format_shot(replace(SHOT, subjects=(*SHOT.subjects, *things)), PLAIN)
    assert "2 objects: Cart, Crate" in text


def test_what_was_not_evaluated_is_grouped_by_reason():
    entries = [
        NotEvaluated(f"check-{n}", who, "judges a character only")
        for who in ("Cart", "Crate")
        for n in "ab"
    ]
    entries += [NotEvaluated(f"check-{n}", "Rig", "left out by --only") for n in "abcdefghij"]
    lines = format_unjudged(with_flags(not_evaluated=tuple(entries), crashes=()))
    assert lines == [
        "  not evaluated:",
        "    check-a, check-b: judges a character only (Cart, Crate)",
        "    10 checks: left out by --only (Rig)",
    ]


def test_comparison_lists_fates_with_counts_and_numbers():
    better = replace(HAND, value=0.11)
    old = with_flags(HAND, POP, not_evaluated=(), crashes=())
    new = with_flags(better, not_evaluated=(), crashes=(), source="shot_v2.blend")
    text = format_comparison(compare_readings(old, new), PLAIN)
    assert "shot.blend -> shot_v2.blend" in text
    assert "was 0.08, is 0.11" in text
    assert "0 new, 0 worse, 0 still there, 1 better, 0 not judged, 1 fixed" in text


def read_rows(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_csv_has_a_row_for_every_flag_and_note():
    report = Report((SHOT,), reviews={0: Review((Note(49, "linger\nhere", "Rig", "head"),))})
    pop, hand, note = read_rows(dump_csv(report))
    assert hand["source"] == "shot.blend" and hand["other_parts"] == "forearm.L"
    assert (hand["kind"], hand["start"], hand["end"], hand["peak"]) == ("flag", "22", "35", "29")
    assert hand["id"] == HAND.id and hand["severity"] == "clear" and hand["value"] == "0.08"
    assert hand["time_s"] == "0.875"  # 21 frames after the first at 24 fps
    assert pop["part"] == "head"
    assert (note["kind"], note["message"], note["time_s"]) == ("note", "linger\nhere", "2.000")


@pytest.mark.parametrize("name", ["=1+1", "+x", "-x", "@x"])
def test_csv_never_carries_a_formula(name):
    flag = replace(HAND, subject=name, start=-5)
    (row,) = read_rows(dump_csv(Report((with_flags(flag),))))
    assert row["subject"] == f"'{name}"
    assert row["start"] == "-5" and row["time_s"] == "-0.250"
