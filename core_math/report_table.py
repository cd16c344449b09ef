# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A report for people: the table in a terminal, and rows for a spreadsheet."""

from __future__ import annotations

import csv
import io
import textwrap
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from .findings import Flag, NotEvaluated, Severity, State, say_part, sort_for_review
from .motion import Stage, SubjectKind
from .reading import ShotReading, SubjectFacts
from .report import Report, flag_to_data
from .suppressions import Note, Review, describe_unused
from .takes import Change, Comparison, Fate
from .units import format_quantity

SHAPES = {Severity.FAINT: "●", Severity.CLEAR: "►", Severity.GLARING: "◆"}
"""Every severity has a shape of its own, so that nothing is told by colour alone."""

FEW_CHECKS = 8

_ANSI = {  # Okabe & Ito's sky blue, orange and vermilion
    Severity.FAINT: "38;2;86;180;233",
    Severity.CLEAR: "38;2;230;159;0",
    Severity.GLARING: "38;2;213;94;0",
}
_BOLD, _DIM, _RESET = "\x1b[1m", "\x1b[2m", "\x1b[0m"

CSV_COLUMNS = (
    "source",
    "scene",
    "fps",
    "kind",
    "subject",
    "part",
    "start",
    "end",
    "peak",
    "time_s",
    "severity",
    "confidence",
    "check",
    "code",
    "value",
    "unit",
    "limit",
    "message",
    "suggestion",
    "other_parts",
    "state",
    "reason",
    "id",
)


@dataclass(frozen=True, slots=True)
class Look:
    """How wide a terminal is and whether it shows colours and signs beyond ASCII."""

    width: int = 100
    colour: bool = False
    signs: bool = True

    def paint(self, text: str, code: str) -> str:
        """Return text in a colour or weight where the terminal has them."""
        return f"\x1b[{code}m{text}{_RESET}" if self.colour else text

    def dim(self, text: str) -> str:
        """Return text that stands back."""
        return f"{_DIM}{text}{_RESET}" if self.colour else text

    def bold(self, text: str) -> str:
        """Return text that stands out."""
        return f"{_BOLD}{text}{_RESET}" if self.colour else text


def say_frames(flag: Flag) -> str:
    """Write a flag's frames: one number, or first and last."""
    return str(flag.start) if flag.start == flag.end else f"{flag.start}-{flag.end}"


def count_severities(flags: Iterable[Flag]) -> dict[Severity, int]:
    """Count the flags that are not meant, worst severity first; all severities are named."""
    counted = Counter(flag.severity for flag in flags if flag.state is not State.MEANT)
    return {severity: counted[severity] for severity in sorted(Severity, reverse=True)}


def say_counts(flags: Sequence[Flag]) -> str:
    """Write how many flags there are of each severity, and how many are meant."""
    words = [f"{n} {severity.word}" for severity, n in count_severities(flags).items() if n]
    meant = sum(flag.state is State.MEANT for flag in flags)
    if meant:
        words.append(f"{meant} meant")
    return ", ".join(words) or "no flags"


def find_worst(flags: Iterable[Flag]) -> Severity | None:
    """Return the worst severity among the flags that are not meant."""
    return max((f.severity for f in flags if f.state is not State.MEANT), default=None)


def say_frame_rate(fps: float) -> str:
    """Write a frame rate without needless digits: 24, 23.976."""
    return f"{fps:.3f}".rstrip("0").rstrip(".")


def format_shot(shot: ShotReading, look: Look, review: Review | None = None) -> str:
    """Write one shot as a table: frames, part, severity, sentence, what to try.

    Parameters
    ----------
    shot : ShotReading
    look : Look
    review : Review, optional

    Returns
    -------
    str
        Lines without a line break at the end.
    """
    first, last = shot.frame_range
    facts = [shot.scene, f"frames {first}-{last} at {say_frame_rate(shot.fps)} fps"]
    facts.append(f"camera {shot.camera}" if shot.camera else "no camera")
    lines = [look.bold(shot.source), look.dim("  " + ", ".join(facts))]
    for words in say_subjects(shot.subjects):
        lines += [look.dim(line) for line in _wrap(words, look.width, 2)]
    lines += ["", *format_flags(shot.flags, look)]
    if review is not None:
        lines += [f"  note at {note.frame}: {note.text}" for note in review.notes]
        lines += [f"  {describe_unused(mark)}" for mark in review.unused]
    if shot.flags:
        lines += ["", f"  {look.bold(say_counts(shot.flags))}"]
    lines += [look.dim(line) for line in format_unjudged(shot, look.width)]
    return "\n".join(lines)


