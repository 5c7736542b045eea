"""What stands on a blank card: boxes of its head, headings, and a row for each place in the plan's order.

The headings are those that the reader of sheets knows, so what is typed into the card is read back in the
order in which it was measured.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

from qc.plan import PLACE, Card, Characteristic, Plan, figures_written
from qc.words import unit_words

LIST_ROWS: Final = 18  # chosen: rows of a hand's height on one side
MOST_ROWS: Final = 30  # chosen: beyond it rows are too low to write in, and the last place goes across
LEFT_BLANK: Final = ("Left blank", "not measured")
"""The line of the head by which the reader passes over rows that nobody filled in."""

MADE_BY_READER: Final = {"slide": ("leg", "station"), "tuning": (), "lacquer": ("area",), "bench": ()}
"""Places that a source asks for whether or not the plan lists them: their column is left to be written in."""

HEADINGS: Final = {"inner_od": "Inner OD", "outer_bore": "Outer bore"}
EVENT_COLUMNS: Final = {
    "part": ("Date", "Serial", "Model", "Part", "Role", "Batch", "Tool", "Person"),
    "shipped": ("Serial", "Model", "Shipped", "Person", "Note"),
    "returned": ("Serial", "Model", "Returned", "Cause", "Person", "Note"),
    "play-test": ("Date", "Serial", "Model", "Person", "Verdict", "Note"),
    "rework": ("Date", "Serial", "Model", "Stage", "Hours", "Cause", "Person"),
    "gauge-check": ("Date", "Gauge", "Master", "Deviation", "Zeroed", "Person"),
    "tool-fitted": ("Date", "Tool", "Class", "Person", "Note"),
    "batch-opened": ("Date", "Batch", "Person", "Note"),
    "no-card": ("Date", "Stage", "Person", "Note"),
}

Cell = str | None
"""Printed text, an empty text for room to write, None where nothing is measured."""

Places = Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Box:
    """A box of the head.

    Attributes
    ----------
    label : str
        Its label, as the reader of sheets knows it.
    value : str
        What is printed in it, empty where it is to be written.
    hint : str
        What may be written, in small print.
    """

    label: str
    value: str = ""
    hint: str = ""


@dataclass(frozen=True, slots=True)
class BlankCard:
    """A card to be filled in.

    Attributes
    ----------
    id, title, workshop : str
        Which card, and whose.
    head : tuple of Box
        What is said once: of the piece, or of the whole list.
    headings : tuple of str
        One for each column.
    hints : tuple of str
        What is told below each heading, empty for nothing.
    places : int
        How many columns, from the left, name the place of a figure.
    rows : tuple of tuple
        Cells in measuring order: printed, to be written, or None.
    lines : bool
        Whether each row is a piece or an event of its own.
    figures : mapping of int to str
        Column -> id of the characteristic whose figures stand in it.
    """

    id: str
    title: str
    workshop: str
    head: tuple[Box, ...]
    headings: tuple[str, ...]
    hints: tuple[str, ...]
    places: int
    rows: tuple[tuple[Cell, ...], ...]
    lines: bool
    figures: Mapping[int, str]

    @property
    def room(self) -> int:
        """How many figures, or lines of a list, it has room for."""
        if self.lines:
            return len(self.rows)
        return sum(cell == "" for row in self.rows for cell in row[self.places :])


@dataclass(frozen=True, slots=True)
class _Figure:
    """A figure as a column: its heading, the places it is read at, what is told below the heading."""

    heading: str
    places: Places
    hint: str


def blank_card(card: Card, plan: Plan, *, across: bool = True) -> BlankCard:
    """Lay a card of the plan out to be filled in.

    Parameters
    ----------
    card : Card
        One of the plan's cards.
    plan : Plan
        The measuring plan.
    across : bool
        Whether the last place goes across where there are too many rows for one side of paper.

    Returns
    -------
    BlankCard
        Where its figures are read at places, a card of one piece with a row for each place, legs, stations
        and the like in the order of the plan; else a list with a row for each piece or event.
    """
    asked = _asked(card, plan)
    figures = [_Figure(_heading(card, one), _places(card, one, plan), _hint(one)) for one in asked]
    if card.event or not any(figure.places for figure in figures):
        return _list_card(card, plan, asked, figures)
    columns, rows = _rows(figures, MADE_BY_READER[card.source])
    headings = tuple(name.capitalize() for name in columns)
    hints = ("",) * len(columns)
    if across and len(rows) > MOST_ROWS and len(figures) == 1 and len(columns) > 1:
        last = figures[0].places[columns[-1]]
        headings = (*headings[:-1], *(f"{headings[-1]} {value}" for value in last))
        rows = [(*row[:-2], *("",) * len(last)) for row in rows[:: len(last)]]
        hints = (
            *("" for _ in columns[:-1]),
            *([f"{unit_words(asked[0].unit)} {figures[0].hint}".strip()] * len(last)),
        )
        columns = columns[:-1]
        ids = {column: asked[0].id for column in range(len(columns), len(headings))}
    else:
        headings += tuple(figure.heading for figure in figures)
        hints += tuple(figure.hint for figure in figures)
        ids = {column: one.id for column, one in enumerate(asked, len(columns))}
    head = (*_piece_boxes(card, plan, asked), Box(*LEFT_BLANK))
    return _made(card, plan, head, headings, hints, len(columns), rows, ids, lines=False)


def _made(
    card: Card,
    plan: Plan,
    head: Iterable[Box],
    headings: Sequence[str],
    hints: Sequence[str],
    places: int,
    rows: Iterable[tuple[Cell, ...]],
    figures: Mapping[int, str],
    *,
    lines: bool,
) -> BlankCard:
    """Put a card together; its own title heads every sheet, so that it is read back as that card."""
    own = (Box("Card", card.title), *head)
    shop = plan.workshop.name
    return BlankCard(
        card.id, card.title, shop, own, tuple(headings), tuple(hints), places, tuple(rows), lines, figures
    )


def _asked(card: Card, plan: Plan) -> list[Characteristic]:
    """Return the figures that are typed: not both diameters and the clearance between them."""
    found = [one for one in figures_written(plan, card) if one.derive is None]
    if card.source == "slide":
        return [one for one in found if one.id in HEADINGS] or found
    return found if card.source == "bench" else found[:1]


def _heading(card: Card, figure: Characteristic) -> str:
    """Return the heading of a figure with its unit, by the name its source reads."""
    if card.source == "tuning":
        return "Cents"
    if figure.kind != "measured":
        return figure.name
    unit = unit_words(figure.unit)
    if card.source == "slide" and figure.id not in HEADINGS:
        return f"Clearance [{unit} on diameter]"
    name = {"slide": HEADINGS.get(figure.id, figure.name), "lacquer": "Thickness"}.get(
        card.source, figure.name
    )
    return f"{name} [{unit}]"


def _hint(figure: Characteristic) -> str:
    if figure.kind == "pass-fail":
        return "0 good, 1 faulty"
    return f"to {figure.resolution:g}" if figure.resolution and figure.kind == "measured" else ""


def _places(card: Card, figure: Characteristic, plan: Plan) -> Places:
    """Return the places of a figure by column, in the plan's order; a note has those of the models."""
    places = {name: tuple(map(str, values)) for name, values in figure.places.items()}
    if card.source != "tuning":
        return places
    models = plan.models_of(figure)
    valves = dict.fromkeys(valve.name for model in models for valve in model.valves)
    partials = sorted({str(partial) for model in models for partial in model.partials}, key=int)
    positions = max(model.positions for model in models)
    own: dict[str, tuple[str, ...]] = {
        "valve": ("open", *valves),
        "position": tuple(str(position) for position in range(1, positions + 1)),
        "partial": tuple(partials),
    }
    return {**own, **places}


