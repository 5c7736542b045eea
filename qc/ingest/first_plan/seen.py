"""What one sheet shows of a workshop that has no plan yet: figures, places, units, pieces, people, gauges."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

from qc.ingest.cards import (
    NUMBER_WORDS,
    CardQuestion,
    CardSheet,
    Cell,
    HeadReader,
    figure_name,
    plan_of_question,
    read_cards,
)
from qc.ingest.cells import (
    UNITS,
    heading,
    is_blank_mark,
    plain,
    possible_days,
    read_decimal,
)
from qc.ingest.errors import SheetError
from qc.ingest.first_plan.lists import codes_in, event_of, event_title
from qc.ingest.first_plan.places import kind_of, places_by_cells, places_taken, unit_line_joined
from qc.ingest.first_plan.shapes import across_from, columns_of, headings_at, holds_figures, is_read
from qc.ingest.first_plan.told import finest_step, first_days, unit_behind
from qc.ingest.reading import Grid
from qc.plan import PLACE, Plan, Shop

SOURCES: dict[str, tuple[str, dict[str, str]]] = {
    "slide": ("station", {"inner_od": "mm", "outer_bore": "mm"}),
    "tuning": ("partial", {"cents": "cent"}),
    "lacquer": ("area", {"thickness": "um"}),
}
"""Source with a reader of its own -> the place that its cards name, its figures with their usual units."""

_FIGURES = frozenset("inner_od outer_bore clearance cents hz thickness base r1 r2 r3".split())
_NO_PLAN = Plan(workshop=Shop(name="none"), models=(), stages=())

COUNTED = frozenset("faults specks pits blemishes dents scratches runs marks defects fehler kratzer".split())
"""Words of figures that are counted and not measured; common practice, no source."""

UNIT_OF = {
    "g": frozenset("mass weight gewicht masse".split()),
    "um": frozenset("lacquer lack thickness clearance gap silver film coat schicht spiel".split()),
    "N": frozenset("pull force kraft drag".split()),
    "cm3/min": frozenset("leak leakage leck leckrate".split()),
    "cent": frozenset("cents cent pitch".split()),
    "C": frozenset("oven temperature ofen".split()),
}
"""Unit that figures of such names usually have, for where nobody wrote one; common practice, no source."""

_GAUGES = frozenset(
    "gauge micrometer mic caliper balance scale rule indicator tester probe messuhr mikrometer messschieber "
    "waage tiefenmass".split()
)
_DAYS = frozenset(
    "monday tuesday wednesday thursday friday mon tue wed thu fri montag dienstag mittwoch donnerstag "
    "freitag january february march april may june july august september october november december".split()
)
MOST_CODE = 2  # letters before a number in a file's name that are no word; chosen: w46, kw46

MOST_INITIALS = 3  # letters that people write for themselves; chosen

_CARDS = frozenset("card sheet book log list karte blatt buch liste".split())
_LAST = re.compile(r"^(?P<name>.*[^\W\d_].*?)(?:[\s_.#-]*(?P<number>\d{1,2})|[\s_.#-]+(?P<word>[^\W\d_]+))$")
_ANGLE = re.compile(r"^(\d{1,3})\s*(?:deg|degrees?|°|grad)\.?$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class SeenFigure:
    """A figure as benches read it.

    Attributes
    ----------
    name : str
        What stands over it, without unit and place.
    unit, guessed : str, bool
        Its unit, and whether that is guessed because nobody wrote one.
    kind : str
        ``measured``, ``count`` or ``pass-fail``.
    places : dict
        Kind of place -> its values, in the order they were met.
    values : tuple of float
        Every figure that could be read.
    step : float or None
        The finest step that was typed.
    gauge : str
        Code of the gauge it was read with, the first of several of one kind; empty where there is none, or of
        several kinds.
    """

    name: str
    unit: str
    guessed: bool
    kind: str
    places: dict[str, tuple[str, ...]]
    values: tuple[float, ...]
    step: float | None
    gauge: str = ""


@dataclass(slots=True)
class SeenSheet:
    """What one sheet shows; codes of gauges and tools with the word that stands over them.

    Of a list of events `event` says which, `causes` what stands under Cause, and `check_unit` the unit of the
    deviations of its gauges. `days` has the first day of each piece.
    """

    file: str
    title: str
    source: str
    figures: list[SeenFigure] = field(default_factory=list)
    serials: list[str] = field(default_factory=list)
    models: list[str] = field(default_factory=list)
    people: list[str] = field(default_factory=list)
    gauges: dict[str, str] = field(default_factory=dict)
    tools: dict[str, str] = field(default_factory=dict)
    event: str = ""
    causes: list[str] = field(default_factory=list)
    check_unit: str = ""
    days: dict[str, date] = field(default_factory=dict)


def look_at(grid: Grid) -> SeenSheet:
    """Look at a sheet by the usual headings alone.

    Parameters
    ----------
    grid : Grid
        The sheet as read.

    Returns
    -------
    SeenSheet
        Without figures where no column holds any.
    """
    seen = SeenSheet(grid.file, "", "bench")
    grid = unit_line_joined(grid, frozenset(UNITS))
    across = across_from(grid)
    top = headings_at(grid) if across is None else across
    head, said = HeadReader(_NO_PLAN), dict[str, str]()
    for row in range(top):
        cells = [Cell(text, grid.lines[row], n) for n, text in enumerate(grid.rows[row])]
        for line in head.read(cells):
            if line.known == "card":
                seen.title = line.text
            elif line.known:
                said.setdefault(line.known, line.text)
                _keep(seen, line.known, line.label, [line.text])
            elif not line.label and not seen.title and not any(map(str.isdigit, line.text)):
                seen.title = line.text
            elif not seen.title and _CARDS & set(plain(line.label).split(" ")):
                seen.title = _kind_of_card(line.label)
                _spoken([cell.text.strip() for cell in cells[1:]], seen)
    seen.title = seen.title or _from_file(grid.file)
    columns = columns_of(grid, top, across is not None)
    places = _passed(columns, seen)
    seen.days = first_days(columns, said)
    seen.event = event_of(columns, said)
    if seen.event:
        seen.title, seen.causes = event_title(seen.event, seen.title), codes_in(columns, "cause")
        labels = (label for label, _ in columns if heading(label).field == "deviation")
        seen.check_unit = next(map(unit_behind, labels), "")
        return seen
    known = _known_card(grid, seen)
    if known:
        seen.source, seen.figures = known
        return seen
    places |= places_by_cells(columns, list(places))
    figures = [(label, texts) for label, texts in columns if _is_figure(label, texts)]
    seen.figures = [
        _figure(name, labels, texts, {**places, **own}, seen)
        for name, labels, texts, own in _grouped(figures, seen, places)
    ]
    return seen


def _kind_of_card(words: str) -> str:
    """Return a title without the piece that one sheet is about: ``Tuning sheet R-12``."""
    kept = [word for word in words.split() if not any(map(str.isdigit, word))]
    return " ".join(kept) or words


def _passed(columns: Sequence[tuple[str, list[str]]], seen: SeenSheet) -> dict[str, tuple[str, ...]]:
    """Keep what the columns say beside figures; return the places of those that name them."""
    places: dict[str, tuple[str, ...]] = {}
    for label, texts in columns:
        known = heading(label).field
        filled = [text for text in texts if text]
        if known in PLACE:
            places[known] = places_taken(known, filled)
        elif known and known not in _FIGURES:
            _keep(seen, known, label, filled)
        elif _GAUGES & set(plain(label).split(" ")) and not holds_figures(filled):
            seen.gauges.update(dict.fromkeys(filled, plain(label)))
    return places


def _is_figure(label: str, texts: Sequence[str]) -> bool:
    """Tell whether a column holds figures, or good and faulty, under a heading that means nothing else."""
    known = heading(label).field
    if (known and known not in _FIGURES) or plain(label) in NUMBER_WORDS:
        return False
    return is_read([text for text in texts if text])


def _known_card(grid: Grid, seen: SeenSheet) -> tuple[str, list[SeenFigure]] | None:
    """Return who reads a slide, tuning or lacquer card, and its figures; None where it is none of these."""
    for source, (needs, figures) in SOURCES.items():
        plan = plan_of_question(CardQuestion(source, figures), None)
        card = plan.cards[0].model_copy(update={"title": seen.title})
        try:
            sheets = read_cards(grid, plan.model_copy(update={"cards": (card,)}))
        except SheetError:
            continue
        own = [sheet for sheet in sheets if needs in {*sheet.columns, *sheet.head}]
        found = [figure for name in figures if (figure := _of_source(name, own, seen)) is not None]
        beside = sum(len(sheet.read_as.beside) for sheet in own if sheet.read_as)
        if found and len(own) == len(sheets) and beside < len(found):
            return source, found
    return None


def _of_source(name: str, sheets: Sequence[CardSheet], seen: SeenSheet) -> SeenFigure | None:
    """Gather what stands in one column of all sheets; None where nothing does."""
    texts: list[str] = []
    places: dict[str, dict[str, None]] = {}
    for sheet in sheets:
        column = sheet.columns.get(name)
        for row in sheet.parts.body if column else ():
            typed = sheet.parts.grid.text(row, column.index).strip() if column else ""
            if not typed or is_blank_mark(typed):
                continue
            texts.append(typed)
            for kind in PLACE:
                at, said = sheet.columns.get(kind), sheet.head.get(kind)
                place = sheet.parts.grid.text(row, at.index).strip() if at else said.text if said else ""
                if place:
                    places.setdefault(kind, {})[place] = None
    if not texts:
        return None
    spelled = {kind: tuple(values) for kind, values in places.items()}
    unit = next((c.heading.unit for sheet in sheets if (c := sheet.columns.get(name)) and c.heading.unit), "")
    return _figure(name, [f"{name} [{unit}]" if unit else name], texts, spelled, seen)


def _spoken(texts: Iterable[str], seen: SeenSheet) -> None:
    """Keep what stands behind a card's title without labels: ``Gap card; KM-14; tenor; 5 Nov 2026; HB``."""
    for text in texts:
        if not text or possible_days(text):
            continue
        own = seen.serials if any(map(str.isdigit, text)) else seen.models
        if text.isupper() and text.isalpha() and len(text) <= MOST_INITIALS:
            own = seen.people
        own += [text] if text not in own else []


