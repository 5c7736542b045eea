import io
from datetime import date, datetime, time, timedelta

import openpyxl
import pytest
import xlsxwriter

from qc.ingest import SheetError, read_sheet
from qc.ingest.reading.workbooks import cell_text


def book(build) -> bytes:
    buffer = io.BytesIO()
    workbook = xlsxwriter.Workbook(buffer, {"in_memory": True})
    build(workbook)
    workbook.close()
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (14.05, "14.05"),
        (14.050000000000001, "14.05"),
        (5.0, "5"),
        (0.1 + 0.2, "0.3"),
        (-0.00125, "-0.00125"),
        (46156.0, "46156"),
        (True, "yes"),
        (date(2026, 5, 14), "2026-05-14"),
        (datetime(2026, 5, 14, 10, 30), "2026-05-14 10:30:00"),
        (time(10, 30), "10:30:00"),
        (timedelta(hours=2), "2:00:00"),
        ("13.850", "13.850"),
    ],
)
def test_cells_become_what_a_person_would_type(value, text):
    assert cell_text(value) == text


def test_a_date_in_a_column_of_figures_stays_a_date(as_xlsx):
    grid = read_sheet(
        as_xlsx([["Wall", "x", "y"], [date(2026, 5, 14), 0.5, "a"]], date_format="dd.mm"), "a.xlsx"
    )[0]
    assert grid.rows[1] == ("2026-05-14", "0.5", "a")


def test_rows_keep_their_numbers_below_blank_ones(as_xlsx):
    grid = read_sheet(as_xlsx([[], ["Card", "Slide card"], [], ["a", "b", "c"]]), "a.xlsx")[0]
    assert grid.lines[grid.rows.index(("a", "b", "c"))] == 4
    assert grid.cell(3, 1) == "B4"


def test_every_tab_is_read_and_empty_ones_are_not():
    def build(workbook):
        workbook.add_worksheet("One").write_row(0, 0, ["a", 2])
        workbook.add_worksheet("Empty")
        workbook.add_worksheet("Two").write_row(0, 0, ["c", 1.5])

    grids = read_sheet(book(build), "a.xlsx")
    assert [(grid.tab, grid.rows) for grid in grids] == [("One", (("a", "2"),)), ("Two", (("c", "1.5"),))]


def test_a_tab_of_words_is_passed_over_beside_one_with_figures_and_named():
    def build(workbook):
        workbook.add_worksheet("read me").write_column(0, 0, ["Stir it before the first piece,", "3 times."])
        workbook.add_worksheet("who").write_row(0, 0, ["bath", "everybody"])
        workbook.add_worksheet("Two").write_row(0, 0, ["c", 1.5])

    (grid,) = read_sheet(book(build), "a.xlsx")
    assert (grid.tab, grid.passed_over) == ("Two", ("read me", "who"))


def test_a_workbook_of_words_alone_is_read_as_it_stands():
    grids = read_sheet(
        book(lambda workbook: workbook.add_worksheet("A").write_row(0, 0, ["a", "b"])), "a.xlsx"
    )
    assert [(grid.tab, grid.passed_over) for grid in grids] == [("A", ())]


def test_an_empty_workbook_is_refused():
    with pytest.raises(SheetError, match="workbook is empty"):
        read_sheet(book(lambda workbook: workbook.add_worksheet("A")), "a.xlsx")


def test_a_hidden_tab_with_cells_is_refused_and_an_empty_one_is_not():
    def build(workbook, text=None):
        workbook.add_worksheet("Shown").write(0, 0, "x")
        hidden = workbook.add_worksheet("Secret")
        hidden.hide()
        if text:
            hidden.write(0, 0, text)

    assert len(read_sheet(book(build), "a.xlsx")) == 1
    with pytest.raises(SheetError, match="tab Secret: a hidden tab"):
        read_sheet(book(lambda workbook: build(workbook, "x")), "a.xlsx")


def test_a_workbook_of_another_program_is_read():
    workbook = openpyxl.Workbook()
    workbook.active.append(["Leg", "Station", "Outer bore [mm]"])
    workbook.active.append(["upper", "mouth", 14.052])
    buffer = io.BytesIO()
    workbook.save(buffer)
    assert read_sheet(buffer.getvalue(), "a.xlsx")[0].rows[1] == ("upper", "mouth", "14.052")


def test_a_cell_with_too_much_text_is_refused(as_xlsx):
    with pytest.raises(SheetError, match="B1"):
        read_sheet(as_xlsx([["a", "x" * 2001]]), "a.xlsx")
