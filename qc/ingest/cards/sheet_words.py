"""What a cell of a sheet may be in the words of a plan, before its card is known."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

from qc.ingest.cards.heading_lines import corner_kinds
from qc.ingest.cards.headings import (
    FIGURE,
    FIGURE_WORDS,
    NUMBER_WORDS,
    PLACE_WORDS,
    SHORTEST,
    WHAT_WORDS,
    CardHeadings,
)
from qc.ingest.cards.headlines import Cell, looks_like_serial
from qc.ingest.cards.recognition import plan_names, plan_units
from qc.ingest.cells import KNOWN_NAMES, UNITS, known_field, plain
from qc.ingest.shapes import place_values
from qc.plan import PLACE, Card, Plan

_RANGE = re.compile(r"^\d{1,3}\s*(?:[-–/]|\.\.|to|bis)\s*\d{1,3}$")
"""Places from one to another, over a column of several figures to a cell."""


class SheetWords:
    """Tells what a cell may be in the words of a plan; `bench` are headings that a mapping knows, plain."""

    def __init__(self, plan: Plan, bench: Collection[str] = ()) -> None:
        self.bench = frozenset(bench)
        self.names, self.units = plan_names(plan), plan_units(plan)
        self.cards = [CardHeadings(card, plan) for card in plan.cards]
        self.titles = {plain(name) for card in plan.cards for name in (card.title, card.id)}
        self._known: dict[str, str] = {}
        self._figures: dict[str, bool] = {}
        named = (plan.models, plan.gauges, plan.tools)
        self._no_serials = {p.code for p in plan.people} | {one.id for many in named for one in many}
        self._models = {plain(name) for model in plan.models for name in (model.id, model.name)}
        self._prefix = plan.workshop.serial_prefix

    def of(self, card: Card) -> CardHeadings:
        """Return what reads the headings of a card of the plan."""
        return next(words for words in self.cards if words.card is card)

    def is_serial(self, text: str) -> bool:
        """Tell whether a cell can be nothing in this plan but the serial of a piece."""
        first, _, last = text.strip().rpartition(" ")
        bare = first if first and plain(last) in self._models else text.strip()  # RO-428 rowan
        return bare not in self._no_serials and looks_like_serial(bare, self._prefix)

    def are_places(self, texts: Sequence[str]) -> bool:
        """Tell whether words are places of one kind on a card, each another one, short or with its kind."""
        for card in self.cards:
            for places in card.places.values():
                read = [place_values(text, places) for text in texts]
                kinds = set.intersection(*(set(one) for one in read)) if read else set()
                if any(len({one[kind] for one in read}) == len(read) for kind in kinds):
                    return True
        return False

    def place_kind(self, text: str) -> str:
        """Return the one kind of place that a word names on all cards, empty where none or several."""
        kinds = {kind for card in self.cards if (kind := card.place_kind(text))}
        return next(iter(kinds)) if len(kinds) == 1 else ""

    def places_said(self, text: str) -> dict[str, str]:
        """Return the places that words name on all cards that know them, empty where none or they differ."""
        found = [said for card in self.cards if (said := card.places_said(text))]
        whole = [said for said in found if plain(text) in {plain(value) for value in said.values()}]
        found = whole or found  # Bell is an area of its own before it is the beginning of belly
        return found[0] if found and all(said == found[0] for said in found) else {}

    def place_named(self, text: str) -> str:
        """Return the kind of place that a word names by its name, also shortened: ``Pos``, ``Part.``."""
        if (kind := known_field(text)) in PLACE:
            return kind
        begun = plain(text)
        kinds = {kind for card in self.cards for places in card.places.values() for kind in places}
        fits = [k for k in kinds if any(name.startswith(begun) for name in KNOWN_NAMES[k])]
        return fits[0] if len(fits) == 1 and len(begun) >= SHORTEST and begun.isalpha() else ""

    def has_place(self, kind: str, text: str) -> bool:
        """Tell whether a card has a place of that kind and value."""
        value = plain(text).rstrip("°")
        return any(value in p.get(kind, ()) for card in self.cards for p in card.places.values())

    def names_places(self, text: str) -> bool:
        """Tell whether a card reads a cell as places alone: ``upper``, ``Upper leg``, ``flare 2``."""
        found = (card.read(text) for card in self.cards)
        return self.kind(text) == "place" or any(
            m is not None and m.field == FIGURE and m.places for m in found
        )

    def is_figure(self, text: str) -> bool:
        """Tell whether a card reads a cell as a figure by its name, with or without places."""
        if text not in self._figures:
            found = (card.read(text) for card in self.cards)
            self._figures[text] = any(m is not None and m.figure and m.field != FIGURE for m in found)
        return self._figures[text]

    def span(self, text: str) -> list[str]:
        """Return a heading for each of several places that one heading names, or that all belong to it."""
        found = {tuple(card.several(text)) for card in self.cards} - {()}
        return list(next(iter(found))) if len(found) == 1 else []

    def is_label(self, text: str) -> bool:
        """Tell whether a cell is a heading by itself."""
        name = plain(text)
        if text in self._no_serials:
            return False  # Tester; NO: a person of the plan, and no number
        if any(name in known for known in (WHAT_WORDS, PLACE_WORDS, FIGURE_WORDS, NUMBER_WORDS)):
            return True
        if name in self.names or name in self.bench or corner_kinds(text, self):
            return True
        return bool(known_field(text)) or self.kind(text) == "label"

    def kind(self, text: str) -> str:
        """Return ``place`` for the bare name of a place, ``label`` for a figure with or without one."""
        if text not in self._known:
            found = [meaning for card in self.cards if (meaning := card.read(text)) is not None]
            self._known[text] = "place" if self._is_place(text) else "label" if found else ""
        return self._known[text]

    def _is_place(self, text: str) -> bool:
        value = plain(text).rstrip("°")
        return any(
            value in spelled
            for card in self.cards
            for places in card.places.values()
            for spelled in places.values()
        )

    def elsewhere(self, text: str, card: Card) -> str:
        """Say whose figure a heading may be that one card does not know, empty where no other card does."""
        others = [words for words in self.cards if words.card.id != card.id]
        read = [(words.card.title, words.read(text)) for words in others]
        titles = [title for title, found in read if found and found.figure and found.field != FIGURE]
        return f"a figure of {' or '.join(titles)}" if titles else ""

    def is_unit(self, text: str) -> bool:
        """Tell whether a cell is a unit and nothing else."""
        name = plain(text).strip("[]()")
        return name in UNITS or name in self.units

    def are_headings(self, cells: Sequence[Cell]) -> bool:
        """Tell whether a row is one of headings: two at least, one of them a label, and no figures."""
        texts = [cell.text.strip() for cell in cells if cell.text.strip()]
        if len(texts) < 2:
            return False
        labels = [self.is_label(text) for text in texts]
        if not any(labels):
            return False
        known = [label or self.kind(text) == "place" for text, label in zip(texts, labels, strict=True)]
        others = [text for text, is_known in zip(texts, known, strict=True) if not is_known]
        if (
            sum(known) < 2
            or len(others) > sum(known)
            or any(is_figure_text(text) and not _RANGE.match(text) for text in others)
        ):
            return False
        numbers = [text for text in texts if text.strip("+-.,°").replace(".", "", 1).isdecimal()]
        mapped = bool(corner_kinds(texts[0], self))
        if len(texts) - len(numbers) < 2 and not (mapped or _counts_up(numbers)):
            return False  # a place and its figure, which could be the number of another place
        if not known[0] and any(sign.isdigit() for sign in texts[0]):
            return False  # a serial: its row names a figure, a place and a small number
        fields = [bool(known_field(text)) for text in texts]
        pairs = len(texts) % 2 == 0 and all(fields[::2]) and not any(fields[1::2])
        return not (pairs and not any(labels[1::2])) and not is_figure_text(texts[0])


def _counts_up(numbers: Sequence[str]) -> bool:
    """Tell whether numbers rise; under a band of persons they rise anew for each: 1 2 1 2."""
    values = [float(text.strip("+-.,°")) for text in numbers]
    again = values.index(values[0], 1) if values[:1] and values[0] in values[1:] else len(values)
    run = values[:again]
    rises = len(run) > 1 and all(a < b for a, b in zip(run, run[1:], strict=False))
    return rises and values == run * (len(values) // again)


def is_figure_text(text: str) -> bool:
    """Tell whether a text begins as a figure does."""
    return text[:1].isdigit() or (text[:1] in "+-.," and text[1:2].isdigit())
