"""Held rows that wait for a person: listed, alike neighbours put together, written out for who typed them."""

from __future__ import annotations

import csv
import io
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from qc.errors import MachineError
from qc.jobs.rows.corrections import offered_now
from qc.jobs.rows.naming import change_words, figure_words, piece_words, value_words
from qc.jobs.rows.reasons import is_doubt, one_reason_each
from qc.jobs.rows.unread import UnreadSheet, waiting_sheets
from qc.jobs.workshop import Workshop
from qc.plain import FORMULA_STARTS, FrameRow, JsonObject
from qc.plan import Plan
from qc.report.terminal import exported_text, held_row_text, held_text
from qc.stats import Tabled
from qc.store import HeldReason, HeldRecord

OWN_TO_EACH = frozenset({"value", "day", "replaces", "hint", "repeat"})
"""Columns in which the mends of rows that are held alike differ: each takes its own."""

TYPED_TWICE = frozenset({"doubled-row", "same-card-twice"})
"""Reasons of rows that most likely stand elsewhere already: they are set aside, not confirmed."""

OF_THE_FIGURE = frozenset({"value", "replaces"})
"""Mends of these ask about a figure: rows of different figures are not one question."""


@dataclass(frozen=True, slots=True)
class HeldRow:
    """One held row, for people.

    Attributes
    ----------
    id : int
        Its number.
    sheet, where, text, serial : str
        Hash of its sheet, its file and cell; the figure and the serial as typed.
    what, figure : str
        Which figure of which piece it is, with the place; the figure alone.
    reasons : tuple of HeldReason
        Everything that is wrong with it.
    proposals : tuple of mapping
        Mends that are offered, the likeliest first: column to value.
    mends : tuple of str
        The same in words: ``215 becomes 214.0``.
    """

    id: int
    sheet: str
    where: str
    text: str
    serial: str
    what: str
    figure: str
    reasons: tuple[HeldReason, ...]
    proposals: tuple[Mapping[str, Any], ...]
    mends: tuple[str, ...]

    @classmethod
    def of(cls, row: HeldRecord, plan: Plan, recorded: Mapping[int, FrameRow]) -> HeldRow:
        """Put what the store holds of a row into the words of its sheet; `recorded` are readings by id."""
        where = [row.file, f"tab {row.tab}" if row.tab else "", row.cell]
        typed = row.as_typed()
        proposals = proposals_of(row)
        return cls(
            id=row.id,
            sheet=row.sheet,
            where=", ".join(part for part in where if part),
            text=row.text,
            serial=typed.get("serial") or "",
            what=piece_words(typed, plan),
            figure=figure_words(typed, plan),
            reasons=one_reason_each(row.reasons),
            proposals=proposals,
            mends=tuple(mend_words(one, typed, row.text, recorded) for one in proposals),
        )

    @property
    def proposal(self) -> Mapping[str, Any]:
        """The mend that is offered first; empty where there is none."""
        return self.proposals[0] if self.proposals else {}

    def questions(self) -> tuple[Hashable, Hashable]:
        """Return what two rows share that are one question to a person: either of the two is enough."""
        ids = tuple(reason.id for reason in self.reasons)
        if self.proposal:
            own = {n: "" if n in OWN_TO_EACH else str(v) for n, v in self.proposal.items() if n != "hint"}
            asks = self.figure if OF_THE_FIGURE & own.keys() else ""
            key = (self.sheet, ids, tuple(sorted(own.items())), asks)
            return key, key
        problems = tuple(reason.sentence.removeprefix(f"{self.where}: ") for reason in self.reasons)
        # without a serial there is no piece that could be asked about as a whole
        piece = self.serial or str(self.id)
        return (self.sheet, ids, "says", problems), (self.sheet, ids, "of", piece)

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "row": self.id,
            "where": self.where,
            "typed": self.text,
            "serial": self.serial,
            "reasons": [reason.to_dict() for reason in self.reasons],
            "proposal": self.proposal or None,
            "proposals": [dict(one) for one in self.proposals],
            "what": self.what,
            "mends": list(self.mends),
        }

    def to_text(self) -> str:
        """Say which piece and place it is, why it is held, and what would put it right."""
        reasons = [(reason.sentence, reason.mend) for reason in self.reasons]
        others = [" ".join(f"--set {name}={value}" for name, value in one.items()) for one in self.proposals]
        ways = ["--accept", *others[1:]][: len(self.mends)]
        return held_row_text(self.id, self.what, self.text, reasons, list(zip(self.mends, ways, strict=True)))


@dataclass(frozen=True, slots=True)
class HeldGroup:
    """Held rows that are one question: held on one sheet for the same reasons, with the same kind of mend."""

    rows: tuple[HeldRow, ...]

    def numbers(self) -> str:
        """Return the numbers of its rows, runs as ``3-8``."""
        return " ".join(runs_of([row.id for row in self.rows]))

    def command(self) -> str:
        """Return the command that settles them all."""
        first = self.rows[0]
        if first.proposal:
            how = "--accept"
        elif all(is_doubt(reason) for reason in first.reasons):
            how = "--drop" if TYPED_TWICE & {reason.id for reason in first.reasons} else "--as-typed"
        else:
            how = "--set COLUMN=VALUE"
        return f"qc held mend {self.numbers()} {how} --who CODE"

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        first = self.rows[0]
        return {
            "rows": [row.id for row in self.rows],
            "reasons": [reason.id for reason in first.reasons],
            "sentence": first.reasons[0].sentence if first.reasons else "",
            "mend": first.mends[0] if first.mends else "",
            "command": self.command(),
        }


