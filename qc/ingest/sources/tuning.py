"""Tuning cards: a note a row, in cents against the tempered note or in hertz against the card's A4."""

from __future__ import annotations

from qc.ingest.cards import CardSheet, Row, RowReader, card_characteristics
from qc.ingest.cells import read_number
from qc.ingest.sources.needs import refusal, require_columns, require_given, require_unit
from qc.ingest.unfolded import Rows, UnfoldedReading
from qc.plan import Characteristic, Plan
from qc.trade import Instrument, TradeError, Valve, cents_between, note_frequency, valve_state


def unfold_tuning(sheet: CardSheet, plan: Plan) -> Rows:
    """Unfold a tuning card: one reading a row, in cents, natural deviations of the partials left in.

    Parameters
    ----------
    sheet : CardSheet
        A sheet of source ``tuning``.
    plan : Plan
        The measuring plan: lengths and valves of the models, A4 where the card says none.

    Returns
    -------
    tuple of (rows, rows)
        Readings, and no events.

    Raises
    ------
    SheetError
        A missing heading, or both cents and hertz.
    """
    require_columns(sheet, {"partial": "Partial"})
    require_given(sheet, {"serial": "Serial"})
    if "cents" in sheet.columns and "hz" in sheet.columns:
        raise refusal(sheet, "the card gives both cents and hertz", "Keep one of the two columns.")
    figure = "hz" if "hz" in sheet.columns else "cents"
    require_columns(sheet, {figure: "Cents"})
    characteristic = next(iter(card_characteristics(sheet.card, plan)), None)
    if characteristic is None:
        raise refusal(sheet, "the plan's card has no characteristic", "Add one of unit cent to the plan.")
    if figure == "cents":
        require_unit(sheet, sheet.columns["cents"], characteristic)
    reader = RowReader(sheet, plan)
    instruments = {model.id: _instrument(plan, model.id) for model in plan.models}
    readings = []
    for row in reader.rows():
        fields = row.reading_fields()
        fields["position"] = fields["position"] if row.text("position") else 1
        instrument = instruments.get(fields["model"])
        fields["valve"] = _valve(fields["valve"], instrument)
        reading = row.figure(characteristic, figure, fields)
        if figure == "hz":
            _to_cents(reading, row, characteristic, instrument, plan)
        readings.append(reading)
    return readings, []


def _instrument(plan: Plan, model_id: str) -> Instrument | None:
    model = plan.model(model_id)
    if model is None:
        return None
    valves = tuple(Valve(v.name, v.added_mm, v.depends_on) for v in model.valves)
    return Instrument(model.length_mm, valves, model.pedal_midi, model.positions)


def _valve(text: str, instrument: Instrument | None) -> str:
    """Name the valves down in the model's order; what the model does not have stays as typed."""
    if instrument is None:
        return text or "open"
    try:
        return "+".join(valve_state(instrument, text)) or "open"
    except TradeError:
        return text


def _to_cents(
    reading: UnfoldedReading,
    row: Row,
    characteristic: Characteristic,
    instrument: Instrument | None,
    plan: Plan,
) -> None:
    """Turn a frequency into cents against the tempered note of its row; unread where the row names none."""
    hertz = read_number(reading["text"], "Hz", comma_decimal=row.reader.comma_decimal).value
    a4 = row.number("a4_hz", "Hz") or plan.workshop.a4_hz
    reading["value"] = None
    if hertz is None or not reading["text"]:
        return
    try:
        wanted = _wanted_hz(reading, instrument, a4)
        cents = cents_between(hertz, wanted)
    except TradeError as fault:
        reading["hint"] = f"hz:{fault.problem}"
        return
    reading["value"] = round(cents, 2)
    said = f"{hertz:g} Hz against {wanted:.2f} Hz at A4 = {a4:g} Hz"
    reading["note"] = "; ".join(part for part in (reading["note"], said) if part)


def _wanted_hz(reading: UnfoldedReading, instrument: Instrument | None, a4: float) -> float:
    if instrument is None:
        raise TradeError("the model is not in the plan", "Write the model")
    if reading["partial"] is None:
        raise TradeError("the row names no partial", "Write the partial")
    state = valve_state(instrument, reading["valve"])
    return note_frequency(instrument, reading["partial"], reading["position"] or 1, state, a4)
