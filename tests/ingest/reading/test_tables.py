"""One reader of tables: whatever a table is in, the same cells come out, each with its address."""

import string
from dataclasses import replace
from datetime import date, datetime

import pandas as pd
import polars as pl
import pytest
import xlsxwriter
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc.errors import QcError, UsageError
from qc.ingest.reading import Manner, pieces, read_table
from qc.ingest.reading import manner as manners

FAULTS = (
    "kind",
    "missing",
    "sheetless",
    "no-sheet",
    "unreadable",
    "rows",
    "twice",
    "wide",
    "quotes",
    "empty",
    "binary",
)
PLAIN = Manner(
    kinds={".csv": "csv", ".xlsx": "xlsx", ".parquet": "parquet"},
    separators=",;\t",
    said={fault: f"{fault} {{name}}" for fault in FAULTS}
    | {"unreadable": "unreadable {name} {words}"}
    | {"wide": "wide {line}", "quotes": "quotes {line}"},
    error=QcError,
    usage=UsageError,
)


@pytest.fixture
def read(tmp_path):
    def call(data, manner=PLAIN, name="t.csv", sheet=None):
        path = tmp_path / name
        path.write_bytes(data if isinstance(data, bytes) else data.encode())
        return read_table(path, manner, sheet)

    return call


def cells(table):
    return [list(row) for row in table.cells.rows()]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_encoding_and_line_end_gives_the_same_cells(read, encoding, end):
    table = read(end.join(["tube;note", "A;grün", ";", "B;rot", ""]).encode(encoding))
    assert table.columns == ("tube", "note")
    assert cells(table) == [["A", "grün"], [None, None], ["B", "rot"]]
    assert table.rows.to_list() == [2, 3, 4]
    assert table.where(2, "note") == "t.csv, line 4"


def test_a_byte_that_is_no_letter_costs_that_letter_only(read):
    assert cells(read(b"note\nA\x81b\n")) == [["A\ufffdb"]]


def test_rows_of_several_lines_and_blank_lines_keep_the_lines_counted(read):
    table = read('\n\na,b\n"x\ny",1\n\nz,2\n')
    assert cells(table) == [["x\ny", "1"], [None, None], ["z", "2"]]
    assert table.rows.to_list() == [4, 6, 7]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty t.csv"),
        (" \n\n", "empty t.csv"),
        (";;\n;\n", "empty t.csv"),
        ("a,b\n", "rows t.csv"),
        ("a,b\n,\n", "rows t.csv"),
        ("a,b\n1,2\n1,2,3\n", "wide 3"),
        ('a,b\n1,2\n"1,2\n3,4', "quotes 3"),
        ('a,b\n"1"2,3\n', "quotes 2"),
        ("a,A \n1,2\n", "twice t.csv"),
        ("a,b\n1,\x002\n", "binary t.csv"),
    ],
)
def test_a_file_at_fault_is_told_in_the_words_of_the_asker(read, text, words):
    with pytest.raises(QcError, match=words):
        read(text)


def test_a_fault_without_words_of_its_own_is_told_as_unreadable(read):
    short = replace(PLAIN, said={"unreadable": "{name} is no {kind}: {words}"})
    with pytest.raises(QcError, match=r"t.csv is no csv: line 2 has more cells than there are names"):
        read("a\n1,2\n", short)
    with pytest.raises(QcError, match=r"t.csv is no csv: the file is empty"):
        read("", short)


def test_a_file_over_the_limit_and_one_without_rights(tmp_path, monkeypatch):
    path = tmp_path / "t.csv"
    path.write_text("a\n1\n")
    strict = replace(PLAIN, most_bytes=3, said={"large": "large {name}", "locked": "locked {name} {words}"})
    with pytest.raises(QcError, match=r"large t.csv"):
        read_table(path, strict)

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "open", refuse)
    with pytest.raises(QcError, match=r"locked t.csv Permission denied"):
        read_table(path, replace(strict, most_bytes=None))


def test_cells_beyond_the_names_may_be_blank(read):
    assert cells(read("a,b\n1,2,, \n3\n")) == [["1", "2"], ["3", None]]


def test_the_asker_says_which_separator_wins_a_draw(read):
    text = "a;b,c\n1;2,5\n"
    assert read(text).columns == ("a;b", "c")
    assert read(text, replace(PLAIN, separators=";\t,")).columns == ("a", "b,c")


ROWS = st.lists(
    st.lists(
        st.text(st.sampled_from("a1,. ;\t'\"#é\u2028\x0b-\x1a"), max_size=4), min_size=1, max_size=4
    ).map(list),
    min_size=1,
    max_size=6,
)


def outcome(path, way, asked=None):
    """What a way through a file gives: its columns, or the sentence that refuses it."""
    try:
        with path.open(encoding="utf-8", newline="") as text:
            found = way(text, pieces.Way("utf-8"), path, PLAIN, asked)
    except QcError as error:
        return str(error)
    except pieces._OtherWayError:
        return None
    return (
        found.names,
        {name: found.cells[name].to_list() for name in found.cells.columns},
        found.rows.to_list(),
    )


