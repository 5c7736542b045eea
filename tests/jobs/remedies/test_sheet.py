import datetime
import io

import pytest

from qc.jobs.remedies.errors import RemedyError, RemedyUsageError
from qc.jobs.remedies.sheet import read_decimal, read_sheet

TABLE = [["Partial", "Cents"], ["2", "6.5"], ["", ""], ["3", "-1"]]


def text(separator, comma=False):
    lines = [separator.join(row) for row in TABLE]
    return "\r\n".join(lines).replace(".", "," if comma else ".")


@pytest.mark.parametrize("data", [
    text(",").encode(),
    text(";").encode(),
    text("\t").encode(),
    text(";", comma=True).encode(),
    b"\xef\xbb\xbf" + text(",").encode(),
    text(";", comma=True).encode("utf-8-sig"),
    b'"Partial","Cents"\n2,"6,5"\n\n3,-1\n',
])  # fmt: skip
def test_csv_in_its_usual_dresses(write, data):
    sheet = read_sheet(write("notes.csv", data))
    assert sheet.columns == ("partial", "cents")
    assert [sheet.number(row, "cents") for row in sheet.rows] == [6.5, -1.0]
    assert [sheet.whole(row, "partial") for row in sheet.rows] == [2, 3]
    assert [row.line for row in sheet.rows] == [2, 4]


def workbook(rows):
    import xlsxwriter

    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, {"in_memory": True})
    page = book.add_worksheet()
    for r, row in enumerate(rows):
        for c, cell in enumerate(row):
            page.write(r, c, cell)
    book.close()
    return stream.getvalue()


def test_workbook(write):
    sheet = read_sheet(write("notes.xlsx", workbook([["partial", "cents"], [2, 6.5], [3, "-1,25"]])))
    assert [sheet.number(row, "cents") for row in sheet.rows] == [6.5, -1.25]
    assert [sheet.whole(row, "partial") for row in sheet.rows] == [2, 3]
    assert sheet.where(sheet.rows[1], "cents") == "notes.xlsx, cell B3 (cents)"


def test_date_cell_is_no_figure(write):
    import xlsxwriter

    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, {"in_memory": True})
    page = book.add_worksheet()
    page.write_row(0, 0, ["tube", "od_mm"])
    page.write(1, 0, "I1")
    page.write_datetime(1, 1, datetime.datetime(2026, 5, 14), book.add_format({"num_format": "d.mm"}))
    book.close()
    sheet = read_sheet(write("rack.xlsx", stream.getvalue()))
    with pytest.raises(RemedyError, match="cell B2"):
        sheet.number(sheet.rows[0], "od_mm")


@pytest.mark.parametrize(("name", "data", "words"), [
    ("a.csv", b"", "empty"),
    ("a.csv", b" \n \n", "empty"),
    ("a.csv", b"partial,cents\n", "no rows"),
    ("a.csv", b"\x00\x01\x02", "not a text file"),
    ("a.csv", b"cents,Cents\n1,2\n", "twice"),
    ("a.csv", b"a,b\n1,2,5\n", "line 2: more cells than columns"),
    ("a.csv", b'a,b\n"1,2\n', "line 2"),
    ("a.xlsx", b"PK but no workbook", r"a.xlsx: the workbook is damaged or cut off"),
])  # fmt: skip
def test_files_that_are_refused(write, name, data, words):
    with pytest.raises(RemedyError, match=words):
        read_sheet(write(name, data))


def test_wrong_usage(tmp_path, write):
    with pytest.raises(RemedyUsageError, match="no such file"):
        read_sheet(tmp_path / "none.csv")
    with pytest.raises(RemedyUsageError, match="csv or xlsx"):
        read_sheet(write("notes.pdf", "x"))
    with pytest.raises(RemedyUsageError, match=r"folder.csv: this is a folder, not a file"):
        (tmp_path / "folder.csv").mkdir()
        read_sheet(tmp_path / "folder.csv")


def test_latin_1_is_read(write):
    sheet = read_sheet(write("notes.csv", "tube;note\nA;gr\u00fcn\n", "cp1252"))
    assert sheet.text(sheet.rows[0], "note") == "gr\u00fcn"


@pytest.mark.parametrize(("figure", "value"), [
    ("14,052", 14.052), ("14.052", 14.052), (" 7 ", 7.0), ("-6.5", -6.5), ("\u22126.5", -6.5),
    ("1e-3", 0.001), ("1.234,5", None), ("1,234,567", None), ("nan", None), ("inf", None), ("", None),
    ("6 mm", None), ("1_0", None),
])  # fmt: skip
def test_figures(figure, value):
    assert read_decimal(figure) == value


def test_cells_name_their_place(write):
    sheet = read_sheet(write("n.csv", "partial,cents\n2,x\n2.5,\n"))
    with pytest.raises(RemedyError, match=r"n.csv, line 2, column cents: 'x' is not a number"):
        sheet.number(sheet.rows[0], "cents")
    with pytest.raises(RemedyError, match=r"line 3, column partial: 2.5 is not a whole number"):
        sheet.whole(sheet.rows[1], "partial")
    with pytest.raises(RemedyError, match="empty"):
        sheet.number(sheet.rows[1], "cents")
    assert sheet.optional_number(sheet.rows[1], "cents") is None
    with pytest.raises(RemedyError, match=r"column od_mm is missing \(there are: partial, cents\)"):
        sheet.need("od_mm")
