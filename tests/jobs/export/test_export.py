"""A workshop is exported as tidy tables that other programs read: polars, csv, a workbook's XML."""

import csv
import json
import re
import zipfile
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from qc.column_types import polars_schema
from qc.errors import MachineError, UsageError
from qc.jobs.export import TABLES, ExportFormat, export_tables, writing
from qc.jobs.export import tables as tables_of
from qc.jobs.new import new_workshop
from qc.jobs.workshop import open_workshop
from qc.plan import READING
from qc.store import NewSheet, sheet_hash

FIRST = date(2026, 3, 2)
EVENING = datetime(2026, 4, 30, 17, 0, tzinfo=UTC)
ODD = ["=HYPERLINK(1)", "@SUM(A1)", "+A1", "-A1", "\tx", "plain, with a comma", 'a "quoted" word', "\uff1d1"]


def rows_of_a_stranger():
    """Thirty dies' tubes of two models, two readings each, out of order; tubes of no model."""
    rows = []
    for number in reversed(range(30)):
        day = FIRST + timedelta(days=number)
        for repeat in (1, 2):
            row = {"serial": f"TB-{number:03}", "model": ("tenor", "bass")[number % 2], "stage": "drawing"}
            row |= {"characteristic": "od", "value": 14.6 + 0.001 * (number % 5) + 0.002 * (repeat - 1)}
            row |= {"unit": "mm", "repeat": repeat, "tool": "D-14A", "tool_count": number + 1, "row": number}
            rows.append(row | {"text": "-1.5", "note": ODD[number % len(ODD)], "day": day})
    for number in range(5):
        row = {"serial": f"00{number}", "stage": "slide", "characteristic": "inner_od", "value": 13.1}
        rows.append(row | {"unit": "mm", "repeat": 1, "day": FIRST + timedelta(days=number)})
    full = []
    for row in rows:
        at = datetime(row["day"].year, row["day"].month, row["day"].day, tzinfo=UTC)
        known = {"measured_at": at, "entered_at": EVENING, "has_time": False, "offset_min": 0}
        full.append({name: (known | row).get(name) for name in READING})
    return pl.DataFrame(full, schema=polars_schema(READING))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A workshop of the template's plan with cards that hold odd notes; nobody else knows it."""
    place = tmp_path_factory.mktemp("export") / "shop"
    new_workshop(place, as_of=date(2026, 3, 1))
    with open_workshop(place, as_of=EVENING.date(), writes=True).store as store:
        data = b"drawing"
        sheet = NewSheet("drawing.csv", sheet_hash(data), data, "drawing-log", rows_of_a_stranger())
        store.add_sheets([sheet], who="QL", when=EVENING)
    return place


@pytest.fixture(scope="module")
def shop(folder):
    workshop = open_workshop(folder)
    yield workshop
    workshop.store.close()


@pytest.fixture(scope="module")
def parquet(shop, tmp_path_factory):
    """The tables as polars reads them."""
    out = tmp_path_factory.mktemp("tables") / "new" / "folder"
    done = export_tables(shop, out)
    frames = {one.table: pl.read_parquet(one.file) for one in done.files}
    assert {one.table: one.rows for one in done.files} == {name: f.height for name, f in frames.items()}
    assert sorted(path.name for path in out.iterdir()) == sorted(f"{name}.parquet" for name in TABLES)
    return frames


def test_every_table_has_the_columns_of_the_dictionary_and_no_other(parquet):
    for name, columns in TABLES.items():
        assert parquet[name].schema == pl.Schema(polars_schema({c.name: c.kind for c in columns})), name
    told = parquet["dictionary"].select("table", "column").rows()
    assert told == [(name, column.name) for name, columns in TABLES.items() for column in columns]
    assert parquet["dictionary"]["meaning"].null_count() == 0


def test_readings_are_all_there_sorted_by_series_and_time_and_texts_are_as_they_were(parquet):
    readings, given = parquet["readings"], rows_of_a_stranger()
    assert readings.height == given.height == 65
    assert readings["series"].unique(maintain_order=True).to_list() == [
        "drawing/od/all",
        "slide/inner_od/",
    ]
    assert readings.equals(readings.sort("series", "measured_at", "tool_count", maintain_order=True))
    same = ["serial", "repeat", "value", "note", "text", "tool_count"]
    assert readings.select(same).sort(same).equals(given.select(same).sort(same))


def test_pieces_are_the_means_of_their_readings_with_the_limits_of_the_plan(parquet):
    """Worked out again by polars, which knows nothing of the judging."""
    drawn = parquet["readings"].filter(pl.col("characteristic") == "od")
    means = drawn.group_by("serial").agg(pl.col("value").mean().alias("mean"))
    pieces = (
        parquet["pieces"]
        .filter(pl.col("characteristic") == "od")
        .join(means, on="serial", maintain_order="left")
    )
    assert pieces.height == 30 and pieces["ordinal"].to_list() == list(range(1, 31))
    assert (pieces["measured"] - pieces["mean"]).abs().max() < 1e-9
    off = pl.when("centered").then("target").otherwise(0.0)
    assert pieces.select((pl.col("measured") - off - pl.col("value")).abs().max()).item() < 1e-9
    assert pieces.select("target", "lower", "upper").unique().rows() == [(14.6, 14.59, 14.612)]
    (series,) = parquet["limits"].filter(pl.col("series") == "drawing/od/all").to_dicts()
    assert series["pieces"] == 30 and {series["behaviour"]} == set(pieces["behaviour"])
    assert "od" in set(parquet["plan"]["characteristic"])


