"""The workbooks among the layouts, written again from the cells below: `python make_sheets.py FOLDER`.

A cell of `None` stays empty. A tab may begin anywhere; `merged` names ranges that the bench drew as one box.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

import xlsxwriter

Cell = str | float | date | None
WALL_1 = (0.53, 0.50, 0.48, 0.47, 0.44, 0.43, 0.42, 0.41, 0.42, 0.42, 0.45, 0.47)
WALL_2 = (0.51, 0.51, 0.49, 0.45, 0.45, 0.42, 0.43, 0.40, 0.41, 0.43, 0.44, 0.48)
DAY = date(2026, 11, 24)


@dataclass(frozen=True)
class Tab:
    """One tab: its rows, its upper left corner (row, column from 0), and the ranges drawn as one box."""

    name: str
    rows: list[list[Cell]]
    at: tuple[int, int] = (0, 0)
    merged: list[str] = field(default_factory=list)


def numbered(name: str, *columns: tuple[float, ...]) -> list[list[Cell]]:
    """Rows of figures, each with the number of its station before it."""
    return [[f"{name}{n}" if name else n, *row] for n, row in enumerate(zip(*columns, strict=True), 1)]


BOOKS: dict[str, list[Tab]] = {
    "39-merged-title.xlsx": [
        Tab(
            "Bell",
            [
                ["Bell card", None, None, None],
                ["Serial", "KT26-29", "Model", "tenor"],
                ["Date", DAY, "Gauge", "WG-1"],
                [None],
                ["Station", "Bell wall [mm]"],
                *numbered("", WALL_1),
            ],
            merged=["A1:D1"],
        )
    ],
    "40-merged-serials.xlsx": [
        Tab(
            "Gaps",
            [
                ["Gap card"],
                [None],
                ["Date", "Serial", "Model", "Spot", "Leg gap [mm]"],
                [DAY, "KT26-29", "tenor", 1, 88.1],
                [None, None, None, 2, 88.0],
                [None, None, None, 3, 87.95],
                [DAY, "KA26-13", "alto", 1, 78.2],
                [None, None, None, 2, 78.1],
                [None, None, None, 3, 78.1],
            ],
            merged=["A4:A6", "B4:B6", "C4:C6", "A7:A9", "B7:B9", "C7:C9"],
        )
    ],
    "41-two-tables-on-a-tab.xlsx": [
        Tab(
            "Rims",
            [
                ["Rim card", None, "24.11.2026", "AL"],
                [None],
                ["Serial", "Model", "Rim diameter [mm]"],
                ["KT26-29", "tenor", 204.1],
                ["KA26-13", "alto", 178.2],
                [None],
                ["Serial", "Model", "Rim hardness [HV]"],
                ["KT26-29", "tenor", 118],
                ["KA26-13", "alto", 123],
            ],
        )
    ],
    "42-two-pieces-below-each-other.xlsx": [
        Tab(
            "Slides",
            [
                ["Gap card"],
                ["Serial", "KT26-29"],
                ["Model", "tenor"],
                ["Date", DAY],
                [None],
                ["Spot", "Leg gap"],
                [1, 88.1],
                [2, 88.0],
                [3, 87.95],
                [None],
                ["Serial", "KA26-13"],
                ["Model", "alto"],
                ["Date", DAY],
                [None],
                ["Spot", "Leg gap"],
                [1, 78.2],
                [2, 78.1],
                [3, 78.1],
            ],
        )
    ],
    "43-card-starts-at-c4.xlsx": [
        Tab(
            "Sheet1",
            [
                ["Rim card"],
                [None],
                ["Date", "Serial", "Model", "Rim diameter", "Rim hardness"],
                [DAY, "KT26-29", "tenor", 204.1, 118],
                [DAY, "KA26-13", "alto", 178.2, 123],
            ],
            at=(3, 2),
        )
    ],
    "44-two-tabs-two-cards.xlsx": [
        Tab(
            "Rim card",
            [["Date", "Serial", "Model", "Rim", "Hardness"], [DAY, "KT26-29", "tenor", 204.1, 118]],
        ),
        Tab(
            "Force card",
            [
                ["Date", "Serial", "Model", "Leg", "Force"],
                [DAY, "KT26-29", "tenor", "left", 1.3],
                [DAY, "KT26-29", "tenor", "right", 1.5],
            ],
        ),
    ],
    "45-slide-boxes.xlsx": [
        Tab(
            "Slide",
            [
                ["Slide card", None, None, None, None],
                ["Serial", "KT26-29", None, "Date", DAY],
                ["Model", "tenor", None, "Surface", "stocking"],
                ["Direction", 0],
                [None],
                [None, "upper", None, "lower", None],
                ["Station", "Inner OD", "Outer bore", "Inner OD", "Outer bore"],
                ["mouth", 13.902, 14.051, 13.899, 14.049],
                ["middle", 13.901, 14.052, 13.898, 14.05],
                ["crook", 13.9, 14.05, 13.897, 14.052],
            ],
            merged=["A1:E1", "B6:C6", "D6:E6"],
        )
    ],
    "46-figures-typed-as-text.xlsx": [
        Tab(
            "Joints",
            [
                ["Joint card"],
                [None],
                ["Date", "Serial", "Model", "Leak", "Torque"],
                ["24.11.2026", "KT26-29", "tenor", "1,8", "2,4"],
                ["24.11.2026", "KA26-13", "alto", "2,5", "2,3"],
            ],
        )
    ],
    "47-ditto-marks.xlsx": [
        Tab(
            "Force",
            [
                ["Force card"],
                [None],
                ["Date", "Serial", "Model", "Leg", "Running force [N]"],
                [DAY, "KT26-29", "tenor", "left", 1.3],
                ['"', '"', '"', "right", 1.5],
                [DAY, "KA26-13", "alto", "left", 1.1],
                ['"', '"', '"', "right", 1.2],
            ],
        )
    ],
    "48-pieces-across.xlsx": [
        Tab(
            "Bells",
            [
                ["Bell card"],
                [None],
                ["Serial", "KT26-29", "KT26-30"],
                ["Model", "tenor", "tenor-f"],
                ["Date", DAY, DAY],
                *numbered("Station ", WALL_1, WALL_2),
            ],
        )
    ],
    "49-units-below-headings.xlsx": [
        Tab(
            "Rims",
            [
                ["Rim card"],
                [None],
                ["Date", "Serial", "Model", "Rim diameter", "Rim hardness"],
                [None, None, None, "mm", "HV"],
                [DAY, "KT26-29", "tenor", 204.1, 118],
                [DAY, "KA26-13", "alto", 178.2, 123],
            ],
        )
    ],
    "50-mean-and-signature-below.xlsx": [
        Tab(
            "Gaps",
            [
                ["Gap card"],
                [None],
                ["Date", "Serial", "Model", "Gap 1", "Gap 2", "Gap 3"],
                [DAY, "KT26-29", "tenor", 88.1, 88.0, 87.95],
                [DAY, "KT26-30", "tenor-f", 88.2, 88.15, 88.1],
                ["Mean", None, None, 88.15, 88.1, 88.0],
                [None],
                ["Seen: ML 25.11.2026"],
            ],
        )
    ],
}


def write_book(path: Path, tabs: list[Tab]) -> None:
    """Write one workbook, the same bytes every time."""
    with xlsxwriter.Workbook(path) as book:
        book.set_properties({"created": datetime(2026, 11, 30)})
        days = book.add_format({"num_format": "dd.mm.yyyy"})
        for tab in tabs:
            sheet = book.add_worksheet(tab.name)
            for row, cells in enumerate(tab.rows, tab.at[0]):
                for column, cell in enumerate(cells, tab.at[1]):
                    if isinstance(cell, date):
                        sheet.write_datetime(row, column, datetime(cell.year, cell.month, cell.day), days)
                    elif cell is not None:
                        sheet.write(row, column, cell)
            for box in tab.merged:
                left, right = box.split(":")
                row, column = int(left[1:]) - 1, ord(left[0]) - ord("A")
                cell = tab.rows[row - tab.at[0]][column - tab.at[1]]
                if isinstance(cell, date):
                    sheet.merge_range(box, None, days)
                    sheet.write_datetime(row, column, datetime(cell.year, cell.month, cell.day), days)
                else:
                    sheet.merge_range(f"{left}:{right}", cell)


def main(folder: Path) -> None:
    """Write every workbook into the folder."""
    for name, tabs in BOOKS.items():
        write_book(folder / name, tabs)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
