"""What the headings of a bench mean where they are not ours: confirmed once, used each time they come."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from qc.ingest.cells import plain
from qc.ingest.layouts import SheetLayout
from qc.ingest.reading import Grid
from qc.plain import JsonObject
from qc.words import dated_words, listed

BESIDE = "keep beside"
"""What a mapping says of a column that holds no figure of the card: it stays with the sheet as a remark."""

ORDERS = {"day-first": "the day first", "month-first": "the month first"}
"""Which way round a bench writes dates with strokes, as a mapping says it and as a person reads it."""


@dataclass(frozen=True, slots=True)
class ColumnQuestion:
    """One unknown heading: what stands below it, what it may be (nearest first), and a guess or none."""

    typed: str
    examples: tuple[str, ...]
    allowed: tuple[str, ...]
    guess: str = ""

    def with_more(self, labels: Iterable[str]) -> ColumnQuestion:
        """Return the same question with further headings to choose from, before keeping it beside."""
        more = dict.fromkeys((*self.allowed[:-1], *labels, BESIDE))
        return replace(self, allowed=tuple(more))


@dataclass(frozen=True, slots=True)
class DateQuestion:
    """A date that can be read two ways: as typed, with the day first, with the month first."""

    typed: str
    day_first: date | None
    month_first: date | None

    def sentence(self) -> str:
        """Say both days that the date may mean."""
        days = (self.day_first, "day first"), (self.month_first, "month first")
        ways = [f"{dated_words(day)} with the {order}" for day, order in days if day is not None]
        if len(ways) == 1:
            return f"Its dates seem to be written with the month first: {self.typed} can only be {ways[0]}."
        return f"Its dates can be read two ways: {self.typed} is {' or '.join(ways)}."

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "typed": self.typed,
            "day_first": self.day_first.isoformat() if self.day_first else None,
            "month_first": self.month_first.isoformat() if self.month_first else None,
        }


@dataclass(frozen=True, slots=True)
class SheetQuestion:
    """What a mapping has to answer for one table of a sheet.

    Attributes
    ----------
    file, tab : str
        Where it stands.
    card, title : str
        Id and title of the card, the likeliest where the sheet names none.
    headings : tuple of str
        The heading line as typed.
    columns : tuple of ColumnQuestion
        The headings nobody knows, all of them.
    dates : DateQuestion or None
        A date that can be read two ways.
    cards : tuple of (str, str)
        Id and title of all cards it may be, the likeliest first; one where the sheet names it.
    """

    file: str
    tab: str
    card: str
    title: str
    headings: tuple[str, ...]
    columns: tuple[ColumnQuestion, ...] = ()
    dates: DateQuestion | None = None
    cards: tuple[tuple[str, str], ...] = ()

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "file": self.file,
            "tab": self.tab,
            "card": self.card,
            "title": self.title,
            "headings": list(self.headings),
            "columns": [
                {"typed": c.typed, "examples": list(c.examples), "allowed": list(c.allowed), "guess": c.guess}
                for c in self.columns
            ],
            "dates": self.dates.to_dict() if self.dates else None,
            "cards": [list(card) for card in self.cards],
        }


@dataclass(frozen=True, slots=True)
class CardMapping:
    """The headings of one bench in the words of a card.

    Attributes
    ----------
    card : str
        Id of the card that the sheet is.
    columns : tuple of (str, str)
        Heading as typed -> heading as the card knows it, or `BESIDE`.
    dates : str
        One of `ORDERS`, empty where the bench was not asked.
    headings : tuple of str
        The heading line it was confirmed for, as typed; empty for a mapping that was handed in by itself.
    """

    card: str
    columns: tuple[tuple[str, str], ...] = ()
    dates: str = ""
    headings: tuple[str, ...] = ()

    @property
    def line(self) -> tuple[str, ...]:
        """The heading line in plain form: what a bench is known by, with the card."""
        return plain_line(self.headings)

    def meant(self, typed: str) -> str:
        """Return what a heading means, empty where the mapping does not name it."""
        name = plain(typed)
        return next((meant for known, meant in self.columns if plain(known) == name), "")

    def is_for(self, headings: Sequence[str]) -> bool:
        """Tell whether a heading line is the one it was confirmed for; handed in by itself, one it names."""
        line = plain_line(headings)
        if self.headings:
            return line == self.line
        return not self.columns or any(plain(typed) in line for typed, _ in self.columns)

    def to_dict(self) -> JsonObject:
        """Return the mapping as it stands in ``mappings.yaml``."""
        found: JsonObject = {"card": self.card}
        if self.headings:
            found["headings"] = list(self.headings)
        found["columns"] = dict(self.columns)
        if self.dates:
            found["dates"] = self.dates
        return found

    def sentence(self, title: str) -> str:
        """Say in one line what a sheet was read with; `title` is the card's."""
        renamed = [f"{typed} is {meant}" for typed, meant in self.columns if meant != BESIDE]
        aside = [typed for typed, meant in self.columns if meant == BESIDE]
        said = [listed(renamed)] if renamed else []
        said += [f"{listed(aside)} kept beside"] if aside else []
        said += [f"dates with {ORDERS[self.dates]}"] if self.dates else []
        return f"Read with the mapping of {title}: {'; '.join(said) or 'nothing renamed'}."


