# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Marks find their flags again: after a re-read, a nudge, a retime; and say so when they don't."""

import json
from dataclasses import replace

import pytest
from sample_readings import HAND, POP

from fettle.core_math.findings import State
from fettle.core_math.suppressions import (
    MarksError,
    Note,
    anchor_span,
    apply_marks,
    clear_mark,
    describe_unused,
    dump_marks,
    mark_flag,
    parse_marks,
    set_mark,
)

KEYS = {("Rig", "hand.L"): [1, 10, 20, 30, 40, 60]}


def states(flags, marks, keys=None):
    return [flag.state for flag in apply_marks(flags, marks, keys)[0]]


def test_mark_survives_a_reread_with_other_numbers_words_and_severity():
    mark = mark_flag(HAND, State.MEANT, "she carries a full cup")
    reread = replace(HAND, value=0.03, message="other words", severity=POP.severity, peak=33)
    (flag,), unused = apply_marks([reread], [mark])
    assert (flag.state, flag.reason) == (State.MEANT, "she carries a full cup")
    assert unused == ()


@pytest.mark.parametrize(
    "other",
    [
        {"check": "pop"},
        {"code": "held-in-parent"},
        {"subject": "Rig.001"},
        {"part": "hand.R"},
        {"start": 36, "end": 40},
        {"start": 10, "end": 21},
    ],
)
def test_mark_does_not_reach_another_flag(other):
    mark = mark_flag(HAND, State.DONE)
    (flag,), unused = apply_marks([replace(HAND, **other)], [mark])
    assert flag.state is State.OPEN
    assert unused == (mark,)


@pytest.mark.parametrize("other", [{"start": 35, "end": 40}, {"start": 10, "end": 22}])
def test_one_shared_frame_is_enough(other):
    assert states([replace(HAND, **other)], [mark_flag(HAND, State.DONE)]) == [State.DONE]


def test_flag_that_falls_apart_keeps_its_mark_on_both_pieces():
    mark = mark_flag(HAND, State.MEANT, "cup")
    pieces = [replace(HAND, end=26), replace(HAND, start=30)]
    assert states(pieces, [mark]) == [State.MEANT, State.MEANT]


def test_the_mark_that_shares_more_frames_wins_then_the_later_one():
    early = mark_flag(replace(HAND, start=10, end=23), State.DONE)
    fitting = mark_flag(HAND, State.MEANT, "cup")
    assert states([HAND], [fitting, early]) == [State.MEANT]
    again = mark_flag(HAND, State.DONE)
    assert states([HAND], [fitting, again]) == [State.DONE]


def test_new_decision_replaces_the_old_one_and_clearing_opens_the_flag():
    marks = set_mark((), mark_flag(HAND, State.DONE), HAND)
    marks = set_mark(marks, mark_flag(HAND, State.MEANT, "cup"), HAND)
    assert len(marks) == 1 and states([HAND], marks) == [State.MEANT]
    assert clear_mark(marks, HAND) == ()


def retime(frame, factor, shift):
    return round(frame * factor + shift)


@pytest.mark.parametrize(("factor", "shift"), [(1.0, 100), (2.0, 0), (0.5, 30), (1.5, -60)])
def test_mark_follows_its_keys_through_a_retime(factor, shift):
    mark = mark_flag(HAND, State.MEANT, "cup", KEYS)
    keys = {("Rig", "hand.L"): [frame * factor + shift for frame in KEYS["Rig", "hand.L"]]}
    moved = replace(HAND, start=retime(22, factor, shift), end=retime(35, factor, shift), peak=29)
    assert states([moved], [mark], keys) == [State.MEANT]


def test_part_without_keys_goes_with_those_of_its_subject():
    arm = {("Rig", "upper_arm.L"): [1, 20, 40], ("Cart", "root"): [3]}
    mark = mark_flag(HAND, State.MEANT, "cup", arm)
    later = {("Rig", "upper_arm.L"): [101, 120, 140], ("Cart", "root"): [3]}
    moved = replace(HAND, start=122, end=135, peak=129)
    assert states([moved], [mark], later) == [State.MEANT]
    assert states([HAND], [mark], arm) == [State.MEANT]


def test_mark_leaves_the_old_place_when_its_keys_moved_away():
    mark = mark_flag(HAND, State.MEANT, "cup", KEYS)
    keys = {("Rig", "hand.L"): [frame + 100 for frame in KEYS["Rig", "hand.L"]]}
    assert states([HAND], [mark], keys) == [State.OPEN]


def test_mark_stays_at_its_frames_when_keys_came_or_went():
    mark = mark_flag(HAND, State.MEANT, "cup", KEYS)
    assert states([HAND], [mark], {("Rig", "hand.L"): [1, 60]}) == [State.MEANT]


@pytest.mark.parametrize(
    ("start", "end", "expected"),
    [
        (22, 35, (2, 4)),  # between the keys on 20 and 40
        (20, 30, (2, 3)),  # on keys
        (-5, 0, (0, 0)),  # before the first key
        (70, 80, (5, 5)),  # after the last key
    ],
)
def test_anchor_takes_the_keys_around_the_span(start, end, expected):
    anchor = anchor_span(start, end, KEYS["Rig", "hand.L"])
    assert (anchor.first, anchor.last) == expected
    assert anchor.follow(start, KEYS["Rig", "hand.L"]) == start


def test_part_without_keys_has_no_anchor():
    assert anchor_span(1, 2, None) is None and anchor_span(1, 2, []) is None


def test_meant_needs_a_reason():
    for reason in (None, "", "  "):
        with pytest.raises(MarksError, match="needs a reason"):
            mark_flag(HAND, State.MEANT, reason)
    with pytest.raises(MarksError, match="remove it to open"):
        mark_flag(HAND, State.OPEN)


def test_unused_marks_are_told_in_plain_words():
    meant = mark_flag(HAND, State.MEANT, "cup")
    assert describe_unused(meant) == (
        "ik-lock at hand.L, frames 22-35: marked as meant (cup), "
        "but nothing is found there any more"
    )
    assert "no longer found" in describe_unused(mark_flag(HAND, State.DONE))


def test_marks_and_notes_survive_being_kept_as_text():
    marks = (mark_flag(HAND, State.MEANT, "Tässä 杯", KEYS), mark_flag(POP, State.DONE))
    notes = (Note(40, "länger halten", "Rig", "head", "Ana"), Note(-3, "more weight"))
    assert parse_marks(dump_marks(marks, notes)) == (marks, notes)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "no JSON"),
        ("[]", "another form"),
        ('{"schema": "fettle.marks/9", "marks": [], "notes": []}', "'fettle.marks/9'"),
        ('{"schema": "fettle.marks/1", "marks": [{}], "notes": []}', "damaged"),
        ('{"schema": "fettle.marks/1", "marks": 3, "notes": []}', "damaged"),
    ],
)
def test_kept_text_that_is_damaged_is_refused(text, complaint):
    with pytest.raises(MarksError, match=complaint):
        parse_marks(text)


def test_damaged_number_in_a_mark_is_refused():
    document = json.loads(dump_marks([mark_flag(HAND, State.DONE)]))
    document["marks"][0]["start"] = "soon"
    with pytest.raises(MarksError, match="damaged"):
        parse_marks(json.dumps(document))
