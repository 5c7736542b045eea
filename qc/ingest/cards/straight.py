"""Lays a sheet out as the plainest card: a head of labels, one row of headings, a figure under its own name.

Benches write the same figures in many shapes: a column a station, a column a piece, a row a figure, several
tables below each other, a head in one line. Every shape is brought into the plainest here, each figure
keeping the cell it was typed in, so that one reader reads them all. A shape that may be read in two ways is
refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from qc.ingest.cards.filling import fill_rows, needs_filling
from qc.ingest.cards.headings import NUMBER, WHAT, CardHeadings, Meaning
from qc.ingest.cards.headlines import Cell, HeadLine, HeadReader
from qc.ingest.cards.laid import LayoutError, MeantColumn, PlainCard, address
from qc.ingest.cards.layout import HeadValue, Parts, part_sheet
from qc.ingest.cards.recognition import FIXED_HEADINGS, CardSheet, plan_names, recognise_card
from qc.ingest.cards.tables import SheetWords, TableOfSheet, heading_rows, split_tables
from qc.ingest.cells import heading, known_field, plain, read_decimal
from qc.ingest.errors import SheetError
from qc.ingest.reading import Grid
from qc.plan import PLACE, Card, Plan
from qc.words import closest, listed

INHERITED = frozenset({"card", "day", "person", "gauge", "air_c", "a4_hz"})
"""What the head of a first table also says for the piece of a second one."""


def read_cards(grid: Grid, plan: Plan) -> tuple[CardSheet, ...]:
    """Find the card or cards on a sheet, however it is laid out.

    Parameters
    ----------
    grid : Grid
        The sheet as read.
    plan : Plan
        The measuring plan.

    Returns
    -------
    tuple of CardSheet
        One for each table; a sheet that is plain already comes back as it stands.

    Raises
    ------
    SheetError
        The card is not known, a heading fits nothing or two things, or figures stand where none can be read.
    """
    fault, sheet = None, None
    try:
        parts = part_sheet(grid, plan_names(plan))
        sheet = recognise_card(parts, plan)
        if not _asks_more(parts, grid):
            words = None if _one_heading_row(parts) else SheetWords(plan)
            if words is None or len(heading_rows(grid, words)) < 2:
                return (_filled(sheet),)
    except SheetError as error:
        fault = error
    words = SheetWords(plan)
    tables = split_tables(grid, words)
    try:
        found = _Straightener(grid, plan, words).cards(tables)
    except SheetError as error:
        if sheet is not None and len(tables) < 2 and not grid.boxes:
            return (_filled(sheet),)
        raise (fault if fault is not None and not isinstance(error, LayoutError) else error) from None
    if not found and fault is not None:
        raise fault
    return tuple(found)


def _asks_more(parts: Parts, grid: Grid) -> bool:
    """Tell whether the head holds more than labels with one value each, or cells are drawn as one."""
    if grid.boxes and any(box[2] >= parts.header_row for box in grid.boxes):
        return True
    titles = 0
    for row in range(parts.header_row):
        cells = [text for text in grid.rows[row] if text.strip()]
        if len(cells) > 2:
            return True
        if len(cells) == 1 and not known_field(cells[0].partition(":")[0]):
            titles += 1
            if titles > 1 or any(sign.isdigit() for sign in cells[0]):
                return True
        elif len(cells) == 2 and not known_field(cells[0]) and plain(cells[0]) == plain(parts.title):
            return True
    return False


def _one_heading_row(parts: Parts) -> bool:
    """Tell, quickly, that no row of the table and no line of the head can be another row of headings."""
    grid = parts.grid
    for row, texts in enumerate(grid.rows):
        if row > parts.header_row and texts and texts[0][:1].isdigit():
            continue  # headings begin with a word
        words = sum(1 for text in texts if text[:1].isalpha())
        if (
            row != parts.header_row
            and words > 1
            and sum(bool(known_field(text)) for text in texts[:8] if text) > 1
        ):
            return False
        if row < parts.header_row and words > 2:
            return False
    return True


def _filled(sheet: CardSheet) -> CardSheet:
    """Fill blocks and ditto marks of a plain card; the sheet itself where it has none."""
    parts = sheet.parts
    fields = {name: column.index for name, column in sheet.columns.items()}
    texts = [parts.grid.rows[row] for row in parts.body]
    if not needs_filling(fields, texts):
        return sheet
    figures = {i for name, i in fields.items() if name not in PLACE and name not in _IDENTITY}
    rows, dropped = fill_rows(fields, texts, figures, {n for n, v in sheet.head.items() if v.text})
    whole = list(parts.grid.rows)
    for row, cells in zip(parts.body, rows, strict=True):
        whole[row] = tuple(cells[: max(len(parts.grid.rows[row]), _last(cells))])
    body = tuple(row for number, row in enumerate(parts.body) if number not in dropped)
    grid = replace(parts.grid, rows=tuple(whole))
    said = tuple(_below(text, parts) for text in dropped.values() if text)
    return replace(sheet, parts=replace(parts, grid=grid, body=body), extra=(*sheet.extra, *said))


def _last(cells: Sequence[str]) -> int:
    return max((number for number, text in enumerate(cells, start=1) if text.strip()), default=0)


_IDENTITY = frozenset("serial day time person model gauge batch tool note repeat".split())


def _below(text: str, parts: Parts) -> HeadValue:
    label, colon, value = text.partition(":")
    if not colon:
        label, value = "below the table", text
    return HeadValue(label, heading(""), value.strip(), parts.header_row, 0)


class _Straightener:
    """Lays out the tables of one sheet, one after another."""

    def __init__(self, grid: Grid, plan: Plan, words: SheetWords) -> None:
        self.grid, self.plan, self.words = grid, plan, words
        self.heads = HeadReader(plan)

    def cards(self, tables: Sequence[TableOfSheet]) -> list[CardSheet]:
        """Return every table as a card, the head of the first standing for the later ones too."""
        found: list[CardSheet] = []
        before: list[HeadLine] = []
        for table in tables:
            head = [line for cells in table.head for line in self.heads.read(cells)]
            own = {line.known for line in head if line.known}
            anew = "serial" in own and bool(before)
            kept = [
                line
                for line in before
                if line.known and line.known not in own and (not anew or line.known in INHERITED)
            ]
            before = [*kept, *head]
            found += self._card(table, before)
        return found

    def _card(self, table: TableOfSheet, head: list[HeadLine]) -> list[CardSheet]:
        named = [line.text for line in head if line.known == "card"]
        wanted = plain(named[0]) if named else plain(self.grid.tab)
        cards = [c for c in self.plan.cards if wanted in {plain(c.title), plain(c.id)}]
        if cards:
            return [self._lay_out(table, head, cards[0])]
        if named:
            raise LayoutError(
                self.grid.file,
                f"the plan has no card {named[0]}",
                f"The cards are: {listed([c.title for c in self.plan.cards])}.",
                tab=self.grid.tab,
            )
        found: list[CardSheet] = []
        rows = list(range(len(table.body)))
        fits: dict[int, list[str]] = {row: [] for row in rows}
        for card in self.plan.cards:
            taken = self._try(table, head, card)
            if taken is not None:
                sheet, used = taken
                found.append(sheet)
                for row in used:
                    fits[row].append(card.title)
        doubled = sorted({title for titles in fits.values() if len(titles) > 1 for title in titles})
        lost = [row for row, titles in fits.items() if not titles]
        if doubled or (found and lost):
            problem = (
                f"the columns fit {listed(doubled)}"
                if doubled
                else "a row names a figure of no card of the plan"
            )
            cell = self._at(table.body[lost[0]][0]) if lost else ""
            titles = ", ".join(c.title for c in self.plan.cards)
            hint = f"Write Card and its name above the table; the cards are: {titles}."
            raise LayoutError(self.grid.file, problem, hint, tab=self.grid.tab, cell=cell)
        if not found:
            raise SheetError(self.grid.file, "the columns fit none of the plan's cards", "Name the card.")
        return found

    def _try(
        self, table: TableOfSheet, head: list[HeadLine], card: Card
    ) -> tuple[CardSheet, list[int]] | None:
        try:
            columns = self._columns(table, head, CardHeadings(card, self.plan), strict=True)
            if not any(c.meaning.figure for c in columns):
                return None
            what = next((n for n, c in enumerate(columns) if c.meaning.field == WHAT), None)
            used = list(range(len(table.body)))
            if what is not None:
                words = CardHeadings(card, self.plan)
                at = columns[what].cell
                used = [
                    n
                    for n, row in enumerate(table.body)
                    if (m := words.read(_text(row, table.headings.index(at)))) is not None and m.figure
                ]
                if not used:
                    return None
                table = replace(table, body=[table.body[n] for n in used])
            return self._lay_out(table, head, card, strict=True), used
        except SheetError:
            return None

    def _at(self, cell: Cell, label: str = "") -> str:
        return address(self.grid, cell, label)

    def _columns(
        self, table: TableOfSheet, head: list[HeadLine], words: CardHeadings, *, strict: bool
    ) -> list[MeantColumn]:
        """Return what each heading means; what means nothing is kept as a note, or asked about."""
        given = {line.known for line in head if line.text} | {
            known_field(cell.text) for cell in table.headings if cell.text.strip()
        }
        found: list[MeantColumn] = []
        unknown: list[tuple[Cell, str]] = []
        for index, cell in enumerate(table.headings):
            label = cell.text.strip()
            texts = [_text(row, index) for row in table.body]
            if not label:
                if any(texts):
                    raise SheetError(self.grid.file, "a column has figures but no heading", "Write over it.")
                continue
            if heading(label, {}, words.units).stray_unit:
                raise SheetError(self.grid.file, f"the heading {label} names an unknown unit", "Mend it.")
            meaning = words.read(label, given)
            if meaning is None:
                if strict:
                    raise SheetError(
                        self.grid.file, f"{words.card.title} has no column {label}", "Name the card."
                    )
                meaning = Meaning("note")
                near = self._near(label, words)
                if near or _mostly_figures(texts):
                    unknown.append((cell, near or self.words.elsewhere(label, words.card)))
            found.append(MeantColumn(cell, meaning))
        if unknown:
            raise self._unknown(unknown, words)
        fields = {c.meaning.field for c in found} | given
        for column in found:
            if column.meaning.field == NUMBER:
                column.meaning = self._number(table, column, fields)
        self._refuse_doubled(found)
        return [column for column in found if column.meaning.field]

    def _refuse_doubled(self, columns: Sequence[MeantColumn]) -> None:
        """Refuse two columns of one meaning, and a place that a heading and a column both name."""
        taken: dict[tuple[object, ...], str] = {}
        beside = {c.meaning.field: c.cell.text.strip() for c in columns if not c.meaning.figure}
        for column in columns:
            meaning, label = column.meaning, column.cell.text.strip()
            key = (meaning.field, meaning.places)
            also = next((beside[name] for name, _ in meaning.places if name in beside), None)
            if meaning.field not in {"note", ""} and (key in taken or also is not None):
                problem = f"the headings {also or taken[key]} and {label} mean the same"
                hint = "Keep one of the two columns, or rename the one that holds something else."
                cell = self._at(column.cell, label)
                raise LayoutError(self.grid.file, problem, hint, tab=self.grid.tab, cell=cell)
            taken[key] = label

    def _near(self, label: str, words: CardHeadings) -> str:
        """Return what a heading may have been meant for, empty where nothing is close."""
        places = words.open_places(label)
        if places:
            return " or ".join(places)
        return closest(plain(label), [*words.names, *words.short, *(name for name in _COMMON)])

    def _unknown(self, unknown: Sequence[tuple[Cell, str]], words: CardHeadings) -> LayoutError:
        """Return one question for all headings that may hold figures of the card."""
        labels = [cell.text.strip() for cell, _ in unknown]
        many = "s" * (len(labels) > 1)
        problem = f"{words.card.title} has no column{many} {listed(labels)}"
        meant = [f"{cell.text.strip()} may be {near}" for cell, near in unknown if near]
        if meant:
            problem += f" ({', '.join(meant)})"
        known = ", ".join([*(c.name for c in words.figures.values()), FIXED_HEADINGS])
        hint = (
            f"Rename the column{many} by what this card knows: {known}. What belongs to no figure is kept as "
            "a remark where Note stands over it; a new figure goes into the plan first."
        )
        cell = self._at(unknown[0][0], labels[0])
        return LayoutError(self.grid.file, problem, hint, tab=self.grid.tab, cell=cell)

    def _number(self, table: TableOfSheet, column: MeantColumn, fields: set[str]) -> Meaning:
        if "serial" not in fields:
            return Meaning("serial")
        texts = [_text(row, table.headings.index(column.cell)) for row in table.body]
        running = [text for text in texts if text] == [
            str(n) for n in range(1, len([t for t in texts if t]) + 1)
        ]
        return Meaning("" if running else "note")

    def _lay_out(
        self, table: TableOfSheet, head: list[HeadLine], card: Card, *, strict: bool = False
    ) -> CardSheet:
        words = CardHeadings(card, self.plan)
        columns = self._columns(table, head, words, strict=strict)
        at = {id(c): table.headings.index(c.cell) for c in columns}
        fields = {
            c.meaning.field: at[id(c)] for c in columns if not c.meaning.figure and c.meaning.field != "note"
        }
        figures = {at[id(c)] for c in columns if c.meaning.figure}
        rows = [[cell.text for cell in row] for row in table.body]
        given = {line.known for line in head if line.text}
        self._refuse_wide(table)
        texts, dropped = fill_rows(fields, rows, figures, given)
        texts = self._boxed(table, texts, figures)
        below = [
            HeadLine("below the table", text, "", table.body[n][0]) for n, text in dropped.items() if text
        ]
        laid = PlainCard(self.grid, card, words, [*head, *below])
        for number, row in enumerate(table.body):
            if number in dropped:
                continue
            full = [*row, *(row[-1]._replace(text="") for _ in range(len(texts[number]) - len(row)))]
            cells = [cell._replace(text=text) for cell, text in zip(full, texts[number], strict=True)]
            laid.add(cells, columns, at)
        return recognise_card(part_sheet(laid.grid(), plan_names(self.plan)), self.plan)

    def _refuse_wide(self, table: TableOfSheet) -> None:
        for row in table.body:
            extra = [cell for cell in row[len(table.headings) :] if cell.text.strip()]
            if extra:
                hint = (
                    "Write a heading over each column; a figure split at its comma is written with a point."
                )
                problem = "the row has more cells than there are headings"
                raise LayoutError(self.grid.file, problem, hint, tab=self.grid.tab, cell=self._at(extra[0]))

    def _boxed(self, table: TableOfSheet, texts: list[list[str]], figures: set[int]) -> list[list[str]]:
        """Fill what is drawn as one cell over several rows; a figure for several rows is refused."""
        rows = {row[0].line: n for n, row in enumerate(table.body) if row}
        for top, left, bottom, right in self.grid.boxes:
            lines = [
                rows.get(self.grid.lines[row]) for row in range(top, min(bottom + 1, len(self.grid.lines)))
            ]
            inside = [n for n in lines if n is not None]
            if table.across or len(inside) < 2 and (not inside or left == right):
                continue
            if left != right or left in figures:
                cell = self._at(table.body[inside[0]][0]._replace(column=left))
                hint = "Unmerge the cells and type the text into each row it is meant for."
                raise LayoutError(self.grid.file, "cells are merged", hint, tab=self.grid.tab, cell=cell)
            for n in inside[1:]:
                texts[n] += [""] * (left + 1 - len(texts[n]))
                texts[n][left] = texts[inside[0]][left]
        return texts


_COMMON = (
    "serial",
    "model",
    "date",
    "person",
    "gauge",
    "tool",
    "batch",
    "note",
    "station",
    "spot",
    "direction",
)


def _mostly_figures(texts: Sequence[str]) -> bool:
    filled = [text for text in texts if text]
    return bool(filled) and 2 * sum(read_decimal(text) is not None for text in filled) >= len(filled)


def _text(row: Sequence[Cell], index: int) -> str:
    return row[index].text.strip() if index < len(row) else ""
