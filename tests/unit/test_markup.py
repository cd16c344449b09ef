# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Elements are written as HTML and SVG want them, and no text becomes markup by accident."""

from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st

from fettle.addon.markup import Markup, join, tag


def test_elements_attributes_and_nothing():
    assert tag("p", "a", None, ["b", ("c",)], class_="x y", aria_label="l", hidden=True) == (
        '<p class="x y" aria-label="l" hidden>abc</p>'
    )
    assert tag("p", title=None, hidden=False) == "<p></p>"
    assert tag("input", type="text") == '<input type="text">'
    assert tag("path", d="M0 0") == '<path d="M0 0"/>'
    assert tag("a", tag("path"), x=1.5, name="n") == '<a x="1.5" name="n"><path/></a>'


def test_markup_is_kept_and_text_is_escaped():
    assert join(["<b>", Markup("<b>"), tag("i", "&")]) == "&lt;b&gt;<b><i>&amp;</i>"


@given(st.text(), st.text())
def test_any_text_comes_out_of_a_parser_as_it_went_in(inside, attribute):
    class Reader(HTMLParser):
        seen, title, tags = "", "", 0

        def handle_starttag(self, name, attrs):
            self.tags += 1
            self.title = dict(attrs)["title"]

        def handle_data(self, data):
            self.seen += data

    reader = Reader()
    reader.feed(tag("span", inside, title=attribute))
    reader.close()
    assert (reader.seen, reader.title, reader.tags) == (inside, attribute, 1)
