"""The sheets of Querlohn: which rows go on which sheet, handed in when, written how."""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
from querlohn_shop import CARDS, FIRST_YEAR, MODELS, Card, heading_of

LAYOUTS = ("comma", "point", "tab", "workbook")
Row = dict[str, object]


def hand_in(
    rng: np.random.Generator, folder: Path, rows: dict[str, list[Row]], days: list[date], habit: str
) -> list[dict[str, str]]:
    """Write the sheets, each on the day it was handed in; returns the corrections handed in after them."""
    corrections: list[dict[str, str]] = []
    for card in CARDS:
        layout = str(rng.choice(LAYOUTS, p=[0.42, 0.2, 0.18, 0.2]))
        rhythm = "weekly" if layout == "workbook" and habit == "daily" else habit
        sheets: dict[tuple[date, str], list[Row]] = defaultdict(list)
        late: dict[int, int] = {}
        for row in rows[card.id]:
            measured = int(str(row["Date"]))
            wait = late.setdefault(measured, int(rng.integers(3, 13)) if rng.random() < 0.05 else 0)
            in_on = min(measured + wait, len(days) - 1)
            day = days[in_on]
            if rhythm == "weekly":
                day = min(day + timedelta(days=4 - day.weekday()), days[-1])
            if rhythm == "whole":
                day = days[-1]
            sheets[day, days[measured].isoformat() if wait and rhythm != "whole" else ""].append(row)
        slips = 0.6 / max(1, len(sheets)) if rhythm != "whole" and card.source == "bench" else 0.0
        for (day, mark), some in sheets.items():
            if rng.random() < slips and (right := _correct(rng, card, some)):
                again = min(day + timedelta(days=7), days[-1])
                serial = str(right[0]["Serial"])
                name = f"{card.id}_{serial}_korrektur"
                path = _write(folder / again.isoformat(), name, card, layout, days, right)
                sheet = f"{again.isoformat()}/{path.name}"
                corrections.append({"card": card.id, "serial": serial, "sheet": sheet})
            name = f"{card.id}_{day.isoformat()}" + (f"_nachgereicht_{mark}" if mark else "")
            _write(folder / day.isoformat(), name, card, layout, days, some)
    return corrections


def _correct(rng: np.random.Generator, card: Card, some: list[Row]) -> list[Row]:
    """Spoil one figure of a sheet by a slip of the pen; returns the right rows of that piece."""
    number = int(rng.integers(0, len(some)))
    heading = heading_of(card.figures[0])
    right = [dict(row) for row in some if row["Serial"] == some[number]["Serial"]]
    value = some[number][heading]
    if value is None or value in ("ok", "x") or card.figures[0].noise == "counts":
        return []
    digits = len(str(value).partition(".")[2])
    slip = float(card.figures[0].sd[0]) if card.figures[0].noise == "measured" else 0.3 * float(str(value))
    wrong = f"{float(str(value)) + slip:.{digits}f}"
    some[number] = {**some[number], heading: wrong}
    return right if wrong != value else []


def _write(folder: Path, name: str, card: Card, layout: str, days: list[date], rows: list[Row]) -> Path:
    """Write one sheet: what is the same on every row stands in its head, as on the paper card."""
    folder.mkdir(parents=True, exist_ok=True)
    columns = list(dict.fromkeys(column for row in rows for column in row))
    in_head = ["Date", "Person", "Gauge", "Tool", "Batch"] if layout != "point" else []
    same = [
        column for column in in_head if column in columns and len({str(row.get(column)) for row in rows}) == 1
    ]
    table = [column for column in columns if column not in same]
    grid: list[list[object]] = [["Card", card.title]]
    grid += [[column, _cell(column, rows[0], layout, days)] for column in same]
    grid += [[], [*table]]
    grid += [[_cell(column, row, layout, days) for column in table] for row in rows]
    if layout == "workbook":
        path = folder / f"{name}.xlsx"
        with pd.ExcelWriter(path, engine="xlsxwriter", datetime_format="dd.mm.yyyy") as writer:
            writer.book.set_properties({"created": datetime(FIRST_YEAR, 1, 1)})
            width = max(len(line) for line in grid)
            pd.DataFrame([line + [None] * (width - len(line)) for line in grid]).to_excel(
                writer, sheet_name=card.title[:31], header=False, index=False
            )
        return path
    path = folder / f"{name}.csv"
    text = io.StringIO()
    csv.writer(text, delimiter="\t" if layout == "tab" else ";", lineterminator="\r\n").writerows(grid)
    encoding = {"comma": "cp1252", "point": "utf-8", "tab": "utf-8-sig"}[layout]
    path.write_bytes(text.getvalue().encode(encoding))
    return path


def _cell(column: str, row: Row, layout: str, days: list[date]) -> object:
    """Write one cell as that sheet writes it: dates, decimal comma, models by name or id."""
    value = row.get(column)
    if value is None:
        return None if layout == "workbook" else ""
    text = str(value)
    if column == "Date":
        day = days[int(text)]
        if layout == "workbook":
            return datetime(day.year, day.month, day.day)
        return day.isoformat() if layout == "point" else day.strftime("%d.%m.%Y")
    if column == "Model":
        return MODELS[text]["name"] if layout in ("comma", "workbook") else text
    if "[" in column or column in ("R1", "R2", "R3"):
        return float(text) if layout == "workbook" else text.replace(".", ",") if layout != "point" else text
    return text
