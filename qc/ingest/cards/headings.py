"""What a heading means on one card: a name of ours, a figure, the places behind it, or several of these."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from qc.ingest.cards.asked_plan import STAGE
from qc.ingest.cards.recognition import (
    SOURCE_FIGURES,
    VALUE,
    card_characteristics,
    card_names,
    is_elsewhere,
    is_of_events,
    is_own_place,
    plan_units,
    says_no_fault,
    short_names,
    spelled_places,
)
from qc.ingest.cells import KNOWN_NAMES, WANTED, heading, known_field, plain, spanned
from qc.ingest.shapes import WHAT, WHERE, read_phrase, spelled_out
from qc.plan import PLACE, Card, Characteristic, Plan

FIGURE = "figure"
"""Field of a column of figures that are named elsewhere: in the row, or by the card alone."""

NUMBER = "number"
"""Field of a column that counts the rows, or names the piece where nothing else does."""

WHAT_WORDS = frozenset(
    "what|characteristic|figure|measurement|quantity|merkmal|messgröße|größe|kenngröße|messung|feature".split(
        "|"
    )
)
FIGURE_WORDS = frozenset(
    "value|reading|figure read|measured value|actual|wert|messwert|ist|istwert|ist-wert|istmaß|"
    "ablesung".split("|")
)
PLACE_WORDS = frozenset("place|measuring place|point|location|messpunkt|messort|ort".split("|"))
"""What stands over a column whose cells name the place of a row, of whatever kinds: ``U mouth``."""

NUMBER_WORDS = frozenset(
    "no|nr|#|lfd nr|lfd. nr|lfd. no|lfd no|lfd|lfdnr|lfd-nr|laufende nr|laufende nummer|laufnummer|"
    "running no|running number|row|line|zeile|number|nummer|num|seq".split("|")
)
ASIDE_WORDS = frozenset(
    "week|weeks|wk|cw|calendar week|week no|kw|kalenderwoche|woche|weekday|wochentag|year|jahr|month|monat|"
    "shift|schicht|page|seite|sheet no|blatt|blatt-nr|order|order no|auftrag|auftragsnummer|auftrag nr|"
    "customer|kunde|weather|wetter|humidity|luftfeuchte|luftfeuchtigkeit|rh".split("|")
)
"""What a bench writes beside its figures and no chart shows: kept as a remark, and not asked about."""

SHORTEST = 3
"""A kind of place is shortened to so many letters at least; chosen: two begin too many words."""

LABELS = {
    "inner_od": "Inner OD",
    "outer_bore": "Outer bore",
    "clearance": "Clearance",
    "cents": "Cents",
    "hz": "Hz",
}
"""Our names for figures of a source -> how they are written over a column."""

_GLUED = re.compile(r"(?<=[a-zäöü])\.?(?=\d)")
_NUMBERED = re.compile(r"^(?P<kind>[^\W\d]+)\s*\d+\s*\((?P<value>[^()]+)\)$")
"""``Valve 1 (F)``: the number says nothing that the name does not."""

_PART_WORDS = re.compile(
    r"\b(?:side|tube|section|part|seite|rohr|pressed|engaged|depressed|gedrückt)\b", re.I
)
"""Words that may stand beside a place and add nothing to it: ``F side``, ``Upper tube``."""

Places = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Meaning:
    """What stands under a heading: a field, the unit and basis it names, the places it stands for.

    `span` are the places of which it names several, for as many figures in one cell or beside each other.
    """

    field: str
    unit: str = ""
    basis: str = ""
    places: Places = ()
    figure: bool = False
    span: Places = ()


class CardHeadings:
    """Reads headings in the words of one card.

    Parameters
    ----------
    card : Card
        The card.
    plan : Plan
        The measuring plan.
    """

    def __init__(self, card: Card, plan: Plan) -> None:
        self.card, self.units = card, plan_units(plan)
        self.names, self.short = card_names(card, plan), short_names(card, plan)
        self.figures = _figures(card, plan)
        self.places = {field: spelled_places(card, c) for field, c in self.figures.items()}
        # each cell of a sheet is asked about over and over, until every other one is known
        self._means: dict[tuple[str, frozenset[str]], Meaning | None] = {}
        self._named: dict[str, str | None] = {}

    def read(self, text: str, given: Collection[str] = ()) -> Meaning | None:
        """Return what a heading means; `given` are the places that the sheet says elsewhere.

        None where it means nothing on this card, or where two places are possible.
        """
        asked = text, frozenset(given)
        if asked not in self._means:
            self._means[asked] = self._meant(*asked)
        return self._means[asked]

    def _meant(self, text: str, given: Collection[str]) -> Meaning | None:
        if (exact := self._exact(text)) is not None:
            return exact
        if (stray := heading(text, {}, self.units)).stray_unit:
            # without its unit a figure would be read as one of the plan's unit; places may stand there too
            within = self.read(f"{stray.name} {stray.stray_unit}", given)
            return within if within and within.figure and (within.places or within.span) else None
        name = plain(text)
        if name in WHAT_WORDS or name in PLACE_WORDS:
            return Meaning(WHAT if name in WHAT_WORDS else WHERE)
        if name in NUMBER_WORDS or name in ASIDE_WORDS or name in WANTED:
            return Meaning(NUMBER if name in NUMBER_WORDS else "note")
        for bare, unit, basis in self._without_unit(text):
            if bare in FIGURE_WORDS:
                return Meaning(FIGURE, unit, basis, (), figure=True)
            words = _GLUED.sub(" ", bare.replace(". ", " ")).split(" ")
            found = self._cut(words, given, unit, basis)
            if found is None and self.card.stage != STAGE:  # usual places may be named, but not shortened
                found = self._cut(words, given, unit, basis, short=True)
            found = found or self._spanned(bare, unit, basis)
            if found is not None:
                return found
        found = self._phrased(text, given) or self._shortened(name)
        if found is None and self.card.stage != STAGE:
            whole = spelled_out(text, [one.name for one in self.figures.values()])
            return self.read(whole, given) if whole else None
        return found

    def _phrased(self, text: str, given: Collection[str]) -> Meaning | None:
        """Read a heading word by word: its figure, places and unit in any order, signs between them."""
        if self.card.stage == STAGE:
            return None
        for bare, unit, basis in [(text, "", ""), *self._without_unit(text)]:
            found = read_phrase(bare, self._figure, self.places, self.units, given)
            if found is not None:
                said = (found.unit or unit, found.basis or basis)
                return Meaning(found.figure or FIGURE, *said, found.places, figure=True, span=found.span)
        return None

    def _spanned(self, name: str, unit: str, basis: str) -> Meaning | None:
        """Read ``stem wall 1-4`` and ``bore entry/throat/end``: a figure with several of its places."""
        words = name.split(" ")
        for cut in range(len(words) - 1, -1, -1):
            figure = self._figure(" ".join(words[:cut])) if cut else ""
            if figure is None:
                continue
            rest = words[cut:]
            field = heading(rest[0].removesuffix("s")).field if len(rest) > 1 else ""
            named = field if field in PLACE else ""
            if not figure and not named and not rest[0][:1].isalpha():
                continue  # numbers alone are figures: 15,1
            known = [self.places[figure]] if figure else list(self.places.values())
            spelled = {place: values for places in known for place, values in places.items()}
            span = spanned(" ".join(rest[1:] if named else rest), spelled, named)
            if span:
                return Meaning(figure or FIGURE, unit, basis, (), figure=True, span=span)
        return None

    def several(self, text: str) -> list[str]:
        """Return a heading for each of the places that one heading names several of, or leaves open.

        Open places are counted only where there is one kind of them, in the order of the plan.
        """
        meaning = self.read(text)
        if meaning is None or not meaning.figure:
            return []
        unit = f" [{meaning.unit}]" if meaning.unit else ""
        if meaning.span:
            own = self.figures[meaning.field].name if meaning.field in self.figures else ""
            name = LABELS.get(meaning.field, own)
            named = [name, *(f"{kind} {value}" for kind, value in meaning.places)]
            before = " ".join(part for part in named if part)
            return [f"{before} {kind} {value}{unit}".strip() for kind, value in meaning.span]
        known, given = self.places.get(meaning.field, {}), dict(meaning.places)
        kinds = [kind for kind in known if kind not in given]
        if len(kinds) != 1 or self.card.source == "tuning" or meaning.basis:
            return []
        bare = list(self._without_unit(text))[-1][0] if unit else text
        return [f"{bare} {value}{unit}" for value in known[kinds[0]].values()]

    def _shortened(self, name: str) -> Meaning | None:
        """Read ``Part.`` as the one kind of place on this card that begins so; None where several do."""
        if self.card.stage == STAGE or len(name) < SHORTEST or not name.isalpha():
            return None
        kinds = {kind for places in self.places.values() for kind in places}
        fits = [k for k in kinds if any(known.startswith(name) for known in KNOWN_NAMES[k])]
        return Meaning(fits[0]) if len(fits) == 1 else None

    def _cut(
        self, words: list[str], given: Collection[str], unit: str, basis: str, *, short: bool = False
    ) -> Meaning | None:
        """Read words as a figure with its places behind it, or as places alone; `short` ones of letters."""
        for cut in range(len(words), -1, -1):
            figure = self._figure(" ".join(words[:cut])) if cut else ""
            if figure is None:
                continue
            places = self._read_places(words[cut:], figure, given, short=short)
            # two bare letters are no word for a place unless they say more than one
            if places is not None and (not short or figure or len(places) > 1 or len(words[0]) > 2):
                return Meaning(figure or FIGURE, unit, basis, places, figure=True)
        for cut in range(1, len(words)):  # 0 deg outer, upper bore: the places first
            if figure := self._figure(" ".join(words[cut:])):
                places = self._read_places(words[:cut], figure, given, short=short)
                if places is not None:
                    return Meaning(figure, unit, basis, places, figure=True)
        return None

    def renamed(self, typed: str, meant: str, given: Collection[str] = ()) -> Meaning | None:
        """Return what a heading means that a mapping renames; a unit it was typed with still counts.

        None where the meaning is unknown, and where the typed unit is, unless the mapping names one itself.
        """
        if not meant:
            return self.read(typed, given)
        meaning = self.read(meant, given)
        if meaning is None or not meaning.figure or meaning.unit:
            return meaning
        own = heading(typed, {}, self.units)
        if own.stray_unit:
            return None
        _, unit, basis = list(self._without_unit(typed))[-1]
        return replace(meaning, unit=unit, basis=meaning.basis or basis)

    def open_places(self, text: str) -> list[str]:
        """Return the places a bare word may stand for, each with its name: ``partial 2``, ``position 2``."""
        value = plain(text).rstrip("°")
        names = {
            name for known in self.places.values() for name, spelled in known.items() if value in spelled
        }
        return [f"{name} {value}" for name in sorted(names)]

    def place_kind(self, text: str) -> str:
        """Return the one kind of place that a word names, empty where it is none, several or a number."""
        value = plain(text)
        kinds = {
            kind for known in self.places.values() for kind, spelled in known.items() if value in spelled
        }
        return next(iter(kinds)) if len(kinds) == 1 and value[:1].isalpha() else ""

    def places_said(self, text: str) -> dict[str, str]:
        """Return the places that words name and nothing beside them: ``Upper leg``, ``Valve: F``."""
        bare = text.strip().strip("-–—=*#:. ").replace(":", " ")
        if not bare[:1].isalpha() or known_field(bare):
            return {}
        if kind := self.place_kind(bare):
            return {kind: bare}
        if (named := _NUMBERED.match(bare)) is not None and (own := self.place_kind(named["value"])):
            return {own: named["value"]} if known_field(named["kind"]) == own else {}
        bare = _PART_WORDS.sub("", bare).strip() or bare
        if kind := self.place_kind(bare):
            return {kind: bare}
        found = self.read(bare)
        alone = found is not None and found.field == FIGURE and found.places and not found.span
        return dict(found.places) if found is not None and alone and not found.unit else {}

    def only_figure(self, places: Collection[str]) -> str:
        """Return the one figure of the card that has these places, empty where none or several have."""
        fits = [field for field, known in self.places.items() if set(places) <= set(known)]
        if self.card.source == "tuning":
            fits = ["cents"]
        return fits[0] if len(fits) == 1 else ""

    def figure_of(self, meaning: Meaning) -> str:
        """Return the figure that a heading stands for; of places alone (stocking) it is the one with them."""
        own = self.only_figure([kind for kind, _ in meaning.places]) if meaning.field == FIGURE else ""
        return own or meaning.field

    def asked_for(self) -> set[str]:
        """Return the figures that a card is filled in for; of some sources one may stand for another."""
        if self.card.source == "slide":
            return {"inner_od", "outer_bore"} & set(self.figures)
        return set(self.figures) if self.card.source == "bench" else set()

    def _exact(self, text: str) -> Meaning | None:
        found = heading(text, self.names, self.units)
        if not found.field:
            found = heading(text, self.short, self.units)
        if found.field == "verdict" and found.name == "result" and not self.card.event:
            return Meaning(FIGURE, found.unit, figure=True)  # of a play test it is the verdict
        if not found.field or found.stray_unit or says_no_fault(found, self.card):
            return None
        figure = found.field in self.figures
        if is_own_place(found.field, found.name, self.places.values()):
            return None
        if not figure and (is_elsewhere(found.field, self.card) or is_of_events(found.field, self.card)):
            return None
        return Meaning(found.field, found.unit, found.basis, (), figure)

    def _without_unit(self, text: str) -> Iterator[tuple[str, str, str]]:
        """Give the heading in plain form with and without what may be its unit."""
        found = heading(text, {}, self.units)
        yield found.name, found.unit, found.basis
        first, _, last = found.name.rpartition(" ")
        behind = heading(f"x {last}", {"x": "x"}, self.units)
        if first and behind.field:
            yield first, behind.unit, behind.basis

    def _figure(self, name: str) -> str | None:
        if name not in self._named:
            found = (heading(name, names, self.units) for names in (self.names, self.short))
            # a unit between the figure and its place is not lost
            own = (h.field for h in found if h.field in self.figures and not h.unit and not h.basis)
            self._named[name] = next(own, None)
        return self._named[name]

    def _read_places(
        self, words: list[str], figure: str, given: Collection[str], *, short: bool = False
    ) -> Places | None:
        """Read words as places one behind another; None where they are not, or may be several places."""
        words = [word for word in words if word not in {"-", "/", "at", "in", "deg"}]
        if not words:
            return () if figure else None
        found: list[tuple[str, str]] = []
        at = 0
        while at < len(words):
            named = {*given, *(name for name, _ in found)}
            taken = self._one_place(words[at:], figure, named)
            if taken is None and short:
                taken = self._begun_place(words[at], figure, named)
            if taken is None:
                return None
            used, name, value = taken
            found.append((name, value))
            at += used
        return tuple(found)

    def _one_place(
        self, words: list[str], figure: str, given: Collection[str]
    ) -> tuple[int, str, str] | None:
        known = [self.places[figure]] if figure else list(self.places.values())
        for used in range(min(len(words), 4), 0, -1):
            named = heading(words[0]).field if used > 1 else ""
            behind = heading(words[used - 1]).field if used > 1 else ""
            own = words[1:used] if named in PLACE else words[:used]
            if named not in PLACE and behind in PLACE:  # upper leg
                named, own = behind, words[: used - 1]
            value = " ".join(own).rstrip("°")
            if named in PLACE:
                fits = {(named, places[named][value]) for places in known if value in places.get(named, ())}
            else:
                fits = {
                    (name, spelled[value])
                    for places in known
                    for name, spelled in places.items()
                    if value in spelled and name not in given
                }
            if len(fits) == 1:
                return (used, *next(iter(fits)))
            if fits:
                return None
        return None

    def _begun_place(self, word: str, figure: str, given: Collection[str]) -> tuple[int, str, str] | None:
        """Return the one place that a word of letters begins, None where none or several do."""
        known = [self.places[figure]] if figure else list(self.places.values())
        start = word.rstrip(".")
        fits = {
            (name, spelled[value])
            for places in known
            for name, spelled in places.items()
            for value in spelled
            if name not in given and start.isalpha() and value.startswith(start)
        }
        return (1, *next(iter(fits))) if len(fits) == 1 else None


def _figures(card: Card, plan: Plan) -> dict[str, Characteristic]:
    if card.source == "bench":
        return {VALUE + c.id: c for c in card_characteristics(card, plan)}
    own = next(iter(card_characteristics(card, plan)), None)
    found = {}
    for field, name in SOURCE_FIGURES[card.source].items():
        characteristic = plan.characteristic(card.stage or "", name) if name else own
        if characteristic is not None:
            found[field] = characteristic
    return found