def _rows(
    figures: Sequence[_Figure], needed: Iterable[str]
) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """Return the columns of places and the rows, figures of the same places side by side."""
    named = dict.fromkeys((*(name for figure in figures for name in figure.places), *needed))
    columns = tuple(sorted(named, key=list(PLACE).index)) if len(figures) > 1 else tuple(named)
    grids = sorted(
        {tuple(sorted(f.places.items())): f.places for f in figures}.values(), key=len, reverse=True
    )
    whole: list[Places] = []
    for places in grids:
        if not any(_within(places, other) for other in whole):
            whole.append(places)
    whole.sort(key=lambda places: next(i for i, f in enumerate(figures) if _within(f.places, places)))
    rows: list[tuple[Cell, ...]] = []
    seen: list[set[tuple[str, ...]]] = [set() for _ in figures]
    for places in whole:
        for values in product(*places.values()):
            at = dict(zip(places, values, strict=True))
            cells = [_cell(figure, at, done) for figure, done in zip(figures, seen, strict=True)]
            rows.append(
                (*(at.get(name, "" if name not in named_by(figures) else None) for name in columns), *cells)
            )
    return columns, rows


def named_by(figures: Iterable[_Figure]) -> set[str]:
    """Return the places that the plan lists for any of the figures."""
    return {name for figure in figures for name in figure.places}


