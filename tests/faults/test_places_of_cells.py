"""Workbooks that say where their cells stand in every way there is, and in ways no spreadsheet writes.

A reader of workbooks keeps room for all cells from the first to the last: a workbook of 1.5 kB made it ask
for more memory than there is, and the process was gone. The places that are good are checked against what is
read.
"""

import re
import tracemalloc
from pathlib import Path

import pytest

from qc.cli.main import main
from qc.errors import QcError, UsageError
from qc.ingest import SheetError, read_sheet
from qc.ingest.reading import Manner, inspection, places, read_table

SHEET = "xl/worksheets/sheet1.xml"
LAST_ROW = 4_294_967_295  # the largest number of 32 bits


@pytest.fixture(scope="module")
def with_cells(workbook, rewrite):
    """Return the maker of a workbook whose only tab holds these rows."""

    def made(xml, part=SHEET, pattern=rb"<sheetData>.*</sheetData>", whole="<sheetData>%s</sheetData>"):
        text = (whole % xml).encode()
        return rewrite(workbook(), part, lambda old: re.sub(pattern, lambda _: text, old, flags=re.S))

    return made


GOOD = {
    "on the cell": '<row r="2"><c r="B2"><v>7</v></c></row>',
    "on the cell alone": '<row><c r="B2"><v>7</v></c></row>',
    "in small letters": '<row r="2"><c r="b2"><v>7</v></c></row>',
    "on the row": '<row r="2"><c/><c><v>7</v></c></row>',
    "by position": "<row/><row><c/><c><v>7</v></c></row>",
    "after a row with a number": '<row r="1"/><row><c/><c><v>7</v></c></row>',
    "after a cell with a place": '<row r="2"><c r="A2"/><c><v>7</v></c></row>',
}


@pytest.mark.parametrize("name", GOOD)
def test_a_place_is_followed_as_the_reader_does(with_cells, name):
    area = places.Area()
    data = with_cells(GOOD[name])
    assert read_sheet(data, "a.xlsx")[0].rows == ((), ("", "7"))
    follow = places.CellPlaces("a.xlsx", "Slide", area, card=True)
    with inspection.zipfile.ZipFile(inspection.io.BytesIO(data)) as archive:
        inspection.parse_part(archive, SHEET, "a.xlsx", follow.begins, follow.ends)
    assert (follow.rows, follow.columns, area.room) == (2, 2, 4)


FAR = {
    "on the cell": '<row r="{row}"><c r="B{row}"><v>7</v></c></row>',
    "on the cell alone": '<row><c r="B{row}"><v>7</v></c></row>',
    "in small letters": '<row r="{row}"><c r="b{row}"><v>7</v></c></row>',
    "on the row": '<row r="{row}"><c/><c><v>7</v></c></row>',
    "after a row with a number": '<row r="{row}"/><row><c/><c><v>7</v></c></row>',
    "after a cell with a place": '<row r="{row}"><c r="A{row}"/><c><v>7</v></c></row>',
}
WIDE = '<row><c r="GQ1"><v>1</v></c></row>'


@pytest.mark.parametrize("name", FAR)
@pytest.mark.parametrize("row", [10_051, 199_999, 200_001, 9_999_999, LAST_ROW])
def test_two_cells_far_apart_are_a_large_table_in_every_way_of_saying_it(with_cells, name, row):
    """199 columns by 199,999 rows took 1.7 GB; the file has 6 kB."""
    data = with_cells(WIDE + FAR[name].format(row=row))
    assert len(data) < 6_000
    tracemalloc.start()
    try:
        with pytest.raises(SheetError, match="far outside any table|too large a table") as caught:
            read_sheet(data, "a.xlsx")
        assert tracemalloc.get_traced_memory()[1] < 3_000_000
    finally:
        tracemalloc.stop()
    assert caught.value.tab == "Slide"


@pytest.mark.parametrize("name", FAR)
def test_the_same_cells_nearer_are_read(with_cells, name):
    rows = read_sheet(with_cells(WIDE + FAR[name].format(row=10_000)), "a.xlsx")[0].rows
    assert rows[-1] == ("", "7") and len(rows) in (10_000, 10_001)


def test_many_rows_that_say_nothing_are_counted(with_cells):
    data = with_cells(WIDE + "<row/>" * 10_100 + "<row><c><v>7</v></c></row>")
    with pytest.raises(SheetError, match="reach over 10,102 rows and 199 columns"):
        read_sheet(data, "a.xlsx")


