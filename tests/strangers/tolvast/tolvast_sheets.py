"""Turns what the invented shop measured into the sheets that its benches hand in, slips included."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import tolvast_shop as shop
from numpy.typing import NDArray
from tolvast_shop import Card, Figure

Floats = NDArray[np.float64]
Row = dict[str, Any]


@dataclass
class Log:
    """What one kind of card was written for: a row a piece, in the order of measuring."""

    card: Card
    serials: list[str]
    models: list[str]
    days: list[date]
    person: list[str]
    batch: list[str]
    tool: list[str]
    gauges: dict[str, list[str]]
    rotating: bool
    taken: set[str] = field(default_factory=set)
    values: dict[str, Floats] = field(default_factory=dict)


@dataclass(frozen=True)
class Habit:
    """When the shop hands its cards in."""

    name: str
    work: tuple[date, ...]

    @classmethod
    def drawn(cls, work: Sequence[date], rng: np.random.Generator) -> Habit:
        """Draw one: every day, once a week, or the whole history at once."""
        return cls(str(rng.choice(["daily", "weekly", "whole"])), tuple(work))

    def after(self, day: date, days: int) -> date:
        """Give the working day so many working days on; past the last one every day counts."""
        at = self.work.index(day) + days
        left = at - len(self.work) + 1
        return self.work[at] if left <= 0 else self.work[-1] + timedelta(days=left)

    def day_of(self, measured: date, rng: np.random.Generator) -> date:
        """Give the day on which a card measured that day reaches the desk; some lie about for days."""
        if self.name == "whole":
            return self.work[-1]
        week = measured.isocalendar()[:2]
        same_week = [day for day in self.work if day.isocalendar()[:2] == week]
        usual = measured if self.name == "daily" else same_week[-1]
        return self.after(usual, int(rng.integers(3, 13))) if rng.random() < 0.05 else usual


@dataclass(frozen=True)
class Layout:
    """How one bench writes: file, mark between cells, decimal mark, days, a person in the head."""

    suffix: str
    mark: str
    comma: bool
    person_above: bool

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Layout:
        """Draw one of the four that the benches know."""
        above = bool(rng.random() < 0.4)
        kinds = [("csv", ";", True), ("csv", ",", False), ("csv", "\t", True), ("xlsx", "", False)]
        return cls(*kinds[int(rng.choice(4, p=[0.4, 0.25, 0.15, 0.2]))], above)


def heading(figure: Figure) -> str:
    """Heading under which a figure stands on its card."""
    if figure.id == "clearance":
        return "Clearance [um on diameter]"
    if figure.kind == "pass-fail":
        return figure.name
    return "Thickness" if figure.id == "thickness" else f"{figure.name} [{figure.unit}]"


def readings_of(log: Log, figure: Figure, rng: np.random.Generator) -> list[dict[tuple[str, ...], float]]:
    """Give each piece's readings by place, read to the gauge's step; their mean is the piece's figure."""
    spots = list(itertools.product(*figure.places.values()))
    pattern = 0.7 * figure.sd * rng.standard_normal(len(spots))
    pattern -= pattern.mean()
    pieces = []
    for value in log.values[figure.id]:
        within = 0.6 * figure.sd * rng.standard_normal(len(spots))
        raw = value + pattern + within - within.mean() if len(spots) > 1 else np.array([value])
        seen = np.round(raw / figure.step) * figure.step
        there = rng.random(len(spots)) > (0.015 if len(spots) > 1 else 0.0)
        there[int(rng.integers(len(spots)))] = True
        pieces.append(
            {spot: float(v) for spot, v, is_there in zip(spots, seen, there, strict=True) if is_there}
        )
    return pieces


def hand_in(log: Log, folder: Path, habit: Habit, rng: np.random.Generator) -> list[dict[str, Any]]:
    """Write every sheet of a kind of card, and give the rows that were handed in again put right."""
    figures = shop.figures_of(log.card)
    seen = {figure.id: readings_of(log, figure, rng) for figure in figures}
    layout = Layout.drawn(rng)
    sheets: dict[tuple[date, str], list[Row]] = {}
    corrected = []
    for i, measured in enumerate(log.days):
        day = habit.day_of(measured, rng)
        rows = list(_rows(log, i, seen))
        slip = int(rng.integers(len(rows))) if rows and rng.random() < 0.003 else None
        if slip is not None and any(
            f.kind == "measured" and rows[slip][heading(f)] is not None for f in figures
        ):
            right, wrong, note = _slipped(rows[slip], figures, rng)
            rows[slip] = wrong
            late = (
                habit.after(day, int(rng.integers(1, 12))) if day in habit.work else day + timedelta(days=1)
            )
            sheets.setdefault((late, "_corrected"), []).append(right)
            name = f"{late}/{log.card.id}_corrected.{layout.suffix}"
            corrected.append({"card": log.card.id, "serial": log.serials[i], "sheet": name, **note})
        sheets.setdefault((day, ""), []).extend(rows)
    for (day, ending), rows in sheets.items():
        if rows:
            _write(folder / str(day) / f"{log.card.id}{ending}.{layout.suffix}", log.card, rows, layout)
    return corrected


