"""Typing mishaps: about forty cells that say something else than was measured, each with what was meant.

The kinds carry the ids of the reasons a checker would give. What was measured stays as it was drawn;
only what stands in the cell is spoilt, so the truth is known for each.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date

from sample_measurements.make import scenario
from sample_measurements.make.noise import Noise
from sample_measurements.make.sheets import Sheet, Tab, Typed, figure

SAFE_SHARE = 0.72  # mishaps fall on the first part of the history, clear of what is planted at its end
EXCEL_EPOCH = date(1899, 12, 30)
SERIALS = frozenset(
    f"QH-{number}"
    for number in range(scenario.FIRST_SERIAL, scenario.FIRST_SERIAL + int(SAFE_SHARE * scenario.INSTRUMENTS))
)


@dataclass(slots=True)
class Mishap:
    """One mishap; `line` and `cell` are where a receipt would look for it (the first of `cells` cells)."""

    kind: str
    sheet: Sheet
    tab: Tab
    row: list[str]
    column: str
    typed: str
    meant: str
    serial: str
    cells: int = 1

    def to_dict(self) -> dict[str, object]:
        """Return the mishap as plain values, with its address in the finished sheet."""
        index = next(i for i, row in enumerate(self.tab.rows) if row is self.row)
        return {
            "kind": self.kind,
            "file": f"sheets/{self.sheet.path}",
            "tab": self.tab.name if self.sheet.is_workbook else "",
            "line": self.tab.line(index),
            "cell": self.sheet.address(self.tab, index, self.column),
            "column": self.column,
            "serial": self.serial,
            "typed": str(self.typed),
            "meant": self.meant,
            "cells": self.cells,
            "held": self.kind != "comma-decimal" or not self.sheet.is_workbook,
        }


@dataclass(slots=True)
class Spoiler:
    """Picks cells nobody has spoilt yet and spoils them."""

    sheets: list[Sheet]
    noise: Noise
    mishaps: list[Mishap] = field(default_factory=list)
    used: set[str] = field(default_factory=set)

    def spoil(
        self, kind: str, card: str, column: str, change: Callable[[str], str], models: str = ""
    ) -> None:
        """Spoil one cell of a column of a card: `change` turns what was meant into what is typed."""
        while True:
            sheet, tab, index = self.pick(card, column, models)
            row, at = tab.rows[index], tab.column(column)
            meant, typed = row[at], Typed(change(row[at]))
            if typed != meant:
                break
        row[at] = typed
        self.note(kind, sheet, tab, index, column, typed, meant)

    def pick(self, card: str, column: str, models: str = "") -> tuple[Sheet, Tab, int]:
        """Return a row of a card that has the column filled and whose piece is still unspoilt."""
        fits = [(sheet, tab) for sheet in self.sheets for tab in sheet.tabs if ("Card", card) in tab.head]
        rows = [
            (sheet, tab, index)
            for sheet, tab in fits
            if column in tab.header
            for index, row in enumerate(tab.rows)
            if row[tab.column(column)] != ""
            and self._model(tab, index) in (models.split() or [self._model(tab, index)])
        ]
        rows = rows[: int(len(rows) * SAFE_SHARE)]
        while True:
            sheet, tab, index = self.noise.pick(rows)
            if tab.serials[index] not in self.used:
                return sheet, tab, index

    def note(
        self,
        kind: str,
        sheet: Sheet,
        tab: Tab,
        index: int,
        column: str,
        typed: str,
        meant: str,
        cells: int = 1,
    ) -> None:
        """Write the mishap down."""
        self.used.add(tab.serials[index])
        row, serial = tab.rows[index], tab.serials[index]
        self.mishaps.append(Mishap(kind, sheet, tab, row, column, typed, meant, serial, cells))

    def _model(self, tab: Tab, index: int) -> str:
        if "Model" in tab.header:
            return tab.rows[index][tab.column("Model")]
        return dict(tab.head).get("Model", "")


def spoil_sheets(sheets: list[Sheet], seed: int) -> list[Mishap]:
    """Spoil cells of the sheets in place and return what was done, in order of file and line."""
    spoiler = Spoiler(sheets, Noise(seed, "mishaps"))
    _spoil_whole_tabs(spoiler)
    _spoil_figures(spoiler)
    _spoil_words(spoiler)
    _double_rows(spoiler)
    return sorted(spoiler.mishaps, key=_place)


def _place(mishap: Mishap) -> tuple[str, str, int]:
    index = next(i for i, row in enumerate(mishap.tab.rows) if row is mishap.row)
    return mishap.sheet.path, mishap.tab.name, index


def _spoil_figures(spoiler: Spoiler) -> None:
    """Spoil figures in the ways a checker knows; each kind where a bench could really make it."""
    slip, spoil = "decimal-slip", spoiler.spoil
    spoil(slip, "Lacquer card", "Thickness [um]", lambda text: figure(float(text) / 10, 2))
    spoil(slip, "Lacquer card", "Thickness [um]", lambda text: figure(float(text) * 10, 0))
    spoil(slip, "Polishing card", "Mass loss [g]", lambda text: figure(float(text) * 10, 0))
    spoil(slip, "Slide card", "Inner OD [mm]", lambda text: figure(float(text) * 10, 2))
    spoil(slip, "Bell wall map", "Bell wall [mm]", lambda text: figure(float(text) * 10, 1))
    for _ in range(2):
        spoil("inch-for-mm", "Slide card", "Outer bore [mm]", lambda text: figure(float(text) / 25.4, 4))
        spoil("radius-for-diameter", "Slide card", "Inner OD [mm]", lambda text: figure(float(text) / 2, 4))
    for _ in range(2):
        spoil("factor-1000", "Drawing log", "Tube OD [mm]", lambda text: figure(float(text) * 1000, 0))
        spoil("factor-1000", "Valve card", "Valve play [um]", lambda text: figure(float(text) / 1000, 3))
    spoil("factor-1000", "Bell wall map", "Bell wall [mm]", lambda text: figure(float(text) * 1000, 0))
    spoil("comma-decimal", "Slide card", "Outer bore [mm]", lambda text: text.replace(".", ","))
    _split_comma(spoiler)
    for _ in range(2):
        spoil("volume-balance", "Drawing log", "Tube length [mm]", _swapped_digits)
        _spreadsheet_date(spoiler)
    spoil("not-a-number", "Valve card", "Valve leak [cm3/min]", lambda _: "n. g.")
    spoil("missing-value", "Lacquer card", "Thickness [um]", lambda _: "")
    spoil("negative-count", "Lacquer defects card", "Lacquer defects", lambda text: f"-{max(1, int(text))}")


def _swapped_digits(text: str) -> str:
    """Return a length of three digits with two of them changed over, clearly off whatever they are."""
    if text[1] not in ("0", text[0]):
        return text[1] + text[0] + text[2]
    return text[0] + "8" + text[2]


def _spreadsheet_date(spoiler: Spoiler) -> None:
    """Put in a bore typed as 14.05 that a spreadsheet took for 14 May and keeps as a day number."""
    sheet, tab, _ = spoiler.pick("Slide card", "Outer bore [mm]", "tenor tenor-bass")
    at = tab.column("Outer bore [mm]")
    filled = [index for index, row in enumerate(tab.rows) if row[at] != ""]
    index = min(filled, key=lambda i: abs(float(tab.rows[i][at]) - 14.05))
    year = int(dict(tab.head)["Date"][:4])
    typed = Typed((date(year, 5, 14) - EXCEL_EPOCH).days)
    tab.rows[index][at] = typed
    spoiler.note("spreadsheet-date", sheet, tab, index, "Outer bore [mm]", typed, "14.05")


def _split_comma(spoiler: Spoiler) -> None:
    """Type a decimal comma on a bench whose csv is parted by commas: the figure falls into two cells."""
    column = "Slide force [N]"
    while True:
        sheet, tab, index = spoiler.pick("Slide force card", column)
        row = tab.rows[index]
        meant = row[-1]
        if "." in meant:
            break
    row[-1:] = meant.split(".")
    spoiler.note("comma-decimal", sheet, tab, index, column, meant.replace(".", ","), meant)


def _spoil_words(spoiler: Spoiler) -> None:
    """Spoil serials, codes, places and dates; some land on another piece that exists, the hardest to see."""
    spoil = spoiler.spoil
    spoil("unknown-serial", "Joints card", "Serial", lambda text: text.replace("0", "O", 1))
    spoil("unknown-serial", "Polishing card", "Serial", lambda text: f"QH-0{text[3:6]}")
    spoil("unknown-serial", "Slide force card", "Serial", lambda text: text.replace("QH-", "QH-7"))
    spoil("unknown-person", "Bell wall map", "Person", lambda text: f"{text}X")
    spoil("unknown-person", "Polishing card", "Person", lambda text: text[::-1])
    spoil("unknown-model", "Slide force card", "Model", lambda _: "tennor", "tenor")
    spoil("model-differs", "Slide force card", "Model", lambda _: "bass", "tenor")
    _neighbours_serial(spoiler)
    spoil("unknown-place", "Slide card", "Leg", lambda text: text.replace("pp", "p").replace("we", "ew"))
    for card in ("Polishing card", "Slide force card"):
        spoil("future-date", card, "Date", lambda text: f"{int(text[:4]) + 2}{text[4:]}")
    for _ in range(2):
        spoil("day-month-date", "Joints card", "Date", lambda text: f"{text[8:]}.{text[5:7]}.")


def _neighbours_serial(spoiler: Spoiler) -> None:
    """Change two digits of a serial over so that it is that of another instrument, some weeks apart."""
    while True:
        sheet, tab, index = spoiler.pick("Slide force card", "Serial")
        meant = tab.serials[index]
        typed = meant[:5] + meant[6] + meant[5]
        if abs(int(typed[3:]) - int(meant[3:])) >= 18 and typed in SERIALS and typed not in spoiler.used:
            break
    tab.rows[index][tab.column("Serial")] = Typed(typed)
    spoiler.used.add(typed)
    spoiler.note("doubled-serial", sheet, tab, index, "Serial", typed, meant)


def _double_rows(spoiler: Spoiler) -> None:
    for card, column in (
        ("Polishing card", "Mass loss [g]"),
        ("Drawing log", "Tube OD [mm]"),
        ("Valve card", "Valve play [um]"),
    ):
        sheet, tab, index = spoiler.pick(card, column)
        tab.rows.insert(index + 1, list(tab.rows[index]))
        tab.serials.insert(index + 1, tab.serials[index])
        spoiler.note("doubled-row", sheet, tab, index + 1, column, tab.rows[index][tab.column(column)], "")


def _spoil_whole_tabs(spoiler: Spoiler) -> None:
    _body_for_stocking(spoiler)
    _per_side(spoiler)
    _overdue_gauge(spoiler)
    _copied_run(spoiler, "Lacquer card", "Thickness [um]")
    _copied_run(spoiler, "Bell wall map", "Bell wall [mm]")


def _body_for_stocking(spoiler: Spoiler) -> None:
    column = "Inner OD [mm]"
    sheet, tab, _ = spoiler.pick("Slide card", column, "tenor tenor-bass bass")
    at, surface = tab.column(column), tab.column("Surface")
    stocking = [index for index, row in enumerate(tab.rows) if row[surface] == "stocking"]
    first = tab.rows[stocking[0]][at]
    for index in stocking:
        tab.rows[index][at] = Typed(figure(float(tab.rows[index][at]) - 0.1, 3))
    spoiler.note(
        "body-for-stocking", sheet, tab, stocking[0], column, tab.rows[stocking[0]][at], first, len(stocking)
    )


def _per_side(spoiler: Spoiler) -> None:
    """Make a tab that holds clearances, per side, in place of the two diameters."""
    sheet, tab, _ = spoiler.pick("Slide card", "Inner OD [mm]")
    rows = [row for row in tab.rows if row[3] == "stocking"]
    diametral = [1000.0 * (float(row[5]) - float(row[4])) for row in rows]
    tab.head.append(("Unit", "um per side"))
    tab.header = ["Leg", "Station", "Direction", "Clearance [um]"]
    tab.rows = [[*row[:3], figure(gap / 2, 0)] for row, gap in zip(rows, diametral, strict=True)]
    tab.serials = tab.serials[: len(rows)]
    typed, meant = tab.rows[0][3], figure(2 * float(tab.rows[0][3]), 0)
    spoiler.note("per-side", sheet, tab, 0, "Clearance [um]", typed, meant, len(rows))


def _overdue_gauge(spoiler: Spoiler) -> None:
    """Use the spare micrometer once more after its calibration ran out."""
    while True:
        sheet, tab, index = spoiler.pick("Slide card", "Inner OD [mm]")
        if dict(tab.head)["Date"] > "2026-03-31":
            break
    tab.head = [(label, "MIC-9" if label == "Micrometer" else value) for label, value in tab.head]
    cells = sum(row[4] != "" for row in tab.rows)
    spoiler.note("gauge-overdue", sheet, tab, 0, "Inner OD [mm]", "MIC-9", "MIC-2", cells)


def _copied_run(spoiler: Spoiler, card: str, column: str) -> None:
    """Copy the figures of the piece before down instead of measuring."""
    while True:
        sheet, tab, index = spoiler.pick(card, column)
        serial = tab.serials[index]
        own = [i for i, other in enumerate(tab.serials) if other == serial]
        if own[0] >= len(own) and tab.serials[own[0] - 1] not in spoiler.used:
            break
    at = tab.column(column)
    meant = tab.rows[own[0]][at]
    for i in own:
        tab.rows[i][at] = Typed(tab.rows[i - len(own)][at])
    spoiler.used.add(tab.serials[own[0] - 1])
    spoiler.note("copied-run", sheet, tab, own[0], column, tab.rows[own[0]][at], meant, len(own))
