"""What a column is by what stands below its heading, where the heading itself does not say."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from qc.ingest.cards.headings import FIGURE, NUMBER, CardHeadings, Meaning
from qc.ingest.cards.questions import by_content, mostly_figures
from qc.ingest.cells import (
    KNOWN_NAMES,
    heading,
    is_blank_mark,
    known_field,
    plain,
    read_decimal,
    spanned,
)
from qc.ingest.shapes import WHAT, WHERE, MapReading, crossings, place_values
from qc.plan import PLACE, Plan
from qc.words import closest

_NO_CONTENT = frozenset({"", "serial", "part", "role", "tool", "note"})
"""What a heading may mean whose column names figures all the same: ``Tube`` over inner and outer."""


def meant_by_cells(
    meaning: Meaning | None, texts: Sequence[str], words: CardHeadings, taken: Collection[str]
) -> Meaning | None:
    """Return what the cells of a column say it is, else what its heading says.

    Parameters
    ----------
    meaning : Meaning or None
        What the heading means on the card, None where nothing.
    texts : sequence of str
        The cells below it.
    words : CardHeadings
        The words of the card.
    taken : collection of str
        Fields that the sheet says elsewhere.

    Returns
    -------
    Meaning or None
        The names of figures where every filled cell is one, or several places at once; a kind of place where
        every filled cell is one of its words and no number.
    """
    filled = [text for text in texts if text and not is_blank_mark(text)]
    if meaning is not None and meaning.figure and not meaning.places and filled:
        # Joint beside Joint faulty: what stands below it are joints
        named = _kinds_of(filled, words, taken)
        return Meaning(named[0]) if len(named) == 1 else meaning
    if not filled or (
        meaning is not None and (meaning.figure or meaning.field not in {*_NO_CONTENT, *PLACE})
    ):
        return meaning
    if meaning is not None and meaning.field in PLACE and WHAT in taken:
        own = sum(are_places(meaning.field, [text], words) for text in filled)
        if 2 * own < len(filled) and WHERE not in taken:
            return Meaning(WHERE)  # beside names of figures: places of several kinds
    if meaning is not None and meaning.field in PLACE and are_places(meaning.field, filled, words):
        return meaning
    read = [words.read(text) for text in filled]
    said = [m for m in read if m is not None and m.figure and (m.field != FIGURE or len(m.places) > 1)]
    mostly = meaning is not None and meaning.field in PLACE and 2 * len(said) >= len(read)
    if (
        len(said) == len(read) or mostly
    ):  # Bore mouth, Stocking mouth: a figure; U mouth, L mouth: places alone
        what = WHAT if any(m.field != FIGURE for m in said) else WHERE
        if what not in taken:
            return Meaning(what)
    if meaning is not None and meaning.field in {"note", "serial", "tool", *PLACE}:
        return meaning
    kinds = _kinds_of(filled, words, taken)
    return Meaning(kinds[0]) if len(kinds) == 1 else meaning


def _kinds_of(filled: Sequence[str], words: CardHeadings, taken: Collection[str]) -> list[str]:
    """Return the kinds of place of which every cell is one of the plan's words and no number."""
    return [
        kind
        for kind in PLACE
        if kind not in taken
        and all(
            any(plain(text) in places.get(kind, ()) for places in words.places.values())
            and not text.strip().isdigit()
            for text in filled
        )
    ]


def are_places(kind: str, texts: Sequence[str], words: CardHeadings) -> bool:
    """Tell whether a cell of a column is a place of the kind that stands over it."""
    return any(place_values(text, places).get(kind) for text in texts for places in words.places.values())


def meant_without_heading(
    texts: Sequence[str],
    plan: Plan,
    taken: Collection[str],
    is_serial: Callable[[str], bool],
    columns: Iterable[Sequence[str]] = (),
) -> Meaning | None:
    """Return what a column without a heading can only be; of several columns of days none is the measured."""
    field = field_of_cells(texts, plan, is_serial)
    others = [one for one in columns if list(one) != list(texts)] if field == "day" else []
    if not field or field in taken or any(field_of_cells(o, plan, is_serial) == field for o in others):
        return None
    return Meaning(field)


