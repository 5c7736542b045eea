"""Puts a held row right and judges it again, by the same rules and doubts as a new one."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

import polars as pl

from qc.errors import QcError
from qc.ingest.cells import known_field, read_moment, read_number, read_verdict, read_whole
from qc.ingest.checking.checked import Checked, check, typed_row
from qc.ingest.checking.same_serials import written_alike
from qc.ingest.frames import EVENT_ROW, READING_ROW, event_frame, reading_frame
from qc.ingest.known import Known
from qc.ingest.reasons import Reason
from qc.ingest.sources import Unfolded
from qc.plain import FrameRow, JsonObject
from qc.plan import Plan
from qc.words import plain_words

REPLACES = "replaces"
"""Key of a proposal that makes the row a correction: the id of the reading it takes the place of."""

FIXED = frozenset(
    {"text", "day_text", "sheet", "tab", "row", "column", "file", "cell", "card", "entered_at", "measured_at"}
)
"""What a mend may not touch: it says what was typed and where."""


class MendError(QcError):
    """A mend that cannot be used; the text says which column and what to type."""


@dataclass(frozen=True, slots=True)
class MendedRow:
    """A held row after a mend, not yet judged again.

    Attributes
    ----------
    table : {"reading", "event"}
        Which table the row belongs to.
    row : dict
        Its columns as unfolded, with the changes; `text` still says what was typed.
    changed : dict
        Column -> (before, after) of what the mend changed.
    replaces : int or None
        Id of the recorded reading that this one corrects.
    given : dict
        Column -> what was typed for it, as it was read, be it new or not.
    """

    table: str
    row: FrameRow
    changed: dict[str, tuple[object, object]]
    replaces: int | None = None
    given: dict[str, object] = field(default_factory=dict)

    def typed(self) -> str:
        """Return what was typed as one text: the same for the same columns and values, however written."""
        plain = {name: _json_value(value) for name, value in self.given.items()}
        return json.dumps(plain, ensure_ascii=False, sort_keys=True)

    def to_dict(self) -> JsonObject:
        """Return the mended row as plain values."""
        plain = {name: _json_value(value) for name, value in self.row.items()}
        changed = {name: [_json_value(a), _json_value(b)] for name, (a, b) in self.changed.items()}
        return {"table": self.table, "row": plain, "changed": changed, "replaces": self.replaces}


def mend_row(held: Mapping[str, Any], changes: Mapping[str, object], plan: Plan) -> MendedRow:
    """Apply changes to a held row.

    Parameters
    ----------
    held : mapping
        A row with HELD columns (`table` and `typed` are used).
    changes : mapping
        Column -> new value, as typed by a person or as proposed; empty where the row is confirmed as it is.
        ``replaces`` makes it a correction of a recorded reading.
    plan : Plan
        The measuring plan.

    Returns
    -------
    MendedRow
        For `recheck`.

    Raises
    ------
    MendError
        A column that a mend may not touch or the row does not have, or a value that cannot be read.
    """
    table = str(held["table"])
    types = READING_ROW if table == "reading" else EVENT_ROW
    row = {
        name: _typed_value(value, types.get(name, "str")) for name, value in json.loads(held["typed"]).items()
    }
    replaces: int | None = None
    changed: dict[str, tuple[object, object]] = {}
    read: dict[str, object] = {}
    for written, given in changes.items():
        name = _column(written, types)
        if name == REPLACES:
            replaces = int(str(given))
            continue
        if name in FIXED or name not in types:
            raise MendError(
                f"{written} cannot be changed by a mend. Change the figure (value), date, serial or place "
                f"instead; the columns are: {', '.join(n for n in types if n not in FIXED)}."
            )
        value = read[name] = _read(name, types[name], given, row, plan)
        if value != row.get(name):
            changed[name] = (row.get(name), value)
            row[name] = value
    if "day" in changed:
        _set_moment(row, plan)
    _forget_bad(row, changed)
    _tell(row, changed)
    return MendedRow(table, row, changed, replaces, read)


def mend_recorded(
    reading: Mapping[str, Any], changes: Mapping[str, str], plan: Plan, *, file: str, card: str
) -> MendedRow:
    """Apply changes to a reading on record, as a person asks for them.

    Parameters
    ----------
    reading : mapping
        Its READING columns and ``id``, as the store gives them.
    changes : mapping of str to str
        Column -> what it should say; empty where the reading is to be judged as it stands.
    plan : Plan
        The measuring plan.
    file, card : str
        The sheet it stands on, and the card of that; empty where there is none.

    Returns
    -------
    MendedRow
        For `recheck`; it takes the place of the reading. `text` says what was typed now.

    Raises
    ------
    MendError
        As `mend_row`.
    """
    row = {name: reading.get(name) for name in READING_ROW}
    row |= {"file": file, "card": card}
    # what is empty is null in the store and an empty text here
    texts = {name for name, kind in READING_ROW.items() if kind == "str"}
    plain = {name: "" if value is None and name in texts else value for name, value in row.items()}
    changes = {_column(name, READING_ROW): text for name, text in changes.items()}
    mended = mend_row({"table": "reading", "typed": typed_row(plain)}, changes, plan)
    if "value" in changes:
        mended.row["text"] = changes["value"].strip()
    # who changed what and why is told by the entry, so the note of the card stays as it was
    mended.row["note"] = changes.get("note", plain["note"])
    return replace(mended, replaces=reading["id"])


def recheck(
    rows: Sequence[MendedRow], plan: Plan, known: Known, *, confirmed: Collection[Reason | str] = ()
) -> list[Checked]:
    """Judge mended rows as if they had just come in.

    Parameters
    ----------
    rows : sequence of MendedRow
        From `mend_row`.
    plan : Plan
        The measuring plan.
    known : Known
        What the store knows, the row's own neighbours included.
    confirmed : collection of Reason
        Doubts the person answered with "it is really so"; faults cannot be confirmed away.

    Returns
    -------
    list of Checked
        One for each row, holding that row alone, accepted or held again.
    """
    corrected = {row.replaces for row in rows if row.replaces is not None}
    # a reading put right to another writing of its own piece is to be written so, not as it stands
    spelt = {old for row in rows if (old := _only_spelt(row))}
    serials = {serial: model for serial, model in known.serials.items() if serial not in spelt}
    known = replace(known, serials=serials) if spelt else known
    recorded = {key: old for key, old in known.recorded.items() if old.id not in corrected}
    found = check(
        [_unfolded(row) for row in rows], plan, replace(known, recorded=recorded), confirmed=confirmed
    )
    return [_as_on_the_card(one, row) for one, row in zip(found, rows, strict=True)]


def _as_on_the_card(checked: Checked, mended: MendedRow) -> Checked:
    """Give an accepted reading back the words of its card, which stay on record beside the mended value."""
    if "value" not in mended.changed or checked.readings.is_empty():
        return checked
    words = pl.lit(mended.row.get("text"), dtype=pl.String)
    return replace(checked, readings=checked.readings.with_columns(text=words))


def _only_spelt(mended: MendedRow) -> str:
    """Return the serial of a reading that a correction only writes otherwise, empty where it does more."""
    if mended.replaces is None or "serial" not in mended.changed:
        return ""
    old, new = (str(serial or "") for serial in mended.changed["serial"])
    return old if written_alike(old) == written_alike(new) else ""


def _unfolded(mended: MendedRow) -> Unfolded:
    row = mended.row
    if "value" in mended.changed and row.get("value") is not None:
        row = {
            **row,
            "text": plain_words(row["value"]),
        }  # what is asked is about the value that was typed now
    readings = reading_frame([row] if mended.table == "reading" else [])
    events = event_frame([row] if mended.table == "event" else [])
    return Unfolded(row["file"], row["tab"], row["sheet"], row["card"], readings, events)


def _column(written: str, types: Collection[str]) -> str:
    """Return our name of a column that a person wrote in any case, or as a card has it: Model, Date, Die."""
    name = written.strip().casefold()
    return name if name in types or name == REPLACES else known_field(written) or written


def _typed_value(value: Any, kind: str) -> Any:
    """Turn a JSON value back into the type of its column."""
    if value is None:
        return None
    if kind == "date":
        return date.fromisoformat(value)
    if kind == "datetime":
        return datetime.fromisoformat(value)
    return value


def _read(name: str, kind: str, given: object, row: FrameRow, plan: Plan) -> Any:
    """Read what a person typed into a column of this type."""
    text = "" if given is None else str(given).strip()
    if kind == "float":
        value = float(given) if isinstance(given, int | float) else _figure(text, row, plan)
        if value is None:
            raise MendError(
                f"{text!r} is no figure for {name}. Type a number in {row.get('unit') or 'its unit'}."
            )
        return value
    if kind == "int":
        whole = read_whole(text)
        if whole is None and text:
            raise MendError(f"{text!r} is no whole number for {name}. Type one, such as 2.")
        return whole
    if kind == "date":
        moment = read_moment(text, plan.workshop.time_zone)
        if moment is None:
            raise MendError(f"{text!r} is no date. Write it as 2026-05-14 or 14.05.2026.")
        return moment.day
    return text


def _figure(text: str, row: FrameRow, plan: Plan) -> float | None:
    characteristic = plan.characteristic(row.get("stage") or "", row.get("characteristic") or "")
    if characteristic is not None and characteristic.kind == "pass-fail":
        return read_verdict(text)[0]
    return read_number(text, row.get("unit") or "", comma_decimal=True).value


def _set_moment(row: FrameRow, plan: Plan) -> None:
    moment = read_moment(row["day"].isoformat(), plan.workshop.time_zone)
    if moment is not None:
        row["measured_at"] = moment.at
        if "offset_min" in row:
            row["offset_min"], row["has_time"] = moment.offset_min, False


def _forget_bad(row: FrameRow, changed: Mapping[str, object]) -> None:
    """Drop unreadable cells that the mend has put right; any change settles which cells belong to the row."""
    if not row.get("bad") or not changed:
        return
    left = {
        name: text for name, text in json.loads(row["bad"]).items() if name not in changed and name != "cells"
    }
    row["bad"] = json.dumps(left, ensure_ascii=False) if left else ""


def _tell(row: FrameRow, changed: Mapping[str, tuple[object, object]]) -> None:
    """Note what was changed beside the row, so that a reader of the reading sees it."""
    said = [f"{name} {_said(old)} -> {_said(new)}" for name, (old, new) in changed.items() if name != "hint"]
    if said:
        row["note"] = "; ".join(
            part for part in (row.get("note") or "", f"mended: {', '.join(said)}") if part
        )


def _said(value: object) -> str:
    if value is None or value == "":
        return "(empty)"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _json_value(value: object) -> object:
    return value.isoformat() if isinstance(value, date | datetime) else value