def test_parts_make_no_difference_and_none_is_large(shop, parquet, monkeypatch, tmp_path):
    parts = list(tables_of.readings_in_parts(shop, None, most=7))
    assert len(parts) > 5 and max(part.height for part in parts) <= 7 + 7
    assert pl.concat(parts).equals(parquet["readings"])
    monkeypatch.setattr(tables_of.readings_in_parts, "__defaults__", (7,))
    export_tables(shop, tmp_path)
    assert pl.read_parquet(tmp_path / "readings.parquet").equals(parquet["readings"])


def test_a_csv_twice_is_the_same_bytes_and_no_cell_of_it_is_a_formula(shop, tmp_path):
    bytes_of = []
    for name in ("one", "two"):
        done = export_tables(shop, tmp_path / name, ExportFormat.CSV)
        bytes_of.append([one.file.read_bytes() for one in done.files])
    assert bytes_of[0] == bytes_of[1]
    notes = set()
    for one in done.files:
        with one.file.open(newline="", encoding="utf-8") as file:
            for row in csv.DictReader(file):
                assert not [c for c in row.values() if c[:1] in "=@\t\r\n\uff1d" and c != ""]
                assert not [
                    c for c in row.values() if c[:1] in "+-" and c and not re.fullmatch(r"[\d.eE+-]+", c)
                ]
                notes.add(row.get("note"))
    assert "'=HYPERLINK(1)" in notes and "'-A1" in notes and 'a "quoted" word' in notes
    with (tmp_path / "one" / "readings.csv").open(newline="", encoding="utf-8") as file:
        moments = {row["measured_at"] for row in csv.DictReader(file)}
    assert datetime.fromisoformat(min(moments)) == datetime(2026, 3, 2, tzinfo=UTC)


def test_a_workbook_has_no_formula_keeps_serials_and_goes_on_in_a_next_sheet(shop, tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "SHEET_ROWS", 40)
    done = export_tables(shop, tmp_path, ExportFormat.XLSX)
    assert {one.file.name for one in done.files} == {"export.xlsx"}
    assert [path.name for path in tmp_path.iterdir()] == ["export.xlsx"]
    with zipfile.ZipFile(tmp_path / "export.xlsx") as book:
        sheets = [book.read(name).decode() for name in book.namelist() if "worksheets/sheet" in name]
    assert sheets and not any("<f>" in text or "<hyperlink" in text for text in sheets)
    first = pl.read_excel(tmp_path / "export.xlsx", sheet_name="readings", infer_schema_length=0)
    rest = pl.read_excel(tmp_path / "export.xlsx", sheet_name="readings 2", infer_schema_length=0)
    assert (first.height, rest.height) == (40, 25) and first.columns == rest.columns
    assert rest["serial"].to_list()[-1] == "004" and "=HYPERLINK(1)" in set(first["note"])


def test_what_was_put_right_or_measured_later_is_left_out(folder, tmp_path, command):
    workshop = open_workshop(folder, as_of=FIRST + timedelta(days=9))
    with workshop.store:
        done = export_tables(workshop, tmp_path, whole=False)
        assert pl.read_parquet(tmp_path / "readings.parquet")["day"].max() == FIRST + timedelta(days=9)
        assert done.to_dict()["rows"]["readings"] == 25
        (first,) = pl.read_parquet(tmp_path / "readings.parquet").head(1).to_dicts()
        with workshop.store.steady():
            workshop.store.withdraw_reading(first["reading"], who="QL", when=EVENING, why="a slip")
            assert first["reading"] in set(workshop.store.readings()["id"]), "the look began before"
        assert first["reading"] not in set(workshop.store.readings()["id"])
        export_tables(workshop, tmp_path)
    assert first["reading"] not in set(pl.read_parquet(tmp_path / "readings.parquet")["reading"])


def test_the_command_answers_with_files_and_rows(folder, tmp_path, command):
    words = ("export", "--out", tmp_path / "x", "--workshop", folder)
    answer = json.loads(command(*words, "--format", "csv", "--json").stdout)
    assert {one["table"] for one in answer["files"]} == set(TABLES) == set(answer["rows"])
    lines = (tmp_path / "x" / "plan.csv").read_text("utf-8").splitlines()
    assert answer["rows"]["plan"] == len(lines) - 1 and answer["format"] == "csv"
    said = command(*words)
    assert said.exit_code == 0 and "readings.parquet" in said.stdout and not said.stderr
    assert command(*words, "--format", "ods").exit_code == 2
    assert command("export", "--workshop", folder).exit_code == 2


def test_a_folder_that_cannot_take_it_is_refused_and_nothing_is_left(shop, tmp_path, monkeypatch):
    (tmp_path / "file").write_text("mine")
    with pytest.raises(UsageError, match="is a file"):
        export_tables(shop, tmp_path / "file")
    with pytest.raises(UsageError, match="among the sheets"):
        export_tables(shop, shop.folder / "sheets" / "here")

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(writing.ParquetWriter, "put", full)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "plan.parquet").write_text("of the last time")
    with pytest.raises(MachineError, match="Make room"):
        export_tables(shop, tmp_path / "out")
    assert [path.read_text() for path in (tmp_path / "out").iterdir()] == ["of the last time"]
    monkeypatch.setattr("zipfile.ZipFile.write", full)
    with pytest.raises(MachineError, match="No space left on device"):
        export_tables(shop, tmp_path / "out", ExportFormat.XLSX)
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["plan.parquet"]
