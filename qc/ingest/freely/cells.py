"""What one cell of a sheet says by itself: a piece, a day, a person ..., a figure, words, or nothing."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from qc.ingest.cards import Cell, HeadReader, SheetWords
from qc.ingest.cells import (
    WEEKDAY_OF,
    about,
    is_blank_mark,
    is_serial_range,
    known_field,
    packed_figures,
    plain,
    possible_days,
    read_decimal,
    read_verdict,
    split_unit,
)
from qc.plan import Plan

IDENTITY = frozenset("serial model day person gauge tool batch card".split())
"""What a word may say of a piece by itself."""

_WITH_UNIT = re.compile(r"^(?P<figure>[+-−]?\d[\d.,]*)\s*(?P<unit>[^\d\s].{0,12})$")
_DOUBTED = re.compile(r"^\(?(?P<figure>[+-−]?\d[\d.,]*)\s*[?!*)]+$")
_SAID = re.compile(r"^(?P<label>[^\W\d][^:=]*?)\s*[:=]\s*(?P<rest>[+-−]?\d.*)$")
_JUDGED = re.compile(r"^(?P<label>[^\W\d][^:=]*?)\s*[:=]\s*(?P<rest>[^\W\d]\S*)$")
_SPLIT = re.compile(r"\s*[;|/]\s+|,\s+|\s+")
MOST_WORDS = 4  # of a date in words; chosen


@dataclass(frozen=True, slots=True)
class SeenCell:
    """One cell: what it says of the piece, whether it is a figure, and the words that are left.

    `unit` is one typed behind the figure; `field` is our name where the cell is one of our headings.
    """

    cell: Cell
    says: tuple[tuple[str, str], ...] = ()
    figure: bool = False
    mark: bool = False
    words: str = ""
    field: str = ""
    unit: str = ""

    @property
    def empty(self) -> bool:
        """Tell whether nothing stands there."""
        return not (self.says or self.figure or self.mark or self.words or self.field)


class CellReader:
    """Reads cells in the words of a plan."""

    def __init__(self, plan: Plan, words: SheetWords, heads: HeadReader) -> None:
        self.plan, self.words, self.heads = plan, words, heads
        self.units = words.units

    def line(self, cells: Sequence[Cell]) -> list[SeenCell]:
        """Return what the cells of a line say; ``Wall rim: 0.46 mm`` in one cell is two of them."""
        found: list[SeenCell] = []
        for cell in cells:
            said = _SAID.match(cell.text.strip())
            if said is None:
                said = _JUDGED.match(cell.text.strip())
                read = said is not None and read_verdict(said["rest"])[0] is not None
            else:
                read = self._is_figures(said["rest"])
            told = self._says(cell.text.strip()) if said is not None and read else None
            whole = told is not None and not told[1]  # Date 2026-10-14 09:32
            if said is not None and read and not whole and not known_field(said["label"]):
                found.append(self.see(cell._replace(text=said["label"])))
                found.append(self.see(cell._replace(text=said["rest"])))
            else:
                found.append(self.see(cell))
        return found

    def see(self, cell: Cell) -> SeenCell:
        """Return what one cell says."""
        text = cell.text.strip()
        if not text or is_blank_mark(text):
            return SeenCell(cell)
        if read_decimal(text) is not None:
            return SeenCell(cell, figure=True)
        if self._is_figures(text):
            found = _WITH_UNIT.match(text)
            unit = split_unit(found["unit"], self.units)[0] if found is not None else ""
            if found is not None and unit:
                return SeenCell(cell._replace(text=found["figure"]), figure=True, unit=unit)
            return SeenCell(cell, figure=True)
        if field := known_field(text):
            return SeenCell(cell, field=field, words=text)
        says = self._says(text)
        if says is not None:
            return SeenCell(cell, says=tuple(says[0].items()), words=says[1])
        marked = read_verdict(text)[0] is not None
        return SeenCell(cell, mark=marked, words=text)

    def _is_figures(self, text: str) -> bool:
        if read_decimal(text) is not None or packed_figures(text):
            return True
        if _DOUBTED.match(text) or (about(text) and text[:1] not in "<>"):
            return True
        found = _WITH_UNIT.match(text)
        return found is not None and bool(split_unit(found["unit"], self.units)[0])

    def _says(self, text: str) -> tuple[dict[str, str], str] | None:
        """Return what words say of the piece, with those left over; None where they say nothing of it."""
        lines = self.heads.read([Cell(text, 0, 0)])
        if lines and all(line.known and line.text for line in lines):
            return {line.known: line.text for line in lines}, ""
        if is_serial_range(text):
            return {"serial": text}, ""
        parts = [part for part in _SPLIT.split(text.strip("() ")) if part]
        found: dict[str, str] = {}
        left: list[str] = []
        at = 0
        while at < len(parts):
            for used in range(min(MOST_WORDS, len(parts) - at), 0, -1):
                run = " ".join(parts[at : at + used])
                kind = self._kind(run)
                if kind and kind not in found:
                    found[kind] = run
                    at += used
                    break
            else:
                left.append(parts[at])
                at += 1
        weekday = next((word for word in left if plain(word).rstrip(".,") in WEEKDAY_OF), "")
        if weekday and "day" in found:  # one that does not go with its date is for the bench to say
            found["day"] = f"{weekday} {found['day']}"
            left.remove(weekday)
        return (found, " ".join(left)) if found else None

    def _kind(self, run: str) -> str:
        if read_decimal(run) is not None:
            return ""
        if possible_days(run):
            return "day"
        if self.words.is_serial(run) and any(sign.isdigit() for sign in run):
            return "serial"
        lines = self.heads.read([Cell(run, 0, 0)])
        one = lines[0] if len(lines) == 1 else None
        return one.known if one is not None and one.known in IDENTITY and plain(one.text) else ""