BROKEN = {
    '<row r="0"><c><v>1</v></c></row>': "the number '0'",
    '<row r="-1"><c><v>1</v></c></row>': "the number '-1'",
    '<row r="+3"><c><v>1</v></c></row>': r"the number '\+3'",
    '<row r=""><c><v>1</v></c></row>': "the number ''",
    '<row r="1e5"><c><v>1</v></c></row>': "the number '1e5'",
    '<row r="\u0661"><c><v>1</v></c></row>': "the number",
    '<row r="1"><c r="A0"><v>1</v></c></row>': "the place 'A0'",
    '<row r="1"><c r="1"><v>1</v></c></row>': "the place '1'",
    '<row r="1"><c r="A"><v>1</v></c></row>': "the place 'A'",
    '<row r="1"><c r=""><v>1</v></c></row>': "the place ''",
    '<row r="1"><c r="A\u0661"><v>1</v></c></row>': "the place",
    '<row r="1"><c r="$A$1"><v>1</v></c></row>': "the place",
    '<row r="1"><row r="3"><c><v>1</v></c></row></row>': "a row stands within a row",
    '<c r="A1"><v>1</v></c>': "a cell stands outside of any row",
    '<row r="1"><c r="A1"><c r="B2"><v>1</v></c></c></row>': "a cell stands outside of any row",
    '<row r="4294967295"><c><v>1</v></c></row>': "row 4294967295: a row stands far outside",
    '<row r="4294967295"/><row><c><v>1</v></c></row>': "row 4294967295: a row stands far outside",
    '<row r="1"><c r="ZZZZ1"><v>1</v></c></row>': "ZZZZ1: a cell stands far outside",
    '<row r="1"><c r="A99999999999999999999"><v>1</v></c></row>': "far outside",
}


@pytest.mark.parametrize("xml", BROKEN)
def test_a_place_that_is_none_is_one_sentence(with_cells, xml):
    with pytest.raises(SheetError, match=BROKEN[xml]) as caught:
        read_sheet(with_cells(xml), "a.xlsx")
    assert str(caught.value).startswith("a.xlsx, tab Slide") and caught.value.hint.endswith(".")


@pytest.mark.parametrize("ref", ["A1:XFD1048576", "A1:ZZZZZ99999999999", "", "B2:A1", "-"])
def test_what_a_workbook_says_of_its_own_size_counts_for_nothing(workbook, rewrite, replace_in, ref):
    data = rewrite(
        workbook(), SHEET, replace_in(rb'<dimension ref="[^"]*"', f'<dimension ref="{ref}"'.encode())
    )
    try:
        assert read_sheet(data, "a.xlsx")[0].rows == read_sheet(workbook(), "a.xlsx")[0].rows
    except SheetError as error:
        assert "damaged" in error.problem


def test_spans_count_for_nothing(with_cells):
    data = with_cells('<row r="1" spans="1:4294967295"><c><v>7</v></c></row>')
    assert read_sheet(data, "a.xlsx")[0].rows == (("7",),)


def test_a_row_far_down_without_cells_is_layout_and_no_table(with_cells):
    data = with_cells('<row r="1"><c><v>7</v></c></row><row r="1048576" hidden="1"/>')
    assert read_sheet(data, "a.xlsx")[0].rows == (("7",),)


def test_the_area_is_bounded_over_all_tabs_together(workbook):
    """One tab of 1.1 million places may be; two of them are too large, since all are in memory at once."""

    def more(book, page):
        page.write(199_000, 5, "far")
        if tabs == 2:
            book.add_worksheet("Two").write(199_000, 5, "far")

    tabs = 1
    assert len(read_sheet(workbook(more), "a.xlsx")[0].rows) == 199_001
    tabs = 2
    with pytest.raises(SheetError, match="tab Two: the cells reach over 199,001 rows and 6 columns"):
        read_sheet(workbook(more), "a.xlsx")


def test_cells_written_again_and_again_in_one_place_are_counted(with_cells, monkeypatch):
    monkeypatch.setattr(places, "MAX_CELLS", 1000)
    data = with_cells("<row r='1'>" + "<c r='A1'><v>1</v></c>" * 1001 + "</row>")
    with pytest.raises(SheetError, match="too large a table"):
        read_sheet(data, "a.xlsx")


def test_a_long_text_shown_in_many_cells_counts_for_each(with_cells, rewrite):
    """20 kB of text kept once, shown in 10,000 cells, are 200 MB when they are read."""
    rows = "".join(f"<row r='{n}'><c t='s'><v>0</v></c></row>" for n in range(1, 10_001))
    shared = f"<sst><si><t>{'x' * 20_000}</t></si></sst>"
    data = rewrite(with_cells(rows), "xl/sharedStrings.xml", lambda _: shared.encode())
    with pytest.raises(SheetError, match="the cells hold 200 million characters"):
        read_sheet(data, "a.xlsx")


