"""What a failed rule means to the person who typed the row: one sentence, and what to do about it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

from qc.ingest.cells import both_ways, nearest_year
from qc.ingest.checking.declared import Failure
from qc.ingest.reasons import Finding, Reason
from qc.plan import Plan
from qc.words import closest, dated_words, unit_words

Row = Mapping[str, Any]
Said = tuple[str, str, dict[str, object]]
SAME_SHEET = 45
"""Days of one sheet lie so close together; chosen, longer than any card stays on a bench. [day]"""

ASK = "Look at the card and type what stands there."


def fault_finding(failure: Failure, row: Row, plan: Plan, today: date) -> Finding:
    """Return the finding for a row that failed a rule.

    Parameters
    ----------
    failure : Failure
        The rule and the index of the row.
    row : mapping
        The row as unfolded.
    plan : Plan
        The measuring plan; it names what would have been allowed.
    today : date
        The workshop's day.

    Returns
    -------
    Finding
        With a proposal where one word of the plan is close to what was typed.
    """
    rule = failure.rule
    problem, mend, proposal = _SAYINGS[rule.reason](row, rule.about, plan, today)
    return Finding(failure.index, rule.reason, problem, mend, proposal)


def _not_a_number(row: Row, about: str, plan: Plan, _: date) -> Said:
    """Say what a cell holds instead of a figure, and offer the figure where its writing tells one."""
    if about == "bad":
        fields = json.loads(row["bad"])
        if row.get("hint", "").startswith("asked="):
            asked = json.loads(row["hint"].removeprefix("asked="))
            return asked["problem"], asked["mend"], {}
        listed = ", ".join(f"{name.replace('_', ' ')} {text!r}" for name, text in fields.items())
        return f"{listed} cannot be read", "Type a plain figure or word there.", {}
    if row.get("unit") == "cent" and row.get("hint", "").startswith("hz:"):
        return f"{row['text']} Hz cannot be turned into cents: {row['hint'][3:]}", ASK, {}
    characteristic = plan.characteristic(row["stage"] or "", row.get("characteristic", ""))
    if characteristic is not None and characteristic.kind == "pass-fail":
        return f"{row['text']!r} is neither good nor a fault", "Type ok or fault.", {}
    if row.get("hint", "").startswith("about="):
        value = float(row["hint"].removeprefix("about="))
        mend = f"Measure again, or accept {value:g} if that is what was read."
        return f"{row['text']!r} says about how much, not how much", mend, {"value": value}
    if row.get("hint", "").startswith("signs="):
        count = int(row["hint"].removeprefix("signs="))
        mend = f"Accept {count} if a sign stands for one each; else type how many were counted."
        return (
            f"{row['text']!r} is no number, and may be {count} counted by signs",
            mend,
            {"value": float(count)},
        )
    if row.get("hint", "").startswith("weighs="):
        return _weighed(row, characteristic.name if characteristic is not None else "the figure")
    return (
        f"{row['text']!r} is no number",
        f"Type the figure in {unit_words(row['unit'] or '') or 'the unit of the plan'}.",
        {},
    )


def _weighed(row: Row, name: str) -> Said:
    """Say what a mass weighs where the unit of the figure is one of force."""
    value = float(row["hint"].removeprefix("weighs="))
    mass = f"{row['column']} {row['text']} is a mass in grams or kilograms"
    unit = unit_words(row["unit"])
    problem = f"{mass}, and the unit of {name} is {unit}"
    mend = (
        f"Accept {value:g} {unit} if that mass was hung on or a balance was pulled (standard gravity, "
        "9.80665 m/s2); else type the force that was read."
    )
    return problem, mend, {"value": value}


def _missing_value(row: Row, about: str, plan: Plan, today: date) -> Said:
    return "the row has no figure", "Type the figure, or leave the row out if nothing was measured.", {}


def _extra_cells(row: Row, about: str, plan: Plan, today: date) -> Said:
    typed = json.loads(row["bad"])["cells"]
    hint = "If a decimal comma split a figure, write it with a point or save the sheet with semicolons."
    return f"the row has more cells than there are headings: {typed}", hint, {}


def _no_date(row: Row, about: str, plan: Plan, today: date) -> Said:
    """Say why a date cannot be read; of its two ways the one is offered that alone lies in the past."""
    if about == "day":
        return "the row has no date", "Write the date on the card, as 2026-05-14 or 14.05.2026.", {}
    ways = both_ways(row["day_text"])
    said = [
        (day, f"{dated_words(day)} read {order}")
        for day, order in zip(ways or (), ("day-first", "month-first"), strict=False)
        if day is not None and day <= today
    ]
    if said:
        mend = "Say once which way round this bench writes its dates: `qc upload FILE --propose-mapping`."
        proposal: dict[str, object] = {"day": said[0][0].isoformat()} if len(said) == 1 else {}
        return (
            f"the date {row['day_text']!r} may mean {' or '.join(words for _, words in said)}",
            mend,
            proposal,
        )
    return f"the date {row['day_text']!r} cannot be read", "Write it as 2026-05-14 or 14.05.2026.", {}


def _future_date(row: Row, about: str, plan: Plan, today: date) -> Said:
    problem = f"the date {row['day']} lies after today, {today}"
    return _other_year(row, problem, today)


def _other_year(row: Row, problem: str, today: date) -> Said:
    """Offer the same day of the year that the sheet's other rows are of."""
    near = row.get("_near")
    meant = nearest_year(row["day"].day, row["day"].month, near, today) if near else None
    if meant is None or near is None or abs((meant - near).days) > SAME_SHEET:
        return problem, "Look at the day, the month and the year.", {}
    mend = f"If only the year is wrong, accept {meant.isoformat()}; else write the date on the card."
    return problem, mend, {"day": meant.isoformat()}


