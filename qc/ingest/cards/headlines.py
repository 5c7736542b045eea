"""Lines above a table as they stand on paper: labels with values, several to a line, or words alone."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from qc.ingest.cells import known_field, plain, possible_days
from qc.plan import Plan

_GAP = re.compile(r"\s{2,}|\s*[;|]\s*|,\s+")
_SERIAL = re.compile(r"^\S*\d\S*$")
_LETTERED = re.compile(r"^[^\W\d_]{1,4}\d{0,4}[-/]?\d{2,6}$")  # letters, perhaps a year, a running number
_LETTER_BEHIND = re.compile(r"^\d{2,6}[-/]?[A-Z]{1,2}(?:\d{2})?$")  # a running number, a letter, a year: 418T
_NUMBER_BEHIND = re.compile(r"^[-‐-―−_/.\s]{0,3}\d{2,6}$")
_CODE = re.compile(r"^[A-Z]{2,3}$")  # how people sign; who is not in the plan is asked about, not left out
_AIR = re.compile(r"^-?\d{1,2}(?:[.,]\d)?\s*°\s?C$")
SURE_OF = 2
"""So many things understood on a line make it one of the head, whatever else stands there; chosen."""

MOST_WORDS = 5  # a date in words with its weekday has so many; chosen


def looks_like_serial(text: str, prefix: str = "") -> bool:
    """Tell whether a word is written as serials are: by the plan's prefix, else letters and a number."""
    if not prefix:
        return bool(_LETTERED.match(text) or _LETTER_BEHIND.match(text))
    if _SERIAL.match(text) and text.startswith(prefix):
        return True
    letters = prefix.rstrip("-/. _").casefold()  # os 246 and OS–246 are OS-246 in another hand
    return text.casefold().startswith(letters) and bool(_NUMBER_BEHIND.match(text[len(letters) :]))


class Cell(NamedTuple):
    """A cell with the line and the column (from 0) it was handed in at."""

    text: str
    line: int
    column: int


class HeadLine(NamedTuple):
    """One label of the head with its value; `known` is our name for it, empty where we have none."""

    label: str
    text: str
    known: str
    cell: Cell


def _strange(cells: Sequence[Cell]) -> list[HeadLine]:
    """Return cells that say nothing to us in their own words, the first of several labelling the rest."""
    if not cells:
        return []
    first, *others = cells
    if not others:
        return [HeadLine("", first.text.strip(), "", first)]
    rest = ", ".join(cell.text.strip() for cell in others)
    return [HeadLine(first.text.strip().rstrip(":"), rest, "", first)]


