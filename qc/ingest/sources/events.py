"""Event cards: what is not measured but belongs to the life of a piece, a gauge or a tool."""

from __future__ import annotations

import json

from qc.ingest.cards import VALUE, CardSheet, Row
from qc.ingest.cells import FACTORS, plain, read_moment, read_number
from qc.ingest.sources.needs import require_given
from qc.ingest.unfolded import UnfoldedEvent
from qc.plan import Plan

NEEDS: dict[str, dict[str, str]] = {
    "part": {"serial": "Serial", "part": "Part", "role": "Role"},
    "shipped": {"serial": "Serial"},
    "returned": {"serial": "Serial"},
    "play-test": {"serial": "Serial", "verdict": "Verdict"},
    "rework": {"serial": "Serial", "hours": "Hours"},
    "gauge-check": {"gauge": "Gauge", "deviation": "Deviation"},
    "tool-fitted": {"tool": "Tool"},
    "batch-opened": {"batch": "Batch"},
    "no-card": {},
}
"""What a list of events must give, head or table."""

PASS = frozenset("pass passed ok good 0".split())
REWORK = frozenset("rework reworked again".split())
REJECT = frozenset("reject rejected fail failed 1".split())
YES = frozenset("yes y x 1 true zeroed ja j".split())
NO = frozenset("no n 0 false nein".split()) | {"as found", ""}


def unfold_event(sheet: CardSheet, row: Row, plan: Plan) -> UnfoldedEvent:
    """Unfold one row of an event card.

    Parameters
    ----------
    sheet : CardSheet
        A sheet whose card has an event.
    row : Row
        The row.
    plan : Plan
        The measuring plan.

    Returns
    -------
    dict
        EVENT columns plus origin; `code` is empty and `text` as typed where a word is not understood.

    Raises
    ------
    SheetError
        Neither head nor table has what this kind of event needs.
    """
    kind = sheet.card.event or ""
    verdict = VALUE + "verdict" if VALUE + "verdict" in sheet.columns else "verdict"
    needs = {verdict if field == "verdict" else field: label for field, label in NEEDS[kind].items()}
    require_given(sheet, needs)
    main = {"part": "part", "rework": "hours", "gauge-check": "deviation", "play-test": verdict}.get(
        kind, "serial"
    )
    if kind in {"shipped", "returned"}:
        main = kind if row.text(kind) else "day"
    elif kind in {"tool-fitted", "batch-opened"}:
        main = kind.partition("-")[0]
    fields: UnfoldedEvent = {
        **row.common(),
        "kind": kind,
        "subject": "",
        "code": "",
        "value": None,
        "unit": "",
        "text": row.text(main),
        "cell": row.cell(main),
        "column": sheet.columns[main].label if main in sheet.columns else "",
        "hint": "",
        "bad": "",
    }
    _fill(kind, fields, row, plan, verdict)
    fields["bad"] = json.dumps(row.bad, ensure_ascii=False) if row.bad else ""
    return fields


def _fill(kind: str, fields: UnfoldedEvent, row: Row, plan: Plan, verdict: str) -> None:
    # each kind of event keeps what it is about as subject and code, so that one table holds them all
    if kind == "part":
        fields["subject"] = row.text("part")
        fields["code"] = plain(row.text("role")).replace(" ", "-")
    elif kind in {"shipped", "returned"}:
        _own_day(fields, row, kind, plan)
        if kind == "returned":
            fields["code"] = _cause(row.text("cause"), plan)
    elif kind == "play-test":
        fields["code"] = _verdict(row.text(verdict))
    elif kind == "rework":
        _number(fields, row, "hours", "h")
        fields["code"] = _cause(row.text("cause"), plan)
        fields["stage"] = _stage(row.text("stage"), plan) or fields["stage"]
    elif kind == "gauge-check":
        _gauge_check(fields, row, plan)
    elif kind == "tool-fitted":
        tool = plan.tool(fields["tool"])
        fields["subject"] = fields["tool"]
        fields["code"] = row.text("tool_class") or (tool.tool_class if tool else "")
    elif kind == "batch-opened":
        fields["subject"] = fields["batch"]
    elif kind == "no-card":
        fields["subject"] = row.text("card")
        fields["stage"] = _stage(row.text("stage"), plan) or fields["stage"]


def _gauge_check(fields: UnfoldedEvent, row: Row, plan: Plan) -> None:
    typed = row.gauge(None)
    gauge = plan.gauge(typed)
    column = row.reader.column("deviation")
    unit = gauge.unit if gauge else (column.heading.unit if column else "")
    _number(fields, row, "deviation", unit)
    fields["subject"] = gauge.id if gauge else typed
    word = plain(row.text("zeroed"))
    # the batch of a check is what it was made on: its zero, or which ring
    fields["batch"] = row.text("master") or fields["batch"]
    fields["code"] = "zeroed" if word in YES else "as-found" if word in NO else ""
    if not fields["code"]:
        row.bad["zeroed"] = row.text("zeroed")


def _number(fields: UnfoldedEvent, row: Row, name: str, unit: str) -> None:
    """Read an event's figure in the unit of its heading and keep it in the unit wanted."""
    column = row.reader.column(name)
    written = (column.heading.unit if column else "") or unit
    value = read_number(row.text(name), written, comma_decimal=True).value
    if value is not None and written != unit:
        factor = FACTORS.get((written, unit))
        value = None if factor is None else float(f"{value * factor:.12g}")
    fields["value"], fields["unit"] = value, unit


def _own_day(fields: UnfoldedEvent, row: Row, kind: str, plan: Plan) -> None:
    """Take a date in the column Shipped or Returned as the day of the event."""
    typed = row.text(kind)
    if not typed or plain(typed) in YES:
        return
    moment = read_moment(typed, plan.workshop.time_zone, order=row.reader.sheet.dates)
    fields["day_text"] = typed
    fields["day"] = moment.day if moment else None
    fields["measured_at"] = moment.at if moment else None


def _cause(text: str, plan: Plan) -> str:
    typed = plain(text).replace(" ", "-")
    return next((cause for cause in plan.causes if cause.casefold() == typed), text)


def _stage(text: str, plan: Plan) -> str:
    typed = plain(text)
    return next((s.id for s in plan.stages if typed in {plain(s.id), plain(s.name)}), text)


def _verdict(text: str) -> str:
    word = plain(text)
    if word in PASS:
        return "pass"
    if word in REWORK:
        return "rework"
    return "reject" if word in REJECT else ""