def test_a_long_text_that_few_cells_show_is_no_fault_of_the_many(with_cells, rewrite):
    rows = "".join(f"<row r='{n}'><c t='s'><v>1</v></c></row>" for n in range(1, 60_001))
    shared = f"<sst><si><t>{'x' * 1_900}</t></si><si><t>short</t></si></sst>"
    data = rewrite(with_cells(rows), "xl/sharedStrings.xml", lambda _: shared.encode())
    assert read_sheet(data, "a.xlsx")[0].rows[59_999] == ("short",)


@pytest.mark.parametrize(
    "encoding", ["nonsense", "rot13", "shift_jis", "utf-7", "undefined", "hex", "x" * 900]
)
@pytest.mark.parametrize("part", [SHEET, "xl/sharedStrings.xml", "xl/workbook.xml", "xl/styles.xml"])
def test_an_encoding_that_does_not_exist_is_named(workbook, rewrite, replace_in, part, encoding):
    change = replace_in(rb'encoding="[^"]*"', f'encoding="{encoding}"'.encode())
    with pytest.raises(SheetError, match=f"names the encoding '{encoding[:40]}'"):
        read_sheet(rewrite(workbook(), part, change), "a.xlsx")


def test_two_parts_that_may_be_taken_for_one_are_refused(workbook, rewrite):
    """The reader takes a part by its name in any case: it could read the one that nobody looked at."""
    with pytest.raises(SheetError, match="packed in an unusual way"):
        read_sheet(rewrite(workbook(), SHEET.upper(), lambda _: b"<worksheet/>"), "a.xlsx")


def test_a_text_that_no_cell_can_point_at_is_a_sentence(with_cells):
    with pytest.raises(SheetError, match="damaged or cut off"):
        read_sheet(with_cells("<row><c t='s'><v>99999</v></c></row>"), "a.xlsx")


TABLES = Manner(
    kinds={".xlsx": "xlsx"},
    separators=",",
    said={"unreadable": "{name}: {words}"},
    error=QcError,
    usage=UsageError,
)


@pytest.mark.parametrize("xml", [x for x in BROKEN if "ZZZZ1" not in x])
def test_a_table_of_any_question_is_inspected_as_a_card_is(with_cells, tmp_path, xml):
    """`study`, `gauge`, `pair`, `coat`, `tune` and `wear` all read their tables here."""
    path = tmp_path / "t.xlsx"
    path.write_bytes(with_cells(xml))
    with pytest.raises(QcError, match="^t.xlsx: tab Slide") as caught:
        read_table(path, TABLES)
    assert "\n" not in str(caught.value)


def test_a_table_may_be_wider_than_a_card_and_hold_formulas(workbook, tmp_path):
    def more(_, page):
        page.write_formula("F8", "=E8+0.15", None, 14.05)
        page.write(0, 299, "far")

    path = Path(tmp_path / "t.xlsx")
    path.write_bytes(workbook(more))
    table = read_table(path, TABLES)
    assert len(table.columns) == 300 and table.cells["5"][-1] == "14.05"


COMMANDS = {
    "study": "study FILE --value a",
    "gauge": "gauge FILE --value a --part b",
    "pair": "pair --inner FILE --outer FILE --target-um 100 --lower-um 50 --upper-um 150",
    "coat": "coat FILE --nominal 30 --lower 20",
    "tune": "tune FILE --length-mm 2900",
    "wear": "wear FILE --value a --against b --upper 3",
}


@pytest.mark.parametrize("name", COMMANDS)
@pytest.mark.parametrize("row", [199_999, LAST_ROW])
def test_every_command_that_reads_a_table_gives_one_sentence(with_cells, tmp_path, capfd, name, row):
    path = tmp_path / "bomb.xlsx"
    path.write_bytes(with_cells(WIDE + FAR["on the row"].format(row=row)))
    code = main([word.replace("FILE", str(path)) for word in COMMANDS[name].split()])
    out, err = capfd.readouterr()
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert err.startswith("qc: ") and "bomb.xlsx" in err and "Traceback" not in err


@pytest.mark.parametrize("label", ["count", "uniqueCount"])
@pytest.mark.parametrize("number", ["4294967296", "18446744073709551616", "2000001", "-1", "1e9", "x"])
def test_a_reader_keeps_no_room_for_texts_that_are_only_announced(
    workbook, rewrite, replace_in, label, number
):
    """Found by random damage: an announced number of texts made the reader ask for 103 GB."""
    change = replace_in(rf' {label}="[0-9]*"'.encode(), f' {label}="{number}"'.encode())
    with pytest.raises(SheetError, match="announces .* texts, more than a sheet holds"):
        read_sheet(rewrite(workbook(), "xl/sharedStrings.xml", change), "a.xlsx")
