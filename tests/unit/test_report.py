# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The findings document: its form, the way there and back, and what is refused."""

import json
from dataclasses import replace

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sample_readings import HAND, POP, SHOT, SUBJECT, with_flags

from fettle.core_math.findings import Flag, Severity, State
from fettle.core_math.motion import Stage, SubjectKind
from fettle.core_math.report import (
    SCHEMA_PATH,
    InputFault,
    Report,
    ReportError,
    dump_report,
    find_version,
    parse_report,
    read_report,
)
from fettle.core_math.suppressions import Note, Review, mark_flag
from fettle.core_math.units import Unit

SCHEMA = json.loads(SCHEMA_PATH.read_text(encoding="utf-8"))
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
REPORT = Report(
    shots=(SHOT,),
    errors=(InputFault("bad.blend", "bad.blend: is no .blend file"),),
    reviews={
        0: Review(
            notes=(Note(40, "hold this a little longer", part="head"),),
            unused=(mark_flag(HAND, State.MEANT, "a full cup", {("Rig", "hand.L"): [1, 40]}),),
        )
    },
)


def strict_loads(text):
    """Read JSON as the standard has it: no NaN, no infinity, no key twice."""

    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    def unique(pairs):
        keys = [key for key, _ in pairs]
        assert len(keys) == len(set(keys)), keys
        return dict(pairs)

    return json.loads(text, parse_constant=refuse, object_pairs_hook=unique)


def test_schema_is_a_valid_schema():
    VALIDATOR.check_schema(SCHEMA)


def test_schema_knows_every_word_the_core_can_write():
    finding = SCHEMA["$defs"]["finding"]["properties"]
    subject = SCHEMA["$defs"]["subject"]["properties"]
    assert set(finding["unit"]["enum"]) == {unit.value for unit in Unit}
    assert set(finding["severity"]["enum"]) == {severity.word for severity in Severity}
    assert set(finding["state"]["enum"]) == {state.value for state in State}
    assert set(subject["stage"]["enum"]) == {stage.value for stage in Stage}
    assert set(subject["kind"]["enum"]) == {kind.value for kind in SubjectKind}


def test_document_has_the_promised_keys_in_the_promised_order():
    document = strict_loads(dump_report(REPORT))
    VALIDATOR.validate(document)
    assert list(document) == ["schema", "tool", "shots", "errors"]
    assert document["schema"] == "fettle.findings/1"
    assert document["tool"] == find_version()
    shot = document["shots"][0]
    assert list(shot)[:10] == [
        "source",
        "scene",
        "fps",
        "frame_range",
        "camera",
        "subjects",
        "findings",
        "not_evaluated",
        "crashes",
        "timing",
    ]
    assert list(shot["findings"][0]) == [
        "id",
        "check",
        "code",
        "subject",
        "part",
        "other_parts",
        "start",
        "end",
        "peak",
        "severity",
        "confidence",
        "value",
        "unit",
        "limit",
        "message",
        "suggestion",
        "state",
        "reason",
    ]
    assert list(shot["subjects"][0]) == [
        "name",
        "kind",
        "stage",
        "route",
        "route_reason",
        "height_m",
        "parts",
        "unmapped",
    ]
    assert shot["findings"][1]["severity"] == "clear"
    assert shot["findings"][1]["reason"] is None
    assert document["errors"] == [{"source": "bad.blend", "error": "bad.blend: is no .blend file"}]


def test_what_was_written_reads_back_the_same():
    assert parse_report(dump_report(REPORT)) == replace(REPORT, tool=find_version())


def test_held_cadence_survives():
    held = replace(SUBJECT, stage=Stage.HELD, cadence=2)
    report = Report(shots=(replace(SHOT, subjects=(held,)),))
    text = dump_report(report)
    VALIDATOR.validate(strict_loads(text))
    assert parse_report(text).shots[0].subjects == (held,)


names = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12)
numbers = st.floats(allow_nan=True, allow_infinity=True)
flags = st.builds(
    Flag,
    check=st.sampled_from(["arc-break", "pop"]),
    code=st.sampled_from(["one-frame", "off-path"]),
    subject=names,
    part=names,
    other_parts=st.lists(names, max_size=2).map(tuple),
    start=st.integers(-(10**6), 10**6),
    end=st.integers(-(10**6), 10**6),
    peak=st.integers(-(10**6), 10**6),
    severity=st.sampled_from(list(Severity)),
    confidence=st.floats(0.0, 1.0),
    value=numbers,
    unit=st.sampled_from(list(Unit)),
    limit=numbers,
    message=st.just("A sentence."),
    suggestion=st.just("try this"),
    state=st.sampled_from(list(State)),
    reason=st.none() | names,
)