def _keep(seen: SeenSheet, known: str, label: str, texts: Iterable[str]) -> None:
    """Keep what stands under a heading that any card may have."""
    filled = [text for text in texts if text]
    if known in {"serial", "model", "person"}:
        own = {"serial": seen.serials, "model": seen.models, "person": seen.people}[known]
        own += [text for text in filled if text not in own]
    elif known == "gauge":
        seen.gauges.update(dict.fromkeys(filled, "gauge"))
    elif known == "tool":
        seen.tools.update(dict.fromkeys(filled, plain(label).split(" ")[0]))


def _from_file(file: str) -> str:
    """Return what a file's name says besides serials, days and numbers."""
    words = []
    for word in re.split(r"[\s_]+", file.rpartition(".")[0]):
        letters = word.rstrip("-0123456789") if any(map(str.isdigit, word)) else word
        kept = letters == word or (
            len(letters) > MOST_CODE and not letters.isupper()
        )  # HL-201, w46: no words
        if kept and letters and not any(map(str.isdigit, letters)) and plain(letters) not in _DAYS:
            words.append(letters)
    return " ".join(words) or "sheet"


Group = tuple[str, list[str], list[str], dict[str, tuple[str, ...]]]


def _grouped(
    figures: Sequence[tuple[str, list[str]]], seen: SeenSheet, places: dict[str, tuple[str, ...]]
) -> list[Group]:
    """Put columns together that are one figure at places: ``Wall 1``, ``Wall 2``; ``flare``, ``stem``."""
    angles = [found[1] if (found := _ANGLE.match(label.strip())) else "" for label, _ in figures]
    if len(figures) > 1 and all(angles) and "direction" not in places:
        every = [text for _, texts in figures for text in texts]
        words = [word for word in seen.title.split(" ") if plain(word) not in _CARDS]
        return [(" ".join(words) or seen.title, [""], every, {"direction": tuple(angles)})]
    kind = kind_of([plain(label) for label, _ in figures if label.isalpha()])
    if len(figures) > 1 and all(label.isalpha() for label, _ in figures) and kind and kind not in places:
        spelled = tuple(label.strip() for label, _ in figures)
        return [(seen.title, list(spelled), [t for _, texts in figures for t in texts], {kind: spelled})]
    by_name: dict[str, list[tuple[str, str, list[str]]]] = {}
    for label, texts in figures:
        name, place = _parted(label)
        by_name.setdefault(plain(name), []).append((label, place, texts))
    groups: list[Group] = []
    for own in by_name.values():
        kind = kind_of([plain(place) for _, place, _ in own])
        if len(own) > 1 and kind and kind not in places:
            name, _ = _parted(own[0][0])
            texts = [text for _, _, column in own for text in column]
            groups.append((name, [o[0] for o in own], texts, {kind: tuple(place for _, place, _ in own)}))
        else:
            groups += [(_bare(label), [label], texts, {}) for label, _, texts in own]
    return groups


