import pytest

from qc.ingest import SheetError, read_sheet
from qc.ingest.cards.layout import part_sheet


def parts(as_csv, rows, separator=";"):
    return part_sheet(read_sheet(as_csv(rows, separator), "card.csv")[0], {"wall", "mass loss"})


TABLE = [["Station", "Direction", "Wall [mm]"], ["1", "0", "0.51"], ["1", "90", "0.50"]]


def test_head_table_and_rows(as_csv):
    found = parts(as_csv, [["Card", "Bell wall map"], ["Serial", "TH-1001"], [], *TABLE])
    assert {v.heading.field: v.text for v in found.head} == {"card": "Bell wall map", "serial": "TH-1001"}
    assert [c.label for c in found.columns] == ["Station", "Direction", "Wall [mm]"]
    assert [found.grid.lines[row] for row in found.body] == [5, 6]


def test_a_table_without_a_head(as_csv):
    found = parts(as_csv, TABLE)
    assert found.head == ()
    assert found.header_row == 0


def test_padded_rows_as_spreadsheets_write_them(as_csv):
    found = parts(as_csv, [["Card", "Bell wall map", ""], ["", "", ""], *TABLE, ["", "", ""]])
    assert len(found.body) == 2
    assert found.head[0].text == "Bell wall map"


def test_blank_rows_inside_the_table_are_passed_over(as_csv):
    found = parts(as_csv, [TABLE[0], TABLE[1], ["", "", ""], TABLE[2]])
    assert [found.grid.lines[row] for row in found.body] == [2, 4]


def test_a_title_and_labels_with_colons(as_csv):
    found = parts(as_csv, [["Bell wall map"], ["Serial: TH-1001"], ["Person:", "AB"], [], *TABLE])
    assert found.title == "Bell wall map"
    assert {v.heading.field: v.text for v in found.head} == {"serial": "TH-1001", "person": "AB"}


def test_a_two_column_table_below_a_head(as_csv):
    found = parts(
        as_csv,
        [["Card", "Polishing card"], ["Date", "2026-05-12"], [], ["Serial", "Mass loss [g]"], ["TH-1", "18"]],
    )
    assert found.header_row == 3
    assert len(found.body) == 1


def test_a_two_column_table_with_one_longer_row_keeps_its_headings(as_csv):
    rows = [["Card", "Polishing card"], [], ["Serial", "Note"], ["TH-1", "x"], ["TH-2", "14", "052"]]
    assert parts(as_csv, rows, ",").header_row == 2


def test_a_value_of_the_head_may_look_like_a_heading(as_csv):
    rows = [["Gauge", "Tuner"], [], ["Serial", "Mass loss [g]"], ["TH-1", "18"]]
    assert parts(as_csv, rows).header_row == 2


def test_a_heading_may_be_missing_and_is_not_taken_for_the_head(as_csv):
    with pytest.raises(SheetError, match="no heading"):
        parts(as_csv, [["Card", "x"], [], ["Station", "", "Wall"], ["1", "0", "0.5"]])


def test_values_of_the_head_may_be_empty(as_csv):
    found = parts(as_csv, [["Card", "Bell wall map"], ["Person", ""], [], *TABLE])
    assert {v.heading.field: v.text for v in found.head} == {"card": "Bell wall map", "person": ""}


@pytest.mark.parametrize(
    ("rows", "words", "cell"),
    [
        ([TABLE[0]], "the table has no rows", "line 1, Station"),
        ([["Station", "", "Wall"], ["1", "x", "0.5"]], "figures but no heading", "line 2, column 2"),
        ([["Wall", "Wall", "x"], ["1", "2", "3"]], "mean the same", "line 1, Wall"),
        ([["Base um", "Base [um]", "x"], ["1", "2", "3"]], "mean the same", "line 1, Base [um]"),
        ([["Die", "Mandrel", "x"], ["1", "2", "3"]], "Die and Mandrel mean the same", "line 1, Mandrel"),
        ([["Serial", "A"], ["Serial", "B"], [], *TABLE], "says Serial twice", "line 2, Serial"),
    ],
)
def test_refused_shapes_name_their_cell(as_csv, rows, words, cell):
    with pytest.raises(SheetError, match=words) as caught:
        parts(as_csv, rows)
    assert caught.value.cell == cell


def test_a_workbook_column_beyond_the_headings_is_refused(as_xlsx):
    grid = read_sheet(as_xlsx([["a", "b", "c"], [1, 2, 3, 4]], "Tab"), "a.xlsx")[0]
    with pytest.raises(SheetError, match="no heading") as caught:
        part_sheet(grid)
    assert caught.value.cell == "D2"
    assert caught.value.tab == "Tab"