@dataclass(frozen=True, slots=True)
class Mappings:
    """The mappings a sheet may be read with: those handed in with it before those remembered.

    `layouts` are those remembered, `given_layouts` those handed in with the sheets.
    """

    remembered: tuple[CardMapping, ...] = ()
    given: tuple[CardMapping, ...] = ()
    layouts: tuple[SheetLayout, ...] = ()
    given_layouts: tuple[SheetLayout, ...] = ()

    def on(self, grid: Grid) -> Mappings:
        """Return those whose headings all stand on a sheet, so that most sheets are read without any."""
        if not self.remembered and not self.given:
            return self
        texts = {plain(text) for row in grid.rows for text in row if text and not text[:1].isdigit()}
        texts |= {plain(text) for row in grid.rows[:60] for text in row}
        here = tuple(m for m in self.remembered if set(m.line) <= texts)
        return Mappings(here, tuple(m for m in self.given if not m.columns or _names(m) & texts))

    def labels(self) -> frozenset[str]:
        """Return the headings, in plain form, that are none of ours but stand over columns."""
        return frozenset(name for mapping in (*self.given, *self.remembered) for name in _names(mapping))

    def of(self, headings: Sequence[str], card: str = "") -> CardMapping | None:
        """Return the mapping of a heading line, None where there is none or it may be two cards.

        What is handed in adds to what is remembered of the line, and wins where both name a heading.

        Parameters
        ----------
        headings : sequence of str
            The heading line of a table.
        card : str
            Id of the card that the sheet names, empty where it names none.
        """
        given, before = (_one(known, headings, card) for known in (self.given, self.remembered))
        if given is None or before is None or given.card != before.card:
            return given or before
        return replace(given, columns=_joined(given, before), dates=given.dates or before.dates)

    def confirmed(self, mappings: Iterable[CardMapping]) -> Mappings:
        """Return the remembered mappings with newly confirmed ones, each in the place of its earlier one."""
        known = list(self.remembered)
        for mapping in mappings:
            places = [n for n, m in enumerate(known) if (m.card, m.line) == (mapping.card, mapping.line)]
            if places:
                known[places[0]] = mapping
            else:
                known.append(mapping)
        return replace(self, remembered=tuple(known))


@dataclass(frozen=True, slots=True)
class ReadAs:
    """How one table of a sheet was read: its card, its heading line, the mapping, what was kept beside.

    `numbers` are those columns kept beside that hold figures, so that it is asked what they are; `told` are
    headings with what their cells say they are; the cells of `left_open` are held until a mapping names them.
    """

    card: str
    headings: tuple[str, ...]
    mapping: CardMapping | None = None
    beside: tuple[str, ...] = ()
    numbers: tuple[str, ...] = ()
    told: tuple[tuple[str, str], ...] = ()
    left_open: tuple[str, ...] = ()

    def told_words(self) -> tuple[tuple[str, str], ...]:
        """Return the headings that their cells explained, with the word a person knows for each."""
        return tuple((typed, {"day": "Date"}.get(field, field.capitalize())) for typed, field in self.told)

    def confirmed(self) -> CardMapping | None:
        """Return the mapping as it is to be remembered: for this line, with the columns that stand in it."""
        if self.mapping is None:
            return None
        line = plain_line(self.headings)
        own = tuple((typed, meant) for typed, meant in self.mapping.columns if plain(typed) in line)
        return replace(self.mapping, headings=self.headings, columns=own)


def plain_line(headings: Iterable[str]) -> tuple[str, ...]:
    """Return a heading line in plain form, empty cells left out.

    Examples
    --------
    >>> plain_line(["Date", " ", "Leck_rate:"])
    ('date', 'leck rate')
    """
    return tuple(plain(text) for text in headings if text.strip())


def _one(known: Sequence[CardMapping], headings: Sequence[str], card: str) -> CardMapping | None:
    fits = [m for m in known if m.is_for(headings) and card in {"", m.card}]
    return fits[0] if len({m.card for m in fits}) == 1 else None


def _joined(given: CardMapping, before: CardMapping) -> tuple[tuple[str, str], ...]:
    more = tuple((typed, meant) for typed, meant in before.columns if plain(typed) not in _names(given))
    return (*given.columns, *more)


def _names(mapping: CardMapping) -> set[str]:
    return {plain(typed) for typed, _ in mapping.columns}
