"""What the bench asks for a card of the plan: boxes that are filled in once, then figure after figure.

Everything rests on the blank card (`qc.report.cards`), so what is typed can be laid out as that card again.
The figures come in the order of the plan: all places of the first, then all of the next, so that nobody
changes the gauge between two readings.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import log2
from typing import Final, Literal

from qc.plan import PLACE, Card, Model, Plan, figures_written
from qc.report.cards import BlankCard, blank_card
from qc.report.cards import Box as PaperBox
from qc.trade import harmonic_semitones, note_name
from qc.watch import place_words
from qc.words import unit_words

Happening = Literal["gauge-check", "tool-fitted", "batch-opened", "rework", "shipped", "returned", "no-card"]
BoxKind = Literal["serial", "model", "day", "person", "choice", "number", "text"]

NEEDED: Final[Mapping[str, tuple[str, ...]]] = {
    "part": ("Serial", "Part", "Role"),
    "shipped": ("Serial",),
    "returned": ("Serial",),
    "play-test": ("Serial", "Verdict"),
    "rework": ("Serial", "Hours"),
    "gauge-check": ("Gauge", "Deviation"),
    "tool-fitted": ("Tool",),
    "batch-opened": ("Batch",),
    "no-card": ("Stage",),
}
"""What a card of events cannot do without; a card of figures needs its piece."""

ROLES: Final = (
    "inner-upper", "inner-lower", "outer-upper", "outer-lower", "bell", "valve", "leadpipe",
)  # fmt: skip
OPEN: Final = "open"
"""The state of the valves in which none is pressed, as the plan spells it."""


@dataclass(frozen=True, slots=True)
class BenchBox:
    """What is filled in once for a card.

    Attributes
    ----------
    label : str
        As it stands on the card.
    kind : str
        How it is typed or chosen.
    options : tuple of (str, str)
        For a choice: what is kept, what is shown.
    value : str
        What stands in it from the start.
    hint : str
        What may be written, in small print.
    needed : bool
        Whether the card cannot do without it.
    """

    label: str
    kind: BoxKind
    options: tuple[tuple[str, str], ...] = ()
    value: str = ""
    hint: str = ""
    needed: bool = False


@dataclass(frozen=True, slots=True)
class BenchField:
    """One figure that is asked for.

    Attributes
    ----------
    number : int
        Its place in the order, from 0.
    row, column : int
        Its cell among the rows of the blank card.
    figure, place, unit, hint : str
        What is read, where, in what unit, how finely; in words.
    at : mapping of str to str
        The parts of its place by their column.
    kind : str
        Kind of the characteristic: measured, count or pass-fail.
    models : tuple of str
        Models that have this place.
    """

    number: int
    row: int
    column: int
    figure: str
    place: str
    unit: str
    hint: str
    at: Mapping[str, str]
    kind: str
    models: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BenchCard:
    """A card as the bench asks for it: `event` is empty for a card of figures; `blank` is what it fills."""

    id: str
    title: str
    stage_id: str
    stage: str
    event: str
    boxes: tuple[BenchBox, ...]
    fields: tuple[BenchField, ...]
    blank: BlankCard


EVENTS: Final[Mapping[Happening, str]] = {
    "gauge-check": "Gauge check",
    "tool-fitted": "Tool fitted",
    "batch-opened": "Batch opened",
    "rework": "Rework hours",
    "shipped": "Shipped",
    "returned": "Returned",
    "no-card": "No card today",
}
"""What can be said at every bench, by the title of its card where the plan lists none for it."""


def bench_plan(plan: Plan) -> Plan:
    """Return a plan by which all of `EVENTS` can be said, whether or not it lists a card for each.

    Parameters
    ----------
    plan : Plan
        The measuring plan.
    """
    told, ids = {card.event for card in plan.cards}, {card.id for card in plan.cards}
    more = [
        Card(id=kind, title=title, source="bench", event=kind)
        for kind, title in EVENTS.items()
        if kind not in told and kind not in ids
    ]
    return plan.model_copy(update={"cards": (*plan.cards, *more)}) if more else plan


def asked_of(card: Card, plan: Plan) -> BenchCard:
    """Return what the bench asks for a card.

    Parameters
    ----------
    card : Card
        One of the plan's cards.
    plan : Plan
        The measuring plan.

    Returns
    -------
    BenchCard
        With fields only where figures are measured; events are boxes alone.
    """
    blank = blank_card(card, plan, across=False)
    stage = plan.stage(card.stage or "")
    boxes = tuple(_boxes(card, plan, blank))
    fields = () if card.event else tuple(_fields(card, plan, blank))
    of = (card.stage or "", stage.name if stage else "")
    return BenchCard(card.id, card.title, *of, card.event or "", boxes, fields, blank)


def note_of(model: Model, at: Mapping[str, str]) -> str:
    """Name the note of a place of a tuning card on a model; empty where the place is no note.

    Parameters
    ----------
    model : Model
        Its pedal note, length and valves.
    at : mapping of str to str
        ``valve``, ``position`` and ``partial``.

    Returns
    -------
    str
        Name with the number of its octave, middle C being C4.

    Examples
    --------
    >>> from qc.plan import Model
    >>> tenor = Model(id="t", name="T", family="t", pedal_midi=34, length_mm=2931.6)
    >>> note_of(tenor, {"valve": "open", "position": "1", "partial": "3"})
    'F3'
    """
    if not {"position", "partial"} <= set(at):
        return ""
    pressed = [valve for valve in model.valves if valve.name in at.get("valve", OPEN).split("+")]
    longer = 12 * log2(1 + sum(valve.added_mm for valve in pressed) / model.length_mm)
    midi = model.pedal_midi + harmonic_semitones(int(at["partial"])) - (int(at["position"]) - 1) - longer
    return note_name(round(midi))


def _fields(card: Card, plan: Plan, blank: BlankCard) -> Iterator[BenchField]:
    number = 0
    rows = blank.rows[:1] if blank.lines else blank.rows
    for column, name in blank.figures.items():
        figure = next(one for one in figures_written(plan, card) if one.id == name)
        others = {place for one in figures_written(plan, card) for place in one.places} - set(figure.places)
        for row, cells in enumerate(rows):
            if cells[column] is None:
                continue
            own = set(PLACE) - others  # an outer bore carries no surface
            pairs = zip(blank.headings[: blank.places], cells, strict=False)
            at = {label.lower(): str(cell) for label, cell in pairs if cell and label.lower() in own}
            yield BenchField(
                number,
                row,
                column,
                figure.name,
                place_words(at),
                unit_words(figure.unit) if figure.kind == "measured" else "",
                blank.hints[column],
                at,
                figure.kind,
                tuple(model.id for model in plan.models_of(figure) if _has(model, at)),
            )
            number += 1


def _has(model: Model, at: Mapping[str, str]) -> bool:
    """Tell whether a model has a place: its valves, positions and partials are the plan's own."""
    valves = set(at.get("valve", OPEN).split("+")) - {OPEN}
    if not valves <= {valve.name for valve in model.valves}:
        return False
    if "partial" not in at:
        return True
    return int(at.get("position", 1)) <= model.positions and int(at["partial"]) in model.partials


