import hashlib

import pytest

from qc.ingest import SheetError, read_sheet
from qc.ingest.reading.grid import MAX_BYTES, Grid, column_letters

ROWS = [["Card", "Bell wall map"], [], ["Station", "Wall [mm]"], ["1", "0.51"]]


def test_content_decides_not_the_name(as_csv, as_xlsx):
    assert read_sheet(as_xlsx(ROWS), "card.csv")[0].kind == "xlsx"
    assert read_sheet(as_csv(ROWS), "card.xlsx")[0].kind == "csv"


def test_grid_carries_the_hash_of_the_bytes(as_csv):
    data = as_csv(ROWS)
    assert read_sheet(data, "a.csv")[0].sheet == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("data", [b"", b"   \r\n\r\n", b"\xef\xbb\xbf", b"\x00\x00\x00", b"\xff\xfe"])
def test_empty_files_are_refused(data):
    with pytest.raises(SheetError, match="the file is empty"):
        read_sheet(data, "nothing.csv")


@pytest.mark.parametrize(
    ("head", "words"),
    [
        (b"%PDF-1.7 rest of it", "PDF document"),
        (b"\x89PNG\r\n\x1a\n....", "picture"),
        (b"\xff\xd8\xff\xe0 jpeg", "picture"),
        (b"\x1f\x8b\x08 packed", "compressed"),
        (b"{\\rtf1 text}", "text document"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 old", "old .xls workbook"),
    ],
)
def test_other_kinds_of_file_are_named(head, words):
    with pytest.raises(SheetError, match=words) as caught:
        read_sheet(head, "odd.csv")
    assert caught.value.hint.endswith(".")


def test_a_file_over_the_limit_is_refused():
    with pytest.raises(SheetError, match=r"20\.0 MB"):
        read_sheet(b"a" * (MAX_BYTES + 1), "huge.csv")


def test_the_error_says_file_tab_cell_problem_and_hint():
    error = SheetError("a.xlsx", "cells are merged", "Unmerge them.", tab="Slide", cell="B2 to C2")
    assert str(error) == "a.xlsx, tab Slide, B2 to C2: cells are merged. Unmerge them."
    assert error.to_dict() == {
        "file": "a.xlsx",
        "tab": "Slide",
        "cell": "B2 to C2",
        "problem": "cells are merged",
        "hint": "Unmerge them.",
    }


@pytest.mark.parametrize(
    ("index", "letters"), [(0, "A"), (25, "Z"), (26, "AA"), (51, "AZ"), (701, "ZZ"), (702, "AAA")]
)
def test_column_letters(index, letters):
    assert column_letters(index) == letters


def test_a_cell_beyond_its_row_is_empty():
    grid = Grid("a.csv", "", "csv", "", (("x",), ()), (1, 2))
    assert grid.text(0, 5) == ""
    assert grid.text(1, 0) == ""
    assert grid.cell(1, 3) == "line 2, column 4"


@pytest.mark.parametrize(
    "data",
    [
        b"RIFF\x24\x00\x00\x00WAVEfmt ",
        b"RF64\xff\xff\xff\xffWAVEds64",
        b"FORM\x00\x00\x00\x00AIFF",
        b"ID3\x03",
        b"fLaC",
    ],
)
@pytest.mark.parametrize("more", [b"\x01" * 50, b"\x01" * MAX_BYTES], ids=["short", "over the limit"])
def test_a_recording_is_sent_to_the_command_that_hears_it(data, more):
    with pytest.raises(SheetError, match="this is a recording, not a sheet") as caught:
        read_sheet(data + more, "notes.wav")
    assert "qc tune CARD --wav RECORDING" in caught.value.hint
