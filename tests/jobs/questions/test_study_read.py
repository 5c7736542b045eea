"""Reading tables: three kinds of file, faults with their address, order and labels."""

import polars as pl
import pytest

from qc.jobs.questions.study_read import (
    number_columns,
    read_study_table,
    sort_rows,
    take_labels,
    take_numbers,
)
from qc.stats import StatisticsError, StatisticsUsageError

ROWS = {"piece": ["a", "b", "c"], "bore": [13.9, 14.0, 14.1]}


def written(tmp_path, name, columns=ROWS):
    path = tmp_path / name
    frame = pl.DataFrame(columns)
    {".csv": frame.write_csv, ".parquet": frame.write_parquet, ".xlsx": frame.write_excel}[path.suffix](path)
    return path


@pytest.mark.parametrize("name", ["t.csv", "t.parquet", "t.xlsx"])
def test_three_kinds_of_file(tmp_path, name):
    path = written(tmp_path, name)
    table = read_study_table(path)
    assert take_numbers(table, "bore").to_list() == ROWS["bore"]
    assert take_labels(table, "piece").to_list() == ROWS["piece"]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_separators_and_byte_order_mark(tmp_path, separator):
    path = tmp_path / "t.csv"
    lines = [separator.join(["piece", "bore"]), separator.join(["a", " 13.9 "])]
    path.write_text("\n".join(lines), encoding="utf-8-sig")
    table = read_study_table(path)
    assert table.columns == ("piece", "bore")
    assert take_numbers(table, "bore").to_list() == [13.9]


@pytest.mark.parametrize(
    "name, cells, words",
    [
        ("t.csv", ["1.0", "tight", "2"], "t.csv, line 3: 'tight' in column 'bore' is not a finite number"),
        ("t.csv", ["1.0", "", "2"], "t.csv, line 3: the value in column 'bore' is missing"),
        ("t.csv", ["1.0", "12,5", "2"], "write the decimal sign as a point"),
        ("t.csv", ["nan", "1", "inf"], r"line 2: 'nan' .* \(and 1 more\)"),
        ("t.xlsx", ["1.0", "tight", "2"], "t.xlsx, cell B3: 'tight'"),
        ("t.parquet", ["1.0", "tight", "2"], "t.parquet, row 2: 'tight'"),
        ("t.parquet", [1.0, float("inf"), 2.0], "row 2: 'inf'"),
        ("t.parquet", [1.0, None, 2.0], "row 2: the value in column 'bore' is missing"),
        ("t.parquet", [True, False, True], "numbers are needed"),
    ],
)
def test_a_fault_has_an_address(tmp_path, name, cells, words):
    path = written(tmp_path, name, {"piece": ["a", "b", "c"], "bore": cells})
    with pytest.raises(StatisticsError, match=words):
        take_numbers(read_study_table(path), "bore")


def test_far_columns_have_two_letters(tmp_path):
    columns = {f"c{i}": ["1"] for i in range(27)} | {"bore": ["x"]}
    path = written(tmp_path, "t.xlsx", columns)
    with pytest.raises(StatisticsError, match="cell AB2"):
        take_numbers(read_study_table(path), "bore")


def test_missing_labels_and_columns(tmp_path):
    path = written(tmp_path, "t.csv", {"piece": ["a", " "], "bore": [1, 2]})
    table = read_study_table(path)
    with pytest.raises(StatisticsError, match="line 3: column 'piece' has no label"):
        take_labels(table, "piece")
    with pytest.raises(StatisticsError, match="no column 'bone'; there are 'piece', 'bore'"):
        take_numbers(table, "bone")