@dataclass(frozen=True, slots=True)
class HeldList(Tabled):
    """The rows that wait, and the sheets that nobody could read yet."""

    ROWS = "held"

    rows: tuple[HeldRow, ...]
    sheets: tuple[UnreadSheet, ...] = ()  # those that wait for their layout as a whole

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "sheets": [sheet.to_dict() for sheet in self.sheets],
            "held": [row.to_dict() for row in self.rows],
            "groups": [group.to_dict() for group in self.groups()],
        }

    def to_text(self) -> str:
        """List them, alike ones once with the command that settles them all."""
        groups = [
            (one.rows[0].to_text(), len(one.rows), one.numbers(), one.command()) for one in self.groups()
        ]
        return held_text(groups, [sheet.to_text() for sheet in self.sheets])

    def groups(self) -> list[HeldGroup]:
        """Return the rows with those put together that are one question, in order of their first."""
        found: list[list[HeldRow]] = []
        of: dict[Hashable, list[HeldRow]] = {}
        for row in self.rows:
            one, other = row.questions()
            group = of.get(one) or of.get(other)
            if group is None:
                group = []
                found.append(group)
            group.append(row)
            of.setdefault(one, group)
            of.setdefault(other, group)
        return [HeldGroup(tuple(rows)) for rows in found]


@dataclass(frozen=True, slots=True)
class Exported:
    """A file written for the person who typed the rows."""

    file: Path
    rows: int

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"file": str(self.file), "rows": self.rows}

    def to_text(self) -> str:
        """Say what was written."""
        return exported_text(self.rows, self.file)


def list_held(workshop: Workshop, *, sheet: str = "") -> HeldList:
    """Return the rows that wait for a decision, in order of entry, and the sheets that wait for a layout.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    sheet : str
        Only this sheet and its rows: its file name or the beginning of its hash.
    """
    rows = workshop.store.held()
    own = [row for row in rows if not sheet or row.file == sheet or row.sheet.startswith(sheet)]
    own = offered_now(workshop, own)
    recorded = recorded_of(workshop, own)
    rows_said = tuple(HeldRow.of(row, workshop.plan, recorded) for row in own)
    return HeldList(rows_said, waiting_sheets(workshop, sheet=sheet))


def recorded_of(workshop: Workshop, rows: Sequence[HeldRecord]) -> dict[int, FrameRow]:
    """Return the readings that mends of these rows would replace, by number; all asked for at once."""
    ids = sorted(
        {int(str(one["replaces"])) for row in rows for one in proposals_of(row) if "replaces" in one}
    )
    frame = workshop.store.readings_by_id(ids) if ids else None
    return {} if frame is None else {row["id"]: row for row in frame.iter_rows(named=True)}


def proposals_of(row: HeldRecord) -> tuple[Mapping[str, Any], ...]:
    """Return the mends offered for a row: the first one, then those of reasons that differ from it."""
    found = [row.proposal] if row.proposal else []
    for reason in row.reasons:
        other = {**row.proposal, **(reason.proposal or {})}
        if reason.proposal and other not in found:
            found.append(other)
    return tuple(found)


def mend_words(
    proposal: Mapping[str, Any], typed: Mapping[str, Any], text: str, recorded: Mapping[int, FrameRow]
) -> str:
    """Say what a mend makes of a row; of a correction, what it makes of the reading on record.

    Examples
    --------
    >>> mend_words({"value": 0.5}, {"value": 500.0}, "500", {})
    '500 becomes 0.5'
    >>> mend_words({"replaces": 7}, {"value": 214.0}, "214.0", {7: {"value": 215.0, "text": "215"}})
    '215 becomes 214.0'
    """
    said = []
    for name, value in proposal.items():
        if name == "hint":
            continue
        if name == "replaces":
            old = recorded.get(int(str(value)), {})
            said.append(f"{value_words(old.get('value'), old.get('text') or '')} becomes {text}")
            continue
        was = text if name == "value" else value_words(typed.get(name))
        if name == "day":
            was = typed.get("day_text") or was
        said.append(change_words(name, was or "(empty)", value_words(value)))
    return ", ".join(said)


def export_held(workshop: Workshop, out: Path) -> Exported:
    """Write the held rows as csv, for the person who typed them.

    Cells that a spreadsheet would take for a formula are written with a leading apostrophe.
    """
    rows = list_held(workshop).rows
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(["row", "where", "serial", "typed", "reasons", "what to do", "proposal"])
    for row in rows:
        said = "; ".join(reason.sentence for reason in row.reasons)
        todo = "; ".join(reason.mend for reason in row.reasons)
        proposal = " or ".join(row.mends)
        writer.writerow(
            [_harmless(cell) for cell in (row.id, row.where, row.serial, row.text, said, todo, proposal)]
        )
    try:
        out.write_text(text.getvalue(), "utf-8")
    except OSError as error:
        raise MachineError(
            f"{out}: the file cannot be written ({error.strerror}). Name another one."
        ) from error
    return Exported(out, len(rows))


def runs_of(numbers: Sequence[int]) -> list[str]:
    """Write numbers as runs.

    Examples
    --------
    >>> runs_of([3, 4, 5, 9])
    ['3-5', '9']
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return [str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs]


def _harmless(cell: object) -> object:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA_STARTS) else cell