def _old_date(row: Row, about: str, plan: Plan, today: date) -> Said:
    return _other_year(row, f"the date {row['day']} is too long ago", today)


def _missing_serial(row: Row, about: str, plan: Plan, today: date) -> Said:
    if about == "part":
        return "the row does not say which part", "Type the serial of the part.", {}
    return "the row has no serial", "Type the serial that stands on the piece.", {}


def _missing_model(row: Row, about: str, plan: Plan, today: date) -> Said:
    characteristic = plan.characteristic(row["stage"], row["characteristic"])
    models = plan.models_of(characteristic) if characteristic else plan.models
    what = characteristic.name if characteristic else row["characteristic"]
    problem = f"no card says which model {row['serial']} is, so {what} would stand on no chart"
    mend = f"Write its model: {_some([m.id for m in models])}."
    return problem, f"{mend} Once another card has said it, this one sent again goes in by itself.", {}


def _unknown_model(row: Row, about: str, plan: Plan, today: date) -> Said:
    name = row["model"]
    if plan.model(name) is not None:
        characteristic = plan.characteristic(row["stage"], row["characteristic"])
        what = characteristic.name if characteristic else row["characteristic"]
        asked = ", ".join(m.id for m in plan.models_of(characteristic)) if characteristic else ""
        return f"{what} is not measured on {name}", f"The plan asks for it on: {asked}. Check the model.", {}
    begun = [m.id for m in plan.models if m.id.casefold().startswith(name.casefold())] if name else []
    # a bench that writes T for its one tenor; two models that begin so are not told apart by it
    return _not_in_plan("model", name, [m.id for m in plan.models], "model", begun if len(begun) == 1 else [])


def _unknown_person(row: Row, about: str, plan: Plan, today: date) -> Said:
    return _not_in_plan("person", row["person"], [p.code for p in plan.people], "person")


def _unknown_gauge(row: Row, about: str, plan: Plan, today: date) -> Said:
    column = "gauge" if "gauge" in row else "subject"
    return _not_in_plan("gauge", row[column], [g.id for g in plan.gauges], column)


def _unknown_tool(row: Row, about: str, plan: Plan, today: date) -> Said:
    return _not_in_plan("tool", row["tool"], [t.id for t in plan.tools], "tool")


def _unknown_place(row: Row, about: str, plan: Plan, today: date) -> Said:
    # a number is never guessed at: station 3 is no slip for station 2
    characteristic = plan.characteristic(row["stage"], row["characteristic"])
    allowed = list(characteristic.places.get(about, ())) if characteristic else []
    typed = "" if row[about] is None else str(row[about])
    name = "slide position" if about == "position" else about
    if not typed:
        return f"the row does not say which {name}", f"Write one of: {', '.join(allowed)}.", {}
    if about == "valve" and typed in allowed:
        model = plan.model(row["model"])
        states = [v.name for v in model.valves] if model else []
        has = ", ".join(states) if states else "no valves"
        return f"{row['model']} has no valve {typed}", f"The model has {has}: check valve and model.", {}
    meant = closest(typed, allowed) if not typed.isdigit() else ""
    proposal: dict[str, object] = {about: meant} if meant else {}
    return f"{name} {typed} is not in the plan", f"Write one of: {', '.join(allowed)}.", proposal