def _boxes(card: Card, plan: Plan, blank: BlankCard) -> Iterator[BenchBox]:
    needed = set(NEEDED[card.event] if card.event else ("Serial", "Date"))
    if any(plan.asks_model(card.stage or "", one.id) for one in figures_written(plan, card)):
        needed.add("Model")
    papers = [box for box in blank.head if not box.value or box.label == "A4 Hz"]
    if blank.lines:
        figures = set() if card.event else {blank.headings[column] for column in blank.figures}
        own = [PaperBox(name) for name in blank.headings if name not in figures]
        papers = [*own[:-1], *papers, *own[-1:]]
    classes = {one.gauge_class.replace("-", " ").capitalize() for one in plan.gauges}
    for paper in papers:
        yield _box(paper, card, plan, classes, needed)


def _box(paper: PaperBox, card: Card, plan: Plan, classes: Iterable[str], needed: Iterable[str]) -> BenchBox:
    """Choose the kind of field for a box of the paper card; a list that the plan leaves empty is typed."""
    label = paper.label
    kind: BoxKind = "text"
    options: Iterable[tuple[str, str]] = ()
    if label == "Serial":
        kind = "serial"
    elif label == "Model":
        kind, options = "model", [(one.id, one.name) for one in _models(card, plan)]
    elif label in {"Date", "Shipped", "Returned"}:
        kind = "day"
    elif label in {"Person", "Tester"}:
        kind = "person"
    elif label == "Gauge" or label in classes:
        kind, options = "choice", _gauges(label, card, plan)
    elif label == "Tool":
        kind, options = "choice", _tools(card, plan)
    elif label == "Stage":
        kind, options = "choice", [(one.name, one.name) for one in plan.stages]
    elif label == "Cause":
        kind, options = "choice", [(one, one.replace("-", " ")) for one in plan.causes]
    elif label in CHOICES:
        kind, options = "choice", [(one, one) for one in CHOICES[label]]
    elif label in {"Hours", "Deviation", "Draws", "Room C", "A4 Hz", "Main slide out mm"}:
        kind = "number"
    options = tuple(options)
    if kind == "choice" and not options:
        kind = "text"
    value = options[0][0] if kind == "choice" and len(options) == 1 and label in needed else paper.value
    return BenchBox(label, kind, options, value, paper.hint, label in needed)


CHOICES: Final[Mapping[str, tuple[str, ...]]] = {
    "Verdict": ("pass", "rework", "reject"),
    "Zeroed": ("yes", "no"),
    "Role": ROLES,
    "Method": ("stop", "gauge-block", "marked", "by-ear"),
}
"""Boxes with few answers, as the readers of sheets know them."""


def _models(card: Card, plan: Plan) -> list[Model]:
    on = {model.id for figure in figures_written(plan, card) for model in plan.models_of(figure)}
    return [model for model in plan.models if model.id in on or not on]


def _gauges(label: str, card: Card, plan: Plan) -> list[tuple[str, str]]:
    """Return the gauges of the class that a box is named by, else of those that the card's figures need."""
    wanted = {label.lower().replace(" ", "-")}
    if label == "Gauge":
        wanted = {one.gauge_class for one in figures_written(plan, card) if one.gauge_class}
    every = [one for one in plan.gauges if one.gauge_class in wanted or card.event == "gauge-check"]
    return [(one.id, f"{one.id}, {one.name}") for one in every]


def _tools(card: Card, plan: Plan) -> list[tuple[str, str]]:
    """Return the tools that are fitted; of a card of figures those that its figures wear with."""
    classes = {one.wears_with for one in figures_written(plan, card) if one.wears_with}
    every = [one for one in plan.tools if card.event == "tool-fitted" or one.removed is None]
    return [(one.id, f"{one.id}, {one.name}") for one in every if not classes or one.tool_class in classes]
