"""What a sheet is asked about whose headings nobody knows: one question for all of them."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import replace

from qc.ingest.cards.contents import figure_by_unit
from qc.ingest.cards.grouping import SAID
from qc.ingest.cards.heading_lines import TableOfSheet
from qc.ingest.cards.headings import CardHeadings, Meaning
from qc.ingest.cards.headlines import Cell, HeadLine, HeadReader
from qc.ingest.cards.laid import BELOW, LayoutError, MeantColumn, PlainCard, address, said_figure
from qc.ingest.cards.layout import part_sheet
from qc.ingest.cards.mapping import CardMapping, Mappings, SheetQuestion
from qc.ingest.cards.questions import (
    HeadingsUnknown,
    ask,
    ask_columns,
    known_headings,
    likeliest,
    mostly_figures,
    with_dates,
)
from qc.ingest.cards.recognition import FIXED_HEADINGS, CardSheet, plan_names, recognise_card
from qc.ingest.cards.sheet_words import SheetWords
from qc.ingest.cards.tables import cells_of
from qc.ingest.cells import is_worked_out_heading, known_field, plain, read_decimal
from qc.ingest.errors import SheetError
from qc.ingest.reading import Grid
from qc.plan import PLACE, Card, Plan
from qc.words import listed

LEFT_OPEN = "left open"
"""Field of a column of figures nobody knows: its cells are held under one question."""

_BY_CELLS = frozenset({"day", "serial", "person", "gauge", "model", *PLACE})


class SheetAsker:
    """Asks about the headings of one sheet."""

    def __init__(self, grid: Grid, plan: Plan, mappings: Mappings, heads: HeadReader) -> None:
        self.grid, self.plan, self.mappings, self.heads = grid, plan, mappings, heads

    def asked(self, told: SheetError, tables: Sequence[TableOfSheet]) -> SheetError:
        """Return a refusal with the question that a mapping would answer, if it is about headings."""
        about = "no column" in told.problem or "fit none" in told.problem or "no row of head" in told.problem
        if isinstance(told, HeadingsUnknown) or not about:
            return told
        question = self._question(tables)
        if question is None:
            return told
        if "fit none" in told.problem:
            hint = f"{told.hint} Any card may have {FIXED_HEADINGS}, beside its own figures."
            told = SheetError(told.file, told.problem, hint, tab=told.tab, cell=told.cell)
        elif not isinstance(told, LayoutError):
            labels = [column.typed for column in question.columns]
            words = next(CardHeadings(c, self.plan) for c in self.plan.cards if c.id == question.card)
            problem = f"{question.title} has no column{'s' * (len(labels) > 1)} {listed(labels)}"
            hint = f"Rename by what this card knows: {known_headings(words)}."
            told = SheetError(told.file, problem, hint, tab=told.tab, cell=told.cell)
        return ask(told, question)

    def with_question(
        self, found: Sequence[CardSheet], tables: Sequence[TableOfSheet]
    ) -> tuple[CardSheet, ...]:
        """Return the cards of a sheet; where cells are held the first carries the question."""
        held = next((n for n, s in enumerate(found) if s.read_as and s.read_as.left_open), None)
        if held is None:
            return tuple(found)
        question = self._question(tables)
        return tuple(replace(s, question=question) if n == held else s for n, s in enumerate(found))

    def _question(self, tables: Sequence[TableOfSheet]) -> SheetQuestion | None:
        """Return what to ask of the first table whose headings are not all known, in its card's words."""
        for table in tables or _bare_table(self.grid):
            head = [line for cells in table.head for line in self.heads.read(cells)]
            named = {plain(line.text) for line in head if line.known == "card"} or {plain(self.grid.tab)}
            line = heading_line(table)
            words = {card.id: CardHeadings(card, self.plan) for card in self.plan.cards}
            cards = [c for c in self.plan.cards if {plain(c.title), plain(c.id)} & named]
            cards = cards or likeliest(self.plan.cards, line, words)
            if not cards:
                return None
            own = words[cards[0].id]
            mapping = self.mappings.of(line, cards[0].id)
            columns = [
                (text, [cell_text(row, n) for row in table.body])
                for n, cell in enumerate(table.headings)
                if (text := cell.text.strip())
            ]
            open_ones = [
                (text, texts)
                for text, texts in columns
                if own.renamed(text, mapping.meant(text) if mapping else "") is None
            ]
            if open_ones:
                asked = ask_columns(own, open_ones, [t for t in line if t not in dict(open_ones)], self.plan)
                if len(cards) > 1:  # the card is to be chosen too: its figures must be there to choose from
                    others = [c.name for card in cards[1:] for c in words[card.id].figures.values()]
                    asked = tuple(column.with_more(others) for column in asked)
                question = SheetQuestion(
                    self.grid.file, self.grid.tab, own.card.id, own.card.title, line, asked,
                    cards=tuple((card.id, card.title) for card in cards),
                )  # fmt: skip
                texts = [text for _, below in columns for text in below]
                return with_dates(question, [*texts, *(line.text for line in head)])
        return None


