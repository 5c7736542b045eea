"""Lays the tables of one sheet out as plain cards, one after another, and asks what its headings mean."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from qc.ingest.cards.contents import meant_by_cells, meant_without_heading
from qc.ingest.cards.filling import fill_rows
from qc.ingest.cards.grouping import SAID, fill_boxes, refuse_wide, spread_groups
from qc.ingest.cards.heading_lines import TableOfSheet
from qc.ingest.cards.headings import FIGURE, NUMBER, WHAT, CardHeadings, Meaning
from qc.ingest.cards.headlines import Cell, HeadLine, HeadReader
from qc.ingest.cards.laid import BELOW, LayoutError, MeantColumn, PlainCard, address
from qc.ingest.cards.layout import part_sheet
from qc.ingest.cards.mapping import BESIDE, CardMapping, Mappings, ReadAs
from qc.ingest.cards.questions import (
    HeadingsUnknown,
    SheetQuestion,
    ask,
    ask_columns,
    by_content,
    known_headings,
    likeliest,
    mostly_figures,
    with_dates,
)
from qc.ingest.cards.recognition import FIXED_HEADINGS, CardSheet, plan_names, recognise_card
from qc.ingest.cards.tables import SheetWords, cells_of
from qc.ingest.cells import heading, is_worked_out_heading, known_field, plain
from qc.ingest.errors import SheetError
from qc.ingest.reading import Grid
from qc.plan import PLACE, Card, Plan
from qc.words import closest, listed

INHERITED = frozenset({"card", "day", "person", "gauge", "air_c", "a4_hz"})
"""What the head of a first table also says for the piece of a second one."""


class Straightener:
    """Lays out the tables of one sheet, one after another."""

    def __init__(self, grid: Grid, plan: Plan, mappings: Mappings, words: SheetWords) -> None:
        self.grid, self.plan, self.mappings, self.words = grid, plan, mappings, words
        self.heads = HeadReader(plan)

    def cards(self, tables: Sequence[TableOfSheet]) -> list[CardSheet]:
        """Return every table as a card, the head of the first standing for the later ones too."""
        found: list[CardSheet] = []
        before: list[HeadLine] = []
        for table in (spread_groups(table, self.heads, self.words) for table in tables):
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
        mapping = self.mappings.of(_line(table), cards[0].id if cards else "")
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
        fits: dict[int, list[str]] = {row: [] for row in rows}
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
            words = CardHeadings(card, self.plan)
            columns, beside = self._columns(table, head, words, None, strict=strict)
            if sum(c.meaning.figure for c in columns) < max(1, len(beside)):
                return None
            what = next((n for n, c in enumerate(columns) if c.meaning.field == WHAT), None)
            used = list(range(len(table.body)))
            if what is not None:
                at = columns[what].cell
                used = [
                    n
                    for n, row in enumerate(table.body)
                    if (m := words.read(_text(row, table.headings.index(at)))) is not None and m.figure
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
        given = {line.known for line in head if line.text} | {
            known_field(cell.text) for cell in table.headings if cell.text.strip()
        }
        found: list[MeantColumn] = []
        unknown: list[tuple[Cell, str]] = []
        numbers: list[tuple[Cell, str]] = []
        beside: list[str] = []
        for index, cell in enumerate(table.headings):
            label = cell.text.strip()
            texts = [_text(row, index) for row in table.body]
            said = mapping.meant(label) if mapping is not None and label else ""
            meaning = (
                Meaning("note") if said == BESIDE else words.renamed(label, said, given) if label else None
            )
            if not said:
                meaning = meant_by_cells(meaning, texts, words, given | {c.meaning.field for c in found})
            if not label and meaning is None:
                taken = given | {c.meaning.field for c in found}
                meaning = meant_without_heading(texts, self.plan, taken, self.words.is_serial)
            if not label and meaning is None:
                if any(texts):
                    raise SheetError(self.grid.file, "a column has figures but no heading", "Write over it.")
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
        # figures that no heading of the card claims may be those that the card lacks
        there = {words.figure_of(c.meaning) for c in found if c.meaning.figure}
        lacking = not {FIGURE, "clearance"} & there and words.asked_for() - there
        if unknown or (numbers and (lacking or not there)):
            raise self._unknown([one for one in (*unknown, *numbers) if one], words)
        fields = {c.meaning.field for c in found} | {k for c in found for k, _ in c.meaning.places} | given
        for column in found:
            if column.meaning.field == NUMBER:
                column.meaning = self._number(table, column, fields, words)
        self._refuse_doubled(found)
        return [column for column in found if column.meaning.field], beside

    def _refuse_unit(self, label: str, words: CardHeadings) -> None:
        if heading(label, {}, words.units).stray_unit:
            raise SheetError(self.grid.file, f"the heading {label} names an unknown unit", "Mend it.")

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
            line = _line(table)
            words = {card.id: CardHeadings(card, self.plan) for card in self.plan.cards}
            cards = [c for c in self.plan.cards if {plain(c.title), plain(c.id)} & named]
            cards = cards or likeliest(self.plan.cards, line, words)
            if not cards:
                return None
            own = words[cards[0].id]
            mapping = self.mappings.of(line, cards[0].id)
            columns = [
                (text, [_text(row, n) for row in table.body])
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

    def _refuse_doubled(self, columns: Sequence[MeantColumn]) -> None:
        """Refuse two columns of one meaning, and a place that a heading and a column both name."""
        taken: dict[tuple[object, ...], str] = {}
        beside = {c.meaning.field: c.cell.text.strip() for c in columns if not c.meaning.figure}
        for column in columns:
            meaning, label = column.meaning, column.cell.text.strip()
            key = (meaning.field, meaning.places, meaning.span)
            also = next((beside[name] for name, _ in meaning.places if name in beside), None)
            if meaning.field not in {"note", ""} and (key in taken or also is not None):
                problem = f"the headings {also or taken[key]} and {label} mean the same"
                hint = "Keep one of the two columns, or rename the one that holds something else."
                cell = self._at(column.cell, label)
                raise LayoutError(self.grid.file, problem, hint, tab=self.grid.tab, cell=cell)
            taken[key] = label

    def _may_be(self, label: str, texts: list[str], words: CardHeadings, given: Collection[str]) -> str:
        """Return what a heading must be asked about, empty where its column is only kept beside.

        Words are asked about where the card would lack them otherwise; a column that was worked out never is.
        """
        if is_worked_out_heading(label):
            return ""
        near = self._near(label, words)
        if mostly_figures(texts):
            return near or self.words.elsewhere(label, words.card)
        field = known_field(near)
        lacking = field in {"serial", "model", "day", *PLACE} and field not in given
        return near if lacking or (field and by_content(texts, self.plan) == near.capitalize()) else ""

    def _near(self, label: str, words: CardHeadings) -> str:
        """Return what a heading may have been meant for, empty where nothing is close."""
        places = words.open_places(label)
        if places:
            return " or ".join(places)
        name = plain(label)
        bare = name.rstrip("0123456789 ")
        begun = next((w for w in (*words.names, *words.short) if name.startswith(f"{w} ")), "")
        allowed = [*words.names, *words.short, *_COMMON]
        return begun or closest(name, allowed) or (closest(bare, allowed) if bare != name else "")

    def _unknown(self, unknown: Sequence[tuple[Cell, str]], words: CardHeadings) -> LayoutError:
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
        cell = self._at(unknown[0][0], labels[0])
        return LayoutError(self.grid.file, problem, hint, tab=self.grid.tab, cell=cell)

    def _number(
        self, table: TableOfSheet, column: MeantColumn, fields: set[str], words: CardHeadings
    ) -> Meaning:
        if "serial" not in fields:
            return Meaning("serial")
        texts = [text for row in table.body if (text := _text(row, table.headings.index(column.cell)))]
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
        words = CardHeadings(card, self.plan)
        columns, beside = self._columns(table, head, words, mapping, strict=strict)
        at = {id(c): table.headings.index(c.cell) for c in columns}
        fields = {
            c.meaning.field: at[id(c)] for c in columns if not c.meaning.figure and c.meaning.field != "note"
        }
        figures = {at[id(c)] for c in columns if c.meaning.figure}
        rows = [[cell.text for cell in row] for row in table.body]
        given = {line.known for line in head if line.text}
        refuse_wide(self.grid, table)
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
        sheet = recognise_card(part_sheet(laid.grid(), plan_names(self.plan)), self.plan)
        numbers = tuple(label for label in beside if self._holds_figures(table, label))
        return replace(sheet, read_as=ReadAs(card.id, _line(table), mapping, tuple(beside), numbers))

    def _holds_figures(self, table: TableOfSheet, label: str) -> bool:
        index = next(n for n, cell in enumerate(table.headings) if cell.text.strip() == label)
        texts = [_text(row, index) for row in table.body]
        return mostly_figures(texts) and not is_worked_out_heading(label)


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


def _line(table: TableOfSheet) -> tuple[str, ...]:
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


def _text(row: Sequence[Cell], index: int) -> str:
    return row[index].text.strip() if index < len(row) else ""
