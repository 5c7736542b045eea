"""What stands over, beside and above each figure of a sheet, however the sheet is turned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from qc.ingest.cards import NUMBER_WORDS, Cell, HeadLine
from qc.ingest.cells import is_ditto, plain, split_unit
from qc.ingest.freely.cells import IDENTITY, CellReader, SeenCell
from qc.ingest.freely.columns import ColumnReader, RowsUnderHeadings
from qc.ingest.freely.lines import Label, Line, LineReader
from qc.ingest.freely.shortened import Lexicon
from qc.plan import PLACE

_HEAD_ONLY = frozenset("air_c a4_hz main_out_mm wrap_out_mm method unit time".split())
_READINGS = frozenset(
    "value reading read measured result wert messwert istwert actual ist figure cents net".split()
)


@dataclass(slots=True)
class Stood:
    """A figure with all that speaks for it."""

    seen: SeenCell
    labels: list[Label]
    carried: list[Label]
    says: dict[str, Cell]
    notes: list[str]
    unit: str = ""
    heading: str = ""
    row: int = 0


@dataclass(slots=True)
class FoundFigures:
    """What was found on a sheet or a part of it."""

    figures: list[Stood] = field(default_factory=list)
    head: list[HeadLine] = field(default_factory=list)
    lost: int = 0


class Surroundings:
    """Finds what speaks for each figure of one part of a sheet."""

    def __init__(self, rows: Sequence[Sequence[Cell]], reader: CellReader, lexicon: Lexicon) -> None:
        self.reader, self.lexicon = reader, lexicon
        self.told = LineReader(reader, lexicon)
        self.columns = ColumnReader(self.told)
        self.lines = [self.told.line(row) for row in rows]
        self.lines = [line for line in self.lines if line]
        self.found = FoundFigures()

    def read(self) -> FoundFigures:
        """Return every figure with what speaks for it."""
        blocks = self._blocks()
        for block in blocks:
            self._stand(block)
        return self.found

    def _blocks(self) -> list[RowsUnderHeadings]:
        """Part the lines into blocks: headings, and the rows below them with what was said before each."""
        blocks = [RowsUnderHeadings()]
        says: dict[str, Cell] = {}
        sections: list[Label] = []
        fresh = False  # whether the line before was a section too
        for number, line in enumerate(self.lines):
            if (gauge := self.told.gauge_line(line)) is not None:
                self.found.head.append(gauge)
            elif (pairs := self.told.pairs(line)) is not None:
                self._take(pairs, says)
                fresh = False
            elif (said := self.told.section(line)) is not None:
                own, label = said
                for name, cell in own.items():
                    self._say(says, name, cell)
                if label is None and (remark := self._unknown(line)) is not None:
                    self.found.head.append(HeadLine("", remark.text.strip(), "", remark))
                if label is not None:
                    sections = [*sections, label] if fresh else self._left(sections, label)
                    fresh = True
            elif self.told.is_heading(self.lines, number):
                if blocks[-1].data:
                    blocks.append(RowsUnderHeadings())
                blocks[-1].headers.append(line)
                fresh = False
            else:
                blocks[-1].data.append((line, dict(says), list(sections)))
                fresh = False
        self._below(blocks, says, sections)
        return blocks

    def _unknown(self, line: Line) -> Cell | None:
        """Return a line of words that say nothing of a piece: it is kept as a remark."""
        seen = next(iter(line.values()))
        return seen.cell if len(line) == 1 and seen.words and not seen.says and not seen.field else None

    def _below(
        self, blocks: Sequence[RowsUnderHeadings], says: dict[str, Cell], sections: Sequence[Label]
    ) -> None:
        """Give the rows above what is said once, at the foot."""
        rows = [one for block in blocks for one in block.data]
        for name in ("day", "person", "gauge"):
            if name in says and not any(name in own for _, own, _ in rows):
                for _, own, _ in rows:
                    own[name] = says[name]
        if sections and not any(own for _, _, own in rows) and not any(block.headers for block in blocks[1:]):
            for _, _, before in rows:
                before.extend(sections)

    def _left(self, sections: list[Label], label: Label) -> list[Label]:
        """Return the sections that go on when another begins: those that say something else."""
        new = self.lexicon.ways(label.text)
        kinds = {kind for told in new[:1] for kind, _ in told.places}
        figure = bool(new and new[0].figure)
        kept = []
        for one in sections:
            told = self.lexicon.ways(one.text)[:1]
            own = {kind for t in told for kind, _ in t.places}
            if not (own & kinds) and not (figure and told and told[0].figure) and own:
                kept.append(one)
        return [*kept, label]

    def _say(self, says: dict[str, Cell], name: str, cell: Cell) -> None:
        if name == "serial":
            says.pop("model", None)
        says[name] = cell

    def _take(self, pairs: list[tuple[str, SeenCell]], says: dict[str, Cell]) -> None:
        for name, seen in pairs:
            for own, text in (
                seen.says if seen.says and name in IDENTITY else ((name, seen.cell.text.strip()),)
            ):
                cell = seen.cell._replace(text=text)
                if own in _HEAD_ONLY:
                    self.found.head.append(HeadLine(own, text, own, cell))
                else:
                    self._say(says, own, cell)

    def _stand(self, block: RowsUnderHeadings) -> None:
        """Find for each figure of a block what speaks for it."""
        keys = sorted(
            {key for line in block.headers for key in line} | {k for line, _, _ in block.data for k in line}
        )
        over = {key: [line[key] for line in block.headers if key in line] for key in keys}
        roles = {key: self.columns.role(key, over[key], block) for key in keys}
        beside = [key for key in keys if roles[key] == "beside"]
        corner = self.columns.corner(beside, over, block)
        last: dict[float, SeenCell] = {}
        for number, (line, said, sections) in enumerate(block.data):
            row = _Row(dict(said), [*sections, *corner])
            if any(self.columns.is_wanted(line[key], over[key]) for key in beside if key in line):
                continue
            new_piece = False
            for key in beside:
                seen = line.get(key)
                if seen is not None and is_ditto(seen.cell.text):
                    seen = last.get(key)
                if seen is None:
                    continue
                last[key] = seen
                new_piece = self._beside(seen, over[key], row) or new_piece
            self._carry(beside, line, last, over, row, new_piece)
            for key, seen in line.items():
                if roles[key] == "skip" and over[key]:
                    row.notes.append(f"{over[key][-1].cell.text.strip()}: {seen.cell.text.strip()}")
            for key, seen in line.items():
                if roles[key] == "figure" and (seen.figure or seen.mark or seen.words):
                    self._one(key, seen, over, block, roles, row, number)

    def _beside(self, seen: SeenCell, over: list[SeenCell], row: _Row) -> bool:
        """Take what a cell beside the figures says of its row; True where it names another piece."""
        heading = over[-1] if over else None
        name = heading.field if heading is not None else ""
        name = name or (self.told.kind(heading.words) if heading is not None else "")
        text = seen.cell.text.strip()
        if name in PLACE and self.lexicon.ways(text, name):
            row.labels.append(Label(text, name))
        elif name == "unit":
            row.unit = split_unit(text.strip("[]()"), self.reader.units)[0]
        elif name in _HEAD_ONLY or (
            heading is not None and plain(heading.words) in NUMBER_WORDS and seen.figure
        ):
            pass
        elif name in IDENTITY and (name in dict(seen.says) or not self.lexicon.ways(seen.words or text)):
            row.say(name, seen.cell._replace(text=dict(seen.says).get(name, text)))
            if seen.says and seen.words and self.lexicon.ways(seen.words):
                row.labels.append(Label(seen.words))
            for other, said in seen.says:
                if other != name:
                    row.say(other, seen.cell._replace(text=said))
            return name == "serial"
        elif seen.says:
            for other, said in seen.says:
                row.say(other, seen.cell._replace(text=said))
            if seen.words and self.lexicon.ways(seen.words):
                row.labels.append(Label(seen.words))
            return "serial" in dict(seen.says)
        elif name != "note" and self.lexicon.ways(text):
            row.labels.append(Label(text))
        elif text:
            row.notes.append(
                text if name in {"note", ""} else f"{heading.words if heading else name}: {text}"
            )
        return False

    def _carry(
        self,
        beside: Sequence[float],
        line: Line,
        last: dict[float, SeenCell],
        over: dict[float, list[SeenCell]],
        row: _Row,
        new_piece: bool,
    ) -> None:
        """Take from the rows above what was written once for a block."""
        for key in beside:
            if key in line or key not in last:
                continue
            seen, heading = last[key], over[key][-1] if over[key] else None
            name = heading.field if heading is not None else ""
            before = _Row({}, [])
            self._beside(seen, over[key], before)
            for own, cell in before.says.items():
                if own not in row.typed and not (new_piece and own == "model"):
                    row.says.setdefault(own, cell) if own in row.says else row.says.update({own: cell})
            if name != "note":
                row.carried += [label for label in before.labels if label not in row.labels]

    def _one(
        self,
        key: float,
        seen: SeenCell,
        over: dict[float, list[SeenCell]],
        block: RowsUnderHeadings,
        roles: dict[float, str],
        row: _Row,
        number: int,
    ) -> None:
        """Add one figure with what stands over it."""
        labels, says, unit, headings = [], dict(row.says), seen.unit or row.unit, []
        for line in block.headers:
            above = self.columns.above(line, key, roles, block)
            if above is None:
                continue
            for name, text in above.says:
                says[name] = above.cell._replace(text=text)
            text = above.words or (above.cell.text.strip() if above.figure else "")
            if not text or above.field in IDENTITY:
                continue
            headings.append(text)
            if self.reader.words.is_unit(text):
                unit = unit or split_unit(text.strip("[]()"), self.reader.units)[0]
                continue
            first = line[min(line)]
            kind = first.field if first.field in PLACE else self.told.kind(first.words)
            label = Label(
                text, kind if above.figure and kind and self.columns.turned(kind, block, min(line)) else ""
            )
            if plain(text) not in _READINGS:
                labels.append(label)
        self.found.figures.append(
            Stood(
                seen, [*labels, *row.labels], row.carried, says, row.notes, unit, " ".join(headings), number
            )
        )


@dataclass(slots=True)
class _Row:
    """What is said of one row."""

    says: dict[str, Cell]
    labels: list[Label]
    carried: list[Label] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    typed: set[str] = field(default_factory=set)
    unit: str = ""

    def say(self, name: str, cell: Cell) -> None:
        """Take what the row itself says; a new piece does not keep the model of the one before."""
        if name == "serial" and "model" not in self.typed:
            self.says.pop("model", None)
        self.says[name] = cell
        self.typed.add(name)
