"""Readings of pieces that wait as held rows: what they would say of a piece if they were so as typed."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import polars as pl

from qc import clock
from qc.ingest import Reason
from qc.jobs.pieces.rows import HELD_ROW, HoldRow
from qc.jobs.rows import runs_of, value_words
from qc.jobs.workshop import Workshop
from qc.plan import PLACE, Characteristic, Plan, Stage
from qc.store import HeldRecord
from qc.watch import (
    PieceFigure,
    limited,
    nearest_limit,
    outside_words,
    piece_figures,
    place_words,
    sources_of,
)
from qc.words import listed, plain_words, unit_words

DAY_IN_DOUBT = frozenset(
    {
        Reason.NO_DATE,
        Reason.FUTURE_DATE,
        Reason.OLD_DATE,
        Reason.WRONG_DAY,
        Reason.DAY_MONTH_DATE,
        Reason.SPREADSHEET_DATE,
        Reason.EPOCH_1904,
    }
)
"""Reasons by which the day of a row is not to be believed: it counts as of the day it was handed in."""


AT = ("serial", "characteristic", *PLACE)
"""What makes two readings readings of one place."""


@dataclass(frozen=True, slots=True)
class Undecided:
    """One held row and one limited figure of its piece that it counts for.

    Attributes
    ----------
    row : int
        Number of the held row.
    serial, stage, characteristic : str
        The piece, and ids of the figure.
    title, unit : str
        The figure in words, and its unit in the plan.
    said : str
        What was typed and where, in words: ``8.1 µm at slide, spot 3``.
    value : float or None
        What was typed, None where that is no number.
    figure : PieceFigure or None
        The figure of the piece if the row were so as typed; None where it is no number, or gives no figure.
    day : date
        Day of the row.
    handed_in : date or None
        The day it came in.
    """

    row: int
    serial: str
    stage: str
    characteristic: str
    title: str
    unit: str
    said: str
    value: float | None
    figure: PieceFigure | None
    day: date
    handed_in: date | None = None

    @property
    def outside(self) -> bool | None:
        """Whether the piece would be outside its limits, None where nobody can say."""
        return None if self.figure is None or self.figure.inside is None else not self.figure.inside

    @property
    def said_as_typed(self) -> str:
        """What was typed, and that it would be outside if it were so."""
        figure = self.figure
        if not self.outside or figure is None:
            return self.said
        side, limit = nearest_limit(figure)
        if figure.value != self.value or figure.rule or limit is None:
            return f"{self.said}; with that {outside_words(figure)}"
        edge = f"{plain_words(limit)} {unit_words(figure.unit)}".rstrip()
        return f"{self.said}, {'under' if side == 'lower' else 'over'} {edge} as typed"


def rows_words(rows: Sequence[int]) -> str:
    """Name held rows by their numbers.

    Examples
    --------
    >>> rows_words([57]), rows_words([3, 4, 5, 9])
    ('held row 57', 'held rows 3-5 and 9')
    """
    return f"held row{'' if len(rows) == 1 else 's'} {listed(runs_of(rows))}"


def by_held_rows(rows: Iterable[Undecided]) -> list[HoldRow]:
    """Return the pieces that a held row, as typed, puts outside a limit, or of which it lets nobody say.

    A row that would be inside holds nobody; its piece is told not to be judged in full.
    """
    of: dict[tuple[str, str, str], list[Undecided]] = {}
    for one in rows:
        if one.outside is not False:
            of.setdefault((one.serial, one.stage, one.characteristic), []).append(one)
    return [_hold_row(own) for own in of.values()]


def _hold_row(own: Sequence[Undecided]) -> HoldRow:
    """Tell the row that leads furthest out; a release has to answer each of them."""
    first = max(own, key=_excess)
    named = rows_words([one.row for one in own])
    because = f"{first.said_as_typed}: held row {first.row}, on which nobody has decided"
    if len(own) > 1:
        because += f"; in all {named}"
    step = f"Answer {named}: qc held list says what is asked. Measure the piece again if you cannot tell."
    rests = tuple((f"{HELD_ROW}{one.row}",) for one in own)
    unit = first.figure.unit if first.figure else first.unit
    title = first.title
    return HoldRow(
        first.serial,
        first.stage,
        first.characteristic,
        title,
        unit,
        first.figure,
        "limit",
        because,
        step,
        rests,
        since=first.handed_in,
    )


def _excess(one: Undecided) -> tuple[bool, float]:
    """Order rows by how far outside they lead, in parts of the limit; what is no number comes last."""
    if one.figure is None:
        return False, 0.0
    _, limit = nearest_limit(one.figure)
    return True, 0.0 if limit is None else abs(one.figure.value - limit) / (abs(limit) or 1.0)


def undecided(workshop: Workshop, serials: Collection[str] | None = None) -> list[Undecided]:
    """Return the held rows that count for a limited figure of a piece, as far as they were handed in.

    Parameters
    ----------
    workshop : Workshop
        An open workshop; rows of days after its own are passed over.
    serials : collection of str, optional
        Only of these pieces.

    Returns
    -------
    list of Undecided
        In route order. A row counts unless its place was read again since, or the very same reading of that
        day is on record.
    """
    rows = [row for row in _typed(workshop) if serials is None or row["serial"] in serials]
    models = _models(workshop, sorted({row["serial"] for row in rows})) if rows else {}
    found: list[Undecided] = []
    for stage in workshop.plan.stages if rows else ():
        own = [row for row in rows if row["stage"] == stage.id]
        typed = {row["characteristic"] for row in own}
        asked = [c for c in filter(limited, stage.characteristics) if typed & set(sources_of(c))]
        if not asked:
            continue
        # read for all figures of the stage at once: one by one each would be asked of the store again
        sources = sorted({source for characteristic in asked for source in sources_of(characteristic)})
        serials = sorted({row["serial"] for row in own})
        read = workshop.store.figures(stage.id, sources, until=workshop.today, serials=serials)
        for characteristic in asked:
            mine = [row for row in own if row["characteristic"] in sources_of(characteristic)]
            found += _of_figure(workshop.plan, stage, characteristic, mine, read, models)
    return found


def _typed(workshop: Workshop) -> Iterator[dict[str, Any]]:
    """Yield held readings that name a piece and a figure, with the day they count by."""
    zone = workshop.plan.workshop.time_zone
    for held in workshop.store.held():
        if held.table != "reading":
            continue
        row = held.as_typed()
        if not (row.get("serial") and row.get("stage") and row.get("characteristic")):
            continue
        handed_in = clock.day_of(held.entered, zone)
        day = handed_in if _day_in_doubt(held) else min(held.day, handed_in)
        if day <= workshop.today:
            yield {**row, "day": day, "held": held.id, "handed_in": handed_in}


def _day_in_doubt(held: HeldRecord) -> bool:
    return bool(DAY_IN_DOUBT & {reason.id for reason in held.reasons})


def _of_figure(
    plan: Plan,
    stage: Stage,
    characteristic: Characteristic,
    rows: Sequence[Mapping[str, Any]],
    read: pl.DataFrame,
    models: Mapping[str, str],
) -> Iterator[Undecided]:
    read = read.filter(
        pl.col("characteristic").is_in(sources_of(characteristic)),
        pl.col("serial").is_in({row["serial"] for row in rows}),
    )
    rows = sorted(_that_count(rows, read), key=lambda row: (row["serial"], row["held"]))
    figures = _as_typed(plan, stage, characteristic, rows, read, models) if rows else {}
    for row in rows:
        figure = figures.get(row["held"])
        if figure is not None and figure.inside is None:
            continue  # its place has no limits
        yield Undecided(
            row["held"],
            row["serial"],
            stage.id,
            characteristic.id,
            f"{stage.name}: {characteristic.name}",
            characteristic.unit,
            _said(row, stage, characteristic),
            row.get("value"),
            figure,
            row["day"],
            row["handed_in"],
        )


def _that_count(rows: Sequence[Mapping[str, Any]], read: pl.DataFrame) -> list[Mapping[str, Any]]:
    """Leave out the rows whose place was read again since, or is on record of that day just so."""
    on_record: dict[tuple[Any, ...], list[tuple[date, float]]] = {}
    for *at, day, value in read.select(*AT, "day", "value").iter_rows():
        on_record.setdefault(tuple(at), []).append((day, value))
    counting = []
    for row in rows:
        there = on_record.get(tuple(row.get(name) or None for name in AT), [])
        same = (row["day"], row.get("value")) in there
        if not same and all(day <= row["day"] for day, _ in there):
            counting.append(row)
    return counting


def _as_typed(
    plan: Plan,
    stage: Stage,
    characteristic: Characteristic,
    rows: Sequence[Mapping[str, Any]],
    read: pl.DataFrame,
    models: Mapping[str, str],
) -> dict[int, PieceFigure]:
    """Judge each piece as if its rows were accepted in the place of what was read there; by number of row.

    A figure that is read is asked of each row by itself, so that none hides behind another. What is made of
    several readings is asked of all that wait of a piece at once.
    """
    numbers = [row for row in rows if row.get("value") is not None]
    if not numbers:
        return {}
    names = {one.id for one in plan.models}
    alone = not characteristic.derive and characteristic.kind != "count"
    alone = alone and characteristic.decides == "every-place"
    cells = [
        {
            **{name: row.get(name) for name in read.columns},
            "id": -1,
            "serial": str(row["held"]) if alone else row["serial"],
            "model": row["model"] if row.get("model") in names else models.get(row["serial"]),
        }
        for row in numbers
    ]
    typed = pl.DataFrame(cells, schema=read.schema, strict=False)
    rest = read.clear() if alone else read.join(typed, on=list(AT), how="anti", nulls_equal=True)
    wanted = set(typed["serial"])
    found = {
        one.serial: one
        for one in piece_figures(pl.concat([rest, typed]), plan, stage, characteristic, wanted=wanted)
    }
    of = {row["held"]: found.get(str(row["held"]) if alone else row["serial"]) for row in numbers}
    return {
        row["held"]: replace(figure, serial=row["serial"])
        for row in numbers
        if (figure := of[row["held"]]) is not None
    }


def _models(workshop: Workshop, serials: Sequence[str]) -> dict[str, str]:
    pieces = workshop.store.pieces(serials).select("serial", "model")
    return {serial: model for serial, model in pieces.iter_rows() if model}


def _said(row: Mapping[str, Any], stage: Stage, characteristic: Characteristic) -> str:
    """Say what was typed and where; of a figure made of others, which of them it is."""
    source = next((one for one in stage.characteristics if one.id == row["characteristic"]), characteristic)
    place = place_words(row)
    told = value_words(row.get("value"), str(row.get("text") or ""))
    if row.get("value") is None:
        told = f"'{row['text']}', which is no number," if row.get("text") else "no figure"
    else:
        told = f"{told} {unit_words(str(row.get('unit') or source.unit))}".rstrip()
    of = "" if source.id == characteristic.id else f"{source.name} "
    return f"{of}{told}" + (f" at {place}" if place else "")
