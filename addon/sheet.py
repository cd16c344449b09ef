# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The review sheet: one shot on one HTML page that needs no network, no Blender and no library.

Everything is in the page: style, script, pictures. Without the script it is complete; the script
adds filters, keys and the choice of light. The same function makes it on a command line and inside
Blender.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path, PurePath

from ..core_math import (
    Change,
    Comparison,
    Fate,
    Flag,
    Review,
    Severity,
    ShotReading,
    State,
    count_severities,
    describe_unused,
    find_version,
    format_quantity,
    say_frame_rate,
    say_frames,
    say_part,
    say_subjects,
)
from .markup import Markup, join, tag
from .sheet_pictures import FlagPictures, draw_sign

_FOLDER = Path(__file__).parent
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:"


def make_sheet(
    shot: ShotReading,
    pictures: Mapping[int, FlagPictures] | None = None,
    review: Review | None = None,
    comparison: Comparison | None = None,
    back: str | None = None,
) -> str:
    """Write the review sheet of one shot.

    Parameters
    ----------
    shot : ShotReading
    pictures : mapping of int to FlagPictures, optional
        By index into the shot's flags.
    review : Review, optional
        Notes, and marks whose flag is gone.
    comparison : Comparison, optional
        With an earlier take; its new reading is this shot.
    back : str, optional
        Address of the overview this sheet belongs to.

    Returns
    -------
    str
        A whole HTML document.
    """
    review = review or Review()
    name = PurePath(shot.source.replace("\\", "/")).name
    fates = _find_fates(shot, comparison)
    body = [
        tag("a", "Skip to the flags", class_="skip", href="#flags"),
        _make_head(shot, name, back),
        _make_counts(shot),
        _make_strip(shot),
        _make_changes(comparison),
        _make_notes(review),
        tag("h2", "Flags", id="flags"),
        _make_filters(shot) if shot.flags else None,
        tag(
            "ol",
            [
                _make_card(shot, flag, number, (pictures or {}).get(number), fates.get(id(flag)))
                for number, flag in enumerate(shot.flags)
            ],
            class_="flags",
        )
        if shot.flags
        else tag("p", "Nothing to flag."),
        _make_unjudged(shot),
        _make_foot(),
    ]
    return make_page(f"{name}: review sheet", body)


def make_page(title: str, body: Sequence[Markup | None]) -> str:
    """Write a whole HTML document around its body."""
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", http_equiv="Content-Security-Policy", content=_POLICY),
        tag("title", title),
        tag("style", Markup(_read("sheet.css"))),
    )
    script = tag("script", Markup(_read("sheet.js")))
    page = tag("html", head, tag("body", join(body), script), lang="en")
    return f"<!DOCTYPE html>\n{page}\n"


def make_icon(severity: Severity) -> Markup:
    """Draw a severity's sign for a line of text; the word beside it says the same."""
    sign = draw_sign(severity, 8.0, 15.5)
    return tag("svg", sign, class_="icon", viewBox="0 0 16 17", aria_hidden="true")


def make_anchor(flag: Flag, number: int) -> str:
    """Return the name of a flag's place in the page; unique also when two flags share an id."""
    return f"flag-{number + 1}-{flag.id}"


