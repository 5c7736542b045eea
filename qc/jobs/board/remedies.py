"""Remedies for the board, from what is stored: the answers of `qc tune`, `pair`, `wear` and `coat`.

What cannot be answered is told in the words of the command, without its options.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol, TypeVar

from qc.errors import QcError
from qc.ingest.cells import read_decimal
from qc.plain import Arguments
from qc.plan import TUBE_FIGURES

if TYPE_CHECKING:
    from qc.jobs.remedies import (
        CoatResult,
        NotePlace,
        PairResult,
        RemedySheet,
        SheetRow,
        TuneResult,
        WearResult,
    )
    from qc.jobs.workshop import Workshop
    from qc.plan import Model
    from qc.watch import SeriesKey, SeriesVerdict

T = TypeVar("T")

NOTES, LACQUER = "note", "thickness"
"""Figures of the plan that a piece must have for its tuning, and for its lacquer."""

PLAIN_NAME = "recording.wav"
"""What a recording is called on the disk: the name it came with only labels what is said of it."""

SLIDE_FIGURES = ("clearance", *TUBE_FIGURES)
"""Figures that a better pairing of the rack would move."""

CHOSEN_FROM = 24
"""Newest pieces that are offered by name; any other is typed."""


@dataclass(frozen=True, slots=True)
class Sitting:
    """The notes of one day: how many, how far they are off in the mean square, and each of them."""

    day: str
    notes: int
    rms_cents: float
    places: tuple[NotePlace, ...]


@dataclass(frozen=True, slots=True)
class TuneAsked:
    """What was typed beside the notes of a piece; everything may be empty.

    Attributes
    ----------
    reference : str
        Serial of the reference instrument that the testers share.
    since : str
        Day of the first sitting after something was changed; the sittings before it are "before".
    part : str
        What was changed then: `main` or a valve.
    mm : str
        By how much, as typed; negative = removed. [mm of tube]
    """

    reference: str = ""
    since: str = ""
    part: str = ""
    mm: str = ""


@dataclass(frozen=True, slots=True)
class TuningView:
    """The tuning of one piece: the answer, or why there is none; and its sittings, the oldest first."""

    serial: str
    model: str = ""
    result: TuneResult | None = None
    problem: str = ""
    sittings: tuple[Sitting, ...] = ()
    valves: tuple[str, ...] = ()
    order: tuple[str, ...] = ()  # the notes of the newest card, in the order they were blown


@dataclass(frozen=True, slots=True)
class RackView:
    """The tubes of one model (empty where none is said) that wait, paired; or why they cannot be."""

    model: str = ""
    result: PairResult | None = None
    problem: str = ""


@dataclass(frozen=True, slots=True)
class DiesView:
    """Every tool in use with its line, one answer for each figure that wears; or why there is none."""

    results: tuple[tuple[str, str, WearResult], ...] = ()  # name and unit of the figure, its tools
    problem: str = ""


@dataclass(frozen=True, slots=True)
class LacquerView:
    """The lacquer of one piece; or why it cannot be judged."""

    serial: str
    result: CoatResult | None = None
    problem: str = ""


class RemedyAnswers(Protocol):
    """Every question a board may ask about remedies."""

    def pieces(self, figure: str) -> tuple[str, ...]:
        """Return the newest pieces with readings of a figure."""
        ...

    def for_piece(self, serial: str) -> tuple[str, ...]:
        """Return the remedies that a piece has readings for: `tuning`, `lacquer`."""
        ...

    def for_series(self, key: SeriesKey) -> str:
        """Return the remedy that a series leads to: `tuning`, `lacquer`, `dies`, `rack`, or none."""
        ...

    def tuning(self, serial: str, asked: TuneAsked = TuneAsked()) -> TuningView:
        """Return what to do to the lengths of a piece."""
        ...

    def rack(self, locked: Sequence[tuple[str, str]] = ()) -> tuple[RackView, ...]:
        """Return which tube of the rack goes into which; locked pairs stay together."""
        ...

    def dies(self) -> DiesView:
        """Return when every tool in use is to be changed."""
        ...

    def lacquer(self, serial: str) -> LacquerView:
        """Return where the lacquer of a piece is thin, and the house rule with its figures."""
        ...


class StoreRemedies:
    """Answers a board's questions about remedies (`RemedyAnswers`).

    Parameters
    ----------
    once : callable
        Gives the answer of a question by its name, worked out once as long as nothing is added.
    verdicts : callable
        Gives the verdicts of the day.
    """

    def __init__(self, once: _Once, verdicts: Callable[[], Sequence[SeriesVerdict]]) -> None:
        self._once, self._verdicts = once, verdicts

    def pieces(self, figure: str) -> tuple[str, ...]:
        """Return the newest pieces with readings of a figure."""
        return self._once(f"pieces with {figure}", lambda shop: _pieces(shop, figure))

    def for_piece(self, serial: str) -> tuple[str, ...]:
        """Return the remedies that a piece has readings for: `tuning`, `lacquer`."""
        return self._once(f"remedies for {serial}", lambda shop: _for_piece(shop, serial))

    def for_series(self, key: SeriesKey) -> str:
        """Return the remedy that a series leads to: `tuning`, `lacquer`, `dies`, `rack`, or none."""
        return self._once(f"remedy for {key}", lambda shop: _for_series(shop, key))

    def tuning(self, serial: str, asked: TuneAsked = TuneAsked()) -> TuningView:
        """Return what to do to the lengths of a piece."""
        return self._once(f"tuning {serial} {asked}", lambda shop: _tuning(shop, serial, asked))

    def rack(self, locked: Sequence[tuple[str, str]] = ()) -> tuple[RackView, ...]:
        """Return which tube of the rack goes into which; locked pairs stay together."""
        return self._once(f"rack {list(locked)}", lambda shop: _rack(shop, locked))

    def dies(self) -> DiesView:
        """Return when every tool in use is to be changed."""
        return self._once("dies", lambda shop: _dies(shop, self._verdicts()))

    def lacquer(self, serial: str) -> LacquerView:
        """Return where the lacquer of a piece is thin, and the house rule with its figures."""
        return self._once(f"lacquer {serial}", lambda shop: _lacquer(shop, serial))


class _Once(Protocol):
    def __call__(self, name: str, work: Callable[[Workshop], T]) -> T: ...


def _pieces(shop: Workshop, figure: str) -> tuple[str, ...]:
    rows = shop.store.readings(characteristics=[figure])
    newest = rows.sort("measured_at", "row", maintain_order=True)["serial"].to_list()[::-1]
    return tuple(dict.fromkeys(newest))[:CHOSEN_FROM]


def _for_piece(shop: Workshop, serial: str) -> tuple[str, ...]:
    rows = shop.store.readings(serials=[serial], characteristics=[NOTES, LACQUER])
    known = set(rows["characteristic"].to_list())
    return tuple(name for name, figure in (("tuning", NOTES), ("lacquer", LACQUER)) if figure in known)


def _for_series(shop: Workshop, key: SeriesKey) -> str:
    stage = shop.plan.stage(key.stage)
    if stage is None:
        return ""
    ids = {one.id for one in stage.characteristics}
    own = next((one for one in stage.characteristics if one.id == key.characteristic), None)
    if own is not None and own.wears_with:
        return "dies"
    if LACQUER == key.characteristic:
        return "lacquer"
    if NOTES in ids:
        return "tuning"
    return "rack" if key.characteristic in SLIDE_FIGURES else ""


def _tuning(shop: Workshop, serial: str, asked: TuneAsked) -> TuningView:
    """Gather a piece's notes step by step: a fault in a later step leaves the earlier ones shown."""
    from qc.jobs.remedies import notes_of_piece, tune_sheet

    try:
        sheet, model = notes_of_piece(shop, serial)
    except QcError as error:
        return TuningView(serial, problem=said_of(error))
    found = TuningView(serial, model.name, valves=tuple(valve.name for valve in model.valves))
    try:
        card = newest_sitting(sheet)
        order = tuple(note_words(card, row) for row in card.rows)
        found = replace(found, sittings=_sittings(shop, sheet, model), order=order)
        now, options = _asked(shop, sheet, asked)
        result = tune_sheet(shop, now, model, **options)
    except QcError as error:
        return replace(found, problem=said_of(error))
    return replace(found, result=result)