def test_order(tmp_path):
    path = written(tmp_path, "t.csv", {"n": ["10", "9", "9", "2"], "x": ["a", "b", "c", "d"]})
    assert sort_rows(read_study_table(path), "n").column("x").to_list() == ["d", "b", "c", "a"]
    assert sort_rows(read_study_table(path), "x").column("n").to_list() == ["10", "9", "9", "2"]
    path = written(tmp_path, "t.csv", {"n": ["1", None], "x": ["a", "b"]})
    with pytest.raises(StatisticsError, match="line 3: column 'n' has no value"):
        sort_rows(read_study_table(path), "n")


@pytest.mark.parametrize(
    "rising",
    [
        ["T-9", "T-10", "T-100", "U-2"],
        ["2026-01-09", "2026-01-10", "2026-11-02"],
        ["2026-01-09 08:05", "2026-01-09 08:05:30", "2026-01-09 10:00"],
        ["10:00:03.25", "10:00:03.5", "10:00:04"],
        ["1,25 a", "1,5 a", "12 a"],
        ["2.12.2025", "30.1.2026", "03.02.2026", "3.11.26"],
        ["30.1.2026 09:05", "30.1.2026 10:00", "3.11.2026 08:00"],
        ["2026-11-02", "3.11.2026", "2026-11-04"],
        ["12/31/2026", "01/13/2027"],
    ],
)
def test_numbers_within_a_text_count_as_numbers(tmp_path, rising):
    path = written(tmp_path, "t.csv", {"n": [*rising[1:], rising[0]], "x": ["a"] * len(rising)})
    assert sort_rows(read_study_table(path), "n").column("n").to_list() == rising


@pytest.mark.parametrize("day", ["33.11.2026", "3.11.2026 8 o'clock", "3.11.2026 8:00"])
def test_dates_that_do_not_sort_are_refused(tmp_path, day):
    path = written(tmp_path, "t.csv", {"n": ["2026-11-02", day], "x": ["a", "b"]})
    with pytest.raises(StatisticsError, match="line 3: .* in column 'n' is a date that does not sort"):
        sort_rows(read_study_table(path), "n")


@pytest.mark.parametrize("day", ["03/11/26", "3-11-2026 08:00"])
def test_a_date_of_two_readings_is_refused_with_both(tmp_path, day):
    path = written(tmp_path, "t.csv", {"n": ["2026-11-02", day], "x": ["a", "b"]})
    said = "line 3: .* in column 'n' can be read two ways, .*2026-(11-03|03-11).*: write the one you mean"
    with pytest.raises(StatisticsError, match=said):
        sort_rows(read_study_table(path), "n")


def test_sheets_of_a_workbook(tmp_path):
    import xlsxwriter

    path = tmp_path / "t.xlsx"
    with xlsxwriter.Workbook(path) as book:
        for name, value in (("first", 1.5), ("second", 2.5)):
            sheet = book.add_worksheet(name)
            sheet.write_row(0, 0, ["bore"])
            sheet.write_row(1, 0, [value])
    assert take_numbers(read_study_table(path), "bore").to_list() == [1.5]
    assert take_numbers(read_study_table(path, "second"), "bore").to_list() == [2.5]
    with pytest.raises(StatisticsUsageError, match="no sheet 'third'; there are 'first', 'second'"):
        read_study_table(path, "third")


@pytest.mark.parametrize("name", ["t.txt", "t"])
def test_other_files_are_not_read(tmp_path, name):
    with pytest.raises(StatisticsUsageError, match="csv, parquet or xlsx"):
        read_study_table(tmp_path / name)


def test_no_such_file(tmp_path):
    with pytest.raises(StatisticsUsageError, match="no such file"):
        read_study_table(tmp_path / "t.csv")


@pytest.mark.parametrize("name", ["t.xlsx", "t.parquet"])
def test_a_file_that_is_not_what_its_name_says(tmp_path, name):
    (tmp_path / name).write_bytes(b"no table at all")
    with pytest.raises(StatisticsError, match="cannot be read as"):
        read_study_table(tmp_path / name)


