"""Recognises which card of the plan a sheet is, and reads its headings by the names of that card."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from qc.ingest.cards.asked_plan import STAGE
from qc.ingest.cards.layout import Column, HeadValue, Parts, refuse_doubled
from qc.ingest.cards.mapping import ReadAs, SheetQuestion
from qc.ingest.cells import Heading, heading, plain
from qc.ingest.errors import SheetError
from qc.plan import PLACE, Card, Characteristic, Plan

VALUE = "value:"
"""Prefix of the field of a column that holds figures of a characteristic."""

GAUGE = "gauge:"
"""Prefix of the field of a cell that names the gauge of one class."""

FIXED_HEADINGS = "Serial, Model, Date, Person, Gauge, Tool, Batch, Note"
"""What any card may have beside its figures and their places, as a refusal names it."""

SHAPES: dict[str, tuple[tuple[str, ...], ...]] = {
    "slide": (("station", "inner_od"), ("station", "outer_bore"), ("station", "clearance")),
    "tuning": (("partial", "cents"), ("partial", "hz")),
    "lacquer": (("area", "thickness"), ("area", "r1")),
}
"""Columns by which a card of a source is known where the sheet does not name its card."""

SOURCE_FIGURES = {
    "slide": {"inner_od": "inner_od", "outer_bore": "outer_bore", "clearance": "clearance_read"},
    "tuning": {"cents": "", "hz": ""},
    "lacquer": {"thickness": ""},
}
"""Columns of figures of a source -> the characteristic; empty where the card itself names it."""

FIGURES_OF = {
    "slide": frozenset({"inner_od", "outer_bore", "clearance"}),
    "tuning": frozenset({"cents", "hz"}),
    "lacquer": frozenset({"thickness", "base", "r1", "r2", "r3"}),
}
"""Our names for the figures that one source alone reads; no other card takes them in."""

MOST_PARTIAL, MOST_POSITION = 16, 7
"""Highest partial a card asks for (chosen), positions of a hand slide."""

_OF_BOTH_TUBES = frozenset({"diameter", "dia", "tube", "slide", "leg", "size", "read"})
"""Words in the name of one tube's figure that tell it from the other's by nothing."""

EVENT_SHAPES: dict[str, tuple[str, ...]] = {
    "part": ("serial", "part", "role"),
    "shipped": ("serial", "shipped"),
    "returned": ("serial", "returned"),
    "play-test": ("serial", "verdict"),
    "rework": ("serial", "hours"),
    "gauge-check": ("gauge", "deviation"),
    "tool-fitted": ("tool", "tool_class"),
    "batch-opened": ("card", "batch"),  # never by its columns alone: every card may have a batch
    "no-card": ("card",),
}
"""Columns by which a list of events is known."""


@dataclass(frozen=True, slots=True)
class CardSheet:
    """A sheet whose card is known; head and columns are translated by the names of that card.

    `read_as` says how its table was read; a sheet that was plain already has none. `question` is what a
    mapping has to answer where cells of it are held. `decimal` is ``comma`` or ``point`` where a layout
    says so.
    """

    parts: Parts
    card: Card
    head: dict[str, HeadValue]
    extra: tuple[HeadValue, ...]
    columns: dict[str, Column]
    read_as: ReadAs | None = None
    question: SheetQuestion | None = None
    decimal: str = ""

    @property
    def dates(self) -> str:
        """Which way round its bench writes dates with strokes, empty where it was not asked."""
        mapping = self.read_as.mapping if self.read_as is not None else None
        return mapping.dates if mapping is not None else ""

    @property
    def where(self) -> str:
        """File and tab, as a message names them."""
        grid = self.parts.grid
        return f"{grid.file}, tab {grid.tab}" if grid.tab else grid.file


def recognise_card(parts: Parts, plan: Plan) -> CardSheet:
    """Find the card of a sheet, by its name in the head or else by its columns.

    Parameters
    ----------
    parts : Parts
        The sheet in its parts.
    plan : Plan
        The measuring plan.

    Returns
    -------
    CardSheet
        The card, with head and columns under our names.

    Raises
    ------
    SheetError
        An unknown card, columns that fit none or more than one, a column that the card does not have, two
        columns of one meaning.
    """
    named = _named(parts, plan)
    if named is not None:
        return _translate(parts, named, plan)
    fits = [card for card in plan.cards if _fits(parts, card, plan)]
    best = [card for card in fits if _strangers(parts, card, plan) == 0] or fits
    if len(best) == 1:
        return _translate(parts, best[0], plan)
    grid = parts.grid
    cell = grid.cell(parts.header_row, parts.columns[0].index, parts.columns[0].label)
    listed = ", ".join(card.title for card in (best or plan.cards))
    problem = "the columns fit more than one card" if best else "the columns fit none of the plan's cards"
    hint = f"Write Card and its name above the table; the cards are: {listed}."
    raise SheetError(grid.file, problem, hint, tab=grid.tab, cell=cell)


def card_characteristics(card: Card, plan: Plan) -> tuple[Characteristic, ...]:
    """Return the characteristics of a card in its order; where it lists none, what the plan says of that."""
    return plan.figures_on(card)


def is_elsewhere(field: str, card: Card) -> bool:
    """Tell whether a name stands for figures of another source, which this card would pass over unread."""
    return any(field in names for source, names in FIGURES_OF.items() if source != card.source)


def is_of_events(field: str, card: Card) -> bool:
    """Tell whether a name stands for a part of a piece, which a card of readings would pass over unread."""
    return field in {"part", "role"} and not card.event and card.stage != STAGE


def says_no_fault(taken: Heading, card: Card) -> bool:
    """Tell whether a heading is ``Kind``, which is a type of fault on a card of events only."""
    return taken.field == "fault_type" and taken.name == "kind" and not card.event


_NAMES: dict[str, tuple[Plan, frozenset[str]]] = {}
"""The names of the plan asked about last, a whole tuple at a time: a box of sheets is read by one plan."""


def plan_names(plan: Plan) -> frozenset[str]:
    """Return every heading, in plain form, that a figure of the plan may stand under."""
    kept = _NAMES.get("last")
    if kept is None or kept[0] is not plan:
        found: set[str] = set()
        for card in plan.cards:
            found.update(card_names(card, plan), short_names(card, plan))
        kept = _NAMES["last"] = plan, frozenset(found)
    return kept[1]


def plan_units(plan: Plan) -> dict[str, str]:
    """Return the units of the plan's figures, in plain form, as the plan writes them."""
    return {plain(c.unit): c.unit for stage in plan.stages for c in stage.characteristics if c.unit}


