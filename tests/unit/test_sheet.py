# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The review sheet as text: whole, alone, safe, and saying everything the reading says."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from sample_readings import HAND, POP, SHOT, with_flags

from fettle.addon.sheet import make_anchor, make_sheet
from fettle.addon.sheet_pictures import FlagPictures
from fettle.core_math.findings import NotEvaluated, State
from fettle.core_math.suppressions import Note, Review, mark_flag
from fettle.core_math.takes import compare_readings

VOID = {"meta", "input", "br", "hr", "img", "link"}


class Page(HTMLParser):
    """Reads a page strictly: every element is closed where it should be."""

    def __init__(self, text):
        super().__init__()
        self.open, self.elements, self.text = [], [], ""
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, name, attrs):
        self.elements.append((name, dict(attrs)))
        if name not in VOID:
            self.open.append(name)

    def handle_startendtag(self, name, attrs):
        self.elements.append((name, dict(attrs)))

    def handle_endtag(self, name):
        assert self.open.pop() == name

    def handle_data(self, data):
        if not self.open or self.open[-1] not in ("style", "script"):
            self.text += data

    def find(self, name):
        return [attrs for found, attrs in self.elements if found == name]


def test_page_is_well_formed_and_needs_nothing_from_outside():
    text = make_sheet(SHOT, {0: FlagPictures("<svg></svg>", "<svg></svg>", "<svg></svg>")})
    page = Page(text)
    assert text.startswith("<!DOCTYPE html>")
    assert page.find("html") == [{"lang": "en"}]
    for name in ("link", "img", "iframe", "object", "base"):
        assert page.find(name) == []
    assert [attrs for attrs in page.find("script") if "src" in attrs] == []
    assert not re.search(r"https?://|@import|url\(|fetch\(|XMLHttp", text)
    (policy,) = [m["content"] for m in page.find("meta") if "http-equiv" in m]
    assert policy.startswith("default-src 'none'")


def test_page_says_all_the_reading_says():
    meant = replace(POP, state=State.MEANT, reason="a sneeze")
    shot = with_flags(HAND, meant)
    marks = (mark_flag(HAND, State.DONE),)
    review = Review((Note(40, "hold longer", "Rig", "hand.L", "Ana"),), marks)
    page = Page(make_sheet(shot, review=review))
    for words in (
        "shot.blend",
        "frames 1-120 at 24 fps (5.0 s), camera Cam",
        "Rig: character, spline, 1.72 m, exact route",
        HAND.message,
        f"Try: {HAND.suggestion}",
        "0.08, limit 0.12",
        "ik-lock, held-in-world",
        "0.88 to 1.42 s, most at frame 29 (1.17 s)",  # 21, 34 and 28 frames after the first, / 24
        "meant: a sneeze",
        "frame 40, left hand: hold longer (Ana)",
        "marked as done, and no longer found",
        "no shot camera",
        "a fault in Fettle: ZeroDivisionError",
    ):
        assert words in page.text, words


def test_anchors_are_unique_and_every_link_in_the_page_leads_somewhere():
    shot = with_flags(HAND, HAND, replace(HAND, peak=30))
    page = Page(make_sheet(shot))
    ids = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    targets = [a["href"] for a in page.find("a") if a.get("href", "").startswith("#")]
    assert {target[1:] for target in targets} <= set(ids)
    assert {make_anchor(flag, n) for n, flag in enumerate(shot.flags)} <= set(ids)
    labels = [attrs["aria-labelledby"] for _, attrs in page.elements if "aria-labelledby" in attrs]
    assert set(labels) <= set(ids)


def test_headings_go_down_one_level_at_a_time():
    page = Page(make_sheet(SHOT, review=Review((Note(1, "x"),))))
    levels = [int(name[1]) for name, _ in page.elements if re.fullmatch(r"h[1-6]", name)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after - before <= 1 for before, after in zip(levels, levels[1:], strict=False))


def test_names_from_the_file_never_become_markup():
    bad = '<script>alert("x")</script>'
    flag = replace(HAND, subject=bad, part=bad, message=bad, suggestion=bad, reason=bad)
    shot = replace(
        with_flags(replace(flag, state=State.MEANT), not_evaluated=(NotEvaluated("x", bad, bad),)),
        source=f"{bad}.blend",
        scene=bad,
        camera=bad,
    )
    page = Page(make_sheet(shot, review=Review((Note(1, bad, bad, bad, bad),)), back=bad))
    assert len(page.find("script")) == 1
    assert page.text.count("alert") >= 10


def test_comparison_tells_what_became_of_the_flags():
    old = with_flags(HAND, POP, not_evaluated=(), crashes=(), source="shot_v1.blend")
    worse = replace(HAND, value=0.02)
    new = with_flags(worse, not_evaluated=(), crashes=())
    page = Page(make_sheet(new, comparison=compare_readings(old, new)))
    assert "Since shot_v1.blend" in page.text
    assert "worse: was 0.08, is 0.02" in page.text
    assert POP.message in page.text and "fixed" in page.text


def test_clean_shot_still_shows_what_was_not_judged():
    page = Page(make_sheet(with_flags()))
    assert "Nothing to flag." in page.text
    assert "no shot camera" in page.text


@pytest.mark.parametrize("frames", [(1, 1), (1, 12), (-30, 5000), (1001, 1480)])
def test_strip_covers_any_range(frames):
    flag = replace(HAND, start=frames[0], end=frames[1], peak=frames[0])
    page = Page(make_sheet(with_flags(flag, frame_range=frames)))
    (strip,) = [a for a in page.find("svg") if a.get("class") == "strip"]
    assert f"frames {frames[0]} to {frames[1]}" in strip["aria-label"]


def test_page_grows_in_line_with_its_flags():
    flags = [replace(HAND, start=n, end=n, peak=n) for n in range(500)]
    long, short = len(make_sheet(with_flags(*flags))), len(make_sheet(with_flags(*flags[:50])))
    empty = len(make_sheet(with_flags()))
    assert (long - empty) < 11 * (short - empty)