@pytest.mark.parametrize("text", ["", "bore\n"])
def test_no_rows(tmp_path, text):
    (tmp_path / "t.csv").write_text(text)
    with pytest.raises(StatisticsError):
        read_study_table(tmp_path / "t.csv")


@pytest.mark.parametrize("name", ["t.csv", "t.xlsx"])
def test_blank_rows_at_the_end_are_no_readings(tmp_path, name):
    path = written(tmp_path, name, {"piece": ["a", "b", None, None], "bore": ["1", "2", " ", None]})
    assert take_numbers(read_study_table(path), "bore").to_list() == [1.0, 2.0]
    path = written(tmp_path, name, {"piece": ["a", None, "c"], "bore": ["1", None, "3"]})
    with pytest.raises(StatisticsError, match="is missing"):
        take_numbers(read_study_table(path), "bore")


def test_names_of_several_columns():
    assert list(number_columns("a, b,c")) == ["a", "b", "c"]
    for bad in ("a,,b", "a,a", ""):
        with pytest.raises(StatisticsUsageError):
            number_columns(bad)


def twice(tmp_path, kind):
    """A table with two columns `bore` and one `bore_1`, as each kind of file can hold them."""
    path = tmp_path / f"t.{kind}"
    if kind == "csv":
        path.write_text("bore,bore,bore_1\n1,2,30\n3,4,50\n")
    elif kind == "xlsx":
        import xlsxwriter

        with xlsxwriter.Workbook(path) as book:
            sheet = book.add_worksheet("first")
            for row, cells in enumerate([["bore", "bore", "bore_1"], [1, 2, 30], [3, 4, 50]]):
                sheet.write_row(row, 0, cells)
    else:  # no writer makes such a file: two names of one length are made one in its bytes
        pl.DataFrame({"bore": [1.0, 3.0], "borf": [2.0, 4.0], "bore_1": [30.0, 50.0]}).write_parquet(path)
        path.write_bytes(path.read_bytes().replace(b"borf", b"bore"))
    return path


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_name_that_stands_twice_is_refused(tmp_path, kind):
    path = twice(tmp_path, kind)
    table = read_study_table(path)
    for take in (take_numbers, take_labels):
        with pytest.raises(StatisticsError, match="two columns are named 'bore'"):
            take(table, "bore")
    with pytest.raises(StatisticsError, match="two columns are named 'bore'"):
        sort_rows(table, "bore")
    # a column of another name is still the one that is written over it
    assert take_numbers(table, "bore_1").to_list() == [30.0, 50.0]


def test_a_parquet_file_with_a_name_twice_is_no_table(tmp_path):
    path = twice(tmp_path, "parquet")
    with pytest.raises(StatisticsError, match=r"t\.parquet: cannot be read as parquet .*'?bore"):
        read_study_table(path)


def test_a_workbook_with_a_name_three_times_or_none(tmp_path):
    import xlsxwriter

    path = tmp_path / "t.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("first")
        sheet.write_row(0, 0, ["bore", "bore", None, "bore", "leg"])
        sheet.write_row(1, 0, [1, 2, 3, 4, 5])
    table = read_study_table(path)
    assert take_numbers(table, "leg").to_list() == [5.0]
    with pytest.raises(StatisticsError, match="two columns are named 'bore'"):
        take_numbers(table, "bore")


@pytest.mark.parametrize("name", ["t.csv", "t.parquet"])
def test_a_sheet_of_a_file_that_has_none_is_refused(tmp_path, name):
    path = written(tmp_path, name)
    with pytest.raises(StatisticsUsageError, match=f"{name}: a {name[2:]} file has no sheets"):
        read_study_table(path, "first")


def test_a_number_too_large_to_square_has_an_address(tmp_path):
    path = written(tmp_path, "t.csv", {"bore": ["1.0", "1e308", "2.0"]})
    with pytest.raises(StatisticsError, match="t.csv, line 3: 1e308 .* too large to compute with"):
        take_numbers(read_study_table(path), "bore")