def _asked(shop: Workshop, sheet: RemedySheet, asked: TuneAsked) -> tuple[RemedySheet, Arguments]:
    """Split the notes where something was changed, and name the reference: as the command takes them."""
    from qc.jobs.remedies import RemedyError, notes_of_piece

    options: Arguments = {}
    if asked.reference:
        options["reference"] = notes_of_piece(shop, asked.reference)[0]
    if not (asked.since or asked.mm):
        return sheet, options
    change = read_decimal(asked.mm)
    before = tuple(row for row in sheet.rows if sheet.text(row, "sitting") < asked.since)
    after = tuple(row for row in sheet.rows if sheet.text(row, "sitting") >= asked.since)
    if not (asked.since and asked.part and change):
        raise RemedyError(
            "Say since which sitting, which length was changed, and by how many millimetres of tube "
            "(negative = removed)"
        )
    if not before or not after:
        raise RemedyError(f"No notes lie before or since {asked.since}: choose another sitting")
    options |= {"before": replace(sheet, rows=before), "changed": f"{asked.part}={change:g}"}
    return replace(sheet, rows=after), options


def _sittings(shop: Workshop, sheet: RemedySheet, model: Model) -> tuple[Sitting, ...]:
    from qc.jobs.remedies import sitting_map

    days = dict.fromkeys(sheet.text(row, "sitting") for row in sheet.rows)
    found = []
    for day in sorted(days):
        own = replace(sheet, rows=tuple(row for row in sheet.rows if sheet.text(row, "sitting") == day))
        places = sitting_map(shop, own, model)
        notes = sum(place.readings for place in places)
        square = sum(place.readings * place.cents**2 for place in places) / notes
        found.append(Sitting(day, notes, square**0.5, places))
    return tuple(found)


