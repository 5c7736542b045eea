import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.ingest import SheetError, read_sheet
from qc.ingest.reading.grid import MAX_CELL, MAX_COLUMNS

TABLE = [["Partial", "Position", "Valve", "Cents"], ["2", "1", "open", "3"], ["3", "1", "open", "-4"]]


def read(data: bytes):
    return read_sheet(data, "card.csv")[0]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "latin-1"]
)
def test_every_separator_in_every_encoding(as_csv, separator, encoding):
    rows = [*TABLE, ["5", "1", "open", "überprüft"]]
    grid = read(as_csv(rows, separator, encoding))
    assert [list(row) for row in grid.rows] == rows
    assert grid.separator == separator


def test_decimal_commas_do_not_hide_the_semicolons(as_csv):
    rows = [["Partial", "Position", "Cents"], *[[n, 1, f"-{n},5"] for n in range(2, 9)]]
    assert read(as_csv(rows, ";")).separator == ";"


def test_commas_in_notes_do_not_hide_the_separator(as_csv):
    rows = [["Partial", "Cents", "Note"], *[[n, n, "warm, blown in, twice, slowly"] for n in range(2, 9)]]
    grid = read(as_csv(rows, ";"))
    assert grid.rows[1] == ("2", "2", "warm, blown in, twice, slowly")


def test_quoted_cells_keep_their_separator_and_line_breaks():
    grid = read(b'Serial,Note\r\nTH-1,"one, two\nthree"\r\nTH-2,x\r\n')
    assert grid.rows[1] == ("TH-1", "one, two\nthree")
    assert grid.lines == (1, 2, 4)


def test_blank_rows_stay_and_trailing_empty_cells_go():
    grid = read(b"Card;Slide card;;\r\n;;;\r\nLeg;Station;;\r\nupper;mouth;;\r\n")
    assert grid.rows == (("Card", "Slide card"), (), ("Leg", "Station"), ("upper", "mouth"))


def test_text_stays_as_typed():
    assert read(b"a;b\r\n 14.050 ;1e3\r\n").rows[1] == (" 14.050 ", "1e3")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_line_end(end):
    assert read(f"a;b{end}1;2{end}3;4{end}".encode()).rows == (("a", "b"), ("1", "2"), ("3", "4"))


def test_a_whole_last_line_without_an_end_is_taken():
    assert read(b"a;b\n1;2\n3;4").rows[-1] == ("3", "4")


def test_a_file_cut_in_half_is_refused_with_the_line():
    with pytest.raises(SheetError, match="stops in the middle of a line") as caught:
        read(b"a;b;c\n1;2;3\n4;5;6\n7;8")
    assert caught.value.cell == "line 4"
    assert "whole file" in caught.value.hint


def test_a_file_cut_inside_a_letter_is_refused():
    data = "Serial;Note\nTH-1;geprüft\nTH-2;geprü".encode()[:-1]
    with pytest.raises(SheetError, match="stops in the middle"):
        read(data)


def test_a_file_cut_inside_quotes_is_refused():
    with pytest.raises(SheetError, match="stops in the middle"):
        read(b'a,b\n1,"two')


@pytest.mark.parametrize(
    ("data", "words", "cell"),
    [
        (b"a;b\n1;\x002\n3;4\n", "a NUL byte", "line 2"),
        (b"a;b\n1;2\n3;\x07\n", "a control character", "line 3"),
        (b"a;b\n1;\x81\n", "encoding that cannot be read", "line 2"),
        ("a;b\n1;\ufffd\n".encode(), "letters were lost", "line 2"),
        (b'a;b\n1;"x"y\n', "quotation mark is out of place", "line 2"),
    ],
)
def test_damaged_text_is_refused_with_its_line(data, words, cell):
    with pytest.raises(SheetError, match=words) as caught:
        read(data)
    assert caught.value.cell == cell


def test_shape_limits():
    wide = ";".join(["x"] * (MAX_COLUMNS + 1))
    with pytest.raises(SheetError, match="too large"):
        read(f"a;b\n{wide}\n".encode())
    with pytest.raises(SheetError, match="a cell is too long"):
        read(f"a;b\n1;{'x' * (MAX_CELL + 1)}\n".encode())


@given(st.binary(max_size=400))
def test_any_bytes_give_a_grid_or_one_sentence(data):
    try:
        grids = read_sheet(data, "any.bin")
    except SheetError as error:
        assert str(error).startswith("any.bin")
        assert error.hint.endswith(".")
    else:
        assert all(isinstance(cell, str) for grid in grids for row in grid.rows for cell in row)


@given(
    st.lists(
        st.lists(st.text("abcÄé 0123456789.-", min_size=1, max_size=8), min_size=3, max_size=3),
        min_size=4,
        max_size=9,
    )
)
def test_what_was_written_is_read(rows):
    rows = [[cell.strip() or "x" for cell in row] for row in rows]
    data = ("\n".join(";".join(row) for row in rows) + "\n").encode()
    assert [list(row) for row in read(data).rows] == rows


@pytest.mark.parametrize("rows", [1, 2, 3, 5])
def test_a_table_cut_in_any_row_after_its_first_is_refused_whatever_stands_above_it(rows):
    head = "Card;Drawing log\nGauge;MIC-1\n\nDate;Serial;Model;OD\n"
    whole = head + "2026-03-02;TB-1002;tenor;14,602\n" * rows
    with pytest.raises(SheetError, match="stops in the middle of a line"):
        read_sheet((whole + "2026-03-03;TB-1003;te").encode(), "log.csv")
    assert read_sheet((whole + "2026-03-03;TB-1003;tenor;14,603").encode(), "log.csv")