def field_of_cells(texts: Sequence[str], plan: Plan, is_serial: Callable[[str], bool]) -> str:
    """Return what a column is whose cells are all days, people, models, gauges or serials; else empty."""
    filled = [text.strip() for text in texts if text.strip() and not is_blank_mark(text)]
    if field := known_field(by_content(filled, plan)):
        return field
    gauges = {gauge.id for gauge in plan.gauges}
    if filled and gauges.issuperset(filled):
        return "gauge"
    return "serial" if filled and all(map(is_serial, filled)) else ""


def settle_doubled(
    columns: Sequence[tuple[Meaning, str, Sequence[str]]], plan: Plan, is_serial: Callable[[str], bool]
) -> dict[int, Meaning]:
    """Return what columns are whose headings mean what another column already says.

    Parameters
    ----------
    columns : sequence of (Meaning, str, sequence of str)
        What each heading means, as typed, and the cells below it.
    plan : Plan
        Its people, models and gauges tell what cells are.
    is_serial : callable
        Tells a serial.

    Returns
    -------
    dict
        Number of a column -> a remark, or a figure that the sheet names elsewhere (``Measured`` over figures
        beside a ``Date``). Empty where two columns may be meant: these stay as they are.
    """
    found: dict[int, Meaning] = {}
    told: dict[str, list[int]] = {}
    for n, (meaning, _, _) in enumerate(columns):
        if not meaning.figure and meaning.field not in {"", "note", NUMBER}:
            told.setdefault(meaning.field, []).append(n)
    for field, places in told.items():
        if len(places) < 2:
            continue
        fit = [n for n in places if field_of_cells(columns[n][2], plan, is_serial) == field]
        same = len(fit) > 1 and len({tuple(columns[n][2]) for n in fit}) == 1
        if len(fit) != 1 and not same:
            continue
        for n in places:
            if n != fit[0]:
                read = n not in fit and mostly_figures(columns[n][2])
                found[n] = Meaning(FIGURE, figure=True) if read and field == "day" else Meaning("note")
    return found


def figure_by_unit(
    label: str, texts: Sequence[str], words: CardHeadings, there: Collection[str]
) -> Meaning | None:
    """Return the one figure still unread that has the unit of an unknown heading and may have its cells."""
    unit = heading(f"x {plain(label).rpartition(' ')[2]}", {"x": "x"}, words.units).unit
    unit = unit or heading(label, {}, words.units).unit
    fits = [field for field, c in words.figures.items() if unit and c.unit == unit and field not in there]
    sensible = words.figures[fits[0]].sensible if len(fits) == 1 else None
    if sensible is None:
        return None  # without bounds of the plan nothing says that the cells are likely
    read = [read_decimal(text) for text in texts if text and not is_blank_mark(text)]
    inside = [value is not None and sensible[0] <= value <= sensible[1] for value in read]
    return Meaning(fits[0], unit, figure=True) if inside and all(inside) else None


_STROKE = re.compile(r"\s*[/\\\\|]\s*")
SHORTEST = 3  # of a kind of place, so many letters at least say which; chosen


@dataclass(frozen=True, slots=True)
class MapOfPlaces:
    """A table by its words: what stands over each column, its rows, what is said of it elsewhere.

    `leading` is a figure that a line by itself names above it; `given` are kinds of place said elsewhere.
    """

    labels: Sequence[str]
    rows: Sequence[Sequence[str]]
    given: Collection[str]
    leading: Meaning | None = None