def newest_sitting(sheet: RemedySheet) -> RemedySheet:
    """Return the notes of the last day on a sheet, in the order they were blown."""
    last = max(sheet.text(row, "sitting") for row in sheet.rows)
    return replace(sheet, rows=tuple(row for row in sheet.rows if sheet.text(row, "sitting") == last))


def note_words(sheet: RemedySheet, row: SheetRow) -> str:
    """Name a note of a sheet: partial, position, and the valve that is down."""
    valve = sheet.text(row, "valve")
    state = f", {valve} down" if valve and valve.casefold() != "open" else ""
    return f"partial {sheet.text(row, 'partial')}, position {sheet.text(row, 'position')}{state}"


def _rack(shop: Workshop, locked: Sequence[tuple[str, str]]) -> tuple[RackView, ...]:
    from qc.jobs.remedies import rack_models

    names = {model.id: model.name for model in shop.plan.models}
    # a tube of one model goes into no slide of another, however well it would fit
    models = rack_models(shop)
    if len(models) < 2:
        return (_paired(shop, names.get(models[0], models[0]) if models else "", None, locked),)
    return tuple(_paired(shop, names.get(model, model), model, locked) for model in models)


def _paired(shop: Workshop, name: str, model: str | None, locked: Sequence[tuple[str, str]]) -> RackView:
    from qc.jobs.remedies import pair_rack

    try:
        found = pair_rack(shop, model=model)
        there = {*found.inner_run.names, *found.outer_run.names}
        own = [pair for pair in locked if there & set(pair)]
        return RackView(name, pair_rack(shop, model=model, locked=own) if own else found)
    except QcError as error:
        return RackView(name, problem=said_of(error))


def _dies(shop: Workshop, verdicts: Sequence[SeriesVerdict]) -> DiesView:
    from qc.jobs.remedies import wear_of

    wearing = [c for stage in shop.plan.stages for c in stage.characteristics if c.wears_with]
    found: list[tuple[str, str, WearResult]] = []
    problems: list[str] = []
    for one in wearing:
        try:
            found.append((one.name, one.unit, wear_of(shop, one.id, verdicts=verdicts)))
        except QcError as error:
            problems.append(said_of(error))
    if not wearing:
        problems = ["The plan names no figure that wears with a tool (`wears_with`)."]
    return DiesView(tuple(found), " ".join(problems))


def _lacquer(shop: Workshop, serial: str) -> LacquerView:
    from qc.jobs.remedies import coat_piece

    try:
        return LacquerView(serial, coat_piece(shop, serial))
    except QcError as error:
        return LacquerView(serial, problem=said_of(error))


def said_of(error: QcError, file: str = "") -> str:
    """Say a refusal as a page says it: the way out of a command is none here; `file` is its own name."""
    text = str(error).replace(PLAIN_NAME, file) if file else str(error)
    for option, words in OPTIONS.items():
        text = text.replace(option, words)
    text = re.sub(r"^--[\w-]+ [^:]*: ", "", text)
    whose, colon, _ = text.partition(":")
    named = colon and "." in whose  # a file is called as it is
    return f"{text if named else text[:1].upper() + text[1:]}".rstrip(".") + "."


OPTIONS: Mapping[str, str] = {
    ", or give --inner and --outer": "",
    ": give --target-um, --lower-um and --upper-um": ". Add them to the plan",
    ": give --nominal and --lower": ". Add them to the plan",
}
"""What a command says of its options, and what a page says in their place."""
