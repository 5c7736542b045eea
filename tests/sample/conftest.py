"""Reads the committed sheets with parts that are not ours: the csv module and openpyxl."""

import csv
import io
from dataclasses import dataclass
from pathlib import Path

import openpyxl
import pytest
import yaml

from sample_measurements import folder
from sample_measurements.make import SEED, make_sheets, sample_flow, sample_plan


@dataclass(frozen=True)
class Table:
    """One tab as found in the file: head block, header and rows with their 1-based lines."""

    file: str
    tab: str
    head: dict
    header: list
    rows: list  # (line, dict of header -> text)
    cells: list  # all lines as lists of text


def read_tables(path: Path, root: Path) -> list[Table]:
    name = path.relative_to(root).as_posix()
    if path.suffix == ".csv":
        return [_table(name, "", _csv_cells(path.read_bytes()))]
    book = openpyxl.load_workbook(path)
    return [_table(name, page.title, _page_cells(page)) for page in book.worksheets]


def _csv_cells(data: bytes) -> list[list[str]]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    separator = next(mark for mark in (";", "\t", ",") if mark in text.splitlines()[0])
    return list(csv.reader(io.StringIO(text), delimiter=separator))


def _page_cells(page) -> list[list[str]]:
    return [[_text(cell.value) for cell in row] for row in page.iter_rows()]


def _text(value) -> str:
    if value is None:
        return ""
    if hasattr(value, "date"):
        return value.date().isoformat()
    return f"{value:.15g}" if isinstance(value, float) else str(value)


def _table(name: str, tab: str, cells: list[list[str]]) -> Table:
    blank = next((i for i, row in enumerate(cells) if not any(row)), None)
    head = {row[0]: row[1] for row in cells[:blank]} if blank is not None else {}
    at = 0 if blank is None else blank + 1
    header = [text for text in cells[at] if text]
    rows = [(at + 2 + i, dict(zip(header, row, strict=False))) for i, row in enumerate(cells[at + 1 :])]
    return Table(name, tab, head, header, rows, cells)


@pytest.fixture(scope="session")
def root() -> Path:
    return folder()


@pytest.fixture(scope="session")
def files(root) -> list[Path]:
    return sorted(path for path in (root / "sheets").rglob("*") if path.is_file())


@pytest.fixture(scope="session")
def tables(root, files) -> list[Table]:
    return [table for path in files for table in read_tables(path, root)]


@pytest.fixture(scope="session")
def truth(root) -> dict:
    return yaml.safe_load((root / "planted.yaml").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def change(truth):
    return {entry["series"]: entry for entry in truth["changes"]}


@pytest.fixture(scope="session")
def plan():
    return sample_plan()


@pytest.fixture(scope="session")
def flow(plan):
    return sample_flow(plan)


@pytest.fixture(scope="session")
def made():
    return make_sheets(SEED)


@pytest.fixture(scope="session")
def by_card(tables):
    """Rows of all sheets of a card, head and tab merged into each, those with a mishap included."""

    def rows_of(card: str) -> list[dict]:
        return [
            {**table.head, **row, "_file": table.file, "_tab": table.tab, "_line": line}
            for table in tables
            if table.head.get("Card") == card
            for line, row in table.rows
        ]

    return rows_of


@pytest.fixture(scope="session")
def sound(by_card, truth):
    """Rows of a card without those that hold a mishap."""
    lines = {(m["file"], m["tab"], m["line"]) for m in truth["mishaps"]}
    whole = {(m["file"], m["tab"], m["serial"]) for m in truth["mishaps"] if m["cells"] > 1}

    def rows_of(card: str) -> list[dict]:
        return [
            row
            for row in by_card(card)
            if (row["_file"], row["_tab"], row["_line"]) not in lines
            and (row["_file"], row["_tab"], row.get("Serial")) not in whole
        ]

    return rows_of