def _named(parts: Parts, plan: Plan) -> Card | None:
    value = next((v for v in parts.head if v.heading.field == "card" and v.text), None)
    names = {plain(name): card for card in plan.cards for name in (card.title, card.id)}
    if value is None:
        return names.get(plain(parts.title)) or names.get(plain(parts.grid.tab))
    card = names.get(plain(value.text))
    if card is None:
        grid = parts.grid
        listed = ", ".join(c.title for c in plan.cards)
        problem = f"the plan has no card {value.text}"
        cell = grid.cell(value.row, value.column, value.label)
        raise SheetError(grid.file, problem, f"The cards are: {listed}.", tab=grid.tab, cell=cell)
    return card


def card_names(card: Card, plan: Plan) -> dict[str, str]:
    """Return plain heading -> field, for the figures and gauges of one card; exact names only."""
    names = {plain(gauge.gauge_class.replace("-", " ")): GAUGE + gauge.gauge_class for gauge in plan.gauges}
    if card.source == "bench":
        for characteristic in card_characteristics(card, plan):
            names[plain(characteristic.name)] = VALUE + characteristic.id
            names[plain(characteristic.id)] = VALUE + characteristic.id
    for field, own in SOURCE_FIGURES.get(card.source, {}).items():
        for characteristic in card_characteristics(card, plan):
            read = field == "thickness" or (field, characteristic.unit) == ("cents", "cent")
            if own == characteristic.id or (not own and read):
                names.setdefault(plain(characteristic.name), field)
    return names