def _within(places: Places, other: Places) -> bool:
    """Tell whether every place of one figure is a place, or several, of the other."""
    return all(set(values) <= set(other.get(name, ())) for name, values in places.items())


def _cell(figure: _Figure, at: Mapping[str, str], done: set[tuple[str, ...]]) -> Cell:
    """Return room for a figure at a place, once; None where it is not read there or was on a row above."""
    if any(at.get(name) not in values for name, values in figure.places.items()):
        return None
    own = tuple(at[name] for name in figure.places)
    if own in done:
        return None
    done.add(own)
    return ""


def _piece_boxes(card: Card, plan: Plan, figures: Sequence[Characteristic]) -> list[Box]:
    """Return what is written once of a piece."""
    boxes = [
        Box("Serial"),
        Box("Model", hint=", ".join(_models(figures, plan))),
        Box("Date", hint="as 14.05.2026"),
        Box("Tester" if card.source == "tuning" else "Person"),
        *_gauge_boxes(card, plan, figures),
    ]
    boxes += _tool_boxes(card, plan, figures)
    boxes.append(Box("Batch"))
    if card.source in {"slide", "tuning"}:
        boxes.append(Box("Room C"))
    if card.source == "tuning":
        boxes += [Box("A4 Hz", f"{plan.workshop.a4_hz:g}"), Box("Method"), Box("Main slide out mm")]
    return [*boxes, Box("Note")]


def _models(figures: Iterable[Characteristic], plan: Plan) -> list[str]:
    on = {model.id for figure in figures for model in plan.models_of(figure)}
    return [model.id for model in plan.models if model.id in on or not on]


def _gauge_boxes(card: Card, plan: Plan, figures: Iterable[Characteristic]) -> list[Box]:
    """Return a box for each class of gauge that the card needs, named by the class if there are several."""
    classes = list(dict.fromkeys(figure.gauge_class for figure in figures if figure.gauge_class))
    named = {one: ", ".join(g.id for g in plan.gauges if g.gauge_class == one) for one in classes}
    if len(classes) < 2 or not all(named.values()):
        return [Box("Gauge", hint=", ".join(names for names in named.values() if names))] if classes else []
    return [Box(one.replace("-", " ").capitalize(), hint=names) for one, names in named.items()]


def _tool_boxes(card: Card, plan: Plan, figures: Iterable[Characteristic]) -> list[Box]:
    classes = {figure.wears_with for figure in figures if figure.wears_with}
    if card.source == "lacquer":
        return [Box("Tool", hint="booth or nozzle")]
    fitted = [tool.id for tool in plan.tools if tool.tool_class in classes and tool.removed is None]
    return [Box("Tool", hint=", ".join(fitted)), Box("Draws")] if classes else []


def _list_card(
    card: Card, plan: Plan, asked: Sequence[Characteristic], figures: Sequence[_Figure]
) -> BlankCard:
    """Lay out a list: a row for each piece or event."""
    if card.event:
        base = EVENT_COLUMNS[card.event]
        own = [(figure.heading, figure.hint) for figure in figures if figure.heading not in base]
        hints = dict(own) | {
            "Verdict": "pass, rework, reject",
            "Zeroed": "yes or no",
            "Deviation": "reading less master",
        }
        headings = [*base[:4], *(name for name, _ in own), *base[4:]] if own else list(base)
        boxes: list[Box] = []
    else:
        tools = [box.label for box in _tool_boxes(card, plan, asked)]
        hints = {figure.heading: figure.hint for figure in figures}
        headings = ["Date", "Serial", "Model", "Person", *tools, "Batch", *hints, "Note"]
        boxes = _gauge_boxes(card, plan, asked)
    rows = [("",) * len(headings)] * LIST_ROWS
    told = [hints.get(name, "") for name in headings]
    ids = {headings.index(one.heading): figure.id for one, figure in zip(figures, asked, strict=True)}
    return _made(card, plan, boxes, headings, told, 0, rows, ids, lines=True)
