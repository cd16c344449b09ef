# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The review sheet in a real browser: by eye, by keyboard, read aloud, on paper, with 500 flags."""

import json
from dataclasses import replace

import figure
import matplotlib.image
import numpy as np
import pytest
from sample_readings import HAND, POP, SUBJECT, with_flags

from fettle.addon.overview import OverviewRow, make_overview
from fettle.addon.sheet import make_sheet
from fettle.addon.sheet_pictures import draw_flag
from fettle.core_math.findings import Severity, State
from fettle.core_math.report import InputFault
from fettle.core_math.suppressions import Note, Review
from fettle.core_math.takes import compare_readings

PARTS = ("hand.L", "hand.R", "head", "chest", "foot.L", "hips")
FRAMES = 120


def swing():
    u = (np.arange(FRAMES) - 15) / 24.0
    angles = {
        "upper_arm.L": figure.turn((0, 1, 0), -80.0 * figure.minimum_jerk(u)),
        "upper_arm.R": figure.turn((1, 0, 0), 70.0 * figure.minimum_jerk(u - 1.0)),
        "chest": figure.turn((0, 0, 1), 20.0 * figure.minimum_jerk(u - 0.5)),
        "thigh.L": figure.turn((1, 0, 0), -40.0 * figure.minimum_jerk(u - 2.0)),
    }
    return figure.make_motion(angles, FRAMES, subject="Rig")


def make_flags(count):
    severities = sorted(Severity, reverse=True)
    flags = []
    for n in range(count):
        start = 1 + (7 * n) % (FRAMES - 14)
        flags.append(
            replace(
                HAND,
                part=PARTS[n % len(PARTS)],
                other_parts=(),
                message=f"Something is seen at the {PARTS[n % len(PARTS)]}",
                check=("ik-lock", "arc-break", "pop")[n % 3],
                severity=severities[n % 3],
                start=start,
                end=start + n % 12,
                peak=start + (n % 12) // 2,
            )
        )
    return flags


@pytest.fixture(scope="module")
def motion():
    return swing()


def draw(motion, flags, distinct=60):
    drawn = [draw_flag(motion, flag) for flag in flags[:distinct]]
    return {n: drawn[n % len(drawn)] for n in range(len(flags))}


@pytest.fixture(scope="module")
def sheet(motion, tmp_path_factory):
    """A sheet with everything on it, and the number of its flags."""
    flags = make_flags(12)
    flags[5] = replace(flags[5], state=State.MEANT, reason="she carries a full cup")
    old = with_flags(POP, *flags[:3], source="sling_v001.blend", not_evaluated=(), crashes=())
    shot = with_flags(*flags, source="sling_v002.blend", subjects=(SUBJECT,))
    review = Review((Note(40, "hold this a little longer", "Rig", "head", "Ana"),))
    path = tmp_path_factory.mktemp("sheet") / "Blatt 港.html"
    page = make_sheet(shot, draw(motion, flags), review, compare_readings(old, shot))
    path.write_text(page, encoding="utf-8")
    return path, len(flags)


def open_page(browser, path):
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": []})
    browser.set_window_size(1280, 1400)
    browser.get(path.as_uri())


@pytest.fixture
def opened(browser, sheet):
    open_page(browser, sheet[0])
    browser.execute_script("try { localStorage.clear() } catch {}")
    browser.get_log("performance")
    browser.get_log("browser")
    browser.refresh()
    return browser


def colours(browser, selector="body"):
    script = (
        "const s = getComputedStyle(document.querySelector(arguments[0]));"
        "return [s.backgroundColor, s.color]"
    )
    return browser.execute_script(script, selector)


def lightness(rgb):
    return sum(int(word) for word in rgb[4:-1].split(",")[:3]) / 3.0


def emulate(browser, **features):
    entries = [{"name": name.replace("_", "-"), "value": v} for name, v in features.items()]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": entries})


def press(browser, *keys):
    from selenium.webdriver.common.action_chains import ActionChains

    for key in keys:
        ActionChains(browser).send_keys(key).perform()