def meant_by_map(
    table: MapOfPlaces, words: CardHeadings, is_serial: Callable[[str], bool]
) -> tuple[dict[int, Meaning], list[MapReading]]:
    """Return what the columns of a map are, where their headings alone do not say it.

    ``Wall mm; 0; 90`` over rows of stations: the numbers are directions, the first column the stations.

    Parameters
    ----------
    table : MapOfPlaces
        The table.
    words : CardHeadings
        The words of the card.
    is_serial : callable
        Tells a serial.

    Returns
    -------
    tuple of (dict, list)
        Number of a column -> its meaning; the ways to read it where there are several, and nobody can tell.
    """
    labels = table.labels
    if len(labels) < 2:
        return {}, []
    read = [words.read(label, table.given) if label else None for label in labels]
    firsts = [text for row in table.rows if row and (text := row[0].strip())]
    corner, says = read[0], _corner_kinds(labels[0], words)
    named = [
        m.field for text in firsts if (m := words.read(text, table.given)) and m.figure and m.field != FIGURE
    ]
    lead = corner if corner is not None and corner.figure and corner.field != FIGURE else table.leading
    bare = {
        n: label
        for n, label in enumerate(labels[1:], start=1)
        if label and _may_be_place(read[n]) and any(place_values(label, p) for p in words.places.values())
    }
    spans = {
        n: s for n, label in enumerate(labels) if n and read[n] is None and (s := _span(label, table, words))
    }
    if spans and not bare and lead is None:
        return {n: Meaning(FIGURE, figure=True, span=span) for n, span in spans.items()}, []
    whole = [n for n, m in enumerate(read) if n and n not in bare and m is not None and m.field == FIGURE]
    corner_said = words.places_said(labels[0])
    if corner_said and named:  # Upper; mouth; crook over Bore and Stocking, of which one is a place alone
        own = [m for text in firsts if (m := words.read(text, table.given)) is not None and m.figure]
        named = [words.figure_of(m) for m in own if words.figure_of(m) != FIGURE]
    resolved = [m for text in firsts if (m := words.read(text, table.given)) is not None and m.figure]
    mostly = len(named) > 1 and 2 * len(resolved) > len(firsts) and (not labels[0] or bool(says))
    if firsts and (len(named) == len(firsts) or mostly):
        over = _over_names(bare, read, named, words, table.given)
        return (_in_corner(over, corner_said, bare, read)), []
    if lead is None and all(_is_told(read[n], words) for n in (*bare, *whole)) and (labels[0] or not bare):
        return {}, []
    if lead is not None and lead is corner and any(map(_is_number, firsts)) and not (bare or whole):
        return {}, []
    pieces = bool(firsts) and all(map(is_serial, firsts))
    identity = corner is not None and not corner.figure and corner.field not in {*PLACE, WHERE, NUMBER}
    figures = [lead.field] if lead is not None else list(words.figures)
    ways = crossings(bare, firsts, words, figures, table.given, says, pieces or identity or not firsts)
    if len(ways) > 1 or (bare and not ways):
        return {}, ways
    found: dict[int, Meaning] = {}
    field, unit, basis = (lead.field, lead.unit, lead.basis) if lead is not None else (FIGURE, "", "")
    fixed = lead.places if lead is not None else ()
    for number in whole:
        alone = read[number]
        if alone is not None and lead is not None:
            said = (alone.unit or unit, alone.basis or basis)
            found[number] = replace(alone, field=field, unit=said[0], basis=said[1])
    for way in ways:
        for number, value in way.values.items():
            places = ((way.columns, value), *fixed)
            found[number] = Meaning(field if lead else way.figure or FIGURE, unit, basis, places, figure=True)
    if identity or not found:
        return found, []
    found[0] = Meaning(_first_kind(ways, firsts, pieces, found, words))
    return found, []


def _first_kind(
    ways: Sequence[MapReading],
    firsts: Sequence[str],
    pieces: bool,
    found: dict[int, Meaning],
    words: CardHeadings,
) -> str:
    """Return what the first column of a map holds; nothing where it is empty."""
    if pieces:
        return "serial"
    if not firsts:
        return ""
    if ways:
        return ways[0].rows
    taken = {kind for m in found.values() for kind, _ in (*m.places, *m.span)}
    places = words.places.get(next(iter(found.values())).field, {})
    kinds = set.intersection(*(set(place_values(text, places)) for text in firsts)) - taken
    return next(iter(kinds)) if len(kinds) == 1 else WHERE