@given(rows=ROWS, end=st.sampled_from(["\n", "\r\n"]), ended=st.booleans(), separator=st.sampled_from(";\t,"))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@pytest.mark.parametrize("piece", [1_000, 7])
def test_the_fast_way_through_plain_text_gives_what_the_careful_one_gives(
    tmp_path, monkeypatch, piece, rows, end, ended, separator
):
    text = end.join(separator.join(row) for row in rows) + end * ended
    path = tmp_path / "t.csv"
    path.write_bytes(text.encode())
    careful = outcome(path, pieces._rowwise)
    with monkeypatch.context() as small:
        small.setattr(pieces, "PIECE", max(piece, 1 + max(map(len, text.split("\n")))))
        fast = outcome(path, pieces._plainly)
        in_batches = outcome(path, pieces._rowwise)
    assert fast is None or fast == careful
    assert in_batches == careful or "unreadable" in in_batches  # a row of several lines may be over the limit


def test_the_fast_way_is_taken(read, monkeypatch):
    monkeypatch.setattr(pieces, "_rowwise", None)
    assert cells(read("a,b\r\n1,2\r\n\r\n3\r\n")) == [["1", "2"], [None, None], ["3", None]]


def workbook(path, first=(0, 0)):
    row, column = first
    with xlsxwriter.Workbook(path) as book:
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        book.add_worksheet("other").write(0, 0, "x")
        sheet = book.add_worksheet("mine")
        sheet.write_row(row, column, ["mm", "day", "ok", None, "note"])
        sheet.write_row(row + 1, column, [1 / 3, None, True, "beside", " a "])
        sheet.write_datetime(row + 1, column + 1, datetime(2026, 5, 14), day)
        sheet.write_formula(row + 2, column, "=1+1", None, 2)
    return path


def test_a_workbook_keeps_every_digit_and_says_where_its_cells_stand(tmp_path):
    table = read_table(workbook(tmp_path / "t.xlsx", (3, 2)), PLAIN, "mine")
    assert table.columns == ("", "", "mm", "day", "ok", "", "note")
    third = float(f"{1 / 3:.16G}")  # what the writer of this workbook keeps of it
    assert cells(table)[0][2:] == [repr(third), "2026-05-14", "true", "beside", " a "]
    assert table.column("mm").to_list()[1] == "2"
    assert table.where(1, "mm") == "t.xlsx, cell C6"
    at_midnight = read_table(tmp_path / "t.xlsx", replace(PLAIN, midnight=True), "mine")
    assert at_midnight.column("day")[0] == "2026-05-14 00:00:00"


def test_the_first_tab_is_read_unless_another_is_asked_for(tmp_path):
    path = workbook(tmp_path / "t.xlsx")
    with pytest.raises(QcError, match=r"rows t.xlsx"):
        read_table(path, PLAIN)
    with pytest.raises(UsageError, match=r"no-sheet t.xlsx"):
        read_table(path, PLAIN, "yours")


def test_picked_rows_keep_their_numbers(read):
    table = read("a\nx\ny\nz\n").picked(pl.Series([2, 0]))
    assert table.column("a").to_list() == ["z", "x"] and table.where(0, "a") == "t.csv, line 4"


FRAME = {
    "figure": [1.5, None, 2.0],
    "whole": [1, 2, 3],
    "word": ["a", None, "c"],
    "day": [date(2026, 5, 14), None, date(2026, 5, 16)],
    "sure": [True, False, True],
}


def test_a_pandas_frame_is_the_polars_frame():
    known = read_table(pl.DataFrame(FRAME), PLAIN)
    frame = pd.DataFrame(FRAME)
    mixed = frame.astype({"whole": "Int64", "word": "category", "sure": "boolean"})
    for other in (frame, mixed, frame.set_index(pd.Index([7, 8, 9]))):
        table = read_table(other, PLAIN)
        assert table.columns == known.columns and table.kind == "frame"
        assert table.cells.equals(known.cells)
    assert known.where(1, "word") == "table, row 2"


def test_two_columns_of_one_name_are_left_alone_where_the_asker_lets_them_be():
    frame = pd.DataFrame([[1, 2]], columns=["a", "a"])
    with pytest.raises(QcError, match="twice"):
        read_table(frame, PLAIN)
    table = read_table(frame, replace(PLAIN, twice=True))
    assert table.columns == ("a", "a") and cells(table) == [[1, 2]]


def test_frames_without_rows_and_what_is_no_frame():
    for empty in (pl.DataFrame(), pd.DataFrame(), pl.DataFrame({"a": []}), pl.DataFrame({"a": [None, " "]})):
        with pytest.raises(QcError, match="rows table"):
            read_table(empty, PLAIN)
    for odd in ([1], {"a": [1]}, None, pd.Series([1], name="a"), b"a\n1"):
        with pytest.raises(UsageError, match="a path, a polars or a pandas frame"):
            read_table(odd, PLAIN)


def test_every_asker_has_words_for_every_fault():
    from qc.jobs.questions.study_read import STUDY
    from qc.jobs.remedies.sheet import REMEDY

    for manner in (STUDY, REMEDY):
        own = set(manner.said) | set(manners.PROBLEMS)
        unused = ({"large"} if manner.most_bytes is None else set()) | ({"twice"} if manner.twice else set())
        unused |= {"sheetless", "no-sheet"} if "no-sheet" not in manner.said else set()
        assert {*FAULTS, "large", "locked", "odd", "long", "crowded", "broad"} - unused <= own
        for sentence in manner.said.values():
            words = {name for _, name, _, _ in string.Formatter().parse(sentence) if name}
            assert words <= {"name", "path", "kind", "words", "line", "column", "sheet", "there", "most"}