def say_subject(subject: SubjectFacts) -> str:
    """Write what was judged and how: name, kind, stage, size, route."""
    kind = "character" if subject.kind is SubjectKind.ARMATURE else "object"
    stage = f"held on {subject.cadence}s" if subject.stage is Stage.HELD else subject.stage.value
    words = f"{subject.name}: {kind}, {stage}, {subject.height_m:.2f} m, {subject.route} route"
    if subject.unmapped:
        words += f", without {', '.join(say_part(part) for part in subject.unmapped)}"
    return words


def say_subjects(subjects: Sequence[SubjectFacts]) -> list[str]:
    """Write a line for each character, and one for all things together."""
    things = [subject for subject in subjects if subject.kind is SubjectKind.OBJECT]
    lines = [say_subject(subject) for subject in subjects if subject not in things]
    if len(things) == 1:
        lines.append(say_subject(things[0]))
    elif things:
        lines.append(f"{len(things)} objects: {', '.join(thing.name for thing in things)}")
    return lines


def format_flags(flags: Sequence[Flag], look: Look) -> list[str]:
    """Write flags as lines of a table, in the order of review, what is meant last."""
    ordered = sort_for_review(flag for flag in flags if flag.state is not State.MEANT)
    ordered += sort_for_review(flag for flag in flags if flag.state is State.MEANT)
    if not ordered:
        return ["  nothing to flag"]
    head = ("frames", "part", "severity")
    name_subjects = len({flag.subject for flag in ordered}) > 1
    rows = [_make_cells(flag, look, name_subjects) for flag in ordered]
    widths = [max(len(cells[column]) for cells in (head, *rows)) for column in range(3)]
    indent = 2 + sum(widths) + 2 * 3
    room = max(look.width - indent, 30)
    titles = [head[0].rjust(widths[0]), head[1].ljust(widths[1]), head[2]]
    lines = [look.dim("  " + "  ".join(titles))]
    for flag, cells in zip(ordered, rows, strict=True):
        severity = look.paint(cells[2].ljust(widths[2]), _ANSI[flag.severity])
        shown = (cells[0].rjust(widths[0]), cells[1].ljust(widths[1]), severity)
        sentence = textwrap.wrap(flag.message, room) or [""]
        lines.append("  " + "  ".join(shown) + "  " + sentence[0])
        lines += [" " * indent + line for line in sentence[1:]]
        lines += [" " * indent + look.dim(line) for line in textwrap.wrap(_hint(flag), room)]
    return lines


def _make_cells(flag: Flag, look: Look, name_subjects: bool) -> tuple[str, str, str]:
    part = f"{flag.subject}: {say_part(flag.part)}" if name_subjects else say_part(flag.part)
    sign = f"{SHAPES[flag.severity]} " if look.signs else ""
    return (say_frames(flag), part, sign + flag.severity.word)


def _hint(flag: Flag) -> str:
    if flag.state is State.MEANT:
        return f"meant: {flag.reason}"
    hint = f"try: {flag.suggestion}" if flag.suggestion else ""
    return f"marked as done, still found; {hint}" if flag.state is State.DONE else hint


def format_unjudged(shot: ShotReading, width: int = 100) -> list[str]:
    """Write what was not evaluated, each reason once with its checks, and what crashed."""
    grouped: dict[str, dict[tuple[str, ...], list[str]]] = {}
    for reason, subject in dict.fromkeys((e.reason, e.subject) for e in shot.not_evaluated):
        checks = tuple(
            dict.fromkeys(
                _name_entry(entry)
                for entry in shot.not_evaluated
                if (entry.reason, entry.subject) == (reason, subject)
            )
        )
        grouped.setdefault(reason, {}).setdefault(checks, []).append(subject)
    lines = ["  not evaluated:"] if grouped else []
    several = len({entry.subject for entry in shot.not_evaluated} | _names(shot)) > 1
    for reason, by_checks in grouped.items():
        for checks, subjects in by_checks.items():
            where = f" ({', '.join(subjects)})" if several else ""
            lines += _wrap(f"{_shorten(checks)}: {reason}{where}", width, 4)
    for crash in shot.crashes:
        lines.append(f"  a fault in Fettle: {crash.check} on {crash.subject}: {crash.error}")
    return lines


