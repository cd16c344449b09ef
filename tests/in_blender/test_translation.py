# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Words go through the translations before they are filled; the catalogue here is made up.

The Blender of these tests is built without languages: its own lookup is stood in for. That Blender
itself finds what was registered is tried in its window.
"""

from dataclasses import replace

import pytest
from drawn_motion import make_flag, make_motion, make_reading

from fettle.addon import old_trails, translation, view_words, wording
from fettle.addon.markers import BakeOutcome
from fettle.addon.operators import describe_bake
from fettle.core_math import ALL_CHECKS, Fate, Limits, Severity, Unit, make_take

CATALOGUE = {
    ("*", "Try: {what}"): "{what}, versuchsweise",
    ("*", "and {count} more"): "und {count} weitere",
    ("*", "{frame}  {part}  {severity}: {value} (limit {limit})"): (
        "{part} auf {frame}, {severity}: {value} statt {limit}"
    ),
    ("*", "Meant: {reason}"): "Gewollt: {reason}",
    ("*", "Frames {numbers}"): "Bilder {numbers}",
    ("*", "{value}   (limit {limit})"): "{value} bei {limit}",
    ("*", "Markers: {what}"): "Marken: {what}",
    ("*", "{count} added"): "{count} dazu",
    ("*", "A findings file holds no trails"): "Ohne Spuren",
    ("Fettle", "Clear"): "Deutlich",
    ("*", "Clear"): "Leeren",
    ("Fettle", "left hand"): "linke Hand",
    ("Fettle", "Fixed"): "Behoben",
}


@pytest.fixture
def german(monkeypatch):
    def look_up(words, context="*"):
        return CATALOGUE.get((context, words), words)

    for name in ("pgettext_iface", "pgettext_rpt", "pgettext_tip"):
        monkeypatch.setattr(translation, name, look_up)


def test_what_is_written_into_the_views_is_translated(german):
    flag = make_flag(suggestion="turn it", message="It stays", value=0.25)
    assert [line.text for line in view_words.describe_flags((flag,))] == [
        "It stays",
        "linke Hand auf 22, deutlich: 0.25 statt 0.50",
        "Hand turn over forearm turn, both in the world",
        "turn it, versuchsweise",
    ]
    several = view_words.describe_flags((replace(flag, reason="so"),) * 5)
    assert [line.text for line in several][-2:] == ["Gewollt: so", "und 2 weitere"]


def test_what_panels_and_reports_say_is_translated(german):
    flag = make_flag()
    assert wording.name_part("hand.L") == "Linke Hand"
    assert wording.say_severity(flag) == "Deutlich", "not Blender's own order to clear"
    assert wording.say_span(flag) == "Bilder 20-24"
    assert wording.say_value(flag) == "1.00 bei 0.50"
    assert wording.name_fate(Fate.FIXED) == "Behoben"
    assert describe_bake(BakeOutcome(added=3, updated=0, removed=0, kept=0)) == "Marken: 3 dazu"
    assert translation.say("Clear") == "Leeren"


def test_why_old_trails_are_missing_is_translated(german):
    take = make_take("v1", make_reading(), [make_motion()])
    assert old_trails.explain_missing(replace(take, trails={}), "world") == "Ohne Spuren"


def test_words_without_a_translation_stay():
    assert translation.say("and {count} more", count=3) == "and 3 more"
    assert translation.tell("{no field}") == "{no field}"


@pytest.mark.parametrize(
    ("check", "value", "limit", "words"),
    [
        ("ik-lock", 0.01, 0.05, "Hand turn over forearm turn, both in the world"),
        ("idle-chest", 0.01, 0.03, "Chest turn over arm swing, both on the pelvis"),
        (
            "idle-chest",
            0.9,
            0.8,
            "Share of the arm's swing that the chest makes, on the same frame",
        ),
    ],
)
def test_a_bare_ratio_says_of_what(check, value, limit, words):
    flag = make_flag(check=check, value=value, limit=limit)
    assert wording.say_measure(flag) == words
    assert wording.say_measure(replace(flag, unit=Unit.DEGREES)) == ""


def test_every_ratio_that_is_flagged_has_its_words():
    named = 0
    for check in ALL_CHECKS:
        for declared in check.declarations:
            if isinstance(declared, Limits) and declared.unit is Unit.RATIO:
                over = declared.glaring * (1.5 if declared.rising else 0.5)
                flag = make_flag(check=check.id, value=over, limit=declared.glaring)
                said = wording.say_measure(replace(flag, severity=Severity.GLARING))
                assert said and declared.description.startswith(said)
                named += 1
    assert named > 5