def short_names(card: Card, plan: Plan) -> dict[str, str]:
    """Return headings a bench shortens: words of a figure's name that fit no other on the card."""
    if card.source not in {"bench", "slide"}:
        return {}
    found: dict[str, set[str]] = {}
    own = {name: field for field, name in SOURCE_FIGURES.get(card.source, {}).items()}
    taken: set[str] = set()
    for characteristic in card_characteristics(card, plan):
        field = own.get(characteristic.id, "") if own else VALUE + characteristic.id
        for name in (characteristic.name, characteristic.id.replace("-", " ")) if field else ():
            words = plain(name).split(" ")
            for start in range(len(words)):
                for end in range(start + 1, len(words) + 1):
                    found.setdefault(" ".join(words[start:end]), set()).add(field)
        if own:  # both tubes have a diameter, and stocking says at which surface
            taken |= {plain(str(place)) for places in characteristic.places.values() for place in places}
            taken |= _OF_BOTH_TUBES
    return {name: next(iter(to)) for name, to in found.items() if len(to) == 1 and name not in taken}


def _columns(parts: Parts, card: Card, plan: Plan) -> list[Column]:
    names, short = card_names(card, plan), short_names(card, plan)
    units = plan_units(plan)
    columns = []
    for column in parts.columns:
        taken = heading(column.label, names, units)
        if not taken.field:
            taken = heading(column.label, short, units)
        strange = is_elsewhere(taken.field, card) or is_of_events(taken.field, card)
        if strange or says_no_fault(taken, card):
            taken = replace(taken, field="")
        columns.append(replace(column, heading=taken))
    return columns


def _fits(parts: Parts, card: Card, plan: Plan) -> bool:
    columns = _columns(parts, card, plan)
    fields = {column.heading.field for column in columns}
    given = fields | {value.heading.field for value in parts.head}
    if card.source != "bench":
        return any(set(shape) <= fields for shape in SHAPES[card.source])
    if card.event:
        shape = {VALUE + name if VALUE + name in fields else name for name in EVENT_SHAPES[card.event]}
        if not shape <= given:
            return False
    figures = {VALUE + c.id for c in card_characteristics(card, plan)}
    return bool(card.event) or bool(figures & fields)


def _strangers(parts: Parts, card: Card, plan: Plan) -> int:
    return sum(not column.heading.field for column in _columns(parts, card, plan))


def _translate(parts: Parts, card: Card, plan: Plan) -> CardSheet:
    # refuse headings the card does not know, for a column left out in silence would be a loss nobody sees
    grid = parts.grid
    columns = _columns(parts, card, plan)
    refuse_doubled(grid, parts.header_row, columns)
    for column in columns:
        if not column.heading.field:
            known = ", ".join(c.name for c in card_characteristics(card, plan)) or "see the card in the plan"
            cell = grid.cell(parts.header_row, column.index, column.label)
            problem = f"{card.title} has no column {column.label}"
            hint = (
                f"Rename the column, or move its text under Note; figures of this card: {known}; "
                f"further headings: {FIXED_HEADINGS}."
            )
            raise SheetError(grid.file, problem, hint, tab=grid.tab, cell=cell)
        if column.heading.stray_unit:
            cell = grid.cell(parts.header_row, column.index, column.label)
            problem = f"the heading {column.label} names an unknown unit"
            hint = "Write the unit of the plan in brackets, for example [mm]."
            raise SheetError(grid.file, problem, hint, tab=grid.tab, cell=cell)
    names = card_names(card, plan)
    head: dict[str, HeadValue] = {}
    extra: list[HeadValue] = []
    for value in parts.head:
        taken = replace(value, heading=heading(value.label, names))
        if taken.heading.field and taken.heading.field not in head:
            head[taken.heading.field] = taken
        else:
            extra.append(taken)
    return CardSheet(parts, card, head, tuple(extra), {c.heading.field: c for c in columns})


def spelled_places(card: Card, characteristic: Characteristic) -> dict[str, dict[str, str]]:
    """Return place name -> value in plain form -> value as the plan spells it."""
    found = {
        name: {plain(str(value)): str(value) for value in values}
        for name, values in characteristic.places.items()
    }
    if card.source == "tuning":
        found["partial"] = {str(n): str(n) for n in range(1, MOST_PARTIAL + 1)}
        found["position"] = {str(n): str(n) for n in range(1, MOST_POSITION + 1)}
    return found


def is_own_place(kind: str, name: str, places: Iterable[Mapping[str, Mapping[str, str]]]) -> bool:
    """Tell whether a card has a place of that name and none of the kind that the word usually names.

    An area ``Zug`` is no position of the slide on a card whose figures have areas alone.
    """
    own = [kinds for kinds in places if kinds]
    if kind not in PLACE or any(kind in kinds for kinds in own):
        return False
    return any(name in values for kinds in own for values in kinds.values())