def _names(shot: ShotReading) -> set[str]:
    return {subject.name for subject in shot.subjects}


def _name_entry(entry: NotEvaluated) -> str:
    return entry.check if entry.part is None else f"{entry.check} at {say_part(entry.part)}"


def _shorten(checks: Sequence[str]) -> str:
    """Name a few checks; of many say how many (the JSON names them all)."""
    return ", ".join(checks) if len(checks) <= FEW_CHECKS else f"{len(checks)} checks"


def _wrap(text: str, width: int, indent: int) -> list[str]:
    first, further = " " * indent, " " * (indent + 2)
    return textwrap.wrap(text, max(width, 40), initial_indent=first, subsequent_indent=further)


def format_comparison(comparison: Comparison, look: Look) -> str:
    """Write what became of every finding from one take to the next, with counts."""
    old, new = comparison.old, comparison.new
    lines = [look.bold(f"{old.source} -> {new.source}"), ""]
    cells = {id(c): _make_cells(c.flag, look, False) for c in comparison.changes}
    widths = [max((len(row[i]) for row in cells.values()), default=0) for i in range(3)]
    indent = 4 + sum(widths) + 2 * 3
    room = max(look.width - indent, 30)
    for fate, number in comparison.count().items():
        if not number:
            continue
        lines.append(look.bold(f"  {fate.value} ({number})"))
        for change in comparison.changes:
            if change.fate is not fate:
                continue
            frames, part, word = cells[id(change)]
            severity = look.paint(word.ljust(widths[2]), _ANSI[change.flag.severity])
            head = f"    {frames.rjust(widths[0])}  {part.ljust(widths[1])}  {severity}  "
            sentence = textwrap.wrap(change.flag.message, room) or [""]
            lines += [head + sentence[0], *(" " * indent + line for line in sentence[1:])]
            more = textwrap.wrap(_say_change(change), room)
            lines += [" " * indent + look.dim(line) for line in more]
        lines.append("")
    words = [f"{number} {fate.value}" for fate, number in comparison.count().items()]
    return "\n".join([*lines, f"  {look.bold(', '.join(words))}"])


def _say_change(change: Change) -> str:
    if change.reason:
        return change.reason
    if change.old is None or change.new is None or change.fate is Fate.SAME:
        return ""
    was = format_quantity(change.old.value, change.old.unit)
    return f"was {was}, is {format_quantity(change.new.value, change.new.unit)}"


def dump_csv(report: Report) -> str:
    """Write every flag and note as a row for a spreadsheet, under a line of column names."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, CSV_COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for index, shot in enumerate(report.shots):
        for flag in shot.flags:
            writer.writerow(_defuse(_flag_row(shot, flag)))
        for note in report.review_of(index).notes:
            writer.writerow(_defuse(_note_row(shot, note)))
    return stream.getvalue()


def _flag_row(shot: ShotReading, flag: Flag) -> dict[str, object]:
    data = flag_to_data(flag)
    data["other_parts"] = " ".join(flag.other_parts)
    return {**_shot_columns(shot, flag.start), "kind": "flag", **data}


def _note_row(shot: ShotReading, note: Note) -> dict[str, object]:
    return {
        **_shot_columns(shot, note.frame),
        "kind": "note",
        "subject": note.subject,
        "part": note.part,
        "start": note.frame,
        "end": note.frame,
        "peak": note.frame,
        "message": note.text,
    }


def _shot_columns(shot: ShotReading, frame: int) -> dict[str, object]:
    seconds = (frame - shot.frame_range[0]) / shot.fps
    fps = say_frame_rate(shot.fps)
    return {"source": shot.source, "scene": shot.scene, "fps": fps, "time_s": f"{seconds:.3f}"}


def _defuse(row: dict[str, object]) -> dict[str, object]:
    """Keep a spreadsheet from running a name that begins like a formula."""

    def quote(value: object) -> object:
        return (
            f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@") else value
        )

    return {column: value if column == "time_s" else quote(value) for column, value in row.items()}