def unknown_headings(grid: Grid, unknown: Sequence[tuple[Cell, str]], words: CardHeadings) -> LayoutError:
    """Return one question for all headings that may hold figures of the card."""
    unknown = sorted(unknown, key=lambda found: found[0].column)
    labels = [cell.text.strip() for cell, _ in unknown]
    many = "s" * (len(labels) > 1)
    problem = f"{words.card.title} has no column{many} {listed(labels)}"
    meant = [f"{cell.text.strip()} may be {near}" for cell, near in unknown if near]
    if meant:
        problem += f" ({', '.join(meant)})"
    hint = (
        f"Rename the column{many} by what this card knows: {known_headings(words)}. What belongs to no "
        "figure is kept as a remark where Note stands over it; a new figure goes into the plan first."
    )
    cell = address(grid, unknown[0][0], labels[0])
    return LayoutError(grid.file, problem, hint, tab=grid.tab, cell=cell)


def hold_unknown(
    table: TableOfSheet,
    found: Sequence[MeantColumn],
    unknown: Sequence[tuple[Cell, str]],
    fault: SheetError,
) -> bool:
    """Hold the cells of unknown columns of figures; False where one may say of which piece or place it is."""
    for cell, near in unknown:
        texts = [cell_text(row, table.headings.index(cell)) for row in table.body]
        if not mostly_figures(texts) or known_field(near) in {"serial", "model", "day", *PLACE}:
            return False
    for column in found:
        if any(column.cell is cell for cell, _ in unknown):
            column.meaning, column.fault = Meaning(LEFT_OPEN), fault
    return True


def read_by_unit(
    table: TableOfSheet,
    found: Sequence[MeantColumn],
    unknown: Sequence[tuple[Cell, str]],
    words: CardHeadings,
    there: set[str],
    beside: list[str],
) -> list[tuple[Cell, str]]:
    """Read unknown columns of figures that their unit tells; return those that nothing tells."""
    meant = {
        cell: m
        for cell, _ in unknown
        if (
            m := figure_by_unit(
                cell.text.strip(),
                [cell_text(row, table.headings.index(cell)) for row in table.body],
                words,
                there,
            )
        )
    }
    fields = [m.field for m in meant.values()]
    for column in found:
        own = meant.get(column.cell)
        if own is not None and fields.count(own.field) == 1:  # of two columns of one unit neither is told
            column.meaning = own
            there.add(own.field)
            beside.remove(column.cell.text.strip())
    return [(cell, near) for cell, near in unknown if cell not in meant or meant[cell].field not in there]


def told_by_cells(
    columns: Sequence[MeantColumn], words: CardHeadings, mapping: CardMapping | None
) -> tuple[tuple[str, str], ...]:
    """Return the headings that no word of the card explains, each with what its cells say it is."""
    names = {field: c.name for field, c in words.figures.items()}
    return tuple(
        (label, names.get(c.meaning.field, c.meaning.field))
        for c in columns
        if (label := c.cell.text.strip())
        and c.cell.column != SAID
        and (c.meaning.field in _BY_CELLS or (c.meaning.field in names and not c.meaning.places))
        and words.read(label) is None
        and not (mapping and mapping.meant(label))
    )


def refuse_doubled(grid: Grid, columns: Sequence[MeantColumn]) -> None:
    """Refuse two columns of one meaning, and a place that a heading and a column both name."""
    taken: dict[tuple[object, ...], str] = {}
    beside = {c.meaning.field: c.cell.text.strip() for c in columns if not c.meaning.figure}
    for column in columns:
        meaning, label = column.meaning, column.cell.text.strip()
        key = (meaning.field, meaning.places, meaning.span)
        also = next((beside[name] for name, _ in meaning.places if name in beside), None)
        if column.fault is None and meaning.field not in {"note", ""} and (key in taken or also is not None):
            problem = f"the headings {also or taken.get(key) or label} and {label} mean the same"
            hint = "Keep one of the two columns, or rename the one that holds something else."
            raise LayoutError(grid.file, problem, hint, tab=grid.tab, cell=address(grid, column.cell, label))
        taken[key] = label


