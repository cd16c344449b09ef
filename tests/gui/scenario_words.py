# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The interface in another language: words registered with Blender are those that are shown."""

import bpy
from driver import Skip
from shots import find_stack, get_kept, open_small_shot, part, point_of, switch_overlay

LANGUAGE = "de_DE"
WORDS = {
    ("*", "Try: {what}"): "Versuche: {what}",
    ("*", "{frame}  {part}  {severity}: {value} (limit {limit})"): (
        "{part} auf Bild {frame}, {severity}: {value} statt {limit}"
    ),
    ("*", "Frames {numbers}"): "Bilder {numbers}",
    ("*", "{value}   (limit {limit})"): "{value} (erlaubt {limit})",
    ("*", "A flag is a question: your intent wins"): "Jede Fahne fragt nur",
    ("*", "Read the shot first"): "Erst lesen",
    ("*", "Kept as {name}; it is saved with the file"): "Aufgehoben als {name}",
    ("Fettle", "Clear"): "Deutlich",
    ("Fettle", "Glaring"): "Grell",
    ("Fettle", "left hand"): "linke Hand",
    ("Operator", "Read"): "Lesen",
}


def scenario_words_in_another_language(ui):
    """Box and list change with the language, and come back with it."""
    if not bpy.app.build_options.international:
        raise Skip("this Blender was built without languages")
    yield from open_small_shot(ui)
    yield from ui.open_sidebar("Fettle")
    yield from switch_overlay(ui)
    flag = next(one for one in get_kept().reading.flags if one.check == "ik-lock")
    describe = part("view_words").describe_flags
    english = [line.text for line in describe((flag,))]
    bpy.context.scene.frame_current = flag.peak
    part("kept").choose(get_kept(), flag.id)
    before = yield from ui.screenshot("english")
    view = bpy.context.preferences.view
    bpy.app.translations.register("words of a test", {LANGUAGE: WORDS})
    try:
        view.language = LANGUAGE
        view.use_translate_interface = view.use_translate_tooltips = True
        view.use_translate_reports = True
        german = [line.text for line in describe((flag,))]
        assert german[1].startswith(f"linke Hand auf Bild {flag.peak}, grell: "), german
        assert german[-1].startswith("Versuche: ") and english[-1].startswith("Try: ")
        assert german[0] == english[0], "a check's sentence is its own"
        translation = part("translation")
        assert translation.explain("Read the shot first") == "Erst lesen"
        kept_as = translation.tell("Kept as {name}; it is saved with the file", name="v2")
        assert kept_as == "Aufgehoben als v2"
        assert part("wording").say_severity(flag) == "Grell"
        yield from ui.move(*point_of(ui, find_stack(ui, "ik-lock")))
        yield 0.4
        shown = yield from ui.screenshot("german", redraw=False)
        assert shown.differs_from(before, 24, ui.bounds("VIEW_3D", "UI")) > 500
    finally:
        view.language = "en_US"
        bpy.app.translations.unregister("words of a test")
    assert [line.text for line in describe((flag,))] == english


scenario_words_in_another_language.time_limit = 150