@given(st.lists(flags, max_size=4))
def test_any_flag_makes_strict_json_that_is_stable_on_the_way_back(found):
    text = dump_report(Report(shots=(with_flags(*found),)))
    document = strict_loads(text)
    VALIDATOR.validate(document)
    assert dump_report(parse_report(text)) == text
    assert [entry["id"] for entry in document["shots"][0]["findings"]] == [f.id for f in found]


def test_numbers_keep_six_digits():
    (entry,) = strict_loads(dump_report(Report((with_flags(replace(POP, value=1 / 3)),))))["shots"][
        0
    ]["findings"]
    assert entry["value"] == 0.333333


def test_value_without_a_number_is_null():
    (entry,) = strict_loads(dump_report(Report((with_flags(replace(HAND, value=float("inf"))),))))[
        "shots"
    ][0]["findings"]
    assert entry["value"] is None


def test_broken_file_name_still_makes_a_document(tmp_path):
    from fettle.core_math.whole_files import write_whole

    source = b"caf\xe9.blend".decode("utf-8", "surrogateescape")
    path = tmp_path / "findings.json"
    write_whole(path, dump_report(Report((replace(SHOT, source=source),))))
    assert read_report(path).shots[0].source == source


@pytest.mark.parametrize(
    ("damage", "complaint"),
    [
        (lambda d: d.pop("schema"), "schema: is missing"),
        (lambda d: d.update(schema="fettle.findings/2"), "'fettle.findings/2'"),
        (lambda d: d.update(shots={}), "shots: expected a list"),
        (lambda d: d["shots"][0].pop("fps"), "shots[0].fps: expected a number"),
        (lambda d: d["shots"][0].update(frame_range=[1]), "frame_range: expected two frames"),
        (lambda d: d["shots"][0].update(timing=None), "shots[0].timing: expected an object"),
        (
            lambda d: d["shots"][0]["findings"][0].update(severity="awful"),
            "shots[0].findings[0].severity: unknown severity 'awful'",
        ),
        (
            lambda d: d["shots"][0]["findings"][0].update(start="1"),
            "shots[0].findings[0].start: expected a whole number, found '1'",
        ),
        (lambda d: d["shots"][0]["findings"][0].update(start=True), "expected a whole number"),
        (
            lambda d: d["shots"][0]["findings"][0].update(unit="furlong"),
            "findings[0].unit: 'furlong' is not a valid Unit",
        ),
        (lambda d: d["shots"][0]["notes"][0].pop("text"), "shots[0].notes[0]: is damaged"),
        (
            lambda d: d["shots"][0]["unused_marks"][0].update(state="open"),
            "shots[0].unused_marks[0]: is damaged (a mark is either",
        ),
        (lambda d: d["errors"].append("x"), "errors[1]: expected an object"),
    ],
)
def test_damaged_document_is_refused_with_the_place(damage, complaint):
    document = strict_loads(dump_report(REPORT))
    damage(document)
    with pytest.raises(ReportError) as caught:
        parse_report(json.dumps(document))
    assert complaint in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["", "{", "[]", "NaN", '{"schema": NaN}', "[" * 100_000])
def test_text_that_is_no_findings_document_is_refused_in_one_line(text):
    with pytest.raises(ReportError) as caught:
        parse_report(text)
    assert "\n" not in str(caught.value)


def test_file_that_cannot_be_read_names_itself(tmp_path):
    missing = tmp_path / "nothing.json"
    with pytest.raises(ReportError, match=r"nothing\.json: cannot be read \(No such file"):
        read_report(missing)
    binary = tmp_path / "picture.png"
    binary.write_bytes(b"\x89PNG\xff")
    with pytest.raises(ReportError, match=r"picture\.png: is no text"):
        read_report(binary)


def test_unknown_keys_are_passed_over():
    document = strict_loads(dump_report(REPORT))
    document["later"] = document["shots"][0]["later"] = {"more": 1}
    VALIDATOR.validate(document)
    assert parse_report(json.dumps(document)).shots == REPORT.shots