def _read(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")


def _make_head(shot: ShotReading, name: str, back: str | None) -> Markup:
    first, last = shot.frame_range
    seconds = (last - first + 1) / shot.fps
    camera = f"camera {shot.camera}" if shot.camera else "no shot camera"
    facts = [
        f"{shot.scene}, frames {first}-{last} at {say_frame_rate(shot.fps)} fps "
        f"({seconds:.1f} s), {camera}",
        *say_subjects(shot.subjects),
    ]
    return tag(
        "header",
        tag(
            "div",
            tag("h1", name),
            tag(
                "div",
                tag("a", "All shots", href=back) if back else None,
                " ",
                tag("button", "Dark", id="theme", type="button", title="light or dark (t)"),
                class_="screen-only",
            ),
            class_="top",
        ),
        tag("ul", [tag("li", fact) for fact in facts], class_="facts"),
    )


def _make_counts(shot: ShotReading) -> Markup:
    entries = [
        tag("li", make_icon(severity), tag("b", str(number)), f" {severity.word}")
        for severity, number in count_severities(shot.flags).items()
    ]
    meant = sum(flag.state is State.MEANT for flag in shot.flags)
    if meant:
        entries.append(tag("li", tag("b", str(meant)), " meant"))
    skipped = len({entry.check for entry in shot.not_evaluated})
    if skipped:
        words = "check" if skipped == 1 else "checks"
        words += " not evaluated for every subject or part"
        entries.append(tag("li", tag("b", str(skipped)), " ", tag("a", words, href="#unjudged")))
    return tag("ul", entries, class_="counts")


def _make_strip(shot: ShotReading) -> Markup | None:
    """Draw the whole shot as a strip: every flag a bar over its frames, in as few lanes as fit."""
    if not shot.flags:
        return None
    first, last = shot.frame_range
    width, left = 1000.0, 8.0
    scale = (width - 2.0 * left) / max(1, last - first + 1)
    ordered = sorted(enumerate(shot.flags), key=lambda entry: entry[1].start)
    spans = [
        (left + (flag.start - first + 0.2) * scale, left + (flag.end - first + 0.8) * scale)
        for _, flag in ordered
    ]
    lanes, count = _assign_lanes(spans)
    pitch = min(9.0, max(2.5, 170.0 / count))
    bars = []
    for (number, flag), (start, end), lane in zip(ordered, spans, lanes, strict=True):
        y = 8.0 + pitch * lane
        bar = tag(
            "path",
            class_=f"lane {flag.severity.word}",
            d=f"M{start:.1f} {y:g}H{max(end, start + 0.1):.1f}",
            stroke_width=round(0.6 * pitch, 1),
        )
        title = tag("title", f"{say_frames(flag)} {say_part(flag.part)}: {flag.message}")
        bars.append(tag("a", title, bar, href=f"#{make_anchor(flag, number)}", tabindex="-1"))
    floor = 14.0 + pitch * count
    axis = tag("path", class_="axis", d=f"M{left:g} {floor:g}H{width - left:g}")
    every = _choose_step(last - first + 1)
    marks = [
        tag(
            "text",
            str(frame),
            class_="at",
            x=f"{left + (frame - first + 0.5) * scale:.1f}",
            y=f"{floor + 13:g}",
        )
        for frame in range(first - first % -every, last + 1, every)
    ]
    label = f"{len(shot.flags)} flags over frames {first} to {last}; they are listed below"
    return tag(
        "svg",
        bars,
        axis,
        marks,
        class_="strip",
        viewBox=f"0 0 {width:g} {floor + 18:g}",
        role="img",
        aria_label=label,
    )


def _assign_lanes(spans: Sequence[tuple[float, float]]) -> tuple[list[int], int]:
    """Put spans, sorted by their start, into the first lane that is free; return the lanes."""
    free: list[float] = []
    lanes = []
    for start, end in spans:
        lane = next((n for n, until in enumerate(free) if until < start - 7.0), len(free))
        free[lane : lane + 1] = [end]
        lanes.append(lane)
    return lanes, len(free)


def _choose_step(frames: int) -> int:
    for step in (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000, 2000, 5000):
        if frames / step <= 16:
            return step
    return 10_000


def _make_filters(shot: ShotReading) -> Markup:
    boxes = [
        tag(
            "label",
            tag("input", type="checkbox", name="severity", value=severity.word, checked=True),
            make_icon(severity),
            severity.word,
        )
        for severity in sorted(Severity, reverse=True)
    ]
    checks = sorted({flag.check for flag in shot.flags})
    states = [state for state in State if any(flag.state is state for flag in shot.flags)]
    return tag(
        "form",
        tag("fieldset", tag("legend", "Severity", class_="skip"), boxes),
        tag(
            "label",
            "Check",
            tag(
                "select",
                tag("option", "all", value=""),
                [tag("option", check) for check in checks],
                id="by-check",
            ),
        ),
        tag(
            "label",
            "State",
            tag(
                "select",
                tag("option", "all", value=""),
                [tag("option", state.value) for state in states],
                id="by-state",
            ),
        ),
        tag(
            "label",
            "Find",
            tag("input", type="search", id="by-text", placeholder="part, check, words"),
        ),
        tag("output", id="shown", class_="soft", aria_live="polite"),
        tag(
            "span",
            tag("kbd", "n"),
            " next ",
            tag("kbd", "p"),
            " previous ",
            tag("kbd", "/"),
            " find ",
            tag("kbd", "1"),
            tag("kbd", "2"),
            tag("kbd", "3"),
            " severities ",
            tag("kbd", "t"),
            " light",
            class_="soft screen-only",
        ),
        id="filters",
        class_="filters",
        role="search",
        aria_label="Filter the flags",
        hidden=True,
    )


def _make_card(
    shot: ShotReading,
    flag: Flag,
    number: int,
    pictures: FlagPictures | None,
    change: Change | None,
) -> Markup:
    anchor = make_anchor(flag, number)
    several = len({other.subject for other in shot.flags}) > 1
    place = f"{flag.subject}, {say_part(flag.part)}" if several else say_part(flag.part)
    facts = [
        ("Measured", f"{format_quantity(flag.value, flag.unit)}, limit "),
        ("Check", f"{flag.check}, {flag.code}"),
        ("Time", _say_time(shot, flag)),
        ("Confidence", f"{flag.confidence:.0%}"),
    ]
    facts[0] = (facts[0][0], facts[0][1] + format_quantity(flag.limit, flag.unit))
    if flag.other_parts:
        facts.append(("With", ", ".join(say_part(part) for part in flag.other_parts)))
    if flag.state is not State.OPEN:
        words = f"{flag.state.value}: {flag.reason}" if flag.reason else flag.state.value
        facts.append(("State", words))
    if change is not None:
        facts.append(("Since the last take", _say_fate(change)))
    text = tag(
        "div",
        tag(
            "h3",
            make_icon(flag.severity),
            tag("span", say_frames(flag), class_="frames-at"),
            tag("span", place),
            tag("span", flag.severity.word, class_="soft"),
            id=f"{anchor}-title",
        ),
        tag("p", flag.message, class_="sentence"),
        tag("p", f"Try: {flag.suggestion}") if flag.suggestion else None,
        tag("dl", [(tag("dt", term), tag("dd", words)) for term, words in facts]),
        tag("div", Markup(pictures.figures), class_="poses") if pictures is not None else None,
    )
    drawn = None
    if pictures is not None:
        drawn = tag("div", Markup(pictures.trail), Markup(pictures.spacing), class_="pictures")
    article = tag(
        "article",
        text,
        drawn,
        class_=f"{flag.severity.word} {flag.state.value}",
        id=anchor,
        tabindex="0",
        aria_labelledby=f"{anchor}-title",
    )
    return tag(
        "li",
        article,
        data_severity=flag.severity.word,
        data_check=flag.check,
        data_state=flag.state.value,
    )


def _say_time(shot: ShotReading, flag: Flag) -> str:
    start, end, peak = (
        (frame - shot.frame_range[0]) / shot.fps for frame in (flag.start, flag.end, flag.peak)
    )
    span = f"{start:.2f} s" if flag.start == flag.end else f"{start:.2f} to {end:.2f} s"
    return f"{span}, most at frame {flag.peak} ({peak:.2f} s)"


def _find_fates(shot: ShotReading, comparison: Comparison | None) -> dict[int, Change]:
    """Return what became of each of the shot's flags, by the flag's identity in memory."""
    if comparison is None:
        return {}
    by_new = {id(change.new): change for change in comparison.changes if change.new is not None}
    return {id(flag): by_new[id(flag)] for flag in shot.flags if id(flag) in by_new}


def _say_fate(change: Change) -> str:
    if change.old is None or change.new is None or change.fate is Fate.SAME:
        return change.fate.value
    was = format_quantity(change.old.value, change.old.unit)
    return (
        f"{change.fate.value}: was {was}, is {format_quantity(change.new.value, change.new.unit)}"
    )


def _make_changes(comparison: Comparison | None) -> Markup | None:
    if comparison is None:
        return None
    name = PurePath(comparison.old.source.replace("\\", "/")).name
    counts = [
        tag("li", tag("b", str(number)), f" {fate.value}")
        for fate, number in comparison.count().items()
    ]
    gone = [c for c in comparison.changes if c.fate in (Fate.FIXED, Fate.UNKNOWN)]
    rows = [
        tag(
            "tr",
            tag("td", change.fate.value),
            tag("td", say_frames(change.flag), class_="number"),
            tag("td", say_part(change.flag.part)),
            tag("td", change.flag.message, f" ({change.reason})" if change.reason else ""),
        )
        for change in gone
    ]
    head = tag("tr", [tag("th", word, scope="col") for word in ("", "Frames", "Part", "Was")])
    return tag(
        "section",
        tag("h2", f"Since {name}"),
        tag("ul", counts, class_="counts"),
        tag("table", tag("thead", head), tag("tbody", rows)) if rows else None,
    )


def _make_notes(review: Review) -> Markup | None:
    if not review.notes and not review.unused:
        return None
    notes = []
    for note in sorted(review.notes, key=lambda note: note.frame):
        where = f"frame {note.frame}" + (f", {say_part(note.part)}" if note.part else "")
        author = f" ({note.author})" if note.author else ""
        notes.append(tag("li", tag("b", where), f": {note.text}{author}"))
    notes += [tag("li", describe_unused(mark)) for mark in review.unused]
    return tag("section", tag("h2", "Notes"), tag("ul", notes))


def _make_unjudged(shot: ShotReading) -> Markup:
    rows = [
        tag(
            "tr",
            tag("td", entry.check),
            tag("td", entry.subject),
            tag("td", say_part(entry.part) if entry.part else ""),
            tag("td", entry.reason),
        )
        for entry in shot.not_evaluated
    ]
    rows += [
        tag(
            "tr",
            tag("td", crash.check),
            tag("td", crash.subject),
            tag("td", ""),
            tag("td", f"a fault in Fettle: {crash.error}"),
        )
        for crash in shot.crashes
    ]
    head = tag(
        "tr", [tag("th", word, scope="col") for word in ("Check", "Subject", "Part", "Reason")]
    )
    return tag(
        "section",
        tag("h2", "Not evaluated", id="unjudged"),
        tag("p", "What could not be judged is not the same as clean.", class_="soft"),
        tag("table", tag("thead", head), tag("tbody", rows)) if rows else tag("p", "Nothing."),
    )


def _make_foot() -> Markup:
    return tag(
        "footer",
        tag(
            "p",
            f"Made by Fettle {find_version()}. A flag is a question: is this meant? "
            "Faint is seen only frame by frame, clear is seen at speed, glaring pulls the viewer "
            "out of the shot.",
            class_="soft",
        ),
    )
