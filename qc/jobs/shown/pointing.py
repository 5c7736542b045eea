"""A sheet that waits for its layout, pointed at: its cells, what each may be, what comes of it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import Final, TypeAlias

import polars as pl

from qc.ingest import (
    POINTED,
    Grid,
    MappingError,
    Mappings,
    SheetError,
    SheetLayout,
    batch_reader,
    choices_of,
    head_cells,
    layout_of_pointing,
    layouts_text,
    propose_pointing,
    read_layout_texts,
    unfold,
)
from qc.ingest import PointedLine as PointedLine
from qc.ingest import Pointing as Pointing
from qc.jobs.rows import UnreadSheet, figure_words, place_words, waiting_sheets
from qc.jobs.workshop import Workshop
from qc.plan import Plan
from qc.words import dated_words, unit_words

LINES, COLUMNS = 40, 20
"""So much of a sheet is shown; chosen: enough to see how its pieces follow each other."""

KEPT: Final = 8  # sheets whose cells stay in memory; chosen
PREVIEWED: Final = 3
"""Pieces read for a look; chosen: the first may be odd, three alike are none by chance."""

Answer: TypeAlias = Mapping[str, Sequence[str]]
"""The fields of the form: `card`, `are`, `first`, `name`, `at`, `meant` and `unit` in step, `said-FACT`."""


@dataclass(frozen=True, slots=True)
class PointedSheet:
    """What a person sees of a sheet that waits, and what is proposed.

    Attributes
    ----------
    about : UnreadSheet
        Whose it is, and why it was refused.
    tab : str
        The tab that is shown, empty for csv.
    lines : tuple of (int, tuple of str)
        Line of the file and its cells, as many as are shown.
    columns : int
        How many columns are shown.
    cut : bool
        Whether the sheet holds more.
    cards : tuple of (str, str)
        Id and title of each card that may be shown so.
    choices : mapping of str to str
        What a line may hold, and how that reads.
    heads : mapping of str to str
        Cells of the head, address -> text.
    pointing : Pointing
        What is proposed, or was chosen.
    name : str
        What the layout would be called.
    """

    about: UnreadSheet
    tab: str
    lines: tuple[tuple[int, tuple[str, ...]], ...]
    columns: int
    cut: bool
    cards: tuple[tuple[str, str], ...]
    choices: Mapping[str, str]
    heads: Mapping[str, str]
    pointing: Pointing
    name: str


@dataclass(frozen=True, slots=True)
class Preview:
    """What would be read: faults of the layout or of the sheet, else the first pieces and what is left over.

    Attributes
    ----------
    text : str
        The layout as it would be remembered.
    faults : tuple of str
        Why it cannot be read so; nothing else is told then.
    pieces : tuple of (str, tuple of str)
        Serial and day of a piece, and its figures in words.
    rows : int
        Readings in all.
    left : tuple of str
        Cells with numbers that are not taken.
    """

    text: str
    faults: tuple[str, ...] = ()
    pieces: tuple[tuple[str, tuple[str, ...]], ...] = ()
    rows: int = 0
    left: tuple[str, ...] = ()


class ShownData:
    """Answers the page on which a sheet's layout is shown.

    Parameters
    ----------
    current : callable
        Gives the open workshop.
    """

    def __init__(self, current: Callable[[], Workshop]) -> None:
        self._workshop = current
        self._lock = threading.Lock()
        self._grids: dict[str, Grid] = {}

    def waiting(self) -> tuple[UnreadSheet, ...]:
        """Return the sheets that wait for their layout."""
        return waiting_sheets(self._workshop())

    def pointed(self, sheet: str, answer: Answer) -> PointedSheet | None:
        """Return a sheet with what is proposed for it, None where no such sheet waits.

        Parameters
        ----------
        sheet : str
            The SHA-256 of its bytes.
        answer : Answer
            Card, way and first piece as far as they were chosen.
        """
        about = next((one for one in self.waiting() if one.sheet == sheet), None)
        if about is None:
            return None
        workshop = self._workshop()
        grid, plan = self._grid(about, workshop), workshop.plan
        cards = tuple((one.id, one.title) for one in plan.cards if one.event is None)
        card = _one(answer, "card") if _one(answer, "card") in dict(cards) else ""
        pointing = propose_pointing(grid, plan, card, _one(answer, "are"), _first(answer))
        own = next(one for one in plan.cards if one.id == pointing.card)
        lines = tuple(
            (line, row[:COLUMNS]) for line, row in zip(grid.lines[:LINES], grid.rows[:LINES], strict=True)
        )
        widest = max((len(row) for row in grid.rows), default=0)
        cut = len(grid.rows) > LINES or widest > COLUMNS
        name = _one(answer, "name") or PurePath(about.file).stem
        heads = head_cells(grid, pointing)
        return PointedSheet(
            about,
            grid.tab,
            lines,
            min(widest, COLUMNS),
            cut,
            cards,
            choices_of(own, plan),
            heads,
            pointing,
            name,
        )

    def preview(self, sheet: str, answer: Answer) -> Preview | None:
        """Return what would be read as a person pointed, None where no such sheet waits."""
        seen = self.pointed(sheet, answer)
        if seen is None:
            return None
        workshop = self._workshop()
        grid = self._grid(seen.about, workshop)
        pointing = _answered(seen, answer)
        text = layouts_text([layout_of_pointing(grid, workshop.plan, seen.name, pointing)])
        if lacking := _lacking(pointing):
            return Preview(text, lacking)
        try:
            layouts = read_layout_texts(text, "The layout", workshop.plan)
            return _read(text, grid, workshop.plan, layouts)
        except MappingError as error:
            return Preview(text, tuple(f"{fault.problem}. {fault.mend}" for fault in error.faults))
        except SheetError as error:
            return Preview(text, (str(error),))

    def _grid(self, about: UnreadSheet, workshop: Workshop) -> Grid:
        """Read a sheet in the process that may break; its first tab is shown."""
        with self._lock:
            if about.sheet not in self._grids:
                with batch_reader() as reader:
                    grids = reader.read(about.file, workshop.store.sheet_bytes(about.sheet))
                while len(self._grids) >= KEPT:
                    self._grids.pop(next(iter(self._grids)))
                self._grids[about.sheet] = grids[0]
            return self._grids[about.sheet]


def _one(answer: Answer, name: str) -> str:
    return next(iter(answer.get(name, ())), "").strip()


def _first(answer: Answer) -> int | None:
    text = _one(answer, "first")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else None


def _answered(seen: PointedSheet, answer: Answer) -> Pointing:
    """Return the pointing as answered: what is not in the answer stays as it is proposed."""
    pointing = seen.pointing
    meant = dict(zip(answer.get("at", ()), answer.get("meant", ()), strict=False))
    units = dict(zip(answer.get("at", ()), answer.get("unit", ()), strict=False))

    def told(one: PointedLine) -> PointedLine:
        choice = meant.get(str(one.at), one.meaning)
        known = choice if choice in seen.choices else ""
        return replace(one, meaning=known, unit=units.get(str(one.at), one.unit).strip())

    said = dict(pointing.said) | {
        name.removeprefix("said-"): _one(answer, name) for name in answer if name.startswith("said-")
    }
    cells = tuple((fact, cell) for fact, cell in said.items() if cell in seen.heads and fact in seen.choices)
    return replace(pointing, lines=tuple(map(told, pointing.lines)), said=cells)


def _lacking(pointing: Pointing) -> tuple[str, ...]:
    """Say what every sheet needs and was not pointed at yet."""
    meant = {one.meaning for one in pointing.lines} | {fact for fact, _ in pointing.said}
    what = "column" if pointing.are == "rows" else "row"
    said = []
    if "serial" not in meant:
        said.append(f"Say in which {what} the serial stands, or which cell says it for all pieces.")
    if not meant - {"", *POINTED}:
        said.append(f"Say of one {what} at least which figure stands in it.")
    return tuple(said)


def _read(text: str, grid: Grid, plan: Plan, layouts: tuple[SheetLayout, ...]) -> Preview:
    part = unfold(grid, plan, Mappings(given_layouts=layouts))
    pieces: list[tuple[str, tuple[str, ...]]] = []
    for (serial,), rows in part.readings.group_by("serial", maintain_order=True):
        if len(pieces) < PREVIEWED:
            first = rows.row(0, named=True)
            day = dated_words(first["day"]) if first["day"] else first["day_text"] or "no date"
            pieces.append((f"{serial or 'no serial'}, {day}", tuple(_figures(rows, plan))))
    left = part.through.left if part.through is not None else ()
    return Preview(text, (), tuple(pieces), part.readings.height, left)


def _figures(rows: pl.DataFrame, plan: Plan) -> list[str]:
    return [
        f"{', '.join(filter(None, (figure_words(row, plan), place_words(row))))}: {row['text'] or 'blank'} "
        f"{unit_words(row['unit'] or '')}".rstrip()
        for row in rows.iter_rows(named=True)
    ]
