"""Lacquer cards: a spot a row, as its mean or as three readings, less the bare metal where it was read.

A spot is the mean of three readings (the pattern of articles on a steel-paint method, borrowed as a house
rule and not as conformity).
"""

from __future__ import annotations

import json

from qc.ingest.cards import CardSheet, Row, RowReader, card_characteristics
from qc.ingest.cells import read_number
from qc.ingest.sources.needs import refusal, require_columns, require_given, require_unit
from qc.ingest.unfolded import Rows, UnfoldedReading
from qc.plan import Characteristic, Plan

PARTS = ("r1", "r2", "r3")


def unfold_lacquer(sheet: CardSheet, plan: Plan) -> Rows:
    """Unfold a lacquer card: one reading a spot.

    Parameters
    ----------
    sheet : CardSheet
        A sheet of source ``lacquer``.
    plan : Plan
        The measuring plan.

    Returns
    -------
    tuple of (rows, rows)
        Readings, and no events. Where R1 to R3 are typed and no mean, `value` is their mean and `text`
        holds them joined by `` | ``; a bare-metal reading is subtracted and both are kept in `note`.

    Raises
    ------
    SheetError
        A missing heading or a unit that is no thickness.
    """
    require_columns(sheet, {"area": "Area"})
    require_given(sheet, {"serial": "Serial"})
    parts = [field for field in PARTS if field in sheet.columns]
    if "thickness" not in sheet.columns and not parts:
        require_columns(sheet, {"thickness": "Thickness [um]"})
    characteristic = next(iter(card_characteristics(sheet.card, plan)), None)
    if characteristic is None:
        raise refusal(sheet, "the plan's card has no characteristic", "Add one of unit um to the plan.")
    main = "thickness" if "thickness" in sheet.columns else parts[0]
    for field in (main, *parts):
        require_unit(sheet, sheet.columns[field], characteristic)
    reader = RowReader(sheet, plan)
    readings = []
    for row in reader.rows():
        fields = row.reading_fields()
        reading = row.figure(characteristic, main, fields)
        if not row.text("thickness") and parts:
            _mean(reading, row, parts, characteristic)
        elif parts:
            said = ", ".join(row.text(field) for field in parts if row.text(field))
            reading["note"] = _add(reading["note"], f"readings {said}" if said else "")
        _subtract_base(reading, row, characteristic)
        readings.append(reading)
    return readings, []


def _mean(reading: UnfoldedReading, row: Row, parts: list[str], characteristic: Characteristic) -> None:
    typed = [row.text(field) for field in parts if row.text(field)]
    reading["text"] = " | ".join(typed)
    values = [
        read_number(t, characteristic.unit, comma_decimal=row.reader.comma_decimal).value for t in typed
    ]
    known = [value for value in values if value is not None]
    if not known or len(known) < len(values):
        reading["value"] = None
        return
    reading["value"] = round(sum(known) / len(known), 4)
    reading["note"] = _add(reading["note"], f"mean of {len(known)} readings")


def _subtract_base(reading: UnfoldedReading, row: Row, characteristic: Characteristic) -> None:
    base = row.number("base", characteristic.unit)
    if row.bad:
        reading["bad"] = json.dumps(row.bad, ensure_ascii=False)
    if base is None or reading["value"] is None:
        return
    read = reading["value"]
    reading["value"] = round(read - base, 4)
    reading["note"] = _add(reading["note"], f"read {read:g}, bare metal {base:g} um taken off")


def _add(note: str, more: str) -> str:
    return "; ".join(part for part in (note, more) if part)