def focused(browser):
    return browser.execute_script(
        "return document.activeElement.id || document.activeElement.tagName"
    )


def count_shown(browser):
    return browser.execute_script(
        "return [...document.querySelectorAll('.flags > li')].filter(i => !i.hidden).length"
    )


def test_page_opens_without_network_errors_or_complaints(opened, sheet, screenshot):
    assert opened.get_log("browser") == []
    requests = [json.loads(entry["message"])["message"] for entry in opened.get_log("performance")]
    asked = {
        entry["params"]["request"]["url"]
        for entry in requests
        if entry["method"] == "Network.requestWillBeSent"
    }
    assert asked == {sheet[0].as_uri()}
    picture = matplotlib.image.imread(screenshot("sheet_light"))[..., :3] * 255.0
    for digits in ("d55e00", "e69f00", "56b4e9"):
        colour = [int(digits[i : i + 2], 16) for i in (0, 2, 4)]
        assert (np.abs(picture - colour).max(axis=-1) < 6.0).sum() > 150, digits


def test_light_and_dark_follow_the_system_and_the_button_overrides_for_good(opened, screenshot):
    emulate(opened, prefers_color_scheme="light")
    back, ink = colours(opened)
    assert lightness(back) > 230 and lightness(ink) < 80
    emulate(opened, prefers_color_scheme="dark")
    back, ink = colours(opened)
    assert lightness(back) < 50 and lightness(ink) > 200
    screenshot("sheet_dark")
    opened.find_element("id", "theme").click()
    assert lightness(colours(opened)[0]) > 230
    opened.refresh()
    assert lightness(colours(opened)[0]) > 230
    press(opened, "t")
    assert lightness(colours(opened)[0]) < 50


def test_keys_walk_through_the_flags_and_filter_them(opened, sheet):
    total = sheet[1]
    anchors = opened.execute_script(
        "return [...document.querySelectorAll('article')].map(a => a.id)"
    )
    assert len(anchors) == total == count_shown(opened)
    press(opened, "n")
    assert focused(opened) == anchors[0]
    press(opened, "n", "j")
    assert focused(opened) == anchors[2]
    press(opened, "p", "k", "k")
    assert focused(opened) == anchors[0]
    press(opened, "1")
    assert count_shown(opened) == total * 2 // 3
    assert opened.find_element("id", "shown").text == f"{total * 2 // 3} of {total} shown"
    press(opened, "n")
    assert focused(opened) == anchors[1]  # the first that is not glaring
    press(opened, "1", "/")
    assert focused(opened) == "by-text"
    press(opened, "left hand")
    assert count_shown(opened) == total // len(PARTS)
    from selenium.webdriver.common.keys import Keys

    press(opened, Keys.ESCAPE)
    assert focused(opened) != "by-text"


def test_filters_by_check_and_state(opened, sheet):
    from selenium.webdriver.support.select import Select

    Select(opened.find_element("id", "by-check")).select_by_visible_text("pop")
    assert count_shown(opened) == sheet[1] // 3
    Select(opened.find_element("id", "by-check")).select_by_visible_text("all")
    Select(opened.find_element("id", "by-state")).select_by_visible_text("meant")
    assert count_shown(opened) == 1


def test_everything_is_there_without_the_script(browser, sheet):
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        browser.get(sheet[0].as_uri())
        text = browser.find_element("tag name", "body").text
        assert text.count("Measured") == sheet[1]
        assert not browser.find_element("id", "filters").is_displayed()
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def test_a_screen_reader_finds_headings_named_pictures_and_flags(opened, sheet):
    opened.execute_cdp_cmd("Accessibility.enable", {})
    nodes = opened.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]

    def names(role):
        return [
            node["name"]["value"]
            for node in nodes
            if not node["ignored"] and node["role"]["value"] == role
        ]

    total = sheet[1]
    articles = names("article")
    assert len(articles) == total
    assert any("left hand" in name and "glaring" in name for name in articles)
    pictures = names("image") + names("img")
    assert pictures and all(pictures)
    labels = opened.execute_script(
        "return [...document.querySelectorAll('svg[role=img]')].map(s => s.ariaLabel)"
    )
    assert len(labels) == 3 * total + 1 and all(labels)
    headings = names("heading")
    assert {"sling_v002.blend", "Flags", "Not evaluated", "Notes", "Since sling_v001.blend"} <= set(
        headings
    )
    for role in ("checkbox", "combobox", "searchbox", "button", "link"):
        assert names(role) and all(names(role)), role


