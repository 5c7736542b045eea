"""`qc uncertainty`: how far a reading may lie from the true value, from a list of causes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from qc.ingest.cells import read_decimal
from qc.ingest.reading import Table, TableSource
from qc.jobs.questions.study_read import SMALL, faults_named, read_study_table, take_labels
from qc.plain import JsonObject, as_meant
from qc.report.terminal import uncertainty_text
from qc.stats import ExpandedUncertainty, StatisticsError, StatisticsUsageError, Tabled, expanded_uncertainty
from qc.words import closest, listed

DIVISORS: Final = {
    "standard": 1.0,
    "expanded": 2.0,
    "rectangular": math.sqrt(3.0),
    "triangular": math.sqrt(6.0),
    "u-shaped": math.sqrt(2.0),
    "step": math.sqrt(12.0),
}
"""What a value is divided by to give a standard uncertainty (JCGM 100:2008, 4.3; a step in full width,
the three before it as half-widths).
"""

COLUMNS: Final = ("cause", "value", "kind", "df", "times")


@dataclass(frozen=True, slots=True)
class Cause(Tabled):
    """One cause of uncertainty: its value as given, its kind, degrees of freedom and factor.

    `standard` is its standard uncertainty of the reading, `times` what one unit of the cause changes in the
    reading. [unit of the readings; 1 where cause and reading have one unit]
    """

    name: str
    value: float
    kind: str = "standard"
    df: float = math.inf
    times: float = 1.0

    @property
    def standard(self) -> float:
        """Standard uncertainty that the cause gives the reading."""
        return abs(self.times) * self.value / DIVISORS[self.kind]


@dataclass(frozen=True, slots=True)
class Uncertainty(Tabled):
    """Expanded uncertainty with the causes it comes from, in the order given."""

    ROWS = "causes"

    found: ExpandedUncertainty
    causes: tuple[Cause, ...]

    def to_dict(self) -> JsonObject:
        """Return the object that `--json` prints; degrees of freedom without end are null."""
        plain = self.found.to_dict()
        shares = plain.pop("shares")
        causes = [
            {**one.to_dict(), "standard": one.standard, "share_of_variance": shares[one.name]}
            for one in self.causes
        ]
        return {**plain, "causes": causes}

    def to_text(self) -> str:
        """Return what a person reads: the uncertainty, then a line a cause, the largest first."""
        rows = [(one.name, one.value, one.kind, one.standard, one.df) for one in self.causes]
        return uncertainty_text(self.found, rows)


@as_meant
def uncertainty(
    source: TableSource | None = None,
    causes: Sequence[str] = (),
    *,
    confidence: float = 0.95,
    sheet: str | None = None,
) -> Uncertainty:
    """Combine causes of uncertainty, from a table or as typed, and expand them.

    Parameters
    ----------
    source : path or frame, optional
        A csv, parquet or xlsx table with columns `cause` and `value`, and optionally `kind`, `df` and `times`
        (what one unit of the cause changes in the reading).
    causes : sequence of str
        Causes as ``NAME=VALUE[,KIND[,DF[,TIMES]]]``, added to those of the table.
    confidence : float, 0..1
        Wanted chance that the interval holds the true value.
    sheet : str, optional
        Sheet of a workbook.

    Raises
    ------
    StatisticsUsageError
        No cause at all, or one that is written wrong.
    StatisticsError
        A figure in the table that is none, a kind that is not known, or a cause named twice.
    """
    read = [] if source is None else _of_table(source, sheet)
    found = [*read, *(_of_words(words) for words in causes)]
    if not found:
        raise StatisticsUsageError(
            "uncertainty: no cause given: name a file with the columns cause and value, or add "
            "--cause NAME=VALUE,KIND"
        )
    names = [one.name for one in found]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise StatisticsError(f"uncertainty: '{twice}' is named twice: give one of them another name")
    parts = {one.name: (one.standard, one.df) for one in found}
    return Uncertainty(expanded_uncertainty(parts, confidence), tuple(found))


def _of_words(words: str) -> Cause:
    """Read a cause as it is typed at the command."""
    name, sign, rest = words.partition("=")
    cells = [cell.strip() for cell in rest.split(",")]
    if not sign or not name.strip() or len(cells) > len(COLUMNS) - 1:
        raise StatisticsUsageError(
            f"uncertainty: '{words}' is no cause: write NAME=VALUE, NAME=VALUE,KIND or NAME=VALUE,KIND,DF"
        )
    given = dict(zip(COLUMNS[1:], cells, strict=False))
    return _cause(name.strip(), given, lambda column: f"'{words}', {column}", StatisticsUsageError)


def _of_table(source: TableSource, sheet: str | None) -> list[Cause]:
    """Read the causes of a table, a cause a row; an empty cell says what a missing column does."""
    table = read_study_table(source, sheet, labels=COLUMNS[:2], manner=SMALL, beside=COLUMNS[2:])
    names = [str(name) for name in take_labels(table, "cause").to_list()]
    own: dict[str, list[object]] = {
        column: table.column(column).to_list() for column in COLUMNS[1:] if column in table.columns
    }
    if "value" not in own:
        raise StatisticsError(f"{table.name}: there is no column 'value': what each cause adds stands there")
    with faults_named(table):
        return [_of_row(table, name, row, own) for row, name in enumerate(names)]


def _of_row(table: Table, name: str, row: int, own: dict[str, list[object]]) -> Cause:
    given = {column: "" if cells[row] is None else str(cells[row]).strip() for column, cells in own.items()}
    return _cause(name, given, lambda column: table.where(row, column), StatisticsError)


def _cause(
    name: str, given: dict[str, str], where: Callable[[str], str], fault: type[StatisticsError]
) -> Cause:
    """Check the figures of a cause; what is empty is left as it is usual."""
    kind = given.get("kind") or "standard"
    if kind not in DIVISORS:
        near = closest(kind, list(DIVISORS))
        meant = f"did you mean {near}? Else one of" if near else "it is one of"
        raise fault(f"{where('kind')}: '{kind}' is no kind of value: {meant} {listed(list(DIVISORS))}")
    figures = {}
    for column, usual in (("value", None), ("df", math.inf), ("times", 1.0)):
        text = given.get(column, "")
        figure = usual if not text else read_decimal(text)
        if figure is None or not (math.isfinite(figure) or figure == usual):
            raise fault(f"{where(column)}: '{text}' is not a number: write one such as 0.004")
        figures[column] = figure
    if figures["value"] < 0.0:
        raise fault(f"{where('value')}: {figures['value']:g} is below 0: an uncertainty has no sign")
    if figures["df"] < 1.0:
        raise fault(
            f"{where('df')}: {figures['df']:g} degrees of freedom: leave it empty where none are known"
        )
    return Cause(name, figures["value"], kind, figures["df"], figures["times"])
