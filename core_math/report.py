# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The findings document: readings as JSON and back.

The form is described by `findings.schema.json` beside this file. Its name carries a version. Within
one version keys may be added, so a reader passes over keys it does not know; nothing is renamed,
removed or given another meaning. Anything of that kind makes a new version, and a document of
another version is refused by name instead of being read half-way.

Numbers are written to six significant digits: enough for every judgement, and the same text on
every machine. A document never holds NaN or infinity; such a value is written as null.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from .findings import Crash, Flag, NotEvaluated, Severity, State
from .motion import Stage, SubjectKind
from .reading import MappedPart, ShotReading, SubjectFacts
from .suppressions import Review, mark_from_data, mark_to_data, note_from_data
from .units import Unit

SCHEMA = "fettle.findings/1"
SCHEMA_PATH = Path(__file__).with_name("findings.schema.json")
SIGNIFICANT_DIGITS = 6

T = TypeVar("T")


class ReportError(ValueError):
    """A document that cannot be read as findings: what, where, what to do, in one line."""


@dataclass(frozen=True, slots=True)
class InputFault:
    """A file that could not be read, with the one line that says why."""

    source: str
    error: str


@dataclass(frozen=True, slots=True)
class Report:
    """All that one call brought back.

    Attributes
    ----------
    shots : tuple of ShotReading
        In the order in which they were asked for.
    errors : tuple of InputFault
    reviews : mapping of int to Review
        What people added, by index into `shots`.
    tool : str
        Version of Fettle that made it.
    """

    shots: tuple[ShotReading, ...]
    errors: tuple[InputFault, ...] = ()
    reviews: Mapping[int, Review] = field(default_factory=dict)
    tool: str = ""

    def review_of(self, index: int) -> Review:
        """Return what people added to one shot."""
        return self.reviews.get(index, Review())


def find_version() -> str:
    """Return Fettle's version, read from the extension's manifest beside the package."""
    manifest = Path(__file__).parents[1] / "blender_manifest.toml"
    return str(tomllib.loads(manifest.read_text(encoding="utf-8"))["version"])


def dump_report(report: Report) -> str:
    """Write a report as the text of a JSON document, indented, ending in a line break."""
    document = {
        "schema": SCHEMA,
        "tool": report.tool or find_version(),
        "shots": [
            shot_to_data(shot, report.review_of(index)) for index, shot in enumerate(report.shots)
        ],
        "errors": [{"source": e.source, "error": e.error} for e in report.errors],
    }
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def shot_to_data(shot: ShotReading, review: Review | None = None) -> dict[str, Any]:
    """Return one shot as plain data, ready for JSON."""
    data: dict[str, Any] = {
        "source": shot.source,
        "scene": shot.scene,
        "fps": _round(shot.fps),
        "frame_range": list(shot.frame_range),
        "camera": shot.camera,
        "subjects": [_subject_to_data(subject) for subject in shot.subjects],
        "findings": [flag_to_data(flag) for flag in shot.flags],
        "not_evaluated": [_skipped_to_data(entry) for entry in shot.not_evaluated],
        "crashes": [
            {"check": crash.check, "subject": crash.subject, "error": crash.error}
            for crash in shot.crashes
        ],
        "timing": {"sampling_s": _round(shot.sampling_s), "checks_s": _round(shot.checks_s)},
    }
    if review is not None and review.notes:
        data["notes"] = [note.to_data() for note in review.notes]
    if review is not None and review.unused:
        data["unused_marks"] = [mark_to_data(mark) for mark in review.unused]
    return data


def flag_to_data(flag: Flag) -> dict[str, Any]:
    """Return one flag as plain data, ready for JSON."""
    return {
        "id": flag.id,
        "check": flag.check,
        "code": flag.code,
        "subject": flag.subject,
        "part": flag.part,
        "other_parts": list(flag.other_parts),
        "start": flag.start,
        "end": flag.end,
        "peak": flag.peak,
        "severity": flag.severity.word,
        "confidence": _round(flag.confidence),
        "value": _round(flag.value),
        "unit": flag.unit.value,
        "limit": _round(flag.limit),
        "message": flag.message,
        "suggestion": flag.suggestion,
        "state": flag.state.value,
        "reason": flag.reason,
    }


