"""The plainest card, written row by row, each cell knowing where it was typed."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from qc.ingest.cards.headings import FIGURE, LABELS, CardHeadings, Meaning
from qc.ingest.cards.headlines import Cell, HeadLine
from qc.ingest.cards.recognition import GAUGE, VALUE
from qc.ingest.cells import in_order, is_blank_mark, known_field, packed_figures, read_decimal
from qc.ingest.errors import SheetError
from qc.ingest.reading import Grid
from qc.ingest.shapes import WHAT, WHERE, place_values
from qc.plan import PLACE, Card
from qc.words import listed, some_of

BELOW = "below the table"
"""Label of what stands below a table and is none of its rows."""


MOST_NAMED = 12  # places named in a refusal; chosen, those of a slide with both surfaces


class LayoutError(SheetError):
    """A sheet whose layout was understood but leaves one thing open; said before what a plain card misses."""


@dataclass(slots=True)
class MeantColumn:
    """A column of a table as one card understands it."""

    cell: Cell
    meaning: Meaning
    fault: SheetError | None = None  # why nobody can tell what stands below it: each of its cells is held


@dataclass(slots=True)
class PlacedFigure:
    """A figure of a row: the name it stands under, its places, its cell and the heading over it."""

    field: str
    unit: str
    basis: str
    places: tuple[tuple[str, str], ...]
    cell: Cell
    label: str
    span: tuple[tuple[str, str], ...] = ()


SAID_FIGURE = re.compile(r"^(?P<label>[^\W\d].*?)[\s:=]+(?P<figure>[+-]?\d[\d.,]*)\s*(?P<unit>\S{0,8})$")


_DASHED = re.compile(r"\s*[-–]\s*")
MOST_SIGNED = 2  # two figures with a dash between may be one from and to; chosen


def said_figure(line: HeadLine, words: CardHeadings) -> tuple[Meaning, str, str] | None:
    """Return the figure that a line of words gives with all its places: what it is, its text, its name."""
    whole = f"{line.label} {line.text}" if line.label != BELOW else line.text
    found = SAID_FIGURE.match(whole.strip())
    if found is None:
        return None
    label = found["label"].strip()
    unit = f" [{found['unit']}]" if found["unit"] else ""
    meaning = words.read(label + unit)
    if meaning is None or not meaning.figure or meaning.field not in words.figures:
        return None
    if set(words.places[meaning.field]) - {name for name, _ in meaning.places}:
        return None
    return meaning, found["figure"], label


def address(grid: Grid, cell: Cell, label: str = "") -> str:
    """Return where a cell was typed, as a person looks for it."""
    one = replace(grid, origins=(((cell.line, cell.column, label),),), lines=(cell.line,), rows=(("",),))
    return one.cell(0, 0)


class PlainCard:
    """The plainest card, row by row."""

    def __init__(self, grid: Grid, card: Card, words: CardHeadings, head: list[HeadLine]) -> None:
        self.source, self.card, self.words, self.head = grid, card, words, head
        self.rows: list[tuple[dict[str, Cell], list[PlacedFigure]]] = []
        self.left_open: list[tuple[dict[str, Cell], Cell, str, SheetError]] = []

    def add(self, cells: list[Cell], columns: list[MeantColumn], at: dict[int, int]) -> None:
        """Take one row of a table: one plain row for each of its places, and one for each cell left open."""
        identity: dict[str, Cell] = {}
        figures: list[PlacedFigure] = []
        open_ones: list[tuple[Cell, str, SheetError]] = []
        fault, what = None, None
        try:
            what = self._said(
                cells, {c.meaning.field: at[id(c)] for c in columns if c.meaning.field in _SAYS}
            )
        except LayoutError as error:
            fault = error
        for column in columns:
            index = at[id(column)]
            cell = cells[index] if index < len(cells) else Cell("", cells[0].line, column.cell.column)
            meaning, label = column.meaning, column.cell.text.strip()
            if column.fault is not None:
                if cell.text.strip() and not is_blank_mark(cell.text):
                    open_ones.append((cell, label, column.fault))
            elif meaning.figure:
                try:
                    if fault is not None:
                        raise fault
                    figure = self._figure(meaning, what, cell, label)
                    figures += self._unpacked(figure, {c.meaning.field for c in columns})
                except LayoutError as error:
                    if cell.text.strip() and not is_blank_mark(cell.text):
                        open_ones.append((cell, label, error))
            elif meaning.field == "note":
                self._note(identity, column.cell.text.strip(), cell)
            elif meaning.field not in _SAYS:
                identity[meaning.field] = self._spelled(meaning.field, cell)
        filled = [f for f in figures if f.cell.text.strip() and not is_blank_mark(f.cell.text)]
        groups: list[list[PlacedFigure]] = []
        for figure in filled or figures[:1]:
            for group in groups:
                if group[0].places == figure.places and figure.field not in {f.field for f in group}:
                    group.append(figure)
                    break
            else:
                groups.append([figure])
        self.left_open += [(identity, *one) for one in open_ones]
        if groups or not open_ones:
            self.rows += [(identity, group) for group in groups or [[]]]

    def ask_open(self, *, alone: bool = True) -> None:
        """Add a row with its question for each cell that was left open, where others were read.

        Raises
        ------
        LayoutError
            Nothing else was read: the sheet is refused with its first question.
        """
        read = any(f.cell.text.strip() for _, group in self.rows for f in group)
        for identity, cell, label, error in self.left_open:
            if not read and alone:
                raise error
            field = next(iter(self.words.figures))
            said = {"problem": error.problem, "mend": error.hint, "bad": {"characteristic": label}}
            asked = cell._replace(text=json.dumps(said, ensure_ascii=False))
            places = tuple((kind, "") for kind in self.words.places[field])
            figure = PlacedFigure(field, "", "", places, cell, label)
            self.rows.append(({**identity, "asked": asked}, [figure]))

    def _spelled(self, field: str, cell: Cell) -> Cell:
        """Return the cell of a place without the name of its kind: ``upper leg``, ``Pos. 1``."""
        known = [places[field] for places in self.words.places.values() if field in places]
        if field not in PLACE or not cell.text.strip() or " " not in cell.text.strip():
            return cell
        values = {v for spelled in known if (v := place_values(cell.text, {field: spelled}).get(field))}
        return cell._replace(text=next(iter(values))) if len(values) == 1 else cell

    def _said(self, cells: list[Cell], at: dict[str, int]) -> Meaning | None:
        """Return the figure and the places that a row says in columns of their own."""
        said = [self._what(cells, index, field) for field, index in at.items() if field != WHERE]
        named = [m for m in said if m is not None and m.field != FIGURE]
        if WHERE in at and not (named and not self.words.places.get(named[0].field)):
            # of a figure without places it is a remark
            said.append(self._what(cells, at[WHERE], WHERE, named[0].field if named else ""))
        return _together([m for m in said if m is not None] or [_NOTHING_SAID]) if at else None

    def _what(self, cells: list[Cell], index: int, field: str, figure: str = "") -> Meaning | None:
        text = cells[index].text.strip() if index < len(cells) else ""
        if field == WHERE and (not text or is_blank_mark(text)):
            return None  # a figure that has no places, or one that is asked for them
        found = self.words.read(text)
        if figure in self.words.figures:  # stem may be a station of one figure and an area of another
            within = self.words.read(f"{self.words.figures[figure].name} {text}")
            found = within if within is not None and within.field == figure and within.places else found
        if found is None or not found.figure:
            known = listed([c.name for c in self.words.figures.values()])
            kind = "figure" if field == WHAT else "place"
            problem = f"{self.card.title} has no {kind} {text or '(left empty)'}"
            cell = address(self.source, cells[min(index, len(cells) - 1)])
            hint = f"The figures of this card are: {known}."
            if kind == "place":
                places = {
                    v: None for own in self.words.places.values() for vs in own.values() for v in vs.values()
                }
                hint = f"Write places that its figures have: {some_of(places, MOST_NAMED)}."
            raise LayoutError(self.source.file, problem, hint, tab=self.source.tab, cell=cell)
        return found

    def _figure(self, meaning: Meaning, what: Meaning | None, cell: Cell, label: str) -> PlacedFigure:
        """Join what a heading says with what its row says; where the two differ the cell is asked about."""
        places = dict(meaning.places)
        for name, value in what.places if what else ():
            if places.setdefault(name, value) != value:
                raise self._open(cell, label)
        field = meaning.field if meaning.field != FIGURE else ""
        if what is not None and what.field != FIGURE:
            field = field or what.field
        field = field or self.words.only_figure([*places, *(name for name, _ in meaning.span)])
        if not field:
            raise self._open(cell, label)
        unit = meaning.unit or (what.unit if what else "")
        unit = "" if field in self.words.figures and unit == self.words.figures[field].unit else unit
        basis = meaning.basis or (what.basis if what else "")
        return PlacedFigure(field, unit, basis, tuple(sorted(places.items())), cell, label, meaning.span)

    def _unpacked(self, figure: PlacedFigure, fields: Collection[str]) -> list[PlacedFigure]:
        """Return the figures of a cell that holds one for each of the plan's places; else the cell alone."""
        parts = packed_figures(figure.cell.text)
        places = self.words.places.get(figure.field, {})
        given = {*fields, *(line.known for line in self.head if line.text), *(n for n, _ in figure.places)}
        missing = [name for name in places if name not in given]
        if figure.span and (parts or not is_blank_mark(figure.cell.text)) and figure.cell.text.strip():
            return self._in_span(figure, parts or [figure.cell.text.strip()])
        if not parts or not missing:
            return [figure]
        placed = in_order(parts, places, given)
        if not placed:
            problem = f"{figure.cell.text.strip()} under {figure.label} are {len(parts)} figures in one cell"
            known = listed(list(places[missing[0]].values()))
            hint = f"Write each in a cell of its own; {missing[0]} may be {known}."
            where = address(self.source, figure.cell, figure.label)
            raise LayoutError(self.source.file, problem, hint, tab=self.source.tab, cell=where)
        return _placed(figure, placed, parts)

    def _in_span(self, figure: PlacedFigure, parts: list[str]) -> list[PlacedFigure]:
        """Return a figure for each place that the heading names, in its order."""
        dashed = _DASHED.split(parts[0]) if len(parts) == 1 and len(figure.span) > MOST_SIGNED else []
        if len(dashed) == len(figure.span) and all(read_decimal(part) is not None for part in dashed):
            parts = dashed  # 14.1-13.6-14.8: as many as the heading names, so no sign is meant
        if len(parts) == len(figure.span):
            return _placed(figure, figure.span, parts)
        many = f"{len(parts)} figures" if len(parts) > 1 else "one figure"
        names = f"the heading {figure.label} names {len(figure.span)} places"
        problem = f"{figure.cell.text.strip()} is {many}, and {names}"
        values = listed([value for _, value in figure.span])
        hint = f"Write a figure for each of {values} with a stroke between, or a column for each."
        where = address(self.source, figure.cell, figure.label)
        raise LayoutError(self.source.file, problem, hint, tab=self.source.tab, cell=where)

    def add_said(self) -> None:
        """Take the figures that a line above or below the table says in words: ``Bell mass 421.6 g``."""
        taken = {figure.field for _, group in self.rows for figure in group if figure.cell.text.strip()}
        pieces = {i["serial"].text.strip(): i for i, _ in self.rows if "serial" in i}
        for line in list(self.head):
            read = said_figure(line, self.words) if not line.known else None
            if read is None or read[0].field in taken:
                continue
            meaning, text, label = read
            if len(pieces) > 1 or (not pieces and not any(x.known == "serial" for x in self.head)):
                problem = f"the line {label} {text} gives a figure and not of which piece"
                hint = f"Write a column {label} in the table, or give each piece a sheet of its own."
                where = address(self.source, line.cell)
                raise LayoutError(self.source.file, problem, hint, tab=self.source.tab, cell=where)
            identity = {n: c for n, c in next(iter(pieces.values()), {}).items() if n not in (*PLACE, "note")}
            cell = line.cell._replace(text=text)
            figure = PlacedFigure(meaning.field, meaning.unit, meaning.basis, meaning.places, cell, label)
            self.rows.append((identity, [figure]))
            self.head.remove(line)

    def _open(self, cell: Cell, label: str) -> LayoutError:
        grid = self.source
        known = listed([c.name for c in self.words.figures.values()])
        problem = f"the heading {label} does not say which figure of {self.card.title} stands under it"
        hint = f"Write the figure before the place; the figures of this card are: {known}."
        return LayoutError(grid.file, problem, hint, tab=grid.tab, cell=address(self.source, cell, label))

    def _note(self, identity: dict[str, Cell], label: str, cell: Cell) -> None:
        text = cell.text.strip()
        if not text:
            return
        said = text if known_field(label) == "note" else f"{label}: {text}"
        before = identity.get("note")
        identity["note"] = cell._replace(text=f"{before.text}; {said}" if before else said)

    def grid(self) -> Grid:
        """Return the grid of the plainest card, every cell knowing where it was typed."""
        names: dict[str, str] = {}
        for identity, group in self.rows:
            for name in identity:
                names.setdefault(name, name)
            for figure in group:
                for place, _ in figure.places:
                    names.setdefault(place, place)
        columns = {(f.field, f.unit, f.basis): self._label(f) for _, group in self.rows for f in group}
        source = self.source
        rows: list[tuple[str, ...]] = []
        origins: list[tuple[tuple[int, int, str], ...]] = []

        def put(cells: Sequence[tuple[str, tuple[int, int, str]]]) -> None:
            rows.append(tuple(text for text, _ in cells))
            origins.append(tuple(where for _, where in cells))

        nowhere = (source.lines[0] if source.lines else 1, 0, "")
        put([("Card", nowhere), (self.card.title, nowhere)])
        for line in self.head:
            if line.known != "card" and (line.text or line.label):
                where = (line.cell.line, line.cell.column, line.label)
                put([(line.label or "said above", where), (line.text, where)])
        put([])
        put([(_heading(n), nowhere) for n in names] + [(label, nowhere) for label in columns.values()])
        for identity, group in self.rows:
            at = next((f.cell for f in group), next(iter(identity.values()), Cell("", nowhere[0], 0)))
            cells = []
            for name in names:
                cell = identity.get(name)
                placed = next((v for f in group for p, v in f.places if p == name), "")
                text = cell.text if cell is not None and cell.text.strip() else placed
                here = cell or at
                cells.append((text, (here.line, here.column, "")))
            for key, label in columns.items():
                own = next((f for f in group if (f.field, f.unit, f.basis) == key), None)
                typed = own.cell.text if own else ""
                if is_blank_mark(typed):
                    typed = ""
                here = own.cell if own else at
                cells.append((typed, (here.line, here.column, own.label if own else label)))
            put(cells)
        lines = tuple(row[0][0] if row else nowhere[0] for row in origins)
        lines = tuple(row[-1][0] if row else line for row, line in zip(origins, lines, strict=True))
        widths = tuple(len(row) for row in rows)
        return Grid(
            source.file, source.tab, source.kind, source.sheet, tuple(rows), lines, source.separator, widths,
            (), tuple(origins),
        )  # fmt: skip

    def _label(self, figure: PlacedFigure) -> str:
        said = " ".join(part for part in (figure.unit, _BASIS_WORDS.get(figure.basis, "")) if part)
        name = figure.field
        if name.startswith(VALUE):
            name = self.words.figures[name].name
        label = LABELS.get(name, name.capitalize() if name == figure.field else name)
        return f"{label} [{said}]" if said else label


