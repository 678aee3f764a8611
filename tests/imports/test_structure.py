"""The structure of a delimited file from its bytes: what is refused, what is set apart."""

from __future__ import annotations

import io
import resource

import pytest

from registry.errors import FileProblem
from registry.imports import structure
from registry.imports.delimited import parse
from registry.imports.structure import Structure, scan

HEAD = b"a,b,c\n"


def look(data: bytes, **options: object) -> Structure:
    return scan(io.BytesIO(data).read, "file.csv", **options)


def rows(data: bytes, **options: object) -> list[tuple[object, ...]]:
    return parse(data, look(data, **options), **options).rows()


def refusal(data: bytes) -> str:
    with pytest.raises(FileProblem) as caught:
        look(data)
    return str(caught.value)


# --- the whole file is refused -----------------------------------------------------------


def test_a_file_of_no_bytes_is_said_to_be_empty():
    assert "file.csv: the file is empty" in refusal(b"")


@pytest.mark.parametrize("data", [b"\n", b"\r\n\r\n", b"   \n"])
def test_a_file_of_blank_lines_has_no_header(data):
    assert "no header line" in refusal(data)


@pytest.mark.parametrize(
    ("encoding", "named"),
    [
        ("utf-16", "UTF-16 little-endian"),
        ("utf-16-be", "UTF-16 big-endian"),
        ("utf-32", "UTF-32 little-endian"),
        ("utf-32-be", "UTF-32 big-endian"),
    ],
)
def test_a_mark_of_another_encoding_is_named(encoding, named):
    mark = "\ufeff" if encoding.endswith("be") else ""

    assert named in refusal((mark + "a,b\n1,2\n").encode(encoding))


def test_utf_16_without_a_mark_is_recognised():
    assert "UTF-16 without a mark" in refusal("a,b\n1,2\n".encode("utf-16-le"))


def test_invalid_utf_8_names_line_offset_and_the_way_out():
    # "L\xe4sion": 0xE4 is the third byte of line 3; lines 1 and 2 take 6 + 6 bytes, and
    # "1,L" stands before it on line 3.
    said = refusal(HEAD + b"1,2,3\n" + b"1,L\xe4sion,3\n")

    assert "line 3" in said
    assert "offset 15" in said
    assert 'encoding = "cp1252"' in said


@pytest.mark.parametrize("data", [b"a,b\r1,2\r3,4\r", b"a,b\r1,2\r3,4\n"])
def test_cr_line_endings_are_refused(data):
    assert "CR only" in refusal(data)


def test_bytes_that_are_no_text_are_not_taken_for_line_endings():
    """An upload of random bytes under the name of a table."""
    said = refusal(b"\x05\x00\x0e\r\x7f\x01b\n1,2\n")

    assert "it is not CSV" in said
    assert "CR only" not in said


def test_an_open_quotation_mark_is_named_with_the_line_on_which_it_starts():
    many = b"1,2,3\n" * 200_000

    assert "starts at line 2 " in refusal(HEAD + b'1,"two,3\n' + many)


def test_a_quotation_mark_that_swallows_lines_up_to_another_one_is_refused_too():
    """The mark of line 2 meets the opening mark of line 4: nobody can tell the rows."""
    assert "starts at line 2 " in refusal(HEAD + b'1,"two,3\n1,2,3\n1,"x",3\n')


def test_a_cell_over_the_limit_that_runs_over_lines_is_an_open_quotation_mark():
    long = b'1,"' + b"text text\n" * 7000 + b'",3\n'  # 70,000 bytes, limit 65,536

    assert "starts at line 2 " in refusal(HEAD + long)


@pytest.mark.parametrize(
    ("header", "said"),
    [
        (b"side,side\n", "column 'side' stands 2 times"),
        (b"side, side \n", "column 'side' stands 2 times"),
        (b"side,,b\n", "column 2 has no name"),
        ("side,b\u200b\n".encode(), "the name of column 2 holds invisible character U+200B"),
        (b'si"de,b\n', "misplaced or not closed"),
    ],
)
def test_a_header_that_cannot_be_used_is_refused(header, said):
    assert said in refusal(header + b"1,2\n")


def test_a_hundred_thousand_columns_are_refused_at_once():
    data = b",".join(b"c%06d" % number for number in range(100_000)) + b"\n"
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    said = refusal(data)
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before

    assert "100,000 columns, more than 500" in said
    assert grown < 100 * 1024  # KiB


@pytest.mark.parametrize("start", [b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"%PDF-1.7"])
def test_another_kind_of_file_is_known_by_its_content(start):
    assert "content does not match the name" in refusal(start + b"\x00" * 600)


# --- one record is set apart -------------------------------------------------------------


def only_fault(data: bytes) -> object:
    found = look(data)
    assert found.records == 2
    (one,) = found.faulty
    return one