def _subject_to_data(subject: SubjectFacts) -> dict[str, Any]:
    data: dict[str, Any] = {
        "name": subject.name,
        "kind": subject.kind.value,
        "stage": subject.stage.value,
        "route": subject.route,
        "route_reason": subject.route_reason,
        "height_m": _round(subject.height_m),
        "parts": {
            part: {"bone": mapped.bone, "confidence": _round(mapped.confidence)}
            for part, mapped in subject.parts.items()
        },
        "unmapped": list(subject.unmapped),
    }
    if subject.cadence > 1:
        data["cadence"] = subject.cadence
    return data


def _skipped_to_data(entry: NotEvaluated) -> dict[str, Any]:
    data: dict[str, Any] = {
        "check": entry.check,
        "subject": entry.subject,
        "reason": entry.reason,
    }
    if entry.part is not None:
        data["part"] = entry.part
    if entry.frames:
        data["frames"] = [list(span) for span in entry.frames]
    return data


def _round(value: float) -> float | None:
    number = float(value)
    return float(f"{number:.{SIGNIFICANT_DIGITS}g}") if math.isfinite(number) else None


def read_report(path: Path | str) -> Report:
    """Read a findings document from a file.

    Raises
    ------
    ReportError
        One line: the file, the place in it, and what was expected.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except OSError as error:
        raise ReportError(f"{path}: cannot be read ({error.strerror})") from None
    except UnicodeDecodeError:
        raise ReportError(f"{path}: is no text; name a .json file written by fettle") from None
    try:
        return parse_report(text)
    except ReportError as error:
        raise ReportError(f"{path}: {error}") from None


def parse_report(text: str) -> Report:
    """Read a findings document from its text; ReportError says what is wrong and where."""
    try:
        document = json.loads(text, parse_constant=_refuse_constant)
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise ReportError(f"is no JSON ({error.msg} at {where}); write it again") from None
    except RecursionError:
        raise ReportError("is no findings document (nested too deeply)") from None
    top = _Fields(document, "")
    schema = top.take("schema", str)
    if schema != SCHEMA:
        raise ReportError(
            f"is of another form ({schema!r}, this version reads {SCHEMA!r}); read the shot again"
        )
    shots = top.each("shots")
    reviews = {index: _review_from_fields(shot) for index, shot in enumerate(shots)}
    return Report(
        shots=tuple(_shot_from_fields(shot) for shot in shots),
        errors=tuple(
            InputFault(entry.take("source", str), entry.take("error", str))
            for entry in top.each("errors")
        ),
        reviews={index: review for index, review in reviews.items() if review != Review()},
        tool=top.take("tool", str),
    )


def shot_from_data(data: object) -> ShotReading:
    """Read one shot back from plain data; ReportError says what is wrong and where."""
    return _shot_from_fields(_Fields(data, ""))


def flag_from_data(data: object) -> Flag:
    """Read one flag back from plain data; ReportError says what is wrong and where."""
    return _flag_from_fields(_Fields(data, ""))


class _Fields:
    """One object of the document, read key by key with the place named in every complaint."""

    def __init__(self, data: object, where: str) -> None:
        if not isinstance(data, dict):
            raise ReportError(f"{where or 'the document'}: expected an object")
        self.data = data
        self.where = where

    def place(self, key: str) -> str:
        return f"{self.where}.{key}" if self.where else key

    def take(self, key: str, kind: type[T]) -> T:
        if key not in self.data:
            raise ReportError(f"{self.place(key)}: is missing")
        value = self.data[key]
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            words = {str: "a text", int: "a whole number", dict: "an object", list: "a list"}
            raise ReportError(f"{self.place(key)}: expected {words[kind]}, found {value!r:.40}")
        return value

    def number(self, key: str) -> float:
        value = self.data.get(key)
        if key in self.data and value is None:
            return math.nan
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ReportError(f"{self.place(key)}: expected a number, found {value!r:.40}")
        return float(value)

    def text_or_none(self, key: str) -> str | None:
        return None if self.data.get(key) is None else self.take(key, str)

    def texts(self, key: str) -> tuple[str, ...]:
        values = self.take(key, list)
        for value in values:
            if not isinstance(value, str):
                raise ReportError(f"{self.place(key)}: expected texts, found {value!r:.40}")
        return tuple(values)

    def word(self, key: str, read: Callable[[str], T]) -> T:
        text = self.take(key, str)
        try:
            return read(text)
        except ValueError as error:
            raise ReportError(f"{self.place(key)}: {error}") from None

    def each(self, key: str) -> list[_Fields]:
        values = self.take(key, list)
        return [_Fields(v, f"{self.place(key)}[{i}]") for i, v in enumerate(values)]

    def spans(self, key: str) -> tuple[tuple[int, int], ...]:
        """Return spans of frames; none where the key is missing."""
        values = self.take(key, list) if key in self.data else []
        return tuple(_read_span(value, f"{self.place(key)}[{i}]") for i, value in enumerate(values))


def _read_span(value: object, place: str) -> tuple[int, int]:
    if not isinstance(value, list) or [type(frame) for frame in value] != [int, int]:
        raise ReportError(f"{place}: expected two frames, found {value!r:.40}")
    return value[0], value[1]


def _shot_from_fields(shot: _Fields) -> ShotReading:
    timing = _Fields(shot.data.get("timing"), shot.place("timing"))
    return ShotReading(
        source=shot.take("source", str),
        scene=shot.take("scene", str),
        fps=shot.number("fps"),
        frame_range=_read_span(shot.take("frame_range", list), shot.place("frame_range")),
        camera=shot.text_or_none("camera"),
        subjects=tuple(_subject_from_fields(entry) for entry in shot.each("subjects")),
        flags=tuple(_flag_from_fields(entry) for entry in shot.each("findings")),
        not_evaluated=tuple(
            NotEvaluated(
                check=entry.take("check", str),
                subject=entry.take("subject", str),
                reason=entry.take("reason", str),
                part=entry.text_or_none("part"),
                frames=entry.spans("frames"),
            )
            for entry in shot.each("not_evaluated")
        ),
        crashes=tuple(
            Crash(entry.take("check", str), entry.take("subject", str), entry.take("error", str))
            for entry in shot.each("crashes")
        ),
        sampling_s=timing.number("sampling_s"),
        checks_s=timing.number("checks_s"),
    )


def _subject_from_fields(subject: _Fields) -> SubjectFacts:
    parts = _Fields(subject.data.get("parts"), subject.place("parts"))
    mapped = {}
    for part, entry in parts.data.items():
        fields = _Fields(entry, parts.place(part))
        mapped[part] = MappedPart(fields.take("bone", str), fields.number("confidence"))
    return SubjectFacts(
        name=subject.take("name", str),
        kind=subject.word("kind", SubjectKind),
        stage=subject.word("stage", Stage),
        cadence=subject.take("cadence", int) if "cadence" in subject.data else 1,
        route=subject.take("route", str),
        route_reason=subject.take("route_reason", str),
        height_m=subject.number("height_m"),
        parts=mapped,
        unmapped=subject.texts("unmapped"),
    )


def _flag_from_fields(flag: _Fields) -> Flag:
    return Flag(
        check=flag.take("check", str),
        code=flag.take("code", str),
        subject=flag.take("subject", str),
        part=flag.take("part", str),
        other_parts=flag.texts("other_parts"),
        start=flag.take("start", int),
        end=flag.take("end", int),
        peak=flag.take("peak", int),
        severity=flag.word("severity", Severity.from_word),
        confidence=flag.number("confidence"),
        value=flag.number("value"),
        unit=flag.word("unit", Unit),
        limit=flag.number("limit"),
        message=flag.take("message", str),
        suggestion=flag.take("suggestion", str),
        state=flag.word("state", State),
        reason=flag.text_or_none("reason"),
    )


def review_from_data(data: object) -> Review:
    """Read notes and unused marks of one shot back; ReportError says what is wrong and where."""
    return _review_from_fields(_Fields(data, ""))


def _review_from_fields(shot: _Fields) -> Review:
    kept: dict[str, list[Any]] = {"notes": [], "unused_marks": []}
    read = {"notes": note_from_data, "unused_marks": mark_from_data}
    for key, entries in kept.items():
        for fields in shot.each(key) if key in shot.data else ():
            try:
                entries.append(read[key](fields.data))
            except (KeyError, TypeError, ValueError) as error:
                raise ReportError(f"{fields.where}: is damaged ({error})") from None
    return Review(tuple(kept["notes"]), tuple(kept["unused_marks"]))


def _refuse_constant(word: str) -> float:
    raise ReportError(f"holds {word}, which is no JSON; write it again")
