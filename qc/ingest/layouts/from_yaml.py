"""Layouts out of the tree of a file, with every fault in a sentence of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from qc.ingest.cells import FACTORS, WEIGHED, plain, split_unit
from qc.ingest.layouts.shown import (
    FACTS,
    LaidTable,
    Pieces,
    Pointed,
    SheetLayout,
    ShownFigure,
    column_of,
    figure_named,
    read_cells,
    read_spot,
)
from qc.plan import PLACE, Card, Characteristic, Node, Plan, PlanFault, figures_written

FIELDS = ("layout", "fixed", "dates", "decimal", "serials", "not measured", "words", "facts", "tables")
OF_TABLE = ("card", "pieces", "leave out", "as above", "facts", "figures")
OF_PIECES = ("are", "first", "every", "last")
OF_FIGURE = ("at", "is", "unit", "within", "repeat", *PLACE)
CHOICES = {"dates": ("day-first", "month-first"), "decimal": ("comma", "point")}


def read_layouts(
    block: Node, plan: Plan, faults: list[PlanFault], *, strict: bool
) -> tuple[SheetLayout, ...]:
    """Read the list under ``layouts:``; what is wrong with it is added to `faults`.

    Parameters
    ----------
    block : Node
        The list.
    plan : Plan
        The measuring plan.
    faults : list of PlanFault
        Takes in every fault, each at its line.
    strict : bool
        Whether cards, figures and places that the plan does not know are faults. In what is remembered they
        are not: the plan may have changed since, and the sheet then waits.

    Returns
    -------
    tuple of SheetLayout
        Those that could be read.
    """
    if not isinstance(block.value, list):
        faults.append(
            PlanFault(block.line, block.path, "is no list", "Begin each layout below it with a dash.")
        )
        return ()
    found: list[SheetLayout] = []
    for one in block.items():
        reader = _Reader(plan, faults, strict)
        layout = reader.layout(one)
        if layout is None:
            continue
        if any(layout.name == other.name for other in found):
            reader.fault(one, "layout", f"{layout.name} stands here twice", "Give each its own name.")
        found.append(layout)
    return tuple(found)


class _Reader:
    """Reads one layout and gathers its faults."""

    def __init__(self, plan: Plan, faults: list[PlanFault], strict: bool) -> None:
        self.plan, self.faults, self.strict = plan, faults, strict
        self.words: dict[str, str] = {}

    def fault(self, block: Node, name: str, problem: str, mend: str) -> None:
        """Add a fault at a field of a block, or at the block where it has none of that name."""
        below = block.get(name) if name else None
        where = below.path if below is not None else ".".join(part for part in (block.path, name) if part)
        self.faults.append(PlanFault((below or block).line, where, problem, mend))

    def layout(self, block: Node) -> SheetLayout | None:
        """Return the layout of a block; None where it is no block or has no table."""
        if not self._is_block(block, FIELDS, "a layout"):
            return None
        before = len(self.faults)
        name = block.text("layout")
        if not name:
            self.fault(block, "layout", "is missing", "Give it the name the bench has for this sheet.")
        for field, allowed in CHOICES.items():
            if block.text(field) and block.text(field) not in allowed:
                self.fault(block, field, f"says {block.text(field)}", f"Write {' or '.join(allowed)}.")
        words = self._texts_of(block, "words")
        self.words = {plain(typed): meant for typed, meant in words}
        shared = self._facts(block)
        listed_tables = block.get("tables")
        tables = [self._table(one, shared) for one in (listed_tables.items() if listed_tables else [])]
        if not tables:
            mend = "Write below it, after a dash, the card, the pieces, the facts and the figures of a table."
            self.fault(block, "tables", "is missing", mend)
        fixed = self._fixed(block)
        if len(self.faults) > before:
            return None
        return SheetLayout(
            name,
            fixed,
            tuple(table for table in tables if table is not None),
            block.text("dates"),
            block.text("decimal"),
            block.text("serials"),
            self._list(block, "not measured"),
            words,
        )

    def _is_block(self, block: Node, known: Sequence[str], what: str) -> bool:
        if not isinstance(block.value, dict):
            self.fault(block, "", f"is not {what}", f"Write its fields below each other: {', '.join(known)}.")
            return False
        for name, below in block.value.items():
            if name not in known:
                mend = f"The fields are: {', '.join(known)}."
                self.faults.append(PlanFault(below.line, below.path, f"is no field of {what}", mend))
        return True

    def _list(self, block: Node, name: str) -> tuple[str, ...]:
        below = block.get(name)
        if below is None or below.value is None:
            return ()
        if isinstance(below.value, str):
            return (below.value.strip(),)
        if not below.texts() or len(below.texts()) != len(below.items()):
            self.fault(block, name, "is no list of words", "Write it as [one, two].")
        return tuple(text.strip() for text in below.texts())

    def _texts_of(self, block: Node, name: str) -> tuple[tuple[str, str], ...]:
        below = block.get(name)
        if below is None or below.value is None:
            return ()
        if not isinstance(below.value, dict):
            self.fault(block, name, "is no list of pairs", "Write it as {one: other}.")
            return ()
        return tuple((typed, self._word(node)) for typed, node in below.value.items())

    def _word(self, node: Node) -> str:
        if not isinstance(node.value, str):
            self.faults.append(PlanFault(node.line, node.path, "says nothing", "Write a text behind it."))
            return ""
        return node.value.strip()

    def _fixed(self, block: Node) -> tuple[tuple[tuple[int, int], str], ...]:
        found = []
        for typed, text in self._texts_of(block, "fixed"):
            cells = read_cells(typed)
            if cells is None or cells[:2] != cells[2:]:
                node = block.get("fixed") or block
                self.fault(node, typed, "is no cell", "Write its column and line, such as B7.")
            else:
                found.append((cells[:2], text))
        if not found and block.get("fixed") is None:
            mend = "Name cells that are the same on every such sheet, with their text: {A1: Bow card}."
            self.fault(block, "fixed", "is missing, so any sheet would be read by it", mend)
        return tuple(found)

    def _spot(self, node: Node, allowed: tuple[str, ...] = ("word", "cell", "tab")) -> Pointed | None:
        """Read one pointed place, kept to the kinds that may stand here."""
        within: tuple[str, ...] = ()
        text = node.value
        if isinstance(text, dict):
            if not self._is_block(node, ("of", "within"), "a part of a cell"):
                return None
            within, text = self._within(node), node.text("of")
        if not isinstance(text, str) or not text.strip():
            self.faults.append(PlanFault(node.line, node.path, "says nothing", "Name a cell or a word."))
            return None
        spot = read_spot(text, within)
        if spot.kind not in allowed:
            mend = f"Here may stand {', '.join(_SAID[kind] for kind in allowed)}."
            self.faults.append(PlanFault(node.line, node.path, f"says {text}", mend))
            return None
        return spot

    def _within(self, node: Node) -> tuple[str, ...]:
        found = self._list(node, "within")
        for pattern in found:
            if pattern.count("{}") != 1 or "{}*" in pattern or "*{}" in pattern or "**" in pattern:
                mend = "Write {} once for the part, and * for what changes beside it, with a sign between."
                self.fault(node, "within", f"cannot be used: {pattern}", mend)
        return found

    def _facts(self, block: Node) -> dict[str, Pointed]:
        below = block.get("facts")
        if below is None or below.value is None or not self._is_block(below, tuple(FACTS), "the facts"):
            return {}
        found = {name: self._spot(node) for name, node in below.value.items() if name in FACTS}  # type: ignore[union-attr]
        return {name: spot for name, spot in found.items() if spot is not None}

    def _table(self, block: Node, shared: dict[str, Pointed]) -> LaidTable | None:
        """Read one table of a layout, all its faults told at once; None where it has any."""
        before = len(self.faults)
        if not self._is_block(block, OF_TABLE, "a table"):
            return None
        own = block.text("card")
        card = next((c for c in self.plan.cards if own in {c.id, c.title}), None) if own else None
        titles = ", ".join(c.id for c in self.plan.cards)
        if not own:
            self.fault(block, "card", "is missing", f"Name a card of the plan: {titles}.")
        elif card is None and self.strict:
            self.fault(block, "card", f"names {own}, which is no card", f"The cards are: {titles}.")
        pieces = self._pieces(block)
        facts = {**shared, **self._facts(block)}
        if "serial" not in facts and block.get("facts", "serial") is None:
            self.fault(block, "facts", "does not say the serial", "Write serial: and its cell.")
        figures_node = block.get("figures")
        nodes = figures_node.items() if figures_node else []
        figures = [self._figure(one, pieces, facts, card) for one in nodes]
        if not figures:
            self.fault(block, "figures", "is missing", "Write after a dash {at: C5, is: its name}.")
        above = self._list(block, "as above")
        for name in above:
            if name not in facts:
                self.fault(block, "as above", f"names {name}, which is no fact here", "Name its facts.")
        if len(self.faults) > before or pieces is None:
            return None
        return LaidTable(
            card.id if card else own,
            pieces,
            tuple(facts.items()),
            tuple(figure for figure in figures if figure is not None),
            self._list(block, "leave out"),
            above,
        )

    def _pieces(self, block: Node) -> Pieces | None:
        """Read how the pieces follow each other: down the rows, along the columns, or one a sheet."""
        below = block.get("pieces")
        if below is None or not isinstance(below.value, dict):
            mend = "Write {are: rows, first: 5}, {are: columns, first: C} or {are: sheet}, then every, last."
            self.fault(block, "pieces", "is missing" if below is None else "cannot be read", mend)
            return None
        self._is_block(below, OF_PIECES, "pieces")
        are = below.text("are")
        if are == "sheet":
            return Pieces()
        if are not in {"rows", "columns"}:
            self.fault(below, "are", f"says {are or 'nothing'}", "Write rows, columns or sheet.")
            return None
        reads: Callable[[str], int | None] = _line if are == "rows" else _column
        said = "a line such as 5" if are == "rows" else "a column such as C"
        first, every = reads(below.text("first")), _line(below.text("every") or "1")
        last = reads(below.text("last")) if below.text("last") else -1
        if first is None:
            self.fault(below, "first", "does not say where the first piece stands", f"Write {said}.")
        if every is None:
            self.fault(below, "every", f"says {below.text('every')}", "Write how far the next piece is: 1.")
        if last is None or (first is not None and -1 < last < first):
            self.fault(below, "last", f"says {below.text('last')}", f"Write {said} behind the first.")
        if first is None or every is None or last is None:
            return None
        return Pieces("rows" if are == "rows" else "columns", first, every, last)

    def _figure(
        self, node: Node, pieces: Pieces | None, facts: dict[str, Pointed], card: Card | None
    ) -> ShownFigure | None:
        """Read one figure: its cells on the first piece, its name, unit and places."""
        if not self._is_block(node, OF_FIGURE, "a figure"):
            return None
        cells = read_cells(node.text("at"))
        if cells is None:
            self.fault(node, "at", f"says {node.text('at') or 'nothing'}", "Write C5, or C5:E5.")
            return None
        if pieces is not None and pieces.are != "sheet":
            inside = all(pieces.holds(*cell) for cell in (cells[:2], cells[2:]))
            if not inside:
                mend = "Point at the figures of the first piece; the others follow from it."
                self.fault(node, "at", f"{node.text('at')} lies outside the first piece", mend)
        beside = ("word", "cell", "row", "column")
        if (what_node := node.get("is")) is None:
            self.fault(node, "is", "is missing", "Write the name of the figure, or the cell that names it.")
            return None
        what = self._spot(what_node, beside)
        unit = self._spot(unit_node, beside) if (unit_node := node.get("unit")) is not None else None
        places = []
        for name in ("repeat", *PLACE):
            below = node.get(name)
            if below is not None and (spot := self._spot(below, (*beside, "tab"))) is not None:
                places.append((name, spot))
        if what is None:
            return None
        if card is not None and self.strict and what.kind == "word":
            self._planned(node, what.word, unit, {**facts, **dict(places)}, card)
        order = list(node.value) if isinstance(node.value, dict) else []
        places.sort(key=lambda place: order.index(place[0]))
        return ShownFigure(cells, what, unit, tuple(places), self._within(node))

    def _planned(
        self, node: Node, word: str, unit: Pointed | None, places: dict[str, Pointed], card: Card
    ) -> None:
        """Hold a named figure against the plan: its unit, and each place at which it has to be told."""
        figure = figure_named(self.words.get(plain(word), word), card, self.plan)
        if figure is None:
            names = ", ".join(c.name for c in figures_written(self.plan, card))
            self.fault(node, "is", f"{card.title} has no figure {word}", f"Its figures are: {names}.")
            return
        if unit is not None and unit.kind == "word":
            self._unit(node, unit.word, figure)
        for place, allowed in figure.places.items():
            spot = places.get(place)
            names = ", ".join(map(str, allowed))
            if spot is None:
                problem = f"is missing: {figure.name} is measured at more than one {place}"
                self.fault(node, place, problem, f"Say at which: {names}, or where it stands.")
            elif spot.kind == "word":
                meant = self.words.get(plain(spot.word), spot.word)
                if plain(meant) not in {plain(str(one)) for one in allowed}:
                    self.fault(
                        node,
                        place,
                        f"says {spot.word}, where {figure.name} has {names}",
                        "Write one of these.",
                    )

    def _unit(self, node: Node, typed: str, figure: Characteristic) -> None:
        meant = self.words.get(plain(typed), typed)
        unit = split_unit(meant, {plain(figure.unit): figure.unit})[0]
        if unit != figure.unit and (unit, figure.unit) not in {**FACTORS, **WEIGHED}:
            problem = f"says {typed}, and {figure.name} is kept in {figure.unit}"
            self.fault(node, "unit", problem, f"Write {figure.unit}, or a unit that can be turned into it.")


_SAID = {
    "word": "a word",
    "cell": "a cell (cell B2)",
    "row": "a row (row 7: the cell of that line over the figure)",
    "column": "a column (column A: the cell of that column beside the figure)",
    "tab": "tab (its name)",
}


def _line(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and 0 < int(text) < 10**6 else None


def _column(text: str) -> int | None:
    return (
        column_of(text) if text.isascii() and text.isalpha() and text.isupper() and len(text) <= 3 else None
    )