class HeadReader:
    """Reads the lines above a table in the words of a plan."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._kinds: dict[str, set[tuple[str, str]]] = {}
        for card in plan.cards:
            self._add(card.title, "Card", card.title)
            self._add(card.id, "Card", card.title)
        for model in plan.models:
            self._add(model.id, "Model", model.id)
            self._add(model.name, "Model", model.id)
        for gauge in plan.gauges:
            self._add(gauge.id, gauge.gauge_class.replace("-", " "), gauge.id)
        for tool in plan.tools:
            self._add(tool.id, "Tool", tool.id)
        self._classes = {plain(gauge.gauge_class.replace("-", " ")) for gauge in plan.gauges}
        self._people = {person.code for person in plan.people}

    def read(self, cells: Sequence[Cell]) -> list[HeadLine]:
        """Return the labels and values of one line; what is understood by nothing keeps its own words."""
        cells = [cell for cell in cells if cell.text.strip()]
        if not cells:
            return []
        pairs = self._pairs(cells)
        if pairs is not None:
            return pairs
        spoken = [self._spoken(cell) for cell in cells]
        if all(found is not None for found in spoken):
            return [line for found in spoken if found for line in found]
        # what says its own label holds, whatever stands beside it: a date is not lost for a strange word
        if any(self._labelled(cell) for cell in cells):
            rest = [cell for cell, found in zip(cells, spoken, strict=True) if found is None]
            return [*(line for found in spoken if found for line in found), *_strange(rest)]
        return self._partly(cells) or _strange(cells)

    def _partly(self, cells: Sequence[Cell]) -> list[HeadLine]:
        """Read a line on which two things at least are understood; the rest keeps its own words.

        ``Tuning sheet, horn R-12, 4.9.26, TK``: a serial among other words is one where it begins as the
        plan says and no other word does.
        """
        known: list[HeadLine] = []
        strange: list[Cell] = []
        for cell in cells:
            for chunk in filter(None, _GAP.split(cell.text.strip())):
                read = list(self._chunk(chunk, cell))
                if read and all(line.label for line in read):
                    known += read
                else:
                    strange.append(cell._replace(text=chunk))
        kinds = [line.known for line in known if line.known]
        if len(kinds) < SURE_OF or len(kinds) != len(set(kinds)):
            return []
        prefix = self.plan.workshop.serial_prefix
        words = [(word, cell) for cell in strange for word in cell.text.split()] if prefix else []
        serials = [(word, cell) for word, cell in words if looks_like_serial(word, prefix)]
        if "serial" not in kinds and len(serials) == 1:
            known.append(HeadLine("Serial", serials[0][0], "serial", serials[0][1]))
        return [*known, *_strange(strange)]

    def _add(self, text: str, label: str, value: str) -> None:
        self._kinds.setdefault(plain(text), set()).add((label, value))

    def _pairs(self, cells: Sequence[Cell]) -> list[HeadLine] | None:
        """Read labels with their values, None where a cell is neither."""
        if len(cells) == 2 and known_field(cells[0].text):
            return [self._line(cells[0], cells[1].text, cells[1])]
        found: list[HeadLine] = []
        at = 0
        while at < len(cells):
            cell = cells[at]
            split = self._labelled(cell)
            if known_field(cell.text) and at + 1 < len(cells) and not known_field(cells[at + 1].text):
                found.append(self._line(cell, cells[at + 1].text, cells[at + 1]))
                at += 2
            elif split is not None:
                found.append(split)
                at += 1
            elif known_field(cell.text) or (len(cells) == 1 and plain(cell.text) in self._classes):
                at += 1  # a label whose value was left empty
            else:
                spoken = self._spoken(cell)
                used = 1
                if spoken is None and found and at + 1 < len(cells):
                    spoken, used = self._own_label(cell, cells[at + 1]), 2
                if spoken is None:
                    return None
                found += spoken
                at += used
        return found

    def _own_label(self, label: Cell, value: Cell) -> list[HeadLine] | None:
        """Read a bench's own label among known ones by its value, which else would join the one before."""
        if any(letter.isdigit() for letter in label.text) or known_field(value.text):
            return None
        return self._spoken(value) or [
            HeadLine(label.text.strip().rstrip(":"), value.text.strip(), "", value)
        ]

    def _line(self, label: Cell, text: str, cell: Cell) -> HeadLine:
        return HeadLine(label.text.strip().rstrip(":"), text.strip(), known_field(label.text), cell)

    def _labelled(self, cell: Cell) -> HeadLine | None:
        """Read ``Date: 24.11.2026`` and ``Serial KT26-29``."""
        text = cell.text.strip()
        label, colon, value = text.partition(":")
        if colon and known_field(label) and value.strip():
            return HeadLine(label.strip(), value.strip(), known_field(label), cell)
        if plain(text) in self._kinds:
            return None
        words = text.split()
        for cut in range(min(len(words) - 1, 3), 0, -1):
            field, rest = known_field(" ".join(words[:cut])), " ".join(words[cut:])
            if field and self._is_value(field, rest):
                return HeadLine(" ".join(words[:cut]), rest, field, cell)
        return None

    def _is_value(self, field: str, text: str) -> bool:
        if field == "day":
            return bool(possible_days(text))
        if field == "serial":
            return bool(_SERIAL.match(text)) or looks_like_serial(text, self.plan.workshop.serial_prefix)
        if field == "person":
            return text in self._people or bool(_CODE.match(text))
        kinds = {label.casefold() for label, _ in self._kinds.get(plain(text), ())}
        if field in {"model", "card", "tool"}:
            return field in kinds
        return field == "gauge" and bool(kinds) or (field in {"air_c", "a4_hz"} and text[0].isdigit())

    def _spoken(self, cell: Cell) -> list[HeadLine] | None:
        """Read words that need no label, None where one of them says nothing to us."""
        labelled = self._labelled(cell)
        if labelled is not None:
            return [labelled]
        found: list[HeadLine] = []
        for chunk in _GAP.split(cell.text.strip()):
            read = list(self._chunk(chunk, cell)) if chunk else []
            if chunk and (not read or any(not line.label for line in read)):
                return None
            found += read
        return found

    def _chunk(self, chunk: str, cell: Cell) -> Iterator[HeadLine]:
        """Read a stretch of a head line, the longest known name first; a strange word ends it."""
        words = chunk.split()
        at = 0
        while at < len(words):
            line, taken = self._labelled_at(words, at, cell)
            if line is not None:
                yield line
                at += taken
                continue
            for used in range(min(len(words) - at, MOST_WORDS), 0, -1):
                kind = self._kind(" ".join(words[at : at + used]))
                if kind is not None:
                    yield HeadLine(kind[0], kind[1], known_field(kind[0]), cell)
                    at += used
                    break
            else:
                yield HeadLine("", words[at], "", cell)
                return

    def _labelled_at(self, words: list[str], at: int, cell: Cell) -> tuple[HeadLine | None, int]:
        """Read a label and its value among other words: ``Ser. No. 421T Model Tavin``."""
        for cut in range(3, 0, -1):
            label = " ".join(words[at : at + cut])
            field = known_field(label)
            for used in range(min(len(words) - at - cut, MOST_WORDS), 0, -1) if field else ():
                text = " ".join(words[at + cut : at + cut + used])
                if self._is_value(field, text):
                    return HeadLine(label.rstrip(":"), text, field, cell), cut + used
        return None, 0

    def _kind(self, text: str) -> tuple[str, str] | None:
        """Return what a word is, where it can be one thing only."""
        kinds = set(self._kinds.get(plain(text), ()))
        if text in self._people:
            kinds.add(("Person", text))
        if possible_days(text):
            kinds.add(("Date", text))
        if _AIR.match(text):
            kinds.add(("Air", text))
        prefix = self.plan.workshop.serial_prefix
        if not kinds and looks_like_serial(text, prefix):
            kinds.add(("Serial", text))  # among a card's title, its model and its day nothing else looks so
        return next(iter(kinds)) if len(kinds) == 1 else None
