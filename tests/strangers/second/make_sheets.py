"""Make the workbooks among the layouts of the second judging; the csv files beside them are typed by hand.

Run it from the top of the project: ``python tests/strangers/second/make_sheets.py``.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path

import xlsxwriter

LAYOUTS = Path(__file__).parent / "layouts"
Cell = str | float | date | None
Rows = list[list[Cell]]

BELL_HEADS: list[Cell] = ["Spot", "Rim hardness", "Bell mass"]
SILVER_HEADS: list[Cell] = ["Serial", "Model", "Bell", "Bow", "Slide", "Garland", "Pits"]
VALVE_HEADS: list[Cell] = ["Serial", "Model", "End play", "Leak", "Stop screw torque"]
HERON_VALVE: list[Cell] = ["H26-009", "heron", 21, 2.2, 0.9]
BITTERN_VALVE: list[Cell] = ["B26-003", "bittern", 26, 3.1, 0.95]


class Book:
    """A workbook in the making: tabs of rows, dates shown day first."""

    def __init__(self, name: str) -> None:
        self.book = xlsxwriter.Workbook(LAYOUTS / name)
        self.book.set_properties({"created": datetime(2026, 3, 10)})
        self.day = self.book.add_format({"num_format": "dd.mm.yyyy"})
        self.bold = self.book.add_format({"bold": True, "align": "center"})
        self.struck = self.book.add_format({"font_strikeout": True})

    def tab(self, name: str, rows: Rows, row: int = 0, column: int = 0) -> xlsxwriter.worksheet.Worksheet:
        """Write rows on a new tab, from the given corner on."""
        sheet = self.book.add_worksheet(name)
        for down, cells in enumerate(rows, row):
            for across, cell in enumerate(cells, column):
                if isinstance(cell, date):
                    sheet.write_datetime(down, across, datetime(cell.year, cell.month, cell.day), self.day)
                elif cell is not None:
                    sheet.write(down, across, cell)
        return sheet


def two_tables(book: Book) -> None:
    """Walls, and below them ovality."""
    book.tab(
        "bows",
        [
            ["Bow card"],
            ["Date", date(2026, 3, 11)],
            ["Person", "LB"],
            [],
            ["Serial", "Model", "Inlet", "Crown", "Outlet"],
            ["H26-013", "heron", 0.50, 0.48, 0.51],
            ["B26-004", "bittern", 0.63, 0.60, 0.62],
            [],
            ["Serial", "Model", "Ovality"],
            ["H26-013", "heron", 63],
            ["B26-004", "bittern", 71],
        ],
    )


def model_lines(book: Book) -> None:
    """The model in a line of its own above its pieces."""
    book.tab(
        "valves",
        [
            ["Card", "Valve card"],
            ["Date", date(2026, 3, 10)],
            [],
            ["Serial", "End play", "Leak", "Stop screw torque"],
            ["Heron tenor"],
            ["H26-009", 21, 2.2, 0.90],
            ["H26-010", 19, 1.8, 0.85],
            ["Bittern contrabass"],
            ["B26-003", 26, 3.1, 0.95],
        ],
    )


def merged_title(book: Book) -> None:
    """A title merged over all columns."""
    heads: list[Cell] = ["Date", "Serial", "Model", "Hardness 1", "Hardness 2", "Hardness 3", "Bell mass [g]"]
    day = date(2026, 3, 10)
    rows: Rows = [
        [],
        [],
        heads,
        [day, "H26-011", "heron", 119, 121, 118, 421.6],
        [day, "W26-006", "wren", 124, 122, 125, 283.9],
    ]
    sheet = book.tab("March", rows)
    sheet.merge_range(0, 0, 0, 6, "Bell card", book.bold)


def struck_out(book: Book) -> None:
    """A row struck out and written again below."""
    rows: Rows = [
        ["Card", "Bell card"],
        ["Date", date(2026, 3, 10)],
        [],
        ["Serial", "Model", "Spot", "Rim hardness"],
        ["H26-011", "heron", 1, 119],
        [],
        ["H26-011", "heron", 2, 121],
        ["H26-011", "heron", 3, 118],
    ]
    sheet = book.tab("bell", rows)
    for across, cell in enumerate(("H26-011", "heron", 2, 161)):
        sheet.write(5, across, cell, book.struck)


def tab_per_piece(book: Book) -> None:
    """A whole card on each tab."""
    pieces: list[tuple[str, str, date, tuple[int, int, int], float]] = [
        ("H26-011", "heron", date(2026, 3, 10), (119, 121, 118), 421.6),
        ("W26-006", "wren", date(2026, 3, 11), (124, 122, 125), 283.9),
        ("B26-004", "bittern", date(2026, 3, 12), (117, 116, 119), 768.2),
    ]
    for serial, model, day, hardness, mass in pieces:
        head: Rows = [
            ["Card", "Bell card"],
            ["Serial", serial],
            ["Model", model],
            ["Date", day],
            ["Person", "LB"],
            [],
        ]
        figures: Rows = [[1, hardness[0], mass], [2, hardness[1]], [3, hardness[2]]]
        book.tab(serial, [*head, BELL_HEADS, *figures])


def tab_is_serial(book: Book) -> None:
    """The serial stands on the tab and nowhere else."""
    pieces = (
        ("H26-011", "heron", date(2026, 3, 10), (119, 121, 118), 421.6),
        ("W26-006", "wren", date(2026, 3, 11), (124, 122, 125), 283.9),
    )
    for serial, model, day, hardness, mass in pieces:
        head: Rows = [["Bell card"], ["Model", model], ["Date", day], []]
        figures: Rows = [[1, hardness[0], mass], [2, hardness[1]], [3, hardness[2]]]
        book.tab(serial, [*head, BELL_HEADS, *figures])


def off_the_corner(book: Book) -> None:
    """The card begins in C4 and has empty rows."""
    rows: Rows = [["Card", "Valve card"], ["Date", date(2026, 3, 10)], ["Person", "FE"], [], []]
    book.tab("valve", [*rows, VALVE_HEADS, [], HERON_VALVE, [], BITTERN_VALVE], row=3, column=2)


def pieces_across(book: Book) -> None:
    """A column for each piece."""
    book.tab(
        "bows",
        [
            ["Bow card"],
            ["Serial", "H26-012", "W26-007", "B26-004"],
            ["Model", "heron", "wren", "bittern"],
            ["Date", date(2026, 3, 10), date(2026, 3, 11), date(2026, 3, 11)],
            ["Inlet", 0.51, 0.43, 0.63],
            ["Crown", 0.47, 0.40, 0.60],
            ["Outlet", 0.52, 0.42, 0.62],
            ["Ovality", 58, 44, 71],
        ],
    )


def merged_serials(book: Book) -> None:
    """Serial, model and day merged down over the areas of a piece."""
    rows: Rows = [["Card", "Silver card"], ["Person", "JU"], []]
    rows.append(["Date", "Serial", "Model", "Area", "Silver thickness"])
    pieces = (("H26-004", "heron", (13.2, 14.1, 15.0, 13.4)), ("W26-003", "wren", (12.8, 13.9, 14.6, 13.0)))
    for _, _, figures in pieces:
        rows += [
            [None, None, None, area, f]
            for area, f in zip(("bell", "bow", "slide", "garland"), figures, strict=True)
        ]
    sheet = book.tab("silver", rows)
    for piece, (serial, model, _) in enumerate(pieces):
        top = 4 + 4 * piece
        sheet.merge_range(top, 0, top + 3, 0, datetime(2026, 3, 10), book.day)
        sheet.merge_range(top, 1, top + 3, 1, serial)
        sheet.merge_range(top, 2, top + 3, 2, model)


def formula_mean(book: Book) -> None:
    """Means worked out at the foot."""
    rows: Rows = [["Card", "Valve card"], ["Date", date(2026, 3, 10)], [], VALVE_HEADS, HERON_VALVE]
    rows += [["H26-010", "heron", 19, 1.8, 0.85], ["Mean"]]
    sheet = book.tab("valve", rows)
    for column, mean in (("C", 20), ("D", 2.0), ("E", 0.875)):
        sheet.write_formula(f"{column}7", f"=AVERAGE({column}5:{column}6)", None, mean)


def notes_tab(book: Book) -> None:
    """Words first, then the card, then nothing."""
    book.tab("read me", [["For whoever is at the bath next week:"], ["stir it before the first piece."]])
    rows: Rows = [["Card", "Silver card"], ["Date", date(2026, 3, 10)], [], SILVER_HEADS]
    rows += [["H26-004", "heron", 13.2, 14.1, 15.0, 13.4, 2], ["W26-003", "wren", 12.8, 13.9, 14.6, 13.0, 1]]
    book.tab("March", rows)
    book.tab("April", [])


def legs_over_stations(book: Book) -> None:
    """Two rows of headings, the upper one merged."""
    stations: list[Cell] = ["mouth", "middle", "crook"]
    rows: Rows = [["Card", "Slide card"], ["Date", date(2026, 3, 10)], ["Person", "WK"], [], []]
    rows.append(["Serial", "Model", *stations, *stations])
    rows.append(["H26-009", "heron", 14.061, 14.058, 14.063, 14.059, 14.060, 14.057])
    rows.append(["W26-005", "wren", 12.311, 12.309, 12.314, 12.310, 12.307, 12.312])
    sheet = book.tab("slides", rows)
    sheet.merge_range(4, 2, 4, 4, "upper", book.bold)
    sheet.merge_range(4, 5, 4, 7, "lower", book.bold)


SHEETS: dict[str, Callable[[Book], None]] = {
    "05-bow-two-tables.xlsx": two_tables,
    "33-valve-model-lines.xlsx": model_lines,
    "41-bell-merged-title.xlsx": merged_title,
    "42-bell-struck-out.xlsx": struck_out,
    "43-bell-tab-per-piece.xlsx": tab_per_piece,
    "44-bell-tab-is-serial.xlsx": tab_is_serial,
    "45-valve-off-the-corner.xlsx": off_the_corner,
    "46-bow-pieces-across.xlsx": pieces_across,
    "47-silver-merged-serials.xlsx": merged_serials,
    "48-valve-formula-mean.xlsx": formula_mean,
    "49-silver-notes-tab.xlsx": notes_tab,
    "50-slide-legs-over-stations.xlsx": legs_over_stations,
}


def main() -> None:
    """Write every workbook anew."""
    for name, fill in SHEETS.items():
        book = Book(name)
        fill(book)
        book.book.close()


if __name__ == "__main__":
    main()
