"""The cohort file: its canonical form, its hash, and what is refused with what is allowed."""

from __future__ import annotations

import hashlib
import json
import math
import random
import struct

import pytest

from registry.cohorts import CohortFile
from registry.cohorts.definition import MOST_BYTES, _canonical, _ecmascript
from registry.errors import FileProblem, UsageProblem
from tests.cohorts.conftest import cohort, document
from tests.cohorts.trees import broken, tree

STEP = {
    "kind": "include",
    "label": "tracer",
    "filter": {"field": "is_tracer_guided", "operator": "eq", "value": True},
}


# Appendix B of RFC 8785, "Number Serialization Samples": IEEE 754 bits and their ECMAScript text.
@pytest.mark.parametrize(
    ("bits", "text"),
    [
        ("0000000000000000", "0"),
        ("8000000000000000", "0"),
        ("0000000000000001", "5e-324"),
        ("8000000000000001", "-5e-324"),
        ("7fefffffffffffff", "1.7976931348623157e+308"),
        ("ffefffffffffffff", "-1.7976931348623157e+308"),
        ("4340000000000000", "9007199254740992"),
        ("c340000000000000", "-9007199254740992"),
        ("4430000000000000", "295147905179352830000"),
        ("44b52d02c7e14af5", "9.999999999999997e+22"),
        ("44b52d02c7e14af6", "1e+23"),
        ("44b52d02c7e14af7", "1.0000000000000001e+23"),
        ("444b1ae4d6e2ef4e", "999999999999999700000"),
        ("444b1ae4d6e2ef4f", "999999999999999900000"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("41b3de4355555553", "333333333.3333332"),
        ("41b3de4355555554", "333333333.33333325"),
        ("41b3de4355555555", "333333333.3333333"),
        ("41b3de4355555556", "333333333.3333334"),
        ("41b3de4355555557", "333333333.33333343"),
        ("becbf647612f3696", "-0.0000033333333333333333"),
        ("43143ff3c1cb0959", "1424953923781206.2"),
    ],
)
def test_numbers_are_written_as_rfc_8785_writes_them(bits, text):
    assert _ecmascript(struct.unpack(">d", bytes.fromhex(bits))[0]) == text


def test_any_number_reads_back_as_itself():
    draw = random.Random(5)
    for _ in range(20_000):
        number = struct.unpack(">d", draw.randbytes(8))[0]
        if math.isfinite(number):
            assert float(_ecmascript(number)) == number


# RFC 8785, section 3.2.2: the sample object before and after, as far as a cohort file can hold it.
def test_text_is_escaped_as_rfc_8785_escapes_it():
    sample = '€$\u000f\nA\'B"\\\\"/'
    assert _canonical(sample) == '"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"'
    assert _canonical({"b": [None, True, False], "a": 1}) == '{"a":1,"b":[null,true,false]}'


def test_the_canonical_form_is_what_is_hashed_and_reads_back_as_the_same():
    made = cohort(title="Größe der Läsion", steps=[STEP])
    content = made.canonical()

    assert "Größe" in content.decode()
    assert made.sha256 == hashlib.sha256(content).hexdigest()
    assert CohortFile.parse(content) == made
    assert CohortFile.parse(content).canonical() == content


def test_order_space_and_what_is_left_out_do_not_change_the_hash():
    given = document(steps=[STEP], plan=None, start=None)
    other = dict(reversed(document(steps=[STEP]).items()))

    assert (
        CohortFile.parse(json.dumps(given, indent=4).encode()).sha256
        == CohortFile.parse(json.dumps(other, ensure_ascii=True).encode()).sha256
    )


def test_40_and_40_point_0_are_the_same_number():
    forty = [
        {**STEP, "filter": {"field": "age_years", "operator": "ge", "value": value}} for value in (40, 40.0)
    ]
    assert cohort(steps=[forty[0]]).sha256 == cohort(steps=[forty[1]]).sha256


@pytest.mark.parametrize(
    "changed",
    [
        {"title": "Another"},
        {"as_of": "2026-06-29"},
        {"unit": "patient"},
        {"steps": [STEP]},
        {"population": STEP["filter"]},
        {"plan": "plan 3"},
    ],
)
def test_whatever_is_said_otherwise_has_another_hash(changed):
    assert cohort(**changed).sha256 != cohort().sha256


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"unit": "lesion"}, "unit is lesion. Allowed: procedure, finding, patient"),
        ({"unit": ["procedure"]}, "unit is"),
        ({"index_date": "died_on"}, "index_date is died_on. Allowed: started_on, found_on"),
        ({"reference_standard": "histology"}, "Allowed: none, excision, follow_up, excision_or_follow_up"),
        ({"reference_standard": "follow_up"}, "needs minimum_follow_up_days, for example 730"),
        ({"as_of": "30.06.2026"}, "as_of is 30.06.2026, not a day"),
        ({"start": "2026-01-02", "end": "2026-01-01"}, "first day is after the last"),
        ({"version": 0}, "version is 0, not a whole number from 1"),
        ({"version": True}, "version is True"),
        ({"version": 2}, "must name the SHA-256 of version 1 in previous"),
        ({"previous": "a" * 64}, "version 1 has no version before it"),
        ({"version": 2, "previous": "abc"}, "previous is no SHA-256"),
        ({"name": "My cohort"}, "name My cohort has other than"),
        ({"title": ""}, "title is no text of 1 to 200"),
        ({"title": "two\nlines"}, "control characters"),
        ({"minimum_follow_up_days": 0}, "minimum_follow_up_days is 0, .* 36,525, nor null for none"),
        ({"steps": {}}, "steps is no list"),
        ({"steps": [STEP] * 21}, "at most 20 steps"),
        ({"steps": [{**STEP, "kind": "drop"}]}, "step 1: kind is drop. Allowed: include, exclude"),
        ({"steps": [{"kind": "include"}]}, "step 1: a step has exactly kind, label and filter"),
        ({"population": 3}, "population: 3 is no filter"),
        ({"sql": "DROP"}, "sql is not known. Allowed: cohort_file, name"),
        ({"cohort_file": 2}, "This program reads form 1"),
    ],
)
def test_a_field_that_cannot_be_used_is_named(changed, says):
    with pytest.raises(UsageProblem, match=says):
        cohort(**changed)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is no JSON"),
        (b"[]", "one JSON object"),
        (b"{", "is no JSON: .* at line 1"),
        (b"\xff\xfe", "is not UTF-8"),
        (b'{"name": 1, "name": 2}', "gives name twice"),
        (b'{"version": NaN}', "holds NaN"),
        (b'{"version": ' + b"9" * 5000 + b"}", "a number that cannot be used"),
        (b"[" * 60_000, "nested too deeply"),
        (b" " * (MOST_BYTES + 1), "larger than 65,536 bytes"),
        (b"{}", "lacks cohort_file, name"),
    ],
)
def test_what_is_no_cohort_file_ends_in_a_sentence(content, says):
    with pytest.raises(UsageProblem, match=says):
        CohortFile.parse(content)


def test_a_file_that_is_not_there_is_named(tmp_path):
    with pytest.raises(FileProblem, match="cannot be read: No such file"):
        CohortFile.read(tmp_path / "none.json")


def test_broken_files_never_end_in_anything_but_a_sentence():
    draw = random.Random(9)
    taken = 0
    for _ in range(4_000):
        given = document(steps=[{**STEP, "filter": tree(draw)}], population=tree(draw))
        content = bytearray(json.dumps(broken(draw, given)).encode())
        if draw.random() < 0.3 and content:
            content[draw.randrange(len(content))] = draw.randrange(256)
        try:
            CohortFile.parse(bytes(content))
            taken += 1
        except UsageProblem as problem:
            assert str(problem).isprintable()
    assert taken < 1_000