def _unknown_code(row: Row, about: str, plan: Plan, today: date) -> Said:
    if about == "verdict":
        typed = row["text"]
        return f"{typed!r} is no verdict", "Write pass, rework or reject.", {}
    if about == "stage":
        return _not_in_plan("stage", row["stage"], [s.id for s in plan.stages], "stage")
    return _not_in_plan("cause", row["code"], list(plan.causes), "code")


def _gauge_overdue(row: Row, about: str, plan: Plan, today: date) -> Said:
    gauge = plan.gauge(row["gauge"])
    due = gauge.due if gauge is not None else None
    problem = f"the calibration of {row['gauge']} ran out on {due}, the reading is of {row['day']}"
    return problem, "Check the gauge's id; if it is right, measure again with a gauge in calibration.", {}


def _outside_sensible(row: Row, about: str, plan: Plan, today: date) -> Said:
    characteristic = plan.characteristic(row["stage"], row["characteristic"])
    low, high = (characteristic.sensible if characteristic else None) or (None, None)
    what = characteristic.name if characteristic else row["characteristic"]
    unit = unit_words(row["unit"])
    problem = f"{row['value']:g} {unit} cannot be right for {what}, which lies within {low:g} and {high:g}"
    return problem, "Look at the card, the unit and the decimal point, then type the figure again.", {}


def _out_of_range(row: Row, about: str, plan: Plan, today: date) -> Said:
    names = {"air_c": "room temperature", "tool_count": "number of draws", "hours": "number of hours"}
    value = row["value"] if about == "hours" else row[about]
    return f"{value:g} is no {names[about]}", ASK, {}


def _negative_count(row: Row, about: str, plan: Plan, today: date) -> Said:
    return f"{row['value']:g} is a count below zero", "Type how many were counted.", {}


def _not_whole(row: Row, about: str, plan: Plan, today: date) -> Said:
    return f"{row['text']} is a count with a fraction", "Type how many were counted, a whole number.", {}


def _not_in_plan(
    what: str, typed: str, allowed: list[str], column: str, short_for: Sequence[str] = ()
) -> Said:
    """Say that a word is not in the plan; offer the one that is close, where exactly one is."""
    if not typed:
        return f"the row names no {what}", f"Write one of: {_some(allowed)}.", {}
    meant = closest(typed, allowed) or next(iter(short_for), "")
    proposal: dict[str, object] = {column: meant} if meant else {}
    guess = f"Perhaps {meant} is meant; t" if meant else "T"
    return f"the plan knows no {what} {typed}", f"{guess}he plan has: {_some(allowed)}.", proposal


def _some(words: list[str], most: int = 20) -> str:
    return ", ".join(words[:most]) + (" and others" if len(words) > most else "")


_SAYINGS: dict[Reason, Callable[[Row, str, Plan, date], Said]] = {
    Reason.NOT_A_NUMBER: _not_a_number,
    Reason.MISSING_VALUE: _missing_value,
    Reason.EXTRA_CELLS: _extra_cells,
    Reason.NO_DATE: _no_date,
    Reason.FUTURE_DATE: _future_date,
    Reason.OLD_DATE: _old_date,
    Reason.MISSING_SERIAL: _missing_serial,
    Reason.MISSING_MODEL: _missing_model,
    Reason.UNKNOWN_MODEL: _unknown_model,
    Reason.UNKNOWN_PERSON: _unknown_person,
    Reason.UNKNOWN_GAUGE: _unknown_gauge,
    Reason.UNKNOWN_TOOL: _unknown_tool,
    Reason.UNKNOWN_PLACE: _unknown_place,
    Reason.UNKNOWN_CODE: _unknown_code,
    Reason.GAUGE_OVERDUE: _gauge_overdue,
    Reason.OUTSIDE_SENSIBLE: _outside_sensible,
    Reason.OUT_OF_RANGE: _out_of_range,
    Reason.NEGATIVE_COUNT: _negative_count,
    Reason.NOT_WHOLE: _not_whole,
}