def _parted(label: str) -> tuple[str, str]:
    """Return the name and the place of a heading like ``Wall 1``, ``Pull top``; empty where there is none."""
    found = _LAST.match(_bare(label))
    return (found["name"].strip(), found["number"] or found["word"]) if found else (_bare(label), "")


def _bare(label: str) -> str:
    """Return a heading as typed without the unit behind it."""
    name, typed = figure_name(label), re.split(r"\s*[\[(]", label)[0].strip().rstrip(":")
    if plain(typed) == name:
        return typed
    return typed[: len(name)] if plain(typed[: len(name)]) == name else name


def _figure(
    name: str,
    labels: Sequence[str],
    texts: Sequence[str],
    places: dict[str, tuple[str, ...]],
    seen: SeenSheet,
) -> SeenFigure:
    """Guess kind, unit and gauge of a figure from its name and from what was typed."""
    filled = [text for text in texts if text and not is_blank_mark(text)]
    values = tuple(value for text in filled if (value := read_decimal(text)) is not None)
    unit = next((unit for label in labels if (unit := unit_behind(label))), "")
    words = set(plain(name).split(" ")) | set(plain(seen.title).split(" "))
    kind = "measured"
    if not holds_figures(filled):
        kind = "pass-fail"
    elif not unit and COUNTED & words and all(value == int(value) >= 0 for value in values):
        kind = "count"
    guess = next((unit for unit, names in UNIT_OF.items() if names & words), "mm")
    told = unit or {"count": "count", "pass-fail": "fault"}.get(kind, guess)
    same = {(word, re.sub(r"[-_ ]*\d+$", "", code)) for code, word in seen.gauges.items()}
    gauge = next(iter(seen.gauges)) if len(same) == 1 else ""
    taken = {at: own for at, words in places.items() if (own := places_taken(at, words))}
    guessed = not unit and kind == "measured"
    return SeenFigure(name, told, guessed, kind, taken, values, finest_step(filled), gauge)