@pytest.mark.parametrize(("record", "found"), [(b"1,2", 2), (b"1,2,3,4", 4), (b"Total", 1)])
def test_a_ragged_row_is_set_apart_and_the_others_stay(record, found):
    one = only_fault(HEAD + b"1,2,3\n" + record + b"\n4,5,6\n")

    assert (one.line, one.rule, one.raw) == (3, "ragged_row", record.decode())
    assert one.message == f"Expected 3 fields, found {found}."


def test_a_total_line_at_the_end_without_line_ending_is_seen():
    (one,) = look(HEAD + b"1,2,3\nTotal").faulty

    assert (one.line, one.raw) == (3, "Total")


@pytest.mark.parametrize(
    ("cell", "named"),
    [
        (b"x\x00y", "control character U+0000"),
        (b"x\x07y", "control character U+0007"),
        (b"x\x7fy", "control character U+007F"),
        (b"x\ty", "control character U+0009"),
        (b"x\ry", "control character U+000D"),
        ("x\u0085y".encode(), "control character U+0085"),
        ("A\u200b123".encode(), "invisible character U+200B"),
        ("A\u2060123".encode(), "invisible character U+2060"),
        ("A\ufeff123".encode(), "invisible character U+FEFF"),
        ("A\u202e123".encode(), "invisible character U+202E"),
        ("A\u00ad123".encode(), "invisible character U+00AD"),
        ("A\ufffd123".encode(), "replacement character U+FFFD"),
    ],
)
def test_a_character_that_cannot_be_seen_is_named_with_its_column(cell, named):
    one = only_fault(HEAD + b"1,2,3\n1," + cell + b",3\n4,5,6\n")

    assert (one.line, one.column, one.rule) == (3, "b", "refused_character")
    assert named in one.message


def test_the_message_does_not_repeat_the_cell():
    one = only_fault(HEAD + b"1,2,3\n1,SECRET\x00,3\n4,5,6\n")

    assert "SECRET" not in one.message + one.hint


@pytest.mark.parametrize("record", [b'1,5" core,3', b'1,"x"y,3', b'1,2,"x" '])
def test_a_misplaced_quotation_mark_costs_its_own_row_only(record):
    one = only_fault(HEAD + b'1,"2,2",3\n' + record + b"\n4,5,6\n")

    assert (one.line, one.rule, one.raw) == (3, "misplaced_quote", record.decode())


def test_a_cell_over_64_kib_is_set_apart():
    one = only_fault(HEAD + b"1,2,3\n1," + b"x" * (64 * 1024 + 1) + b",3\n4,5,6\n")

    assert (one.line, one.column, one.rule) == (3, "b", "too_long")
    assert len(one.raw) <= 64 * 1024


def test_a_row_of_long_cells_below_the_limit_is_sound():
    record = b",".join([b"x" * 40_000] * 3) + b"\n"

    assert look(HEAD + record).records == 1


# --- what is allowed ---------------------------------------------------------------------


def test_a_header_alone_gives_no_rows():
    assert rows(b"a,b,c\n") == []


def test_the_utf_8_mark_does_not_belong_to_the_first_name():
    data = b"\xef\xbb\xbf" + HEAD + b"1,2,3\n"

    assert look(data).header == ("a", "b", "c")
    assert rows(data) == [("1", "2", "3", 2)]


@pytest.mark.parametrize("ending", [b"\n", b"\r\n"])
def test_line_breaks_inside_quotation_marks_belong_to_the_cell(ending):
    data = ending.join([b"a,b,c", b'1,"two\nlines ""quoted"", too",3', b"4,5,6", b""])

    assert rows(data) == [("1", 'two\nlines "quoted", too', "3", 2), ("4", "5", "6", 4)]


def test_the_last_line_needs_no_ending():
    assert rows(HEAD + b"1,2,3\n4,5,6") == [("1", "2", "3", 2), ("4", "5", "6", 3)]


def test_blank_lines_are_no_rows_and_lines_are_counted_as_an_editor_does():
    assert rows(HEAD + b"\n1,2,3\n\n\n4,5,6\n") == [("1", "2", "3", 3), ("4", "5", "6", 6)]


def test_lines_behind_a_row_set_apart_keep_their_numbers():
    assert [row[-1] for row in rows(HEAD + b"1,2,3\nx\n4,5,6\n")] == [2, 4]


def test_cells_are_trimmed_and_empty_ones_are_null():
    assert rows(HEAD + b'  1 ,"",\xc2\xa0x\n') == [("1", None, "x", 2)]


def test_a_text_is_brought_to_its_composed_form():
    """e + U+0301 is the decomposed form of U+00E9 (Unicode, canonical equivalence)."""
    assert rows(HEAD + "e\u0301,b,c\n".encode())[0][0] == "\u00e9"


