"""What a line of a sheet is: labels with values, a section, headings, or a row of figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qc.ingest.cards import Cell, HeadLine
from qc.ingest.cells import is_worked_out, is_worked_out_heading, plain, read_decimal
from qc.ingest.freely.cells import CellReader, SeenCell
from qc.ingest.freely.shortened import Lexicon
from qc.plan import PLACE

MOST_PLACE = 16
"""The highest number taken for a place, of a partial; chosen. Directions are multiples of 15 degrees."""

Line = dict[float, SeenCell]
"""Column -> what its cell says; a second figure of one cell stands half a column behind."""


@dataclass(frozen=True, slots=True)
class Label:
    """Words that speak for a figure; `kind` is the kind of place that they are said to be."""

    text: str
    kind: str = ""


class LineReader:
    """Tells what the lines of a sheet are in the words of one card."""

    def __init__(self, reader: CellReader, lexicon: Lexicon) -> None:
        self.reader, self.lexicon = reader, lexicon

    def line(self, row: Sequence[Cell]) -> Line:
        """Return what the filled cells of a line say, by their column."""
        found: Line = {}
        for seen in self.reader.line(row):
            if seen.empty:
                continue
            key = float(seen.cell.column)
            found[key + 0.5 if key in found else key] = seen
        return found

    def gauge_line(self, line: Line) -> HeadLine | None:
        """Return a line that names the gauge of one class: ``Bore gauge; BG-1``."""
        cells = list(line.values())
        plan = self.reader.plan
        classes = {plain(gauge.gauge_class.replace("-", " ")) for gauge in plan.gauges}
        if len(cells) != 2 or plain(cells[0].words) not in classes:
            return None
        text = cells[1].cell.text.strip()
        if text not in {gauge.id for gauge in plan.gauges}:
            return None
        return HeadLine(cells[0].words, text, "", cells[1].cell)

    def pairs(self, line: Line) -> list[tuple[str, SeenCell]] | None:
        """Read labels of ours with a value behind each, and values that need no label; else None."""
        cells = list(line.values())
        if len(cells) == 2 and cells[1].says and not cells[1].words and not cells[0].field:
            plain_words = cells[0].words and not cells[0].says and not self.lexicon.ways(cells[0].words)
            return [(cells[1].says[0][0], cells[1])] if plain_words else None  # Bore gauge; BG-1
        if not cells[0].field or len(cells) == 1:
            return None
        found: list[tuple[str, SeenCell]] = []
        at = 0
        while at < len(cells):
            one, after = cells[at], cells[at + 1] if at + 1 < len(cells) else None
            if one.field and after is not None and not after.field:
                if self.names_figure(after) or (
                    after.words
                    and not after.says
                    and one.field in PLACE
                    and not self.lexicon.ways(after.words, one.field)
                ):
                    return None
                found.append((one.field, after))
                at += 2
            elif one.says and not one.words:
                found += [(name, one) for name, _ in one.says[:1]]
                at += 1
            else:
                return None
        doubled = len({name for name, _ in found}) < len(found)
        return None if doubled else found

    def names_figure(self, seen: SeenCell) -> bool:
        """Tell whether words name a figure of the card as the plan or a bench does, not shortened."""
        return (
            bool(seen.words)
            and not seen.says
            and any(t.figure and t.cost == 0 for t in self.lexicon.ways(seen.words))
        )

    def section(self, line: Line) -> tuple[dict[str, Cell], Label | None] | None:
        """Return what a line by itself says of the rows below; None where it is a row or headings."""
        cells = list(line.values())
        if any(seen.figure or (seen.mark and len(cells) > 1) for seen in cells):
            return None
        said = [name for seen in cells for name, _ in seen.says]
        if len(said) < len(cells) and len(cells) > 1:
            return None
        if len(set(said)) < len(said):
            return None  # pieces or days across
        if len(cells) > 1 and any(seen.words for seen in cells):
            return None
        own = {name: seen.cell._replace(text=text) for seen in cells for name, text in seen.says}
        words = next((seen.words for seen in cells if seen.words), "")
        if cells[0].field and len(cells) == 1 and not self.lexicon.ways(words):
            return own, None
        words = words.strip(" -–—:*=#")
        return own, Label(words) if words and self.lexicon.ways(words) else None

    def is_heading(self, lines: Sequence[Line], number: int) -> bool:
        """Tell whether a line is one of headings: no figures, or numbers that can only be places."""
        line = lines[number]
        figures = {key: seen for key, seen in line.items() if seen.figure}
        others = {key: seen for key, seen in line.items() if not seen.figure}
        if not figures:
            if any(seen.mark for seen in line.values()):
                first = next(iter(line.values()))
                marks = sum(seen.mark for seen in line.values())
                fields = sum(bool(seen.field) for seen in line.values())
                return fields > 1 + marks or (bool(first.field) and marks < len(line) - marks)
            if len(line) > 1 and is_worked_out(next(iter(line.values())).words):
                return False
            says = [name for seen in line.values() for name, _ in seen.says]
            whole = bool(says) and len(set(says)) == len(says) and not any(s.field for s in others.values())
            return not whole
        texts = [seen.cell.text.strip().rstrip("°") for seen in figures.values()]
        if len(texts) < 2 or not all(text.isdigit() and may_be_place(int(text)) for text in texts):
            return False
        if any(seen.says for seen in others.values()):
            return False
        named = [seen for seen in others.values() if seen.field or self.kind(seen.words)]
        corner = others and min(others) < min(figures)
        after: Line = next((one for one in lines[number + 1 :]), {})
        rows_begin = bool(after) and min(after) < min(figures)
        if not corner:
            return rows_begin and _counts(texts)
        return (
            bool(named)
            and len(named)
            == len(others) - sum(is_worked_out_heading(s.words) for s in others.values() if not s.field)
            and _counts(texts)
        )

    def kind(self, words: str) -> str:
        """Return the one kind of place that words name by its name, or of which a corner says it is below."""
        return self.reader.words.place_named(words.split("/")[0].strip()) if words else ""

    def places(self, text: str) -> bool:
        """Tell whether words name places, not shortened."""
        return any(told.places and told.cost == 0 for told in self.lexicon.ways(text))

    def is_value(self, text: str) -> bool:
        """Tell whether a text is a place as the plan writes it."""
        return any(text in v for places in self.lexicon.words.places.values() for v in places.values())


def may_be_place(number: int) -> bool:
    """Tell whether a number may be that of a place."""
    return number <= MOST_PLACE or (number % 15 == 0 and number < 360)


def _counts(texts: Sequence[str]) -> bool:
    """Tell whether numbers rise, anew for each group of columns."""
    values = [float(v) for t in texts if (v := read_decimal(t)) is not None]
    first = values[0]
    again = values.index(first, 1) if first in values[1:] else len(values)
    run = values[:again]
    return all(a < b for a, b in zip(run, run[1:], strict=False)) and values == run * (
        len(values) // max(again, 1)
    )