def _rows(log: Log, i: int, seen: dict[str, list[dict[tuple[str, ...], float]]]) -> Iterator[Row]:
    """Give the rows of one piece on its card: one a place, with every figure of the card."""
    card, figures = log.card, shop.figures_of(log.card)
    start: Row = {
        "Date": log.days[i],
        "Serial": log.serials[i],
        "Model": log.models[i],
        "Person": log.person[i],
    }
    for gauge_class, used in log.gauges.items():
        start["Gauge" if len(log.gauges) == 1 else gauge_class.capitalize()] = used[i]
    if card.tool:
        start["Tool"] = log.tool[i]
    if card.batch:
        start["Batch"] = log.batch[i]
    for spot in dict.fromkeys(spot for figure in figures for spot in seen[figure.id][i]):
        place = {name.capitalize(): word for name, word in zip(figures[0].places, spot, strict=True)}
        found = {heading(f): seen[f.id][i].get(spot) for f in figures}
        cells = {name: None if v is None or math.isnan(v) else v for name, v in found.items()}
        if any(cell is not None for cell in cells.values()):
            yield {**start, **place, **cells}


def _slipped(
    row: Row, figures: Sequence[Figure], rng: np.random.Generator
) -> tuple[Row, Row, dict[str, Any]]:
    """Give a row as it is, as it was first written down, and what differs: one to three steps."""
    figure = next(f for f in figures if f.kind == "measured" and row[heading(f)] is not None)
    true = row[heading(figure)]
    typed = true + figure.step * int(rng.integers(1, 4))
    places = _decimals(figure)
    note = {"characteristic": figure.id, "first": round(typed, places), "then": round(true, places)}
    return row, {**row, heading(figure): typed}, note


def _decimals(figure: Figure) -> int:
    """Digits behind the point that a gauge of this step shows."""
    return max(0, -math.floor(math.log10(figure.step)))


def _write(path: Path, card: Card, rows: Sequence[Row], layout: Layout) -> None:
    """Write a sheet: a head, a blank row, a table; a cell like the one in the head is left empty."""
    head: list[list[Any]] = [["Card", card.title]]
    written = [dict(row) for row in rows]
    if layout.person_above:
        people = [row["Person"] for row in rows]
        usual = max(sorted(set(people)), key=people.count)
        head.append(["Person", usual])
        written = [{**row, "Person": None if row["Person"] == usual else row["Person"]} for row in written]
    names = list(rows[0])
    cells = [[_cell(name, row[name], card, layout) for name in names] for row in written]
    path.parent.mkdir(parents=True, exist_ok=True)
    table = [*head, [], names, *cells]
    if layout.suffix == "xlsx":
        table = [[*line, *[None] * (len(names) - len(line))] for line in table]
        with pd.ExcelWriter(path, engine="xlsxwriter", date_format="YYYY-MM-DD") as book:
            book.book.set_properties({"created": datetime(2026, 1, 1)})
            pd.DataFrame(table, dtype=object).to_excel(book, sheet_name="Sheet", header=False, index=False)
        return
    lines = [layout.mark.join("" if cell is None else str(cell) for cell in line) for line in table]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _cell(name: str, value: Any, card: Card, layout: Layout) -> Any:
    """Write one value the way the bench does."""
    figure = next((f for f in shop.figures_of(card) if heading(f) == name), None)
    workbook = layout.suffix == "xlsx"
    if value is None:
        return None
    if isinstance(value, date):
        return value if workbook else value.strftime("%d.%m.%Y") if layout.comma else value.isoformat()
    if figure is None:
        return int(value) if workbook and str(value).isdigit() else value
    if figure.kind == "pass-fail":
        return "x" if value else "ok"
    if workbook:
        return round(value, _decimals(figure)) if figure.kind == "measured" else int(value)
    text = f"{value:.{_decimals(figure)}f}"
    return text.replace(".", ",") if layout.comma else text
