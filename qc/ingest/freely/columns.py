"""What a column of a block is: figures, what speaks for their rows, or nothing to be read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from qc.ingest.cards import NUMBER_WORDS, WHAT_WORDS, Cell
from qc.ingest.cells import is_worked_out, is_worked_out_heading, plain
from qc.ingest.freely.cells import IDENTITY, SeenCell
from qc.ingest.freely.lines import Label, Line, LineReader, may_be_place

_ASIDE = frozenset(
    "ok|ok?|i.o|io|accept|accepted|reject|pass|passed|check|checked|signed|sign|seen|visa|done|erl|geprüft|"
    "lower|upper|lower limit|upper limit|limit|limits|nominal|soll|tol|tolerance|target|before|after".split(
        "|"
    )
)
"""Words over a column of ticks or of what is wanted: no reading stands there, unless they name a place."""

_WANTED = frozenset("lower upper tol nominal limit limits target soll".split())


@dataclass(slots=True)
class RowsUnderHeadings:
    """Lines of headings, and the rows below them with what was said before each."""

    headers: list[Line] = field(default_factory=list)
    data: list[tuple[Line, dict[str, Cell], list[Label]]] = field(default_factory=list)


class ColumnReader:
    """Tells what the columns of a block are."""

    def __init__(self, told: LineReader) -> None:
        self.told = told

    def role(self, key: float, over: list[SeenCell], block: RowsUnderHeadings) -> str:
        """Return what a column holds: figures, what speaks for its rows, or nothing to be read."""
        cells = [line[key] for line, _, _ in block.data if key in line]
        for seen in over:
            bare = plain(seen.words)
            if not seen.field and (
                is_worked_out_heading(seen.words) or (bare in _ASIDE and not self.told.places(bare))
            ):
                return "skip"
        fields = [seen.field for seen in over if seen.field and not self.is_figure_field(seen)]
        figures = sum(seen.figure for seen in cells)
        marks = sum(seen.mark for seen in cells)
        if fields:
            return "beside"
        if (
            over
            and any(self.told.kind(seen.words) for seen in over)
            and not any(self.told.names_figure(s) for s in over)
        ):
            return "beside"
        if not cells:
            return "skip"
        if plain(over[-1].words if over else "") in NUMBER_WORDS | WHAT_WORDS:
            return "beside"
        named = any(self.told.names_figure(seen) for seen in over)
        if named and not all(seen.says or self.told.lexicon.ways(seen.words) for seen in cells if seen.words):
            return "figure"
        if 2 * (figures + marks) < len(cells) and not (over and figures + marks):
            return "beside"
        if self._counts_rows(key, over, block, cells):
            return "beside"
        return "figure"

    def is_wanted(self, seen: SeenCell, over: list[SeenCell]) -> bool:
        """Tell whether a row says what is wanted or worked out; upper is a leg too, unless under Serial."""
        if is_worked_out(seen.words):
            return True
        in_piece = bool(over) and over[-1].field in IDENTITY
        return plain(seen.words) in _WANTED and (in_piece or not self.told.places(plain(seen.words)))

    def is_figure_field(self, seen: SeenCell) -> bool:
        """Tell whether a heading of ours stands over figures."""
        return (
            seen.field in self.told.lexicon.words.figures
            or self.told.names_figure(seen)
            or (seen.field == "verdict" and plain(seen.words) == "result")
        )

    def _counts_rows(
        self, key: float, over: list[SeenCell], block: RowsUnderHeadings, cells: list[SeenCell]
    ) -> bool:
        """Tell whether small whole numbers at the left, with nothing over them, are places of the rows."""
        texts = [seen.cell.text.strip().rstrip("°") for seen in cells]
        if over or not all(text.isdigit() and may_be_place(int(text)) for text in texts):
            return False
        right = [s for line, _, _ in block.data for k, s in line.items() if k > key and s.figure]
        over_right = any(k > key for line in block.headers for k in line)
        if not right or not all(
            self.told.lexicon.ways(text) or self.told.is_value(text) for text in set(texts)
        ):
            return False
        whole = all(s.cell.text.strip().lstrip("+-").isdigit() for s in right)
        return over_right or (not whole and len(set(texts)) > 1)

    def corner(
        self, beside: Sequence[float], over: dict[float, list[SeenCell]], block: RowsUnderHeadings
    ) -> list[Label]:
        """Return what the corner of a map says of all its figures."""
        found = []
        for key in beside:
            for seen in over[key]:
                if seen.field or seen.says or not seen.words or self.told.kind(seen.words):
                    continue
                cells = [line[key] for line, _, _ in block.data if key in line]
                said = [bool(self.told.lexicon.ways(s.words)) for s in cells if s.words]
                if self.told.lexicon.ways(seen.words) and (all(said) if said else bool(cells)):
                    found.append(Label(seen.words))
        return found

    def turned(self, kind: str, block: RowsUnderHeadings, key: float) -> bool:
        """Tell whether a corner names what stands beside it: its own column holds something else."""
        cells = [line[key] for line, _, _ in block.data if key in line]
        return not all(self.told.lexicon.ways(s.cell.text.strip(), kind) for s in cells)

    def above(
        self, line: Line, key: float, roles: dict[float, str], block: RowsUnderHeadings
    ) -> SeenCell | None:
        """Return what a line of headings says of a column: over it, or to the left for several columns."""
        if key in line:
            return line[key]
        left = [k for k in line if k < key]
        if not left or roles.get(max(left)) != "figure":
            return None
        before = block.headers[: next(n for n, one in enumerate(block.headers) if one is line)]
        if any(max(left) < k <= key for one in before for k in one):
            return None  # a figure of its own begins between in the line above
        return line[max(left)]
