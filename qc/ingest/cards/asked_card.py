"""A card as the table one question asks for: its figures and labels as text, each with the cell it stood in.

A question such as "how much to cut" needs no workshop. So a card is read here by the reader of cards with a
plan of one card: that of the question, in the words of the workshop's plan where there is one.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from qc.ingest.cards.asked_plan import (
    TRIAL,
    CardQuestion,
    allowed_headings,
    figure_name,
    plan_of_question,
    renamed,
    upright,
    with_card,
)
from qc.ingest.cards.headings import FIGURE, NUMBER_WORDS, WHAT_WORDS
from qc.ingest.cards.recognition import VALUE, CardSheet
from qc.ingest.cards.rows import Row, RowReader
from qc.ingest.cards.sheet_words import SheetWords
from qc.ingest.cards.straight import read_cards
from qc.ingest.cards.tables import heading_rows
from qc.ingest.cells import (
    FACTORS,
    SUMMARY,
    convert,
    is_blank_mark,
    known_field,
    plain,
    possible_days,
    read_number,
)
from qc.ingest.errors import SheetError
from qc.ingest.reading import Grid
from qc.plan import Plan

STAND_INS = ("batch", "method", "hours", "cause", "a4_hz", "wrap_out_mm")
"""Names of ours under which a column travels that only the question names."""

NUMBERS = {"air_c": "C", "a4_hz": "Hz", "main_out_mm": "mm", "wrap_out_mm": "mm", "tool_count": ""}
"""Figures beside the readings -> the unit they are wanted in."""

_BESIDE_OPEN = {"area": {"part", "serial", "spot"}, "station": {"serial", "direction"}}
"""Place that unknown headings may be -> headings one of which has to stand beside them."""


@dataclass(frozen=True, slots=True)
class AskedRow:
    """One row: cells by our names, and where each stood."""

    line: int
    cells: Mapping[str, str]
    at: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class AskedTable:
    """A card as rows under our names.

    Attributes
    ----------
    file : str
        The file, with its tab where it has one.
    rows : tuple of AskedRow
        One for each row of the plainest layout that holds a figure.
    said : mapping of str to (str, str)
        What the head says under our names, and in which cell.
    unread : tuple of str
        Headings of columns that the question does not know.
    empty : int
        Rows that hold no figure.
    """

    file: str
    rows: tuple[AskedRow, ...]
    said: Mapping[str, tuple[str, str]]
    unread: tuple[str, ...]
    empty: int

    @property
    def names(self) -> tuple[str, ...]:
        """Every name of ours that any row has a cell for."""
        return tuple(dict.fromkeys(name for row in self.rows for name in row.cells))


def read_asked(grids: Sequence[Grid], question: CardQuestion, plan: Plan | None = None) -> AskedTable:
    """Read a card as the table of one question, whatever layout it came in.

    Parameters
    ----------
    grids : sequence of Grid
        The tabs of a file; those that hold no such table are passed over as long as one does.
    question : CardQuestion
        What is asked.
    plan : Plan, optional
        The workshop's plan, whose models, people, places and units are understood then.

    Returns
    -------
    AskedTable
        Figures written with a point and no unit, in the unit asked for; what is no figure stays as typed.

    Raises
    ------
    SheetError
        No tab holds the table; the message names the headings that are allowed.
    """
    found: list[AskedTable] = []
    fault: SheetError | None = None
    named = [grid for grid in grids if question.source != "bench" or _names(grid, question)]
    for grid in named or grids:
        try:
            found.append(_Asker(grid, question, plan).table())
        except SheetError as error:
            fault = fault or error
    if not found:
        raise fault or SheetError("the file", "holds no table", "Fill it in.")
    if len(found) == 1:
        return found[0]
    return AskedTable(
        grids[0].file,
        tuple(row for one in found for row in one.rows),
        {name: value for one in reversed(found) for name, value in one.said.items()},
        tuple(dict.fromkeys(label for one in found for label in one.unread)),
        sum(one.empty for one in found),
    )


def _names(grid: Grid, question: CardQuestion) -> bool:
    """Tell whether a tab names a figure of the question: one that does not is another table."""
    names = {figure_name(name) for name in question.figures} | set(question.words)
    return any(figure_name(text) in names for cells in grid.rows for text in cells if text[:1].isalpha())


class _Asker:
    """Reads one tab for one question."""

    def __init__(self, grid: Grid, question: CardQuestion, plan: Plan | None) -> None:
        self.question, self.given = question, plan
        self.stands = self._stand_ins(grid)
        told = renamed(grid, self._words())
        self.grid = upright(told) if question.source == "tuning" else told
        self.plan = plan_of_question(question, plan, self._open_words(), self._beside(), self._counted())
        self.unread: list[str] = []
        self.headed = False

    def table(self) -> AskedTable:
        """Return the rows of every table on the tab."""
        grid = self.grid
        known = self._without_strangers(grid)
        named = with_card(known, self.plan.cards[0].title, headed=self.headed)
        try:
            sheets = read_cards(named, self.plan)
            self.headed = True
        except SheetError as error:
            raise self._refused(error) from None
        rows: list[AskedRow] = []
        said: dict[str, tuple[str, str]] = {}
        empty = 0
        for sheet in sheets:
            for row in RowReader(sheet, self.plan).rows():
                found = self._row(sheet, row)
                rows += [found] if found else []
                empty += not found
            for name, value in sheet.head.items():
                if value.text and name != "card":
                    said.setdefault(name, (value.text, sheet.parts.grid.cell(value.row, value.column)))
        if not rows:
            raise self._refused(SheetError(grid.file, "no figure stands in it", "", tab=grid.tab))
        place = f"{grid.file}, tab {grid.tab}" if grid.tab else grid.file
        return AskedTable(place, tuple(rows), said, tuple(self.unread), empty)

    def _row(self, sheet: CardSheet, row: Row) -> AskedRow | None:
        """Return a row under the names of the question, None where none of its figures is filled."""
        grid = sheet.parts.grid
        if "cells" in row.bad or row.joined:
            hint = "With decimal commas put the cells in quotes, or separate them by semicolons."
            problem = "more cells than columns"
            raise SheetError(grid.file, problem, hint, tab=grid.tab, cell=row.cell(next(iter(sheet.columns))))
        cells: dict[str, str] = {}
        at: dict[str, str] = {}
        filled = False
        for name in dict.fromkeys([*sheet.columns, *sheet.head]):
            typed = row.text(name)
            if name == "card" or not typed:
                continue
            column, unit = self._figure(name)
            if column is not None:
                if is_blank_mark(typed):
                    continue
                heading = sheet.columns[name].heading if name in sheet.columns else None
                typed, filled = _decimal(typed, heading.unit if heading else "", unit), True
            elif name == "day":
                days = possible_days(typed)
                typed = days[0].isoformat() if len(days) == 1 else typed
            elif name in NUMBERS:
                typed = _decimal(typed, "", NUMBERS[name])
            out = column or self.stands.get(name, name)
            cells[out], at[out] = typed, row.cell(name)
        return AskedRow(grid.lines[row.index], cells, at) if filled else None

    def _figure(self, name: str) -> tuple[str | None, str]:
        """Return what a figure is called in the answer and its unit, None where the name is no figure."""
        figures = self.question.figures
        if self.question.source == "bench":
            number = name.removeprefix(f"{VALUE}figure-") if name.startswith(VALUE) else ""
            if not number:
                return None, ""
            column = list(figures)[int(number)]
            return column, figures[column]
        return (name, figures[name]) if name in figures else (None, "")

    def _stand_ins(self, grid: Grid) -> dict[str, str]:
        """Return name of ours -> the question's own name for a column that no heading of ours fits."""
        there = {known_field(text) for cells in grid.rows[:60] for text in cells if text}
        free = [name for name in STAND_INS if name not in there]
        own = [label for label in self.question.labels if not known_field(label)]
        return {stand: label for stand, label in zip(free, own, strict=False)}

    def _words(self) -> dict[str, str]:
        words = dict(self.question.words)
        for stand, label in self.stands.items():
            words[figure_name(label)] = stand.replace("_", " ")
        return words

    def _beside(self) -> tuple[str, ...]:
        """Return the figures the card holds too: they must not pass for the one asked for."""
        names = {figure_name(text) for cells in self.grid.rows for text in cells if text[:1].isalpha()}
        named = {known_field(name) for name in names}
        return tuple(name for name in self.question.beside if name in named)

    def _counted(self) -> str:
        """Return the place that numbers in the headings count: spots, where no heading says ``St. 1``."""
        for cells in self.grid.rows[:60]:
            for text in cells:
                word, number = plain(text).rpartition(" ")[::2] if plain(text)[-1:].isdigit() else ("", "")
                if number.isdigit() and known_field(word) in {"station", "direction", "spot"}:
                    return known_field(word)
        return "spot"

    def _open_words(self) -> tuple[str, ...]:
        """Return the words of the headings that can only be places, where the question has such."""
        if not self.question.open_place:
            return ()
        words = SheetWords(plan_of_question(self.question, self.given))
        found: dict[str, None] = {}
        for index, cells in enumerate(self.grid.rows[:60]):
            fields = {known_field(text) for text in cells if text}
            if self.question.source == "lacquer" and "spot" not in fields:
                continue
            if not fields & _BESIDE_OPEN[self.question.open_place] or fields & {"person", *self._named()}:
                continue
            row: dict[str, None] = {}
            below = next((below for below in self.grid.rows[index + 1 :] if any(below)), ())
            if not below or _means(below[0], words):
                continue  # headings in the first column: what stands beside them are pieces
            for texts in self.grid.rows[max(0, index - 1) : index + 1]:
                for column, text in enumerate(texts):
                    word = re.sub(r"[\s./_-]*\d*$", "", TRIAL.sub("", text).strip())
                    figure = column < len(below) and _is_number(below[column])
                    strange = word and not _means(word, words) and plain(word) not in SUMMARY
                    if strange and (figure or (texts is not cells and sum(map(bool, texts)) > 1)):
                        row[word] = None
            if len(row) > 1:  # one column of figures may be anything
                found |= row
        return tuple(found)

    def _without_strangers(self, grid: Grid) -> Grid:
        """Leave out columns that the question does not know: it computes with none of them."""
        words = SheetWords(self.plan)
        starts = heading_rows(grid, words)
        self.headed = bool(starts)
        rows = [list(cells) for cells in grid.rows]
        for start, end in zip(starts, [*starts[1:], len(rows)], strict=False):
            self._take_units(rows, start, words)
            self._without_other_figures(rows, start, end, words)
            read = [words.cards[0].read(text) for text in grid.rows[start]]
            named = any(m is not None and m.figure and m.field not in {FIGURE, ""} for m in read)
            for column, text in enumerate(grid.rows[start]):
                # where the figure is named, a bare place is another figure of that place
                bare = named and (m := read[column]) is not None and m.field == FIGURE and bool(m.places)
                if text.strip() and (bare or not _means(text, words) or plain(text) in SUMMARY):
                    self.unread.append(text.strip())
                    for cells in rows[start:end]:
                        if column < len(cells):
                            cells[column] = ""
        if not starts:
            self._without_strange_rows(rows, words)
        return replace(grid, rows=tuple(tuple(cells) for cells in rows))

    def _take_units(self, rows: list[list[str]], start: int, words: SheetWords) -> None:
        """Write units that stand in a row of their own behind the headings above them."""
        below = next((n for n in range(start + 1, len(rows)) if any(rows[n])), start)
        filled = [text for text in rows[below] if text.strip()]
        if below == start or not filled or not all(words.is_unit(text) for text in filled):
            return
        for column, unit in enumerate(rows[below]):
            if unit.strip() and column < len(rows[start]) and rows[start][column].strip():
                rows[start][column] += f" [{unit.strip().strip('[]()')}]"
        rows[below][:] = [""] * len(rows[below])

    def _without_other_figures(self, rows: list[list[str]], start: int, end: int, words: SheetWords) -> None:
        """Leave out the rows of a long card that name a figure nobody asks for."""
        what = next((n for n, text in enumerate(rows[start]) if plain(text) in WHAT_WORDS), None)
        if what is None:
            return
        for cells in rows[start + 1 : end]:
            said = cells[what].strip() if what < len(cells) else ""
            meant = words.cards[0].read(said) if said else None
            if said and (meant is None or not meant.figure or known_field(said) not in {"", *self._named()}):
                cells[:] = [""] * len(cells)

    def _named(self) -> set[str]:
        return {*self.question.figures, *self.question.beside}

    def _without_strange_rows(self, rows: list[list[str]], words: SheetWords) -> None:
        """Leave out rows of a sheet that is written across, one piece a column."""
        for cells in rows:
            filled = [text for text in cells if text.strip()]
            strange = len(filled) > 2 and cells[0].strip() and not _means(cells[0], words)
            if strange and all(text[:1].isdigit() for text in filled[1:]):
                self.unread.append(cells[0].strip())
                cells[:] = [""] * len(cells)

    def _refused(self, error: SheetError) -> SheetError:
        """Return the refusal with the headings that are allowed."""
        hint, problem, cell = error.hint, error.problem, error.cell
        allowed = f"Headings that are read here: {allowed_headings(self.question)}."
        if not self.headed or "fit none" in problem or "no figure" in problem:
            names = [name for name in self.question.figures if name not in {"r1", "r2", "r3", "base"}]
            widest = max(self.grid.rows, key=lambda cells: sum(map(bool, cells)), default=())
            there = ", ".join(text.strip() for text in widest if text.strip()) or "nothing"
            problem, cell = f"no column of {' or '.join(names)} is found (there are: {there})", ""
            hint = ""
        hint = f"{hint} {allowed}" if hint and "plan" not in hint else allowed
        return SheetError(error.file, problem, hint, tab=error.tab, cell=cell)


def _is_number(text: str) -> bool:
    return read_number(text, comma_decimal=True).value is not None


def _means(text: str, words: SheetWords) -> bool:
    return words.is_label(text) or words.kind(text) == "place" or plain(text) in NUMBER_WORDS


def _decimal(typed: str, written: str, wanted: str) -> str:
    """Write a figure with a point and without its unit, in the unit wanted; what is none stays as typed."""
    unit = written or wanted
    value = read_number(typed, unit, comma_decimal=True).value
    if value is None:
        return typed
    if wanted and unit != wanted and (unit, wanted) in FACTORS:
        value = convert(value, unit, wanted)
    return repr(value)


def is_one_table(grids: Sequence[Grid]) -> bool:
    """Tell whether the first line is as wide as any: a table without a head."""
    widths = [sum(bool(text.strip()) for text in cells) for cells in grids[0].rows] if grids else []
    filled = [width for width in widths if width]
    return bool(filled) and filled[0] == max(filled)


def first_line(grids: Sequence[Grid]) -> list[str]:
    """Return the first filled line of a sheet, its cells trimmed."""
    cells = next((cells for cells in grids[0].rows if any(cells)), ()) if grids else ()
    return [text.strip() for text in cells]