def test_a_file_without_header_takes_the_names_given():
    data = b"1;2\n3;4\n"
    found = look(data, delimiter=";", columns=("x", "y"))

    assert parse(data, found, delimiter=";", has_header=False).rows() == [("1", "2", 1), ("3", "4", 2)]


# --- when a file counts as clean ---------------------------------------------------------


@pytest.mark.parametrize(
    "data",
    [
        HEAD + b"1,2,3\n",
        HEAD.replace(b"\n", b"\r\n") + b"1,2,3\r\n",
        HEAD + b'1,"2, 2",3\n',
        HEAD + "1,L\u00e4sion,3\n".encode(),
        HEAD,
    ],
)
def test_a_sound_file_is_clean(data):
    assert look(data).is_clean


@pytest.mark.parametrize(
    "data",
    [
        b"\xef\xbb\xbf" + HEAD + b"1,2,3\n",
        HEAD + b"1, 2,3\n",
        HEAD + b'1,"2 ",3\n',
        HEAD + b'1,"2\n2",3\n',
        HEAD + b"1,2\n",
        HEAD + b"1,2,3\n\n",
        HEAD + b"1,2,3\r\n4,5,6\n",
        HEAD + "e\u0301,2,3\n".encode(),
        HEAD + "1,2\u00a0,3\n".encode(),
    ],
    ids=["mark", "space", "space in quotes", "line break", "ragged", "blank line", "endings", "NFD", "nbsp"],
)
def test_anything_that_needs_work_is_not_clean(data):
    assert not look(data).is_clean


# --- chunks ------------------------------------------------------------------------------

LONG = HEAD + b"".join(
    [
        b"%d,plain,3\n" % n
        + b'%d,"quoted, ""x""\nnext line",3\n' % n
        + b'%d,5" core,3\n' % n
        + b"%d,short\n" % n
        for n in range(40)
    ]
)


_CELLS = (
    b"1",
    b"",
    b'""',
    b'"x"',
    b'"1,2"',
    b'"a ""b"" c"',
    b'" edge"',
    b'"\t"',
    b'"two\nlines"',
    b"a b",
    b'5" core',
)


@pytest.mark.parametrize("ending", [b"\n", b"\r\n"])
@pytest.mark.parametrize("second", _CELLS)
@pytest.mark.parametrize("first", _CELLS)
def test_plain_chunks_taken_at_once_and_looked_at_closely_say_the_same(first, second, ending, monkeypatch):
    data = ending.join([b"a,b,c", first + b"," + second + b",3", b"4,5," + second, b"6,7,8", b""])
    at_once = look(data)
    monkeypatch.setattr(structure._Scan, "_take_plain", lambda *_: False)
    closely = look(data)

    assert at_once.lines.tolist() == closely.lines.tolist()
    for name in ("faulty", "removed", "new_lines", "has_quotes", "has_edge_space", "is_clean"):
        assert getattr(at_once, name) == getattr(closely, name), name


@pytest.mark.parametrize("record", [b'1,"2,3"', b'1,"2",3,"4"', b'"1,2,3"', b'"1","2"', b'1,"2,3",4,5'])
def test_delimiters_inside_quotation_marks_are_not_counted_as_cells(record):
    found = look(HEAD + b"1,2,3\n" + record + b'\n4,"5",6\n')

    assert found.lines.tolist() == [2, 4]
    assert [(one.line, one.rule) for one in found.faulty] == [(3, "ragged_row")]


@pytest.mark.parametrize("size", [16, 31, 64, 257])
def test_the_size_of_the_chunks_changes_nothing(size, monkeypatch):
    whole = look(LONG)
    monkeypatch.setattr(structure, "CHUNK", size)
    parts = look(LONG)

    assert whole.records == 80
    assert [one.rule for one in whole.faulty[:2]] == ["misplaced_quote", "ragged_row"]
    assert (parts.lines.tolist(), parts.faulty, parts.removed) == (
        whole.lines.tolist(),
        whole.faulty,
        whole.removed,
    )


def test_a_record_beyond_any_length_is_refused(monkeypatch):
    monkeypatch.setattr(structure, "CHUNK", 1024)
    monkeypatch.setattr(structure, "RECORD_LIMIT", 4096)
    with pytest.raises(FileProblem, match="record that starts at line 2 is longer"):
        look(HEAD + b'1,"' + b"x\n" * 10_000 + b'",3\n')


def test_memory_does_not_grow_with_the_file(tmp_path):
    """48 MB of rows are looked at in chunks of 8 MB; the numbers of their lines are kept."""
    path = tmp_path / "large.csv"
    path.write_bytes(HEAD + b"some,ordinary,cells of text\n" * 1_700_000)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with path.open("rb") as handle:
        found = scan(handle.read, "large.csv")
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before

    assert found.records == 1_700_000
    # Room for three chunks and the arrays over one, beside 8 bytes a line (twice).
    assert grown < 120 * 1024