def _over_names(
    bare: dict[int, str],
    read: Sequence[Meaning | None],
    named: Sequence[str],
    words: CardHeadings,
    given: Collection[str],
) -> dict[int, Meaning]:
    """Return the places across where each row names its figure: ``Throw`` under F and D."""
    if not bare or all(read[n] is not None for n in bare):
        # each row says its figure, so that the first column needs no heading
        return {0: Meaning(WHAT)} if bare and not (read[0] and read[0].field == WHAT) else {}
    kinds: set[str] = {*PLACE} - {*given}
    for field in named:
        own = words.places.get(field, {})
        for text in bare.values():
            kinds &= set(place_values(text, own))
    if len(kinds) != 1:
        return {}
    kind = next(iter(kinds))
    places = words.places[named[0]]
    found = {
        n: Meaning(FIGURE, places=((kind, place_values(text, places)[kind]),), figure=True)
        for n, text in bare.items()
    }
    return {0: Meaning(WHAT), **found}


def _span(label: str, table: MapOfPlaces, words: CardHeadings) -> tuple[tuple[str, str], ...]:
    """Return the places of one kind that bare numbers name several of: ``1-4`` beside a column of areas."""
    found = set()
    for places in words.places.values():
        left = {kind: spelled for kind, spelled in places.items() if kind not in table.given}
        found.add(spanned(plain(label), left))
    spans = found - {()}
    return next(iter(spans)) if len(spans) == 1 else ()


def _in_corner(
    over: dict[int, Meaning], said: dict[str, str], bare: Collection[int], read: Sequence[Meaning | None]
) -> dict[int, Meaning]:
    """Add the place that stands in the corner, ``Upper`` over rows of figures, to every column."""
    if not said:
        return over
    columns = {n: m for n in bare if (m := over.get(n) or read[n]) is not None}
    added = {n: replace(m, places=(*m.places, *said.items())) for n, m in columns.items()}
    return {0: Meaning(WHAT), **added} if added else over


def _may_be_place(meaning: Meaning | None) -> bool:
    return meaning is None or (meaning.field == FIGURE and bool(meaning.places) and not meaning.span)


def _is_told(meaning: Meaning | None, words: CardHeadings) -> bool:
    """Tell whether a column says its figure and its places by itself."""
    if meaning is None:
        return False
    return meaning.field != FIGURE or bool(
        words.only_figure([k for k, _ in (*meaning.places, *meaning.span)])
    )


def _is_number(text: str) -> bool:
    return text.strip("+-.,°")[:1].isdigit()


def _corner_kinds(text: str, words: CardHeadings) -> frozenset[str]:
    """Return the kinds of place that a corner names: ``Partial``, ``Pos / Part.``."""
    kinds = {kind for places in words.places.values() for kind in places}
    found = set()
    for part in _STROKE.split(text):
        known, begun = known_field(part), plain(part)
        fits = [k for k in kinds if any(name.startswith(begun) for name in KNOWN_NAMES[k])]
        if known in kinds:
            found.add(known)
        elif len(fits) == 1 and len(begun) >= SHORTEST and begun.isalpha():
            found.add(fits[0])
    return frozenset(found)


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
"""What is near a heading besides the figures of its card."""


def nearest(label: str, words: CardHeadings) -> str:
    """Return what a heading may have been meant for, empty where nothing is close."""
    places = words.open_places(label)
    if places:
        return " or ".join(places)
    name = plain(label)
    bare = name.rstrip("0123456789 ")
    begun = next((w for w in (*words.names, *words.short) if name.startswith(f"{w} ")), "")
    allowed = [*words.names, *words.short, *_COMMON]
    return begun or closest(name, allowed) or (closest(bare, allowed) if bare != name else "")