@pytest.mark.parametrize("dark", [False, True])
def test_text_stands_out_from_its_ground(opened, dark):
    """Contrast of 4.5 to 1 at least: the published minimum for text (WCAG 2.1, 1.4.3)."""
    emulate(opened, prefers_color_scheme="dark" if dark else "light")

    def luminance(rgb):
        parts = [int(word) / 255.0 for word in rgb[4:-1].split(",")[:3]]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return float(np.dot([0.2126, 0.7152, 0.0722], linear))

    page = luminance(colours(opened)[0])
    card = luminance(colours(opened, "article")[0])
    for selector, ground in (("body", page), (".facts", page), ("article dt", card), ("h3", card)):
        ink = luminance(colours(opened, selector)[1])
        high, low = max(ink, ground), min(ink, ground)
        assert (high + 0.05) / (low + 0.05) >= 4.5, selector


def test_narrow_window_never_scrolls_sideways(opened, screenshot):
    opened.set_window_size(520, 1200)
    wide, window = opened.execute_script(
        "return [document.scrollingElement.scrollWidth, window.innerWidth]"
    )
    screenshot("sheet_narrow")
    assert wide <= window


def test_paper_gets_every_flag_light_and_without_controls(opened, sheet):
    emulate(opened, prefers_color_scheme="dark")
    opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print", "features": []})
    assert not opened.find_element("id", "filters").is_displayed()
    assert lightness(colours(opened)[0]) > 250
    pdf = opened.execute_cdp_cmd("Page.printToPDF", {"printBackground": True})["data"]
    assert len(pdf) > 50_000
    unbroken = opened.execute_script(
        "return getComputedStyle(document.querySelector('.flags > li')).breakInside"
    )
    assert unbroken == "avoid"


def test_five_hundred_flags_can_still_be_walked_and_filtered(browser, motion, tmp_path, screenshot):
    flags = make_flags(500)
    path = tmp_path / "long.html"
    path.write_text(make_sheet(with_flags(*flags), draw(motion, flags)), encoding="utf-8")
    open_page(browser, path)
    assert count_shown(browser) == 500
    press(browser, "n", "n")
    browser.execute_script("document.getElementById('by-text').focus()")
    press(browser, "head")
    assert count_shown(browser) == len([f for f in flags if f.part == "head"])
    screenshot("sheet_500_flags")
    # Pictures far off the screen are not laid out until they come near.
    skipped = browser.execute_script(
        "return [...document.querySelectorAll('.pictures svg')].filter(i => "
        "!i.checkVisibility({contentVisibilityAuto: true})).length"
    )
    assert skipped > 400


def test_overview_links_its_sheets(browser, tmp_path, screenshot):
    rows = [
        OverviewRow(
            with_flags(HAND, POP, source=f"shots/sling_{n:03d}.blend"), f"s/{n}.html", "1 new"
        )
        for n in range(12)
    ]
    path = tmp_path / "overview.html"
    faults = [InputFault("bad.blend", "bad.blend: is no .blend file; save it again from Blender")]
    path.write_text(make_overview(rows, faults), encoding="utf-8")
    open_page(browser, path)
    screenshot("overview")
    links = browser.find_elements("css selector", "tbody a")
    assert len(links) == 12 and links[0].get_attribute("href").endswith("/s/0.html")
    assert "bad.blend: is no .blend file" in browser.find_element("tag name", "body").text