def _heading(name: str) -> str:
    """Return how one of our names is written over a column; a gauge's class stands under its own name."""
    return _LABEL_OF.get(name, name.removeprefix(GAUGE).replace("-", " "))


def _together(said: Sequence[Meaning]) -> Meaning:
    """Return as one what the figure and the place of a row say in columns of their own."""
    named = next((m for m in said if m.field != FIGURE), said[0])
    return replace(named, places=tuple(place for m in said for place in m.places))


def _placed(
    figure: PlacedFigure, places: Sequence[tuple[str, str]], texts: Sequence[str]
) -> list[PlacedFigure]:
    return [
        replace(
            figure,
            places=tuple(sorted((*figure.places, place))),
            cell=figure.cell._replace(text=text),
            span=(),
        )
        for place, text in zip(places, texts, strict=True)
    ]


_NOTHING_SAID = Meaning(FIGURE, figure=True)
_SAYS = frozenset({WHAT, WHERE})
_BASIS_WORDS = {"diameter": "on diameter", "side": "per side"}
_LABEL_OF = {"asked": "Asked of this row", "day": "Date", "air_c": "Room C", "a4_hz": "A4 Hz"}


_REPEATED = re.compile(r"^(?P<name>.*[^\W\d].*?)(?P<n>[1-9])(?P<unit>\s*[\[(].*[\])]|)$")


def repeated(labels: Sequence[str], words: CardHeadings) -> dict[int, Meaning]:
    """Return the columns that read a figure without places again: ``Rim 1``, ``Rim 2``, counted from one."""
    found: dict[str, list[tuple[int, int, Meaning]]] = {}
    for n, label in enumerate(labels):
        counted = _REPEATED.match(label)
        base = words.read(counted["name"].strip(" .#") + counted["unit"]) if counted else None
        if counted and base and base.field in words.figures and not base.places and words.read(label) is None:
            if not words.places[base.field]:
                one = replace(base, places=(("repeat", counted["n"]),))
                found.setdefault(base.field, []).append((n, int(counted["n"]), one))
    whole = [c for c in found.values() if len(c) > 1 and [k for _, k, _ in c] == list(range(1, len(c) + 1))]
    return {n: meaning for columns in whole for n, _, meaning in columns}
