"""What the csv module of the standard library writes, we read: the same cells."""

from __future__ import annotations

import csv
import io
import unicodedata

from hypothesis import example, given, settings
from hypothesis import strategies as st

from registry.errors import FileProblem
from registry.imports import characters, structure
from registry.imports.delimited import parse
from registry.imports.structure import Structure, scan

CELLS = st.text(
    st.one_of(
        st.sampled_from(list('ab1,;"\n \u00e4\u0301\u00a0\u2212')),
        st.characters(exclude_categories=("Cs",), exclude_characters=[*characters.REFUSED, "\r", "\t"]),
    ),
    max_size=8,
)


@st.composite
def tables(draw: st.DrawFn) -> list[list[str]]:
    width = draw(st.integers(1, 4))
    return draw(st.lists(st.lists(CELLS, min_size=width, max_size=width), max_size=6))


def written(rows: list[list[str]], ending: str, quoting: int, width: int) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator=ending, quoting=quoting)
    writer.writerow([f"c{n}" for n in range(width)])
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")


def expected(cell: str) -> str | None:
    return unicodedata.normalize("NFC", cell.strip()) or None


@settings(max_examples=4000)
@given(
    rows=tables(),
    ending=st.sampled_from(["\n", "\r\n"]),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    chunk=st.sampled_from([32, 48, 8 * 1024 * 1024]),
)
@example(rows=[['"', '""'], ["\n", ",\n"]], ending="\n", quoting=csv.QUOTE_MINIMAL, chunk=32)
@example(rows=[["", ""], ["a", ""]], ending="\r\n", quoting=csv.QUOTE_ALL, chunk=32)
def test_cells_come_back_as_they_were_written(rows, ending, quoting, chunk):
    width = len(rows[0]) if rows else 2
    data = written(rows, ending, quoting, width)
    saved, structure.CHUNK = structure.CHUNK, chunk
    try:
        found = scan(io.BytesIO(data).read, "file.csv")
    finally:
        structure.CHUNK = saved
    frame = parse(data, found)

    assert found.faulty == ()
    assert [list(row[:-1]) for row in frame.rows()] == [[expected(cell) for cell in row] for row in rows]


def looked_at(data: bytes, chunk: int) -> Structure | str:
    saved, structure.CHUNK = structure.CHUNK, chunk
    try:
        return scan(io.BytesIO(data).read, "file.csv")
    except FileProblem as problem:
        return str(problem)
    finally:
        structure.CHUNK = saved


PIECES = st.lists(
    st.sampled_from([b"a", b"1", b",", b",", b'"', b"\n", b"\n", b"\r\n", b"\r", b"\t", b" ", b"\xc3\xa4"]),
    max_size=60,
)


@settings(max_examples=15000)
@given(st.one_of(PIECES.map(lambda parts: b"a,b\n" + b"".join(parts)), st.binary(max_size=100)))
@example(b'a,b\n1,"2\n')
@example(b'a,b\n"1"x,"2\n3",4\n')
@example(b'a,b\n1,2\n"","\n')
@example(b"a,b\n,\na")
def test_any_bytes_are_read_or_refused_with_a_sentence(data):
    """Whatever the chunks; and the reader finds as many records as were counted."""
    found = looked_at(data, 8 * 1024 * 1024)
    again = looked_at(data, 16) if data.startswith(b"a,b\n") else found
    if isinstance(found, str):
        assert found.startswith("file.csv")
        assert again == found
        return
    frame = parse(data, found, name="file.csv")

    assert frame.height == found.records
    assert not set(frame["_line"].to_list()) & {one.line for one in found.faulty}
    assert not isinstance(again, str)
    assert (again.lines.tolist(), again.faulty, again.removed) == (
        found.lines.tolist(),
        found.faulty,
        found.removed,
    )
