"""Judges unfolded sheets: every row is accepted, or held with every reason and, where possible, a mend.

Sheets of one upload are judged together: the rules run over all sheets of one kind of card at once, and the
doubts see the whole upload, since a slip is easiest to see beside its neighbours.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

import polars as pl

from qc.ingest.checking.declared import Failure
from qc.ingest.checking.directly import failures
from qc.ingest.checking.marks import sheet_marks
from qc.ingest.checking.rules import FIRST_DAY, event_rules, prepare_events, prepare_readings, reading_rules
from qc.ingest.checking.same_serials import doubtful_writings, usual_writings, with_usual_writing
from qc.ingest.checking.sentences import fault_finding
from qc.ingest.doubts import find_doubts, gather_facts
from qc.ingest.frames import EVENT_ROW, EVENT_SCHEMA, INDEX, PART, READING_ROW, READING_SCHEMA, held_frame
from qc.ingest.known import Known
from qc.ingest.reasons import DOUBTS, Finding, Reason, SheetMark
from qc.ingest.sources import Unfolded
from qc.plain import FrameRow, JsonObject
from qc.plan import EVENT, READING, Plan


@dataclass(frozen=True, slots=True)
class Checked:
    """What became of one sheet: ``rows == readings + events + held``.

    Attributes
    ----------
    file, tab, sheet, card : str
        As in `Unfolded`.
    readings, events : DataFrame
        Accepted rows, READING and EVENT columns; `entered_at` is left empty for the store.
    held : DataFrame
        Rows that failed, HELD columns.
    marks : tuple of SheetMark
        What is worth knowing of the sheet although nothing is held for it.
    """

    file: str
    tab: str
    sheet: str
    card: str
    readings: pl.DataFrame
    events: pl.DataFrame
    held: pl.DataFrame
    marks: tuple[SheetMark, ...] = ()

    @property
    def rows(self) -> int:
        """How many readings and events the sheet unfolded into."""
        return self.readings.height + self.events.height + self.held.height

    def reasons(self) -> dict[str, int]:
        """Return how many rows each reason holds; a row with two reasons counts for both."""
        counts: dict[str, int] = {}
        for text in self.held["reasons"]:
            for name in dict.fromkeys(reason["id"] for reason in json.loads(text)):
                counts[name] = counts.get(name, 0) + 1
        return dict(sorted(counts.items()))

    def to_dict(self) -> JsonObject:
        """Return the counts, held rows and marks as plain values."""
        return {
            "file": self.file,
            "tab": self.tab,
            "sheet": self.sheet,
            "card": self.card,
            "rows": self.rows,
            "accepted": self.readings.height + self.events.height,
            "held": self.held.to_dicts(),
            "reasons": self.reasons(),
            "marks": [mark.to_dict() for mark in self.marks],
        }


WHICH_PIECE = frozenset(
    {
        Reason.MISSING_SERIAL,
        Reason.UNKNOWN_SERIAL,
        Reason.DOUBLED_SERIAL,
        Reason.NEVER_BEGUN,
        Reason.AFTER_SHIPPING,
    }
)
"""Reasons that ask which piece a row is of, before it can be asked what model that piece is."""


@dataclass(slots=True)
class _Findings:
    """Findings of one frame by row, in the order they were made."""

    by_row: dict[int, list[Finding]] = field(default_factory=dict)

    def add(self, findings: Sequence[Finding]) -> None:
        for finding in findings:
            said = self.by_row.setdefault(finding.index, [])
            if all((f.reason, f.problem) != (finding.reason, finding.problem) for f in said):
                said.append(finding)

    def ask_once(self, readings: pl.DataFrame) -> None:
        """Keep, of a row that its layout leaves open, that question: what else is said follows from it."""
        asked = readings.filter(pl.col("hint").str.starts_with("asked=") & (pl.col("bad") != ""))
        for index in asked[INDEX]:
            said = self.by_row.get(index, [])
            self.by_row[index] = [f for f in said if f.reason is Reason.NOT_A_NUMBER][-1:] or said


def check(
    unfolded: Sequence[Unfolded], plan: Plan, known: Known, *, confirmed: Collection[Reason | str] = ()
) -> list[Checked]:
    """Judge the sheets of one upload.

    Parameters
    ----------
    unfolded : sequence of Unfolded
        Sheets as unfolded.
    plan : Plan
        The measuring plan.
    known : Known
        What the store knows of the past.
    confirmed : collection of Reason
        Doubts a person has answered with "it is really so"; they are not raised again. Faults stay faults.

    Returns
    -------
    list of Checked
        One for each sheet, in the same order.
    """
    readings = _joined([u.readings for u in unfolded], READING_SCHEMA)
    events = _joined([u.events for u in unfolded], EVENT_SCHEMA)
    serials = {s for frame in (readings, events) for s in frame["serial"].unique() if s}
    serials |= {s for s in events.filter(pl.col("kind") == "part")["subject"].unique() if s}
    writings = usual_writings(serials, known, plan.workshop.serial_prefix)
    readings, events = (with_usual_writing(rows, writings) for rows in (readings, events))
    silent = {Reason(name) for name in confirmed} & DOUBTS
    facts = gather_facts(_with_models(readings, events, plan, known), events, plan, known)
    for_readings, for_events = _Findings(), _Findings()
    found = _reading_faults(facts.readings, plan, known.today)
    faults = [fault for fault in found if fault.reason is not Reason.MISSING_MODEL]
    for_readings.add(faults)
    for_events.add(_event_faults(events, plan, known.today))
    for_readings.add(_two_writings(readings, serials, known, silent))
    for_events.add(_two_writings(events, serials, known, silent))
    # a row without a model is doubted like any other: a slip in its serial may be why none is known
    doubts = find_doubts(facts, faults)
    for_readings.add([f for f in doubts.readings if f.reason not in silent])
    for_readings.add([f for f in found if f.reason is Reason.MISSING_MODEL and _is_sure(f, for_readings)])
    for_events.add([f for f in doubts.events if f.reason not in silent])
    for_readings.ask_once(facts.readings)
    marks = sheet_marks(facts)
    readings = facts.readings.select(list(readings.columns))
    own_readings, own_events = _by_part(readings, len(unfolded)), _by_part(events, len(unfolded))
    return [
        _checked(
            unfold, own_readings[n], own_events[n], for_readings.by_row, for_events.by_row, marks.get(n, ())
        )
        for n, unfold in enumerate(unfolded)
    ]


def typed_row(row: Mapping[str, Any]) -> str:
    """Return a row as JSON text, so that it can be mended and judged again.

    Examples
    --------
    >>> typed_row({"day": date(2026, 5, 14), "value": 14.05})
    '{"day": "2026-05-14", "value": 14.05}'
    """
    return json.dumps(row, ensure_ascii=False, default=_plain)


def _plain(value: object) -> str:
    if isinstance(value, datetime | date):
        return value.isoformat()
    raise TypeError(f"{value!r} has no JSON form")


def _joined(frames: Sequence[pl.DataFrame], schema: Mapping[str, Any]) -> pl.DataFrame:
    numbered = [frame.with_columns(pl.lit(n, pl.Int64).alias(PART)) for n, frame in enumerate(frames)]
    whole = pl.concat(numbered) if numbered else pl.DataFrame(schema={**schema, PART: pl.Int64})
    return whole.with_columns(pl.int_range(pl.len(), dtype=pl.Int64).alias(INDEX))


def _two_writings(
    rows: pl.DataFrame, serials: Iterable[str], known: Known, silent: Collection[Reason]
) -> list[Finding]:
    """Ask of which piece a row is whose serial is another writing of two pieces on record."""
    unsure = {} if Reason.UNKNOWN_SERIAL in silent else doubtful_writings(serials, known)
    columns = ["serial", "subject"] if "subject" in rows.columns else ["serial"]
    return [
        Finding(
            index,
            Reason.UNKNOWN_SERIAL,
            f"{serial} may be {' or '.join(unsure[serial])}, which are not one piece on record",
            "Type the serial of the piece that is meant, as it is on record.",
        )
        for index, *own in rows.select(INDEX, *columns).iter_rows()
        for serial in own
        if serial in unsure
    ]


def _is_sure(missing: Finding, found: _Findings) -> bool:
    """Say whether a row is of the piece that it names, so that the model of this piece is what it lacks."""
    return not {finding.reason for finding in found.by_row.get(missing.index, ())} & WHICH_PIECE


def _with_models(readings: pl.DataFrame, events: pl.DataFrame, plan: Plan, known: Known) -> pl.DataFrame:
    """Fill in the model of a piece where there is only one answer.

    It is on record, or on another card of the same upload and no card of it says otherwise, or it is the one
    model that the figure is measured on at all.
    """
    models = {serial: model for serial, model in known.serials.items() if model}
    planned = [model.id for model in plan.models]  # any other is a fault of its own
    told: dict[str, set[str]] = {}
    for frame in (events, readings):
        pairs = frame.filter(pl.col("model").is_in(planned) & (pl.col("serial") != ""))
        for serial, model in pairs.select("serial", "model").unique().rows():
            told.setdefault(serial, set()).add(model)
    agreed = {serial: next(iter(named)) for serial, named in told.items() if len(named) == 1}
    lookup = pl.col("serial").replace_strict({**agreed, **models}, default="", return_dtype=pl.String)
    filled = pl.when(pl.col("model") == "").then(lookup).otherwise("model").alias("model")
    keys = ["stage", "characteristic"]
    return (
        readings.with_columns(filled)
        .join(_only_models(plan), on=keys, how="left", maintain_order="left")
        .with_columns(
            pl.when((pl.col("model") == "") & (pl.col("serial") != "") & pl.col("_only").is_not_null())
            .then("_only")
            .otherwise("model")
            .alias("model")
        )
        .drop("_only")
    )


def _only_models(plan: Plan) -> pl.DataFrame:
    """Return the one model of each figure that asks for a model and is measured on no other."""
    rows = [
        (stage.id, c.id, models[0].id)
        for stage in plan.stages
        for c in stage.characteristics
        if len(models := plan.models_of(c)) == 1 and plan.asks_model(stage.id, c.id)
    ]
    schema = {"stage": pl.String, "characteristic": pl.String, "_only": pl.String}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _reading_faults(readings: pl.DataFrame, plan: Plan, today: date) -> list[Finding]:
    if readings.is_empty():
        return []
    prepared = prepare_readings(readings, plan, today)
    findings = []
    for (card,), group in prepared.group_by(["card"], maintain_order=True):
        failed = failures(group, reading_rules(group, plan, today), str(card))
        findings += _said(failed, readings, plan, today)
    return findings


def _event_faults(events: pl.DataFrame, plan: Plan, today: date) -> list[Finding]:
    if events.is_empty():
        return []
    prepared = prepare_events(events)
    findings = []
    for (card, _), group in prepared.group_by(["card", "kind"], maintain_order=True):
        failed = failures(group, event_rules(group, plan, today), str(card))
        findings += _said(failed, events, plan, today)
    return findings


def _said(failed: Sequence[Failure], frame: pl.DataFrame, plan: Plan, today: date) -> list[Finding]:
    rows = _rows(frame, {failure.index for failure in failed})
    for row in rows.values():
        row["_near"] = _usual_day(frame, row["sheet"], today)
    return [fault_finding(failure, rows[failure.index], plan, today) for failure in failed]


def _usual_day(frame: pl.DataFrame, sheet: str, today: date) -> date | None:
    """Return the middle of the believable days of a sheet, beside which a slip of the year shows."""
    believable = (pl.col("sheet") == sheet) & pl.col("day").is_between(FIRST_DAY, today)
    days = frame.filter(believable)["day"].sort()
    return days[days.len() // 2] if days.len() else None


def _rows(frame: pl.DataFrame, wanted: Collection[int]) -> dict[int, FrameRow]:
    picked = sorted(wanted)
    return dict(zip(picked, frame[picked].to_dicts(), strict=True)) if picked else {}


def _by_part(frame: pl.DataFrame, parts: int) -> list[pl.DataFrame]:
    """Return the rows of each sheet of the upload."""
    split = frame.partition_by(PART, as_dict=True, maintain_order=True)
    return [split.get((number,), frame.clear()) for number in range(parts)]


def _checked(
    unfold: Unfolded,
    readings: pl.DataFrame,
    events: pl.DataFrame,
    for_readings: Mapping[int, list[Finding]],
    for_events: Mapping[int, list[Finding]],
    marks: Sequence[SheetMark],
) -> Checked:
    # a row with any finding is held whole; the others are accepted without the columns of their origin
    held: list[dict[str, object]] = []
    accepted = []
    for table, own, findings, columns, stored in (
        ("reading", readings, for_readings, READING_ROW, READING),
        ("event", events, for_events, EVENT_ROW, EVENT),
    ):
        stopped = [index in findings for index in own[INDEX]]
        if any(stopped):
            rows = own.filter(pl.Series(stopped, dtype=pl.Boolean)).to_dicts()
            held += [_held(table, row, findings[row[INDEX]], list(columns)) for row in rows]
            own = own.filter(~pl.Series(stopped, dtype=pl.Boolean))
        accepted.append(own.select(list(stored)))
    return Checked(
        unfold.file,
        unfold.tab,
        unfold.sheet,
        unfold.card,
        accepted[0],
        accepted[1],
        held_frame(held),
        tuple(marks),
    )


def _held(table: str, row: FrameRow, findings: list[Finding], columns: list[str]) -> dict[str, object]:
    where = ", ".join(
        part for part in (row["file"], f"tab {row['tab']}" if row["tab"] else "", row["cell"]) if part
    )
    proposal: dict[str, object] = {}
    for finding in findings:  # the first doubt that offers a column wins it; others may mend other columns
        proposal = {**finding.proposal, **proposal}
    return {
        "sheet": row["sheet"],
        "file": row["file"],
        "tab": row["tab"],
        "row": row["row"],
        "column": row["column"],
        "cell": row["cell"],
        "table": table,
        "text": row["text"],
        "reasons": json.dumps([f.to_dict(where) for f in findings], ensure_ascii=False, default=_plain),
        "proposal": typed_row(proposal) if proposal else "",
        "typed": typed_row({name: row[name] for name in columns}),
    }