def heading_line(table: TableOfSheet) -> tuple[str, ...]:
    """Return the heading line of a table as typed, without what lines of its own say."""
    return tuple(text for cell in table.headings if cell.column != SAID and (text := cell.text.strip()))


def _bare_table(grid: Grid) -> list[TableOfSheet]:
    """Return a sheet's table by its shape alone, where none of its headings is known."""
    try:
        parts = part_sheet(grid)
    except SheetError:
        return []
    rows = cells_of(grid)
    body = [rows[row] for row in parts.body]
    return [TableOfSheet(rows[: parts.header_row], rows[parts.header_row], body)]


def cell_text(row: Sequence[Cell], index: int) -> str:
    """Return what stands in a column of a row, empty beyond its end."""
    return row[index].text.strip() if index < len(row) else ""


def refuse_hinted(
    grid: Grid, plan: Plan, head: Sequence[HeadLine], words: CardHeadings, own: Collection[str]
) -> None:
    """Refuse what a line that nobody understood may say: a figure, or the valve of these notes."""
    for line in head:
        bare = not line.known and line.label and read_decimal(line.text) is not None
        if bare and (line.label.isdigit() or words.places_said(line.label)):
            problem = f"the line {line.label} {line.text} gives a figure, and does not say of what"
            hint = "Write it below the headings it belongs to, or write headings over it."
            where = address(grid, line.cell)
            raise LayoutError(grid.file, problem, hint, tab=grid.tab, cell=where)
    if words.card.source != "tuning" or "valve" in {*own, *(line.known for line in head)}:
        return
    valves = {plain(v.name) for model in plan.models for v in model.valves} | {"valve", "ventil"}
    for line in head:
        said = f"{line.label} {line.text}"
        if not line.known and valves & set(re.split(r"[^\w+]+", plain(said))):
            problem = f"the line {said.strip()} may say which valve these notes are of"
            hint = "Write it as Valve: and the name of the valve, or open."
            where = address(grid, line.cell)
            raise LayoutError(grid.file, problem, hint, tab=grid.tab, cell=where)


def left_open(
    grid: Grid, plan: Plan, card: Card, table: TableOfSheet, head: Sequence[HeadLine], error: SheetError
) -> CardSheet:
    """Return a table that cannot be read as rows with one question, where others are read."""
    laid = PlainCard(grid, card, CardHeadings(card, plan), list(head))
    labels = [cell.text.strip() for cell in table.headings]
    for row in table.body:
        for n, cell in enumerate(row):
            label = labels[n] if n < len(labels) else ""
            if read_decimal(cell.text) is not None and not known_field(label):
                laid.left_open.append(({}, cell, label, error))
    if not laid.left_open:
        raise error
    laid.ask_open(alone=False)
    return recognise_card(part_sheet(laid.grid(), plan_names(plan)), plan)


def said_apart(
    table: TableOfSheet, head: list[HeadLine], words: CardHeadings, plan_words: SheetWords
) -> tuple[TableOfSheet, list[HeadLine]]:
    """Take whole figures that stand below a map, ``Bell mass; 457,3 g``, out of its rows."""
    said: list[HeadLine] = []
    lone: list[HeadLine] = []  # Runs: 1
    rows: list[list[Cell]] = []
    for row in table.body:
        cells = [cell for cell in row if cell.text.strip()]
        line = None
        if len(cells) == 2 and row and cells[0] is row[0] and not plan_words.names_places(cells[0].text):
            line = HeadLine(cells[0].text.strip(), cells[1].text.strip(), "", cells[1])
        alone = HeadLine(BELOW, cells[0].text.strip(), "", cells[0]) if len(cells) == 1 else None
        if alone is not None and said_figure(alone, words):
            lone.append(alone)
        elif line is not None and said_figure(line, words):
            said.append(line)
        else:
            rows.append(row)
    named = any(row and plan_words.is_figure(row[0].text) for row in rows)
    if table.across or not rows:
        return table, head
    if named and said:
        kept = {line.cell.line for line in said}
        rows = [row for row in table.body if row in rows or (row and row[0].line in kept)]
        said = []
    return replace(table, body=rows), [*head, *said, *lone]


def holds_figures(table: TableOfSheet, label: str) -> bool:
    """Tell whether a column kept beside holds figures that were read and not worked out."""
    index = next(n for n, cell in enumerate(table.headings) if cell.text.strip() == label)
    texts = [cell_text(row, index) for row in table.body]
    return mostly_figures(texts) and not is_worked_out_heading(label)


def is_of_headings(error: SheetError) -> bool:
    """Tell whether a refusal is about headings, which a mapping would answer."""
    return "no column" in error.problem or "fit none" in error.problem
