"""Lays the tables of one sheet out as plain cards, one after another, and asks what its headings mean."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from qc.ingest.cards.asking import (
    cell_text,
    heading_line,
    hold_unknown,
    holds_figures,
    is_of_headings,
    left_open,
    read_by_unit,
    refuse_doubled,
    refuse_hinted,
    said_apart,
    told_by_cells,
    unknown_headings,
)
from qc.ingest.cards.contents import (
    MapOfPlaces,
    are_places,
    meant_by_cells,
    meant_by_map,
    meant_without_heading,
    nearest,
    settle_doubled,
)
from qc.ingest.cards.grouping import fill_boxes, refuse_wide, spread_groups
from qc.ingest.cards.heading_lines import TableOfSheet, said_of_rows
from qc.ingest.cards.headings import FIGURE, NUMBER, CardHeadings, Meaning
from qc.ingest.cards.headlines import Cell, HeadLine, HeadReader
from qc.ingest.cards.laid import BELOW, LayoutError, MeantColumn, PlainCard, address, repeated
from qc.ingest.cards.layout import part_sheet
from qc.ingest.cards.mapping import BESIDE, CardMapping, Mappings, ReadAs
from qc.ingest.cards.questions import HeadingsUnknown, by_content, mostly_figures
from qc.ingest.cards.recognition import CardSheet, plan_names, recognise_card
from qc.ingest.cards.sheet_words import SheetWords
from qc.ingest.cells import heading, is_worked_out_heading, known_field, plain
from qc.ingest.errors import SheetError
from qc.ingest.reading import Grid
from qc.ingest.shapes import WHAT, fill_rows, is_derived, shots
from qc.plan import PLACE, Card, Plan
from qc.words import listed

INHERITED = frozenset({"card", "day", "person", "gauge", "air_c", "a4_hz"})
"""What the head of a first table also says for the piece of a second one."""


MOST_SHOTS = 3
"""So many readings of a spot a card of that source takes."""


class Straightener:
    """Lays out the tables of one sheet, one after another."""

    def __init__(self, grid: Grid, plan: Plan, mappings: Mappings, words: SheetWords) -> None:
        self.grid, self.plan, self.mappings, self.words = grid, plan, mappings, words
        self.heads = HeadReader(plan)

    def cards(self, tables: Sequence[TableOfSheet]) -> list[CardSheet]:
        """Return every table as a card, the head of the first standing for the later ones too."""
        found: list[CardSheet] = []
        before: list[HeadLine] = []
        left: list[tuple[TableOfSheet, list[HeadLine], SheetError]] = []
        for table in (spread_groups(table, self.heads, self.words) for table in tables):
            head = [line for cells in table.head for line in self._head(cells)]
            own = {line.known for line in head if line.known}
            anew = "serial" in own and bool(before)
            kept = [
                line
                for line in before
                if line.known and line.known not in own and (not anew or line.known in INHERITED)
            ]
            before = [*kept, *head]
            try:
                found += self._card(table, before)
            except SheetError as error:
                if len(tables) < 2 or isinstance(error, HeadingsUnknown) or is_of_headings(error):
                    raise
                left.append((table, before, error))
        if left and not found:
            raise left[0][2]
        return [*found, *(left_open(self.grid, self.plan, found[0].card, *one) for one in left)]

    def _head(self, cells: list[Cell]) -> list[HeadLine]:
        """Return what a line above a table says; a place by itself is said of all its rows."""
        read = self.heads.read(cells)
        said = said_of_rows(cells, self.words) if not any(line.known for line in read) else {}
        return [HeadLine(kind, cell.text, kind, cell) for kind, cell in said.items()] or read

    def _card(self, table: TableOfSheet, head: list[HeadLine]) -> list[CardSheet]:
        named = [line.text for line in head if line.known == "card"]
        wanted = plain(named[0]) if named else plain(self.grid.tab)
        cards = [c for c in self.plan.cards if wanted in {plain(c.title), plain(c.id)}]
        mapping = self.mappings.of(heading_line(table), cards[0].id if cards else "")
        if mapping is not None and not (cards or named):
            cards = [c for c in self.plan.cards if c.id == mapping.card]
        if cards:
            return [self._lay_out(table, head, cards[0], mapping)]
        if named:
            raise LayoutError(
                self.grid.file,
                f"the plan has no card {named[0]}",
                f"The cards are: {listed([c.title for c in self.plan.cards])}.",
                tab=self.grid.tab,
            )
        found: list[CardSheet] = []
        rows = list(range(len(table.body)))
        fits: dict[int, list[str]] = {row: [] for row in rows}  # each row has to fit one card alone
        for card, sheet, used in self._fitting(table, head):
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
            titles = ", ".join(c.title for c in self.plan.cards)
            hint = f"Write Card and its name above the table; the cards are: {titles}."
            raise SheetError(self.grid.file, "the columns fit none of the plan's cards", hint)
        return found

    def _fitting(self, table: TableOfSheet, head: list[HeadLine]) -> list[tuple[Card, CardSheet, list[int]]]:
        """Return the cards that know every column; else the one that leaves fewest columns beside."""
        for strict in (True, False):
            tried = [(card, self._try(table, head, card, strict=strict)) for card in self.plan.cards]
            found = [(card, *taken) for card, taken in tried if taken is not None]
            if strict and found:
                return found
        beside = [len(sheet.read_as.beside) if sheet.read_as else 0 for _, sheet, _ in found]
        best = [one for one, count in zip(found, beside, strict=True) if count == min(beside)]
        return best if len(best) == 1 else []

    def _try(
        self, table: TableOfSheet, head: list[HeadLine], card: Card, *, strict: bool
    ) -> tuple[CardSheet, list[int]] | None:
        try:
            words = self.words.of(card)
            columns, beside = self._columns(table, head, words, None, strict=strict)
            if sum(c.meaning.figure for c in columns) < max(1, len(beside)):
                return None
            what = next((n for n, c in enumerate(columns) if c.meaning.field == WHAT), None)
            used = list(range(len(table.body)))
            if what is not None:
                at = columns[what].cell
                used = [  # a long table may hold the figures of several cards
                    n
                    for n, row in enumerate(table.body)
                    if (m := words.read(cell_text(row, table.headings.index(at)))) is not None and m.figure
                ]
                if not used:
                    return None
                table = replace(table, body=[table.body[n] for n in used])
            return self._lay_out(table, head, card, None, strict=strict), used
        except SheetError:
            return None

    def _at(self, cell: Cell, label: str = "") -> str:
        return address(self.grid, cell, label)

    def _columns(
        self,
        table: TableOfSheet,
        head: list[HeadLine],
        words: CardHeadings,
        mapping: CardMapping | None,
        *,
        strict: bool = False,
    ) -> tuple[list[MeantColumn], list[str]]:
        """Return what each heading means, and which mean nothing and are kept as a remark, or ask."""
        given = self._given(table, head, words)
        mapped = self._map(table, head, words, given) if mapping is None else {}
        found: list[MeantColumn] = []
        unknown: list[tuple[Cell, str]] = []
        numbers: list[tuple[Cell, str]] = []
        beside: list[str] = []
        counted = _counted(table, words, given)
        for index, cell in enumerate(table.headings):
            label = cell.text.strip()
            texts = [cell_text(row, index) for row in table.body]
            said = mapping.meant(label) if mapping is not None and label else ""
            meaning = (
                Meaning("note") if said == BESIDE else words.renamed(label, said, given) if label else None
            )
            fixed = (None if said else counted.get(index)) or mapped.get(index)
            if fixed is not None:
                found.append(MeantColumn(cell, fixed))
                continue
            if not said:
                meaning = meant_by_cells(meaning, texts, words, given | {c.meaning.field for c in found})
            if not label and meaning is None:
                meaning = self._by_cells(table, texts, {*given, *(c.meaning.field for c in found)})
            if not label and meaning is None:
                if any(texts):
                    raise SheetError(self.grid.file, "a column has figures but no heading", "Write over it.")
                continue
            if meaning is None and not said:
                meaning = self._by_cells(table, texts, {*given, *(c.meaning.field for c in found)})
            if (meaning is None or _is_open(meaning)) and self._is_derived(table, index, words):
                beside.append(label)
                found.append(MeantColumn(cell, Meaning("note")))
                continue
            if meaning is None:
                self._refuse_unit(label, words)
                if strict:
                    raise SheetError(
                        self.grid.file, f"{words.card.title} has no column {label}", "Name the card."
                    )
                meaning = Meaning("note")
                near = self._may_be(label, texts, words, given)
                if near:
                    unknown.append((cell, near))
                elif mostly_figures(texts) and not is_worked_out_heading(label):
                    numbers.append((cell, ""))
                beside.append(label)
            found.append(MeantColumn(cell, meaning))
        self._settle_unknown(table, found, words, unknown, numbers, beside)
        self._settle_doubled(table, found, words, given)
        return [column for column in found if column.meaning.field], beside

    def _settle_unknown(
        self,
        table: TableOfSheet,
        found: Sequence[MeantColumn],
        words: CardHeadings,
        unknown: list[tuple[Cell, str]],
        numbers: list[tuple[Cell, str]],
        beside: list[str],
    ) -> None:
        """Read unknown columns by their unit, hold their cells, or refuse where nothing else is read."""
        # figures that no heading of the card claims may be those that the card lacks
        there = {words.figure_of(c.meaning) for c in found if c.meaning.figure}
        lacking = not {FIGURE, "clearance"} & there and words.asked_for() - there
        unknown, numbers = (
            read_by_unit(table, found, some, words, there, beside) for some in (unknown, numbers)
        )
        if unknown or (numbers and (lacking or not there)):
            fault = unknown_headings(self.grid, [*unknown, *numbers], words)
            if not there or not hold_unknown(table, found, [*unknown, *numbers], fault):
                raise fault

    def _settle_doubled(
        self, table: TableOfSheet, found: Sequence[MeantColumn], words: CardHeadings, given: set[str]
    ) -> None:
        """Settle what counts the rows, and which of two columns of one meaning is meant."""
        fields = {c.meaning.field for c in found} | {k for c in found for k, _ in c.meaning.places} | given
        for column in found:
            if column.meaning.field == NUMBER:
                column.meaning = self._number(table, column, fields, words)
        cells = [[cell_text(row, table.headings.index(c.cell)) for row in table.body] for c in found]
        columns = [(c.meaning, c.cell.text.strip(), texts) for c, texts in zip(found, cells, strict=True)]
        for index, meaning in settle_doubled(columns, self.plan, self.words.is_serial).items():
            found[index].meaning = meaning
        refuse_doubled(self.grid, found)

    def _by_cells(self, table: TableOfSheet, texts: Sequence[str], taken: Collection[str]) -> Meaning | None:
        """Return what the cells of a column nobody knows can only be, and nothing else on the sheet says."""
        columns = ([cell_text(row, n) for row in table.body] for n in range(len(table.headings)))
        return meant_without_heading(texts, self.plan, taken, self.words.is_serial, columns)

    def _given(self, table: TableOfSheet, head: list[HeadLine], words: CardHeadings) -> set[str]:
        """Return the fields that the head and the headings say; a kind of place only over its cells."""
        found = {line.known for line in head if line.text}
        for index, cell in enumerate(table.headings):
            field = known_field(cell.text) if cell.text.strip() else ""
            texts = [text for row in table.body if (text := cell_text(row, index))]
            if field not in PLACE or not texts or are_places(field, texts, words):
                found.add(field)
        return found

    def _map(
        self, table: TableOfSheet, head: list[HeadLine], words: CardHeadings, given: set[str]
    ) -> dict[int, Meaning]:
        """Return what the columns of a map of places are; where nobody can tell which, it is asked."""
        read = [words.read(f"{line.label} {line.text}") for line in head if not line.known]
        named = [m for m in read if m is not None and m.figure and m.field != FIGURE]
        labels = [cell.text.strip() for cell in table.headings]
        rows = [[cell.text.strip() for cell in row] for row in table.body]
        own = known_field(labels[0]) if labels and labels[0] else ""
        around = given - ({own} if own in PLACE else set())
        leading = named[0] if len(named) == 1 else None
        found, ways = meant_by_map(MapOfPlaces(labels, rows, around, leading), words, self.words.is_serial)
        if len({frozenset((one.rows, one.columns)) for one in ways}) < len(ways):
            both = " or ".join(f"{one.rows} down and {one.columns} across" for one in ways[:2])
            problem = f"the numbers across and down may be {both}"
            hint = "Write in the corner which stand beside and which across: Position / Partial."
            cell = self._at(table.headings[0], labels[0])
            raise LayoutError(self.grid.file, problem, hint, tab=self.grid.tab, cell=cell)
        return found

    def _is_derived(self, table: TableOfSheet, index: int, words: CardHeadings) -> bool:
        """Tell whether a column was worked out from the figures beside it."""
        others = []
        for n, cell in enumerate(table.headings):
            meaning = words.read(cell.text.strip()) if n != index and cell.text.strip() else None
            texts = [cell_text(row, n) for row in table.body]
            figure = meaning is None or meaning.figure or meaning.field in {"r1", "r2", "r3", "note"}
            if n != index and figure and mostly_figures(texts):
                others.append(texts)
        texts = [cell_text(row, index) for row in table.body]
        return mostly_figures(texts) and is_derived(table.headings[index].text.strip(), texts, others)

    def _refuse_unit(self, label: str, words: CardHeadings) -> None:
        if heading(label, {}, words.units).stray_unit:
            raise SheetError(self.grid.file, f"the heading {label} names an unknown unit", "Mend it.")

    def _may_be(self, label: str, texts: list[str], words: CardHeadings, given: Collection[str]) -> str:
        """Return what a heading must be asked about, empty where its column is only kept beside.

        Words are asked about where the card would lack them otherwise; a column that was worked out never is.
        """
        if is_worked_out_heading(label):
            return ""
        near = nearest(label, words)
        if mostly_figures(texts):
            return near or self.words.elsewhere(label, words.card)
        field = known_field(near)
        lacking = field in {"serial", "model", "day", *PLACE} and field not in given
        return near if lacking or (field and by_content(texts, self.plan) == near.capitalize()) else ""

    def _number(
        self, table: TableOfSheet, column: MeantColumn, fields: set[str], words: CardHeadings
    ) -> Meaning:
        if "serial" not in fields:
            return Meaning("serial")
        texts = [text for row in table.body if (text := cell_text(row, table.headings.index(column.cell)))]
        spots = {spot for places in words.places.values() for spot in places.get("spot", ())}
        if "spot" not in fields and spots and set(texts) == spots:
            return Meaning("spot")  # exactly the plan's spots, and nothing else names them
        running = texts == [str(n) for n in range(1, len(texts) + 1)]
        return Meaning("" if running else "note")

    def _lay_out(
        self,
        table: TableOfSheet,
        head: list[HeadLine],
        card: Card,
        mapping: CardMapping | None,
        *,
        strict: bool = False,
    ) -> CardSheet:
        words = self.words.of(card)
        refuse_hinted(self.grid, self.plan, head, words, {known_field(cell.text) for cell in table.headings})
        table, head = said_apart(table, head, words, self.words)
        columns, beside = self._columns(table, head, words, mapping, strict=strict)
        at = {id(c): table.headings.index(c.cell) for c in columns}
        fields = {
            c.meaning.field: at[id(c)] for c in columns if not c.meaning.figure and c.meaning.field != "note"
        }
        figures = {at[id(c)] for c in columns if c.meaning.figure}
        rows = [[cell.text for cell in row] for row in table.body]
        given = {line.known for line in head if line.text}
        refuse_wide(self.grid, table)  # before the gaps are filled, which multiplies cells
        texts, dropped = fill_rows(fields, rows, figures, given)
        texts = fill_boxes(self.grid, table, texts, figures)
        below = [HeadLine(BELOW, text, "", table.body[n][0]) for n, text in dropped.items() if text]
        laid = PlainCard(self.grid, card, words, [*head, *below])
        for number, row in enumerate(table.body):
            if number in dropped:
                continue
            full = [*row, *(row[-1]._replace(text="") for _ in range(len(texts[number]) - len(row)))]
            cells = [cell._replace(text=text) for cell, text in zip(full, texts[number], strict=True)]
            laid.add(cells, columns, at)
        laid.add_said()
        laid.ask_open()
        sheet = recognise_card(part_sheet(laid.grid(), plan_names(self.plan)), self.plan)
        held = tuple(c.cell.text.strip() for c in columns if c.fault is not None)
        beside = [label for label in beside if label not in held]
        numbers = tuple(label for label in beside if holds_figures(table, label))
        told = told_by_cells(columns, words, mapping)
        read_as = ReadAs(card.id, heading_line(table), mapping, tuple(beside), numbers, told, held)
        return replace(sheet, read_as=read_as)


def _is_open(meaning: Meaning) -> bool:
    """Tell whether a heading is a clearance that does not say how it is meant: often it was worked out."""
    return meaning.field == "clearance" and not meaning.basis


def _counted(table: TableOfSheet, words: CardHeadings, given: Collection[str]) -> dict[int, Meaning]:
    """Return the columns that count the readings of a spot, or those of a figure without places."""
    labels = [cell.text.strip() for cell in table.headings]
    if words.card.source != "lacquer":
        return repeated(labels, words)
    found, places = shots(labels), {kind for known in words.places.values() for kind in known}
    fits = places <= set(given) and max(found.values(), default=0) <= MOST_SHOTS
    return {n: Meaning(f"r{shot}") for n, shot in found.items()} if fits else {}
