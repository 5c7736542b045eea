"""What a sheet is asked about whose headings nobody knows: one question for all of them."""

from __future__ import annotations

from collections.abc import Sequence

from qc.ingest.cards.grouping import SAID
from qc.ingest.cards.heading_lines import TableOfSheet
from qc.ingest.cards.headings import CardHeadings
from qc.ingest.cards.headlines import Cell, HeadReader
from qc.ingest.cards.laid import LayoutError, address
from qc.ingest.cards.layout import part_sheet
from qc.ingest.cards.mapping import Mappings
from qc.ingest.cards.questions import (
    HeadingsUnknown,
    SheetQuestion,
    ask,
    ask_columns,
    known_headings,
    likeliest,
    with_dates,
)
from qc.ingest.cards.recognition import FIXED_HEADINGS
from qc.ingest.cards.tables import cells_of
from qc.ingest.cells import plain
from qc.ingest.errors import SheetError
from qc.ingest.reading import Grid
from qc.plan import Plan
from qc.words import listed


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
